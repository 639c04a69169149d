//! `budget-only-reason`: a part that serves nothing but a budget that it adds to.

use std::collections::BTreeMap;

use foldhash::HashMap;

use super::shared::{listed, parts_of};
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "budget-only-reason",
    group: Group::Structure,
    about: About::Records,
    levels: [Note, Warning, Warning, Warning, Warning],
    reports: "A part that serves only budgets (of mass, cost or another amount) that it adds to itself.",
    why: "The budget that a part adds to is not a reason for it to exist: without the part, the budget would be met more \
          easily.",
    fix: "Under `serves`, name the target or requirement that needs the part. A light or cheap design may serve the \
          budget too, next to it.",
    bad_example: "\
targets:
  suspension-mass: {of: suspension, at-most: 37 kg, total: mass, serves: {circle-time: A light car turns faster.}}
parts:
  upright:
    in: suspension
    amounts: {mass: 0.8 kg}
    serves: {suspension-mass: It weighs 0.8 kg.}",
    good_example: "\
targets:
  suspension-mass: {of: suspension, at-most: 37 kg, total: mass, serves: {circle-time: A light car turns faster.}}
parts:
  upright:
    in: suspension
    amounts: {mass: 0.8 kg}
    serves:
      circle-time: It holds the wheel upright under 1.3 gn.
      suspension-mass: Machined from one piece, it saves 0.3 kg.",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let loaded = &study.loaded;
    // The amount that each budget adds up.
    let budgets: HashMap<RecordId, &str> =
        study.budgets().iter().filter_map(|budget| Some((budget.index, budget.amount.as_deref()?))).collect();
    if budgets.is_empty() {
        return;
    }
    let mut groups: BTreeMap<RecordId, Vec<RecordId>> = BTreeMap::new();
    for (index, record, part) in loaded.parts() {
        let serves = loaded.serves(index);
        let adds_to = |id: &schema::Id| {
            let budget = loaded.find(id.as_str())?;
            part.amounts.get(budgets.get(&budget)?)?;
            let of = loaded.target(budget)?.of.as_ref()?.as_str();
            let encloses = || loaded.enclosing(index).any(|around| loaded.record(around).id.as_str() == of);
            (of == schema::words::CAR || encloses()).then_some(())
        };
        if serves.value.is_empty() || !serves.value.keys().all(|id| adds_to(id).is_some()) {
            continue;
        }
        match serves.group {
            Some(group) => groups.entry(group).or_default().push(index),
            None => {
                let ids: Vec<&str> = serves.value.keys().map(schema::Id::as_str).collect();
                let message = format!("{} serves only {}, which it adds to", record.name(), ids.join(" and "));
                reporter.report(index, &["serves"], message, HELP);
            }
        }
    }
    for (group, parts) in groups {
        let (all, list) = (parts_of(study, group, &parts), listed(study, &parts));
        let verb = if parts.len() == 1 { "serves" } else { "serve" };
        let message = format!("{all} {verb} only budgets that they add to: {list}");
        reporter.report(group, &["for-parts", "serves"], message, HELP);
    }
}

const HELP: &str = "the budget that a part adds to is not a reason for it to exist: name the target or requirement that \
                    needs the part";
