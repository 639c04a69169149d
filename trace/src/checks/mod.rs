//! The checks: a registry, and one file per check with its documentation.
//!
//! A check reads a [`Study`] and reports [`Draft`]s. [`crate::report`] adds levels, waivers and positions. To add a
//! check, see DEVELOPERS.md.

mod analysis_after_decision;
mod analysis_only;
mod bad_value;
mod budget_only_reason;
mod chance_in_formula;
mod contradicting_results;
pub(crate) mod decision_drift;
mod differs_from_evidence;
mod duplicate_id;
mod duplicate_key;
mod excess_margin;
pub(crate) mod expired_waiver;
pub(crate) mod future_result;
mod idle_material;
pub(crate) mod impossible_points;
mod incomplete_decision;
mod less_exact_result;
mod limits;
mod missing_key;
pub(crate) mod no_action;
mod no_children;
mod no_effect_on_points;
mod no_estimate;
mod no_evidence;
mod no_lead;
mod no_number;
mod no_parent;
mod no_reason;
mod no_share;
mod no_uncertainty;
mod no_verification;
mod numbers;
mod off_chain;
mod over_allocated;
mod over_budget;
mod part_changes;
mod plan_above_targets;
mod plan_short;
mod points_short;
mod reference_cycle;
mod rewritten_result;
mod shared;
pub(crate) mod stale;
mod stale_analysis;
pub(crate) mod stale_result;
mod target_after_decision;
mod target_after_result;
mod target_at_risk;
mod target_missed;
mod two_sources;
mod unit_mismatch;
mod unknown_key;
pub(crate) mod unknown_reference;
mod unreadable_file;
mod unreadable_table;
mod unrecorded_revision;
mod unused_analysis;
pub(crate) mod unused_waiver;
mod value_cycle;
pub(crate) mod verification_overdue;
mod wrong_tier;

use schema::read::{ProblemKind, Spot};
use schema::settings::{Level, Settings, Stage};

use crate::Study;
use crate::ids::{FileId, RecordId};
use crate::measure::Measure;
use crate::values::ValueProblemKind;

/// The groups of checks, in the order of the documentation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// Text that cannot be read; always an error.
    Reading,
    /// The chain from goal to part.
    Structure,
    /// The verification of targets and requirements, and its evidence.
    Verification,
    /// Numbers: units, budgets, limits and points.
    Values,
    /// Changes during the season, from git.
    History,
    /// Waivers: findings that are accepted.
    Waivers,
}

impl Group {
    /// The word in outputs.
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

/// What the findings of a check are about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum About {
    /// The records: they are broken, incomplete or contradict each other. Editing them fixes the finding.
    Records,
    /// The car, the plan or the calendar: the records are right, and what they describe is not as it has to be yet.
    Car,
}

impl About {
    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Records => "records",
            Self::Car => "car",
        }
    }
}

/// A check and its documentation.
pub struct Check {
    /// The name, which states the problem.
    pub name: &'static str,
    /// The group.
    pub group: Group,
    /// What its findings are about.
    pub about: About,
    /// The default level at each stage: concept, design, build, test, contest.
    pub levels: [Level; 5],
    /// What it reports.
    pub reports: &'static str,
    /// Why this matters.
    pub why: &'static str,
    /// How to fix it.
    pub fix: &'static str,
    /// Records that it reports: a file next to a complete chain. For a history check, the file after each of some
    /// commits, each after a line `# on DATE`.
    pub bad_example: &'static str,
    /// The same records after the fix.
    pub good_example: &'static str,
    run: fn(&Study, &mut Reporter),
}

impl Check {
    /// Whether it uses the values, or what follows from them, or waits for the history.
    pub(crate) fn uses_values(&self) -> bool {
        match self.group {
            Group::Values | Group::History => true,
            Group::Reading | Group::Structure | Group::Verification | Group::Waivers => {
                USING_VALUES.iter().any(|check| check.name == self.name)
            }
        }
    }
}

impl std::fmt::Debug for Check {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

/// A finding before its level and position are known.
pub struct Draft {
    /// The check.
    pub check: &'static Check,
    /// The record it is about.
    pub record: Option<RecordId>,
    /// The id of a record that was not read.
    pub unread_id: Option<String>,
    /// The file, if it is not that of the record.
    pub file: Option<FileId>,
    /// The keys below the record; from the top of the file if there is no record.
    pub route: Vec<String>,
    /// Whether the last key of the route is wrong, and not its value.
    pub at_key: bool,
    /// The index of the wrong character in the text of the value, if there is one.
    pub offset: Option<usize>,
    /// The position, if it is already known.
    pub spot: Option<Spot>,
    /// The highest level of the finding, if it is milder than others of its check.
    pub highest: Level,
    /// The id that was not found, if that is what is wrong; empty for any part.
    pub unresolved: Option<String>,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
    /// How bad it is, if that is a number.
    pub measure: Option<Measure>,
}

impl Draft {
    /// A draft of a check about a record, without a text.
    pub(crate) fn of(check: &'static Check, record: Option<RecordId>) -> Self {
        Self {
            check,
            record,
            unread_id: None,
            file: None,
            route: Vec::new(),
            at_key: false,
            offset: None,
            spot: None,
            highest: Error,
            unresolved: None,
            message: String::new(),
            help: String::new(),
            measure: None,
        }
    }
}

/// The largest number of findings of one check.
const MOST_FINDINGS: usize = 150_000;

/// Collects the findings of one check.
pub struct Reporter {
    check: &'static Check,
    /// The stage whose levels apply.
    stage: Stage,
    drafts: Vec<Draft>,
}

impl Reporter {
    /// Reports a finding about a record, at the value of one of its keys; at its id if the route is empty.
    fn report(&mut self, record: RecordId, route: &[&str], message: impl Into<String>, help: impl Into<String>) {
        let route = route.iter().map(|key| (*key).to_owned()).collect();
        self.push(Draft { record: Some(record), route, ..self.draft(message, help) });
    }

    /// Adds to the last finding how bad it is.
    fn measured(&mut self, measure: Measure) {
        if let Some(draft) = self.drafts.last_mut() {
            draft.measure = Some(measure);
        }
    }

    /// Reports a finding about a key itself, for example a key that is the id of another record.
    fn report_key(&mut self, record: RecordId, route: &[&str], message: impl Into<String>, help: impl Into<String>) {
        self.report(record, route, message, help);
        if let Some(draft) = self.drafts.last_mut() {
            draft.at_key = true;
        }
    }

    /// Reports a finding that is a note at most, whatever the level of the check is; otherwise like [`Reporter::report`].
    fn report_note(&mut self, record: RecordId, route: &[&str], message: impl Into<String>, help: impl Into<String>) {
        self.report(record, route, message, help);
        if let Some(draft) = self.drafts.last_mut() {
            draft.highest = Note;
        }
    }

    /// Adds to the last finding the id that was not found.
    fn unresolved(&mut self, id: Option<&str>) {
        if let (Some(draft), Some(id)) = (self.drafts.last_mut(), id) {
            draft.unresolved = Some(id.to_owned());
        }
    }

    /// Reports the problems of one kind found when the values were evaluated.
    fn report_value_problems(&mut self, kind: ValueProblemKind, study: &Study) {
        for problem in study.values().problems.iter().filter(|problem| problem.kind == kind) {
            let draft = self.draft(&problem.message, &problem.help);
            let (record, route, offset) = (Some(problem.record), problem.route.clone(), Some(problem.offset));
            self.push(Draft { record, route, offset, unresolved: problem.missing.clone(), ..draft });
        }
    }

    /// Reports the problems of one kind found when the files were read.
    fn report_read_problems(&mut self, kind: ProblemKind, study: &Study) {
        for found in study.loaded.problems.iter().filter(|found| found.problem.kind == kind) {
            let problem = &found.problem;
            let draft = self.draft(&problem.message, &problem.help);
            let (unread_id, route, file) = (problem.record.clone(), problem.route.clone(), Some(found.file));
            self.push(Draft { unread_id, file, route, spot: problem.spot, ..draft });
        }
    }

    /// Reports a finding about a key of a file, without a record. `unread_id`: the id of a record that was not read.
    fn report_in_file<const N: usize>(
        &mut self,
        file: FileId,
        unread_id: Option<String>,
        route: [&str; N],
        message: String,
        help: String,
    ) {
        let route = route.map(str::to_owned).into();
        let draft = self.draft(message, help);
        self.push(Draft { unread_id, file: Some(file), route, at_key: true, ..draft });
    }

    fn push(&mut self, draft: Draft) {
        // Of those over the limit only the last one is kept, until it is replaced.
        if self.drafts.len() > MOST_FINDINGS {
            self.drafts.pop();
        }
        self.drafts.push(draft);
    }

    /// All findings; if there are too many, the last one is about that.
    fn finish(mut self) -> Vec<Draft> {
        if self.drafts.len() > MOST_FINDINGS
            && let Some(Draft { record, unread_id, file, .. }) = self.drafts.pop()
        {
            let message = format!(
                "there are more than 150,000 findings of `{}`, and further ones are not listed",
                self.check.name
            );
            let draft = self.draft(message, "fix the listed ones first");
            self.drafts.push(Draft { record, unread_id, file, ..draft });
        }
        self.drafts
    }

    fn draft(&self, message: impl Into<String>, help: impl Into<String>) -> Draft {
        Draft { message: message.into(), help: help.into(), ..Draft::of(self.check, None) }
    }
}

/// All checks, in the order of their names.
static ALL: &[&Check] = &[
    &analysis_after_decision::CHECK,
    &analysis_only::CHECK,
    &bad_value::CHECK,
    &budget_only_reason::CHECK,
    &chance_in_formula::CHECK,
    &contradicting_results::CHECK,
    &decision_drift::CHECK,
    &differs_from_evidence::CHECK,
    &duplicate_id::CHECK,
    &duplicate_key::CHECK,
    &excess_margin::CHECK,
    &expired_waiver::CHECK,
    &future_result::CHECK,
    &idle_material::CHECK,
    &impossible_points::CHECK,
    &incomplete_decision::CHECK,
    &less_exact_result::CHECK,
    &missing_key::CHECK,
    &no_action::CHECK,
    &no_children::CHECK,
    &no_effect_on_points::CHECK,
    &no_estimate::CHECK,
    &no_evidence::CHECK,
    &no_lead::CHECK,
    &no_number::CHECK,
    &no_parent::CHECK,
    &no_reason::CHECK,
    &no_share::CHECK,
    &no_uncertainty::CHECK,
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
    &target_after_decision::CHECK,
    &target_after_result::CHECK,
    &target_at_risk::CHECK,
    &target_missed::CHECK,
    &two_sources::CHECK,
    &unit_mismatch::CHECK,
    &unknown_key::CHECK,
    &unknown_reference::CHECK,
    &unreadable_file::CHECK,
    &unreadable_table::CHECK,
    &unrecorded_revision::CHECK,
    &unused_analysis::CHECK,
    &unused_waiver::CHECK,
    &value_cycle::CHECK,
    &verification_overdue::CHECK,
    &wrong_tier::CHECK,
];

/// The checks about records that use values: what is wrong with a number, a name or a table is found with the values.
static USING_VALUES: &[&Check] = &[
    &bad_value::CHECK,
    &budget_only_reason::CHECK,
    &unknown_reference::CHECK,
    &unreadable_table::CHECK,
    &unused_analysis::CHECK,
];

/// All checks, in the order of their names.
pub fn all() -> &'static [&'static Check] {
    ALL
}

/// The check with a name.
pub fn find(name: &str) -> Option<&'static Check> {
    ALL.iter().copied().find(|check| check.name == name)
}

/// Whether a waiver may accept the findings of a check.
///
/// It may not if the record could not be read completely, or if the finding is about a waiver.
pub fn can_be_waived(name: &str) -> bool {
    find(name).is_some_and(|check| !matches!(check.group, Group::Reading | Group::Waivers))
}

/// The level of a check at a stage: that of the settings, otherwise its default.
pub fn level(check: &Check, settings: &Settings, stage: Stage) -> Level {
    let default = check.levels[stage as usize];
    if check.group == Group::Reading {
        return default;
    }
    settings.levels.get(check.name).and_then(|setting| setting.for_stage(stage)).unwrap_or(default)
}

/// Whether the settings switch a check off at a stage at which it would run.
pub fn is_switched_off(check: &Check, settings: &Settings, stage: Stage) -> bool {
    check.levels[stage as usize] != Level::Off && level(check, settings, stage) == Level::Off
}

/// Runs one check, with the levels of a stage.
pub(crate) fn run(check: &'static Check, study: &Study, stage: Stage) -> Vec<Draft> {
    let mut reporter = Reporter { check, stage, drafts: Vec::new() };
    (check.run)(study, &mut reporter);
    reporter.finish()
}

use Level::{Error, Note, Warning};

/// An error at every stage.
const ALWAYS_ERROR: [Level; 5] = [Error; 5];

#[cfg(test)]
mod tests;
