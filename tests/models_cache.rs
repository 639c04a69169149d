//! The cache of the runs of models changes only the time: every command has the same answer with and without it, whatever
//! happens to it.

use std::path::PathBuf;

use crate::example_car;
use crate::support::Sandbox;

/// The commands that evaluate models, and some that only may.
const COMMANDS: [&[&str]; 12] = [
    &["check", "--format", "json"],
    &["check", "--staged", "--all"],
    &["values", "--format", "json"],
    &["points", "--format", "json"],
    &["worth", "--format", "json"],
    &["worth", "autocross-time"],
    &["budget", "mass", "--format", "json"],
    &["compare", "engine", "--format", "json"],
    &["why", "autocross-time", "--format", "json"],
    &["delta", "HEAD~1", "--format", "json"],
    &["audit", "--format", "json"],
    &["history", "autocross-time", "--format", "json"],
];

/// The example in a repository with two commits; the second one changes the mass of a part.
fn car() -> Sandbox {
    let sandbox = Sandbox::repository();
    example_car::copy(&sandbox);
    sandbox.commit_on("2027-05-30", "Add the car");
    let path = sandbox.path_of("drivetrain/drivetrain.yaml");
    let text = std::fs::read_to_string(&path).unwrap();
    let at = text.find("mass: {value: ").unwrap() + "mass: {value: ".len();
    sandbox.write("drivetrain/drivetrain.yaml", format!("{}1{}", &text[..at], &text[at..]));
    sandbox.commit_on("2027-06-01", "Change a mass");
    sandbox
}

fn file(sandbox: &Sandbox) -> Option<PathBuf> {
    let files = std::fs::read_dir(sandbox.path_of(".git/tierod")).ok()?;
    files
        .map(|entry| entry.unwrap().path())
        .find(|path| path.file_name().unwrap().to_str().unwrap().starts_with("models"))
}

fn answer(sandbox: &Sandbox, command: &[&str]) -> String {
    let answer = sandbox.tierod(command);
    answer.out + &answer.err
}

#[test]
fn every_command_has_the_same_answer() {
    let sandbox = car();
    let without = COMMANDS.map(|command| {
        let _ = std::fs::remove_dir_all(sandbox.path_of(".git/tierod"));
        answer(&sandbox, command)
    });
    assert!(without[2].contains("autocross-time"), "{}", without[2]);
    // The first round reads what other commands kept, in another order, and adds to it; the second one reads it all.
    let _ = std::fs::remove_dir_all(sandbox.path_of(".git/tierod"));
    for (command, expected) in COMMANDS.iter().zip(&without).rev() {
        assert!(answer(&sandbox, command) == *expected, "{command:?}, first round");
    }
    let path = file(&sandbox).unwrap();
    let kept = std::fs::read(&path).unwrap();
    for (command, expected) in COMMANDS.iter().zip(&without) {
        assert!(answer(&sandbox, command) == *expected, "{command:?}, second round");
    }
    assert!(std::fs::read(&path).unwrap() == kept, "nothing is new in the second round");
    // What is damaged is calculated again.
    let mut damaged = kept;
    let last = damaged.len() - 1;
    for at in [last, last / 2, last / 3] {
        damaged[at] ^= 0x10;
    }
    std::fs::write(&path, damaged).unwrap();
    assert!(answer(&sandbox, COMMANDS[0]) == without[0], "damaged");
}

/// A root without models needs no such file.
#[test]
fn without_models_nothing_is_kept() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-05-30", "Begin");
    sandbox.tierod(&["check"]).ended(0);
    assert_eq!(file(&sandbox), None);
}
