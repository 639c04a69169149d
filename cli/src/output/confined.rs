//! A team's template is rendered in a process of its own, with limits of the system: a stranger may have written it, and a
//! single expression can ask for any amount of memory, time or stack.

use std::io::{Read as _, Write as _};
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use serde::{Deserialize, Serialize};
use trace::Error;

use super::template::{Escape, FUEL, rendered};

/// The first argument of that process. It is not a command for people.
pub(crate) const ARGUMENT: &str = "--render-template";

/// The largest template, in bytes.
pub(crate) const LARGEST: usize = 1 << 20;
/// The memory of the process, in bytes of its address space.
const MEMORY: u64 = 256 << 20;
/// What its allocator takes from the system at a time, in KiB: what it has before the limit is set does not count.
const ARENA: &str = "16384";
/// The stack of the thread in it that does the work, in bytes.
const STACK: usize = 16 << 20;
/// Its time on a processor, in seconds.
const SECONDS: u64 = 2;
/// The longest wait for it, where the system may be busy with others.
const WAIT: Duration = Duration::from_secs(if cfg!(unix) { 20 } else { 3 });
/// The largest output, in bytes.
const OUTPUT: u64 = 32 << 20;
/// The largest message of an error, in bytes.
const MESSAGE: u64 = 4000;
/// The status of a template that is wrong; its message is on stderr.
const WRONG: u8 = 3;

/// What the process gets on stdin.
#[derive(Serialize)]
struct Asked<'a> {
    source: &'a str,
    context: &'a serde_json::Value,
}

/// The same, as the process reads it.
#[derive(Deserialize)]
struct Given {
    source: String,
    context: serde_json::Value,
}

/// Renders a template in a process of its own.
///
/// # Errors
/// What is wrong with the template, as text; or that it needs more than it may.
pub(super) fn render(
    name: &str,
    source: &str,
    escape: Escape,
    context: &serde_json::Value,
) -> Result<Result<String, String>, Error> {
    let failed = |error: std::io::Error| Error::new("cannot render a template in a process of its own").because(error);
    if source.len() > LARGEST {
        return Ok(Err(format!("it has {} bytes, and a template may have {LARGEST}", source.len())));
    }
    let asked = serde_json::to_vec(&Asked { source, context }).map_err(std::io::Error::from).map_err(failed)?;
    let program = std::env::current_exe().map_err(failed)?;
    let mut child = Command::new(program)
        .args([ARGUMENT, name, escape.word()])
        .env("MIMALLOC_ARENA_RESERVE", ARENA)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(failed)?;
    let (mut input, output, errors) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    let (done, both) = mpsc::channel();
    // Each pipe has a thread, so that no side waits for the other with a full one.
    std::thread::spawn(move || input.as_mut().map_or(Ok(()), |input| input.write_all(&asked)));
    let stderr = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let read = errors.map(|errors| errors.take(MESSAGE).read_to_end(&mut bytes));
        read.map(|_| bytes).unwrap_or_default()
    });
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        let read = output.map(|output| output.take(OUTPUT + 1).read_to_end(&mut bytes));
        done.send(read.map(|_| bytes).unwrap_or_default())
    });
    let output = both.recv_timeout(WAIT).ok().filter(|bytes| bytes.len() as u64 <= OUTPUT);
    if output.is_none() {
        let _ = child.kill();
    }
    let status = child.wait().map_err(failed)?;
    let output = output.filter(|_| status.success()).and_then(|bytes| String::from_utf8(bytes).ok());
    Ok(match (output, status.code()) {
        (Some(text), _) => Ok(text),
        (None, Some(status)) if status == i32::from(WRONG) => {
            let message = stderr.join().unwrap_or_default();
            Err(String::from_utf8_lossy(&message).into_owned())
        }
        (None, _) => Err(format!(
            "it needs more memory, time or depth than a template may: at most {} MiB, {SECONDS} s and {} MiB of output",
            MEMORY >> 20,
            OUTPUT >> 20
        )),
    })
}

/// The work of that process: the template and its data from stdin, the text to stdout. Returns its status.
pub(crate) fn run(mut args: impl Iterator<Item = String>) -> u8 {
    limit();
    let (Some(name), Some(escape)) = (args.next(), args.next().and_then(|word| Escape::from_word(&word))) else {
        return 2;
    };
    let Ok(Given { source, context }) = serde_json::from_reader(std::io::stdin().lock()) else { return 2 };
    // The stack of a thread is there from the beginning; that of the process grows, and counts against the limit.
    let work = move || rendered(&name, source, escape, Some(FUEL), &context);
    let Ok(rendering) = std::thread::Builder::new().stack_size(STACK).spawn(work) else { return 2 };
    let (status, written) = match rendering.join().unwrap_or_else(|_| Err("the template engine failed".to_owned())) {
        Ok(text) => (0, std::io::stdout().lock().write_all(text.as_bytes())),
        Err(message) => (WRONG, std::io::stderr().lock().write_all(message.as_bytes())),
    };
    if written.is_ok() { status } else { 2 }
}

#[cfg(unix)]
fn limit() {
    use rustix::process::{Resource, Rlimit, setrlimit};
    for (resource, most) in [(Resource::As, MEMORY), (Resource::Cpu, SECONDS), (Resource::Core, 0)] {
        let _ = setrlimit(resource, Rlimit { current: Some(most), maximum: Some(most) });
    }
}

#[cfg(not(unix))]
fn limit() {}
