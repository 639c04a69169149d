//! Running the program `git`. Decisions depend only on exit codes and on output that git keeps stable for scripts.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, ExitStatus, Output, Stdio};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

use super::asleep::{self, Sleep, Watch};
use super::environment::{Environment, Locals, bare_repository, outside_of_bare};
use super::error::{GitError, without_contents};
use super::waiting;

/// An empty file on every system that git supports.
const NOWHERE: &str = "/dev/null";

/// The program `git`, run in a folder.
pub(super) struct Git {
    /// The folder.
    pub(super) folder: PathBuf,
    /// What the environment determines about its repository.
    pub(super) locals: Locals,
    /// The repository, if it is a bare one: git must not look for one itself.
    bare: Option<PathBuf>,
}

/// How long git may take before a search for what it may be waiting for begins.
const PATIENCE: Duration = Duration::from_millis(500);

/// How long a command of git may take.
#[derive(Clone, Copy, Debug)]
pub(super) struct Longest {
    /// Its time on a processor, in seconds. Only Linux has a limit for another process.
    processor: u64,
    /// Its whole time, in which the system may be busy with others.
    whole: Duration,
}

/// The most memory of a command of git, in bytes, without the files that it maps. Only Linux has a limit for another process.
#[cfg(target_os = "linux")]
const MOST_MEMORY: u64 = 1_000 << 20;

impl Longest {
    /// A command that does not depend on patterns.
    const USUAL: Self = Self { processor: 60, whole: Duration::from_secs(300) };
    /// A command that compares files with the patterns of `.gitignore`: git may try a pattern in very many ways.
    pub(super) const OF_PATTERNS: Self = Self { processor: 5, whole: Duration::from_secs(30) };
    /// A process that reads all objects of a history.
    const OF_OBJECTS: Self = Self { processor: 600, whole: Duration::MAX };

    /// Starts a process, which the system ends if it takes too much time on a processor.
    fn start(self, command: &mut Command) -> Result<Child, GitError> {
        let child = command.spawn().map_err(|error| not_started(&error))?;
        #[cfg(target_os = "linux")]
        {
            use rustix::process::{Pid, Resource, Rlimit, getrlimit, prlimit};
            let id = i32::try_from(child.id()).ok().and_then(Pid::from_raw);
            // The first limit ends it with a signal of its own, without a file of its memory. A lower limit of the user holds.
            let within = |most: u64, own: Option<u64>| Some(own.map_or(most, |own| own.min(most)));
            let own = getrlimit(Resource::Cpu);
            let (current, maximum) = (within(self.processor, own.current), within(self.processor + 1, own.maximum));
            let _ = prlimit(id, Resource::Core, Rlimit { current: Some(0), maximum: Some(0) });
            let _ = prlimit(id, Resource::Cpu, Rlimit { current, maximum });
            let own = getrlimit(Resource::Data);
            let (current, maximum) = (within(MOST_MEMORY, own.current), within(MOST_MEMORY, own.maximum));
            let _ = prlimit(id, Resource::Data, Rlimit { current, maximum });
        }
        Ok(child)
    }
}

/// Whether the system ended a process that took too much time on a processor.
fn is_out_of_time(status: ExitStatus) -> bool {
    #[cfg(target_os = "linux")]
    {
        use std::os::unix::process::ExitStatusExt as _;
        status.signal() == Some(rustix::process::Signal::XCPU.as_raw())
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = status;
        false
    }
}

/// Ends a process.
pub(super) fn kill(id: u32) {
    #[cfg(unix)]
    if let Some(id) = i32::try_from(id).ok().and_then(rustix::process::Pid::from_raw) {
        let _ = rustix::process::kill_process(id, rustix::process::Signal::KILL);
    }
    #[cfg(not(unix))]
    let _ = id;
}

/// Settings that keep git from starting any program, from taking a folder with the files of a repository for one, and from
/// writing objects while it reads a sparse index.
///
/// `git -c` outranks the configuration of the repository, of the user and of the system.
const RUN_NOTHING: [&str; 14] = [
    "advice.graftFileDeprecated=false",
    "core.fsmonitor=false",
    "core.alternateRefsCommand=",
    "core.sshCommand=false",
    "core.askPass=",
    "core.editor=false",
    "core.pager=",
    "credential.helper=",
    "diff.external=",
    "gpg.program=false",
    "index.sparse=false",
    "log.showSignature=false",
    "protocol.allow=never",
    "safe.bareRepository=explicit",
];

/// Whether git needs this variable of the environment: those that name its repository, its configuration and itself.
fn is_needed(name: &str) -> bool {
    const NEEDED: [&str; 14] = [
        "GIT_DIR",
        "GIT_WORK_TREE",
        "GIT_INDEX_FILE",
        "GIT_PREFIX",
        "GIT_IMPLICIT_WORK_TREE",
        "GIT_OBJECT_DIRECTORY",
        "GIT_ALTERNATE_OBJECT_DIRECTORIES",
        "GIT_COMMON_DIR",
        "GIT_QUARANTINE_PATH",
        "GIT_SHALLOW_FILE",
        "GIT_CEILING_DIRECTORIES",
        "GIT_DISCOVERY_ACROSS_FILESYSTEM",
        "GIT_EXEC_PATH",
        "GIT_ATTR_NOSYSTEM",
    ];
    NEEDED.contains(&name) || name.starts_with("GIT_CONFIG")
}

impl Git {
    pub(super) fn new(folder: &Path, locals: &Locals) -> Self {
        let bare = if *locals == Locals::Nothing { bare_repository(folder) } else { None };
        Self { folder: outside_of_bare(folder).to_owned(), locals: locals.clone(), bare }
    }

    /// Git with nothing that the configuration of a repository can make it start.
    pub(super) fn command(&self) -> Command {
        let mut command = self.command_with_hooks();
        command.args(["-c", &format!("core.hooksPath={NOWHERE}")]);
        command
    }

    /// The same, with `core.hooksPath` as it is configured: to ask for it.
    fn command_with_hooks(&self) -> Command {
        let mut command = Command::new("git");
        command.current_dir(self.locals.start_folder(&self.folder)).arg("--no-pager");
        for setting in RUN_NOTHING {
            command.args(["-c", setting]);
        }
        let variables = std::env::vars_os().filter_map(|(name, _)| name.into_string().ok());
        for name in variables.filter(|name| name.starts_with("GIT_") && !is_needed(name)) {
            command.env_remove(name);
        }
        for name in self.locals.hidden() {
            command.env_remove(name);
        }
        if let Some(bare) = &self.bare {
            command.env("GIT_DIR", bare);
        }
        if let Some(file) = self.locals.index() {
            command.env("GIT_INDEX_FILE", file);
        }
        // Git takes no lock to refresh the index, fetches nothing, and does not prompt on the terminal.
        command.env("GIT_OPTIONAL_LOCKS", "0").env("GIT_NO_LAZY_FETCH", "1").env("GIT_TERMINAL_PROMPT", "0");
        command.env("GIT_ALLOW_PROTOCOL", "").env("GIT_NO_REPLACE_OBJECTS", "1").env("GIT_GRAFT_FILE", NOWHERE);
        command.env("LC_ALL", "C").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    }

    /// Runs git with an input, without the user's configuration and the variables of the environment.
    pub(super) fn output_isolated(folder: &Path, args: &[&str], input: Vec<u8>) -> Result<Output, GitError> {
        let mut command = Self::new(folder, &Locals::Another).command();
        for name in Environment::read().names().filter(|name| *name != "GIT_EXEC_PATH") {
            command.env_remove(name);
        }
        command.env("GIT_CONFIG_GLOBAL", NOWHERE).env("GIT_CONFIG_NOSYSTEM", "1").env("GIT_ATTR_NOSYSTEM", "1");
        // Attributes and hooks have defaults outside of the configuration.
        command.args(["-c", &format!("core.attributesFile={NOWHERE}"), "-c", &format!("core.hooksPath={NOWHERE}")]);
        command.args(["-c", "core.autocrlf=false"]).args(args);
        let output = feed(command, input, Longest::USUAL)?;
        if output.status.success() { Ok(output) } else { Err(refused(&output)) }
    }

    /// Runs git; an exit code other than 0 is an error.
    pub(super) fn run(&self, args: &[&OsStr]) -> Result<Vec<u8>, GitError> {
        Ok(self.output(args, Longest::USUAL)?.stdout)
    }

    /// The same within a time, with git's standard error.
    pub(super) fn output(&self, args: &[&OsStr], longest: Longest) -> Result<Output, GitError> {
        let mut command = self.command();
        command.args(args);
        let child = longest.start(&mut command)?;
        let output = output_within(child, longest, || waiting::find(&self.folder))?;
        if output.status.success() { Ok(output) } else { Err(refused(&output)) }
    }

    /// Runs git with an input, within a time; returns its output and exit code.
    pub(super) fn run_with_input(&self, args: &[&str], input: Vec<u8>, longest: Longest) -> Result<Output, GitError> {
        let mut command = self.command();
        command.args(args);
        feed(command, input, longest)
    }

    /// A path from the configuration; `None` if it is not set.
    pub(super) fn configured_path(&self, key: &str) -> Option<PathBuf> {
        let mut command = self.command_with_hooks();
        let output = unfed(command.args(["config", "--type=path", key])).ok()?;
        let text = String::from_utf8_lossy(&output.stdout).trim_end_matches(['\n', '\r']).to_owned();
        output.status.success().then(|| PathBuf::from(text))
    }

    /// Which configuration sets a key, in git's words: `system`, `global`, `local`, `worktree`; `None` if it is not set.
    pub(super) fn scope(&self, key: &str) -> Option<String> {
        let output = unfed(self.command_with_hooks().args(["config", "--show-scope", "--get", key])).ok()?;
        let text = String::from_utf8_lossy(&output.stdout).split('\t').next().map(str::to_owned);
        text.filter(|_| output.status.success())
    }

    /// The output of git as one text, without the line break at its end.
    pub(super) fn text(&self, args: &[&str]) -> Result<String, GitError> {
        let args: Vec<&OsStr> = args.iter().map(OsStr::new).collect();
        Ok(String::from_utf8_lossy(&self.run(&args)?).trim_end_matches(['\n', '\r']).to_owned())
    }
}

/// One `git cat-file` that stays open, so that a walk over thousands of objects is one process.
pub(super) struct ObjectProcess {
    child: Child,
    input: Option<ChildStdin>,
    output: BufReader<ChildStdout>,
    watch: Watch,
}

impl ObjectProcess {
    /// `mode`: `--batch` for contents, `--batch-check` for sizes.
    pub(super) fn start(git: &Git, mode: &str) -> Result<Self, GitError> {
        let mut command = git.command();
        command.args(["--no-replace-objects", "cat-file", mode]).stdin(Stdio::piped()).stderr(Stdio::null());
        let mut child = Longest::OF_OBJECTS.start(&mut command)?;
        match (child.stdin.take(), child.stdout.take()) {
            (Some(input), Some(output)) => {
                let watch = Watch::start(child.id(), kill);
                Ok(Self { child, input: Some(input), output: BufReader::new(output), watch })
            }
            _ => Err(GitError::Stopped { cause: None }),
        }
    }

    /// The kind and the size of an object; `None` if it is missing.
    pub(super) fn header(&mut self, id: &str) -> Result<Option<(String, u64)>, GitError> {
        let Some(input) = &mut self.input else { return Err(GitError::Stopped { cause: None }) };
        let mut header = String::new();
        let output = &mut self.output;
        self.watch.during(|| {
            writeln!(input, "{id}").and_then(|()| input.flush()).map_err(|error| stopped(&error))?;
            match output.read_line(&mut header).map_err(|error| stopped(&error))? {
                0 => Err(GitError::Stopped { cause: None }),
                _ => Ok(()),
            }
        })?;
        // `<id> <type> <size>`, or `<id> missing`.
        let fields: Vec<&str> = header.trim_end().split(' ').collect();
        let [_, kind, size] = fields[..] else { return Ok(None) };
        let size: u64 = size.parse().map_err(|_| unexpected("cat-file", &header))?;
        Ok(Some((kind.to_owned(), size)))
    }

    /// Reads an object; `None` if it is missing.
    pub(super) fn read(&mut self, id: &str) -> Result<Option<StoredObject>, GitError> {
        let Some((kind, size)) = self.header(id)? else { return Ok(None) };
        // A line break follows the content.
        let mut bytes = Vec::new();
        let mut content = self.output.by_ref().take(size.saturating_add(1));
        self.watch.during(|| match content.read_to_end(&mut bytes).map_err(|error| stopped(&error))? {
            read if read as u64 == size.saturating_add(1) => Ok(()),
            _ => Err(GitError::Stopped { cause: None }),
        })?;
        bytes.pop();
        Ok(Some(StoredObject { kind, size, bytes: Some(bytes) }))
    }
}

fn stopped(error: &std::io::Error) -> GitError {
    GitError::Stopped { cause: Some(error.to_string()) }
}

/// An object as `git cat-file` prints it.
pub(super) struct StoredObject {
    pub(super) kind: String,
    pub(super) size: u64,
    /// `None` if it is too large.
    pub(super) bytes: Option<Vec<u8>>,
}

impl Drop for ObjectProcess {
    fn drop(&mut self) {
        // Git exits at the end of its input.
        self.input = None;
        let _ = self.child.wait();
    }
}

fn feed(mut command: Command, input: Vec<u8>, longest: Longest) -> Result<Output, GitError> {
    let mut child = longest.start(command.stdin(Stdio::piped()))?;
    let mut stdin = child.stdin.take();
    // In another thread, so that neither side waits for the other with a full pipe.
    let writer = std::thread::spawn(move || stdin.as_mut().map_or(Ok(()), |stdin| stdin.write_all(&input)));
    let output = output_within(child, longest, || None)?;
    let _ = writer.join();
    Ok(output)
}

/// The output of git, without an input.
fn unfed(command: &mut Command) -> Result<Output, GitError> {
    let longest = Longest::USUAL;
    output_within(longest.start(command)?, longest, || None)
}

/// The output of a process. It is ended if its whole time is over, if it takes long and `cause` finds what it waits for
/// without an end, or if it is asleep.
fn output_within(
    child: Child,
    longest: Longest,
    cause: impl FnOnce() -> Option<GitError> + Send,
) -> Result<Output, GitError> {
    let (start, id) = (Instant::now(), child.id());
    let (done, ended) = mpsc::channel::<()>();
    std::thread::scope(|scope| {
        let watch = scope.spawn(move || {
            let is_over = |time: Duration| ended.recv_timeout(time) != Err(RecvTimeoutError::Timeout);
            if is_over(PATIENCE) {
                return None;
            }
            let mut sleep = Sleep::new(id);
            let found = cause().or_else(|| {
                loop {
                    let left = longest.whole.saturating_sub(start.elapsed());
                    if is_over(left.min(asleep::INTERVAL)) {
                        return None;
                    } else if left.is_zero() {
                        return Some(GitError::TooLong);
                    } else if sleep.is_endless() {
                        return Some(GitError::Asleep);
                    }
                }
            })?;
            kill(id);
            Some(found)
        });
        let output = child.wait_with_output();
        drop(done);
        match watch.join().ok().flatten() {
            Some(found) => Err(found),
            None => in_time(output.map_err(|error| stopped(&error))?),
        }
    })
}

fn in_time(output: Output) -> Result<Output, GitError> {
    if is_out_of_time(output.status) { Err(GitError::TooLong) } else { Ok(output) }
}

fn not_started(error: &std::io::Error) -> GitError {
    GitError::NotStarted { cause: error.to_string() }
}

/// The error of an exit code other than 0.
pub(super) fn refused(output: &Output) -> GitError {
    let mut printed = String::from_utf8_lossy(&output.stderr).trim().trim_start_matches("fatal: ").to_owned();
    // In a damaged index git reads behind its end: what it found there is another number each time.
    if printed.starts_with("unknown index entry format") {
        printed.truncate(printed.find(" 0x").unwrap_or(printed.len()));
    }
    // What git advises is about its own use, and a full disk is the same for each of a thousand files.
    const MOST_LINES: usize = 5;
    let lines = printed.lines().filter(|line| !line.starts_with("hint:"));
    let printed = lines.take(MOST_LINES).collect::<Vec<_>>().join("\n");
    GitError::Refused { code: output.status.code(), output: without_contents(&printed) }
}

/// The error of output in an unknown format.
pub(super) fn unexpected(command: &'static str, line: &str) -> GitError {
    GitError::UnexpectedOutput { command, line: line.trim_end().to_owned() }
}
