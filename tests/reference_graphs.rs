//! Real requirement graphs, converted to records, give exactly the counts of networkx and scipy.
//!
//! Sources: NASA CM1 and GANNT as distributed for research with IEEE TSE 32(1):4-19 and RE 2009; NASA core
//! Flight System, Apache-2.0. The complete tables are used if they are available (CI fails without them); a
//! few links of CM1 are below.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::path::PathBuf;

use crate::support::Sandbox;

/// Links of NASA CM1: two high requirements, three low ones, one of them without a parent.
const SOME_OF_CM1: &str =
    "upper,lower,kind\nhigh:SRS5.12.2.1,low:DPUSDS5.12.1.2.4,trace\nhigh:SRS5.12.2.1,low:DPUSDS5.12.1.4.1,trace\n";
const SOME_NODES_OF_CM1: &str = "id,level\nhigh:SRS5.12.2.1,high\nhigh:SRS5.12.2.2,high\nlow:DPUSDS5.12.1.2.4,low\nlow:DPUSDS5.12.1.4.1,low\nlow:DPUSDS5.12.1.0.1,low\n";

struct Counts {
    nodes: usize,
    no_upper: usize,
    no_lower: usize,
    dangling: usize,
    links: usize,
    alone_on_top: usize,
}

fn reference() -> Option<PathBuf> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../shared/reference/graphs");
    let there = folder.is_dir();
    assert!(there || std::env::var_os("CI").is_none(), "CI needs the reference graphs at {}", folder.display());
    there.then_some(folder)
}

/// `low:DPUSDS5.12.1.2.4` as a kebab-case id; different names stay different.
fn id(name: &str) -> String {
    let mut out = String::from("r");
    for c in name.chars() {
        match c {
            'a'..='z' | '0'..='9' => out.push(c),
            'A'..='Z' => out.extend(['q', c.to_ascii_lowercase()]),
            other => out.push_str(&format!("x{:x}", other as u32)),
        }
    }
    out
}

fn counts(nodes: &str, edges: &str) -> Counts {
    let rows = |text: &str| -> Vec<Vec<String>> {
        text.lines().skip(1).map(|line| line.split(',').map(str::to_owned).collect()).collect()
    };
    let mut parents: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for row in rows(edges) {
        parents.entry(row[1].clone()).or_default().insert(row[0].clone());
    }
    // The top level becomes targets of the car, the rest requirements of a system.
    let mut targets = String::from("targets:\n");
    let mut requirements = String::from("requirements:\n");
    for row in rows(nodes) {
        let (name, level) = (&row[0], row[1].as_str());
        let serves: Vec<String> =
            parents.get(name).into_iter().flatten().map(|parent| format!("{}: It says so.", id(parent))).collect();
        let serves = serves.join(", ");
        if matches!(level, "high" | "L1") {
            targets.push_str(&format!("  {}: {{of: car, at-least: 1, serves: {{{serves}}}}}\n", id(name)));
        } else {
            requirements.push_str(&format!("  {}: {{of: software, shall: work, serves: {{{serves}}}}}\n", id(name)));
        }
    }
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", "");
    sandbox.write("systems.yaml", "systems: {software: {in: car}}\n");
    sandbox.write("high.yaml", targets);
    sandbox.write("low.yaml", requirements);

    let check = sandbox.tierod(&["check", "--format", "json"]).ended(1).json();
    let mut by_check: HashMap<&str, usize> = HashMap::new();
    for finding in check["findings"].as_array().unwrap() {
        *by_check.entry(finding["check"].as_str().unwrap()).or_default() += 1;
    }
    let graph = sandbox.tierod(&["graph", "--format", "json"]).ended(0).json();
    let ids: BTreeSet<&str> =
        graph["nodes"].as_array().unwrap().iter().map(|node| node["id"].as_str().unwrap()).collect();
    let ids: BTreeSet<&str> = ids.into_iter().filter(|id| *id != "software").collect();
    let served = graph["edges"].as_array().unwrap().iter().filter(|edge| edge["link"] == "serves");
    let links: Vec<(&str, &str)> =
        served.map(|edge| (edge["from"].as_str().unwrap(), edge["to"].as_str().unwrap())).collect();
    let lower: BTreeSet<&str> = links.iter().map(|(_, to)| *to).collect();
    let upper: BTreeSet<&str> = links.iter().map(|(from, _)| *from).collect();

    let count = |check: &str| by_check.get(check).copied().unwrap_or(0);
    let no_upper = ids.difference(&upper).count();
    // A record whose only parent does not exist is reported for that, and not also for a missing parent.
    assert_eq!(count("no-parent") + count("unknown-reference"), no_upper, "check and graph agree");
    Counts {
        nodes: ids.len(),
        no_upper,
        no_lower: ids.difference(&lower).count(),
        dangling: count("unknown-reference"),
        links: links.len(),
        alone_on_top: count("no-children"),
    }
}

#[test]
fn a_few_links_of_cm1() {
    let found = counts(SOME_NODES_OF_CM1, SOME_OF_CM1);
    assert_eq!((found.nodes, found.no_upper, found.no_lower, found.dangling), (5, 3, 4, 0));
    assert_eq!((found.links, found.alone_on_top), (2, 1));
}

#[test]
fn the_complete_graphs_give_the_counts_of_their_ground_truth() {
    let Some(folder) = reference() else {
        println!("skipped: the reference graphs are not available");
        return;
    };
    for name in ["cm1-nasa", "gannt", "nasa-cfs"] {
        let read = |file: &str| std::fs::read_to_string(folder.join(name).join(file)).unwrap();
        let truth: serde_json::Value = serde_json::from_str(&read("ground_truth.json")).unwrap();
        let number = |key: &str| usize::try_from(truth[key].as_u64().unwrap()).unwrap();
        let found = counts(&read("nodes.csv"), &read("edges.csv"));
        assert_eq!(found.nodes, number("nodes"), "{name}");
        assert_eq!(found.no_upper, number("no_upward_link"), "{name}: no upper link");
        assert_eq!(found.no_lower, number("no_downward_link"), "{name}: no lower link");
        assert_eq!(found.dangling, number("dangling_links"), "{name}: dangling");
        assert_eq!(found.links, number("distinct_links"), "{name}: links");
        let tops = truth["no_downward_per_level"].as_object().unwrap();
        let tops = tops.get("high").or_else(|| tops.get("L1")).map_or(0, |n| n.as_u64().unwrap());
        assert_eq!(found.alone_on_top as u64, tops, "{name}: top requirements that nothing serves");
    }
}
