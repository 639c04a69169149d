//! Every command in the README is run, and its output compared with the README.
//!
//! In a `console` block a line after `$ ` is a command (`> ` continues it), and the lines after it are
//! its output. `⋮` represents any lines, `…` any text in a line.

use std::path::{Path, PathBuf};

use crate::support::{Sandbox, copy_program};

struct ReadmeCommand {
    line: usize,
    command: String,
    prints: Vec<String>,
}

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..").canonicalize().unwrap()
}

fn readme() -> String {
    std::fs::read_to_string(top().join("README.md")).unwrap()
}

/// The steps of every `console` block of a page.
fn blocks(page: &str) -> Vec<Vec<ReadmeCommand>> {
    let mut blocks = Vec::new();
    let mut open: Option<Vec<ReadmeCommand>> = None;
    for (number, line) in page.lines().enumerate() {
        match (&mut open, line) {
            (None, "```console") => open = Some(Vec::new()),
            (Some(_), "```") => blocks.extend(open.take()),
            (Some(steps), line) => match (line.strip_prefix("$ "), line.strip_prefix("> "), steps.last_mut()) {
                (Some(command), ..) => {
                    steps.push(ReadmeCommand { line: number + 1, command: command.to_owned(), prints: Vec::new() });
                }
                (_, Some(more), Some(step)) if step.prints.is_empty() => {
                    step.command.push('\n');
                    step.command.push_str(more);
                }
                (.., Some(step)) => step.prints.push(line.to_owned()),
                _ => panic!("line {}: output before any command", number + 1),
            },
            _ => {}
        }
    }
    blocks
}

fn line_matches(pattern: &str, line: &str) -> bool {
    let mut parts = pattern.split('…');
    let Some(mut rest) = line.strip_prefix(parts.next().unwrap()) else { return false };
    let parts: Vec<&str> = parts.collect();
    for (number, part) in parts.iter().enumerate() {
        let last = number + 1 == parts.len();
        let Some(at) = (if last { rest.rfind(part) } else { rest.find(part) }) else { return false };
        rest = &rest[at + part.len()..];
    }
    rest.is_empty()
}

fn matches(pattern: &[String], lines: &[&str]) -> bool {
    match pattern.split_first() {
        None => lines.is_empty(),
        Some((first, rest)) if first == "⋮" => (0..=lines.len()).any(|skip| matches(rest, &lines[skip..])),
        Some((first, rest)) => {
            lines.split_first().is_some_and(|(line, lines)| line_matches(first, line) && matches(rest, lines))
        }
    }
}

/// Runs the blocks of a page, and returns the folder of its last command.
fn walk_through(sandbox: &Sandbox, name: &str, page: &str) -> PathBuf {
    let tools = sandbox.outside().join("tools");
    std::fs::create_dir(&tools).unwrap();
    copy_program(&tools.join("tierod"));
    let path =
        std::env::join_paths([tools].into_iter().chain(std::env::split_paths(&std::env::var_os("PATH").unwrap())))
            .unwrap();
    let mut walk = sandbox.path();
    for step in blocks(page).into_iter().flatten() {
        if step.command == "cargo test --workspace" {
            continue;
        }
        let command = step.command.replace("cargo run --release --", "tierod");
        // The example is next to the README; the steps from an empty folder have their own folder.
        let folder = if command.contains("example-car") { top() } else { walk.clone() };
        let script = format!("({command}\n) 2>&1");
        let mut bash = sandbox.command("bash", &folder);
        let output = bash.env("PATH", &path).env("TIEROD", top()).args(["-c", &script]).output().unwrap();
        let said = String::from_utf8(output.stdout).unwrap();
        let lines: Vec<&str> = said.lines().collect();
        let shown = step.prints.join("\n");
        assert!(
            matches(&step.prints, &lines),
            "{name}:{}: $ {}\n{said}\ndoes not match\n{shown}",
            step.line,
            step.command
        );
        if let Some((_, into)) = command.split_once("&& cd ") {
            walk = walk.join(into.trim());
        }
    }
    walk
}

#[test]
fn every_command_prints_what_the_page_for_judges_shows() {
    let page = std::fs::read_to_string(top().join("docs/reading-the-audit.md")).unwrap();
    let sandbox = Sandbox::new();
    walk_through(&sandbox, "docs/reading-the-audit.md", &page);
    assert_eq!(page.lines().filter(|line| line.starts_with("## ") && line.as_bytes()[3].is_ascii_digit()).count(), 10);
}

#[test]
fn every_command_prints_what_the_readme_shows() {
    let sandbox = Sandbox::new();
    walk_through(&sandbox, "README.md", &readme());
    let log = sandbox.git_in(&sandbox.path_of("my-car"), &["log", "--format=%s"]);
    assert_eq!(log, "Add the front wishbone\nStart the chain from the goal to the first part\n");
}

#[test]
fn ci_runs_the_test_command_of_the_readme() {
    assert!(blocks(&readme()).iter().flatten().any(|step| step.command == "cargo test --workspace"));
    let ci = std::fs::read_to_string(top().join(".ci/run")).unwrap();
    assert!(ci.contains("cargo test --workspace"));
}

/// Commands in running text exist.
#[test]
fn commands_in_running_text_work() {
    let sandbox = Sandbox::new();
    let text = readme();
    let mut tested = 0;
    for (number, piece) in text.split('`').enumerate() {
        // Odd pieces are between backticks.
        let Some(args) = piece.strip_prefix("tierod ").filter(|_| number % 2 == 1) else { continue };
        let args: Vec<&str> = args.split_whitespace().collect();
        let placeless = ["check", "graph", "values", "points", "worth", "budget"].contains(&args[0])
            && args.last() != Some(&"example-car");
        let mut all = args.clone();
        if placeless {
            all.push("example-car");
        }
        sandbox.tierod_in(&top(), &all).ended(0);
        tested += 1;
    }
    assert!(tested >= 6, "{tested} commands tested");
}

#[test]
fn the_table_of_kinds_is_complete() {
    let text = readme();
    for kind in schema::Kind::ALL {
        assert!(text.contains(&format!("| `{}` | ", kind.plural())), "{}", kind.plural());
    }
}
