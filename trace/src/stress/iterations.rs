//! The stress files of a part: the current analyses, and the earlier ones that each of them supersedes.

use std::sync::Arc;

use foldhash::HashSet;
use models::stress::{StressField, StressPart};
use petgraph::Direction;
use schema::Quantity;
use schema::records::{Analysis, Finds, Found};

use super::{FILE, ask, file_of, has_stress};
use crate::Study;
use crate::graph::Link;
use crate::ids::RecordId;
use crate::values::Key;

/// The words next to everything that speaks of taking material away.
pub const CAUTION: &str = "check load cases and calculation methods first; contest rules and local regulations take precedence; a \
                           qualified person decides";

/// From this share of the volume on, idle material is reported. A cantilever of constant section has 52 % if its highest
/// stress is the allowable one.
const MUCH: f64 = 0.5;

/// The numbers of one analysis, in SI.
#[derive(Clone, Debug)]
pub struct Numbers {
    /// What was read.
    pub field: Arc<StressField>,
    /// The allowable stress.
    pub allowable: f64,
    /// The share of it below which a volume is idle.
    pub little: f64,
    /// The allowable stress over the stress that 99.9 % of the volume does not exceed.
    pub safety: f64,
    /// The allowable stress over the highest stress.
    pub peak_safety: f64,
    /// The share of the volume that is idle.
    pub idle_share: f64,
    /// The volume.
    pub volume: f64,
    /// The mass, if the density is given.
    pub mass: Option<f64>,
    /// The idle part of it.
    pub idle_mass: Option<f64>,
}

/// One analysis of a chain.
#[derive(Clone, Debug)]
pub struct Iteration {
    /// The analysis.
    pub analysis: RecordId,
    /// Its numbers, or why it has none.
    pub numbers: Result<Numbers, String>,
}

/// A current analysis with the earlier ones that it supersedes.
#[derive(Clone, Debug)]
pub struct Iterations {
    /// The analyses, the current one last.
    pub all: Vec<Iteration>,
    /// The safety that a target demands of the current one, if one does.
    pub needed: Option<f64>,
    /// Whether much of the volume of the current one is idle, and its safety is at least what is needed.
    pub is_idle: bool,
}

impl Iterations {
    /// The current analysis.
    pub fn current(&self) -> Option<&Iteration> {
        self.all.last()
    }

    /// Whether the chain ends although much of the volume is idle.
    pub fn stopped_early(&self) -> bool {
        self.all.len() > 1 && self.is_idle
    }
}

/// The stress analyses of a part: those that inform it, and those that find a value of a target of it.
pub fn of_part(study: &Study, part: RecordId) -> Vec<Iterations> {
    let (graph, loaded) = (&study.graph, &study.loaded);
    let superseded = graph.superseded();
    let targets = graph.linked(part, Link::Of, Direction::Incoming).filter(|index| loaded.target(*index).is_some());
    let found = targets.flat_map(|target| graph.linked(target, Link::Finds, Direction::Incoming));
    let mut all: Vec<RecordId> = graph.informing(part).into_iter().chain(found).collect();
    all.sort_unstable();
    all.dedup();
    let current = all.into_iter().filter(|index| !superseded.contains(loaded.record(*index).id.as_str()));
    let stress = current.filter_map(|index| Some((index, loaded.analysis(index).filter(|own| has_stress(own))?)));
    stress.map(|(index, analysis)| with_earlier(study, index, analysis)).collect()
}

/// A current analysis alone.
pub fn of_analysis(study: &Study, index: RecordId, analysis: &Analysis) -> Iterations {
    let own = Iteration { analysis: index, numbers: numbers(study, index, analysis) };
    let needed = needed(study, analysis);
    let is_enough = |safety: f64| needed.is_none_or(|needed| safety >= needed);
    let is_idle = own.numbers.as_ref().is_ok_and(|own| own.idle_share >= MUCH && is_enough(own.safety));
    Iterations { all: vec![own], needed, is_idle }
}

fn with_earlier(study: &Study, index: RecordId, analysis: &Analysis) -> Iterations {
    let mut found = of_analysis(study, index, analysis);
    let (mut seen, mut next) = (HashSet::from_iter([index]), vec![analysis]);
    // An analysis that supersedes two others continues both.
    while let Some(analysis) = next.pop() {
        for id in &analysis.supersedes {
            let Some(earlier) = study.loaded.find(id.as_str()).filter(|earlier| seen.insert(*earlier)) else {
                continue;
            };
            let Some(analysis) = study.loaded.analysis(earlier) else { continue };
            if has_stress(analysis) {
                found.all.push(Iteration { analysis: earlier, numbers: numbers(study, earlier, analysis) });
                next.push(analysis);
            }
        }
    }
    found.all.reverse();
    found
}

/// The largest safety that a target demands of an analysis.
fn needed(study: &Study, analysis: &Analysis) -> Option<f64> {
    let targets: Vec<&schema::Id> = match analysis.finds.as_ref()? {
        Finds::Target(target) => vec![target],
        Finds::Values(values) => {
            let of_safety = |output: &&Found| output.text() == "safety";
            values.iter().filter(|(_, output)| of_safety(output)).map(|(target, _)| target).collect()
        }
    };
    let limits = targets.into_iter().filter_map(|target| {
        let target = study.loaded.target(study.loaded.find(target.as_str())?)?;
        let between = target.between.as_ref().and_then(|limits| limits.first());
        target.at_least.as_ref().or(between).map(Quantity::si)
    });
    limits.max_by(f64::total_cmp)
}

fn numbers(study: &Study, index: RecordId, analysis: &Analysis) -> Result<Numbers, String> {
    let values = study.values();
    let given = |name: &str| values.value(values.node(&Key::Local(index, name.into()))?);
    let ask = ask(analysis).map_err(|wrong| wrong.into_iter().next().map(|wrong| wrong.message).unwrap_or_default())?;
    let field = study.loaded.stress_field(&ask).ok_or("its file is missing")?.map_err(|error| error.message)?;
    let is_given = |name: &str| analysis.given.get(name).is_some();
    let number = |name: &str| match given(name) {
        Some(number) => Ok(Some(number)),
        None if is_given(name) => Err(format!("`{name}` has no value")),
        None => Ok(None),
    };
    let allowable = number("allowable")?.ok_or("`allowable` is missing")?;
    let little = number("little")?.unwrap_or(StressPart::LITTLE);
    let density = number("density")?;
    let part = StressPart { field: &field, allowable, little, density };
    let [safety, peak_safety, idle_share, volume, mass, idle_mass] = part.run().map_err(|error| error.to_string())?;
    let known = |mass: f64| density.map(|_| mass);
    let (mass, idle_mass) = (known(mass), known(idle_mass));
    Ok(Numbers { field, allowable, little, safety, peak_safety, idle_share, volume, mass, idle_mass })
}

impl Iteration {
    /// The stress file of the analysis.
    pub fn file<'s>(&self, study: &'s Study) -> &'s str {
        study.loaded.analysis(self.analysis).and_then(file_of).unwrap_or(FILE)
    }
}
