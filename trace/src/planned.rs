//! The planned verifications of a record, each with what its results say so far.

use schema::Day;
use schema::records::{Method, Verification};

use crate::conclusion::Conclusion;
use crate::ids::RecordId;
use crate::study::Study;

/// A planned verification of a record.
#[derive(Clone, Copy, Debug)]
pub struct Planned<'s> {
    /// The record.
    pub record: RecordId,
    /// The system that the record inherits the plan from.
    pub group: Option<RecordId>,
    /// The plan.
    pub plan: &'s Verification,
    /// The role that is responsible: that of the plan, otherwise that of the record.
    pub lead: Option<&'s str>,
    /// What the latest results of its method say; `None` without one.
    pub conclusion: Option<Conclusion>,
    /// Whether it still needs a result.
    pub is_open: bool,
}

impl Planned<'_> {
    /// The days from a date to the due date, below zero if it has passed; `None` if it needs no result or has no date.
    pub fn days_left(&self, from: Day) -> Option<i32> {
        self.plan.due.filter(|_| self.is_open).map(|due| from.days_until(due))
    }
}

impl Study {
    /// The planned verifications of a record, its own or those that it inherits.
    pub fn planned(&self, id: RecordId) -> Vec<Planned<'_>> {
        let Some(verify) = self.loaded.verify(id) else { return Vec::new() };
        let open = self.graph.methods_without_result(id);
        let one = |plan| self.planned_as(id, verify.group, plan, &open);
        verify.value.0.iter().map(one).collect()
    }

    fn planned_as<'s>(
        &'s self,
        record: RecordId,
        group: Option<RecordId>,
        plan: &'s Verification,
        open: &[Method],
    ) -> Planned<'s> {
        let own = plan.lead.as_deref().filter(|lead| !lead.trim().is_empty());
        let of_group = || self.conclusion(group?, Some(plan.by));
        Planned {
            record,
            group,
            plan,
            lead: own.or_else(|| self.graph.lead(record)),
            conclusion: self.conclusion(record, Some(plan.by)).or_else(of_group),
            is_open: open.contains(&plan.by),
        }
    }
}
