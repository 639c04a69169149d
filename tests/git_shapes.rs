//! Every shape of repository that git reads: tierod reads the same records, or shows a command that fixes the cause.
//!
//! libgit2 refuses several of them (reftable, SHA-256, split and sparse indexes, other owners); then git is used.
//! The reference is always git's listing and git's blobs.

#![cfg(unix)]
#![allow(clippy::print_stdout, reason = "a test prints the shape in which it fails, and why it is skipped")]

use std::path::{Path, PathBuf};

use crate::support::{RecordPaths, Sandbox, records_in_graph};

/// A record file with one part.
pub(crate) fn part(id: &str) -> String {
    format!("parts:\n  {id}: {{in: suspension, serves: {{circle-time: It takes the load of {id}.}}}}\n")
}

/// A repository or a clone of one, with a project root in it.
pub(crate) struct Shape {
    pub(crate) sandbox: Sandbox,
    /// The folder of the commands: the top of the working tree, or a bare repository.
    pub(crate) folder: PathBuf,
    /// The project root, from the top: empty, or ending in `/`.
    pub(crate) prefix: &'static str,
}

impl Shape {
    /// A repository from `git init` with these options, with two commits and staged changes.
    pub(crate) fn new(prefix: &'static str, init: &[&str]) -> Self {
        let sandbox = Sandbox::new();
        let folder = sandbox.path();
        sandbox.git(&[&["init", "-q", "-b", "main"], init].concat());
        let shape = Self { sandbox, folder, prefix };
        shape.fill();
        shape
    }

    /// Two commits, something staged, something edited later, something untracked.
    pub(crate) fn fill(&self) {
        let write = |path: &str, id: &str| self.sandbox.write(&format!("{}{path}", self.prefix), part(id));
        self.sandbox.small_root(self.prefix);
        self.sandbox.write("outside.txt", "not in the project root\n");
        write("a.yaml", "a-one");
        write("deep/down/b.yaml", "b-one");
        self.git(&["add", "."]);
        self.git(&["commit", "-qm", "one"]);
        write("a.yaml", "a-two");
        write("deep/c.yaml", "c-one");
        self.git(&["add", "."]);
        self.git(&["commit", "-qm", "two"]);
        write("a.yaml", "a-staged");
        self.git(&["add", "."]);
        write("a.yaml", "a-edited");
        write("deep/untracked.yaml", "untracked");
    }

    #[track_caller]
    pub(crate) fn git(&self, args: &[&str]) -> String {
        self.sandbox.git_in(&self.folder, args)
    }

    /// The project root as an argument.
    pub(crate) fn root(&self) -> String {
        format!("./{}", self.prefix)
    }

    /// The records of the index, by git.
    #[track_caller]
    pub(crate) fn staged_by_git(&self) -> RecordPaths {
        self.sandbox.records_in_listing(&self.folder, &self.git(&["ls-files", "-s", "-z"]), self.prefix)
    }

    /// The records of a revision, by git.
    #[track_caller]
    pub(crate) fn revision_by_git(&self, revision: &str) -> RecordPaths {
        let tree = self.git(&["ls-tree", "-r", "-z", "--full-tree", revision]);
        self.sandbox.records_in_listing(&self.folder, &tree, self.prefix)
    }

    /// The records of the working tree: files that git lists as tracked or not ignored, and files omitted from it.
    #[track_caller]
    pub(crate) fn worktree_by_git(&self) -> RecordPaths {
        let mut places = RecordPaths::new();
        let staged = self.staged_by_git();
        for line in self.git(&["ls-files", "-cot", "-z", "--exclude-standard"]).split('\0') {
            let Some((tag, path)) = line.split_once(' ') else { continue };
            let record = path.starts_with(self.prefix) && (path.ends_with(".yaml") || path.ends_with(".yml"));
            if !record || path.ends_with("tierod.yaml") {
                continue;
            }
            match std::fs::read(self.folder.join(path)) {
                Ok(bytes) => {
                    places.extend(crate::support::ids_in_yaml(&bytes).into_iter().map(|id| format!("{path} {id}")));
                }
                Err(_) if tag == "S" => {
                    places.extend(staged.iter().filter(|place| place.starts_with(&format!("{path} "))).cloned());
                }
                Err(_) => {}
            }
        }
        places
    }

    /// The records that tierod reads, with these options.
    #[track_caller]
    pub(crate) fn seen(&self, options: &[&str]) -> RecordPaths {
        let root = self.root();
        let args = [&["graph", "--format", "json"], options, &["--", &root]].concat();
        records_in_graph(&self.sandbox.tierod_in(&self.folder, &args).ended(0).json())
    }

    /// Fails unless tierod reads all three states like git.
    #[track_caller]
    pub(crate) fn assert_as_git(&self) {
        let (staged, head) = (self.staged_by_git(), self.revision_by_git("HEAD"));
        assert!(staged.len() > 5 && head.len() > 5, "nothing to compare: {staged:?}");
        assert_eq!(self.seen(&["--rev", "HEAD"]), head, "HEAD");
        assert_eq!(self.seen(&["--staged"]), staged, "the index");
        assert_eq!(self.seen(&[]), self.worktree_by_git(), "the working tree");
        self.assert_checks_alike();
    }

    /// Fails unless `check` counts the records that `graph` reads.
    #[track_caller]
    pub(crate) fn assert_checks_alike(&self) {
        for options in [&[][..], &["--staged"], &["--rev", "HEAD"]] {
            let root = self.root();
            let args = [&["check", "--format", "json"], options, &["--", &root]].concat();
            let answer = self.sandbox.tierod_in(&self.folder, &args);
            assert!(answer.code < 2, "{options:?}: {}", answer.err);
            assert_eq!(answer.json()["summary"]["records"], self.seen(options).len(), "{options:?}");
        }
    }

    /// Fails unless `check` ends with status 2 and shows this command as the fix; the command is then run.
    #[track_caller]
    pub(crate) fn assert_fixed_by(&self, options: &[&str], fix: &str) {
        let root = self.root();
        let args = [&["check"], options, &["--", &root]].concat();
        let refused = self.sandbox.tierod_in(&self.folder, &args).ended(2);
        assert!(refused.err.contains(fix), "another fix:\n{}", refused.err);
        let output = self.sandbox.command("sh", &self.folder).args(["-c", fix]).output().unwrap();
        assert!(output.status.success(), "{fix}: {}", String::from_utf8_lossy(&output.stderr));
    }
}

pub(crate) const PREFIXES: [&str; 2] = ["", "car/data/"];

/// Shapes that a few commands create from a plain repository.
#[test]
fn shapes_of_one_repository() {
    type Commands = &'static [&'static [&'static str]];
    let shapes: &[(&str, &[&str], Commands)] = &[
        ("plain", &[], &[]),
        ("reftable", &["--ref-format=reftable"], &[]),
        ("SHA-256", &["--object-format=sha256"], &[]),
        ("reftable and SHA-256", &["--ref-format=reftable", "--object-format=sha256"], &[]),
        ("split index", &[], &[&["update-index", "--split-index"]]),
        ("index of version 4", &[], &[&["update-index", "--index-version", "4"]]),
        (
            "untracked cache",
            &[],
            &[
                &["config", "core.untrackedCache", "true"],
                &["update-index", "--force-untracked-cache"],
                &["status", "-s"],
            ],
        ),
        // Only the extension of the index: with this hook every file may have changed, and no daemon is started.
        ("fsmonitor", &[], &[&["config", "core.fsmonitor", "/bin/false"], &["update-index", "--fsmonitor"]]),
        ("index without hash", &[], &[&["config", "index.skipHash", "true"], &["update-index", "--force-write-index"]]),
        ("packed objects and refs", &[], &[&["gc", "-q", "--prune=now"], &["pack-refs", "--all"]]),
        (
            "commit graph",
            &[],
            &[&["gc", "-q"], &["commit-graph", "write", "--reachable"], &["multi-pack-index", "write"]],
        ),
        ("worktree configuration", &[], &[&["config", "extensions.worktreeConfig", "true"]]),
        ("detached", &[], &[&["checkout", "-q", "--detach"]]),
        ("separate git folder", &["--separate-git-dir=../apart.git"], &[]),
        (
            "unknown extension",
            &[],
            &[&["config", "core.repositoryFormatVersion", "1"], &["config", "extensions.noop-v1", "1"]],
        ),
    ];
    for prefix in PREFIXES {
        for (name, init, commands) in shapes {
            println!("{name}, project root at `{prefix}`");
            let shape = Shape::new(prefix, init);
            commands.iter().for_each(|command| drop(shape.git(command)));
            shape.assert_as_git();
        }
    }
}

/// A sparse checkout, with a full and with a sparse index.
#[test]
fn sparse_checkouts() {
    for prefix in PREFIXES {
        for index in ["--no-sparse-index", "--sparse-index"] {
            println!("{index}, project root at `{prefix}`");
            let shape = Shape::new(prefix, &[]);
            shape.sandbox.write(&format!("{prefix}kept/d.yaml"), part("kept"));
            std::fs::remove_file(shape.sandbox.path_of(&format!("{prefix}deep/untracked.yaml"))).unwrap();
            shape.git(&["add", "."]);
            shape.git(&["commit", "-qm", "three"]);
            shape.git(&["sparse-checkout", "init", "--cone", index]);
            shape.git(&["sparse-checkout", "set", index, &format!("{prefix}kept")]);
            assert!(!shape.sandbox.path_of(&format!("{prefix}deep")).exists(), "the test needs an omitted folder");
            let folded = shape.git(&["ls-files", "--sparse"]).contains("deep/\n");
            assert_eq!(folded, index == "--sparse-index", "the test needs this index");
            shape.assert_as_git();
            assert!(shape.seen(&[]).contains(&format!("{prefix}deep/down/b.yaml b-one")), "omitted records are read");
        }
    }
}

/// During a merge with conflicts, a sparse checkout still has the omitted records.
#[test]
fn a_sparse_checkout_during_a_merge() {
    for index in ["--no-sparse-index", "--sparse-index"] {
        let shape = Shape::new("", &[]);
        shape.git(&["reset", "-q", "--hard"]);
        std::fs::remove_file(shape.sandbox.path_of("deep/untracked.yaml")).unwrap();
        shape.git(&["checkout", "-qb", "side"]);
        shape.sandbox.write("a.yaml", part("a-side"));
        shape.git(&["commit", "-qam", "side"]);
        shape.git(&["checkout", "-q", "main"]);
        shape.sandbox.write("a.yaml", part("a-main"));
        shape.git(&["commit", "-qam", "main"]);
        shape.sandbox.write(".gitignore", "a.yaml\n");
        shape.git(&["sparse-checkout", "set", "--cone", index, "kept"]);
        let merge = shape.sandbox.command("git", &shape.folder).args(["merge", "-q", "side"]).output().unwrap();
        assert!(!merge.status.success(), "the test needs a conflict");
        // As while the conflict is resolved: readable, unmerged in the index, and matched by an ignore rule.
        shape.sandbox.write("a.yaml", part("a-fixed"));
        let seen = shape.seen(&[]);
        for place in ["deep/down/b.yaml b-one", "deep/c.yaml c-one", "a.yaml a-fixed", "chain.yaml hub"] {
            assert!(seen.contains(place), "{place} is not in {seen:?}");
        }
    }
}

#[test]
fn linked_worktrees() {
    for (prefix, init) in [("", &[][..]), ("car/", &[]), ("car/", &["--ref-format=reftable"])] {
        let mut shape = Shape::new(prefix, init);
        shape.git(&["config", "extensions.worktreeConfig", "true"]);
        let linked = shape.sandbox.outside().join("linked");
        shape.git(&["worktree", "add", "-q", linked.to_str().unwrap()]);
        shape.folder = linked;
        shape.git(&["config", "--worktree", "core.excludesFile", "/dev/null"]);
        std::fs::write(shape.folder.join(format!("{prefix}a.yaml")), part("linked")).unwrap();
        shape.git(&["add", "."]);
        assert!(shape.seen(&["--staged"]).contains(&format!("{prefix}a.yaml linked")));
        shape.assert_as_git();
    }
}

#[test]
fn clones() {
    for prefix in PREFIXES {
        for (name, options) in [("plain", &[][..]), ("shared", &["--shared"]), ("shallow", &["--depth=1"])] {
            println!("{name}, project root at `{prefix}`");
            let mut shape = Shape::new(prefix, &[]);
            let origin = format!("file://{}", shape.folder.display());
            let origin = if name == "shared" { shape.folder.to_str().unwrap().to_owned() } else { origin };
            let clone = shape.sandbox.outside().join("clone");
            shape.git(&[&["clone", "-q"], options, &[&origin, clone.to_str().unwrap()]].concat());
            shape.folder = clone;
            shape.assert_as_git();
            if name == "shallow" {
                shape.assert_fixed_by(&["--rev", "HEAD~1"], "git fetch --unshallow");
            }
            assert_eq!(shape.seen(&["--rev", "HEAD~1"]), shape.revision_by_git("HEAD~1"), "{name}");
        }
    }
}

/// A partial clone without its blobs: nothing is fetched automatically, and the fix is shown.
#[test]
fn a_partial_clone() {
    for prefix in PREFIXES {
        let mut shape = Shape::new(prefix, &[]);
        shape.git(&["config", "uploadpack.allowFilter", "true"]);
        shape.git(&["config", "uploadpack.allowAnySHA1InWant", "true"]);
        let expected = shape.revision_by_git("main");
        let before = shape.revision_by_git("main~1");
        let clone = shape.sandbox.outside().join("clone");
        let origin = format!("file://{}", shape.folder.display());
        shape.git(&["clone", "-q", "--filter=blob:none", "--no-checkout", &origin, clone.to_str().unwrap()]);
        shape.folder = clone;

        // Without a checkout there is no index: nothing is staged, and a message says so.
        shape.assert_fixed_by(&["--staged"], "git reset");
        let missing = |shape: &Shape| shape.git(&["rev-list", "--objects", "--missing=print", "HEAD"]).contains("\n?");
        assert!(missing(&shape), "the test needs missing blobs");
        let refused = shape.sandbox.tierod_in(&shape.folder, &["check", "--staged", "--", &shape.root()]).ended(2);
        assert!(refused.err.contains("an object is missing"), "{}", refused.err);
        assert!(missing(&shape), "tierod fetched");
        shape.assert_fixed_by(&["--rev", "HEAD"], "git fetch --refetch --no-filter");
        assert_eq!(shape.seen(&["--rev", "HEAD"]), expected);
        assert_eq!(shape.seen(&["--rev", "HEAD~1"]), before);
        assert_eq!(shape.seen(&["--staged"]), expected);
        shape.git(&["checkout", "-q", "."]);
        shape.assert_as_git();
    }
}

#[test]
fn bare_repositories() {
    for (prefix, format) in [("", "files"), ("car/data/", "files"), ("", "reftable"), ("car/data/", "reftable")] {
        let shape = Shape::new(prefix, &[]);
        let bare = shape.sandbox.outside().join("team.git");
        shape.git(&["clone", "-q", "--bare", "--ref-format", format, ".", bare.to_str().unwrap()]);
        let expected = shape.revision_by_git("main");
        let graph = |folder: &Path, root: Option<&str>| {
            let args = [&["graph", "--format", "json", "--rev", "main"], root.as_slice()].concat();
            records_in_graph(&shape.sandbox.tierod_in(folder, &args).ended(0).json())
        };
        let outside = shape.sandbox.outside();
        assert_eq!(graph(&bare, None), expected, "from inside");
        assert_eq!(graph(&bare, Some(&shape.root())), expected, "from inside, by the project root");
        assert_eq!(graph(outside, Some("team.git")), expected, "by path");
        assert_eq!(graph(outside, Some(&format!("team.git/{prefix}"))), expected, "by path, with the project root");
        if !prefix.is_empty() {
            assert_eq!(graph(outside, Some("team.git/car")), expected, "from above the project root");
        }
        let staged = shape.sandbox.tierod_in(&bare, &["check", "--staged"]).ended(2);
        assert!(staged.err.contains("--rev main"), "{}", staged.err);
        shape.sandbox.tierod_in(&bare, &["check"]).ended(2);
        let hook = shape.sandbox.tierod_in(&bare, &["hook", "install"]).ended(2);
        assert!(!hook.err.is_empty());
    }
}

/// Submodules next to the project root and in it: their files do not belong to it.
#[test]
fn submodules() {
    for prefix in PREFIXES {
        for place in ["outside", "car/data/vendor", "vendor"] {
            let shape = Shape::new(prefix, &[]);
            let module = Shape::new("", &[]);
            module.git(&["reset", "-q", "--hard"]);
            let allow = ["-c", "protocol.file.allow=always", "submodule", "--quiet", "add"];
            shape.git(&[&allow[..], &[module.folder.to_str().unwrap(), place]].concat());
            shape.git(&["commit", "-qm", "with a module"]);
            shape.assert_as_git();
            // The submodule is a separate repository, with its own project root.
            let inside = Shape { folder: shape.folder.join(place), sandbox: shape.sandbox, prefix: "" };
            inside.assert_as_git();
        }
    }
}
