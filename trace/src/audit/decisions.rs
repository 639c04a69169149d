//! The decisions: when each choice was made, what was known then, how the alternatives ranked then and now, and what the
//! measurements say about the values that the choice was judged on.

use foldhash::{HashMap, HashSet};
use schema::Day;
use schema::quantity::Unit;

use crate::git::Project;
use crate::history::choice::Choice;
use crate::history::{History, Past};
use crate::ids::RecordId;
use crate::study::Study;
use crate::values::{Effect, Key, Significance, Spread, Status, Values};

/// A decision with what became of it.
#[derive(Debug)]
pub struct DecisionReview {
    /// The decision's record.
    pub index: RecordId,
    /// The name of the chosen alternative.
    pub chosen: Option<String>,
    /// The day and the full id of the commit that chose it; `None` if nothing is chosen or the history does not have it.
    pub chosen_at: Option<(Day, String)>,
    /// The alternatives when the choice was made; otherwise why they are missing, `None` if nothing is chosen.
    pub then: Option<Result<Ranking, String>>,
    /// The alternatives with the current estimates; `None` without a goal.
    pub now: Option<Ranking>,
    /// The analyses that inform it, by day.
    pub analyses: Vec<Informing>,
    /// The criteria of the decision and what the chosen alternative sets: then, now and measured.
    pub values: Vec<DecisionValue>,
}

/// The alternatives of a decision in one state of the project, by points.
#[derive(Debug)]
pub struct Ranking {
    /// The points of the goal without an alternative; `None` if an event has no value.
    pub points: Option<Spread>,
    /// The alternatives, those with the most points first, those without points last.
    pub alternatives: Vec<Ranked>,
    /// Whether the first one scores more than the second one by more than the uncertainty; `None` if this is not known.
    pub significant: Option<bool>,
}

/// An alternative in a ranking.
#[derive(Debug)]
pub struct Ranked {
    /// Its name.
    pub name: String,
    /// Its title.
    pub title: Option<String>,
    /// Whether it is the chosen one.
    pub chosen: bool,
    /// Its points.
    pub points: Option<Spread>,
    /// Its points minus those of the first one; `None` without points.
    pub behind: Option<f64>,
}

/// An analysis that informs a decision.
#[derive(Clone, Debug, PartialEq)]
pub struct Informing {
    /// Its record.
    pub analysis: RecordId,
    /// The day of the commit that added it; `None` without a history.
    pub day: Option<Day>,
    /// Whether it was added after the choice; `None` if that is not known.
    pub after: Option<bool>,
}

/// A value that a decision was judged on.
#[derive(Clone, Debug, PartialEq)]
pub struct DecisionValue {
    /// The id of a target, or an amount of a part like `engine-unit.mass`.
    pub name: String,
    /// The unit to show it in.
    pub unit: Unit,
    /// Whether it is a criterion of the decision.
    pub is_criterion: bool,
    /// What the chosen alternative sets, in SI, with its expanded uncertainty.
    pub set: Option<(f64, f64)>,
    /// The value when the choice was made, in SI, with its expanded uncertainty.
    pub then: Option<(f64, f64)>,
    /// The current estimate, in SI, with its expanded uncertainty.
    pub now: Option<(f64, f64)>,
    /// What was measured, in SI, with its expanded uncertainty.
    pub measured: Option<(f64, f64)>,
    /// The status of a target.
    pub status: Option<Status>,
}

impl DecisionValue {
    /// Whether the measured value differs from what the chosen alternative set, by more than both uncertainties; `None`
    /// without one of them.
    pub fn differs(&self) -> Option<bool> {
        let ((set, of_set), (measured, of_measured)) = (self.set?, self.measured?);
        Some((measured - set).abs() > of_set.hypot(of_measured) + 1e-9 * set.abs())
    }
}

impl DecisionReview {
    /// The decisions of a study, with the states in which the choices were made.
    pub fn all(project: &Project, study: &Study) -> Vec<Self> {
        let history = match study.past() {
            Past::Known(history) => Ok(&**history),
            Past::Off => Err("`history: off` in the settings".to_owned()),
            other => Err(other.reason().unwrap_or_default()),
        };
        let commit_of = |index: RecordId| Choice::of(study, history.as_ref().ok()?, index)?.commit().id.clone();
        let decisions = study.loaded.decisions().enumerate();
        // Choices of one commit follow each other, so that one state is kept at a time.
        let mut order: Vec<_> = decisions.map(|(at, (index, ..))| (commit_of(index), at, index)).collect();
        order.sort();
        let mut last = LastState::default();
        let mut all: Vec<(usize, Self)> = order
            .into_iter()
            .map(|(_, at, index)| (at, review_of(project, study, &history, &mut last, index)))
            .collect();
        all.sort_by_key(|(at, _)| *at);
        all.into_iter().map(|(_, review)| review).collect()
    }
}

/// The last state in which a choice was made.
#[derive(Default)]
struct LastState {
    /// The full id of its commit.
    id: String,
    state: Option<Result<Study, String>>,
}

fn review_of(
    project: &Project,
    study: &Study,
    history: &Result<&History, String>,
    last: &mut LastState,
    index: RecordId,
) -> DecisionReview {
    let loaded = &study.loaded;
    let chosen = loaded.decision(index).and_then(|decision| decision.chosen.as_ref()).map(ToString::to_string);
    let not_yet = || "the choice is not committed yet".to_owned();
    let choice = chosen.as_ref().map(|_| {
        let history = history.as_ref().map_err(Clone::clone)?;
        Choice::of(study, history, index).filter(|choice| choice.commit().id.is_some()).ok_or_else(not_yet)
    });
    let goal = study.loaded.goals().next().map(|(_, record, _)| record.id.to_string());
    let known = choice.as_ref().and_then(|choice| choice.as_ref().ok());
    let mut past: Option<(&Study, RecordId)> = None;
    let then = choice.as_ref().map(|choice| {
        let choice = choice.as_ref().map_err(Clone::clone)?;
        let commit = choice.commit();
        let id = commit.id.clone().unwrap_or_default();
        if last.id != id {
            *last = LastState { id, state: None };
        }
        let new = || project.study_at(commit, study).map_err(|error| error.to_string());
        let state = last.state.get_or_insert_with(new).as_ref().map_err(Clone::clone)?;
        let found =
            choice.ids().find_map(|id| state.loaded.find(id).filter(|index| state.loaded.decision(*index).is_some()));
        let index = found.ok_or_else(|| format!("the decision cannot be read in commit {}", commit.short()))?;
        past = Some((state, index));
        Ranking::of(state, index, goal.as_deref()).ok_or_else(|| "there was no goal".to_owned())
    });
    DecisionReview {
        index,
        chosen_at: known.and_then(|choice| Some((choice.day(), choice.commit().id.clone()?))),
        then,
        now: Ranking::of(study, index, goal.as_deref()),
        analyses: informing(study, history.as_ref().ok().copied(), known, index),
        values: values(study, past.map(|(state, _)| state), index, chosen.as_deref()),
        chosen,
    }
}

impl Ranking {
    fn of(study: &Study, index: RecordId, goal: Option<&str>) -> Option<Self> {
        let values = study.values_on_paper();
        let goals = values.goals();
        let own = |id: &str| {
            let index = study.loaded.find(id)?;
            Some(&goals[goals.binary_search_by_key(&index, |own| own.index).ok()?])
        };
        let goal = goal.and_then(own).or(goals.first())?;
        let compared = values.compare(index, goal.node)?;
        let mut alternatives: Vec<Ranked> = compared
            .outcomes
            .into_iter()
            .map(|outcome| {
                let points = outcome.spread.filter(|_| !outcome.sets_nothing);
                Ranked { name: outcome.name, title: outcome.title, chosen: outcome.chosen, points, behind: None }
            })
            .collect();
        let mean = |own: &Ranked| own.points.as_ref().map_or(f64::NEG_INFINITY, |spread| spread.mean);
        alternatives.sort_by(|a, b| mean(b).total_cmp(&mean(a)));
        if let Some(most) = alternatives.first().and_then(|first| first.points.as_ref()).map(|spread| spread.mean) {
            for own in &mut alternatives {
                own.behind = own.points.as_ref().map(|spread| spread.mean - most);
            }
        }
        let significant = compared.lead.and_then(|lead| match lead.significance {
            Significance::Larger => Some(true),
            Significance::Within => Some(false),
            Significance::Unknown => None,
        });
        Some(Self { points: goal.predicted.and(goal.spread.clone()), alternatives, significant })
    }

    /// The place of the chosen alternative from 1, among those with points.
    pub fn place_of_chosen(&self) -> Option<usize> {
        Some(self.alternatives.iter().filter(|own| own.points.is_some()).position(|own| own.chosen)? + 1)
    }
}

/// The analyses that inform a decision.
fn informing(study: &Study, history: Option<&History>, choice: Option<&Choice<'_>>, index: RecordId) -> Vec<Informing> {
    let later: Option<HashSet<RecordId>> =
        choice.map(|choice| choice.later_analyses(study).into_iter().map(|later| later.analysis).collect());
    let own = study.graph.informing(index).into_iter();
    let mut all: Vec<Informing> = own
        .map(|analysis| {
            let id = study.loaded.record(analysis).id.as_str();
            let added = history.and_then(|history| Some((history, history.record(id)?)));
            let day = added.map(|(history, added)| history.place_of_addition(added).commit.day);
            Informing { analysis, day, after: later.as_ref().map(|later| later.contains(&analysis)) }
        })
        .collect();
    all.sort_by_key(|own| (own.day, own.analysis));
    all
}

/// The criteria of a decision, then what the chosen alternative sets.
fn values(study: &Study, past: Option<&Study>, index: RecordId, chosen: Option<&str>) -> Vec<DecisionValue> {
    let Some(decision) = study.loaded.decision(index) else { return Vec::new() };
    let paper = study.values_on_paper();
    let alternative = chosen.and_then(|chosen| decision.alternatives.get(chosen));
    let mut all: Vec<DecisionValue> = Vec::new();
    let criteria = decision.criteria.iter().filter_map(|id| Some((id.to_string(), paper.named(id.as_str())?)));
    all.extend(criteria.map(|(name, node)| DecisionValue {
        unit: paper.unit(node).clone(),
        is_criterion: true,
        set: None,
        then: None,
        now: None,
        measured: None,
        status: None,
        name,
    }));
    let mut places: HashMap<String, usize> = HashMap::default();
    for (at, own) in all.iter().enumerate() {
        places.entry(own.name.clone()).or_insert(at);
    }
    for (to, setting) in alternative.into_iter().flat_map(|alternative| alternative.sets.iter()) {
        let Some(Ok(Effect::Value { node, value, uncertainty, .. })) =
            alternative.map(|alternative| paper.effect(alternative, to, setting))
        else {
            continue;
        };
        let set = Some((value, uncertainty.unwrap_or(0.0)));
        let name = to.to_string();
        match places.get(&name) {
            Some(at) => all[*at].set = set,
            None => {
                places.insert(name.clone(), all.len());
                all.push(DecisionValue {
                    unit: paper.unit(node).clone(),
                    is_criterion: false,
                    set,
                    then: None,
                    now: None,
                    measured: None,
                    status: None,
                    name,
                });
            }
        }
    }
    let old = past.map(|past| past.values());
    for own in &mut all {
        own.now = known(paper, &own.name);
        own.then = old.and_then(|old| known(old, &own.name));
        own.measured = measured(study, &own.name);
        let target = study.loaded.find(&own.name);
        own.status = target.and_then(|target| study.target_status(target)).map(|own| own.status);
    }
    all
}

/// A value by its name, with its expanded uncertainty, in SI.
fn known(values: &Values, name: &str) -> Option<(f64, f64)> {
    let node = values.named(name)?;
    Some((values.value(node)?, values.gradients().uncertainty(&values.network, node)))
}

/// What was measured of a target, or of an amount whose basis is the surest one.
fn measured(study: &Study, name: &str) -> Option<(f64, f64)> {
    let values = study.values();
    let node = values.named(name)?;
    let is_measured = match &values.keys[node] {
        Key::Record(index) => {
            let status = study.target_status(*index)?.status;
            matches!(status, Status::Met | Status::Missed | Status::Uncertain)
        }
        Key::Part(..) => {
            let (part, amount) = name.split_once('.')?;
            let part = study.loaded.part(study.loaded.find(part)?)?;
            let bases = study.settings().growth.get(amount)?;
            let own = part.amounts.get(amount)?.basis.as_ref()?;
            bases.keys().last().is_some_and(|surest| surest == own)
        }
        Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => false,
    };
    if is_measured { known(values, name) } else { None }
}
