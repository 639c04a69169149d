//! A sandbox for one test: its own folder and home, a cleared environment, fixed dates.

use std::ffi::OsStr;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// The day that the tests use as today, unless a test names another one.
pub(crate) const DAY: &str = "2027-03-19";

/// Otherwise each commit starts git twice more, to find that there is nothing to do.
const NO_UPKEEP: [&str; 2] = ["-c", "maintenance.auto=false"];

/// A temporary folder with a home next to it.
pub(crate) struct Sandbox {
    folder: tempfile::TempDir,
}

/// The answer of a command.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Answer {
    pub(crate) fn from_output(output: &Output) -> Self {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        Self { code: output.status.code().unwrap_or(-1), out: text(&output.stdout), err: text(&output.stderr) }
    }

    /// Fails the test unless the command ended with this status.
    #[track_caller]
    pub(crate) fn ended(self, code: i32) -> Self {
        assert_eq!(self.code, code, "stdout:\n{}\nstderr:\n{}", self.out, self.err);
        self
    }

    /// The answer as JSON.
    #[track_caller]
    pub(crate) fn json(&self) -> serde_json::Value {
        serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}\n{}\n{}", self.out, self.err))
    }
}

/// Copies the program, and waits until the copy can be started: a process that another test starts meanwhile has it open for
/// writing until it runs its own program.
pub(crate) fn copy_program(to: &Path) {
    std::fs::copy(env!("CARGO_BIN_EXE_tierod"), to).unwrap();
    let is_busy =
        || Command::new(to).arg("--version").output().is_err_and(|error| error.kind() == ErrorKind::ExecutableFileBusy);
    while is_busy() {}
}

impl Sandbox {
    /// An empty folder outside of any repository.
    pub(crate) fn new() -> Self {
        Self::within(tempfile::tempdir().unwrap())
    }

    /// The same on a disk, where it takes time to write, also if temporary files are in memory.
    #[cfg(unix)]
    pub(crate) fn on_disk() -> Self {
        Self::within(tempfile::tempdir_in("/var/tmp").unwrap())
    }

    fn within(folder: tempfile::TempDir) -> Self {
        std::fs::create_dir(folder.path().join("home")).unwrap();
        std::fs::create_dir(folder.path().join("work")).unwrap();
        Self { folder }
    }

    /// A folder that is a new repository on the branch `main`.
    pub(crate) fn repository() -> Self {
        let sandbox = Self::new();
        sandbox.git(&["init", "-q", "-b", "main"]);
        sandbox
    }

    /// The folder that commands start in.
    pub(crate) fn path(&self) -> PathBuf {
        self.folder.path().join("work")
    }

    /// The temporary folder around it, for a second repository next to the first.
    pub(crate) fn outside(&self) -> &Path {
        self.folder.path()
    }

    /// A file's path in the folder.
    pub(crate) fn path_of(&self, path: &str) -> PathBuf {
        self.path().join(path)
    }

    /// Writes a file, and creates the folders of its path.
    pub(crate) fn write(&self, path: &str, content: impl AsRef<[u8]>) {
        let path = self.path_of(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }

    /// A command with a cleared environment, started in a folder.
    pub(crate) fn command(&self, program: impl AsRef<OsStr>, folder: &Path) -> Command {
        let mut command = Command::new(program);
        command.current_dir(folder).env_clear().stdin(Stdio::null());
        command.env("PATH", std::env::var_os("PATH").unwrap_or_default());
        command.env("HOME", self.folder.path().join("home")).env("TZ", "UTC").env("LC_ALL", "C.UTF-8");
        command.env("GIT_CONFIG_GLOBAL", "/dev/null").env("GIT_CONFIG_NOSYSTEM", "1");
        for who in ["AUTHOR", "COMMITTER"] {
            command.env(format!("GIT_{who}_NAME"), "Team").env(format!("GIT_{who}_EMAIL"), "team@example.org");
            command.env(format!("GIT_{who}_DATE"), format!("{DAY}T12:00:00Z"));
        }
        command
    }

    /// Runs git in the folder; it must succeed.
    #[track_caller]
    pub(crate) fn git(&self, args: &[&str]) -> String {
        self.git_in(&self.path(), args)
    }

    /// Runs git in another folder; it must succeed.
    #[track_caller]
    pub(crate) fn git_in(&self, folder: &Path, args: &[&str]) -> String {
        let output = self.command("git", folder).args(NO_UPKEEP).args(args).output().unwrap();
        let answer = Answer::from_output(&output);
        assert_eq!(answer.code, 0, "git {args:?}\n{}{}", answer.out, answer.err);
        answer.out
    }

    /// Commits all files on a day.
    #[track_caller]
    pub(crate) fn commit_on(&self, day: &str, message: &str) {
        self.git(&["add", "-A"]);
        self.git_on(day, &["commit", "-q", "--allow-empty", "-m", message]);
    }

    /// Runs git with a day as the date of commits.
    #[track_caller]
    pub(crate) fn git_on(&self, day: &str, args: &[&str]) {
        self.git_in_on(&self.path(), day, args);
    }

    /// Runs git in another folder with a day as the date of commits.
    #[track_caller]
    pub(crate) fn git_in_on(&self, folder: &Path, day: &str, args: &[&str]) {
        let mut command = self.command("git", folder);
        for who in ["AUTHOR", "COMMITTER"] {
            command.env(format!("GIT_{who}_DATE"), format!("{day}T12:00:00Z"));
        }
        let output = command.args(NO_UPKEEP).args(args).output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    }

    /// Runs tierod in the folder.
    pub(crate) fn tierod(&self, args: &[&str]) -> Answer {
        self.tierod_in(&self.path(), args)
    }

    /// Runs tierod in another folder.
    pub(crate) fn tierod_in(&self, folder: &Path, args: &[&str]) -> Answer {
        Answer::from_output(&self.command(env!("CARGO_BIN_EXE_tierod"), folder).args(args).output().unwrap())
    }

    /// Runs tierod in the folder, and ends it after so many seconds on a processor.
    #[cfg(unix)]
    pub(crate) fn within_seconds(&self, seconds: u32, args: &[&str]) -> Answer {
        let limited = format!("ulimit -t {seconds}; exec \"$@\"");
        let mut command = self.command("sh", &self.path());
        Answer::from_output(
            &command.args(["-c", &limited, "sh", env!("CARGO_BIN_EXE_tierod")]).args(args).output().unwrap(),
        )
    }

    /// Writes a small project root at a prefix (empty, or ending in `/`) in which no check reports a finding.
    pub(crate) fn small_root(&self, prefix: &str) {
        self.write(&format!("{prefix}tierod.yaml"), SETTINGS);
        self.write(&format!("{prefix}chain.yaml"), CHAIN);
    }
}

/// Settings that put [`DAY`] into the build stage.
pub(crate) const SETTINGS: &str = "\
season: 2027
as-of: 2027-03-19
stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}
growth:
  mass: {estimated: 20 %, weighed: 0 %}
";

/// A chain from goal to part in which no check reports a finding.
pub(crate) const CHAIN: &str = "\
goals:
  top-ten: {place: 10, reason: A place among ten keeps the workshop., lead: team lead}
events:
  skidpad:
    plan: 50 pts
    lead: dynamics lead
    serves: {top-ten: Cheapest points of all.}
systems:
  suspension: {in: car, lead: suspension lead}
targets:
  circle-time:
    of: car
    at-most: 5.2 s
    estimate: 5.1 s ± 0.05 s
    lead: dynamics lead
    serves: {skidpad: It is what is timed.}
    verify: {by: test, with: timing gates, due: 2027-06-01}
parts:
  hub:
    in: suspension
    serves: {circle-time: It holds the wheel.}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
";

/// The files of records, each as `path id`.
pub(crate) type RecordPaths = std::collections::BTreeSet<String>;

/// The records in the answer of `graph --format json`.
pub(crate) fn records_in_graph(graph: &serde_json::Value) -> RecordPaths {
    let text = |value: &serde_json::Value| value.as_str().unwrap().to_owned();
    let nodes = graph["nodes"].as_array().unwrap().iter();
    nodes.map(|node| format!("{} {}", text(&node["path"]), text(&node["id"]))).collect()
}

/// The records in a file: the map of kinds, read without tierod.
pub(crate) fn ids_in_yaml(bytes: &[u8]) -> Vec<String> {
    type Kinds = std::collections::BTreeMap<String, std::collections::BTreeMap<String, serde_yaml::Value>>;
    let kinds: Option<Kinds> = serde_yaml::from_slice(bytes).unwrap();
    kinds.unwrap_or_default().into_values().flat_map(std::collections::BTreeMap::into_keys).collect()
}

impl Sandbox {
    /// The records in a list of `ls-files -s -z` or `ls-tree -r -z`, below the prefix of a project root.
    #[track_caller]
    pub(crate) fn records_in_listing(&self, folder: &Path, listing: &str, prefix: &str) -> RecordPaths {
        let mut places = RecordPaths::new();
        for line in listing.split('\0').filter(|line| !line.is_empty()) {
            let (meta, path) = line.split_once('\t').unwrap();
            let id = meta.split(' ').find(|field| field.len() >= 40).unwrap();
            let file = path.strip_prefix(prefix).filter(|file| *file != "tierod.yaml");
            let record = file.is_some_and(|file| file.ends_with(".yaml") || file.ends_with(".yml"));
            if record && meta.starts_with("100") {
                let content = self.git_in(folder, &["cat-file", "blob", id]);
                places.extend(ids_in_yaml(content.as_bytes()).into_iter().map(|id| format!("{path} {id}")));
            }
        }
        places
    }
}

/// The exit code and stderr of the tool; it is ended after a minute, which is no answer.
pub(crate) fn timed(sandbox: &Sandbox, args: &[&str]) -> Option<Answer> {
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
    command.args(args).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let start = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if start.elapsed() > Duration::from_secs(60) {
            child.kill().unwrap();
            return None;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    Some(Answer::from_output(&child.wait_with_output().unwrap()))
}
