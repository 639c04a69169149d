//! `page --watch`: a page that is written again when a file is saved, and ends cleanly.
#![cfg(unix)]

use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use crate::support::Sandbox;

/// A run of `page --watch`, ended with the test.
struct Watch(Child);

impl Drop for Watch {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn content(sandbox: &Sandbox) -> String {
    std::fs::read_to_string(sandbox.path_of("page.html")).unwrap_or_default()
}

/// Waits until the page has a text.
#[track_caller]
fn wait_for(sandbox: &Sandbox, text: &str) {
    let begin = Instant::now();
    while !content(sandbox).contains(text) {
        assert!(begin.elapsed() < Duration::from_secs(60), "no {text} in the page");
        std::thread::sleep(Duration::from_millis(50));
    }
}

#[test]
fn a_saved_file_renews_the_page_until_it_is_ended() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "Start");
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
    command.args(["page", "--watch"]).stdout(Stdio::null()).stderr(Stdio::piped());
    let mut watch = Watch(command.spawn().unwrap());
    wait_for(&sandbox, "id=hub>");
    assert!(content(&sandbox).contains("data-renews"), "the open page looks for the next one");

    // A saved file, a file that is half saved, a new file in a new folder, and a commit.
    let chain = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    sandbox.write("chain.yaml", chain.replace("  hub:\n", "  hub:\n    title: Hub of steel\n"));
    wait_for(&sandbox, "Hub of steel");
    sandbox.write("tierod.yaml.new", "");
    sandbox.write("chain.yaml", "targets: [");
    wait_for(&sandbox, "read error");
    sandbox.write("chain.yaml", &chain);
    wait_for(&sandbox, "id=hub>");
    std::fs::create_dir(sandbox.path_of("more")).unwrap();
    // Time to be seen while it is empty: twice the time between two looks.
    std::thread::sleep(Duration::from_millis(600));
    sandbox.write("more/parts.yaml", "parts:\n  nut: {title: Wheel nut, in: suspension}\n");
    wait_for(&sandbox, "Wheel nut");
    sandbox.commit_on("2027-03-05", "Add the nut");
    wait_for(&sandbox, "of 2027-03-05");

    // Without a change it is not written again.
    let written = || std::fs::metadata(sandbox.path_of("page.html")).unwrap().modified().unwrap();
    let before = written();
    std::thread::sleep(Duration::from_millis(900));
    assert_eq!(written(), before);

    let id = watch.0.id().to_string();
    assert!(std::process::Command::new("kill").args(["-INT", &id]).status().unwrap().success());
    let begin = Instant::now();
    let status = loop {
        if let Some(status) = watch.0.try_wait().unwrap() {
            break status;
        }
        assert!(begin.elapsed() < Duration::from_secs(30), "it does not end");
        std::thread::sleep(Duration::from_millis(50));
    };
    assert_eq!(status.code(), Some(0));
    assert!(!content(&sandbox).contains("data-renews"), "the page that stays waits for nothing");
    let entries =
        std::fs::read_dir(sandbox.path()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    assert!(entries.into_iter().all(|name| !name.ends_with(".tierod-new")), "nothing is left beside it");
}
