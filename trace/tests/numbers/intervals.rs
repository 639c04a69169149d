//! Intervals where the first order misleads: caps, floors, yes or no, slopes of zero; and the examples of the guides.

use std::path::PathBuf;

use schema::Day;
use trace::snapshot::{Request, State};
use trace::values::{Key, Rule};
use trace::{Loaded, NodeId, Study};

use crate::read::{Read, close, end_gauge, study};

/// A score as a formula: no car is faster than the best, which may be ours.
const PACE: &str = "span * (slowest / min(time, slowest) - 1) / (slowest / min(best, time) - 1) + floor";

fn pace(id: &str, time: &str, best: &str, slowest: &str, points: [&str; 2], more: &str) -> String {
    let [span, floor] = points;
    format!(
        "  {id}: {{reads: {{time: {time}}}, {more}score: {{formula: '{PACE}', given: {{best: {best}, slowest: {slowest}, \
         span: {span} pts, floor: {floor} pts}}}}}}\n"
    )
}

/// Each case of `tests/intervals.py`, with its output: the mean of 30,000 draws by SciPy and its standard error, and the
/// bounds of the lower and the upper end of an interval that has 93 to 97 % of the draws inside.
const DRAWN: [(&str, f64, f64, [f64; 4]); 15] = [
    ("cap-both", 98.0339, 0.0163, [90.987, 92.8707, 100.0, 100.0]),
    ("cap-best", 99.7053, 0.00529, [96.879, 98.3203, 100.0, 100.0]),
    ("floor", 5.48812, 0.00966, [4.5, 4.5, 8.59176, 10.0223]),
    ("drop", 19.9389, 0.0376, [0.0, 0.0, 23.7936, 24.3708]),
    ("cap-and-floor", 77.0142, 0.0966, [42.8667, 50.7531, 100.0, 100.0]),
    ("least", 2.28068, 0.000504, [2.08292, 2.11803, 2.43201, 2.45957]),
    ("greatest-of-shared", 10.4065, 0.00187, [9.91474, 9.96007, 11.1003, 11.2726]),
    ("distance", 0.119818, 0.000523, [0.0030166, 0.00669069, 0.317665, 0.36784]),
    ("finish", 172.921, 0.334, [0.0, 0.0, 203.254, 206.596]),
    ("rare-finish", 75.6423, 0.538, [0.0, 0.0, 195.621, 198.594]),
    ("rare-stop", 187.965, 0.118, [174.189, 178.209, 200.816, 202.948]),
    // More than 2.5 % of the draws are at either end: nothing can be omitted.
    ("capped-finish", 78.5698, 0.226, [0.0, 0.0, 100.0, 100.0]),
    ("together", 631.783, 0.447, [389.634, 396.286, 678.39, 682.812]),
    ("apart", 620.048, 0.384, [399.905, 441.402, 676.175, 680.928]),
    ("shared-best", 360.235, 0.465, [118.118, 122.417, 400.0, 400.0]),
];

#[test]
fn caps_floors_and_chances_against_draws_by_scipy() {
    let mut events = String::from("events:\n");
    for (id, time, best, slowest, points, more) in [
        ("cap-both", "our-time", "4.0 s ± 0.1 s", "6 s", ["95.5", "4.5"], ""),
        ("cap-best", "fast-time", "4.0 s", "6 s", ["95.5", "4.5"], ""),
        ("floor", "slow-time", "4.0 s", "6 s", ["95.5", "4.5"], ""),
        ("finish", "lap-time", "56.5 s ± 0.8 s", "81.925 s", ["250", "25"], "chance: 90 %, "),
        ("capped-finish", "our-time", "4.0 s ± 0.1 s", "6 s", ["95.5", "4.5"], "chance: 80 %, "),
        ("shared-run", "run-time", "best-time", "81.925 s", ["250", "25"], "chance: 90 %, serves: {shared-best: x}, "),
        ("shared-lap", "one-lap", "best-time", "81.925 s", ["118.5", "6.5"], "serves: {shared-best: x}, "),
    ] {
        events += &pace(id, time, best, slowest, points, more);
    }
    let read = Read::new(&(events
        + "
  drop: {reads: {time: drop-time}, score: {formula: 'if(time < 6 s, 20 pts + 50 pts * (6 s / time - 1), 0 pts)'}}
  cap-and-floor: {reads: {fuel: fuel}, score: {formula: 'min(100 pts, max(0 pts, 100 pts * (5.1 - fuel) / (5.1 - 1.9)))'}}
  rare-finish: {expect: 190 pts ± 12 pts, chance: 40 %}
  rare-stop: {expect: 190 pts ± 12 pts, chance: 99 %}
  run: {expect: 200 pts ± 11 pts, chance: finish-chance, serves: {together: x}}
  economy: {expect: 57 pts ± 8 pts, chance: finish-chance, serves: {together: x}}
  rest: {expect: 400 pts ± 20 pts, serves: {together: x}}
  one: {expect: 200 pts ± 11 pts, chance: 90 %, serves: {apart: x}}
  other: {expect: 57 pts ± 8 pts, chance: 70 %, serves: {apart: x}}
  remainder: {expect: 400 pts ± 20 pts, serves: {apart: x}}
goals:
  together: {points: 600 pts}
  apart: {points: 600 pts}
  shared-best: {points: 300 pts}
targets:
  our-time: {of: car, at-most: 4.1 s, estimate: 4.0 s ± 0.1 s}
  fast-time: {of: car, at-most: 4.1 s, estimate: 3.95 s ± 0.1 s}
  slow-time: {of: car, at-most: 6.1 s, estimate: 6.02 s ± 0.2 s}
  drop-time: {of: car, at-most: 6.1 s, estimate: 5.8 s ± 0.3 s}
  lap-time: {of: car, at-most: 64 s, estimate: 63 s ± 1.2 s}
  run-time: {of: car, at-most: 64 s, estimate: 57 s ± 1 s}
  one-lap: {of: car, at-most: 64 s, estimate: 57.2 s ± 1 s}
  best-time: {of: car, at-most: 64 s, estimate: 56.5 s ± 0.8 s}
  fuel: {of: car, at-most: 3, estimate: 2.6 ± 1.2}
  finish-chance: {of: car, at-least: 87 %, estimate: 90 % ± 2 %}
  shared: {of: car, at-most: 90, estimate: 10 ± 1}
  least: {of: car, at-most: 90, formula: 'min(a, b)', given: {a: 2.3 ± 0.2, b: 2.4 ± 0.2}}
  greatest-of-shared: {of: car, at-most: 90, formula: 'max(shared + own, 20 - shared)', given: {own: 0 ± 0.4}}
  distance: {of: car, at-most: 90, formula: abs(offset), given: {offset: 0 ± 0.3}}
"));
    for (id, mean, error, [low_from, low_to, high_from, high_to]) in DRAWN {
        let [found, low, high, _] = read.get(id).spread;
        // The last digits of the table are rounded.
        let from = |bound: f64| bound - 1e-5 * bound.abs() - 1e-9;
        let to = |bound: f64| bound + 1e-5 * bound.abs() + 1e-9;
        assert!((found - mean).abs() < 4.0 * error, "{id}: mean {found} instead of {mean}");
        assert!(from(low_from) <= low && low <= to(low_to), "{id}: from {low} instead of {low_from} to {low_to}");
        assert!(from(high_from) <= high && high <= to(high_to), "{id}: to {high} instead of {high_from} to {high_to}");
    }
    // The means of the events add up.
    let sum = ["run", "economy", "rest"].iter().map(|id| read.get(id).spread[0]).sum::<f64>();
    close(read.get("together").spread[0], sum, 1e-12);
    close(sum, 0.9 * 257.0 + 400.0, 1e-12);
}

/// What bends nowhere within its uncertainty has the first-order uncertainty, digit by digit.
#[test]
fn a_straight_score_is_first_order() {
    let events = pace("slow", "time", "56.5 s ± 0.8 s", "81.925 s", ["250", "25"], "serves: {goal: x}, ");
    let read = Read::new(&format!(
        "events:\n{events}  sure: {{expect: 50 pts ± 6 pts, chance: 100 %, serves: {{goal: x}}}}
goals: {{goal: {{points: 300 pts}}}}
targets: {{time: {{of: car, at-most: 64 s, estimate: 63 s ± 1.2 s}}}}\n"
    ));
    for id in ["slow", "sure", "goal"] {
        let (value, uncertainty) = (read.number(id), read.uncertainty(id));
        assert_eq!(read.get(id).spread, [value, value - uncertainty, value + uncertainty, uncertainty], "{id}");
    }
    assert_eq!(read.get("sure").spread[..3], [50.0, 44.0, 56.0]);
}

/// JCGM 101:2008, 9.4, comparison loss: y = x1² + x2² with u = 0.005 each, correlated by r. Mean and standard uncertainty
/// in 1e-6: exact, and as published (50, 50; 150, 112; 2551, 502; 50, 67; 150, 121; 2551, 505). The ends of the central
/// interval are computed from the exact distribution; the guide gives the shortest interval.
#[test]
fn comparison_loss_of_the_supplement() {
    for (r, x1, mean, deviation, [low, high], published) in [
        (0.0, 0.0, 50.0, 50.0, [1.266, 184.444], [50.0, 50.0]),
        (0.0, 0.010, 150.0, 111.8034, [8.547, 427.123], [150.0, 112.0]),
        (0.0, 0.050, 2550.0, 502.4938, [1638.477, 3603.358], [2551.0, 502.0]),
        (0.9, 0.0, 50.0, 67.2681, [0.561, 241.217], [50.0, 67.0]),
        (0.9, 0.010, 150.0, 120.5197, [29.081, 478.311], [150.0, 121.0]),
        (0.9, 0.050, 2550.0, 504.5047, [1696.858, 3659.796], [2551.0, 505.0]),
    ] {
        let (shared, own) = (f64::sqrt(r), f64::sqrt(1.0 - r));
        let read = Read::new(&format!(
            "
targets:
  common: {{of: car, at-most: 1, estimate: 0 ± 0.01}}
  x1: {{of: car, at-most: 1, formula: {x1} + {shared} * common + {own} * own, given: {{own: 0 ± 0.01}}}}
  x2: {{of: car, at-most: 1, formula: {shared} * common + {own} * own, given: {{own: 0 ± 0.01}}}}
  loss: {{of: car, at-most: 1, formula: x1^2 + x2^2}}
"
        ));
        let [found, from, to, expanded] = read.get("loss").spread.map(|value| value * 1e6);
        close(found, mean, 0.005);
        close(expanded / 2.0, deviation, 0.02);
        close(found, published[0], 0.006);
        close(expanded / 2.0, published[1], 0.025);
        assert!((from - low).abs() < 0.02 * deviation, "r {r}, x1 {x1}: from {from} instead of {low}");
        assert!((to - high).abs() < 0.06 * deviation, "r {r}, x1 {x1}: to {to} instead of {high}");
        // The first order says that nothing is uncertain.
        if x1 == 0.0 {
            assert_eq!(read.uncertainty("loss"), 0.0);
        }
    }
}

/// JCGM 101:2008, 9.2 and 9.3. 9.2.2: the sum of four standard normal values has u = 2.0. 9.3, mass calibration: the first
/// order says 0.0539 mg, the truth is 0.0755 mg (published 0.0754); only the product of two inputs bends. The guide has
/// rectangular distributions there; inputs here are normal with the same standard uncertainties, which gives 0.0750.
#[test]
fn sum_and_mass_of_the_supplement() {
    let read = Read::new(
        "
targets:
  sum:
    of: car
    at-most: 9
    formula: a + b + c + d
    given: {a: 0 ± 2, b: 0 ± 2, c: 0 ± 2, d: 0 ± 2}
  wide:
    of: car
    at-most: 99
    formula: a + b + c + d
    given: {a: 0 ± 2, b: 0 ± 2, c: 0 ± 2, d: 0 ± 20}
  mass:
    of: car
    at-most: 9
    formula: (m + d) * (1 + (air - 1.2) * (1/weight - 1/reference)) - 100000
    given:
      m: 100000 ± 0.1
      d: 1.234 ± 0.04
      air: 1.2 ± 0.11547005
      weight: 8000 ± 1154.7005
      reference: 8000 ± 57.735027
",
    );
    assert_eq!(read.get("sum").spread, [0.0, -4.0, 4.0, 4.0]);
    // 9.2.4, one input ten times wider: u = sqrt(103), published 10.1 to 10.2; at 1.96 u the published interval of the normal
    // theory is 19.9 to each side, here it is 2 u. (With rectangular inputs it is 17.0, which this form cannot say.)
    let expanded = read.get("wide").spread[3];
    close(expanded / 2.0, 10.148_891_565, 1e-9);
    close(1.959_963_985 * expanded / 2.0, 19.891_461_951, 1e-9);
    let [mean, low, high, expanded] = read.get("mass").spread;
    assert!((mean - 1.234).abs() < 0.001, "{mean}");
    close(read.uncertainty("mass") / 2.0, 0.053_851_648_1, 1e-6);
    close(expanded / 2.0, 0.075, 0.02);
    // Published for the shortest interval: 1.0834 to 1.3825; exact for the rectangular inputs: 1.0844 to 1.3836.
    assert!((low - 1.0844).abs() < 0.01 && (high - 1.3836).abs() < 0.01, "{low} to {high}");
}

/// JCGM 100:2008 (GUM), H.1: with the second order 34 nm are published instead of 32 nm; exactly 33.8065 nm.
#[test]
fn end_gauge_with_its_second_order() {
    let read = end_gauge([50.0, 19.363_884, 2.309_401_1, 0.812_403_84, 1.154_700_5, 0.057_735_027]);
    close(read.uncertainty("gauge") / 2.0 * 1e6, 31.663_879, 1e-6);
    let [mean, _, _, expanded] = read.get("gauge").spread;
    assert!((mean - 50.000_838).abs() < 1e-6, "{mean}");
    close(expanded / 2.0 * 1e6, 33.8065, 0.02);
}

/// JCGM 100:2008 (GUM), H.2 and H.3, from the readings in full precision: published are R 127.732 (0.071), X 219.847
/// (0.295), Z 254.260 (0.236) in ohm, and the correction 30 °C: -0.1494 (0.0041). Correlated inputs have common parts.
#[test]
fn correlated_inputs_of_the_gum() {
    let (v_i, v_phi, i_phi) = (-0.355_311_219_817_f64, 0.857_624_210_840_f64, -0.645_111_217_689_f64);
    // The lower triangular factor of the correlations.
    let i_own = (1.0 - v_i * v_i).sqrt();
    let phi_i = (i_phi - v_i * v_phi) / i_own;
    let phi_own = (1.0 - v_phi * v_phi - phi_i * phi_i).sqrt();
    let r = -0.930_430_f64;
    let own = (1.0 - r * r).sqrt();
    let read = Read::new(&format!(
        "
targets:
  z1: {{of: car, at-most: 9, estimate: 0 ± 2}}
  z2: {{of: car, at-most: 9, estimate: 0 ± 2}}
  z3: {{of: car, at-most: 9, estimate: 0 ± 2}}
  volt: {{of: car, at-most: 9, formula: 4.999 + 0.003209361307 * z1}}
  ampere: {{of: car, at-most: 9, formula: 0.0196610 + 0.000009471008394 * ({v_i} * z1 + {i_own} * z2)}}
  phase: {{of: car, at-most: 9, formula: 1.04446 + 0.000752063827 * ({v_phi} * z1 + {phi_i} * z2 + {phi_own} * z3)}}
  resistance: {{of: car, at-most: 900, formula: volt * cos(phase) / ampere}}
  reactance: {{of: car, at-most: 900, formula: volt * sin(phase) / ampere}}
  impedance: {{of: car, at-most: 900, formula: volt / ampere}}
  start: {{of: car, at-most: 9, formula: -0.171203790 + 0.002877598 * z1}}
  slope: {{of: car, at-most: 9, formula: 0.002182698 + 0.000667939 * ({r} * z1 + {own} * z2)}}
  correction: {{of: car, at-most: 9, formula: start + slope * (30 - 20)}}
"
    ));
    for (id, value, deviation, published) in [
        ("resistance", 127.732_169_928, 0.071_071_407_397, 0.071),
        ("reactance", 219.846_511_913, 0.295_581_677_359, 0.295),
        ("impedance", 254.259_701_948, 0.236_336_130_082, 0.236),
        ("correction", -0.149_376_813, 0.004_138_596, 0.0041),
    ] {
        let [mean, low, high, expanded] = read.get(id).spread;
        close(mean, value, 1e-7);
        close(expanded / 2.0, deviation, 1e-5);
        close(expanded / 2.0, published, 0.01);
        close(high - low, 2.0 * expanded, 1e-9);
    }
}

/// The probability that a total is at least what is needed. JCGM 106:2012, 7: for y = -5.47 with u = 0.05 and the limit
/// -5.40 the conformance probability is Φ(1.4) = 0.9192433408 (the Zener diode).
#[test]
fn the_chance_of_a_total() {
    let study = study(
        "
goals: {zener: {points: 540 pts}, split: {points: 540 pts}}
events:
  diode: {expect: 547 pts ± 10 pts, serves: {zener: x}}
  run: {expect: 200 pts ± 10 pts, chance: 90 %, serves: {split: x}}
  rest: {expect: 400 pts, serves: {split: x}}
",
        &[],
    );
    let goals = study.goals();
    let chance = |goal: usize, points: f64, deviation: f64| goals[goal].chance_of(points, deviation).unwrap();
    assert!((chance(0, 540.0, 0.0) - 0.919_243_340_8).abs() < 1e-9);
    // What is needed is uncertain, too: the hypotenuse of 3 and 4 is 5.
    let own = goals[0].chance_of(547.0 - 7.0, 12.0).unwrap();
    assert!((own - 0.704_870_8).abs() < 1e-6, "{own}");
    // 600 ± 10 with 90 %, otherwise 400.
    assert!((chance(1, 500.0, 0.0) - 0.9).abs() < 1e-9);
    assert!((chance(1, 600.0, 0.0) - 0.45).abs() < 1e-3);
    assert!((chance(1, 400.0, 0.0) - 1.0).abs() < 1e-9);
    assert!((chance(1, 400.0, 5.0) - 0.95).abs() < 1e-6);
}

/// Random numbers for the draws: SplitMix64, and the method of Box and Muller.
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }
}

/// The example car, with each given value drawn from its uncertainty, all models run again and each chance drawn: 95 % of
/// the totals and of the points of each event are inside the intervals. `TIEROD_DRAWS=30000` draws more than CI does.
#[test]
fn intervals_of_the_example_against_draws_through_all_models() {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    let request = Request { cwd: root.clone(), path: Some(root), state: State::Worktree };
    let study = Study::without_history(Loaded::from_request(&request).unwrap(), Day::parse("2027-03-19").unwrap());
    let values = study.values();
    let goal = &study.goals()[0];
    let draws = std::env::var("TIEROD_DRAWS").map_or(600, |draws| draws.parse().unwrap());
    let leaves: Vec<(NodeId, f64, f64)> = values
        .nodes()
        .map(|(node, _)| (node, &values.network.nodes[node]))
        .filter(|(_, value)| value.uncertainty > 0.0 && matches!(value.rule, Rule::Given(_)))
        .map(|(node, value)| (node, values.value(node).unwrap(), value.uncertainty / 2.0))
        .collect();
    assert!(leaves.len() > 20);
    let mut random = Random(7);
    let mut inside = vec![0; goal.events.len() + 1];
    for _ in 0..draws {
        let set: Vec<(NodeId, f64)> =
            leaves.iter().map(|(node, value, by)| (*node, value + by * random.normal())).collect();
        let state = values.network.what_if(&values.state, &set);
        let mut outcomes: Vec<(NodeId, bool)> = Vec::new();
        let mut total = 0.0;
        for (event, inside) in goal.events.iter().zip(&mut inside) {
            let points = match event.chance {
                None => state.values[event.node],
                Some(chance) => {
                    let known = outcomes.iter().find(|(node, _)| *node == chance.node).map(|(_, outcome)| *outcome);
                    let outcome = known.unwrap_or_else(|| random.uniform() < chance.chance);
                    outcomes.push((chance.node, outcome));
                    let score = values.network.nodes[event.node].inputs[0];
                    assert!(matches!(values.keys[score], Key::Local(..)));
                    if outcome { state.values[score] } else { 0.0 }
                }
            };
            let (low, high) = event.interval().unwrap();
            *inside += usize::from((low..=high).contains(&points));
            total += points;
        }
        let (low, high) = goal.interval().unwrap();
        *inside.last_mut().unwrap() += usize::from((low..=high).contains(&total));
    }
    for (at, inside) in inside.iter().enumerate() {
        let id = goal.events.get(at).map_or("total", |event| study.loaded.record(event.index).id.as_str());
        let share = f64::from(u32::try_from(*inside).unwrap()) / f64::from(draws);
        println!("{id}: {:.2} % of {draws} draws inside", share * 100.0);
        // Three standard errors of the share, beyond 93 and 97 %.
        let error = 3.0 * (0.05_f64 * 0.95 / f64::from(draws)).sqrt();
        assert!((0.93 - error..=0.97 + error).contains(&share), "{id}: {share} of {draws} draws inside");
    }
}
