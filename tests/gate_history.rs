//! What the history checks report, and what they do not: each case through git, as a team works.

use serde_json::Value;

use crate::gate_history_stale::{rack, tested};
use crate::history_merges::{branch, limit, name, result, rig, start, switch, track};
use crate::support::{SETTINGS, Sandbox};

/// The findings of the history checks: level, check, record and message.
pub(crate) fn reported(sandbox: &Sandbox) -> Vec<String> {
    reported_with(sandbox, &[])
}

fn reported_with(sandbox: &Sandbox, args: &[&str]) -> Vec<String> {
    let report = sandbox.tierod(&[&["check", "--format", "json"], args].concat()).json();
    assert_eq!(report["history"], "on", "{report}");
    let is_history = |finding: &&Value| {
        let check = trace::checks::find(finding["check"].as_str().unwrap()).unwrap();
        check.group == trace::checks::Group::History
    };
    let text = |finding: &Value, key: &str| finding[key].as_str().unwrap_or("-").to_owned();
    let findings = report["findings"].as_array().unwrap().iter().filter(is_history);
    findings.map(|f| ["level", "check", "record", "message"].map(|key| text(f, key)).join(" ")).collect()
}

#[track_caller]
pub(crate) fn assert_one(sandbox: &Sandbox, expected: &str) {
    let found = reported(sandbox);
    assert!(found.len() == 1 && found[0].starts_with(expected), "{found:#?}\nnot {expected}");
}

#[track_caller]
pub(crate) fn assert_none(sandbox: &Sandbox, why: &str) {
    assert_eq!(reported(sandbox), [""; 0], "{why}");
}

/// All records come in at the end of the season, in one commit or in two.
#[test]
fn an_import_at_the_end_of_the_season() {
    for commits in [1, 2] {
        let sandbox = Sandbox::repository();
        sandbox.write("tierod.yaml", SETTINGS);
        sandbox.commit_on("2027-01-01", "settings");
        sandbox.small_root("");
        sandbox.write("track.yaml", track("track", "1.3 m", ""));
        sandbox.write(
            "revisions.yaml",
            "revisions: {wider: {of: track, from: 1.2 m, to: 1.3 m, date: 2027-02-01, agreed-by: team lead, reason: The hubs are bought.}}\n",
        );
        if commits == 2 {
            sandbox.commit_on("2027-03-10", "import");
        }
        result(&sandbox, "2027-03-10", "2027-02-03");
        let appeared = name(&sandbox, if commits == 2 { "HEAD^" } else { "HEAD" });
        let expected = [
            format!(
                "note unrecorded-revision wider it has `from: 1.2 m`, but the limit of track first appears here on 2027-03-10 ({appeared}), as at most 1.3 m: earlier limits are not known"
            ),
            format!(
                "note target-after-result track the limit of track is at most 1.3 m and first appears here on 2027-03-10 ({appeared}); result rig of 2027-02-03 meets it: it is not known which of the two was first"
            ),
        ];
        // The revision has this limit as its `to`, so that there is no question about the result.
        assert_eq!(reported(&sandbox), expected[..1], "{commits}");
        std::fs::remove_file(sandbox.path_of("revisions.yaml")).unwrap();
        assert_eq!(reported(&sandbox), expected[1..], "{commits}");
        // At every stage.
        assert_eq!(reported_with(&sandbox, &["--on", "2027-07-01"]), expected[1..], "{commits}, contest");
    }
}

#[test]
fn what_is_on_record_on_a_date_is_taken_as_it_is() {
    let sandbox = start("files");
    let settings = |since: &str| sandbox.write("tierod.yaml", format!("{SETTINGS}history: {since}\n"));
    let edit = |day: &str, value: &str| {
        sandbox.write("rig.yaml", rig("rig", "track", value, "2027-01-20", ""));
        sandbox.commit_on(day, "result");
    };
    edit("2027-01-21", "1.28 m");
    edit("2027-01-25", "1.25 m");
    limit(&sandbox, "2027-01-30", "1.3 m");
    rack(&sandbox, "2027-01-30", "{mass: 1.4 kg}");
    tested(&sandbox, "2027-01-31", "2027-01-31", "");
    rack(&sandbox, "2027-02-02", "{mass: 1.2 kg}");
    let all = reported(&sandbox);
    for check in ["target-after-result track", "rewritten-result rig", "stale-result pull"] {
        assert!(all.iter().any(|one| one.contains(check)), "{check}: {all:#?}");
    }
    settings("{since: 2027-01-25}");
    let some = reported(&sandbox);
    assert_eq!(some.len(), 2, "the result was rewritten before: {some:#?}");
    settings("{since: 2027-01-24}");
    assert_eq!(reported(&sandbox).len(), 3);
    settings("{since: 2027-02-02}");
    assert_none(&sandbox, "the checks start after the import");
    settings("{since: 2027-02-28}");
    assert_none(&sandbox, "the last commit before the date");
    sandbox.commit_on("2027-03-01", "settings");

    // What happens later is compared with it.
    rack(&sandbox, "2027-03-02", "{mass: 1.1 kg}");
    assert_one(&sandbox, "warning stale-result pull");
    rack(&sandbox, "2027-03-03", "{mass: 1.2 kg}");
    assert_none(&sandbox, "the mass is as it was");
    limit(&sandbox, "2027-03-04", "1.35 m");
    assert_one(
        &sandbox,
        "warning unrecorded-revision track the limit of track was first at most 1.3 m and is at most 1.35 m",
    );
    limit(&sandbox, "2027-03-05", "1.2 m");
    limit(&sandbox, "2027-03-09", "1.3 m");
    assert_one(&sandbox, "warning target-after-result track the limit of track changed from at most 1.2 m");
    settings("on");
    assert!(reported(&sandbox).len() > 2);
}

#[test]
fn init_in_a_repository_with_commits_proposes_the_date() {
    let sandbox = Sandbox::repository();
    let said = sandbox.tierod(&["init", "one"]).ended(0).out;
    assert!(!said.contains("history"), "no commit yet: {said}");
    let read = |path: &str| std::fs::read_to_string(sandbox.path_of(path)).unwrap();
    assert!(!read("one/tierod.yaml").contains("history"));
    sandbox.git(&["commit", "-q", "--allow-empty", "-m", "start"]);
    let said = sandbox.tierod(&["init", "two/car"]).ended(0).out;
    let settings = read("two/car/tierod.yaml");
    let line = settings.lines().find(|line| line.starts_with("history: {since: ")).unwrap();
    let day = line.trim_start_matches("history: {since: ").trim_end_matches('}');
    assert!(said.contains(&format!("the history checks start after {day}")), "{said}");
    let report = sandbox.tierod(&["check", "two/car", "--format", "json"]).ended(0).json();
    assert_eq!(report["summary"]["error"], 0, "{report}");
    // Outside of a repository there is nothing to take.
    let outside = Sandbox::new();
    assert!(!outside.tierod(&["init"]).ended(0).out.contains("history"));
}

#[test]
fn what_since_can_be() {
    let sandbox = start("files");
    for (text, message) in [
        ("{since: soon}", "soon"),
        ("{until: 2027-01-01}", "until"),
        ("{}", "since"),
        ("sometimes", "expected on, off, or a map with the key `since`, found `sometimes`"),
    ] {
        sandbox.write("tierod.yaml", format!("{SETTINGS}history: {text}\n"));
        let said = sandbox.tierod(&["check", "--format", "json"]);
        let said = said.out + &said.err;
        assert!(said.contains(message), "{text}: {said}");
    }
}

/// A limit was written on a branch before the result: then the branch is rebased onto the result, or squashed with it.
#[test]
fn a_limit_from_a_branch_that_was_rebased_or_squashed() {
    let prepare = || {
        let sandbox = start("files");
        branch(&sandbox, "side");
        limit(&sandbox, "2027-02-01", "1.3 m");
        switch(&sandbox, "main");
        sandbox
    };
    // Rebased: the dates of authors contradict the order of the commits.
    let sandbox = prepare();
    result(&sandbox, "2027-02-03", "2027-02-03");
    switch(&sandbox, "side");
    let mut rebase = sandbox.command("git", &sandbox.path());
    rebase.env("GIT_COMMITTER_DATE", "2027-02-08T12:00:00Z").args(["rebase", "-q", "main"]);
    assert!(rebase.status().unwrap().success());
    switch(&sandbox, "main");
    sandbox.git(&["merge", "-q", "--ff-only", "side"]);
    let moved = name(&sandbox, "HEAD");
    assert_one(
        &sandbox,
        &format!(
            "note target-after-result track the limit of track changed from at most 1.2 m to at most 1.3 m, which first appears here on 2027-02-08 ({moved}) but was written on 2027-02-01; result rig of 2027-02-03 meets the new limit: it is not known which of the two was first"
        ),
    );
    let audit = sandbox.tierod(&["audit", "--format", "json"]).json();
    let target = audit["targets"].as_array().unwrap().iter().find(|target| target["id"] == "track").unwrap();
    assert_eq!(target["after_result"], false, "the audit does not accuse either: {target}");

    // The same commit, made after the result, is a change after it.
    let sandbox = prepare();
    result(&sandbox, "2027-02-03", "2027-02-03");
    limit(&sandbox, "2027-02-08", "1.3 m");
    assert_one(&sandbox, "warning target-after-result track the limit of track changed");

    // Squashed with the result.
    let sandbox = prepare();
    switch(&sandbox, "side");
    result(&sandbox, "2027-02-03", "2027-02-03");
    switch(&sandbox, "main");
    sandbox.git(&["merge", "-q", "--squash", "side"]);
    sandbox.commit_on("2027-02-08", "the branch in one commit");
    let squash = name(&sandbox, "HEAD");
    assert_one(
        &sandbox,
        &format!(
            "note target-after-result track the limit of track changed from at most 1.2 m to at most 1.3 m, which first appears here on 2027-02-08 ({squash}); result rig"
        ),
    );

    // A later change of the limit is reported all the same.
    limit(&sandbox, "2027-02-20", "1.4 m");
    let found = reported(&sandbox);
    assert!(found.len() == 2 && found[0].starts_with("warning unrecorded-revision track"), "{found:#?}");
}

#[test]
fn a_limit_that_is_tightened_and_still_met() {
    let sandbox = start("files");
    limit(&sandbox, "2027-01-10", "1.4 m");
    sandbox.write(
        "revisions.yaml",
        "revisions: {wider: {of: track, from: 1.2 m, to: 1.4 m, date: 2027-01-10, agreed-by: team lead, reason: The hubs are bought.}}\n",
    );
    sandbox.commit_on("2027-01-10", "revision");
    result(&sandbox, "2027-02-03", "2027-02-03");
    assert_none(&sandbox, "agreed");
    std::fs::remove_file(sandbox.path_of("revisions.yaml")).unwrap();
    let sandbox = start("files");
    sandbox.write("rig.yaml", rig("rig", "track", "1.05 m", "2027-02-03", ""));
    sandbox.commit_on("2027-02-03", "result");
    limit(&sandbox, "2027-02-10", "1.1 m");
    assert_none(&sandbox, "stricter, and met");
    limit(&sandbox, "2027-02-20", "1.0 m");
    assert_one(
        &sandbox,
        "warning unrecorded-revision track the limit of track was first at most 1.2 m and is at most 1.0 m",
    );
    limit(&sandbox, "2027-02-25", "1.15 m");
    assert_one(
        &sandbox,
        "warning target-after-result track the limit of track changed from at most 1.0 m to at most 1.15 m",
    );
    limit(&sandbox, "2027-02-26", "1.2 m");
    assert_one(&sandbox, "warning target-after-result track");
}

#[test]
fn an_uncertainty_that_is_added() {
    let sandbox = start("files");
    let value = |day: &str, value: &str| {
        sandbox.write("rig.yaml", rig("rig", "track", value, "2027-02-03", ""));
        sandbox.commit_on(day, "result");
    };
    value("2027-02-03", "1.15 m");
    value("2027-02-08", "1.15 m ± 0.02 m");
    assert_none(&sandbox, "added");
    value("2027-02-09", "1.1 m ± 0.02 m");
    assert_one(&sandbox, "warning rewritten-result rig");
    value("2027-02-10", "1.15 m");
    assert_none(&sandbox, "as it was");
}

#[test]
fn a_typing_error_that_is_put_right_the_same_day() {
    // A result.
    let sandbox = start("files");
    let value = |day: &str, value: &str| {
        sandbox.write("rig.yaml", rig("rig", "track", value, "2027-02-03", ""));
        sandbox.commit_on(day, "result");
    };
    value("2027-02-03", "11.5 m");
    value("2027-02-03", "1.15 m");
    assert_none(&sandbox, "a typing error");
    value("2027-02-04", "1.14 m");
    assert_one(&sandbox, "warning rewritten-result rig");

    // A limit that has shares and a result.
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let budget = |day: &str, limit: &str| {
        sandbox.write(
            "mass.yaml",
            format!(
                "targets:\n  car-mass: {{of: car, total: mass, at-most: {limit}, lead: x, serves: {{skidpad: Mass.}}}}\n  suspension-mass: {{of: suspension, total: mass, at-most: 20 kg, share-of: car-mass, lead: x, serves: {{car-mass: Its share.}}}}\n"
            ),
        );
        sandbox.commit_on(day, "mass");
    };
    budget("2027-01-01", "200 kg");
    budget("2027-02-01", "2000 kg");
    budget("2027-02-01", "200 kg");
    assert_none(&sandbox, "restored");
    budget("2027-02-02", "20.5 kg");
    budget("2027-02-02", "205 kg");
    sandbox.write(
        "revisions.yaml",
        "revisions: {heavier: {of: car-mass, from: 200 kg, to: 205 kg, date: 2027-02-02, agreed-by: team lead, reason: The engine.}}\n",
    );
    sandbox.commit_on("2027-02-02", "revision");
    assert_none(&sandbox, "the revision records the right limit");
    // The revision itself had a typing error.
    let sandbox = start("files");
    let revision = |day: &str, to: &str, limit_now: &str| {
        sandbox.write(
            "revisions.yaml",
            format!("revisions: {{wider: {{of: track, from: 1.2 m, to: {to}, date: {day}, agreed-by: team lead, reason: The hubs.}}}}\n"),
        );
        limit(&sandbox, day, limit_now);
    };
    revision("2027-02-02", "13 m", "1.3 m");
    revision("2027-02-02", "1.3 m", "1.3 m");
    assert_none(&sandbox, "the revision was put right");
}

#[test]
fn a_draft_limit_that_changes_before_anything_depends_on_it() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2026-12-01", "start");
    limit(&sandbox, "2027-01-08", "1.2 m");
    limit(&sandbox, "2027-01-09", "1.25 m");
    limit(&sandbox, "2027-01-11", "1.3 m");
    assert_none(&sandbox, "over a weekend");
    limit(&sandbox, "2027-01-20", "1.35 m");
    assert_one(
        &sandbox,
        "warning unrecorded-revision track the limit of track was first at most 1.3 m and is at most 1.35 m since 2027-01-20",
    );

    // There is a result: it was no draft any more.
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2026-12-01", "start");
    limit(&sandbox, "2027-01-08", "1.2 m");
    result(&sandbox, "2027-01-08", "2027-01-08");
    limit(&sandbox, "2027-01-09", "1.3 m");
    assert_one(
        &sandbox,
        "warning target-after-result track the limit of track changed from at most 1.2 m to at most 1.3 m",
    );

    // There is a share.
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let budget = |day: &str, limit: &str, share: bool| {
        let share = "  suspension-mass: {of: suspension, total: mass, at-most: 20 kg, share-of: car-mass, lead: x, serves: {car-mass: Its share.}}\n".repeat(usize::from(share));
        sandbox.write(
            "mass.yaml",
            format!("targets:\n  car-mass: {{of: car, total: mass, at-most: {limit}, lead: x, serves: {{skidpad: Mass.}}}}\n{share}"),
        );
        sandbox.commit_on(day, "mass");
    };
    budget("2027-01-08", "200 kg", false);
    budget("2027-01-09", "205 kg", false);
    assert_none(&sandbox, "no share yet");
    budget("2027-01-09", "205 kg", true);
    budget("2027-01-10", "210 kg", true);
    assert_one(&sandbox, "warning unrecorded-revision car-mass the limit of Mass".replace("Mass", "car-mass").as_str());
}

/// Renamed without `formerly`.
#[test]
fn a_rename_without_formerly_is_no_rewriting() {
    let sandbox = start("files");
    result(&sandbox, "2027-02-03", "2027-02-03");
    sandbox.write("track.yaml", track("track-width", "1.2 m", ""));
    sandbox.write("rig.yaml", rig("rig", "track-width", "1.25 m", "2027-02-03", ""));
    sandbox.commit_on("2027-02-10", "another name");
    assert_none(&sandbox, "the target has another id");
    // With another limit, it is a question.
    sandbox.write("track.yaml", track("track-of-the-car", "1.3 m", ""));
    sandbox.write("rig.yaml", rig("rig", "track-of-the-car", "1.25 m", "2027-02-03", ""));
    sandbox.commit_on("2027-02-12", "another name");
    assert_one(
        &sandbox,
        "note target-after-result track-of-the-car the limit of track-of-the-car is at most 1.3 m and first appears here on 2027-02-12",
    );
}
