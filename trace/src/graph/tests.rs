//! Small graphs, and what the queries say of them.

use super::*;
use crate::snapshot::Snapshot;

fn loaded(records: &str) -> Arc<Loaded> {
    let file = crate::snapshot::File { path: "a.yaml".to_owned(), content: Ok(records.as_bytes().into()) };
    Arc::new(Loaded::from_snapshot(Snapshot::in_memory(vec![file])))
}

const CHAIN: &str = "
goals: {g: {place: 1}}
events: {e: {serves: {g: a}}}
systems: {s: {in: car, lead: s lead}}
targets:
  t: {of: car, at-most: 1 s, serves: {e: b, g: c}}
  u: {of: s, at-most: 1 s, serves: {t: d}}
  loose: {of: s, at-most: 1 s, serves: {adrift: x}}
  adrift: {of: s, at-most: 1 s}
parts: {p: {in: s, serves: {u: e, t: f}}}
results: {r: {of: u, outcome: pass, date: 2027-01-01}}
analyses: {a: {finds: t}}
";

#[test]
fn distances_chains_and_records_below() {
    let loaded = loaded(CHAIN);
    let graph = Graph::new(&loaded);
    let chains = Chains::new(&graph);
    let at = |id: &str| loaded.find(id).unwrap();
    let names =
        |ids: Vec<RecordId>| ids.into_iter().map(|i| loaded.record(i).id.to_string()).collect::<Vec<_>>().join(" ");
    assert_eq!(["g", "e", "t", "u", "p"].map(|id| chains.distance(at(id))), [0, 1, 1, 2, 2].map(Some));
    assert_eq!(chains.distance(at("loose")), None);
    assert_eq!(names(chains.chain(at("p"))), "p t g", "the shortest chain");
    assert_eq!(names(chains.chain(at("r"))), "r u t g", "a result continues at what it verifies");
    assert_eq!(names(chains.chain(at("a"))), "a t g");
    assert_eq!(names(chains.chain(at("loose"))), "loose adrift", "up to its end");
    assert_eq!(names(graph.below(at("t"))), "u p");
    assert_eq!(graph.lead(at("p")), Some("s lead"), "inherited from the system");
    assert_eq!(graph.lead(at("t")), None);
}

#[test]
fn tiers() {
    let loaded = loaded(CHAIN);
    let graph = Graph::new(&loaded);
    let tier = |id: &str| graph.tier(loaded.find(id).unwrap());
    assert_eq!(
        ["g", "e", "t", "u", "p"].map(tier),
        [Tier::Goal, Tier::Event, Tier::Car, Tier::System, Tier::Part].map(Some)
    );
    assert_eq!(["r", "a"].map(tier), [None, None]);
}

#[test]
fn cycles_are_reported_with_their_path() {
    let loaded = loaded(
        "
targets:
  a: {of: car, at-most: 1 s, serves: {b: x}}
  b: {of: car, at-most: 1 s, serves: {c: x, a: x}}
  c: {of: car, at-most: 1 s, serves: {a: x}, share-of: d}
  d: {of: car, at-most: 1 s, serves: {d: x}, share-of: c}
systems: {s: {in: z}, z: {in: s}}
",
    );
    let graph = Graph::new(&loaded);
    let reported: Vec<String> = graph
        .cycles()
        .into_iter()
        .map(|cycle| {
            let path: Vec<&str> = cycle.path.iter().map(|i| loaded.record(*i).id.as_str()).collect();
            format!("{}: {}", cycle.key, path.join(" "))
        })
        .collect();
    assert_eq!(reported, ["serves: a b", "serves: d", "in: s z", "share-of: c d"]);
}

#[test]
fn references_to_missing_records_or_of_the_wrong_kind() {
    let loaded = loaded(
        "
systems: {s: {in: car}}
parts: {p: {in: sx, serves: {car: x, result-one: x}}}
results: {result-one: {of: s, outcome: pass, date: 2027-01-01}}
decisions: {d: {alternatives: {one: {sets: {p.mass: 1 kg, p: 1 kg, car.mass: 1 kg, s: 1 kg}}}}}
analyses: {a: {given: {mass: pp.mass, other: mass, track: nowhere.csv, sum: p.mass + 1 kg}}}
",
    );
    let graph = Graph::new(&loaded);
    let reported: Vec<String> = graph.broken.iter().map(|b| format!("{}: {}", b.route.join("."), b.message)).collect();
    let expected = [
        "in: no record with id `sx`",
        "serves.car: `car` is the whole car",
        "serves.result-one: `result-one` is a result",
        "of: `s` is a system",
        "alternatives.one.sets.p: `p` is a part",
        "alternatives.one.sets.s: `s` is a system",
        "given.mass: no record with id `pp`",
        "given.track: file missing or empty: `nowhere.csv`",
    ];
    let mut reported = reported;
    reported.sort();
    let mut expected = expected.map(str::to_owned);
    expected.sort();
    assert_eq!(reported, expected);
}

#[test]
fn the_latest_result_is_the_last_by_date_then_by_order() {
    let loaded = loaded(
        "
parts: {p: {in: s}}
results:
  late: {of: p, outcome: pass, date: 2027-02-01}
  early: {of: p, outcome: fail, date: 2027-01-01}
  undated: {of: p, outcome: fail}
  same-day: {of: p, outcome: fail, date: 2027-02-01}
  other: {of: p2, outcome: fail, date: 2027-03-01}
",
    );
    let graph = Graph::new(&loaded);
    let results = graph.results(loaded.find("p").unwrap());
    let ids: Vec<&str> = results.iter().map(|(id, _)| loaded.record(*id).id.as_str()).collect();
    assert_eq!(ids, ["undated", "early", "late", "same-day"]);
}

#[test]
fn enclosing_records_end_at_the_car_and_in_a_cycle() {
    let loaded = loaded(
        "
systems: {s: {in: car}, t: {in: s}, x: {in: z}, z: {in: x}, own: {in: own}}
parts: {p: {in: t}, q: {in: x}, r: {in: nowhere}}
",
    );
    let graph = Graph::new(&loaded);
    let around = |id: &str| {
        let ids = graph.enclosing(loaded.find(id).unwrap());
        ids.map(|id| loaded.record(id).id.to_string()).collect::<Vec<_>>().join(" ")
    };
    assert_eq!(["p", "q", "r", "own"].map(around), ["p t s", "q x z", "r", "own"]);
}
