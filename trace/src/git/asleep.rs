//! An end for a process whose answer never comes: it waits for a pipe that no search has found.
//!
//! Only Linux lists what is needed. A process that waits for a disk is not asleep there, nor is one that waits for a processor.

use std::sync::mpsc::{self, RecvTimeoutError, Sender};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use super::error::GitError;

/// How often a process is looked at.
pub(super) const INTERVAL: Duration = Duration::from_millis(100);
/// How many times in a row it is asleep, with no work between them: 5 s. While the computer itself pauses, none is counted.
const MOST: u32 = 50;

/// A process that may be asleep.
pub(super) struct Sleep {
    id: u32,
    switches: Option<u64>,
    times: u32,
}

impl Sleep {
    pub(super) fn new(id: u32) -> Self {
        Self { id, switches: None, times: 0 }
    }

    /// Whether it will not wake up. To be asked at each interval.
    pub(super) fn is_endless(&mut self) -> bool {
        let now = switches(self.id);
        self.times = if now.is_some() && now == self.switches { self.times + 1 } else { 0 };
        self.switches = now;
        self.times >= MOST
    }
}

/// How often the threads of a process began to wait; `None` if one of them does not wait now, if the process has started
/// another one, or if the system does not list it.
fn switches(id: u32) -> Option<u64> {
    if cfg!(not(target_os = "linux")) {
        return None;
    }
    let mut sum = 0_u64;
    for thread in std::fs::read_dir(format!("/proc/{id}/task")).ok()? {
        let folder = thread.ok()?.path();
        let status = std::fs::read_to_string(folder.join("status")).ok()?;
        let field = |name: &str| status.lines().find_map(|line| line.strip_prefix(name)).map(str::trim);
        let children = std::fs::read_to_string(folder.join("children")).unwrap_or_default();
        if !field("State:")?.starts_with('S') || !children.trim().is_empty() {
            return None;
        }
        sum = sum.checked_add(field("voluntary_ctxt_switches:")?.parse().ok()?)?;
    }
    Some(sum)
}

/// Watches a process that stays open, while an answer of it is awaited.
pub(super) struct Watch {
    state: Arc<Mutex<State>>,
    /// Its end ends the thread.
    _open: Sender<()>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    Idle,
    Awaited,
    Ended,
}

impl Watch {
    /// `end` ends the process.
    pub(super) fn start(id: u32, end: impl Fn(u32) + Send + 'static) -> Self {
        let state = Arc::new(Mutex::new(State::Idle));
        let (open, closed) = mpsc::channel();
        let shared = Arc::clone(&state);
        let watch = move || {
            let mut sleep = Sleep::new(id);
            while closed.recv_timeout(INTERVAL) == Err(RecvTimeoutError::Timeout) {
                // While it is locked the answer is awaited, so that the process is still this one.
                let Ok(mut state) = shared.lock() else { return };
                if *state != State::Awaited {
                    sleep = Sleep::new(id);
                } else if sleep.is_endless() {
                    *state = State::Ended;
                    return end(id);
                }
            }
        };
        // Without the thread the process does the same.
        let _ = std::thread::Builder::new().name("watch".to_owned()).spawn(watch);
        Self { state, _open: open }
    }

    /// Awaits an answer.
    pub(super) fn during<T>(&self, answer: impl FnOnce() -> Result<T, GitError>) -> Result<T, GitError> {
        self.set(State::Awaited);
        let answer = answer();
        let was_ended = self.set(State::Idle) == State::Ended;
        if was_ended && answer.is_err() { Err(GitError::Asleep) } else { answer }
    }

    /// Sets the state; returns the one before.
    fn set(&self, state: State) -> State {
        self.state.lock().map_or(state, |mut now| std::mem::replace(&mut *now, state))
    }
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use std::process::{Command, Stdio};

    use super::*;

    fn is_asleep(command: &mut Command) -> bool {
        let mut child = command.stdin(Stdio::piped()).spawn().unwrap();
        let mut sleep = Sleep::new(child.id());
        let longest = Duration::from_secs(8);
        let start = std::time::Instant::now();
        let mut found = false;
        while !found && start.elapsed() < longest {
            std::thread::sleep(INTERVAL);
            found = sleep.is_endless();
        }
        child.kill().unwrap();
        child.wait().unwrap();
        found
    }

    #[test]
    fn an_answer_that_never_comes_is_an_error() {
        use std::io::{Read as _, Write as _};
        let script = "read x; echo one; read x; read x; echo two";
        let mut child = Command::new("sh");
        let child = child.args(["-c", script]).stdin(Stdio::piped()).stdout(Stdio::piped());
        let mut child = child.spawn().unwrap();
        let (mut input, mut output) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        let watch = Watch::start(child.id(), super::super::process::kill);
        // No answer is awaited here.
        std::thread::sleep(INTERVAL * (MOST + 10));
        let mut ask = || {
            watch.during(|| {
                input.write_all(b"x\n").unwrap();
                let mut answer = [0; 4];
                output.read_exact(&mut answer).map_err(|_| GitError::Stopped { cause: None })
            })
        };
        assert_eq!(ask(), Ok(()));
        assert_eq!(ask(), Err(GitError::Asleep));
        child.wait().unwrap();
    }

    #[test]
    fn only_what_waits_and_does_nothing_is_asleep() {
        let shell = |script: &str| is_asleep(Command::new("sh").args(["-c", script]));
        let results = std::thread::scope(|scope| {
            let scripts = ["read x", "while :; do :; done", "while :; do sleep 1; done", "sleep 20; :"];
            scripts.map(|script| scope.spawn(move || shell(script))).map(|thread| thread.join().unwrap())
        });
        assert_eq!(results, [true, false, false, false]);
    }
}
