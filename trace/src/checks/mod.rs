//! The checks: a registry, one file a check, its docs beside it.
//!
//! A check asks a [`Study`] and reports [`Draft`]s; levels, waivers and places come later, in
//! [`crate::report`]. To add one, see DEVELOPERS.md.

mod analysis_only;
mod bad_value;
mod decision_drift;
mod duplicate_id;
mod duplicate_key;
mod excess_margin;
mod expired_waiver;
pub(crate) mod future_result;
mod incomplete_decision;
mod limits;
mod missing_key;
pub(crate) mod no_action;
mod no_children;
mod no_effect_on_points;
mod no_estimate;
mod no_evidence;
mod no_lead;
mod no_parent;
mod no_reason;
mod no_share;
mod no_verification;
mod numbers;
mod off_chain;
mod over_allocated;
mod over_budget;
mod plan_above_targets;
mod plan_short;
mod points_short;
mod reference_cycle;
mod rewritten_result;
mod stale;
mod stale_analysis;
mod stale_result;
mod target_after_result;
mod target_at_risk;
mod target_missed;
mod two_sources;
mod unit_mismatch;
mod unknown_key;
mod unknown_reference;
mod unreadable_file;
mod unrecorded_revision;
mod unused_analysis;
pub(crate) mod unused_waiver;
mod value_cycle;
mod verification_overdue;
mod wrong_tier;

use schema::read::{ProblemKind, Spot};
use schema::settings::{Level, Settings, Stage};

use crate::Study;
use crate::ids::{FileId, RecordId};
use crate::values::ValueProblemKind;

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
    pub reports: &'static str,
    /// Why that matters.
    pub why: &'static str,
    /// How to mend it.
    pub fix: &'static str,
    /// Records that it reports, as a file beside a chain that holds together.
    pub bad_example: &'static str,
    /// The same records mended. Checks of the history show the file after some commits, each after a line
    /// `# on DATE`.
    pub good_example: &'static str,
    run: fn(&Study, &mut Reporter),
}

impl std::fmt::Debug for Check {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

/// A finding before its level and place are known.
pub struct Draft {
    /// The check.
    pub check: &'static Check,
    /// The record it is about.
    pub record: Option<RecordId>,
    /// The id of a record that could not be read.
    pub named: Option<String>,
    /// The file, where it is not the record's own.
    pub file: Option<FileId>,
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

/// Collects what one check reports.
pub struct Reporter {
    check: &'static Check,
    drafts: Vec<Draft>,
}

impl Reporter {
    /// Reports a finding about a record, at one of its keys (or at its id).
    fn report(&mut self, record: RecordId, route: &[&str], message: impl Into<String>, help: impl Into<String>) {
        let route = route.iter().map(|key| (*key).to_owned()).collect();
        self.drafts.push(Draft { record: Some(record), route, ..self.draft(message, help) });
    }

    /// Reports a finding about a key itself, as where a key names another record.
    fn report_key(&mut self, record: RecordId, route: &[&str], message: impl Into<String>, help: impl Into<String>) {
        self.report(record, route, message, help);
        if let Some(draft) = self.drafts.last_mut() {
            draft.at_key = true;
        }
    }

    /// Reports the problems of one kind that evaluating the values found.
    fn report_value_problems(&mut self, kind: ValueProblemKind, study: &Study) {
        for problem in study.values().problems.iter().filter(|problem| problem.kind == kind) {
            let draft = self.draft(&problem.message, &problem.help);
            let (record, route, offset) = (Some(problem.record), problem.route.clone(), Some(problem.offset));
            self.drafts.push(Draft { record, route, offset, ..draft });
        }
    }

    /// Reports the problems of one kind that reading the files found.
    fn report_read_problems(&mut self, kind: ProblemKind, study: &Study) {
        for found in study.loaded.problems.iter().filter(|found| found.problem.kind == kind) {
            let problem = &found.problem;
            let draft = self.draft(&problem.message, &problem.help);
            let (named, route, file) = (problem.record.clone(), problem.route.clone(), Some(found.file));
            self.drafts.push(Draft { named, file, route, spot: problem.spot, ..draft });
        }
    }

    /// Reports a finding about a key of a file, where there is no record; `named` is the id of one that was not taken.
    fn report_in_file(&mut self, file: FileId, named: Option<String>, route: [&str; 2], message: String, help: String) {
        let route = route.map(str::to_owned).into();
        let draft = self.draft(message, help);
        self.drafts.push(Draft { named, file: Some(file), route, at_key: true, ..draft });
    }

    fn draft(&self, message: impl Into<String>, help: impl Into<String>) -> Draft {
        Draft {
            check: self.check,
            record: None,
            named: None,
            file: None,
            route: Vec::new(),
            at_key: false,
            offset: None,
            spot: None,
            message: message.into(),
            help: help.into(),
        }
    }
}

/// All checks, in the order of their names.
static ALL: [&Check; 44] = [
    &analysis_only::CHECK,
    &bad_value::CHECK,
    &decision_drift::CHECK,
    &duplicate_id::CHECK,
    &duplicate_key::CHECK,
    &excess_margin::CHECK,
    &expired_waiver::CHECK,
    &future_result::CHECK,
    &incomplete_decision::CHECK,
    &missing_key::CHECK,
    &no_action::CHECK,
    &no_children::CHECK,
    &no_effect_on_points::CHECK,
    &no_estimate::CHECK,
    &no_evidence::CHECK,
    &no_lead::CHECK,
    &no_parent::CHECK,
    &no_reason::CHECK,
    &no_share::CHECK,
    &no_verification::CHECK,
    &off_chain::CHECK,
    &over_allocated::CHECK,
    &over_budget::CHECK,
    &plan_above_targets::CHECK,
    &plan_short::CHECK,
    &points_short::CHECK,
    &reference_cycle::CHECK,
    &rewritten_result::CHECK,
    &stale_analysis::CHECK,
    &stale_result::CHECK,
    &target_after_result::CHECK,
    &target_at_risk::CHECK,
    &target_missed::CHECK,
    &two_sources::CHECK,
    &unit_mismatch::CHECK,
    &unknown_key::CHECK,
    &unknown_reference::CHECK,
    &unreadable_file::CHECK,
    &unrecorded_revision::CHECK,
    &unused_analysis::CHECK,
    &unused_waiver::CHECK,
    &value_cycle::CHECK,
    &verification_overdue::CHECK,
    &wrong_tier::CHECK,
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
    settings.levels.get(check.name).and_then(|setting| setting.for_stage(stage)).unwrap_or(own)
}

/// Runs one check.
pub(crate) fn run(check: &'static Check, study: &Study) -> Vec<Draft> {
    let mut reporter = Reporter { check, drafts: Vec::new() };
    (check.run)(study, &mut reporter);
    reporter.drafts
}

use Level::{Error, Note, Warning};

/// An error at every stage.
const ALWAYS_ERROR: [Level; 5] = [Error; 5];

#[cfg(test)]
mod tests;
