//! A study: one state of a project with everything that is calculated from it, each part once, when it is first used.
//!
//! Checks, `delta`, the audit and the commands use a [`Study`]. Its records are in [`Loaded`], their links in [`Graph`] and
//! its numbers in [`Values`].

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, LazyLock, Mutex, OnceLock};

use foldhash::HashMap;
use schema::Day;
use schema::records::TestResult;
use schema::settings::{Settings, Stage};

use crate::checks::Draft;
use crate::conclusion::OfSystems;
use crate::finding::{OffCheck, Report};
use crate::graph::{Chains, Graph};
use crate::history::commit_state::CommitState;
use crate::history::{History, Past};
use crate::ids::{CommitIndex, NodeId, RecordId};
use crate::load::Loaded;
use crate::parallel::{MANY_RECORDS, cores, during, in_parallel};
use crate::values::{Budget, EventPoints, GoalPoints, Gradients, Measured, Origin, Partials, TargetStatus, Values};

/// What a goal gains if the targets that are missed, at risk or uncertain are exactly at their limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct IfMet {
    /// The points that are added.
    pub points: f64,
    /// The chance of the goal now, and with these points; `None` if it is not known.
    pub chances: Option<(f64, f64)>,
}

/// One evaluated state of a project root.
pub struct Study {
    /// The records, and the snapshot they come from.
    pub loaded: Arc<Loaded>,
    /// The records with their links.
    pub graph: Arc<Graph>,
    /// The date to use as today.
    pub day: Day,
    /// The stage of the season on that date.
    pub stage: Stage,
    past: OnceLock<Past>,
    past_state: Option<(CommitIndex, CommitState)>,
    values: OnceLock<Values>,
    /// `None` if there are no such results: then the values are the same.
    before_contest: OnceLock<Option<Values>>,
    on_paper: OnceLock<Option<Values>>,
    chains: OnceLock<Chains>,
    target_statuses: OnceLock<Vec<TargetStatus>>,
    budgets: OnceLock<Vec<Budget>>,
    pub(crate) of_systems: OfSystems,
    pub(crate) report: OnceLock<Report>,
    pub(crate) off: OnceLock<Vec<OffCheck>>,
    /// What the checks that ran before the others reported, by the name of the check.
    pub(crate) early_drafts: Mutex<HashMap<&'static str, Vec<Draft>>>,
}

/// How many states this process has evaluated, for the limit of its time.
static EVALUATED: AtomicU64 = AtomicU64::new(0);

/// The number of states that this process has evaluated so far.
pub fn states_evaluated() -> u64 {
    EVALUATED.load(Ordering::Relaxed)
}

impl Study {
    /// A study of records for a date, with their history.
    pub fn new(loaded: impl Into<Arc<Loaded>>, day: Day, past: Past) -> Self {
        let study = Self::without_history(loaded, day);
        study.provide_past(past);
        study
    }

    /// A study without a history.
    pub fn without_history(loaded: impl Into<Arc<Loaded>>, day: Day) -> Self {
        EVALUATED.fetch_add(1, Ordering::Relaxed);
        let loaded = loaded.into();
        Self {
            graph: Arc::new(Graph::new(&loaded)),
            stage: loaded.settings().stages.stage_on(day),
            loaded,
            day,
            past: OnceLock::new(),
            past_state: None,
            values: OnceLock::new(),
            before_contest: OnceLock::new(),
            on_paper: OnceLock::new(),
            chains: OnceLock::new(),
            target_statuses: OnceLock::new(),
            budgets: OnceLock::new(),
            of_systems: OfSystems::default(),
            report: OnceLock::new(),
            off: OnceLock::new(),
            early_drafts: Mutex::default(),
        }
    }

    /// A study whose report is known, without a history.
    pub(crate) fn with_report(loaded: impl Into<Arc<Loaded>>, day: Day, report: Report) -> Self {
        let study = Self::without_history(loaded, day);
        // It is new, so that it has no other report yet.
        let _ = study.report.set(report);
        study
    }

    /// Evaluates the reports of this state and of another one, on two threads if there are two cores.
    pub fn evaluate_reports_with(&self, other: &Study) {
        in_parallel(&[self, other], cores(), |study| {
            study.report();
        });
    }

    /// Evaluates the report on another thread while this one reads something else, if there are two cores.
    pub fn report_during<T>(&self, read: impl FnOnce() -> T) -> T {
        let report = || {
            self.report();
        };
        if cores() > 1 { during(report, read) } else { read() }
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        self.loaded.settings()
    }

    /// The history, or why it is missing.
    pub fn past(&self) -> &Past {
        static MISSING: LazyLock<Past> = LazyLock::new(|| Past::None("it was not requested".to_owned()));
        self.past.get().unwrap_or(&MISSING)
    }

    /// The history for the checks: it is complete and has more than one commit.
    pub fn history(&self) -> Option<&History> {
        self.past().complete().filter(|history| history.commits.len() > 1)
    }

    /// The evaluated state at a commit of the history; `None` unless it was provided.
    pub fn past_state(&self, commit: CommitIndex) -> Option<&CommitState> {
        self.past_state.as_ref().filter(|(at, _)| *at == commit).map(|(_, state)| state)
    }

    /// Adds what is known of the history, before any check has run.
    pub(crate) fn provide_past(&self, past: Past) {
        // It is provided once.
        let _ = self.past.set(past);
    }

    /// Whether its evaluation takes much longer than starting a thread: a model takes as long as a thousand records.
    pub(crate) fn takes_long(&self) -> bool {
        self.loaded.entries.len() >= MANY_RECORDS
            || self.loaded.analyses().any(|(.., analysis)| analysis.model.is_some())
    }

    /// Whether the values were evaluated already.
    #[cfg(test)]
    pub(crate) fn has_values(&self) -> bool {
        self.values.get().is_some() || self.before_contest.get().is_some() || self.on_paper.get().is_some()
    }

    /// Evaluates what the checks need and what does not depend on the history.
    pub(crate) fn evaluate_values(&self) {
        self.target_statuses();
        self.chains();
    }

    /// Adds the evaluated state at the commit of the history that a check needs.
    pub(crate) fn provide_past_state(&mut self, commit: CommitIndex, state: CommitState) {
        self.past_state = Some((commit, state));
    }

    /// All values, with the latest results.
    pub fn values(&self) -> &Values {
        self.values.get_or_init(|| Values::new(&self.graph))
    }

    /// The values without the results of events: what was predicted before the contest.
    pub fn values_before_contest(&self) -> &Values {
        let events = || self.graph.loaded.events().any(|(event, ..)| self.graph.has_result(event));
        let own = || events().then(|| Values::with_measured(&self.graph, Measured::BeforeTheContest));
        self.before_contest.get_or_init(own).as_ref().unwrap_or_else(|| self.values())
    }

    /// The values without any result: only from estimates, formulas and analyses.
    pub fn values_on_paper(&self) -> &Values {
        let has_value = |result: &TestResult| result.value.is_some() || !result.reads.is_empty();
        let measured = || self.loaded.results().any(|(.., result)| has_value(result));
        let own = || measured().then(|| Values::with_measured(&self.graph, Measured::Nothing));
        self.on_paper.get_or_init(own).as_ref().unwrap_or_else(|| self.values())
    }

    /// The derivatives of all values by their inputs.
    pub fn partials(&self) -> &Partials {
        self.values().partials()
    }

    /// The derivatives of all values by the uncertain given values.
    pub fn gradients(&self) -> &Gradients {
        self.values().gradients()
    }

    /// The shortest chains to the goals.
    pub fn chains(&self) -> &Chains {
        self.chains.get_or_init(|| Chains::new(&self.graph))
    }

    /// The records from this one to its goal, itself first.
    pub fn chain(&self, id: RecordId) -> Vec<RecordId> {
        self.chains().chain(id)
    }

    /// The status of every target, in the order of the records.
    pub fn target_statuses(&self) -> &[TargetStatus] {
        self.target_statuses.get_or_init(|| self.values().target_statuses())
    }

    /// The status of a target; `None` of another record.
    pub fn target_status(&self, target: RecordId) -> Option<&TargetStatus> {
        let all = self.target_statuses();
        Some(&all[all.binary_search_by_key(&target, |own| own.index).ok()?])
    }

    /// Every goal with its points, in the order of the records.
    pub fn goals(&self) -> &[GoalPoints] {
        self.values().goals()
    }

    /// Every budget with its shares, in the order of the records.
    pub fn budgets(&self) -> &[Budget] {
        self.budgets.get_or_init(|| self.values().budgets(self.gradients()))
    }

    /// Whether every event of a goal has a result.
    pub fn is_scored(&self, goal: &GoalPoints) -> bool {
        !goal.events.is_empty() && goal.events.iter().all(|event| self.is_event_scored(event))
    }

    /// What the first goal gains if every target that is missed, at risk or uncertain is exactly at its limit, without those
    /// that lose points by it; `None` without a goal, or if all its events have results.
    pub fn if_met(&self) -> Option<IfMet> {
        let goal = self.goals().first().filter(|goal| !self.is_scored(goal))?;
        let sensitivities = self.values().worth_of_all(goal.node);
        let targets = self.target_statuses().iter().filter(|target| target.status.is_short());
        let gain = |target| self.values().points_to_limit(target, &sensitivities).filter(|points| *points > 0.0);
        let gains: Vec<(&TargetStatus, f64)> = targets.filter_map(|target| Some((target, gain(target)?))).collect();
        let limits: Vec<(NodeId, f64)> =
            gains.iter().filter_map(|(target, _)| Some((target.node, target.limit.only_end()?))).collect();
        let chances = goal.chance().zip(self.values().chance_if(goal, &limits));
        Some(IfMet { points: gains.iter().map(|(_, points)| points).sum(), chances })
    }

    /// Whether an event has a result, so that its points are those that were scored.
    pub fn is_event_scored(&self, event: &EventPoints) -> bool {
        matches!(self.values().origin(event.index), Origin::Result(_))
    }

    /// The targets that add up parts, also those that were measured, each with its margin as a ratio, the smallest first.
    pub fn tightest_budgets(&self) -> impl Iterator<Item = (RecordId, f64)> {
        // A total that was measured counts, too.
        let is_total = |target: &&TargetStatus| match self.values().origin(target.index) {
            Origin::Total => true,
            Origin::Result(_) => self.loaded.target(target.index).is_some_and(|target| target.total.is_some()),
            _ => false,
        };
        let totals = self.target_statuses().iter().filter(is_total);
        let mut all: Vec<_> = totals.filter_map(|target| Some((target.index, target.margin?))).collect();
        all.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        all.into_iter()
    }

    /// The latest result of a record that shows whether it is met, in the order of [`Graph::results`]: with an outcome, or
    /// with a value if the record has one to compare it with. For a target, what was driven at the contest counts, too.
    ///
    /// There are three rules for "the latest result", because they answer three questions:
    ///
    /// - which one result shows whether the record is met: this function;
    /// - which result gives the record its value: the latest one with a date and a value, `latest_result` in `values/build`;
    /// - what all results of the latest date show together: [`Study::conclusion`].
    pub fn latest_result(&self, id: RecordId) -> Option<(RecordId, &TestResult)> {
        let own = self.graph.current_results(id).into_iter().rfind(|(_, result)| self.graph.is_conclusive(id, result));
        let date = own.and_then(|(_, result)| result.date);
        let driven = self.graph.driven_since(id, date).map(|driven| driven.result);
        driven.and_then(|result| Some((result, self.loaded.result(result)?))).or(own)
    }

    /// Every record that has a result with a date, with the latest one.
    pub fn latest_results(&self) -> impl Iterator<Item = (RecordId, RecordId, &TestResult)> {
        self.loaded.record_ids().filter_map(|subject| {
            let (id, result) = self.latest_result(subject)?;
            result.date.map(|_| (subject, id, result))
        })
    }

    /// The outermost system that a record belongs to; `car` if it belongs directly to the car.
    pub fn section(&self, id: RecordId) -> Option<&str> {
        let around: Vec<RecordId> = self.graph.enclosing(id).collect();
        let system = around.iter().rev().find(|around| self.loaded.system(**around).is_some());
        if let Some(system) = system {
            return Some(self.loaded.record(*system).id.as_str());
        }
        let about = self.loaded.record(*around.last()?).about()?;
        (about.as_str() == schema::words::CAR).then_some(schema::words::CAR)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A study can be sent to a thread and shared by threads, and depends on nothing that must outlive it.
    #[test]
    fn a_study_is_owned_and_shared_by_threads() {
        fn is_shared<T: Send + Sync + 'static>() {}
        is_shared::<Study>();
        is_shared::<crate::Delta>();
    }
}
