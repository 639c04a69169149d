//! The summary of a request: small enough for a comment, rendered by two Markdown libraries, with what matters first.

use std::fmt::Write as _;

use comrak::nodes::NodeValue;
use comrak::{Arena, Options, parse_document};
use pulldown_cmark::{Event, Options as Extensions, Parser, Tag};

use crate::delta_markdown::HOSTILE;
use crate::support::{Answer, CHAIN, SETTINGS, Sandbox};

/// What a library sees in a summary.
#[derive(Debug, Default, PartialEq)]
struct Seen {
    /// The number of columns and of rows, the head included, of each table.
    tables: Vec<(usize, usize)>,
    headings: usize,
    links: Vec<String>,
    /// Text outside of code.
    prose: String,
}

/// By pulldown-cmark; fails on markup that the summary never has.
#[track_caller]
fn by_pulldown(markdown: &str) -> Seen {
    let options = Extensions::ENABLE_TABLES
        | Extensions::ENABLE_STRIKETHROUGH
        | Extensions::ENABLE_TASKLISTS
        | Extensions::ENABLE_GFM;
    let mut seen = Seen::default();
    for event in Parser::new_ext(markdown, options) {
        match event {
            Event::Start(Tag::Table(columns)) => seen.tables.push((columns.len(), 0)),
            Event::Start(Tag::TableHead | Tag::TableRow) => seen.tables.last_mut().unwrap().1 += 1,
            Event::Start(Tag::Heading { .. }) => seen.headings += 1,
            Event::Start(Tag::Link { dest_url, .. }) => seen.links.push(dest_url.into_string()),
            Event::Text(text) => seen.prose += &text,
            Event::Html(html) => assert!(html.trim().is_empty() || html.contains("details>"), "{html} in\n{markdown}"),
            Event::Start(Tag::Image { .. } | Tag::CodeBlock(_) | Tag::BlockQuote(_))
            | Event::InlineHtml(_)
            | Event::TaskListMarker(_) => {
                panic!("{event:?} in\n{markdown}")
            }
            _ => {}
        }
    }
    seen
}

/// By comrak, with everything that a forge adds to Markdown.
#[track_caller]
fn by_comrak(markdown: &str) -> Seen {
    let arena = Arena::new();
    let mut options = Options::default();
    options.extension.table = true;
    options.extension.autolink = true;
    options.extension.strikethrough = true;
    options.extension.tasklist = true;
    options.extension.footnotes = true;
    options.extension.math_dollars = true;
    let mut seen = Seen::default();
    for node in parse_document(&arena, markdown, &options).descendants() {
        match &node.data.borrow().value {
            NodeValue::Table(table) => seen.tables.push((table.num_columns, 0)),
            NodeValue::TableRow(_) => seen.tables.last_mut().unwrap().1 += 1,
            NodeValue::Heading(_) => seen.headings += 1,
            NodeValue::Link(link) => seen.links.push(link.url.clone()),
            NodeValue::Text(text) => seen.prose += text,
            NodeValue::HtmlBlock(html) => {
                assert!(
                    html.literal.trim().is_empty() || html.literal.contains("details>"),
                    "{} in\n{markdown}",
                    html.literal
                );
            }
            found @ (NodeValue::Image(_)
            | NodeValue::HtmlInline(_)
            | NodeValue::CodeBlock(_)
            | NodeValue::BlockQuote
            | NodeValue::TaskItem(_)
            | NodeValue::FootnoteReference(_)
            | NodeValue::Math(_)) => panic!("{found:?} in\n{markdown}"),
            _ => {}
        }
    }
    seen
}

/// The cells of a row of a table in the source: a bar ends a cell, unless it is escaped.
fn cells(row: &str) -> Vec<String> {
    let mut cells = vec![String::new()];
    let mut escaped = false;
    for c in row.trim().trim_start_matches('|').chars() {
        match c {
            '|' if !escaped => cells.push(String::new()),
            c => cells.last_mut().unwrap().push(c),
        }
        escaped = c == '\\' && !escaped;
    }
    assert_eq!(cells.pop().as_deref(), Some(""), "a row ends with a bar: {row}");
    cells.into_iter().map(|cell| cell.trim().to_owned()).collect()
}

/// Fails unless the summary is small, its tables are whole, and only rows that changed are in it.
#[track_caller]
fn assert_sound(markdown: &str, links: Option<&str>) {
    assert!(markdown.chars().count() < 60_000, "{} characters", markdown.chars().count());
    let (first, second) = (by_pulldown(markdown), by_comrak(markdown));
    assert_eq!(first.tables, second.tables, "{markdown}");
    assert_eq!((first.headings, &first.links), (second.headings, &second.links), "{markdown}");
    for link in &first.links {
        assert!(links.is_some_and(|start| link.starts_with(start)), "{link} in\n{markdown}");
    }
    for text in [&first.prose, &second.prose] {
        for (at, _) in text.match_indices('@') {
            assert!(!text[at + 1..].starts_with(char::is_alphanumeric), "{} in\n{markdown}", &text[at..]);
        }
    }
    // The libraries fill up rows with too few cells and cut those with too many, so the source is counted.
    let mut rows = 0;
    let mut width = 0;
    let mut head = Vec::new();
    let mut inside = false;
    for line in markdown.lines() {
        if !line.starts_with('|') {
            inside = false;
            continue;
        }
        let cells = cells(line);
        if !inside {
            (inside, width, head) = (true, cells.len(), cells);
            rows += 1;
            continue;
        }
        assert_eq!(cells.len(), width, "{line}");
        if cells.iter().all(|cell| cell.chars().all(|c| matches!(c, '-' | ':')))
            && cells.iter().all(|cell| !cell.is_empty())
        {
            continue;
        }
        rows += 1;
        let at = |name: &str| head.iter().position(|own| own == name);
        if let (Some(before), Some(after)) = (at("before"), at("after"))
            && !cells[0].starts_with("and ")
        {
            assert_ne!(cells[before], cells[after], "a row that did not change: {line}");
        }
    }
    assert_eq!(first.tables.iter().map(|(_, rows)| rows).sum::<usize>(), rows, "{markdown}");
    // No group has more than its cap.
    let longest = markdown.lines().fold((0, 0), |(now, most): (usize, usize), line| {
        let now = if line.starts_with("- ") || line.starts_with("| ") {
            now + 1
        } else if line.starts_with("  ") {
            now
        } else {
            0
        };
        (now, most.max(now))
    });
    assert!(longest.1 <= 130, "{} items in a row\n{markdown}", longest.1);
}

fn repository() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "first");
    sandbox
}

fn markdown(sandbox: &Sandbox, args: &[&str]) -> String {
    let answer = sandbox.tierod(&[&["delta", "--format", "markdown"], args].concat());
    assert!(answer.code <= 1, "{}", answer.err);
    // The space between a number and its unit.
    answer.out.replace('\u{202f}', " ")
}

#[test]
fn forty_pairs_of_the_season() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let car = sandbox.path_of("car");
    let log = sandbox.git_in(&car, &["rev-list", "--reverse", "main"]);
    let commits: Vec<&str> = log.lines().collect();
    let last = commits.len() - 1;
    // Neighbours all over the season, and states that are far apart, in both directions.
    let mut pairs: Vec<(usize, usize)> = (0..26).map(|at| (at * (last - 1) / 25, at * (last - 1) / 25 + 1)).collect();
    pairs.extend((0..7).map(|at| (at * 8, last - at * 6)));
    pairs.extend((0..7).map(|at| (last - at * 7, at * 9)));
    assert_eq!(pairs.len(), 40);
    let run = |pairs: &[(usize, usize)]| {
        for (from, to) in pairs {
            let answer = sandbox.tierod_in(&car, &["delta", commits[*from], commits[*to], "--format", "markdown"]);
            assert!(answer.code <= 1, "{}", answer.err);
            assert_sound(&answer.out, None);
            let first = answer.out.lines().next().unwrap();
            let says = first.starts_with("### points ")
                || first.starts_with("### no points")
                || first.starts_with("### No difference");
            assert!(says, "{first}");
        }
    };
    // The place is recorded after the last of them, and only then.
    let last_of = |to: usize| {
        let answer = sandbox.tierod_in(&car, &["delta", commits[0], commits[to], "--format", "markdown"]);
        answer.out.lines().next().unwrap().to_owned()
    };
    assert!(last_of(last).contains("; place 7 recorded, place 8 reached; "), "{}", last_of(last));
    assert!(last_of(last / 2).contains("; place 8 with a chance of none → "), "{}", last_of(last / 2));
    let (one, two) = pairs.split_at(20);
    std::thread::scope(|scope| {
        scope.spawn(|| run(one));
        run(two);
    });
}

/// Records, findings, limits, values, statuses and rules change by the thousand, with long and hostile titles.
#[test]
fn three_thousand_records() {
    let sandbox = Sandbox::repository();
    let state = |from: usize, to: usize, mass: f64, limit: f64| {
        let mut text = String::from("parts:\n");
        for number in from..to {
            let title =
                serde_json::to_string(&HOSTILE[number % HOSTILE.len()].repeat(if number % 50 == 0 { 400 } else { 1 }))
                    .unwrap();
            let _ = writeln!(
                text,
                "  part-{number}: {{title: {title}, in: suspension, amounts: {{mass: {mass} kg}}, serves: {{circle-time: {title}}}}}"
            );
        }
        text += "targets:\n";
        for number in 0..500 {
            let _ = writeln!(
                text,
                "  target-{number}: {{title: \"x | y @team\", of: suspension, at-most: {limit} s, estimate: {mass} s, serves: {{circle-time: Why.}}}}"
            );
        }
        text
    };
    sandbox.write("tierod.yaml", format!("{SETTINGS}history: off\n"));
    sandbox.write("chain.yaml", CHAIN);
    sandbox.write("more.yaml", state(0, 2000, 1.0, 1.5));
    sandbox.commit_on("2027-03-01", "before");
    sandbox.write("more.yaml", state(500, 2500, 1.25, 1.1));
    for args in [&["HEAD"][..], &["HEAD", "--staged"]] {
        sandbox.git(&["add", "-A"]);
        let out = markdown(&sandbox, args);
        assert_sound(&out, None);
        for group in
            ["#### New findings", "#### Fixed findings", "#### Changed limits and values", "500 targets were on target"]
        {
            assert!(out.contains(group), "{group} in\n{out}");
        }
        assert!(out.matches(" more").count() >= 6, "groups are capped:\n{out}");
    }
}

/// Texts that grow by their escapes: with fewer rows and shorter texts they still fit.
#[test]
fn the_longest_texts_are_cut() {
    let sandbox = repository();
    let limit = |most: u32| format!("targets:\n  long-lap: {{of: car, at-most: {most} s, serves: {{skidpad: x}}}}\n");
    sandbox.write("limit.yaml", limit(5));
    sandbox.commit_on("2027-03-02", "limit");
    let reason = "@|#1 ".repeat(800);
    let agreed = "agreed-by: chief engineer, date: 2027-03-03";
    let revision = format!("  later: {{of: long-lap, from: 5 s, to: 6 s, {agreed}, reason: \"{reason}\"}}\n");
    sandbox.write("limit.yaml", format!("{}revisions:\n{revision}", limit(6)));
    let title = "#".repeat(299) + "|";
    let mut text = String::from("parts:\n");
    for number in 0..200 {
        let id = "long".repeat(24);
        let _ = writeln!(text, "  {id}-{number}: {{title: \"{title}\", in: suspension, amounts: {{mass: 1 kg}}}}");
    }
    sandbox.write("long.yaml", text);
    let out = markdown(&sandbox, &["HEAD"]);
    assert_sound(&out, None);
    assert!(out.contains('…') && out.contains(" more"), "{out}");
    // A template of the team decides itself.
    let own = "{% for finding in new %}{{ finding.message }}{% endfor %}\n";
    sandbox.write("templates/delta.md", own);
    assert!(markdown(&sandbox, &["HEAD"]).contains("\\|") && !markdown(&sandbox, &["HEAD"]).contains('…'));
}

#[test]
fn hostile_titles_are_text_for_both_libraries() {
    let sandbox = repository();
    let mut text = String::from("parts:\n");
    for (number, hostile) in HOSTILE.iter().enumerate() {
        let quoted = serde_json::to_string(hostile).unwrap();
        let _ = writeln!(
            text,
            "  part-{number}: {{title: {quoted}, in: suspension, notes: {quoted}, serves: {{circle-time: {quoted}}}}}"
        );
    }
    sandbox.write("hostile.yaml", &text);
    assert_sound(&markdown(&sandbox, &["HEAD"]), None);
    sandbox.commit_on("2027-03-02", "with them");
    sandbox.write("hostile.yaml", text.replace("in: suspension", "in: suspension, count: 2"));
    let out = markdown(&sandbox, &["HEAD~1"]);
    assert_sound(&out, None);
    assert_sound(&markdown(&sandbox, &["HEAD"]), None);
}

/// A team whose plan, place, mass and times are known.
fn measured_team() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("chain.yaml", MEASURED);
    sandbox.commit_on("2027-03-01", "first");
    sandbox
}

const MEASURED: &str = "\
goals: {top: {points: 60 pts, reason: Sixty points are enough., lead: team lead}}
events:
  skidpad:
    plan: 60 pts
    reads: {time: circle-time}
    score: {formula: 60 pts - 10 pts/s * (time - 5 s)}
    lead: dynamics lead
    serves: {top: Cheapest points of all.}
systems:
  suspension: {in: car, lead: suspension lead}
targets:
  circle-time:
    of: car
    at-most: 5.2 s
    formula: 4 s + car-mass * 0.005 s/kg
    lead: dynamics lead
    serves: {skidpad: It is what is timed.}
    verify: {by: test, with: gates, due: 2027-06-01}
  car-mass:
    of: car
    at-most: 205 kg
    total: mass
    lead: chief engineer
    serves: {circle-time: Less mass turns faster.}
    verify: {by: test, with: scales, due: 2027-06-01}
  grip-time:
    of: car
    at-most: 4.3 s
    estimate: 4.29744 s
    lead: dynamics lead
    serves: {skidpad: It is timed as well.}
    verify: {by: test, with: gates, due: 2027-06-01}
parts:
  hub:
    in: suspension
    amounts: {mass: {value: 200 kg ± 4 kg, basis: weighed}}
    serves: {circle-time: It holds the wheel.}
    verify: {by: inspection, with: gauge, due: 2027-06-01}
";

#[test]
fn the_first_line_has_points_goal_and_budgets() {
    let sandbox = measured_team();
    sandbox.write("chain.yaml", MEASURED.replace("200 kg ± 4 kg", "206 kg ± 4 kg"));
    let out = markdown(&sandbox, &["HEAD"]);
    assert_sound(&out, None);
    let first = out.lines().next().unwrap();
    // The time grows by 6 kg times 0.005 s/kg: 0.03 s, and the points fall by 10 pts/s times that.
    for part in [
        "### points 60.0 ± 0.2 → 59.7 ± 0.2 (−0.30); ",
        "the goal of 60 pts with a chance of 50 % → ",
        "; car-mass (200.0 ± 4.0) kg → (206.0 ± 4.0) kg of 205 kg",
        "newly over\\: car-mass",
    ] {
        assert!(first.contains(part), "{part} in\n{first}");
    }
    assert!(out.contains("| budget `car-mass`, limit 205 kg | (200.0 ± 4.0) kg | (206.0 ± 4.0) kg | +6 kg |"), "{out}");
    // The total of the car and the target are one number.
    assert!(!out.contains("car.mass") && !out.contains("| mass |"), "{out}");
    // What did not change is left out.
    assert!(!out.contains("grip-time"), "{out}");
    let json = sandbox.tierod(&["delta", "HEAD", "--format", "json"]).json();
    assert_eq!(json["budgets"][0]["id"], "car-mass");
    assert_eq!(
        (&json["budgets"][0]["before"]["over"], &json["budgets"][0]["after"]["over"]),
        (&false.into(), &true.into())
    );
    let limits = ["before", "after"].map(|side| json["budgets"][0][side]["limit"]["at_most"].as_f64());
    assert!(limits.iter().all(Option::is_some), "as in every other answer: {}", json["budgets"][0]);
    assert!(json["points"]["intervals"]["before"][0].as_f64().unwrap() < 60.0);
    assert!(json["chances"][0]["after"].as_f64().unwrap() < json["chances"][0]["before"].as_f64().unwrap());
    let values: Vec<&str> =
        json["values"].as_array().unwrap().iter().map(|value| value["id"].as_str().unwrap()).collect();
    assert!(values.contains(&"car.mass") && values.contains(&"car-mass"), "scripts get both: {values:?}");
}

#[test]
fn numbers_show_the_digits_that_tell_them_apart() {
    let sandbox = measured_team();
    sandbox.write("chain.yaml", MEASURED.replace("4.29744 s", "4.29754 s"));
    let out = markdown(&sandbox, &["HEAD"]);
    assert!(out.contains("| `grip-time` | 4.2974 s | 4.2975 s | +0.0001 s |"), "{out}");
    assert!(out.lines().next().unwrap().contains("points 60.0 ± 0.2 (unchanged)"), "{out}");
    assert!(out.lines().next().unwrap().ends_with("budgets unchanged"), "{out}");
    assert_sound(&out, None);
}

/// `delta` in the environment of a forge's CI.
fn in_ci(sandbox: &Sandbox, set: &[(&str, &str)], args: &[&str]) -> Answer {
    let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
    command.args([&["delta", "--format", "markdown"], args].concat()).envs(set.iter().copied());
    Answer::from_output(&command.output().unwrap())
}

#[test]
fn files_link_to_the_commit_at_the_forge() {
    let sandbox = repository();
    sandbox.git(&["remote", "add", "origin", "https://evil.example/team/car.git"]);
    sandbox.write("a) [b](c) `d`.yaml", "parts:\n  bare: {in: suspension, serves: {circle-time: It holds it.}}\n");
    sandbox.commit_on("2027-03-02", "second");
    let head = sandbox.git(&["rev-parse", "HEAD"]);
    let head = head.trim();
    let path = "a%29%20%5Bb%5D%28c%29%20%60d%60.yaml";
    let first = [("GITHUB_SERVER_URL", "https://git.example"), ("GITHUB_REPOSITORY", "team/car"), ("GITHUB_SHA", head)];
    let second = [("CI_PROJECT_URL", "https://git.example/team/car"), ("CI_COMMIT_SHA", head)];
    for (set, middle) in [(&first[..], "blob"), (&second[..], "-/blob")] {
        // Of a revision, and of the working tree, which is the commit that CI runs for.
        for args in [&["HEAD~1", "HEAD"][..], &["HEAD~1"]] {
            let out = in_ci(&sandbox, set, args).ended(0).out;
            assert_sound(&out, Some("https://git.example/team/car/"));
            let link = format!("https://git.example/team/car/{middle}/{head}/{path}#L2");
            let links = by_comrak(&out).links;
            assert!(!links.is_empty() && links.iter().all(|own| *own == link), "{links:?} in\n{out}");
            assert!(!out.contains("evil.example"));
        }
    }
    // Neither without a forge, nor by the configuration of the repository, nor with an address that is none.
    let odd = [("GITHUB_SERVER_URL", "javascript:alert(1)"), ("GITHUB_REPOSITORY", "team/car"), ("GITHUB_SHA", head)];
    for set in [&[][..], &odd] {
        assert_eq!(by_comrak(&in_ci(&sandbox, set, &["HEAD~1", "HEAD"]).ended(0).out).links, [""; 0]);
    }
    // The index has no commit.
    assert_eq!(by_comrak(&in_ci(&sandbox, &first, &["HEAD~1", "--staged"]).ended(0).out).links, [""; 0]);
}
