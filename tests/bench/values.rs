//! Times of the value graph in one process: one evaluation, one backward pass, and the total of 10,000 parts.
//!
//! `cargo bench --bench values` prints the medians and the ratio of `worth` to one evaluation.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a benchmark prints, and stops when it cannot run")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use trace::snapshot::{Request, State};
use trace::values::{Rule, Values};
use trace::{Loaded, Study};

fn load(root: PathBuf) -> Loaded {
    let request = Request { cwd: std::env::current_dir().unwrap(), path: Some(root), state: State::Worktree };
    Loaded::from_request(&request).unwrap()
}

/// The median of some runs, in milliseconds.
fn median(runs: usize, mut run: impl FnMut()) -> f64 {
    let mut times: Vec<f64> = (0..runs)
        .map(|_| {
            let start = Instant::now();
            run();
            start.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[runs / 2]
}

fn print_times(name: &str, loaded: Loaded) {
    let day = schema::Day::parse("2027-03-19").unwrap();
    let study = Study::without_history(loaded, day);
    let (loaded, values) = (&study.loaded, study.values());
    let network = &values.network;
    let (goal, ..) = loaded.goals().next().unwrap();
    let goal = values.record_node(goal).unwrap();
    let leaves = network.nodes.iter().filter(|node| matches!(node.rule, Rule::Given(_))).count();
    let evaluation = median(31, || drop(network.evaluate()));
    let worth = median(31, || drop(network.sensitivities(&network.partials(&values.state), goal)));
    let built = median(11, || drop(Values::new(&study.graph)));
    let report = median(11, || {
        let study = Study::without_history(Arc::clone(loaded), day);
        let _ = study.report();
    });
    println!("{name}: {} records, {} values, {leaves} of them given", loaded.entries.len(), network.nodes.len());
    println!("  one evaluation           {evaluation:8.3} ms");
    println!("  worth of all given values {worth:7.3} ms, {:.1} evaluations", worth / evaluation);
    println!("  building the value graph {built:8.3} ms");
    println!("  records to findings      {report:8.3} ms");
}

fn main() {
    print_times("example-car", load(Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car")));

    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("tierod.yaml"), "growth: {mass: {drawn: 5 %}}\n").unwrap();
    let mut records = String::from(
        "goals: {goal: {points: 60 pts}}\nevents:\n  event: {serves: {goal: x}, reads: {mass: car-mass}, score: {formula: 100 pts - mass * 1 pts/kg}}\n",
    );
    records.push_str("targets: {car-mass: {of: car, at-most: 9 t, total: mass, serves: {event: x}}}\nsystems:\n");
    for system in 0..10 {
        let _ = writeln!(records, "  s{system}: {{in: car}}");
    }
    records.push_str("parts:\n");
    for part in 0..10_000 {
        let _ = writeln!(
            records,
            "  p{part}: {{in: s{}, count: 2, amounts: {{mass: {{value: 0.4 kg ± 0.02 kg, basis: drawn}}}}, serves: {{car-mass: x}}}}",
            part % 10
        );
    }
    std::fs::write(folder.path().join("parts.yaml"), records).unwrap();
    print_times("10,000 parts", load(folder.path().to_owned()));
}
