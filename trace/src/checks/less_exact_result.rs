//! `less-exact-result`: a result that is far less exact than an earlier one, which it replaces.

use schema::records::TestResult;

use super::{About, Check, Group, Note, RecordId, Reporter, Study};
use crate::values::Origin;

/// The smallest ratio of the uncertainties that is reported. In a weighted mean of both (JCGM 100:2008, F.1.2), the later
/// result would have a tenth of the weight.
const RATIO: f64 = 3.0;

pub(super) static CHECK: Check = Check {
    name: "less-exact-result",
    group: Group::Values,
    about: About::Records,
    levels: [Note; 5],
    reports: "A target whose latest result has an uncertainty of more than three times that of an earlier one. The latest \
              result is used.",
    why: "The car can have changed between the two, so the latest result counts; but if it has not, the earlier one \
          describes it better.",
    fix: "Measure again as exactly as before. If the car changed, or the earlier result was wrong, name the earlier one \
          under `supersedes` of the latest.",
    bad_example: "\
targets:
  shift-time: {of: car, at-most: 0.2 s}
results:
  shift-on-the-rig: {of: shift-time, value: 0.150 s ± 0.005 s, date: 2027-03-01, evidence: [chain.yaml]}
  shift-by-hand: {of: shift-time, value: 0.15 s ± 0.04 s, date: 2027-03-02, evidence: [chain.yaml]}",
    good_example: "\
targets:
  shift-time: {of: car, at-most: 0.2 s}
results:
  shift-on-the-rig: {of: shift-time, value: 0.150 s ± 0.005 s, date: 2027-03-01, evidence: [chain.yaml]}
  shift-by-hand:
    {of: shift-time, value: 0.15 s ± 0.04 s, date: 2027-03-02, evidence: [chain.yaml], supersedes: [shift-on-the-rig]}",
    run,
};

fn run<'s>(study: &'s Study, reporter: &mut Reporter) {
    let (loaded, values) = (&study.loaded, study.values());
    for (target, record, _) in loaded.targets() {
        let Origin::Result(used) = values.origin(target) else { continue };
        let results = study.graph.current_results(target);
        let measured = |&(id, result): &(RecordId, &'s TestResult)| {
            let (value, date) = (result.quantity()?, result.date?);
            value.uncertainty()?;
            let (dimension, _, uncertainty) = values.in_team(value);
            let fits = values.record_node(target).is_some_and(|node| values.dimension(node) == dimension);
            (fits && uncertainty > 0.0).then_some((id, value, date, uncertainty))
        };
        let latest = results.iter().find(|(id, _)| *id == used).and_then(measured);
        let Some((_, value, date, uncertainty)) = latest else { continue };
        let earlier = results.iter().filter(|(id, _)| *id != used).filter_map(measured);
        let Some((id, exact, then, own)) = earlier.min_by(|a, b| a.3.total_cmp(&b.3)) else { continue };
        if uncertainty > RATIO * own {
            let (used_id, id) = (&loaded.record(used).id, &loaded.record(id).id);
            let name = record.name();
            let message = format!("{name}: {value} is used ({used_id}, {date}); {exact} is more exact ({id}, {then})");
            let help = format!("measure again as exactly, or add `supersedes: [{id}]` if it is no longer valid");
            reporter.report(used, &["value"], message, help);
        }
    }
}
