//! What a pre-commit hook sees, with git as the reference: `--staged` reads exactly the content of the commit.
//!
//! Git itself starts each hook here, because it sets `GIT_INDEX_FILE` and `GIT_DIR` to other paths for
//! `commit -a`, `commit FILE` and linked worktrees, and a test that sets them itself could differ from git.

#![cfg(unix)]

use std::fmt::Write as _;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};

use crate::support::{RecordPaths, Sandbox, records_in_graph};

pub(crate) const TIEROD: &str = env!("CARGO_BIN_EXE_tierod");

/// A record file with parts of these ids, in which no check reports a finding.
pub(crate) fn parts(ids: &[&str]) -> String {
    let mut text = "parts:\n".to_owned();
    for id in ids {
        let _ = writeln!(text, "  {id}:\n    in: suspension\n    serves: {{circle-time: It takes the load of {id}.}}");
        let _ = writeln!(text, "    verify: {{by: inspection, with: gauge, due: 2027-06-01}}");
    }
    text
}

/// A record file with a result that names a file as its evidence.
pub(crate) fn result(id: &str, evidence: &str) -> String {
    format!("results:\n  {id}: {{of: hub, outcome: pass, date: 2027-03-02, evidence: ['{evidence}']}}\n")
}

/// A word of a POSIX shell.
pub(crate) fn word(text: impl AsRef<Path>) -> String {
    format!("'{}'", text.as_ref().to_str().unwrap().replace('\'', r"'\''"))
}

pub(crate) fn write_hook(path: &Path, script: &str) {
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, script).unwrap();
    std::fs::set_permissions(path, std::fs::Permissions::from_mode(0o755)).unwrap();
}

/// A repository whose pre-commit hook writes down the records that tierod reads, and git's listing.
pub(crate) struct Spied {
    pub(crate) sandbox: Sandbox,
    /// The project root, from the top: empty, or ending in `/`.
    pub(crate) prefix: &'static str,
    /// The folder of the commits: the first working tree, unless a test uses another one.
    pub(crate) folder: PathBuf,
}

impl Spied {
    /// Without a commit yet: the small project root, and `a.yaml` with `a-one` and `b.yaml` with `b-one`.
    pub(crate) fn unborn(prefix: &'static str) -> Self {
        let sandbox = Sandbox::repository();
        sandbox.small_root(prefix);
        let spied = Self { folder: sandbox.path(), sandbox, prefix };
        spied.write("a.yaml", parts(&["a-one"]));
        spied.write("b.yaml", parts(&["b-one"]));
        spied.spy(&spied.sandbox.path_of(".git/hooks/pre-commit"), "");
        spied
    }

    /// The same with a first commit.
    pub(crate) fn new(prefix: &'static str) -> Self {
        let spied = Self::unborn(prefix);
        spied.git(&["add", "."]);
        spied.git(&["commit", "-qm", "first"]);
        spied
    }

    /// Writes the hook, after a first line of the test.
    pub(crate) fn spy(&self, hook: &Path, first: &str) {
        let notes = self.notes();
        std::fs::create_dir_all(&notes).unwrap();
        let root = if self.prefix.is_empty() { "." } else { self.prefix };
        let script = format!(
            "#!/bin/sh\nto={notes}\ntierod={program}\nroot={root}\n{first}\n\
             \"$tierod\" graph --staged --format json -- \"$root\" >\"$to/staged\" 2>\"$to/staged.err\"\n\
             \"$tierod\" check --staged --all --format json -- \"$root\" >\"$to/check\" 2>\"$to/check.err\"\n\
             \"$tierod\" graph --format json -- \"$root\" >\"$to/plain\" 2>\"$to/plain.err\"\n\
             git ls-files -s -z >\"$to/git\"\nexit 0\n",
            notes = word(&notes),
            program = word(TIEROD),
            root = word(root),
        );
        write_hook(hook, &script);
    }

    pub(crate) fn notes(&self) -> PathBuf {
        self.sandbox.outside().join("notes")
    }

    #[track_caller]
    pub(crate) fn note(&self, name: &str) -> String {
        std::fs::read_to_string(self.notes().join(name)).expect("git did not start the hook")
    }

    #[track_caller]
    pub(crate) fn noted_graph(&self, name: &str) -> RecordPaths {
        let text = self.note(name);
        let json =
            serde_json::from_str(&text).unwrap_or_else(|_| panic!("{text}{}", self.note(&format!("{name}.err"))));
        records_in_graph(&json)
    }

    /// Writes a file in the project root.
    pub(crate) fn write(&self, path: &str, content: impl AsRef<[u8]>) {
        let path = self.folder.join(self.path_of(path));
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }

    /// A path in the project root, from the top.
    pub(crate) fn path_of(&self, path: &str) -> String {
        format!("{}{path}", self.prefix)
    }

    #[track_caller]
    pub(crate) fn git(&self, args: &[&str]) -> String {
        self.sandbox.git_in(&self.folder, args)
    }

    /// Commits with these arguments, then compares the records that tierod read in the hook with git's listing in the
    /// hook and with the new commit. `seen` and `unseen` are ids that must and must not be there.
    #[track_caller]
    pub(crate) fn commit(&self, args: &[&str], seen: &[&str], unseen: &[&str]) {
        let _ = std::fs::remove_file(self.notes().join("git"));
        let all: Vec<&str> = ["commit", "-q"].iter().chain(args).copied().collect();
        self.git(&all);
        self.compare(seen, unseen);
    }

    #[track_caller]
    pub(crate) fn compare(&self, seen: &[&str], unseen: &[&str]) {
        let staged = self.noted_graph("staged");
        let listed = self.sandbox.records_in_listing(&self.folder, &self.note("git"), self.prefix);
        assert_eq!(staged, listed, "tierod in the hook, and git in the hook");
        let tree = self.git(&["ls-tree", "-r", "-z", "HEAD"]);
        let committed = self.sandbox.records_in_listing(&self.folder, &tree, self.prefix);
        assert_eq!(staged, committed, "tierod in the hook, and the commit");
        let has = |id: &&&str| staged.iter().any(|place| place.ends_with(&format!(" {id}")));
        assert_eq!(seen.iter().find(|id| !has(id)), None, "not seen: {staged:?}");
        assert_eq!(unseen.iter().find(has), None, "seen: {staged:?}");
    }

    /// The records whose evidence was missing for the check in the hook.
    #[track_caller]
    pub(crate) fn without_evidence(&self) -> Vec<String> {
        records_with("no-evidence", &serde_json::from_str(&self.note("check")).expect("the check failed in the hook"))
    }
}

/// The records that a check reports.
pub(crate) fn records_with(check: &str, report: &serde_json::Value) -> Vec<String> {
    let findings = report["findings"].as_array().unwrap().iter();
    findings.filter(|it| it["check"] == check).map(|it| it["record"].as_str().unwrap().to_owned()).collect()
}

/// Runs a case with the project root at the top, and in a subfolder whose name has a space and is not ASCII.
pub(crate) fn at_the_top_and_below(case: impl Fn(Spied)) {
    case(Spied::new(""));
    case(Spied::new("Fahrwerk/Daten 'ü'/"));
}

#[test]
fn the_first_commit() {
    for prefix in ["", "car/data/"] {
        let spied = Spied::unborn(prefix);
        spied.git(&["add", "."]);
        spied.commit(&["-m", "first"], &["hub", "a-one", "b-one"], &[]);
    }
}

#[test]
fn partial_staging() {
    at_the_top_and_below(|spied| {
        spied.write("a.yaml", parts(&["staged"]));
        spied.git(&["add", "."]);
        spied.write("a.yaml", parts(&["edited-later"]));
        spied.write("untracked.yaml", parts(&["untracked"]));
        spied.commit(&["-m", "x"], &["staged", "b-one"], &["a-one", "edited-later", "untracked"]);
        assert!(spied.noted_graph("plain").contains(&format!("{} edited-later", spied.path_of("a.yaml"))));
    });
}

/// `git add -p` writes blobs that were never a file in the working tree.
#[test]
fn a_blob_that_was_never_a_file() {
    at_the_top_and_below(|spied| {
        let draft = spied.sandbox.outside().join("draft");
        std::fs::write(&draft, parts(&["only-in-the-index"])).unwrap();
        let id = spied.git(&["hash-object", "-w", draft.to_str().unwrap()]);
        let (old, new) = (spied.path_of("a.yaml"), spied.path_of("new.yaml"));
        spied.git(&["update-index", "--cacheinfo", &format!("100644,{},{old}", id.trim())]);
        std::fs::write(&draft, parts(&["without-a-file"])).unwrap();
        let id = spied.git(&["hash-object", "-w", draft.to_str().unwrap()]);
        spied.git(&["update-index", "--add", "--cacheinfo", &format!("100644,{},{new}", id.trim())]);
        spied.commit(&["-m", "x"], &["only-in-the-index", "without-a-file"], &["a-one"]);
    });
}

#[test]
fn commit_all() {
    at_the_top_and_below(|spied| {
        spied.write("a.yaml", parts(&["a-two"]));
        std::fs::remove_file(spied.folder.join(spied.path_of("b.yaml"))).unwrap();
        spied.write("untracked.yaml", parts(&["untracked"]));
        spied.commit(&["-am", "x"], &["a-two"], &["a-one", "b-one", "untracked"]);
    });
}

/// `--only`: other staged changes wait for another commit, and git creates a second index for this one.
#[test]
fn commit_a_file() {
    at_the_top_and_below(|spied| {
        spied.write("a.yaml", parts(&["a-staged"]));
        spied.git(&["add", "."]);
        spied.write("b.yaml", parts(&["b-two"]));
        spied.commit(&["-m", "x", "--", &spied.path_of("b.yaml")], &["a-one", "b-two"], &["a-staged", "b-one"]);
        spied.commit(&["-m", "y"], &["a-staged", "b-two"], &["a-one"]);
    });
}

#[test]
fn commit_including_a_file() {
    at_the_top_and_below(|spied| {
        spied.write("a.yaml", parts(&["a-staged"]));
        spied.git(&["add", "."]);
        spied.write("b.yaml", parts(&["b-two"]));
        spied.write("chain.yaml", "goals: {}\n");
        let b = spied.path_of("b.yaml");
        spied.commit(&["-m", "x", "--include", "--", &b], &["a-staged", "b-two", "hub"], &["a-one", "b-one"]);
    });
}

#[test]
fn commit_amended() {
    at_the_top_and_below(|spied| {
        spied.write("a.yaml", parts(&["a-two"]));
        spied.git(&["add", "."]);
        spied.write("b.yaml", parts(&["b-two"]));
        spied.commit(&["--amend", "-m", "x"], &["a-two", "b-one"], &["a-one", "b-two"]);
        spied.commit(&["--amend", "-am", "y"], &["a-two", "b-two"], &["b-one"]);
    });
}

#[test]
fn intent_to_add() {
    at_the_top_and_below(|spied| {
        spied.write("meant.yaml", parts(&["meant"]));
        spied.write("pull.csv", "1,2\n");
        spied.write("pull.yaml", result("pull", "pull.csv"));
        spied.git(&["add", "-N", &spied.path_of("meant.yaml"), &spied.path_of("pull.csv")]);
        spied.git(&["add", &spied.path_of("pull.yaml")]);
        spied.commit(&["-m", "x"], &["pull"], &["meant"]);
        assert_eq!(spied.without_evidence(), ["pull"], "evidence that is only meant to be added is not there");
        // `-a` adds it.
        spied.commit(&["-am", "y"], &["meant", "pull"], &[]);
        assert_eq!(spied.without_evidence(), [""; 0]);
    });
}

#[test]
fn evidence_is_looked_up_where_the_records_are_read() {
    at_the_top_and_below(|spied| {
        spied.write("pull.yaml", result("pull", "test/pull.csv"));
        spied.write("test/pull.csv", "1,2\n");
        spied.git(&["add", &spied.path_of("pull.yaml")]);
        spied.commit(&["-m", "records without their evidence"], &["pull"], &[]);
        assert_eq!(spied.without_evidence(), ["pull"]);
        let plain = spied.sandbox.tierod(&["check", "--format", "json", "--", &format!("./{}", spied.prefix)]);
        assert_eq!(records_with("no-evidence", &plain.json()), [""; 0], "the file is in the working tree");
        spied.git(&["add", "."]);
        spied.commit(&["-m", "and their evidence"], &["pull"], &[]);
        assert_eq!(spied.without_evidence(), [""; 0]);
        // Missing in the working tree, but not in the commit.
        std::fs::remove_file(spied.folder.join(spied.path_of("test/pull.csv"))).unwrap();
        spied.commit(&["--allow-empty", "-m", "nothing staged"], &["pull"], &[]);
        assert_eq!(spied.without_evidence(), [""; 0]);
        spied.commit(&["-am", "gone"], &["pull"], &[]);
        assert_eq!(spied.without_evidence(), ["pull"]);
    });
}

#[test]
fn renamed_and_deleted() {
    at_the_top_and_below(|spied| {
        spied.git(&["mv", &spied.path_of("a.yaml"), &spied.path_of("renamed.yaml")]);
        spied.commit(&["-m", "x"], &["a-one"], &[]);
        assert!(spied.noted_graph("staged").contains(&format!("{} a-one", spied.path_of("renamed.yaml"))));
        spied.git(&["rm", "-q", &spied.path_of("renamed.yaml")]);
        spied.commit(&["-m", "y"], &["b-one"], &["a-one"]);
        spied.git(&["rm", "-q", "--cached", &spied.path_of("b.yaml")]);
        spied.commit(&["-m", "z"], &["hub"], &["b-one"]);
    });
}

#[test]
fn a_merge_in_progress() {
    at_the_top_and_below(|spied| {
        spied.git(&["checkout", "-qb", "side"]);
        spied.write("a.yaml", parts(&["a-side"]));
        spied.write("side.yaml", parts(&["side"]));
        spied.git(&["add", "."]);
        spied.commit(&["-m", "side"], &["a-side", "side"], &["a-one"]);
        spied.git(&["checkout", "-q", "main"]);
        spied.write("a.yaml", parts(&["a-main"]));
        spied.commit(&["-am", "main"], &["a-main"], &["a-side"]);
        let merge = spied.sandbox.command("git", &spied.folder).args(["merge", "-q", "side"]).output().unwrap();
        assert!(!merge.status.success(), "the test needs a conflict");

        let root = format!("./{}", spied.prefix);
        let staged = spied.sandbox.tierod(&["check", "--staged", "--", &root]).ended(2);
        assert!(staged.err.contains("the index has unmerged entries"), "{}", staged.err);
        assert!(staged.err.contains(&spied.path_of("a.yaml")), "{}", staged.err);
        assert!(staged.err.contains("resolve the conflicts and `git add`"), "{}", staged.err);
        // The fix, applied.
        spied.write("a.yaml", parts(&["a-main", "a-side"]));
        spied.git(&["add", "."]);
        spied.sandbox.tierod(&["check", "--staged", "--", &root]).ended(0);
        spied.commit(&["-m", "merged"], &["a-main", "a-side", "side"], &["a-one"]);
    });
}

#[test]
fn a_linked_worktree_shares_the_hook() {
    at_the_top_and_below(|mut spied| {
        let linked = spied.sandbox.outside().join("linked");
        spied.git(&["worktree", "add", "-q", linked.to_str().unwrap()]);
        // What is staged in the first working tree does not affect the second.
        spied.write("b.yaml", parts(&["first-working-tree"]));
        spied.git(&["add", "."]);
        spied.folder = linked;
        spied.write("a.yaml", parts(&["a-two"]));
        spied.write("new.yaml", parts(&["new"]));
        spied.git(&["add", &spied.path_of("new.yaml")]);
        spied.commit(&["-m", "plain"], &["a-one", "new", "b-one"], &["first-working-tree", "a-two"]);
        spied.commit(&["-am", "all"], &["a-two", "new", "b-one"], &["a-one"]);
        spied.write("b.yaml", parts(&["b-two"]));
        spied.write("a.yaml", parts(&["a-three"]));
        spied.commit(&["-m", "only", "--", &spied.path_of("b.yaml")], &["a-two", "b-two"], &["a-three"]);
    });
}

/// In cone mode the omitted folders keep their records, although they are not in the working tree.
#[test]
fn a_sparse_checkout() {
    at_the_top_and_below(|spied| {
        spied.write("left/out.yaml", parts(&["left-out"]));
        spied.write("left/pull.csv", "1,2\n");
        spied.write("kept/in.yaml", parts(&["kept"]) + &result("pull", "left/pull.csv"));
        spied.git(&["add", "."]);
        spied.git(&["commit", "-qm", "folders"]);
        spied.git(&["sparse-checkout", "set", "--cone", &spied.path_of("kept")]);
        assert!(!spied.folder.join(spied.path_of("left")).exists(), "the test needs an omitted folder");
        spied.write("a.yaml", parts(&["a-two"]));
        spied.commit(&["-am", "x"], &["left-out", "kept", "a-two"], &["a-one"]);
        assert_eq!(spied.noted_graph("plain"), spied.noted_graph("staged"), "omitted files are read from the index");
        assert_eq!(spied.without_evidence(), [""; 0]);
        let plain = spied.sandbox.tierod(&["check", "--format", "json", "--", &format!("./{}", spied.prefix)]);
        assert_eq!(records_with("no-evidence", &plain.json()), [""; 0], "omitted evidence is found, too");
    });
}

/// Another project root in an omitted folder keeps its own records.
#[test]
fn a_nested_project_root_omitted_by_a_sparse_checkout() {
    let spied = Spied::new("");
    spied.write("season/2026/tierod.yaml", "season: 2026\n");
    spied.write("season/2026/old.yaml", parts(&["last-season"]));
    spied.write("kept/in.yaml", parts(&["kept"]));
    spied.git(&["add", "."]);
    spied.git(&["commit", "-qm", "x"]);
    let before = records_in_graph(&spied.sandbox.tierod(&["graph", "--format", "json"]).ended(0).json());
    spied.git(&["sparse-checkout", "set", "--cone", "kept"]);
    let sparse = records_in_graph(&spied.sandbox.tierod(&["graph", "--format", "json"]).ended(0).json());
    assert_eq!(sparse, before);
    assert!(!sparse.iter().any(|place| place.ends_with("last-season")), "{sparse:?}");
}

#[test]
fn paths_that_are_not_ascii() {
    at_the_top_and_below(|spied| {
        spied.write("Fahrwerk/Querträger ü.yaml", parts(&["quertraeger"]));
        spied.write("日本/レース \"1\".yml", parts(&["race"]));
        spied.git(&["add", "."]);
        spied.commit(&["-m", "x"], &["quertraeger", "race"], &[]);
        let name = spied.path_of("Fahrwerk/Querträger ü.yaml");
        spied.write("Fahrwerk/Querträger ü.yaml", parts(&["traeger-two"]));
        spied.commit(&["-m", "y", "--", &name], &["traeger-two"], &["quertraeger"]);
    });
}

/// With `core.autocrlf` the blobs have LF, the files CRLF; both are the same records.
#[test]
fn windows_line_endings() {
    at_the_top_and_below(|spied| {
        spied.git(&["config", "core.autocrlf", "true"]);
        spied.write("a.yaml", parts(&["a-two", "a-three"]).replace('\n', "\r\n"));
        spied.git(&["add", "."]);
        spied.commit(&["-m", "x"], &["a-two", "a-three"], &["a-one"]);
        assert_eq!(spied.noted_graph("plain"), spied.noted_graph("staged"));
        // With CRLF in the blobs, too.
        spied.git(&["config", "core.autocrlf", "false"]);
        spied.write("b.yaml", parts(&["b-two"]).replace('\n', "\r\n"));
        spied.commit(&["-am", "y"], &["b-two"], &["b-one"]);
    });
}

/// Executable files are records; links and submodules are not, and do not stop a commit.
#[test]
fn entries_that_are_not_plain_files() {
    at_the_top_and_below(|spied| {
        let module = spied.sandbox.outside().join("module");
        std::fs::create_dir(&module).unwrap();
        spied.sandbox.git_in(&module, &["init", "-q", "-b", "main"]);
        std::fs::write(module.join("inside.yaml"), parts(&["inside-the-module"])).unwrap();
        spied.sandbox.git_in(&module, &["add", "."]);
        spied.sandbox.git_in(&module, &["commit", "-qm", "x"]);

        let allow = ["-c", "protocol.file.allow=always"];
        let place = spied.path_of("module");
        let add = ["submodule", "--quiet", "add", module.to_str().unwrap(), &place];
        spied.git(&[&allow[..], &add[..]].concat());
        spied.write("run.yaml", parts(&["executable"]));
        let mode = std::fs::Permissions::from_mode(0o755);
        std::fs::set_permissions(spied.folder.join(spied.path_of("run.yaml")), mode).unwrap();
        std::os::unix::fs::symlink("a.yaml", spied.folder.join(spied.path_of("link.yaml"))).unwrap();
        std::os::unix::fs::symlink("nowhere", spied.folder.join(spied.path_of("note.txt"))).unwrap();
        spied.git(&["add", "."]);
        spied.commit(&["-m", "x"], &["executable", "a-one"], &["inside-the-module"]);
        assert_eq!(spied.noted_graph("plain"), spied.noted_graph("staged"));
        // The link is reported at its path, in both states.
        let report: serde_json::Value = serde_json::from_str(&spied.note("check")).unwrap();
        let reported = report["findings"].as_array().unwrap().iter().any(|it| it["path"] == spied.path_of("link.yaml"));
        assert!(reported, "{report}");
    });
}
