//! Reads a root and evaluates its values. No other file here depends on how a root is evaluated.

use std::collections::HashMap;

use schema::Day;
use trace::snapshot::{Request, State};
use trace::values::Status;
use trace::{Loaded, Study};

/// Settings in the build stage, without growth of amounts.
const SETTINGS: &str = "\
season: 2027
as-of: 2027-03-19
stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}
";

/// A value of a target, an event or a goal.
#[derive(Clone, Debug)]
pub(crate) struct Number {
    /// The value in SI.
    si: f64,
    /// The value in its unit.
    value: f64,
    /// The expanded uncertainty in that unit, to first order.
    uncertainty: f64,
    /// The mean, the interval and two standard deviations, in that unit.
    pub(crate) spread: [f64; 4],
    /// The unit in which the value is shown.
    pub(crate) unit: String,
    /// Where the value is from.
    pub(crate) origin: String,
    /// Of a target: its status, and for a result the probability that the limit is met.
    pub(crate) status: Option<(Status, Option<f64>)>,
    /// Of an event: the value of its first input that scores exactly the plan.
    needed: Option<f64>,
}

/// The values of a root.
pub(crate) struct Read {
    numbers: HashMap<String, Number>,
}

impl Read {
    /// The values of these records; nothing in them may be wrong.
    #[track_caller]
    pub(crate) fn new(records: &str) -> Self {
        Self::with_files(records, &[])
    }

    /// The values of these records next to other files; nothing in them may be wrong.
    #[track_caller]
    pub(crate) fn with_files(records: &str, files: &[(&str, &str)]) -> Self {
        Self::of(&study(records, files))
    }

    fn of(study: &Study) -> Self {
        let (loaded, values) = (&study.loaded, study.values());
        let gradients = study.gradients();
        let all = study.target_statuses().iter();
        let statuses: HashMap<_, _> = all.map(|target| (target.index, (target.status, target.conformance))).collect();
        let mut numbers = HashMap::new();
        for index in loaded.record_ids() {
            let Some(node) = values.record_node(index) else { continue };
            let unit = values.unit(node);
            let si = values.value(node).unwrap_or(f64::NAN);
            let needed = values.event(index).and_then(|event| event.needed_value);
            let spread = values.spread(node);
            let spread = spread.map_or([f64::NAN; 4], |spread| {
                let [mean, low, high] = [spread.mean, spread.low, spread.high].map(|si| unit.from_si(si));
                [mean, low, high, spread.uncertainty / unit.factor()]
            });
            let number = Number {
                spread,
                si,
                value: unit.from_si(si),
                uncertainty: gradients.uncertainty(&values.network, node) / unit.factor(),
                unit: unit.to_string(),
                origin: values.origin(index).word().to_owned(),
                status: statuses.get(&index).copied(),
                needed,
            };
            numbers.insert(loaded.record(index).id.to_string(), number);
        }
        Self { numbers }
    }

    /// A value with its unit and origin.
    #[track_caller]
    pub(crate) fn get(&self, id: &str) -> &Number {
        self.numbers.get(id).unwrap_or_else(|| panic!("no value `{id}`"))
    }

    /// The value in its unit.
    #[track_caller]
    pub(crate) fn number(&self, id: &str) -> f64 {
        let value = self.get(id).value;
        assert!(!value.is_nan(), "{id} has no value");
        value
    }

    /// The value in SI.
    #[track_caller]
    pub(crate) fn si(&self, id: &str) -> f64 {
        self.number(id);
        self.get(id).si
    }

    /// The expanded uncertainty in the unit of the value.
    #[track_caller]
    pub(crate) fn uncertainty(&self, id: &str) -> f64 {
        self.number(id);
        self.get(id).uncertainty
    }

    /// The value of an event's first input that scores exactly the plan, in SI.
    #[track_caller]
    pub(crate) fn needed(&self, id: &str) -> f64 {
        self.get(id).needed.unwrap_or_else(|| panic!("no value scores the plan of {id}"))
    }
}

/// The study of these records next to other files; nothing in them may be wrong.
#[track_caller]
pub(crate) fn study(records: &str, files: &[(&str, &str)]) -> Study {
    let folder = tempfile::tempdir().unwrap();
    for (path, content) in files.iter().chain(&[("tierod.yaml", SETTINGS), ("records.yaml", records)]) {
        let path = folder.path().join(path);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }
    let root = folder.path().to_owned();
    let request = Request { cwd: root.clone(), path: Some(root), state: State::Worktree };
    let loaded = Loaded::from_request(&request).unwrap();
    assert!(loaded.problems.is_empty(), "{:?}", loaded.problems);
    let day = Day::parse("2027-03-19").unwrap();
    let study = Study::without_history(loaded, day);
    assert!(study.values().problems.is_empty(), "{:?}", study.values().problems);
    study
}

/// Fails unless a number is another one to within a relative deviation.
#[track_caller]
pub(crate) fn close(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within * expected.abs().max(1e-300), "{found} instead of {expected}");
}

/// JCGM 100:2008 (GUM), H.1, end-gauge calibration: l = ls + d - ls (da t + as dt), with these expanded uncertainties (k = 2) of
/// ls (nm), d (nm), as (1e-6/K), t (K), da (1e-6/K) and dt (K).
#[track_caller]
pub(crate) fn end_gauge([standard, difference, expansion, deviation, gap, temperature]: [f64; 6]) -> Read {
    Read::new(&format!(
        "
targets:
  gauge:
    of: car
    at-most: 51 mm
    formula: standard + difference - standard * (expansion-gap * deviation + expansion * temperature-gap)
    given:
      standard: 50.000623 mm ± {standard} nm
      difference: 215 nm ± {difference} nm
      expansion: 11.5e-6 1/K ± {expansion}e-6 1/K
      deviation: -0.1 K ± {deviation} K
      expansion-gap: 0 1/K ± {gap}e-6 1/K
      temperature-gap: 0 K ± {temperature} K
"
    ))
}
