//! `budget-only-reason`: a part that serves nothing but a budget that it adds to.

use std::collections::BTreeMap;

use foldhash::{HashMap, HashSet};
use schema::records::Serves;

use super::shared::{listed, parts_of};
use super::{About, Check, Group, Note, RecordId, Reporter, Study, Warning};
use crate::Loaded;

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
    // What the links of each group are to.
    let mut sums_of_groups: HashMap<RecordId, Sums<'_>> = HashMap::default();
    for (index, record, part) in loaded.parts() {
        let serves = loaded.serves(index);
        let own = match serves.group {
            Some(group) => sums_of_groups.entry(group).or_insert_with(|| sums(loaded, &budgets, serves.value)),
            None => &mut sums(loaded, &budgets, serves.value),
        };
        let Some(own) = own.as_ref().filter(|own| !own.is_empty()) else { continue };
        let around: Vec<&str> = loaded.enclosing(index).map(|around| loaded.record(around).id.as_str()).collect();
        let adds_to = |(amount, of): &(&str, &str)| {
            part.amounts.get(amount).is_some() && (*of == schema::words::CAR || around.contains(of))
        };
        if !own.iter().all(adds_to) {
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

/// The amounts that budgets add up, each with what the budget is of; `None` if one of the records is no budget.
type Sums<'l> = Option<HashSet<(&'l str, &'l str)>>;

fn sums<'l>(loaded: &'l Loaded, budgets: &HashMap<RecordId, &'l str>, serves: &Serves) -> Sums<'l> {
    let of_budget = |id: &schema::Id| {
        let budget = loaded.find(id.as_str())?;
        Some((*budgets.get(&budget)?, loaded.target(budget)?.of.as_ref()?.as_str()))
    };
    serves.keys().map(of_budget).collect()
}

const HELP: &str = "the budget that a part adds to is not a reason for it to exist: name the target or requirement that \
                    needs the part";
