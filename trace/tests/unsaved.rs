//! An unsaved buffer in a project on disk: its records are used, and the files that they name are found.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::BTreeMap;

use trace::git::{NewCommit, create_repository};
use trace::snapshot::{Request, State};
use trace::{Loaded, Project};

#[test]
fn a_buffer_names_files_that_the_saved_one_does_not() {
    let place = tempfile::tempdir().unwrap();
    let folder = place.path().join("car");
    let file = |path: &str, text: &str| (path.to_owned(), text.as_bytes().to_vec());
    let files = BTreeMap::from([
        file("tierod.yaml", "season: 2027\n"),
        file("a.yaml", "parts: {hub: {}}\n"),
        file("test/hub.csv", "1,2\n"),
        file("test/more/photo.jpg", "x"),
        file("test/empty.csv", ""),
    ]);
    let (name, email, zone) = ("Team".to_owned(), "team@example.org".to_owned(), "+0000".to_owned());
    let message = "Add the hub".to_owned();
    create_repository(&folder, &[NewCommit { seconds: 1_798_800_000, zone, name, email, message, files }]).unwrap();
    std::fs::write(folder.join("test/new.csv"), "3\n").unwrap();
    let buffer = "parts: {hub: {}}\nresults:\n  r: {of: hub, outcome: pass, evidence: [test/hub.csv, test/more, \
                  test/empty.csv, test/new.csv, test/none.csv, unsaved.csv]}\n";
    for (state, on_disk) in
        [(State::Worktree, true), (State::Index, false), (State::Revision("HEAD".to_owned()), false)]
    {
        let project = Project::open(&Request { cwd: folder.clone(), path: None, state });
        let saved = project.snapshot().unwrap();
        let unsaved = saved.with_file("a.yaml", buffer.as_bytes()).with_file("unsaved.csv", *b"4\n");
        // Another thread may check it while the one that took the snapshot continues.
        let loaded = std::thread::spawn(move || Loaded::from_snapshot(unsaved)).join().unwrap().fetched(&project);
        assert_eq!(loaded.ids().collect::<Vec<_>>(), ["hub", "r"]);
        let mut present: Vec<&str> = loaded.present.iter().map(String::as_str).collect();
        present.sort_unstable();
        let expected = ["test/hub.csv", "test/more", "test/new.csv", "unsaved.csv"];
        let expected: Vec<&str> = expected.into_iter().filter(|path| on_disk || *path != "test/new.csv").collect();
        assert_eq!(present, expected);
        assert_eq!(Loaded::from_snapshot(saved).ids().collect::<Vec<_>>(), ["hub"]);
    }
}
