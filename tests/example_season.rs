//! The season of the example car: the repository that `example` creates, and every commit in it.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use serde_json::Value;

use crate::example_car;
use crate::support::{Answer, Sandbox};

/// A season that is created once, for all tests that only read it.
struct Season {
    sandbox: Sandbox,
    said: String,
    commits: Vec<String>,
}

impl Season {
    fn folder(&self) -> PathBuf {
        self.sandbox.path_of("car")
    }

    fn git(&self, args: &[&str]) -> String {
        self.sandbox.git_in(&self.folder(), args)
    }

    fn check(&self, args: &[&str]) -> Value {
        self.sandbox.tierod_in(&self.folder(), &[&["check", "--format", "json"], args].concat()).json()
    }
}

fn season() -> &'static Season {
    static SEASON: OnceLock<Season> = OnceLock::new();
    SEASON.get_or_init(|| {
        let sandbox = Sandbox::new();
        let said = sandbox.tierod(&["example", "car"]).ended(0).out;
        let log = sandbox.git_in(&sandbox.path_of("car"), &["rev-list", "--reverse", "main"]);
        Season { said, commits: log.lines().map(str::to_owned).collect(), sandbox }
    })
}

/// The findings as `check record`.
fn reported(report: &Value, which: impl Fn(&Value) -> bool) -> BTreeSet<String> {
    let findings = report["findings"].as_array().unwrap().iter().filter(|finding| which(finding));
    let text = |value: &Value| value.as_str().unwrap_or("-").to_owned();
    findings.map(|finding| format!("{} {}", text(&finding["check"]), text(&finding["record"]))).collect()
}

#[test]
fn it_is_a_season_of_dated_commits_by_roles() {
    let season = season();
    assert!(season.commits.len() >= 40, "{} commits", season.commits.len());
    let log = season.git(&["log", "--reverse", "--format=%at %ct %ad|%an|%ae|%s", "--date=iso-strict"]);
    let mut last = 0;
    for line in log.lines() {
        let fields: Vec<&str> = line.split('|').collect();
        let [when, name, email, message] = fields[..] else { panic!("{line}") };
        let mut times = when.split(' ');
        let (author, committer) = (times.next().unwrap(), times.next().unwrap());
        let seconds: i64 = author.parse().unwrap();
        assert!(author == committer && seconds > last, "{line}");
        last = seconds;
        assert!(when.ends_with("+01:00") || when.ends_with("+02:00"), "{line}");
        assert!(name.ends_with(" lead") || name == "chief engineer", "a role and no name: {line}");
        assert_eq!(email, format!("{}@tarnmoor.example", name.replace(' ', "-")));
        assert!(message.starts_with(|first: char| first.is_uppercase()) && !message.ends_with('.'), "{line}");
    }
    let days = season.git(&["log", "--format=%ad", "--date=short"]);
    assert!(days.starts_with("2027-07-20\n") && days.ends_with("2026-09-21\n"), "{days}");
    let first = format!("created {} commits from 2026-09-21 to 2027-07-20 in car:", season.commits.len());
    assert!(season.said.starts_with(&first), "{}", season.said);
}

#[test]
fn it_is_clean_on_main_with_no_other_files() {
    let season = season();
    assert_eq!(season.git(&["status", "--porcelain", "--branch", "--ignored"]), "## main\n");
    assert_eq!(season.git(&["remote"]), "");
    assert_eq!(season.git(&["for-each-ref", "--format=%(refname)"]), "refs/heads/main\n");
    assert!(!season.folder().join(".git/hooks").exists(), "no template");
    season.git(&["fsck", "--strict"]);
}

fn files(folder: &Path, prefix: &str, found: &mut BTreeSet<(String, Vec<u8>)>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let entry = entry.unwrap();
        let path = format!("{prefix}{}", entry.file_name().into_string().unwrap());
        if entry.file_type().unwrap().is_dir() {
            files(&entry.path(), &format!("{path}/"), found);
        } else if path != ".git" {
            found.insert((path, std::fs::read(entry.path()).unwrap()));
        }
    }
}

#[test]
fn one_commit_is_the_example_car_as_it_ships() {
    let sandbox = Sandbox::new();
    let said = sandbox.tierod(&["example", "car"]).ended(0).out;
    let (_, rest) = said.split_once("--rev ").unwrap();
    let anchor = rest.split_whitespace().next().unwrap();
    sandbox.git_in(&sandbox.path_of("car"), &["worktree", "add", "-q", "--detach", "../anchor", anchor]);
    let (mut laid, mut shipped) = (BTreeSet::new(), BTreeSet::new());
    files(&sandbox.path_of("anchor"), "", &mut laid);
    files(&example_car::folder(), "", &mut shipped);
    let differ: Vec<&String> = laid.symmetric_difference(&shipped).map(|(path, _)| path).collect();
    assert_eq!(differ, ["tierod.yaml", "tierod.yaml"], "the settings as laid out and as shipped");
    let read = |path: &str| std::fs::read_to_string(path).unwrap();
    let settings = read(example_car::folder().join("tierod.yaml").to_str().unwrap());
    let without: String = settings
        .split_inclusive('\n')
        .filter(|line| !line.starts_with("as-of:") && !line.starts_with("history:"))
        .collect();
    assert_eq!(read(sandbox.path_of("anchor/tierod.yaml").to_str().unwrap()), without);
    assert_eq!(sandbox.git_in(&sandbox.path_of("anchor"), &["show", "-s", "--format=%cs"]), "2027-03-19\n");
}

/// Checks that no commit may report: they are errors at every stage, and hide other findings.
const UNREADABLE: [&str; 10] = [
    "unreadable-file",
    "unknown-key",
    "missing-key",
    "bad-value",
    "duplicate-key",
    "duplicate-id",
    "unknown-reference",
    "reference-cycle",
    "value-cycle",
    "unit-mismatch",
];

#[test]
fn every_commit_can_be_read() {
    let season = season();
    let broken = |finding: &Value| UNREADABLE.contains(&finding["check"].as_str().unwrap());
    // One process per commit, two at a time, because nearly every machine has two cores.
    std::thread::scope(|scope| {
        for half in season.commits.chunks(season.commits.len().div_ceil(2)) {
            scope.spawn(move || {
                for commit in half {
                    let report = season.check(&["--rev", commit]);
                    let reported = reported(&report, broken);
                    assert!(reported.is_empty(), "{commit} {reported:?}");
                    assert!(report["summary"]["records"].as_u64().unwrap() > 0);
                }
            });
        }
    });
}

#[test]
fn it_ends_with_exactly_the_expected_findings() {
    let season = season();
    let report = season.check(&[]);
    assert_eq!(report, season.check(&["--on", "2027-07-20"]), "the season is closed on its day");
    let open = |level: &str| reported(&report, |finding| finding["level"] == level);
    let errors = [
        "no-verification coolant-temperature",
        "target-missed accel-time",
        "target-missed autocross-time",
        "target-missed endurance-lap-time",
        "verification-overdue tyre-warm-up",
        "verification-overdue wheel-power",
    ];
    for error in errors {
        assert!(open("error").contains(error), "{error}: {:?}", open("error"));
    }
    let at_risk = |report: &Value| reported(report, |finding| finding["check"] == "target-at-risk");
    // Of two, the limit is inside the uncertainty of the result: 88 ± 3 % of 87 %, 36.1 ± 0.3 kW of 36 kW.
    let expected = ["crank-power", "finish-chance", "wheel-power"].map(|id| format!("target-at-risk {id}"));
    assert_eq!(at_risk(&report), expected.into());
    // Four weeks before it was at risk, too, and no revision, waiver or change of its limit came since.
    let before = season.git(&["rev-list", "-1", "--before=2027-06-22", "main"]);
    assert!(at_risk(&season.check(&["--rev", before.trim()])).contains("target-at-risk wheel-power"));

    let values = season.sandbox.tierod_in(&season.folder(), &["values", "--format", "json"]).ended(0).json();
    let targets = values["values"].as_array().unwrap();
    let status = |word: &str| targets.iter().filter(|target| target["status"] == word).count();
    assert!(status("met") >= 15, "{}", status("met"));
    // At the contest three of the four times were over their limits.
    assert_eq!((status("missed"), status("uncertain")), (3, 2));
    let log = season.git(&["grep", "-c", "basis: weighed", "HEAD", "--", "*.yaml"]);
    let weighed: usize = log.lines().map(|line| line.rsplit(':').next().unwrap().parse::<usize>().unwrap()).sum();
    assert!(weighed >= 25, "{weighed} parts weighed");
    let final_place = season.git(&["show", "HEAD:contest/2027-07-04-final.md"]);
    let total = season.sandbox.tierod_in(&season.folder(), &["points"]).ended(0).out;
    let total = total.lines().find(|line| line.starts_with("total")).unwrap().split_whitespace().nth(2).unwrap();
    assert!(final_place.contains(&format!("with {total} points")), "{total}: {final_place}");
}

#[test]
fn the_records_change_during_the_season() {
    let season = season();
    let renames = season.git(&["log", "--diff-filter=R", "-M", "--name-status", "--format="]);
    assert!(renames.contains("goal-and-events.yaml\tseason/goal-and-events.yaml"), "{renames}");
    assert!(renames.contains("season/power-curve.csv\tanalysis/power-curve.csv"), "{renames}");
    let formerly = season.git(&["show", "HEAD:powertrain/powertrain.yaml"]);
    assert!(formerly.contains("  coolant-hose-set:\n    formerly: [hose-set]\n"));
    // A limit with a revision changes in the commit that adds the revision.
    for (revision, limit) in [
        ("accel-time-december", "+    at-most: 4.27 s"),
        ("car-mass-february", "+    at-most: 205 kg"),
        ("chassis-mass-march", "+    at-most: 47.8 kg"),
    ] {
        let patch = season.git(&["log", "-p", "--pickaxe-all", "--format=", "-S", &format!("  {revision}:")]);
        assert!(patch.contains(limit), "{revision}");
    }
}

#[test]
fn a_folder_that_is_not_empty_is_not_changed() {
    let sandbox = Sandbox::new();
    sandbox.write("car/notes.txt", "mine");
    sandbox.write("file", "mine");
    for (folder, why) in [("car", "is not empty"), ("file", "is not a folder"), (".", "is not empty")] {
        let error = sandbox.tierod(&["example", folder]).ended(2).err;
        assert!(error.contains(why) && error.contains("nothing was written"), "{error}");
    }
    let listed: BTreeSet<_> =
        std::fs::read_dir(sandbox.path_of("car")).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(listed, ["notes.txt".into()].into());
    std::fs::create_dir(sandbox.path_of("empty")).unwrap();
    sandbox.tierod(&["example", "empty"]).ended(0);
    assert!(sandbox.path_of("empty/tierod.yaml").exists(), "an empty folder is taken");
}

#[cfg(unix)]
#[test]
fn the_users_git_changes_nothing_and_the_commits_are_the_same_anywhere() {
    use std::os::unix::fs::PermissionsExt as _;

    let sandbox = Sandbox::repository();
    sandbox.write("own.yaml", "goals: {}\n");
    sandbox.git(&["add", "own.yaml"]);
    let hook = format!("#!/bin/sh\ntouch '{}'\n", sandbox.outside().join("ran").display());
    for name in ["post-checkout", "post-index-change", "reference-transaction"] {
        for folder in ["hooks", "template/hooks"] {
            let path = sandbox.outside().join(folder).join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(&path, &hook).unwrap();
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).unwrap();
        }
    }
    let config = sandbox.outside().join("config");
    let at = |path: &str| sandbox.outside().join(path).display().to_string();
    let text = format!(
        "[commit]\n\tgpgsign = true\n[gpg]\n\tprogram = false\n[core]\n\tautocrlf = true\n\thooksPath = {}\n\
         [init]\n\ttemplateDir = {}\n\tdefaultBranch = trunk\n\tdefaultObjectFormat = sha256\n\
         [remote \"origin\"]\n\turl = /nowhere\n[i18n]\n\tcommitEncoding = latin1\n",
        at("hooks"),
        at("template")
    );
    std::fs::write(&config, text).unwrap();
    let attributes = sandbox.outside().join("home/.config/git/attributes");
    std::fs::create_dir_all(attributes.parent().unwrap()).unwrap();
    std::fs::write(attributes, "* text eol=crlf\n").unwrap();

    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
    command.args(["example", "car"]).env("GIT_CONFIG_GLOBAL", &config).env("TZ", "Pacific/Auckland");
    command.env("GIT_DIR", sandbox.path_of(".git")).env("GIT_INDEX_FILE", sandbox.path_of(".git/index"));
    command.env("GIT_TEMPLATE_DIR", at("template")).env("GIT_DEFAULT_HASH", "sha256");
    command.env("GIT_CONFIG_COUNT", "1").env("GIT_CONFIG_KEY_0", "core.autocrlf").env("GIT_CONFIG_VALUE_0", "true");
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));

    let car = sandbox.path_of("car");
    let head = sandbox.git_in(&car, &["rev-parse", "HEAD"]);
    assert_eq!(head.trim(), season().commits.last().unwrap(), "same tool, same commits");
    assert!(!sandbox.outside().join("ran").exists(), "a hook ran");
    assert!(!car.join(".git/hooks").exists());
    let (mut here, mut there) = (BTreeSet::new(), BTreeSet::new());
    std::fs::remove_dir_all(car.join(".git")).unwrap();
    files(&car, "", &mut here);
    files(&season().folder(), "", &mut there);
    there.retain(|(path, _)| !path.starts_with(".git/"));
    assert_eq!(here, there, "the same bytes");
    assert_eq!(sandbox.git(&["ls-files"]), "own.yaml\n", "the repository around it is as it was");
    let refs = sandbox.git(&["for-each-ref"]);
    assert_eq!(refs, "");
}

#[test]
fn without_git_the_error_has_a_fix() {
    let sandbox = Sandbox::new();
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
    let output = command.args(["example", "car"]).env("PATH", sandbox.path_of("none")).output().unwrap();
    let answer: Answer = Answer::from_output(&output);
    let error = answer.ended(2).err;
    assert!(error.contains("git could not be started") && error.contains("install git"), "{error}");
}

/// Each history check has exactly the findings that the season was written for.
#[test]
fn the_history_checks_have_the_intended_findings() {
    let answer = season().check(&[]);
    assert_eq!(answer["history"], "on");
    let findings = answer["findings"].as_array().unwrap();
    let mut reported: Vec<(&str, &str)> = findings
        .iter()
        .map(|finding| (finding["check"].as_str().unwrap(), finding["record"].as_str().unwrap()))
        .filter(|(check, _)| {
            trace::checks::find(check).is_some_and(|check| check.group == trace::checks::Group::History)
        })
        .collect();
    reported.sort_unstable();
    assert_eq!(
        reported,
        [
            ("no-action", "wheel-power"),
            ("rewritten-result", "driver-changes"),
            ("stale-analysis", "cooling-balance"),
            ("stale-result", "mould-list"),
            ("stale-result", "rod-ends-incoming"),
            ("target-after-result", "steering-torque"),
            ("unrecorded-revision", "tyre-warm-up"),
        ]
    );
}

/// After the contest, what was measured is missed or uncertain, not at risk; and estimates that were far off on average are
/// not "where we expected them". All curves of the audit begin on the same day.
#[test]
fn the_talk_and_the_curves_at_the_end_of_the_season() {
    let season = season();
    let said = season.sandbox.tierod_in(&season.folder(), &["deck", "--output", "../talk.html"]).ended(0);
    let report = format!("{}{}", said.out, said.err);
    assert!(report.contains("  3 of 6 main targets missed, 1 uncertain\n"), "{report}");
    assert!(report.contains("  Results were 17 % above our estimates of cost\n"), "{report}");
    // The uncertainty that the notes of a choice name is in its picture.
    let talk = std::fs::read_to_string(season.sandbox.path_of("talk.html")).unwrap();
    let slide = talk.split_once("id=\"engine\"").unwrap().1.split_once("</section>").unwrap().0;
    let within = slide.split_once(", plus or minus ").unwrap().1.split_once("</p>").unwrap().0.trim_end_matches('.');
    assert!(slide.contains(&format!("±\u{202f}{within}<")), "{within}: {slide}");
    let page = season.sandbox.tierod_in(&season.folder(), &["audit", "--format", "html"]).ended(1).out;
    let section = page.split_once("id=\"season-h\"").unwrap().1.split_once("</section>").unwrap().0;
    let begins: Vec<&str> =
        section.split("begins on ").skip(1).map(|text| &text[..10]).filter(|day| day.starts_with("20")).collect();
    assert!(begins.len() >= 3, "{section}");
    assert!(begins.iter().all(|day| *day == begins[0]), "{begins:?}");
    let (points, mass) = (section.find("Points predicted").unwrap(), section.find("Mass of the car").unwrap());
    assert!(points < mass, "the points are first");
}

/// The audit is the same with its cache, without it, and at the commit instead of the working tree.
#[test]
fn the_audit_of_the_season_needs_no_cache() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let audit = |more: &[&str]| {
        sandbox.tierod_in(&sandbox.path_of("car"), &[&["audit", "--format", "json"], more].concat()).ended(1)
    };
    let first = audit(&[]);
    assert_eq!(audit(&[]).out, first.out, "from the cache");
    let cache = sandbox.path_of("car/.git/tierod");
    assert!(cache.is_dir());
    std::fs::remove_dir_all(&cache).unwrap();
    assert_eq!(audit(&[]).out, first.out, "the cache deleted");
    let mut at_head = audit(&["--rev", "HEAD"]).json();
    let mut here = first.json();
    for answer in [&mut at_head, &mut here] {
        answer.as_object_mut().unwrap().remove("source");
    }
    assert_eq!(at_head, here);
    let [met, missed, never] = ["met", "missed", "never verified"].map(|verdict| {
        here["targets"].as_array().unwrap().iter().filter(|target| target["verdict"] == verdict).count()
    });
    assert_eq!((met, missed, never), (75, 3, 3));
    assert_eq!(here["goals"][0]["place_reached"], 7);
    assert_eq!(here["goals"][0]["reached"], true);
    assert!(here["at_risk_periods"].as_array().unwrap().iter().any(|one| one["end"] == "revised"));
    assert!(
        here["at_risk_periods"]
            .as_array()
            .unwrap()
            .iter()
            .any(|one| one["target"] == "wheel-power" && one["end"].is_null())
    );
}
