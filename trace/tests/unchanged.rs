//! The history for the checks skips files that have not changed since the first commit. No finding depends on it.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use schema::Day;
use trace::git::{NewCommit, create_repository};
use trace::history::{Logs, Past};
use trace::snapshot::{Request, State};
use trace::{Project, Study};

/// Numbers that look random and are the same in every run.
struct Numbers(u64);

impl Numbers {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % end
    }
}

/// A record: its kind, and its text without the id.
type Records = BTreeMap<String, (&'static str, String, usize)>;

const FILES: usize = 5;

fn part(number: usize) -> String {
    format!("{{in: chassis, amounts: {{mass: 1.{number} kg}}, serves: {{car-mass: It carries load case {number}.}}}}")
}

fn target(number: usize) -> String {
    format!("{{of: chassis, at-most: {number} kg, estimate: 13 kg}}")
}

fn first(numbers: &mut Numbers) -> Records {
    let mut records = Records::new();
    let mut add = |id: &str, kind: &'static str, text: String| {
        let file = numbers.below(FILES);
        records.insert(id.to_owned(), (kind, text, file));
    };
    add("chassis", "systems", "{in: car, lead: someone}".to_owned());
    add("car-mass", "targets", "{of: car, formula: car.mass, at-most: 30 kg}".to_owned());
    add("share", "targets", "{of: chassis, share-of: target-0, at-most: 5 kg}".to_owned());
    for id in 0..4 {
        add(&format!("part-{id}"), "parts", part(id));
        add(&format!("target-{id}"), "targets", target(10 + id));
    }
    records
}

/// Changes some records, as a team does.
fn change(records: &mut Records, numbers: &mut Numbers, commit: usize) {
    for _ in 0..=numbers.below(3) {
        let which = numbers.below(4);
        let file = numbers.below(FILES);
        let (part_id, target_id) = (format!("part-{which}"), format!("target-{which}"));
        match numbers.below(11) {
            0 => drop(records.insert(format!("part-{}", numbers.below(6)), ("parts", part(numbers.below(9)), file))),
            1 | 9 | 10 => drop(records.insert(target_id, ("targets", target(10 + numbers.below(9)), file))),
            2 => drop(records.remove(&target_id)),
            3 => {
                if let Some((.., own)) = records.get_mut(&part_id) {
                    *own = file;
                }
            }
            4 => {
                if let Some((kind, text, _)) = records.remove(&target_id) {
                    let text = text.replace("{of", &format!("{{formerly: [{target_id}], of"));
                    records.insert(format!("renamed-{which}"), (kind, text, file));
                }
            }
            5 => {
                let of = match numbers.below(4) {
                    0 => format!("{part_id}, outcome: pass"),
                    1 => "chassis, outcome: pass".to_owned(),
                    _ => format!("{target_id}, value: 12 kg"),
                };
                let text = format!("{{of: {of}, date: 2027-0{}-01, evidence: [a.csv]}}", 1 + commit);
                records.insert(format!("result-{which}-{}", numbers.below(2)), ("results", text, file));
            }
            6 => {
                let text = format!("{{finds: {{{target_id}: 12 kg}}, given: {{a: {part_id}.mass}}}}");
                records.insert(format!("analysis-{which}"), ("analyses", text, file));
            }
            7 => {
                let (day, to) = (1 + numbers.below(9), 10 + numbers.below(9));
                let text = format!(
                    "{{of: {target_id}, from: 11 kg, to: {to} kg, date: 2027-02-0{day}, agreed-by: lead, reason: Load case {day}.}}"
                );
                records.insert(format!("revision-{which}"), ("revisions", text, file));
            }
            _ => {
                let text = format!(
                    "{{check: no-action, of: {target_id}, until: 2027-12-01, agreed-by: lead, reason: It is so.}}"
                );
                records.insert(format!("waiver-{which}"), ("waivers", text, file));
            }
        }
    }
}

fn files(records: &Records, broken: Option<usize>) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::from([
        ("tierod.yaml".to_owned(), b"season: 2027\nas-of: 2027-10-19\nstages: {test: 2027-01-30}\n".to_vec()),
        ("a.csv".to_owned(), b"kg\n12\n".to_vec()),
    ]);
    for file in 0..FILES {
        let mut text = String::new();
        let kinds: BTreeSet<&str> = records.values().filter(|(.., own)| *own == file).map(|(kind, ..)| *kind).collect();
        for kind in kinds {
            text += &format!("{kind}:\n");
            for (id, (_, body, _)) in records.iter().filter(|(_, (own, _, at))| *own == kind && *at == file) {
                text += &format!("  {id}: {body}\n");
            }
        }
        if broken == Some(file) {
            text += "parts: {a\n";
        }
        files.insert(format!("file-{file}.yaml"), text.into_bytes());
    }
    files
}

/// The findings with the history for the checks, and with the whole history.
fn findings(folder: &Path, state: &State) -> [String; 2] {
    let day = Day::parse("2027-10-19").unwrap();
    let text = |whole: bool| {
        let project = Project::open(&Request { cwd: folder.to_owned(), path: None, state: state.clone() });
        let loaded = project.load().unwrap();
        let study: Study = if whole {
            let past = Past::load_uncached(&project, &loaded, day);
            project.study(loaded, day, past)
        } else {
            project.study_for_checks(loaded, day, &mut Logs::default())
        };
        format!("{:?}\n{:?}", study.report().findings, study.report().waived)
    };
    [text(false), text(true)]
}

#[test]
fn a_history_that_skips_unchanged_files_gives_the_same_findings() {
    let place = tempfile::tempdir().unwrap();
    let mut of_history = BTreeSet::new();
    for number in 0..80 {
        let mut numbers = Numbers(number);
        let mut records = first(&mut numbers);
        let mut commits = Vec::new();
        for commit in 0..=numbers.below(5) {
            if commit > 0 {
                change(&mut records, &mut numbers, commit);
            }
            let broken = (numbers.below(12) == 0).then(|| numbers.below(FILES));
            commits.push(NewCommit {
                seconds: 1_798_800_000 + 1_604_800 * commit as i64,
                zone: "+0100".to_owned(),
                name: "Team".to_owned(),
                email: "team@example.org".to_owned(),
                message: format!("Change {commit}"),
                files: files(&records, broken),
            });
        }
        let folder = place.path().join(number.to_string());
        create_repository(&folder, &commits).unwrap();
        let mut states: Vec<State> = (0..commits.len()).map(|back| State::Revision(format!("HEAD~{back}"))).collect();
        states.reverse();
        states.push(State::Worktree);
        for edited in [false, true] {
            if edited {
                change(&mut records, &mut numbers, commits.len());
                for (path, bytes) in files(&records, None) {
                    std::fs::write(folder.join(path), bytes).unwrap();
                }
            }
            for state in &states {
                let [short, whole] = findings(&folder, state);
                assert_eq!(short, whole, "history {number}, {state:?}, edited: {edited}");
                let checks =
                    ["no-action", "stale-result", "stale-analysis", "target-after-result", "unrecorded-revision"];
                of_history.extend(
                    checks
                        .into_iter()
                        .filter(|check| short.contains(&format!("Some(\"{check}\")")) || short.contains(check)),
                );
            }
        }
    }
    assert_eq!(of_history.len(), 5, "{of_history:?}");
}
