//! A study: one state of a project root with everything that follows from it, each evaluated once, when first asked for.
//!
//! Checks, `delta`, the audit and the commands ask a [`Study`]; what it says of the records, of the graph and of the
//! values it passes on to [`Loaded`], [`Graph`] and [`Values`].

use std::sync::{Arc, OnceLock};

use schema::Day;
use schema::records::TestResult;
use schema::settings::{Settings, Stage};

use crate::finding::Report;
use crate::graph::{Chains, Graph};
use crate::history::commit_state::CommitState;
use crate::history::{History, Past};
use crate::ids::RecordId;
use crate::load::Loaded;
use crate::values::{Budget, EventPoints, GoalPoints, Gradients, Measured, Origin, Partials, TargetStatus, Values};

/// One evaluated state of a project root.
pub struct Study {
    /// The records, and the snapshot they come from.
    pub loaded: Arc<Loaded>,
    /// The records with their links.
    pub graph: Arc<Graph>,
    /// The day that counts as today.
    pub day: Day,
    /// The stage of the season on that day.
    pub stage: Stage,
    past: Past,
    past_state: Option<(usize, CommitState)>,
    values: OnceLock<Values>,
    /// None where no result counts: then the values are the same.
    before_contest: OnceLock<Option<Values>>,
    on_paper: OnceLock<Option<Values>>,
    chains: OnceLock<Chains>,
    target_statuses: OnceLock<Vec<TargetStatus>>,
    goals: OnceLock<Vec<GoalPoints>>,
    budgets: OnceLock<Vec<Budget>>,
    pub(crate) report: OnceLock<Report>,
}

impl Study {
    /// A study of records as of a day, with what is known of their history.
    pub fn new(loaded: impl Into<Arc<Loaded>>, day: Day, past: Past) -> Self {
        let loaded = loaded.into();
        Self {
            graph: Arc::new(Graph::new(&loaded)),
            stage: loaded.settings().stages.stage_on(day),
            loaded,
            day,
            past,
            past_state: None,
            values: OnceLock::new(),
            before_contest: OnceLock::new(),
            on_paper: OnceLock::new(),
            chains: OnceLock::new(),
            target_statuses: OnceLock::new(),
            goals: OnceLock::new(),
            budgets: OnceLock::new(),
            report: OnceLock::new(),
        }
    }

    /// A study without a history.
    pub fn without_history(loaded: impl Into<Arc<Loaded>>, day: Day) -> Self {
        Self::new(loaded, day, Past::None("it was not asked for".to_owned()))
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        self.loaded.settings()
    }

    /// What is known of the history.
    pub fn past(&self) -> &Past {
        &self.past
    }

    /// The history that checks go by: all of it, of more than one commit.
    pub fn history(&self) -> Option<&History> {
        self.past.complete().filter(|history| history.commits.len() > 1)
    }

    /// The evaluated state at a commit of the history; `None` unless it was provided.
    pub fn past_state(&self, commit: usize) -> Option<&CommitState> {
        self.past_state.as_ref().filter(|(at, _)| *at == commit).map(|(_, state)| state)
    }

    /// Adds the evaluated state at the commit of the history that a check needs.
    pub(crate) fn provide_past_state(&mut self, commit: usize, state: CommitState) {
        self.past_state = Some((commit, state));
    }

    /// All values, by the latest results where there are any.
    pub fn values(&self) -> &Values {
        self.values.get_or_init(|| Values::new(&self.graph))
    }

    /// The values with the results of tests, and without those of events: what was predicted before the contest.
    pub fn values_before_contest(&self) -> &Values {
        let events = || self.graph.loaded.events().any(|(event, ..)| !self.graph.results(event).is_empty());
        let own = || events().then(|| Values::with_measured(&self.graph, Measured::BeforeTheContest));
        self.before_contest.get_or_init(own).as_ref().unwrap_or_else(|| self.values())
    }

    /// The values without any result: by estimates, formulas and analyses alone.
    pub fn values_on_paper(&self) -> &Values {
        let measured = || self.loaded.results().any(|(.., result)| result.value.is_some());
        let own = || measured().then(|| Values::with_measured(&self.graph, Measured::Nothing));
        self.on_paper.get_or_init(own).as_ref().unwrap_or_else(|| self.values())
    }

    /// The derivatives of values by what they read.
    pub fn partials(&self) -> &Partials {
        self.values().partials()
    }

    /// The derivatives of values by what is uncertain.
    pub fn gradients(&self) -> &Gradients {
        self.values().gradients()
    }

    /// The shortest ways up to the goals.
    pub fn chains(&self) -> &Chains {
        self.chains.get_or_init(|| Chains::new(&self.graph))
    }

    /// The records from this one up to its goal, itself first.
    pub fn chain(&self, id: RecordId) -> Vec<RecordId> {
        self.chains().up(id)
    }

    /// The status of every target, in the order of the records.
    pub fn target_statuses(&self) -> &[TargetStatus] {
        self.target_statuses.get_or_init(|| self.values().target_statuses(self.gradients()))
    }

    /// Every goal with its points, in the order of the records.
    pub fn goals(&self) -> &[GoalPoints] {
        self.goals.get_or_init(|| self.values().goals(self.gradients()))
    }

    /// Every budget with its shares, in the order of the records.
    pub fn budgets(&self) -> &[Budget] {
        self.budgets.get_or_init(|| self.values().budgets(self.gradients()))
    }

    /// Has every event of a goal a result?
    pub fn is_scored(&self, goal: &GoalPoints) -> bool {
        let scored = |event: &EventPoints| matches!(self.values().origin(event.index), Origin::Result(_));
        !goal.events.is_empty() && goal.events.iter().all(scored)
    }

    /// The targets that add up parts, with how far each is inside its limit as a ratio, the least first.
    pub fn tightest_budgets(&self) -> impl Iterator<Item = (RecordId, f64)> {
        let totals = self.target_statuses().iter().filter(|own| self.values().origin(own.index) == Origin::Total);
        let mut all: Vec<_> = totals.filter_map(|own| Some((own.index, own.margin?))).collect();
        all.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
        all.into_iter()
    }

    /// The latest result of a record, be it a value or an outcome: the one rule is in [`Graph::results`].
    pub fn latest_result(&self, id: RecordId) -> Option<(RecordId, &TestResult)> {
        self.graph.results(id).pop()
    }

    /// Every record that has a result with a date, with the latest of them.
    pub fn latest_results(&self) -> impl Iterator<Item = (RecordId, RecordId, &TestResult)> {
        self.loaded.record_ids().filter_map(|of| {
            let (id, result) = self.latest_result(of)?;
            result.date.map(|_| (of, id, result))
        })
    }

    /// The outermost system that a record belongs to; `car` where it is the car's own.
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
