//! The safety-critical records that no test, demonstration or inspection has passed.

use petgraph::Direction;
use schema::Day;
use schema::records::Verify;

use super::verification::{Method, concluded};
use crate::conclusion::Conclusion;
use crate::finding::Finding;
use crate::graph::Link;
use crate::ids::RecordId;
use crate::study::Study;

/// A safety-critical record without a passed test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unproven {
    /// The part, requirement or target.
    pub index: RecordId,
    /// What is missing.
    pub why: WhyUnproven,
    /// The planned methods other than analysis that have no result yet.
    pub open: Vec<Method>,
    /// The first due date of its plan.
    pub due: Option<Day>,
}

/// What a safety-critical record lacks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum WhyUnproven {
    /// The latest result is not met.
    Failed,
    /// The limit is inside the uncertainty of the latest result.
    Uncertain,
    /// No test, demonstration or inspection is planned.
    NotPlanned,
    /// A planned test, demonstration or inspection has no result yet.
    NoResult,
}

impl WhyUnproven {
    /// The words in outputs.
    pub fn words(self) -> &'static str {
        match self {
            Self::Failed => "failed",
            Self::Uncertain => "uncertain",
            Self::NotPlanned => "no test planned",
            Self::NoResult => "no result",
        }
    }
}

/// The methods that try the thing itself: a calculation alone proves nothing that people's safety depends on.
const PHYSICAL: [Method; 3] = [Method::Test, Method::Inspection, Method::Demonstration];

/// The number of safety-critical parts, requirements and targets, and those without a passed test: the worst first, then in
/// the order of the records.
pub(super) fn all(study: &Study) -> (usize, Vec<Unproven>) {
    let critical = study.loaded.records().filter(|(_, record)| record.safety_critical());
    let (mut number, mut all) = (0, Vec::new());
    for (index, _) in critical {
        number += 1;
        if let Some((why, open)) = lacking(study, index) {
            let due = study.loaded.verify(index).and_then(|verify| Verify::due(verify.value));
            all.push(Unproven { index, why, open, due });
        }
    }
    all.sort_by_key(|one| (one.why, one.index));
    (number, all)
}

/// The safety-critical records with a result that is older than a change, each with the finding that says what changed.
pub fn outdated(study: &Study) -> Vec<(RecordId, &Finding)> {
    let all = older_than_a_change(study).into_iter();
    all.filter(|(record, _)| study.loaded.record(*record).safety_critical()).collect()
}

/// The records of any kind with a result that is older than a change, each with the finding that says what changed.
pub fn older_than_a_change(study: &Study) -> Vec<(RecordId, &Finding)> {
    let loaded = &study.loaded;
    let stale = study.report().findings.iter().filter(|finding| finding.check.name == "stale-result");
    let of = |finding: &Finding| {
        let result = loaded.result(loaded.find(finding.record.as_deref()?)?)?;
        loaded.find(result.of.as_ref()?.as_str())
    };
    stale.filter_map(|finding| Some((of(finding)?, finding))).collect()
}

/// What a record lacks, and its planned methods without a result; `None` if it has a passed test.
fn lacking(study: &Study, index: RecordId) -> Option<(WhyUnproven, Vec<Method>)> {
    let loaded = &study.loaded;
    let verify = loaded.verify(index);
    // A part without a plan is tested by the targets and requirements that are about it, as in `no-verification`.
    if verify.is_none() && loaded.part(index).is_some() {
        let about: Vec<RecordId> = study
            .graph
            .linked(index, Link::Of, Direction::Incoming)
            .filter(|own| loaded.kind(*own).roles().verifies_subject)
            .collect();
        let is_critical = |own: &&RecordId| loaded.record(**own).safety_critical();
        let critical: Vec<&RecordId> = about.iter().filter(is_critical).collect();
        let counting = if critical.is_empty() { about.iter().collect() } else { critical };
        if !counting.is_empty() {
            return counting.into_iter().filter_map(|own| lacking(study, *own)).min_by_key(|(why, _)| *why);
        }
    }
    let methods = verify.iter().flat_map(|verify| verify.value.methods());
    let planned: Vec<Method> = methods.filter(|method| PHYSICAL.contains(method)).collect();
    let group = verify.as_ref().and_then(|verify| verify.group);
    let of_method = |method: &Method| concluded(study, index, group, *method);
    // A result of a record without a plan has no method, unless it names one.
    let unplanned = || verify.is_none().then(|| study.conclusion(index, None)).flatten();
    let other = unplanned().filter(|own| own.is_outcome());
    let said: Vec<Conclusion> = PHYSICAL.iter().filter_map(of_method).chain(other).collect();
    let open: Vec<Method> = planned.iter().copied().filter(|method| of_method(method).is_none()).collect();
    let why = if said.contains(&Conclusion::Failed) {
        WhyUnproven::Failed
    } else if said.contains(&Conclusion::Uncertain) {
        WhyUnproven::Uncertain
    } else if !open.is_empty() {
        WhyUnproven::NoResult
    } else if said.contains(&Conclusion::Passed) {
        return None;
    } else {
        WhyUnproven::NotPlanned
    };
    Some((why, open))
}
