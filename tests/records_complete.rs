//! Completion in the shell: what the scripts get, and the scripts in real shells, if they are installed.

use std::path::Path;
use std::process::{Command, Stdio};

use crate::support::Sandbox;

fn project() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox
}

/// What fits the last of the words, as the scripts of zsh and fish ask for it.
fn fits(sandbox: &Sandbox, words: &[&str]) -> Vec<String> {
    let out = sandbox.tierod(&[&["--complete", "fish", "tierod"], words].concat()).ended(0).out;
    out.lines().map(|line| line.split('\t').next().unwrap().to_owned()).collect()
}

#[test]
fn ids_keys_checks_and_words_are_completed() {
    let sandbox = project();
    for (words, expected) in [
        (&["why", "h"][..], &["hub"][..]),
        (&["history", "circ"], &["circle-time"]),
        (&["check", "--system", ""], &["suspension"]),
        (&["check", "--only", "no-ver"], &["no-verification"]),
        (&["explain", "no-ver"], &["no-verification"]),
        (&["explain", "par"], &["part"]),
        (&["budget", "ma"], &["mass"]),
        (&["add", "pa"], &["part"]),
        (&["add", "part", "x", "cou"], &["count="]),
        (&["add", "part", "x", "in="], &["in=suspension"]),
        (
            &["add", "part", "x", "serves."],
            &["serves.circle-time=", "serves.hub=", "serves.skidpad=", "serves.suspension=", "serves.top-ten="],
        ),
        (&["add", "part", "x", "in=suspension", "amounts."], &["amounts.mass="]),
        (&["add", "part", "x", "verify."], &["verify.by=", "verify.due=", "verify.lead=", "verify.with="]),
        (&["add", "part", "x", "verify.by=in"], &["verify.by=inspection"]),
        (&["add", "result", "x", "of=h"], &["of=hub"]),
        (&["add", "result", "x", "date="], &["date=today"]),
        (&["add", "result", "x", "outcome="], &["outcome=pass", "outcome=fail"]),
        (&["compl"], &["completions"]),
        (&["values", "--format", ""], &["terminal", "json", "csv"]),
        (&["check", "--stag"], &["--staged"]),
        (&["nothing", "x"], &[]),
    ] {
        let mut found = fits(&sandbox, words);
        if words.last().is_some_and(|word| word.ends_with('.')) {
            found.sort();
        }
        assert_eq!(found, expected, "{words:?}");
    }
    // Without a project there are still commands and checks.
    let nothing = Sandbox::new();
    assert_eq!(fits(&nothing, &["why", ""]), Vec::<String>::new());
    assert_eq!(fits(&nothing, &["check", "--only", "no-ver"]), ["no-verification"]);
}

#[test]
fn only_names_that_a_shell_takes_as_they_are_are_printed() {
    let sandbox = project();
    sandbox.write(
        "evil.yaml",
        "parts:\n  evil:\n    title: \"a\\e]0;x\\a$(touch pwned)\\nb\"\n    in: suspension\n    lead: '$(touch pwned)'\n    \
         amounts: {\"mass\\e[2J\": 1 kg}\n",
    );
    sandbox.write("$(touch pwned)/x", "x");
    for words in
        [&["why", ""][..], &["check", "--lead", ""], &["add", "part", "x", "amounts."], &["check", ""], &["export", ""]]
    {
        let answer = sandbox.tierod(&[&["--complete", "zsh", "tierod"], words].concat()).ended(0);
        assert!(!answer.out.chars().any(|c| c.is_control() && c != '\n' && c != '\t'), "{:?}", answer.out);
        for line in answer.out.lines() {
            let name = line.split('\t').next().unwrap();
            assert!(!name.contains(['$', '(', ' ', '\\', ';', '`', '*']), "{line}");
        }
        assert_eq!(answer.err, "");
    }
    assert!(!sandbox.path().join("pwned").exists());
}

/// A shell with this tierod in its search path; `None` if it is not installed, except in CI for bash.
fn shell(sandbox: &Sandbox, name: &str) -> Option<Command> {
    let found = Command::new(name).arg("--version").stdout(Stdio::null()).status();
    if !found.is_ok_and(|status| status.success()) {
        println!("skipped: {name} is not installed");
        return None;
    }
    let mut command = sandbox.command(name, &sandbox.path());
    command.env("PATH", search_path());
    Some(command)
}

fn search_path() -> std::ffi::OsString {
    let here = Path::new(env!("CARGO_BIN_EXE_tierod")).parent().unwrap().to_owned();
    let others = std::env::var_os("PATH").unwrap();
    std::env::join_paths(std::iter::once(here).chain(std::env::split_paths(&others))).unwrap()
}

#[test]
fn bash_gets_words_as_it_splits_them() {
    let sandbox = project();
    let Some(mut bash) = shell(&sandbox, "bash") else { return };
    // As readline does: the line, and the words split at COMP_WORDBREAKS.
    let script = r#"
        source <(tierod completions bash)
        complete -p tierod
        for line in "tierod why h" "tierod add part x in=" "tierod add part x in=sus" "tierod add part x title='a b' verify.by=ins" \
            "tierod check --only no-ver" "tierod add part x verify."; do
            COMP_LINE=$line COMP_POINT=${#line}
            _tierod
            printf '%s:' "$line"; printf '[%s]' "${COMPREPLY[@]}"; echo
        done
    "#;
    let output = bash.args(["--norc", "-c", script]).output().unwrap();
    let out = String::from_utf8(output.stdout).unwrap();
    let lines: Vec<&str> = out.lines().collect();
    assert!(lines[0].contains("-F _tierod tierod"), "{out} {}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(lines[1], "tierod why h:[hub ]");
    assert_eq!(lines[2], "tierod add part x in=:[suspension ]");
    assert_eq!(lines[3], "tierod add part x in=sus:[suspension ]");
    assert_eq!(lines[4], "tierod add part x title='a b' verify.by=ins:[inspection ]");
    assert_eq!(lines[5], "tierod check --only no-ver:[no-verification ]");
    assert!(lines[6].contains("[verify.by=]"), "{out}");
}

#[test]
fn fish_lists_what_fits() {
    let sandbox = project();
    let Some(mut fish) = shell(&sandbox, "fish") else { return };
    let script = "tierod completions fish | source; complete -C 'tierod why h'; complete -C 'tierod add part x in='; \
                  complete -C 'tierod check --only no-ver'";
    let output = fish.args(["--no-config", "-c", script]).output().unwrap();
    let out = String::from_utf8(output.stdout).unwrap();
    let names: Vec<&str> = out.lines().map(|line| line.split('\t').next().unwrap()).collect();
    assert_eq!(names, ["hub", "in=suspension", "no-verification"], "{}", String::from_utf8_lossy(&output.stderr));
}

/// A file of the repository that has the name of the program is not run.
#[test]
fn no_program_of_the_repository_is_run() {
    let sandbox = project();
    sandbox.write("tierod", "#!/bin/sh\ntouch pwned\n");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        let file = sandbox.path().join("tierod");
        std::fs::set_permissions(file, std::fs::Permissions::from_mode(0o755)).unwrap();
    }
    let Some(mut bash) = shell(&sandbox, "bash") else { return };
    let script = "source <(tierod completions bash); COMP_LINE='./tierod why h' COMP_POINT=14; _tierod; echo \"${COMPREPLY[@]}\"";
    let output = bash.args(["--norc", "-c", script]).output().unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), "hub");
    assert!(!sandbox.path().join("pwned").exists());
}

#[cfg(unix)]
mod typed {
    use super::*;
    use crate::terminal::Terminal;

    /// An interactive shell in which the Tab key is pressed.
    fn press_tab(name: &str, start: &[&str], load: &str) {
        let sandbox = project();
        if shell(&sandbox, name).is_none() {
            return;
        }
        let mut setsid = sandbox.command("setsid", &sandbox.path());
        setsid.env("PATH", search_path()).env("PS1", "ready> ");
        let mut terminal = Terminal::start(setsid, &[&[name], start].concat());
        terminal.wait_for("> ");
        terminal.types(&format!("{load}; echo lo''aded\n"));
        terminal.wait_for("loaded");
        terminal.types("tierod why hu\t");
        terminal.wait_for("hub ");
        terminal.types("\u{15}tierod add part x in=susp\t");
        terminal.wait_for("suspension");
        terminal.types("\u{15}exit\n");
        assert_eq!(terminal.end().0, 0);
    }

    #[test]
    fn the_tab_key_works_in_bash() {
        press_tab("bash", &["--norc", "--noprofile", "-i"], "source <(tierod completions bash)");
    }

    #[test]
    fn the_tab_key_works_in_zsh() {
        let load = "PS1='ready> '; autoload -U compinit; compinit -u -D; source <(tierod completions zsh)";
        press_tab("zsh", &["-f", "-i"], load);
    }
}
