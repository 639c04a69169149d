//! A program on a terminal of its own, for tests that type.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::os::fd::OwnedFd;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};

/// How long an answer may take.
const PATIENCE: Duration = Duration::from_secs(60);

/// A running program and what its terminal shows.
pub(crate) struct Terminal {
    child: Child,
    keys: File,
    shown: Receiver<Vec<u8>>,
    all: Vec<u8>,
    seen: usize,
}

impl Terminal {
    /// Starts a program on a terminal of 100 columns. `setsid -c` makes it its own, so that Ctrl-C reaches it.
    pub(crate) fn start(setsid: Command, program: &[&str]) -> Self {
        Self::with_columns(setsid, program, 100)
    }

    /// The same on a terminal of another width.
    pub(crate) fn with_columns(mut setsid: Command, program: &[&str], columns: u16) -> Self {
        let controller = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
        grantpt(&controller).unwrap();
        unlockpt(&controller).unwrap();
        let name = ptsname(&controller, Vec::new()).unwrap();
        let terminal = File::options().read(true).write(true).open(name.to_str().unwrap()).unwrap();
        tcsetwinsize(&terminal, Winsize { ws_row: 40, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 }).unwrap();
        let terminal = OwnedFd::from(terminal);
        // A shell starts jobs in the background with Ctrl-C ignored, and programs inherit that.
        setsid.args(["-c", "-w", "env", "--default-signal=INT"]).args(program).env("NO_COLOR", "1").env("TERM", "dumb");
        setsid.stdin(Stdio::from(terminal.try_clone().unwrap()));
        setsid.stdout(Stdio::from(terminal.try_clone().unwrap())).stderr(Stdio::from(terminal));
        let child = setsid.spawn().unwrap();
        drop(setsid);
        let keys = File::from(controller.try_clone().unwrap());
        let (send, shown) = channel();
        let mut output = File::from(controller);
        std::thread::spawn(move || {
            let mut part = [0; 4096];
            // The end is an error on Linux, and no more bytes elsewhere.
            while let Ok(length @ 1..) = output.read(&mut part) {
                if send.send(part[..length].to_vec()).is_err() {
                    break;
                }
            }
        });
        Self { child, keys, shown, all: Vec::new(), seen: 0 }
    }

    /// Waits until the terminal shows a text after what was seen before.
    #[track_caller]
    pub(crate) fn wait_for(&mut self, text: &str) {
        while !String::from_utf8_lossy(&self.all[self.seen..]).contains(text) {
            match self.shown.recv_timeout(PATIENCE) {
                Ok(part) => self.all.extend(part),
                Err(error) => panic!("no `{text}` ({error}) in {}", String::from_utf8_lossy(&self.all)),
            }
        }
        self.seen = self.all.len();
    }

    /// Types keys.
    pub(crate) fn types(&mut self, keys: &str) {
        self.keys.write_all(keys.as_bytes()).unwrap();
    }

    /// Waits for the end: the status, -1 for a signal, and everything that the terminal showed.
    pub(crate) fn end(mut self) -> (i32, String) {
        let status = self.child.wait().unwrap();
        while let Ok(part) = self.shown.recv_timeout(Duration::from_millis(500)) {
            self.all.extend(part);
        }
        (status.code().unwrap_or(-1), String::from_utf8_lossy(&self.all).replace("\r\n", "\n"))
    }
}

/// Commands with text, after which nothing is written but the files of the sandbox.
#[cfg(unix)]
const COMMANDS: &[&str] = &[
    "--help",
    "check",
    "check --summary --rev HEAD~48",
    "check --lead x",
    "delta HEAD~40 HEAD~25",
    "why rack-mount",
    "why car-mass",
    "why front-upright-strength --all",
    "values",
    "budget --rev HEAD~48",
    "points --rev HEAD~48",
    "worth --all",
    "compare engine",
    "compare aero-package",
    "graph",
    "audit",
    "audit --rev HEAD~48",
    "audit --brief",
    "history car-mass",
    "history car.mass",
    "history accel-time",
    "history engine",
    "explain",
    "explain units",
    "explain part",
    "explain lap",
    "explain no-parent",
    "explain sae-2024.skidpad",
    "set front-upright.mass 0.61kg",
    "set frame.amounts.mass.value 31kg --dry-run",
    "import bom --dry-run",
    "deck --output ../deck.html",
    "export ../car.xlsx --replace",
];

/// The unit tests look at tables and texts; here are all printers on a real terminal, with the history of a season. A single
/// word may be longer than a line.
#[cfg(unix)]
#[test]
fn lines_are_folded_to_a_real_terminal() {
    use unicode_width::UnicodeWidthStr as _;

    let sandbox = crate::support::Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let mut long = Vec::new();
    for command in COMMANDS {
        for columns in [80_u16, 60] {
            let setsid = sandbox.command("setsid", &sandbox.path_of("car"));
            let program: Vec<&str> = std::iter::once(env!("CARGO_BIN_EXE_tierod")).chain(command.split(' ')).collect();
            let (code, shown) = Terminal::with_columns(setsid, &program, columns).end();
            assert!((0..=2).contains(&code) && !shown.is_empty(), "{command}: {code}\n{shown}");
            // After the progress bar.
            let shown = shown.rsplit_once("\u{1b}[K").map_or(shown.as_str(), |(_, rest)| rest);
            let is_long = |line: &&str| line.width() > usize::from(columns) && line.trim().contains(' ');
            long.extend(shown.lines().filter(is_long).map(|line| format!("{command} at {columns}: {line}")));
        }
    }
    assert!(long.is_empty(), "{} lines are too long:\n{}", long.len(), long.join("\n"));
}
