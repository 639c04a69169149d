//! The report for a pull request, rendered by a general CommonMark library: hostile text stays plain text.
//! In addition the team's own template, and the keys of the JSON.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use pulldown_cmark::{Event, Options, Parser, Tag};

use crate::support::Sandbox;

/// Texts that mean something in CommonMark, in GitHub Flavored Markdown, or to a forge.
pub(crate) const HOSTILE: &[&str] = &[
    "<script>alert(1)</script>",
    "</details><img src=x onerror=alert(1)>",
    "<!-- hidden",
    "[x](http://evil.example)",
    "[x][y] and [x]: /y",
    "![](http://evil.example/pic.png)",
    "<https://evil.example>",
    "see https://evil.example/x or www.evil.example",
    "me@evil.example",
    "@team look",
    "fixes #1, closes !1",
    "a | b || c \\| d",
    "`code` and ``more``",
    "an odd ` one",
    "*bold* _it_ ~~gone~~ __x__",
    "two\nlines",
    "two\n\n# paragraphs",
    "# head",
    "- [ ] task",
    "1. one",
    "> quote",
    "===",
    "---",
    "    code by indent",
    "&lt;b&gt; &amp; &#60;",
    "back\\slash\\",
    "note [^1]",
    "sum $x^2$",
    "```",
    "~~~",
    "\u{202e}turned",
    ":::note",
];

/// The text that a reader sees.
struct Shown {
    /// The complete text.
    text: String,
    /// The text outside of code.
    prose: String,
    code: Vec<String>,
}

/// Parses like a forge, and fails on markup that cannot come from the tool's own template.
#[track_caller]
fn shown(markdown: &str) -> Shown {
    let options = Options::ENABLE_TABLES
        | Options::ENABLE_STRIKETHROUGH
        | Options::ENABLE_TASKLISTS
        | Options::ENABLE_FOOTNOTES
        | Options::ENABLE_MATH
        | Options::ENABLE_GFM;
    let (mut text, mut prose, mut code, mut html) = (String::new(), String::new(), Vec::new(), String::new());
    for event in Parser::new_ext(markdown, options) {
        match event {
            Event::Text(piece) => {
                text.push_str(&piece);
                prose.push_str(&piece);
            }
            Event::Code(piece) => {
                text.push_str(&piece);
                code.push(piece.into_string());
            }
            Event::Html(piece) => html.push_str(&piece),
            Event::SoftBreak | Event::End(_) => {
                text.push('\n');
                prose.push('\n');
            }
            Event::Start(
                Tag::Paragraph
                | Tag::Heading { .. }
                | Tag::List(None)
                | Tag::Item
                | Tag::Strong
                | Tag::Table(_)
                | Tag::TableHead
                | Tag::TableRow
                | Tag::TableCell
                | Tag::HtmlBlock,
            ) => {}
            other => panic!("{other:?} in\n{markdown}"),
        }
    }
    let ours = ["<details><summary>Details</summary>", "</details>"];
    assert!(html.is_empty() || html.split_whitespace().eq(ours), "{html:?} in\n{markdown}");
    Shown { text, prose, code }
}

/// Fails if a forge would turn a part of the text into a link: names, numbers and addresses.
#[track_caller]
fn assert_mentions_nobody(shown: &Shown, markdown: &str) {
    let text = shown.prose.to_lowercase();
    for (at, _) in text.match_indices(['@', '#', '!']) {
        let next = text[at + 1..].chars().next().unwrap_or(' ');
        let number = next.is_ascii_digit() || (text[at..].starts_with('@') && next.is_alphanumeric());
        assert!(!number, "{} in\n{markdown}", &text[at..]);
    }
    for address in ["://", "www."] {
        assert!(!text.contains(address), "{address} in\n{markdown}");
    }
}

/// The text as a terminal and a report show it: one line, no change of the writing direction.
fn cleaned(text: &str) -> String {
    text.replace(['\n', '\t'], " ").replace('\u{202e}', "\u{fffd}")
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").replace(['\u{200b}', '`'], "")
}

fn repository() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "first"]);
    sandbox
}

fn markdown(sandbox: &Sandbox, args: &[&str], code: i32) -> String {
    sandbox.tierod(&[&["delta", "HEAD", "--format", "markdown"], args].concat()).ended(code).out
}

#[test]
fn hostile_titles_stay_text() {
    let sandbox = repository();
    for hostile in HOSTILE {
        let quoted = serde_json::to_string(hostile).unwrap();
        sandbox.write(
            "hostile.yaml",
            format!("parts:\n  bracket: {{title: {quoted}, in: suspension, serves: {{circle-time: It holds it.}}}}\n"),
        );
        let out = markdown(&sandbox, &[], 0);
        let shown = shown(&out);
        assert_mentions_nobody(&shown, &out);
        let expected = format!("{} has no verification", cleaned(hostile.trim()));
        assert!(squeezed(&shown.text).contains(&squeezed(&expected)), "{expected}\n{out}");
        // Removed again: the same texts under `Fixed findings`.
        sandbox.git(&["add", "."]);
        let back = sandbox.git(&["write-tree"]);
        let commit = sandbox.git(&["commit-tree", "-m", "with it", back.trim()]);
        let out = sandbox.tierod(&["delta", commit.trim(), "HEAD", "--format", "markdown"]).ended(0).out;
        assert!(out.contains("#### Fixed findings"), "{out}");
        assert_mentions_nobody(&self::shown(&out), &out);
    }
}

/// Messages contain invalid keys, ids, references, units, evidence and values.
#[test]
fn hostile_keys_ids_and_values_do_nothing() {
    let sandbox = repository();
    for hostile in HOSTILE {
        let quoted = serde_json::to_string(hostile).unwrap();
        sandbox.write(
            "hostile.yaml",
            format!(
                "parts:\n  bracket:\n    in: {quoted}\n    {quoted}: 1\n    amounts: {{mass: {quoted}, {quoted}: 1 kg}}\n    \
                 serves: {{{quoted}: It holds it.}}\n  {quoted}: {{in: suspension}}\n{quoted}: {{x: {{in: suspension}}}}\nresults:\n  \
                 shown: {{of: hub, outcome: pass, date: 2027-03-01, evidence: [{quoted}]}}\n"
            ),
        );
        let out = markdown(&sandbox, &[], 1);
        assert!(out.matches("**error**").count() >= 4, "too few findings:\n{out}");
        let shown = shown(&out);
        assert_mentions_nobody(&shown, &out);
        for code in &shown.code {
            assert!(!code.contains(['`', '|', '\n', '\u{202e}']), "{code:?} in\n{out}");
        }
    }
}

#[cfg(unix)]
#[test]
fn hostile_paths_do_nothing() {
    let sandbox = repository();
    for (number, hostile) in HOSTILE.iter().enumerate() {
        let name = hostile.replace('/', "_");
        sandbox.write(&format!("{number}/{name}.yaml"), "parts:\n  hub: {in: nowhere, serves: {}}\n");
        sandbox.write(&format!("{number}/{name}-broken.yaml"), "parts: {a: [\n");
        let out = markdown(&sandbox, &[], 1);
        let shown = shown(&out);
        assert_mentions_nobody(&shown, &out);
        assert!(shown.text.contains("duplicate-id") || shown.text.contains("unreadable-file"), "{out}");
        std::fs::remove_dir_all(sandbox.path_of(&number.to_string())).unwrap();
    }
}

/// The tables have all their cells, and every part of the report is rendered in its own style.
#[test]
fn every_part_of_the_report_is_rendered() {
    let sandbox = repository();
    let chain = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    let mut more = String::from("parts:\n");
    for number in 0..25 {
        let _ = writeln!(more, "  bare-{number}: {{in: suspension, amounts: {{mass: 1 kg}}}}");
    }
    sandbox.write("more.yaml", more);
    sandbox.write(
        "chain.yaml",
        chain
            .replace("at-most: 5.2 s", "at-most: 5.0 s")
            .replace("serves: {circle-time: It holds the wheel.}", "formerly: [x]"),
    );
    sandbox.write(
        "broken.yaml",
        "parts:\n  broken: {in: suspension, count: no, serves: {circle-time: It holds.}, verify: {by: test, with: rig, due: 2027-09-01}}\n",
    );
    let out = markdown(&sandbox, &[], 1);
    let rendered = shown(&out).text;
    for part in [
        "New findings",
        "and ",
        "Changed limits and values",
        "no revision",
        "circle-time was on target, is now at risk",
        "incomplete: 1 read error",
        "added: part bare-0, ",
    ] {
        assert!(rendered.contains(part), "{part} in\n{out}");
    }
    let (mut cells, mut rows) = (Vec::new(), Vec::new());
    for event in Parser::new_ext(&out, Options::ENABLE_TABLES) {
        match event {
            Event::Start(Tag::Table(columns)) => cells.push(columns.len()),
            Event::Start(Tag::TableRow) => rows.push(*cells.last().unwrap()),
            _ => {}
        }
    }
    assert_eq!(cells, [4, 4, 4], "three tables in\n{out}");
    assert!(rows.len() >= 8, "{out}");
    sandbox.git(&["add", "."]);
    let tree = sandbox.git(&["write-tree"]);
    let commit = sandbox.git(&["commit-tree", "-m", "with it", tree.trim()]);
    let back = sandbox.tierod(&["delta", commit.trim(), "HEAD", "--format", "markdown"]).ended(0).out;
    let rendered = shown(&back).text;
    for part in ["Fixed findings", "more", "removed: part bare-0, ", "is now on target"] {
        assert!(rendered.contains(part), "{part} in\n{back}");
    }
}

#[test]
fn a_template_of_the_team_is_used() {
    let sandbox = repository();
    sandbox.write(
        "templates/delta.md",
        "{{ new | length }} new, {{ records.edited | length }} edited: {{ shown.head }}\n",
    );
    assert_eq!(markdown(&sandbox, &[], 0), "0 new, 0 edited: the working tree\n");
    // Its output is escaped, too.
    sandbox.write("templates/delta.md", "{% for finding in new %}{{ finding.message }}{% endfor %}\n");
    sandbox
        .write("bare.yaml", "parts:\n  bare: {title: <b>x</b>, in: suspension, serves: {circle-time: It holds it.}}\n");
    assert_eq!(markdown(&sandbox, &[], 0), r"\<b\>x\</b\> has no verification");
    // A folder of that name is not a template, nor is a link to a file elsewhere.
    let secret = sandbox.outside().join("secret");
    std::fs::write(&secret, "secret").unwrap();
    std::fs::remove_file(sandbox.path_of("templates/delta.md")).unwrap();
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(&secret, sandbox.path_of("templates/delta.md")).unwrap();
        assert!(markdown(&sandbox, &[], 0).contains("**1 new finding"), "a link is followed");
        std::fs::remove_dir_all(sandbox.path_of("templates")).unwrap();
        std::fs::write(sandbox.outside().join("delta.md"), "secret").unwrap();
        std::os::unix::fs::symlink(sandbox.outside(), sandbox.path_of("templates")).unwrap();
        assert!(markdown(&sandbox, &[], 0).contains("**1 new finding"), "a linked folder is followed");
    }
}

/// The template is part of the compared state, not of the working tree.
#[test]
fn a_template_is_read_from_the_state_that_is_compared() {
    let sandbox = repository();
    let template = |text: &str| sandbox.write("templates/delta.md", text);
    template("committed\n");
    sandbox.commit_on("2027-03-18", "a template");
    template("staged\n");
    sandbox.git(&["add", "."]);
    template("in the folder\n");
    let with = |args: &[&str]| sandbox.tierod(&[&["delta", "--format", "markdown"], args].concat()).ended(0).out;
    assert_eq!(with(&["HEAD"]), "in the folder\n");
    assert_eq!(with(&["HEAD", "--staged"]), "staged\n");
    assert_eq!(with(&["HEAD~1", "HEAD"]), "committed\n");
    assert!(with(&["HEAD", "HEAD~1"]).starts_with('#'), "there was none: the one that ships");
    // The same for a page about one state.
    sandbox.write("templates/audit.md", "audit of {{ shown.met }}\n");
    let audit = |args: &[&str]| sandbox.tierod(&[&["audit", "--format", "markdown"], args].concat()).ended(0).out;
    assert!(audit(&[]).starts_with("audit of "), "{}", audit(&[]));
    for state in [&["--staged"][..], &["--rev", "HEAD"]] {
        assert!(!audit(state).starts_with("audit of "), "{state:?}");
    }
    sandbox.git(&["add", "."]);
    assert!(audit(&["--staged"]).starts_with("audit of "));
    // A link in the index is not a template.
    #[cfg(unix)]
    {
        std::fs::remove_file(sandbox.path_of("templates/delta.md")).unwrap();
        std::os::unix::fs::symlink("../chain.yaml", sandbox.path_of("templates/delta.md")).unwrap();
        sandbox.git(&["add", "."]);
        assert!(with(&["HEAD", "--staged"]).starts_with('#'), "a link is followed");
    }
}

#[test]
fn an_error_in_a_template_has_its_line() {
    let sandbox = repository();
    for (template, cause, line) in [
        ("fine\n\n{% if new %}\nnever closed\n", "syntax error", "delta.md:"),
        ("a\nb\n{{ nothing.at.all }}\n", "undefined", "delta.md:3"),
        ("a\n{{ points.besides }}\n", "undefined", "delta.md:2"),
        ("{% include 'other.md' %}\n", "include", "delta.md:1"),
        ("{% macro m() %}{{ m() }}{% endmacro %}\n{{ m() }}\n", "recursion", "delta.md:"),
        (
            "{% for a in range(9999) %}{% for b in range(9999) %}{% for c in range(9999) %}{{ c }}{% endfor %}{% endfor %}{% endfor %}",
            "fuel",
            "delta.md:1",
        ),
    ] {
        sandbox.write("templates/delta.md", template);
        let error = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).ended(2);
        assert_eq!(error.out, "", "half a report");
        for word in [cause, line, "templates/delta.md", "`tierod delta --context`"] {
            assert!(error.err.contains(word), "{template}: {word} in {}", error.err);
        }
    }
    sandbox.write("templates/delta.md", b"\xff\xfe");
    let error = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).ended(2).err;
    assert!(error.contains("cannot read the template templates/delta.md"), "{error}");
    // The other formats need no template.
    sandbox.tierod(&["delta", "HEAD"]).ended(0);
}

/// The keys of DESIGN 9, and those that were added.
#[test]
fn the_json_has_its_keys() {
    let sandbox = repository();
    sandbox.write("templates/delta.md", "{{ nothing }}");
    let chain = std::fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    sandbox.write("chain.yaml", chain.replace("at-most: 5.2 s", "at-most: 5.0 s").replace("5.1 s ± 0.05 s", "5.15 s"));
    sandbox.write("bare.yaml", "parts:\n  bare: {in: suspension, amounts: {mass: 1 kg}}\n");
    let json = sandbox.tierod(&["delta", "HEAD", "--format", "json"]);
    let json = json.json();
    let keys = |value: &serde_json::Value| -> BTreeSet<String> { value.as_object().unwrap().keys().cloned().collect() };
    let set = |keys: &str| -> BTreeSet<String> { keys.split(' ').map(str::to_owned).collect() };
    assert_eq!(json["version"], 1);
    assert_eq!(
        keys(&json),
        set(
            "version base head base_reason day shallow new fixed unchanged counts records values causes other edits renamed status_changes limits_changed points amounts broken chances budgets \
             stops uncovered worse better postponed settings"
        )
    );
    for side in ["base", "head"] {
        assert_eq!(keys(&json[side]), set("kind revision"));
    }
    assert_eq!(
        keys(&json["new"][0]),
        set("check level about record field path line column message help fingerprint"),
        "the keys of a finding of `check`"
    );
    assert_eq!(keys(&json["values"][0]), set("id before after unit"));
    assert_eq!(keys(&json["causes"][0]), set("id before after unit affects points what edited amounts"));
    assert_eq!(keys(&json["limits_changed"][0]), set("id before after unit revision agreed_by day reason"));
    assert_eq!(keys(&json["status_changes"][0]), set("id before after"));
    assert_eq!(keys(&json["points"]), set("before after low high intervals"));
    assert_eq!(json["values"].as_array().unwrap().iter().filter(|value| value["id"] == "bare.mass").count(), 1);
    // A template gets the same keys, and more.
    let context = sandbox.tierod(&["delta", "HEAD", "--context"]);
    let context = context.json();
    for key in ["version", "values", "limits_changed", "points", "records", "causes"] {
        assert_eq!(context[key], json[key], "{key}");
    }
    assert_eq!(
        keys(&context["shown"]),
        set(
            "base head how incomplete first most headline chances budgets status_changes causes other values limits_changed \
             worse better settings empty"
        )
    );
    let misused = sandbox.tierod(&["delta", "HEAD", "--context", "--format", "json"]).ended(2).err;
    assert!(misused.contains("--context"), "{misused}");
}

/// Numbers and units are those of the pages; what can be typed, and ids of commits, stay as they are.
#[test]
fn units_are_typeset() {
    let sandbox = repository();
    let area = |value: &str| {
        format!(
            "targets:\n  area: {{title: Area, of: car, at-most: 2 m^2, estimate: {value}, serves: {{skidpad: Less drag.}}}}\n  \
             torque: {{title: Torque, of: car, at-most: 30 N*m, estimate: {value}/m*N, serves: {{skidpad: It turns.}}}}\n"
        )
    };
    sandbox.write("area.yaml", area("12345 m^2"));
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "second"]);
    sandbox.write("area.yaml", area("1.5 m^2"));
    let out = sandbox.tierod(&["delta", "HEAD", "--format", "markdown"]).out;
    assert!(out.contains("12\u{202f}345\u{202f}m²") && out.contains("1.5\u{202f}m²"), "{out}");
    let outside_code: String = out.split('`').step_by(2).collect();
    assert!(!outside_code.contains('^') && !outside_code.contains("*m"), "{out}");
}
