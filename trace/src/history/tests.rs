//! The histories of records and limits.

use super::*;

/// The index of a commit.
fn at(position: usize) -> CommitIndex {
    CommitIndex::new(position)
}

/// The changes of a record: commit, field, text before and after.
fn changes_of(history: &History, id: &str) -> Vec<String> {
    let text = |text: &Option<Arc<str>>| text.as_deref().unwrap_or("-").to_owned();
    let record = history.record(id).unwrap();
    record
        .changes
        .iter()
        .map(|c| format!("{} {}: {} -> {}", c.commit.index(), c.route, text(&c.before), text(&c.after)))
        .collect()
}

#[test]
fn fields_are_set_changed_and_removed() {
    let history = scripted(&[
        ("2027-01-01", "parts:\n  a: {count: 1, amounts: {mass: 1 kg}}\n  b: {count: 1}\n"),
        ("2027-01-02", "parts:\n  b: {count: 1}\n  a: {count: 2, amounts: {mass: {value: 1 kg, basis: drawn}}}\n"),
        ("2027-01-03", "parts:\n  a: {amounts: {mass: {value: 1 kg, basis: drawn}}}\n"),
    ]);
    assert_eq!(
        changes_of(&history, "a"),
        [
            "0 count: - -> 1",
            "0 amounts.mass.value: - -> 1 kg",
            "1 count: 1 -> 2",
            "1 amounts.mass.basis: - -> drawn",
            "2 count: 2 -> -"
        ]
    );
    assert_eq!((changes_of(&history, "b").len(), history.record("b").unwrap().removed), (1, Some(at(2))));
    assert_eq!(history.value_at("a", "count", at(1)), Some("2"));
    assert_eq!(history.value_at("a", "count", at(2)), None);
    assert_eq!(history.value_at("b", "count", at(2)), None);
}

#[test]
fn a_renamed_record_has_one_history_also_if_formerly_is_added_later() {
    let first = ("2027-01-01", "parts:\n  hub: {count: 1, lead: x}\n");
    let at_once = [first, ("2027-01-02", "parts:\n  upright: {count: 2, formerly: [hub]}\n")];
    let later = [
        first,
        ("2027-01-02", "parts:\n  upright: {count: 2}\n"),
        ("2027-01-03", "parts:\n  upright: {count: 2, formerly: [hub]}\n"),
    ];
    for (states, added_at) in [(&at_once[..], 1), (&later, 2)] {
        let history = scripted(states);
        let record = history.record("hub").unwrap();
        assert_eq!((&*record.id, record.added, record.removed), ("upright", at(0), None));
        assert_eq!(record.older_ids.iter().map(|id| &**id).collect::<Vec<_>>(), ["hub"]);
        assert_eq!(record.renames[0].0, at(1));
        assert_eq!(history.records().len(), 1);
        let mut changes = changes_of(&history, "upright");
        changes.sort();
        let mut expected = vec![
            "0 count: - -> 1".to_owned(),
            "0 lead: - -> x".to_owned(),
            "1 count: 1 -> 2".to_owned(),
            "1 lead: x -> -".to_owned(),
            format!("{added_at} formerly: - -> hub"),
        ];
        expected.sort();
        assert_eq!(changes, expected);
    }
    // A copy is no rename, because the record with the old id still exists.
    let history = scripted(&[first, ("2027-01-02", "parts:\n  hub: {}\n  upright: {count: 2, formerly: [hub]}\n")]);
    assert_eq!(history.records().len(), 2);
}

#[test]
fn an_id_that_is_used_again_after_a_rename() {
    let first = ("2027-01-01", "parts:\n  hub: {count: 1}\n");
    let renamed = ("2027-01-02", "parts:\n  upright: {count: 2, formerly: [hub]}\n");
    // Another record has the id now.
    let both = "parts:\n  upright: {count: 2, formerly: [hub]}\n  hub: {count: 7}\n";
    let history = scripted(&[first, renamed, ("2027-01-03", both)]);
    assert_eq!(changes_of(&history, "upright"), ["0 count: - -> 1", "1 count: 1 -> 2", "1 formerly: - -> hub"]);
    assert_eq!(changes_of(&history, "hub"), ["2 count: - -> 7"]);
    // The rename was reverted.
    let history = scripted(&[first, renamed, ("2027-01-03", "parts:\n  hub: {count: 1}\n")]);
    let record = history.record("hub").unwrap();
    assert_eq!((&*record.id, record.removed, history.records().len()), ("hub", None, 1));
    let renames: Vec<(usize, &str)> = record.renames.iter().map(|(commit, id)| (commit.index(), &**id)).collect();
    assert_eq!(renames, [(1, "hub"), (2, "upright")]);
}

#[test]
fn broken_yaml_leaves_the_records_as_they_were() {
    let history = scripted(&[
        ("2027-01-01", "parts:\n  a: {count: 1}\n"),
        ("2027-01-02", "parts:\n  a: {count: 2\n"),
        ("2027-01-03", "parts:\n  a: {count: 3}\n"),
    ]);
    assert_eq!(changes_of(&history, "a"), ["0 count: - -> 1", "2 count: 1 -> 3"]);
    assert_eq!(history.unreadable_versions, [(at(1), "a.yaml".to_owned())]);
}

#[test]
fn a_record_that_is_added_again_has_one_history() {
    let a = "parts:\n  a: {count: 1}\n";
    let history = scripted(&[("2027-01-01", a), ("2027-01-02", ""), ("2027-01-03", a)]);
    assert_eq!(changes_of(&history, "a"), ["0 count: - -> 1"]);
    assert_eq!(history.record("a").unwrap().removed, None);
}

#[test]
fn a_limit_changes_if_its_value_does() {
    let target = |limit: &str| format!("targets:\n  t: {{of: car, {limit}}}\n");
    let texts = ["at-most: 200 kg", "at-most: 0.2 t", "at-most: 205 kg", "between: [190 kg, 205 kg]"].map(target);
    let states: Vec<(&str, &str)> = texts.iter().map(|text| ("2027-01-01", text.as_str())).collect();
    let text = |limit: Option<LimitText>| limit.map_or("-".to_owned(), |limit| limit.words.text());
    let changes: Vec<String> = scripted(&states)
        .limit_changes("t")
        .into_iter()
        .map(|(commit, a, b)| format!("{} {} {}", commit.index(), text(a), text(b)))
        .collect();
    assert_eq!(changes, ["0 - at most 200 kg", "2 at most 0.2 t at most 205 kg", "3 at most 205 kg 190 kg to 205 kg"]);
}

#[test]
fn no_commit_is_dated_later_than_those_that_follow_it() {
    let history = scripted(&[("2027-01-05", "parts: {a: {}}"), ("2027-01-02", "parts: {b: {}}"), ("2027-01-03", "")]);
    let days: Vec<String> = history.commits.iter().map(|commit| commit.no_later_than.to_string()).collect();
    assert_eq!(days, ["2027-01-02", "2027-01-02", "2027-01-03"]);
    let day = |text| Day::parse(text).unwrap();
    assert_eq!(history.last_commit_until(day("2027-01-02")), Some(at(1)));
    assert_eq!(history.last_commit_until(day("2027-01-01")), None);
}
