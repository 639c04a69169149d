//! The network on its own: what-if, sensitivities and gradients against full evaluations.

use std::sync::Arc;

use proptest::prelude::*;
use schema::Kind;
use schema::formula::Formula;
use schema::quantity::{Dimension, Unit};

use super::network::{Network, Rule, Value};
use super::uncertain_work::Most;
use super::*;
use crate::load::Loaded;
use crate::sheets;
use crate::snapshot::{File, Snapshot};

/// Formulas of `a` and `b` without a kink, whatever comes in.
const SMOOTH: [&str; 8] = [
    "a + b",
    "a - 2 * b",
    "a * sin(b)",
    "a / (1 + b^2)",
    "sqrt(1 + a^2) - cos(b)",
    "exp(-a^2 / 9) + b / 3",
    "ln(2 + a^2) * (b - a)^2 / (4 + b^2 + a^2)",
    "b^3 / (2 + b^2) + 0 * a",
];

/// With kinks, and with values outside the domain.
const KINKED: [&str; 6] =
    ["min(a, b)", "max(a, b, 0.5)", "abs(a) - b", "if(a < b, a, 2 * b)", "sqrt(a) + b", "ln(a) * b"];

/// A node: which rule, and what it reads.
#[derive(Clone, Debug)]
enum Part {
    Given(f64, f64),
    Formula(usize, usize, usize),
    Total(Vec<(usize, f64)>),
    Nothing,
}

/// Given values first, then what reads earlier nodes.
fn parts(formulas: usize) -> impl Strategy<Value = Vec<Part>> {
    let given = proptest::collection::vec((-3.0..3.0, 0.0..0.5), 2..5).prop_map(|all| {
        all.into_iter().map(|(value, spread)| Part::Given(value, if spread < 0.1 { 0.0 } else { spread }))
    });
    let rest = prop_oneof![
        8 => (0..formulas, any::<usize>(), any::<usize>()).prop_map(|(which, a, b)| Part::Formula(which, a, b)),
        2 => proptest::collection::vec((any::<usize>(), -2.0..2.0), 1..4).prop_map(Part::Total),
        1 => Just(Part::Nothing),
    ];
    let rest = proptest::collection::vec(rest, 1..15);
    (given, rest).prop_map(|(given, rest)| given.chain(rest).collect())
}

fn network(parts: &[Part]) -> Network {
    let mut network = Network::default();
    for (node, part) in parts.iter().enumerate() {
        let earlier = |input: &usize| NodeId::new(input % node.max(1));
        let (rule, inputs, uncertainty) = match part {
            Part::Given(value, spread) => (Rule::Given(*value), vec![], *spread),
            Part::Nothing => (Rule::None, vec![], 0.0),
            Part::Total(all) => {
                let factors = all.iter().map(|(_, factor)| *factor).collect();
                (Rule::Total(factors), all.iter().map(|(input, _)| earlier(input)).collect(), 0.0)
            }
            Part::Formula(which, a, b) => {
                let text = SMOOTH.iter().chain(&KINKED).nth(*which).unwrap();
                let formula = Formula::parse(text).unwrap();
                let inputs =
                    formula.names().iter().map(|name| if &*name.text == "a" { earlier(a) } else { earlier(b) });
                let inputs = inputs.collect();
                (Rule::Formula(Arc::new(formula)), inputs, 0.0)
            }
        };
        network.nodes.push(Value {
            rule,
            inputs,
            dimension: Dimension::default(),
            unit: Unit::dimensionless(),
            uncertainty,
        });
        network.order.push(NodeId::new(node));
    }
    network
}

/// The same parts with some nodes given.
fn with(parts: &[Part], set: &[(NodeId, f64)]) -> State {
    let mut parts = parts.to_vec();
    for &(node, value) in set {
        parts[node.index()] = Part::Given(value, 0.0);
    }
    network(&parts).evaluate()
}

fn same(a: f64, b: f64) -> bool {
    a == b || (a.is_nan() && b.is_nan())
}

proptest! {
    /// What-if is a full evaluation of the graph with those values set, to the last bit, at any node.
    #[test]
    fn what_if_is_a_full_evaluation(
        parts in parts(SMOOTH.len() + KINKED.len()),
        set in proptest::collection::vec((any::<usize>(), -3.0..3.0), 0..4),
    ) {
        let network = network(&parts);
        let mut set: Vec<(NodeId, f64)> =
            set.into_iter().map(|(node, value)| (NodeId::new(node % parts.len()), value)).collect();
        set.sort_unstable_by_key(|(node, _)| *node);
        set.dedup_by_key(|(node, _)| *node);
        let state = network.evaluate();
        let what_if = network.what_if(&state, &set);
        for (node, (a, b)) in what_if.values.iter().zip(with(&parts, &set).values).enumerate() {
            prop_assert!(same(*a, b), "node {node}: {a} is not {b}");
            // One value alone, without the others.
            let node = NodeId::new(node);
            prop_assert!(same(network.value_if(&state, &set, node), *a));
            if let [(input, value)] = set[..] {
                let response = network.response(&state, input, node);
                let alone = response.map_or(state.values[node], |mut response| response.result_for(value));
                prop_assert!(same(alone, *a));
            }
        }
        // And back again.
        let back: Vec<(NodeId, f64)> = set.iter().map(|(node, _)| (*node, state.values[*node])).collect();
        for (a, b) in network.what_if(&what_if, &back).values.iter().zip(&state.values) {
            prop_assert!(same(*a, *b));
        }
    }

    /// The backward pass gives what central differences of full evaluations give, by any node.
    #[test]
    fn sensitivities_are_central_differences(parts in parts(SMOOTH.len())) {
        let network = network(&parts);
        let state = network.evaluate();
        let partials = network.partials(&state);
        // Given values come first, so there is one.
        let of = NodeId::all(parts.len()).rev().find(|node| !state.values[*node].is_nan()).unwrap();
        let slopes = network.sensitivities(&partials, of);
        let step = 1e-5;
        for node in NodeId::all(parts.len()).filter(|node| !state.values[*node].is_nan()) {
            let at = |by: f64| with(&parts, &[(node, state.values[node] + by)]).values[of];
            let (up, down) = (at(step), at(-step));
            let numeric = (up - down) / (2.0 * step);
            // What is lost to rounding grows with the values, what is lost to the step with the bend.
            let bend = ((up - 2.0 * state.values[of] + down) / (step * step)).abs();
            let within = 1e-6 * (1.0 + numeric.abs() + state.values[of].abs() + bend);
            prop_assert!((slopes[node] - numeric).abs() < within, "{node:?}: {} is not {numeric}", slopes[node]);
        }
    }

    /// The forward pass agrees with the backward one, for every node and uncertain given value.
    #[test]
    fn gradients_are_sensitivities_by_what_is_uncertain(parts in parts(SMOOTH.len() + KINKED.len())) {
        let network = network(&parts);
        let state = network.evaluate();
        let partials = network.partials(&state);
        let gradients = network.gradients(&partials);
        // At the end of a domain, as that of a root, there is no slope, and what is made of two of them can cancel out one way
        // and not the other.
        let is_finite = |node| network.sensitivities(&partials, node).iter().all(|slope| slope.is_finite());
        prop_assume!(NodeId::all(parts.len()).all(is_finite));
        for node in NodeId::all(parts.len()) {
            let slopes = network.sensitivities(&partials, node);
            let mut squares = 0.0;
            for (leaf, part) in parts.iter().enumerate() {
                let Part::Given(_, spread) = part else { continue };
                let found = gradients.by_given(node).iter().find(|(of, _)| of.index() == leaf).map_or(0.0, |(_, slope)| *slope);
                if *spread == 0.0 {
                    prop_assert_eq!(found, 0.0, "what is certain is no leaf");
                    continue;
                }
                let slope = slopes[leaf];
                prop_assert!((found - slope).abs() <= 1e-9 * (1.0 + slope.abs()), "{found} is not {slope}");
                squares += (slope * spread).powi(2);
            }
            let (found, expected) = (gradients.uncertainty(&network, node), squares.sqrt());
            prop_assert!((found - expected).abs() <= 1e-9 * (1.0 + expected), "{found} is not {expected}");
        }
    }
}

#[test]
fn totals_pass_over_what_has_no_value() {
    let parts = [
        Part::Given(2.0, 0.2),
        Part::Nothing,
        Part::Total(vec![(0, 3.0), (1, 5.0)]),
        Part::Total(vec![(1, 5.0)]),
        Part::Total(vec![]),
        Part::Total(vec![(2, 1.0), (3, 1.0)]),
    ];
    let network = network(&parts);
    let state = network.evaluate();
    assert_eq!((state.values[2], state.values[5]), (6.0, 6.0));
    assert!(state.values[3].is_nan() && state.values[4].is_nan(), "of nothing there is no total");
    let gradients = network.gradients(&network.partials(&state));
    assert!((gradients.uncertainty(&network, NodeId::new(5)) - 0.6).abs() < 1e-15);
    // A part that gets its value counts from then on.
    assert_eq!(network.what_if(&state, &[(NodeId::new(1), 1.0)]).values[5], 6.0 + 5.0 + 5.0);
}

/// A chain of formulas, each with an uncertain value of its own, and what fits of it.
#[test]
fn a_chain_keeps_as_many_derivatives_as_it_may() {
    let mut parts = vec![Part::Given(1.0, 0.2)];
    for at in 0..20 {
        parts.extend([Part::Given(1.0, 0.2), Part::Formula(0, 2 * at, 2 * at + 1)]);
    }
    parts.push(Part::Formula(0, 0, 1));
    let network = network(&parts);
    // 21 uncertain values have one each, the formulas 2 + 3 + ... + 21, and the last one 2.
    let kept = 21 + (2..=21).sum::<usize>() + 2;
    let most = |kept, terms| Most { kept, terms };
    assert!(network.too_uncertain(most(kept, kept)).is_empty());
    let over = network.too_uncertain(most(kept - 3, 10_000));
    assert_eq!(over, [NodeId::new(40)], "the largest one, and what follows is counted without it");
    assert!(network.too_uncertain(most(10_000, kept - 21)).is_empty(), "given values have no terms");
    assert_eq!(network.too_uncertain(most(10_000, kept - 24)), [NodeId::new(40)]);
    // Equal values below two inputs are kept once, but added up twice.
    let shared = [Part::Given(1.0, 0.2), Part::Given(1.0, 0.2), Part::Formula(0, 0, 1), Part::Formula(0, 2, 2)];
    let network = self::network(&shared);
    assert!(network.too_uncertain(most(6, 6)).is_empty());
    assert_eq!(network.too_uncertain(most(6, 5)), [NodeId::new(3)]);
    assert_eq!(network.too_uncertain(most(5, 6)), [NodeId::new(3)]);
}

fn values_of<T>(records: &str, then: impl FnOnce(&Values) -> T) -> T {
    let file = File { path: "a.yaml".to_owned(), content: Ok(records.as_bytes().into()) };
    let loaded = Loaded::from_snapshot(Snapshot::in_memory(vec![file]));
    then(&Values::new(&Arc::new(Graph::new(&Arc::new(loaded)))))
}

const CAR: &str = "
goals: {goal: {points: 100 pts}}
events:
  sprint: {reads: {time: run}, score: {use: sae-2024.acceleration, given: {best: 3.5 s}}, serves: {goal: a}}
targets:
  run: {of: car, at-most: 5 s}
  mass: {of: car, at-most: 300 kg, formula: car.mass + 68 kg}
parts:
  frame: {amounts: {mass: 150 kg ± 5 kg}}
  wheel: {count: 4, amounts: {mass: 12 kg ± 1 kg}}
analyses:
  straight:
    model: straight-line
    finds: run
    given: {mass: mass, power: 0.9 * engine, engine: 60 kW ± 2 kW, grip: 1.1, distance: 75 m}
";

/// From a part's mass through the roll-up, a formula, a model and a score to the points, and back.
#[test]
fn a_kilogram_in_points_through_a_model() {
    values_of(CAR, |values| {
        let node = |name: &str| values.named(name).unwrap();
        let (goal, wheel, frame) = (node("goal"), node("wheel.mass"), node("frame.mass"));
        assert!(values.problems.is_empty(), "{:?}", values.problems);
        let partials = values.network.partials(&values.state);
        let slopes = values.network.sensitivities(&partials, goal);
        let points = |node: NodeId, by: f64| {
            values.network.what_if(&values.state, &[(node, values.state.values[node] + by)]).values[goal]
        };
        for node in [wheel, frame, node("mass"), node("run"), node("sprint")] {
            let step = 1e-3 * values.state.values[node].abs();
            let numeric = (points(node, step) - points(node, -step)) / (2.0 * step);
            assert!((slopes[node] / numeric - 1.0).abs() < 1e-4, "{}: {} {numeric}", values.name(node), slopes[node]);
        }
        assert!(slopes[frame] < 0.0 && (slopes[wheel] / slopes[frame] - 4.0).abs() < 1e-12, "there are four wheels");
        let gradients = values.network.gradients(&partials);
        let names: Vec<String> = gradients.by_given(goal).iter().map(|(leaf, _)| values.name(*leaf)).collect();
        assert_eq!(names, ["straight given engine", "frame.mass", "wheel.mass"]);
        let expected =
            gradients.by_given(goal).iter().map(|(leaf, _)| slopes[*leaf] * values.network.nodes[*leaf].uncertainty);
        let expected = expected.map(|part| part * part).sum::<f64>().sqrt();
        assert!((gradients.uncertainty(&values.network, goal) / expected - 1.0).abs() < 1e-9);
    });
}

/// What checks use has the same bits as all derivatives, except for the constants of analyses, which are left out.
#[test]
fn constants_of_analyses_change_no_other_derivative() {
    values_of(CAR, |values| {
        let node = |name: &str| values.named(name).unwrap();
        let (goal, run) = (node("goal"), node("run"));
        let without = values.partials_without_constants();
        assert!(values.partials.get().is_none(), "all are not calculated for it");
        let constants = values.constants();
        let names = |is: bool| -> Vec<String> {
            let inputs = values.network.nodes[run].inputs.iter();
            inputs.filter(|input| constants[**input] == is).map(|input| values.name(*input)).collect()
        };
        assert_eq!(names(true), ["straight given grip", "straight given distance"]);
        assert_eq!(names(false), ["straight given mass", "straight given power"]);
        let all = values.network.partials(&values.state);
        for id in NodeId::all(values.keys.len()) {
            for (at, input) in values.network.nodes[id].inputs.iter().enumerate() {
                let (own, expected) = (without.by_input(id)[at], all.by_input(id)[at]);
                let is_left_out = id == run && constants[*input];
                assert_eq!(own.is_nan(), is_left_out || expected.is_nan(), "{}", values.name(*input));
                assert!(is_left_out || own.to_bits() == expected.to_bits(), "{}", values.name(*input));
            }
        }
        let (worth, expected) = (values.worth_without_constants(goal), values.worth_of_all(goal));
        for id in NodeId::all(values.keys.len()) {
            let expected = if constants[id] { 0.0 } else { expected[id] };
            assert_eq!(worth[id].to_bits(), expected.to_bits(), "{}", values.name(id));
        }
        let gradients = values.network.gradients(&all);
        let bits = |gradients: &Gradients, id| gradients.uncertainty(&values.network, id).to_bits();
        for id in NodeId::all(values.keys.len()) {
            assert_eq!(bits(values.gradients(), id), bits(&gradients, id));
        }
    });
}

/// Every sheet that ships is read; every text in it is a formula or a quantity that uses only names of its event, and every
/// name is used.
#[test]
fn every_sheet_is_read() {
    let names = sheets::names();
    for shipped in sheets::all() {
        assert!(shipped.sheet().is_some(), "{} is invalid", shipped.name);
    }
    for sheet in ["sae-2024", "fs-rules-2025", "fs-rules-2026"] {
        for event in ["acceleration", "skidpad", "autocross", "endurance"] {
            assert!(names.contains(&format!("{sheet}.{event}")), "{names:?}");
        }
    }
    for name in &names {
        let sheet = sheets::find(name).unwrap();
        let mut texts: Vec<&str> = sheet.texts().map(|(_, text)| text).collect();
        texts.extend([sheet.most.text(), sheet.formula.text()]);
        texts.extend(sheet.no_finish.as_ref().map(schema::records::Expression::text));
        texts.extend(sheet.inputs().filter_map(|(_, _, input)| Some(input.none.as_ref()?.text())));
        let mut used: Vec<String> = vec!["most".to_owned(), "no-finish".to_owned()];
        used.extend(sheet.tables.iter().map(|(_, table)| table.by.to_string()));
        for text in texts.iter().filter(|text| schema::Quantity::parse(text).is_err()) {
            let formula = Formula::parse(text).unwrap_or_else(|error| panic!("{name}: {text}: {error:?}"));
            used.extend(formula.names().iter().map(|name| name.text.to_string()));
        }
        for used in &used {
            assert!(sheet.names().any(|known| known == used), "{name} needs `{used}`");
        }
        for known in sheet.names() {
            assert!(used.iter().any(|used| used == known), "{name} does not use `{known}`");
        }
        for (_, id, input) in sheet.inputs() {
            assert!(input.unit.as_ref().is_none_or(|unit| schema::quantity::Unit::parse(unit).is_ok()), "{name}: {id}");
        }
    }
}

/// A kind with a value or amounts has nodes for them, without any other key.
#[test]
fn roles_agree_with_the_nodes() {
    for &kind in Kind::ALL {
        let (keys, inside) = match kind.roles().amounts {
            AmountsRule::Own => ("amounts: {mass: 1 kg}", ""),
            AmountsRule::Total => ("", "parts: {inside: {in: own, amounts: {mass: 1 kg}}}\n"),
            AmountsRule::Never => ("", "parts: {other: {amounts: {mass: 1 kg}}}\n"),
        };
        let text = format!("{kind}: {{own: {{{keys}}}}}\n{inside}", kind = kind.plural());
        let file = File { path: "a.yaml".to_owned(), content: Ok(text.as_bytes().into()) };
        let loaded = Arc::new(Loaded::from_snapshot(Snapshot::in_memory(vec![file])));
        let values = Values::new(&Arc::new(Graph::new(&loaded)));
        assert_eq!(values.named("own").is_some(), kind.roles().has_value, "{text}");
        assert_eq!(values.named("own.mass").is_some(), kind.has_amounts(), "{text}");
    }
}

/// Scores 100 points with 4 s, 50 fewer for each second more, with a standard deviation of 5; and nothing without a finish.
const FINISH: &str = "
goals: {goal: {points: 100 pts}}
events:
  race: {reads: {time: lap}, chance: finish, score: {formula: all - each * time, given: {all: 300 pts, each: 50 pts/s}}, serves: {goal: a}}
targets:
  lap: {of: car, at-most: 4.1 s, estimate: 4.0 s ± 0.2 s}
  finish: {of: car, at-least: 70 %, estimate: 80 %}
";

/// A chance is not only moved by the points that a value is worth: a finish scores or does not.
#[test]
fn the_chance_follows_a_changed_value() {
    values_of(FINISH, |values| {
        let goal = &values.goals()[0];
        let chance = |set: &[(&str, f64)]| {
            let set: Vec<_> = set.iter().map(|(name, value)| (values.named(name).unwrap(), *value)).collect();
            values.chance_if(goal, &set).unwrap()
        };
        // Above 100 points: half of the normal distribution, and 84.13 % of it from one standard deviation below the mean.
        let expected: [(&[(&str, f64)], f64); 5] = [
            (&[], 0.8 * 0.5),
            (&[("finish", 0.9)], 0.9 * 0.5),
            (&[("lap", 3.9)], 0.8 * 0.841_345),
            (&[("lap", 4.1)], 0.8 * 0.158_655),
            (&[("lap", 3.9), ("finish", 1.0)], 0.841_345),
        ];
        for (set, expected) in expected {
            assert!((chance(set) - expected).abs() < 0.002, "{set:?}: {} for {expected}", chance(set));
        }
        assert!((goal.chance().unwrap() - chance(&[])).abs() < 1e-12);
        assert_eq!(values.chance_of(goal.index), goal.chance());
    });
    // What was scored has no chance any more.
    let scored = format!("{FINISH}results: {{r: {{of: race, value: 90 pts, date: 2027-07-01}}}}\n");
    values_of(&scored, |values| assert_eq!(values.chance_of(values.goals()[0].index), None));
}

/// What many goals share is calculated once, for the points and for an audit.
#[test]
fn goals_share_their_events() {
    let steps = |goals: usize| {
        let all = |item: &dyn Fn(usize) -> String, count: usize| (0..count).map(item).collect::<Vec<_>>().join(", ");
        let serves = all(&|goal| format!("g{goal}: a"), goals);
        let goals = all(&|goal| format!("g{goal}: {{points: 100 pts}}"), goals);
        let event = |at: usize| {
            let (a, b) = (at % 7, at % 5 + 7);
            format!(
                "e{at}: {{plan: 9 pts, reads: {{a: t{a}, b: t{b}}}, score: {{formula: 1 pts * (20 s - a - b) / (1 s)}}, serves: {{{serves}}}}}"
            )
        };
        let target = |at: usize| format!("t{at}: {{of: car, at-most: 5 s, estimate: {} s ± 0.5 s}}", at + 1);
        let records =
            format!("goals: {{{goals}}}\nevents: {{{}}}\ntargets: {{{}}}\n", all(&event, 20), all(&target, 12));
        let file = File { path: "a.yaml".to_owned(), content: Ok(records.into_bytes().into()) };
        let loaded = Loaded::from_snapshot(Snapshot::in_memory(vec![file]));
        let study = crate::Study::without_history(loaded, schema::Day::parse("2027-03-19").unwrap());
        let before = network::STEPS.get();
        assert!(study.goals().iter().all(|goal| goal.events.len() == 20 && goal.events[0].needed_value.is_some()));
        let points = network::STEPS.get() - before;
        let audit = crate::audit::Audit::new(&study, None);
        assert!(audit.goals.iter().all(|goal| goal.events.iter().any(|event| !event.behind.is_empty())));
        (points, network::STEPS.get() - before)
    };
    let (one, many) = (steps(1), steps(30));
    assert!(many.0 < 2 * one.0 && many.1 < 2 * one.1, "{one:?} steps for one goal, {many:?} for 30");
}
