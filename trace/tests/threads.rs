//! Several repositories, read and evaluated by several threads at once, give the same results as one after the other.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use schema::Day;
use trace::Project;
use trace::git::{NewCommit, create_repository};
use trace::history::commit_state::state_at;
use trace::history::{Logs, Past};
use trace::snapshot::{Request, State};

/// How many repositories, each with its own numbers.
const REPOSITORIES: usize = 8;
/// How many commits each has.
const COMMITS: usize = 12;

/// A project whose limit and mass differ in every repository and every commit.
fn files(repository: usize, commit: usize) -> BTreeMap<String, Vec<u8>> {
    let settings = "season: 2027\nas-of: 2027-03-19\nstages: {build: 2027-04-30}\ngrowth: {mass: {drawn: 5 %}}\n";
    let records = format!(
        "systems: {{chassis: {{in: car, lead: someone}}}}\n\
         targets:\n  car-mass: {{of: car, formula: car.mass, at-most: {} kg}}\n\
         parts:\n  frame: {{in: chassis, amounts: {{mass: {{value: {} kg, basis: drawn}}}}}}\n\
         results:\n  weighing: {{of: frame, outcome: pass, date: 2027-03-01, evidence: [test/scale.csv, test/none.csv]}}\n",
        30 + repository,
        31.5 + repository as f64 / 4.0 + commit as f64 / 16.0,
    );
    BTreeMap::from([
        ("car/tierod.yaml".to_owned(), settings.as_bytes().to_vec()),
        ("car/records.yaml".to_owned(), records.into_bytes()),
        ("car/test/scale.csv".to_owned(), format!("kg\n{commit}\n").into_bytes()),
    ])
}

fn create(folder: &Path, repository: usize) {
    let commits: Vec<NewCommit> = (0..COMMITS)
        .map(|commit| NewCommit {
            seconds: 1_798_800_000 + 604_800 * commit as i64,
            zone: "+0100".to_owned(),
            name: "Team".to_owned(),
            email: "team@example.org".to_owned(),
            message: format!("Change the frame {commit}"),
            files: files(repository, commit),
        })
        .collect();
    create_repository(folder, &commits).unwrap();
}

/// All results of a check: findings, values, history and the files that records name.
fn evaluated(folder: &Path, state: State) -> String {
    let project = Project::open(&Request { cwd: folder.to_owned(), path: Some(folder.join("car")), state });
    let loaded = project.load().unwrap();
    assert_eq!(loaded.unread(), 0, "{:?}", loaded.problems);
    let day = Day::parse("2027-03-19").unwrap();
    let past = Past::for_checks(&project, &mut Logs::default(), &loaded, day);
    let study = project.study(loaded, day, past);
    let history = study.past().complete().unwrap();
    assert_eq!(history.commits.len(), COMMITS);
    let mut present: Vec<&String> = study.loaded.present.iter().collect();
    present.sort();
    let mut text = format!("{present:?}\n{:?}\n{:?}\n", study.report().findings, study.target_statuses());
    for step in history.indices() {
        writeln!(text, "{:?}", state_at(&project, &study.loaded, history, step).unwrap().all()).unwrap();
    }
    text
}

#[test]
fn eight_repositories_on_eight_threads() {
    let place = tempfile::tempdir().unwrap();
    let folders: Vec<_> = (0..REPOSITORIES).map(|at| place.path().join(format!("car-{at}"))).collect();
    folders.iter().enumerate().for_each(|(at, folder)| create(folder, at));
    for state in [State::Worktree, State::Index, State::Revision("HEAD".to_owned())] {
        let alone: Vec<String> = folders.iter().map(|folder| evaluated(folder, state.clone())).collect();
        assert!(alone[0].contains("no-action"), "an earlier commit is needed");
        assert!(alone[0].contains("scale.csv") && !alone[0].contains("[\"test/none.csv"), "{}", alone[0]);
        assert!((1..REPOSITORIES).all(|at| alone[at] != alone[0]), "all repositories differ");
        // Once with the existing cache, and once while all threads write it.
        for with_cache in [true, false] {
            if !with_cache {
                folders.iter().for_each(|folder| std::fs::remove_dir_all(folder.join(".git/tierod")).unwrap());
            }
            let together: Vec<String> = std::thread::scope(|scope| {
                let state = &state;
                let run = |folder| scope.spawn(move || evaluated(folder, state.clone()));
                let threads: Vec<_> = folders.iter().map(|folder| run(folder)).collect();
                threads.into_iter().map(|thread| thread.join().unwrap()).collect()
            });
            assert!(together == alone, "{state:?} with cache: {with_cache}");
        }
    }
}
