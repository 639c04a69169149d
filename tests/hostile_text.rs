//! No output has a character that shows another text than is there, and no line of one is a command to a CI runner.

use crate::support::Sandbox;

/// Characters of every hostile block: C0, C1, direction, no width, line separators, tags.
const HOSTILE: &str = "\u{1b}\u{7}\u{7f}\u{85}\u{9b}\u{ad}\u{61c}\u{180e}\u{200b}\u{200d}\u{200e}\u{202e}\u{2028}\u{2029}\u{2060}\u{2066}\u{feff}\u{e0041}\u{34f}\u{115f}\u{17b4}\u{180b}\u{3164}\u{fe00}\u{ffa0}\u{1d173}\u{e0101}\u{13430}\u{fdd0}";

fn is_hostile(c: char) -> bool {
    (c.is_control() && !matches!(c, '\n' | '\t')) || (HOSTILE.contains(c))
}

/// The text as a quoted text of YAML.
fn yaml(text: &str) -> String {
    let escaped =
        |c: char| if c.is_ascii_graphic() || c == ' ' { c.to_string() } else { format!("\\U{:08x}", u32::from(c)) };
    format!("\"{}\"", text.chars().map(escaped).collect::<String>())
}

fn repository() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    let title = yaml(&format!("::error x::{HOSTILE} ##[error]y ##vso[z] ##teamcity[a]"));
    sandbox.write(
        "more.yaml",
        format!(
            "goals:\n  aim: {{title: {title}, points: 100 pts, reason: {title}, lead: {title}}}\n\
             events:\n  sprint: {{title: {title}, plan: 40 pts, expect: 30 pts, lead: {title}, serves: {{aim: {title}}}}}\n\
             targets:\n  width: {{title: {title}, of: hub, at-most: 9 mm, estimate: 8 mm, serves: {{sprint: {title}}}}}\n\
             parts:\n  more: {{title: {title}, in: suspension, lead: {title}, notes: {title}, {title}: 1}}\n"
        ),
    );
    sandbox.commit_on("2027-03-01", &format!("one {}", HOSTILE.replace('\u{1b}', "")));
    sandbox.write("less.yaml", format!("parts:\n  less: {{title: {title}, in: {title}}}\n"));
    sandbox
}

#[test]
fn every_output_is_clean() {
    let sandbox = repository();
    let mut tried = 0;
    for (command, formats) in [
        (&["check"][..], &["terminal", "json", "sarif", "lines", "github", "gitlab"][..]),
        (&["delta", "HEAD"], &["terminal", "markdown", "json", "sarif", "lines", "github", "gitlab"]),
        (&["audit"], &["terminal", "markdown", "json", "csv", "html"]),
        (&["graph"], &["terminal", "json", "dot"]),
        (&["why", "more"], &["terminal", "json"]),
        (&["values"], &["terminal", "json"]),
        (&["points"], &["terminal", "json"]),
        (&["budget"], &["terminal", "json"]),
        (&["worth"], &["terminal", "json"]),
        (&["history", "more"], &["terminal", "json"]),
        (&["history", "hub"], &["terminal", "json"]),
    ] {
        for format in formats {
            for color in ["never", "always"] {
                let args = [command, &["--format", format, "--color", color]].concat();
                let answer = sandbox.tierod(&args);
                assert!(answer.code <= 2, "{args:?}: {}", answer.err);
                let mut out = answer.out.replace("\r\n", "\n") + &answer.err;
                if color == "always" {
                    // Our own colours, each a number between these two.
                    for code in (0..=9).chain(30..=37).chain(90..=97) {
                        out = out.replace(&format!("\u{1b}[{code}m"), "");
                    }
                }
                let found: Vec<char> = out.chars().filter(|c| is_hostile(*c)).collect();
                assert!(found.is_empty(), "{args:?}: {found:x?}");
                for start in ["##[", "##vso[", "##teamcity["] {
                    assert!(!out.contains(start), "{args:?}: {start}");
                }
                let commands = |line: &&str| line.trim_start().starts_with("::") && line.matches("::").count() > 1;
                let commands: Vec<&str> = answer.out.lines().filter(commands).collect();
                // In the format for a runner each line is one of ours.
                let ours = |line: &&str| {
                    ["::error file=", "::warning file=", "::notice file="].iter().any(|start| line.starts_with(start))
                };
                assert!(commands.iter().all(|line| *format == "github" && ours(line)), "{args:?}: {commands:#?}");
                tried += 1;
            }
        }
    }
    println!("{tried} outputs");
    // JSON keeps the data.
    let why = sandbox.tierod(&["why", "more", "--format", "json"]).json();
    assert!(why["title"].as_str().unwrap().contains(HOSTILE), "{why}");
}

/// A file with the name of a command, at the beginning of a line of the format for editors.
#[test]
#[cfg(unix)]
fn a_file_named_as_a_command_is_a_file() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("::error file=x::y.yaml", "parts:\n  more: {in: nowhere}\n");
    let out = sandbox.tierod(&["check", "--format", "lines"]).ended(1).out;
    assert!(out.contains("./::error file=x::y.yaml:2:"), "{out}");
    assert!(!out.lines().any(|line| line.trim_start().starts_with(':')), "{out}");
    let terminal = sandbox.tierod(&["check"]).out;
    assert!(!terminal.lines().any(|line| line.trim_start().starts_with("::error")), "{terminal}");
}

#[test]
fn a_title_with_quotation_marks_does_not_break_the_drawing() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write(
        "more.yaml",
        "parts:\n  more: {title: 'the \"hub\"', in: suspension}\n  last: {title: 'ends in a \\', in: suspension}\n",
    );
    let dot = sandbox.tierod(&["graph", "--format", "dot"]).ended(0).out;
    assert!(dot.contains(r#"  "more" [label="the \"hub\"\nmore""#), "{dot}");
    assert!(dot.contains(r#"  "last" [label="ends in a \\\nlast""#), "{dot}");
    // In each line all quoted texts end.
    for line in dot.lines() {
        let quotes = line.replace(r"\\", "").replace("\\\"", "").matches('"').count();
        assert_eq!(quotes % 2, 0, "{line}");
    }
}

#[test]
#[cfg(unix)]
fn init_echoes_a_clean_name() {
    let sandbox = Sandbox::new();
    let answer = sandbox.tierod(&["init", "a\u{1b}[2J\u{202e}b"]).ended(0);
    assert!(!answer.out.chars().any(is_hostile), "{:?}", answer.out);
    for season in ["0", "-1", "1899", "2201"] {
        let error = sandbox.tierod(&["init", "c", &format!("--season={season}")]).ended(2).err;
        assert!(error.contains("1900..=2200"), "{error}");
    }
    assert!(!sandbox.path_of("c").exists());
}
