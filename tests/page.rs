//! `page`: one HTML file with a place for every record, reached by its address, that loads nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::{SETTINGS, Sandbox};

fn example_car() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car")
}

/// Writes the page of a folder, and reads it.
#[track_caller]
pub(crate) fn page_of(sandbox: &Sandbox, folder: &Path, more: &[&str]) -> String {
    let file = sandbox.outside().join("page.html");
    let file = file.to_str().unwrap();
    let _ = std::fs::remove_file(file);
    sandbox.tierod_in(folder, &[&["page", "--output", file], more].concat()).ended(0);
    quoted(&std::fs::read_to_string(file).unwrap())
}

/// The page with quotes around all values, which are only where HTML needs them.
fn quoted(page: &str) -> String {
    let (mut in_tag, mut in_value, mut bare) = (false, false, false);
    let mut out = String::new();
    for (at, c) in page.char_indices() {
        // In the script there are comparisons, too.
        match c {
            '<' if page[at + 1..].starts_with(|c: char| c.is_ascii_alphabetic()) => in_tag = true,
            '"' if in_tag => in_value = !in_value,
            ' ' | '>' if bare => {
                out.push('"');
                bare = false;
            }
            _ => {}
        }
        in_tag &= c != '>' || in_value;
        out.push(c);
        if c == '=' && in_tag && !in_value && !bare && !page[at + 1..].starts_with('"') {
            out.push('"');
            bare = true;
        }
    }
    out
}

#[track_caller]
pub(crate) fn page(sandbox: &Sandbox) -> String {
    page_of(sandbox, &sandbox.path(), &[])
}

/// What is between two texts, the first time.
#[track_caller]
fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    let start = text.find(from).unwrap_or_else(|| panic!("no {from}")) + from.len();
    let end = text[start..].find(to).unwrap_or_else(|| panic!("no {to} after {from}"));
    &text[start..start + end]
}

/// The place of a record.
#[track_caller]
pub(crate) fn place<'t>(page: &'t str, id: &str) -> &'t str {
    between(page, &format!("<article class=\"place\" id=\"{id}\">"), "</article>")
}

/// A section of the overview.
#[track_caller]
pub(crate) fn section<'t>(page: &'t str, id: &str) -> &'t str {
    between(page, &format!("<section id=\"{id}\""), "</section>")
}

/// The values of an attribute.
pub(crate) fn attributes<'t>(page: &'t str, name: &str) -> Vec<&'t str> {
    let start = format!(" {name}=\"");
    page.split(start.as_str()).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

/// Text without tags, and with the entities that the page uses.
pub(crate) fn text(html: &str) -> String {
    let mut out = String::new();
    for (at, piece) in html.split('<').enumerate() {
        out.push_str(if at == 0 { piece } else { piece.split_once('>').map_or("", |(_, text)| text) });
    }
    let out = out.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&#x27;", "'");
    out.replace('\u{202f}', " ").replace("&#x2f;", "/").replace("&amp;", "&")
}

/// The links in nested lists: each record with those in the list below it. `root` is above the outermost ones.
fn links_up(html: &str, root: &str, edges: &mut BTreeSet<(String, String)>) {
    let mut stack: Vec<String> = vec![root.to_owned()];
    let mut item: Option<String> = None;
    for tag in html.split('<').skip(1) {
        if tag.starts_with("ul") {
            if let Some(item) = item.take() {
                stack.push(item);
            }
        } else if tag.starts_with("/ul") {
            stack.pop();
            item = None;
        } else if tag.starts_with("li") {
            item = None;
        } else if let Some(rest) = tag.strip_prefix("a href=\"#")
            && item.is_none()
        {
            let id = rest.split('"').next().unwrap().to_owned();
            edges.insert((stack.last().unwrap().clone(), id.clone()));
            item = Some(id);
        }
    }
}

/// The first `ul` of a section is that of the record itself.
fn ways_up(place: &str, id: &str) -> BTreeSet<(String, String)> {
    let mut edges = BTreeSet::new();
    for piece in place.split("<div class=\"up\"><h3>").skip(1) {
        let inner = piece.split("</div>").next().unwrap();
        let inner = inner.split_once("<ul>").map_or("", |(_, rest)| rest);
        links_up(inner, id, &mut edges);
    }
    edges
}

#[test]
fn every_record_has_a_place_and_an_address() {
    let sandbox = Sandbox::new();
    let page = page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]);
    let graph = sandbox.tierod_in(&example_car(), &["graph", "--format", "json"]).json();
    let ids: Vec<&str> = graph["nodes"].as_array().unwrap().iter().map(|node| node["id"].as_str().unwrap()).collect();
    assert!(ids.len() > 200);
    let list = section(&page, "_records");
    for id in &ids {
        assert_eq!(page.matches(&format!(" id=\"{id}\"")).count(), 1, "{id}");
        assert!(place(&page, id).contains("<h2"), "{id}");
        assert_eq!(list.matches(&format!("<a href=\"#{id}\">")).count(), 1, "{id}");
    }
    // Every address on the page leads somewhere, and no two things have the same one.
    let all = attributes(&page, "id");
    let known: BTreeSet<&str> = all.iter().copied().collect();
    assert_eq!(known.len(), all.len());
    for href in attributes(&page, "href") {
        let id = href.strip_prefix('#').unwrap_or_else(|| panic!("{href} leads out of the page"));
        assert!(known.contains(id), "{href} leads nowhere");
    }
}

/// What `why` shows upward is in the place: with each reason, and with titles before ids.
#[test]
fn all_ways_up_are_those_of_why() {
    let sandbox = Sandbox::new();
    let page = page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]);
    let graph = sandbox.tierod_in(&example_car(), &["graph", "--format", "json"]).json();
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    let mut compared = 0;
    for node in graph["nodes"].as_array().unwrap() {
        let seen = kinds.entry(node["kind"].as_str().unwrap()).or_default();
        *seen += 1;
        if *seen > 3 {
            continue;
        }
        let id = node["id"].as_str().unwrap();
        let why = sandbox.tierod_in(&example_car(), &["why", id, "--format", "json"]).json();
        let up: Vec<&Value> = why["up"].as_array().unwrap().iter().collect();
        // The subject alone is no reason for anything: `why` lists its ways up only in JSON.
        let is_own = |edge: &&&Value| edge["from"] != *id || edge["link"] != "of";
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let mut expected = BTreeSet::new();
        let mut queue = vec![id.to_owned()];
        let mut done = BTreeSet::new();
        while let Some(at) = queue.pop() {
            if done.insert(at.clone()) {
                for edge in up.iter().filter(|edge| edge["from"] == *at).filter(is_own) {
                    expected.insert((at.clone(), text(&edge["to"])));
                    queue.push(text(&edge["to"]));
                }
            }
        }
        let own = place(&page, id);
        assert_eq!(ways_up(own, id), expected, "{id}");
        compared += expected.len();
        for edge in up.iter().filter(|edge| edge["from"] == *id && edge["link"] == "serves") {
            let reason = text(&edge["reason"]).replace(['-', ' '], "");
            let shown = self::text(own).replace(['−', '-', ' '], "");
            let words: String = reason.chars().take_while(|c| c.is_alphabetic()).collect();
            assert!(shown.contains(&words), "{id}: {reason}");
        }
    }
    assert!(compared > 150, "{compared}");
}

#[test]
fn everything_below_is_in_the_place() {
    let sandbox = Sandbox::new();
    let page = page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]);
    let why = sandbox.tierod_in(&example_car(), &["why", "car-mass", "--format", "json"]).json();
    let below = why["below"].as_array().unwrap().iter().filter(|edge| edge["link"] == "serves");
    let expected: BTreeSet<&str> = below.map(|edge| edge["from"].as_str().unwrap()).collect();
    let own = between(place(&page, "car-mass"), "<h3>Everything below</h3>", "</div>");
    let found: BTreeSet<&str> = attributes(own, "href").into_iter().map(|href| href.trim_start_matches('#')).collect();
    assert_eq!(found, expected);
    assert!(text(own).contains(&format!("{} records", expected.len())));
}

/// The numbers of the overview are those of the commands.
#[test]
fn the_overview_agrees_with_the_commands() {
    let sandbox = Sandbox::new();
    let page = page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]);
    let json =
        |command: &str| sandbox.tierod_in(&example_car(), &[command, "--format", "json", "--on", "2027-03-19"]).json();
    let points = json("points");
    let answer = text(section(&page, "_answer"));
    let chance = format!("{:.0} % chance", points["chance"].as_f64().unwrap() * 100.0);
    let predicted = format!("{:.1} (", points["predicted"].as_f64().unwrap());
    let needed = format!("{:.1} points", points["needed"]["points"].as_f64().unwrap());
    for expected in [&chance, &predicted, &needed] {
        assert!(answer.contains(expected.as_str()), "{expected} in {answer}");
    }
    let by_event = section(&page, "_points");
    for event in points["events"].as_array().unwrap() {
        let row =
            between(by_event, &format!("<th scope=\"row\"><a href=\"#{}\">", event["id"].as_str().unwrap()), "<tr");
        assert!(text(row).contains(&format!("{:.1}", event["plan"].as_f64().unwrap())), "{row}");
    }
    let values = json("values");
    let wanted = ["at risk", "missed", "uncertain"];
    let values = values["values"].as_array().unwrap().iter();
    let expected: BTreeSet<&str> = values
        .filter(|value| value["status"].as_str().is_some_and(|status| wanted.contains(&status)))
        .map(|value| value["id"].as_str().unwrap())
        .collect();
    let risk = section(&page, "_risk");
    let found: BTreeSet<&str> =
        risk.split("<th scope=\"row\"><a href=\"#").skip(1).filter_map(|row| row.split('"').next()).collect();
    assert_eq!(found, expected);
    assert!(!expected.is_empty());
    // What a part costs, in points per kilogram and per unit of money, as `worth` has it.
    let worth = sandbox.tierod_in(&example_car(), &["worth", "front-upright.mass", "--format", "json"]).json();
    let per_kg = worth["values"][0]["points_per_unit_of_all"].as_f64().unwrap();
    let own = text(place(&page, "front-upright")).replace('−', "-");
    assert!(own.contains(&format!("{per_kg:.3} points per kg")), "{per_kg} in {own}");
    assert!(own.contains("points per EUR"));
    // The shares of a budget are there with their parts, and the whole chain from the goal.
    assert!(section(&page, "_budgets").contains("#front-upright"));
    assert!(section(&page, "_chain").contains("#first-eight"));
    // A system is under the car with its parts, and no system is an end of the chain.
    let (goals, car) = section(&page, "_chain").split_once("<li>The car").expect("the car is in the chain");
    assert!(!goals.contains("href=\"#suspension\"") && car.contains("href=\"#suspension\""));
    assert!(car.contains("href=\"#front-upright\"") && goals.contains("href=\"#front-upright\""));
    // An amount says how many pieces there are.
    assert!(text(goals).replace('\u{202f}', " ").contains("mass 2 × "), "{}", text(goals));
    // What was traded comes first, in one sentence, and what has no analysis says so.
    let decisions = text(section(&page, "_decisions")).replace('−', "-");
    assert!(decisions.contains("Single cylinder, 450 cm3 instead of Parallel twin, 650 cm3: +"), "{decisions}");
    assert!(decisions.contains("kg of mass") && decisions.contains("EUR of cost") && !decisions.contains("unchanged"));
    assert!(decisions.contains("decided without an analysis: no analysis informs it"), "{decisions}");
    // What changes the points has the names of people, and what one unit is worth.
    let worths = text(section(&page, "_worth")).replace('−', "-");
    let per_kg = sandbox.tierod_in(&example_car(), &["worth", "car.mass", "--format", "json"]).json();
    let per_kg = per_kg["values"][0]["points_per_unit"].as_f64().unwrap();
    let spaced = worths.replace('\u{202f}', " ");
    assert!(spaced.contains(&format!("1 kg less mass of the car: +{:.3} points", -per_kg)), "{per_kg} in {spaced}");
    assert!(spaced.contains("Rim, ten-inch, two-piece: mass") && spaced.contains("The whole car: mass"), "{spaced}");
    assert!(!spaced.contains(" given ") && !spaced.contains("measured-factor"), "{spaced}");
    // What a part costs is one sentence.
    assert!(own.contains("2 pieces: ") && own.contains(" of mass and "), "{own}");
    assert!(section(&page, "_decisions").contains("Single cylinder"));
    assert!(!section(&page, "_worth").contains("No points depend"));
    assert!(section(&page, "_limits").contains("chief engineer"));
}

/// A stress file shows its distribution, its iterations and the caution, in the place of the part.
#[test]
fn the_stress_of_a_part_is_in_its_place_with_the_caution() {
    let sandbox = Sandbox::new();
    let page = page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]);
    let own = between(place(&page, "rack-mount"), "<h3>Stress</h3>", "</div>");
    for id in ["rack-mount-1", "rack-mount-2", "rack-mount-3"] {
        assert!(own.contains(&format!("href=\"#{id}\"")), "{id}");
    }
    let own = text(own);
    for expected in
        ["2.19", "56 %", "0 to 10 %", "allowable", "check load cases", "no number here means that a part is safe"]
    {
        assert!(own.contains(expected), "{expected} in {own}");
    }
}

/// A record with hostile texts, in every place where a text is shown.
const HOSTILE: &str = r#"
goals:
  top: {title: '<img src=x onerror=alert(1)>', points: 10 pts, reason: '</script><script>alert(2)</script>', lead: '"><svg onload=alert(3)>'}
events:
  run: {title: "{{ 7*7 }}{% raw %}", plan: 5 pts, expect: 5 pts, lead: x, serves: {top: "' onmouseover='alert(4)"}}
systems:
  sys: {title: "javascript:alert(5)", in: car, lead: "<b>lead</b>"}
targets:
  mass: {title: "a\u202Eb\u0007<!--", of: sys, at-most: 5 kg, estimate: 9 kg, lead: x, serves: {run: "]]></style>"}}
parts:
  hub: {title: "   ", in: sys, amounts: {mass: 1 kg}, serves: {mass: "&lt;script&gt;"}}
"#;

#[test]
fn hostile_texts_stay_text() {
    let sandbox = Sandbox::repository();
    sandbox.write("tierod.yaml", SETTINGS);
    sandbox.write("car.yaml", HOSTILE);
    sandbox.commit_on("2027-03-01", "Add the car");
    let page = page(&sandbox);
    assert_eq!(page.to_lowercase().matches("<script").count(), 1);
    assert_eq!(page.matches("</style>").count(), 1);
    for tag in
        ["<img", "<svg onload", "<b>lead", "<!--\u{0}", "\u{202e}", "\u{7}", " onmouseover='", "onerror=alert(1)>"]
    {
        assert!(!page.contains(tag), "{tag}");
    }
    assert_eq!(page.matches("<!--").count(), 1, "only the mark of the page");
    assert!(page.contains("{{ 7*7 }}{% raw %}"), "a title is no template");
    // A title of spaces leaves nothing to press.
    assert!(section(&page, "_records").contains("<a href=\"#hub\">hub</a>"));
    assert!(attributes(&page, "href").iter().all(|href| href.starts_with('#')));
}

/// Nothing is loaded, and no script but the page's own may run.
#[test]
fn the_page_loads_nothing() {
    let sandbox = Sandbox::new();
    let page = page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]);
    assert!(page.starts_with("<!doctype html>\n"));
    for name in ["src", "srcset", "action", "data", "poster", "ping", "onclick", "onload", "style"] {
        assert_eq!(attributes(&page, name), [""; 0], "{name}");
    }
    assert_eq!(page.matches("url(").count(), page.matches("url(#").count());
    for text in ["@import", "<link", "<iframe", "<base"] {
        assert!(!page.contains(text), "{text}");
    }
    let policy = between(&page, "http-equiv=\"Content-Security-Policy\" content=\"", "\"");
    assert!(policy.starts_with("default-src 'none'"), "{policy}");
    let scripts = between(policy, "script-src ", ";");
    assert!(scripts.starts_with("'sha256-") && !scripts.contains(' '), "{scripts}");
    assert!(!policy.contains("frame-src"));
}

#[test]
fn the_same_records_give_the_same_bytes() {
    let sandbox = Sandbox::new();
    let first = page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]);
    assert!(first == page_of(&sandbox, &example_car(), &["--on", "2027-03-19"]));
    assert!(first != page_of(&sandbox, &example_car(), &["--on", "2027-05-19"]));
    assert!(first.len() < 1_500_000, "{}", first.len());
    // An open page that is renewed knows another one by this.
    let stamp = |page: &str| between(page, "<script data-stamp=\"", "\"").to_owned();
    assert!(stamp(&first).len() == 16 && stamp(&first).chars().all(|c| c.is_ascii_hexdigit()), "{}", stamp(&first));
    assert_ne!(stamp(&first), stamp(&page_of(&sandbox, &example_car(), &["--on", "2027-03-20"])));
}

/// What is broken is said before the answer, as `check` does.
#[test]
fn a_broken_project_has_a_page_that_says_so_first() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    assert!(!page(&sandbox).contains("class=\"broken\""));
    sandbox.write("broken.yaml", "targets:\n  [\n");
    sandbox.write("worse.yaml", "events:\n  two: {plan: 5 pts, lead: x, serves: {top-ten: x}, reads: {a: circle-time}, score: {formula: a + 1 kg}}\n");
    let page = page(&sandbox);
    let broken = page.find("class=\"broken\"").unwrap();
    assert!(broken < page.find("id=\"_answer\"").unwrap());
    let list = text(between(&page, "class=\"broken\"", "</div>"));
    assert!(list.contains("1 read error") && list.contains("worse.yaml:"), "{list}");
    assert!(
        text(section(&page, "_top")).contains("broken.yaml") || page.contains("class=\"errors\""),
        "the errors are listed"
    );
}

#[test]
fn outside_of_git_there_is_a_page_without_a_history() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let page = page(&sandbox);
    let top = text(section(&page, "_top"));
    assert!(top.contains("working tree, no commit") && top.contains("no history"), "{top}");
    assert!(!page.contains("<h3>History</h3>") && place(&page, "hub").contains("Why it exists"));
}

/// The page says which commit and day it shows, and what changed when.
#[test]
fn a_revision_shows_its_own_day_and_the_history_of_each_record() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-02-01", "Start");
    let text_of = |path: &str| std::fs::read_to_string(sandbox.path_of(path)).unwrap();
    sandbox.write("tierod.yaml", text_of("tierod.yaml").replace("as-of: 2027-03-19\n", ""));
    sandbox.write(
        "chain.yaml",
        text_of("chain.yaml").replace("at-most: 5.2 s", "at-most: 5.3 s")
            + "revisions:\n  circle-time-march: {of: circle-time, from: 5.2 s, to: 5.3 s, date: 2027-03-02, agreed-by: chief engineer, reason: The tyres of last year are gone.}\n",
    );
    sandbox.commit_on("2027-03-02", "Move the limit");
    let commit = sandbox.git(&["rev-parse", "--short=10", "HEAD"]);
    let page = page_of(&sandbox, &sandbox.path(), &["--rev", "HEAD"]);
    let top = text(section(&page, "_top"));
    assert!(top.contains("2 March 2027") && top.contains(&format!("commit {} of 2027-03-02", commit.trim())), "{top}");
    let own = text(place(&page, "circle-time"));
    for expected in ["2027-02-01", "2027-03-02", "5.2 s", "5.3 s", "chief engineer", "The tyres of last year are gone."]
    {
        assert!(own.contains(expected), "{expected} in {own}");
    }
    assert!(text(section(&page, "_limits")).contains("at most 5.2 s"));
    let recent = text(section(&page, "_recent"));
    assert!(recent.contains("2 changes"), "{recent}");
    // A revision has no title: what it is about is shown.
    assert!(recent.contains("Revision: ") && !recent.contains("circle-time-march"), "{recent}");
    assert!(text(section(&page, "_limits")).contains("1 change of limits, each with a revision."));
    let before = page_of(&sandbox, &sandbox.path(), &["--rev", "HEAD~1"]);
    assert!(text(section(&before, "_limits")).contains("No limit has changed"));
}

/// Only a page is replaced; no file of the user, and nothing behind a link.
#[test]
fn only_a_page_is_replaced() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let first = sandbox.tierod(&["page"]).ended(0);
    assert!(first.out.starts_with("wrote page.html: 5 records, "), "{}", first.out);
    sandbox.tierod(&["page"]).ended(0);
    sandbox.write("own.html", "<p>of the user");
    let refused = sandbox.tierod(&["page", "--output", "own.html"]).ended(2);
    assert!(refused.err.contains("is not a page of tierod"), "{}", refused.err);
    assert_eq!(std::fs::read(sandbox.path_of("own.html")).unwrap(), b"<p>of the user");
    for name in ["chain.yaml", "page", "missing/page.html"] {
        assert_eq!(sandbox.tierod(&["page", "--output", name]).code, 2, "{name}");
    }
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("chain.yaml", sandbox.path_of("link.html")).unwrap();
        let before = std::fs::read(sandbox.path_of("chain.yaml")).unwrap();
        sandbox.tierod(&["page", "--output", "link.html"]).ended(2);
        assert_eq!(std::fs::read(sandbox.path_of("chain.yaml")).unwrap(), before);
    }
    sandbox.tierod(&["page", "--watch", "--rev", "HEAD"]).ended(2);
}
