//! The registry of checks is sorted, complete and documented.

use schema::Kind;
use schema::records::Tier;

use super::*;

#[test]
fn the_registry_is_sorted_and_has_each_check_once() {
    assert!(ALL.windows(2).all(|pair| pair[0].name < pair[1].name));
}

#[test]
fn every_check_has_its_docs() {
    for check in all() {
        assert!(schema::words::is_kebab_case(check.name));
        for text in [check.reports, check.why, check.fix] {
            assert!(text.ends_with(['.', '?']) && text.len() > 12, "{}: {text:?}", check.name);
        }
        assert!(!check.bad_example.is_empty() && !check.good_example.is_empty(), "{}", check.name);
        assert!(check.levels.windows(2).all(|pair| pair[0] <= pair[1]), "{}: levels rise with the stage", check.name);
    }
}

#[test]
fn every_check_has_a_file_of_its_name() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/checks");
    let mut files: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter_map(|name| name.strip_suffix(".rs").map(|stem| stem.replace('_', "-")))
        .filter(|name| {
            !["mod", "tests", "numbers", "limits", "shared", "stale", "part-changes"].contains(&name.as_str())
        })
        .collect();
    files.sort();
    assert_eq!(files, all().iter().map(|check| check.name.to_owned()).collect::<Vec<_>>());
}

#[test]
fn settings_change_levels_except_those_of_reading() {
    let text = b"levels: {no-lead: off, no-children: {test: error}, unknown-key: off}";
    let (settings, problems) = schema::read::settings(text);
    assert!(problems.is_empty(), "{problems:?}");
    let level_at = |name: &str, stage| level(find(name).unwrap(), &settings, stage);
    assert_eq!(level_at("no-lead", Stage::Build), Level::Off);
    assert_eq!(level_at("no-children", Stage::Test), Error);
    assert_eq!(
        level_at("no-children", Stage::Contest),
        Warning,
        "stages that are not listed keep the default level of the check"
    );
    assert_eq!(level_at("unknown-key", Stage::Build), Error);
}

/// The docs of a check that asks the roles of a kind name each kind that has the role.
#[test]
fn docs_name_the_kinds_that_are_checked() {
    let needs_children = |kind: Kind| kind.expected_children(Some(Tier::Car)).is_some();
    let roles: [(&str, &dyn Fn(Kind) -> bool); 5] = [
        ("no-lead", &|kind| kind.roles().needs_lead),
        ("no-parent", &Kind::needs_parent),
        ("no-children", &needs_children),
        ("no-verification", &|kind| kind.needs_verification(false)),
        ("no-evidence", &|kind| kind.roles().needs_evidence),
    ];
    let mut omitted = Vec::new();
    for (name, has_role) in roles {
        let text = find(name).unwrap().reports.to_lowercase();
        let is_named = |kind: Kind| text.split(|c: char| !c.is_alphabetic()).any(|word| word == kind.singular());
        let kinds = Kind::ALL.iter().filter(|kind| has_role(**kind) && !is_named(**kind));
        omitted.extend(kinds.map(|kind| format!("{name}: {kind}")));
    }
    assert!(omitted.is_empty(), "{omitted:?}");
}

/// Checks that use values wait for them, so that those that use none run first, while another thread evaluates the values.
#[test]
fn the_checks_that_use_values_are_listed() {
    let cwd = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    let request = crate::snapshot::Request { cwd, path: None, state: crate::snapshot::State::Worktree };
    let loaded = std::sync::Arc::new(crate::Loaded::from_request(&request).unwrap());
    let day = loaded.settings().as_of.unwrap();
    for check in all() {
        let study = Study::without_history(std::sync::Arc::clone(&loaded), day);
        run(check, &study, study.stage);
        let may_use = check.uses_values();
        assert!(may_use || !study.has_values(), "{} uses values", check.name);
        let listed = USING_VALUES.iter().any(|listed| listed.name == check.name);
        assert!(!listed || study.has_values(), "{} uses no values", check.name);
    }
}
