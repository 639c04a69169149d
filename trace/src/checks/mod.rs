//! The checks: a registry, one file a check, its docs beside it.
//!
//! A check looks at [`Inputs`] and tells [`Draft`]s; levels, waivers and places come later, in
//! [`crate::report`]. To add one, see DEVELOPERS.md.

mod analysis_only;
mod bad_value;
mod childless;
mod decision_drift;
mod duplicate_id;
mod duplicate_key;
mod expired_waiver;
pub(crate) mod future_result;
mod idle_analysis;
mod limits;
mod missing_key;
mod no_estimate;
mod no_evidence;
mod no_lead;
mod no_parent;
mod no_reason;
mod no_verification;
mod numbers;
mod off_chain;
pub(crate) mod open_loop;
mod over_allocated;
mod over_budget;
mod over_margin;
mod plan_short;
mod points_short;
mod reading;
mod reference_cycle;
mod rewritten_result;
mod stale;
mod stale_analysis;
mod stale_result;
mod target_after_result;
mod target_missed;
mod target_off_course;
mod target_off_plan;
mod two_estimates;
mod unallocated;
mod unfed_target;
mod unit_mismatch;
mod unknown_key;
mod unknown_reference;
mod unreadable_file;
mod unrecorded_revision;
pub(crate) mod unused_waiver;
mod unweighed_decision;
mod value_cycle;
mod verification_overdue;
mod wrong_level;

use schema::Day;
use schema::read::Spot;
use schema::settings::{Level, Settings, Stage};

use crate::graph::{Chains, Graph};
use crate::history::History;
use crate::history::outlook::Outlook;
use crate::values::{Budget, GoalPoints, Gradients, Partials, Standing, ValueProblemKind, Values};

/// The groups of checks, as the docs list them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// What is written cannot be read; always an error.
    Reading,
    /// The chain from goal to part.
    Structure,
    /// How it is shown that targets and requirements are met.
    Verification,
    /// Numbers: units, budgets, limits and points.
    Values,
    /// What changed in the course of the season, from git.
    History,
    /// Findings that are accepted.
    Waivers,
}

impl Group {
    /// The word in docs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Reading => "reading",
            Self::Structure => "structure",
            Self::Verification => "verification",
            Self::Values => "values",
            Self::History => "history",
            Self::Waivers => "waivers",
        }
    }
}

/// A check and its docs.
pub struct Check {
    /// The name, which states the problem.
    pub name: &'static str,
    /// The group.
    pub group: Group,
    /// The level at each stage: concept, design, build, test, contest.
    pub levels: [Level; 5],
    /// What it finds, in one sentence.
    pub finds: &'static str,
    /// Why that matters.
    pub why: &'static str,
    /// How to mend it.
    pub mend: &'static str,
    /// Records that it reports, as a file beside a chain that holds together.
    pub found: &'static str,
    /// The same records mended. Checks of the history show the file after some commits, each after a line
    /// `# on DATE`.
    pub mended: &'static str,
    run: fn(&Inputs<'_, '_>, &mut Told),
}

impl std::fmt::Debug for Check {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

/// What a check may look at.
pub struct Inputs<'i, 'r> {
    /// The records and their links.
    pub graph: &'i Graph<'r>,
    /// The ways up to the goals.
    pub chains: &'i Chains,
    /// The values.
    pub values: &'i Values<'i, 'r>,
    /// The derivatives of values by what they read: models are slow to differentiate, so it is done once.
    pub partials: &'i Partials,
    /// The derivatives of values by what is uncertain.
    pub gradients: &'i Gradients,
    /// The goals, with their points.
    pub goals: &'i [GoalPoints],
    /// Where every target stands.
    pub standings: &'i [Standing],
    /// Every budget with its shares.
    pub budgets: &'i [Budget],
    /// The commits that changed the records, where all of them are there.
    pub history: Option<&'i History>,
    /// A step of the history and the values after it: the step that `open_loop::step_needed` names.
    pub earlier: Option<&'i (usize, Outlook)>,
    /// The day to reckon with.
    pub day: Day,
    /// The stage of that day.
    pub stage: Stage,
}

/// A finding before its level and place are known.
pub struct Draft {
    /// The check.
    pub check: &'static Check,
    /// The record it is about.
    pub record: Option<usize>,
    /// The id of a record that could not be read.
    pub named: Option<String>,
    /// The file, where it is not the record's own.
    pub file: Option<usize>,
    /// The keys below the record; from the top of the file where there is no record.
    pub route: Vec<String>,
    /// Is it the last key of the route that is wrong, and not its value?
    pub at_key: bool,
    /// The character of the value's text at which it is wrong, counted from 0, where one is.
    pub offset: Option<usize>,
    /// The place, where it is known already.
    pub spot: Option<Spot>,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// Collects what one check tells.
pub struct Told {
    check: &'static Check,
    drafts: Vec<Draft>,
}

impl Told {
    /// Tells a finding about a record, at one of its keys (or at its id).
    fn tell(&mut self, record: usize, route: &[&str], message: impl Into<String>, help: impl Into<String>) {
        self.drafts.push(Draft {
            check: self.check,
            record: Some(record),
            named: None,
            file: None,
            route: route.iter().map(|key| (*key).to_owned()).collect(),
            at_key: false,
            offset: None,
            spot: None,
            message: message.into(),
            help: help.into(),
        });
    }

    /// Tells a finding about a key itself, as where a key names another record.
    fn tell_key(&mut self, record: usize, route: &[&str], message: impl Into<String>, help: impl Into<String>) {
        self.tell(record, route, message, help);
        if let Some(draft) = self.drafts.last_mut() {
            draft.at_key = true;
        }
    }
}

impl Told {
    /// Tells the problems that building the values found, of one kind.
    fn tell_problems(&mut self, kind: ValueProblemKind, inputs: &Inputs<'_, '_>) {
        for problem in inputs.values.problems.iter().filter(|problem| problem.kind == kind) {
            let route: Vec<&str> = problem.route.iter().map(String::as_str).collect();
            self.tell(problem.record, &route, problem.message.clone(), problem.help.clone());
            if let Some(draft) = self.drafts.last_mut() {
                draft.offset = Some(problem.offset);
            }
        }
    }
}

/// All checks, in the order of their names.
static ALL: [&Check; 44] = [
    &analysis_only::CHECK,
    &bad_value::CHECK,
    &childless::CHECK,
    &decision_drift::CHECK,
    &duplicate_id::CHECK,
    &duplicate_key::CHECK,
    &expired_waiver::CHECK,
    &future_result::CHECK,
    &idle_analysis::CHECK,
    &missing_key::CHECK,
    &no_estimate::CHECK,
    &no_evidence::CHECK,
    &no_lead::CHECK,
    &no_parent::CHECK,
    &no_reason::CHECK,
    &no_verification::CHECK,
    &off_chain::CHECK,
    &open_loop::CHECK,
    &over_allocated::CHECK,
    &over_budget::CHECK,
    &over_margin::CHECK,
    &plan_short::CHECK,
    &points_short::CHECK,
    &reference_cycle::CHECK,
    &rewritten_result::CHECK,
    &stale_analysis::CHECK,
    &stale_result::CHECK,
    &target_after_result::CHECK,
    &target_missed::CHECK,
    &target_off_course::CHECK,
    &target_off_plan::CHECK,
    &two_estimates::CHECK,
    &unallocated::CHECK,
    &unfed_target::CHECK,
    &unit_mismatch::CHECK,
    &unknown_key::CHECK,
    &unknown_reference::CHECK,
    &unreadable_file::CHECK,
    &unrecorded_revision::CHECK,
    &unused_waiver::CHECK,
    &unweighed_decision::CHECK,
    &value_cycle::CHECK,
    &verification_overdue::CHECK,
    &wrong_level::CHECK,
];

/// All checks, in the order of their names.
pub fn all() -> &'static [&'static Check] {
    &ALL
}

/// The check of a name.
pub fn find(name: &str) -> Option<&'static Check> {
    ALL.iter().copied().find(|check| check.name == name)
}

/// May a waiver accept the findings of this check?
///
/// What cannot be read cannot be judged, and a waiver that is itself open to question accepts nothing.
pub fn can_be_waived(name: &str) -> bool {
    find(name).is_some_and(|check| !matches!(check.group, Group::Reading | Group::Waivers))
}

/// The level of a check at a stage, as the settings have it.
pub fn level(check: &Check, settings: &Settings, stage: Stage) -> Level {
    let own = check.levels[stage as usize];
    if check.group == Group::Reading {
        return own;
    }
    settings.levels.get(check.name).and_then(|setting| setting.at(stage)).unwrap_or(own)
}

/// Runs one check.
pub(crate) fn run(check: &'static Check, inputs: &Inputs<'_, '_>) -> Vec<Draft> {
    let mut told = Told { check, drafts: Vec::new() };
    (check.run)(inputs, &mut told);
    told.drafts
}

use Level::{Error, Note, Warning};

/// An error at every stage.
const ALWAYS_ERROR: [Level; 5] = [Error; 5];

#[cfg(test)]
mod tests;
