//! The drawing for Graphviz, read by a parser of its grammar and by `dot` itself; the tree of `graph`; widths of a terminal.

use std::collections::BTreeSet;
use std::io::Write as _;
use std::process::Stdio;

use crate::delta_markdown::HOSTILE;
use crate::example_car::folder;
use crate::support::Sandbox;

/// What a drawing has in it: <https://graphviz.org/doc/info/lang.html>.
#[derive(Debug, Default)]
struct Drawing {
    /// Each node with its attributes as text.
    nodes: Vec<(String, String)>,
    edges: Vec<(String, String)>,
    boxes: Vec<String>,
}

/// The words of a drawing: quoted strings without their quotes and with `\"` as `"`, names, signs.
fn words(dot: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut chars = dot.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' => {
                let mut text = String::from("\"");
                loop {
                    match chars.next().expect("a quoted string without an end") {
                        '"' => break,
                        '\\' => match chars.next().expect("an escape at the end") {
                            '"' => text.push('"'),
                            other => text.extend(['\\', other]),
                        },
                        '\n' => panic!("a quoted string over two lines"),
                        c => text.push(c),
                    }
                }
                words.push(text);
            }
            '-' => {
                assert_eq!(chars.next(), Some('>'), "in a directed graph");
                words.push("->".to_owned());
            }
            '{' | '}' | '[' | ']' | '=' | ';' | ',' => words.push(c.to_string()),
            c if c.is_whitespace() => {}
            c if c.is_ascii_alphanumeric() || c == '_' => {
                let mut name = c.to_string();
                while let Some(next) = chars.next_if(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | '.')) {
                    name.push(next);
                }
                words.push(name);
            }
            other => panic!("{other:?} outside of a quoted string"),
        }
    }
    words
}

fn parsed(dot: &str) -> Drawing {
    let words = words(dot);
    let mut drawing = Drawing::default();
    let mut at = 0;
    let mut depth = 0_i32;
    assert_eq!(words[..3], ["digraph", "tierod", "{"]);
    while at < words.len() {
        let own = |text: &str| text.strip_prefix('"').map(str::to_owned);
        let next = |more: usize| words.get(at + more).map_or("", String::as_str);
        match words[at].as_str() {
            "{" => depth += 1,
            "}" => depth -= 1,
            "subgraph" => drawing.boxes.push(own(next(1)).expect("a box has a quoted name")),
            "[" => {
                let end = words[at..].iter().position(|word| word == "]").expect("attributes without an end");
                let text = words[at + 1..at + end].join(" ");
                // An attribute is a name, `=` and a value.
                for (position, word) in words[at + 1..at + end].iter().enumerate() {
                    assert!(word != "=" || position > 0, "{text}");
                }
                if let Some(name) = own(&words[at - 1])
                    && words[at.saturating_sub(2)] != "->"
                {
                    drawing.nodes.push((name, text));
                }
                at += end;
            }
            "->" => drawing.edges.push((own(&words[at - 1]).unwrap(), own(next(1)).unwrap())),
            _ => {}
        }
        at += 1;
    }
    assert_eq!(depth, 0, "the braces match");
    drawing
}

fn dot_of(args: &[&str]) -> String {
    Sandbox::new().tierod_in(&folder(), &[&["graph", "--format", "dot"], args].concat()).ended(0).out
}

/// The drawing as SVG and what `dot` says, if Graphviz is installed.
fn drawn(dot: &str) -> Option<(String, String)> {
    let sandbox = Sandbox::new();
    let mut command = sandbox.command("dot", &sandbox.path());
    command.arg("-Tsvg").stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let Ok(mut child) = command.spawn() else {
        println!("skipped: Graphviz is not installed");
        return None;
    };
    child.stdin.take().unwrap().write_all(dot.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Some((text(&output.stdout), text(&output.stderr)))
}

#[test]
fn the_drawing_has_levels_systems_kinds_and_statuses() {
    let dot = dot_of(&[]);
    let drawing = parsed(&dot);
    let json = Sandbox::new().tierod_in(&folder(), &["graph", "--format", "json"]).json();
    let chained =
        json["nodes"].as_array().unwrap().iter().filter(|node| !node["tier"].is_null() && node["kind"] != "system");
    let chained: BTreeSet<&str> = chained.map(|node| node["id"].as_str().unwrap()).collect();
    let nodes: BTreeSet<&str> = drawing.nodes.iter().map(|(id, _)| id.as_str()).collect();
    assert!(chained.len() > 150 && chained.is_subset(&nodes), "{:?}", chained.difference(&nodes));
    assert!(drawing.edges.iter().all(|(from, to)| nodes.contains(from.as_str()) && nodes.contains(to.as_str())));
    assert_eq!(drawing.boxes.len(), 9, "one box for each system: {:?}", drawing.boxes);
    assert_eq!(dot.matches("rank=same").count(), 4, "events, car, system and part; the goal is alone\n{dot}");
    let node = |id: &str| drawing.nodes.iter().find(|(own, _)| own == id).unwrap().1.as_str();
    let target = node("accel-time");
    assert!(
        target.contains(r"Time over 75 m\n4.296 ± 0.034 s (≤ 4.27 s), at risk\naccel-time"),
        "title first: {target}"
    );
    for (id, shape, colour) in [
        ("first-eight", "octagon", ""),
        ("acceleration", "ellipse", ""),
        ("rim-strength", "box", "#dcefe0"),
        ("rim", "component", ""),
    ] {
        assert!(node(id).contains(&format!("shape = {shape}")) && node(id).contains(colour), "{}", node(id));
    }
    assert!(dot.contains("bgcolor=white"), "light");
    // All records, also those outside of the chain.
    let all = parsed(&dot_of(&["--all"]));
    assert_eq!(all.nodes.len(), json["nodes"].as_array().unwrap().len());
    assert_eq!(all.edges.len(), json["edges"].as_array().unwrap().len());
    let below = parsed(&dot_of(&["--below", "accel-time"]));
    assert!(below.nodes.len() > 3 && below.nodes.len() < 80, "{}", below.nodes.len());
}

#[test]
fn graphviz_draws_it_without_a_warning() {
    for args in [&[][..], &["--below", "car-mass"]] {
        let dot = dot_of(args);
        let Some((svg, warnings)) = drawn(&dot) else { return };
        // Without fonts on a machine it only measures texts in another way.
        let warnings: Vec<&str> = warnings.lines().filter(|line| !line.to_lowercase().contains("font")).collect();
        assert_eq!(warnings, [""; 0]);
        let drawing = parsed(&dot);
        assert_eq!(svg.matches("class=\"node\"").count(), drawing.nodes.len(), "{args:?}");
        assert_eq!(svg.matches("class=\"edge\"").count(), drawing.edges.len(), "{args:?}");
        assert_eq!(svg.matches("class=\"cluster\"").count(), drawing.boxes.len(), "{args:?}");
    }
}

#[test]
fn hostile_titles_and_reasons_stay_inside_their_quotes() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let mut text = "parts:\n".to_owned();
    for (number, hostile) in HOSTILE.iter().chain(&["\\", "a\\\"b", "\"]; evil -> x", "\\N \\G \\l"]).enumerate() {
        let quoted = serde_json::to_string(hostile).unwrap();
        text += &format!("  part-{number}: {{title: {quoted}, in: suspension, serves: {{circle-time: {quoted}}}}}\n");
    }
    sandbox.write("hostile.yaml", text);
    let dot = sandbox.tierod(&["graph", "--format", "dot"]).ended(0).out;
    let drawing = parsed(&dot);
    assert_eq!(drawing.nodes.len(), HOSTILE.len() + 4 + 4, "the parts, hub, target, event and goal");
    assert!(drawing.edges.iter().all(|(from, _)| from != "evil"));
    assert!(dot.contains("&amp;lt;b&amp;gt;"), "entities are text: {dot}");
    if let Some((svg, _)) = drawn(&dot) {
        assert_eq!(svg.matches("class=\"node\"").count(), drawing.nodes.len());
        assert!(!svg.contains("<script") && !svg.contains("xlink:href=\"http"), "{svg}");
    }
}

#[test]
fn the_tree_shows_value_and_status_and_folds_parts() {
    let sandbox = Sandbox::new();
    let tree = |args: &[&str]| sandbox.tierod_in(&folder(), &[&["graph"], args].concat()).ended(0).out;
    let folded = tree(&[]);
    for line in [
        "first-eight  Finish among the first eight  684 (447 to 735) pts\n",
        "├─ accel-time  Time over 75 m  4.296 ± 0.034 s (≤ 4.27 s)  at risk\n",
        " rim-strength  Factor of safety of the rim centre  2.1 (≥ 2.0)  met\n",
        "└─ 3 parts of drivetrain  ",
        "`--all` lists each part",
    ] {
        assert!(folded.contains(line), "{line}\n{folded}");
    }
    let all = tree(&["--all"]);
    assert!(!all.contains(" parts of "), "{all}");
    assert!(all.lines().count() > folded.lines().count() + 25, "{} {}", all.lines().count(), folded.lines().count());
    assert!(all.contains("front-upright  Front upright"), "{all}");
}
