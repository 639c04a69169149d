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
