//! `off-chain`: a record that has parents but no path to a goal.

use schema::Kind;

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};

use super::shared::listed;
use super::{About, Check, Error, Group, Note, RecordId, Reporter, Study, Warning};
use crate::graph::Tier;

pub(super) static CHECK: Check = Check {
    name: "off-chain",
    group: Group::Structure,
    about: About::Records,
    levels: [Note, Warning, Warning, Error, Error],
    reports: "A record that serves others, but does not lead to a goal.",
    why: "What it serves has no purpose itself, so the record adds no planned points.",
    fix: "Follow the chain to its end, and add the right `serves:` link to the record there.",
    bad_example: "\
systems:
  electrics: {in: car}
parts:
  dashboard: {in: electrics, serves: {electrics: The driver reads the oil pressure from it.}}",
    good_example: "\
systems:
  electrics: {in: car}
parts:
  dashboard: {in: electrics, serves: {circle-time: The driver sees when the tyres are warm.}}",
    run,
};

/// With more records than this whose chains end at the same one, that one is reported in their place.
const MOST: usize = 5;

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    // The links of a group are reported once.
    let mut groups = HashSet::new();
    let mut found: Vec<(RecordId, Option<RecordId>, RecordId)> = Vec::new();
    let mut sharing: HashMap<RecordId, Vec<RecordId>> = HashMap::new();
    for (index, _) in graph.loaded.records() {
        if graph.tier(index) == Some(Tier::Goal)
            || study.chains().distance(index).is_some()
            || graph.parents(index).next().is_none()
        {
            continue;
        }
        let group = graph.loaded.serves(index).group;
        if group.is_some_and(|group| !groups.insert(group)) {
            continue;
        }
        let end = study.chain(index).last().copied().unwrap_or(index);
        found.push((index, group, end));
        sharing.entry(end).or_default().push(index);
    }
    let mut reported = HashSet::new();
    for (index, group, end) in found {
        let (record, last) = (graph.loaded.record(index), graph.loaded.record(end));
        let all = sharing.get(&end).map_or(&[][..], Vec::as_slice);
        let help = if last.kind() == Kind::System {
            "under `serves`, name a target or requirement instead of the system".to_owned()
        } else {
            format!("add the right `serves:` link to {}", last.id)
        };
        if all.len() > MOST {
            if reported.insert(end) {
                let message = format!(
                    "{} records do not lead to a goal, because their chains end at {}: {}",
                    all.len(),
                    last.id,
                    listed(study, all)
                );
                reporter.report(end, &["serves"], message, help);
            }
            continue;
        }
        match group {
            Some(group) => {
                let name = graph.loaded.record(group).name();
                let message = format!("the parts of {name} do not lead to a goal: their chain ends at {}", last.id);
                reporter.report(group, &["for-parts", "serves"], message, help);
            }
            None => {
                let message = format!("{} does not lead to a goal: its chain ends at {}", record.name(), last.id);
                reporter.report(index, &["serves"], message, help);
            }
        }
    }
}
