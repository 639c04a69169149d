//! `analysis-after-decision`: an analysis that informs a decision and is younger than its choice.

use super::{About, Check, Group, Note, Reporter, Study};
use crate::history::choice::Choice;

pub(super) static CHECK: Check = Check {
    name: "analysis-after-decision",
    group: Group::History,
    about: About::Records,
    levels: [Note; 5],
    reports: "An analysis that has a decision under `informs` and was added after its alternative was chosen, if the \
              `reason` or the `notes` of the decision were not changed since.",
    why: "An analysis cannot have informed a choice that was made before it: the reason of the choice is another one.",
    fix: "Compare the alternatives again with the analysis, and add to the `reason` or the `notes` of the decision what \
          came of it. If the analysis was not made for the decision, remove it from `informs`.",
    bad_example: "\
# on 2026-12-01
decisions:
  rack-kind: {of: suspension, alternatives: {short: {}, long: {}}, chosen: short, reason: It fits the frame.}
# on 2027-02-20
decisions:
  rack-kind: {of: suspension, alternatives: {short: {}, long: {}}, chosen: short, reason: It fits the frame.}
analyses:
  rack-forces: {informs: [rack-kind]}",
    good_example: "\
# on 2026-12-01
decisions:
  rack-kind: {of: suspension, alternatives: {short: {}, long: {}}, chosen: short, reason: It fits the frame.}
# on 2027-02-20
decisions:
  rack-kind:
    {of: suspension, alternatives: {short: {}, long: {}}, chosen: short, reason: It fits and needs 12 % less force.}
analyses:
  rack-forces: {informs: [rack-kind]}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let Some(history) = study.history() else { return };
    for (decision, record, body) in study.loaded.decisions() {
        let Some(choice) = Choice::of(study, history, decision) else { continue };
        let chosen = body.chosen.as_ref().map_or("", schema::Id::as_str);
        for later in choice.unconfirmed_analyses(study) {
            let analysis = study.loaded.record(later.analysis).name();
            let (made, added) = (choice.commit(), later.commit);
            let message = format!(
                "{analysis} informs {}, but was added on {} ({}), after {chosen} was chosen on {} ({})",
                record.id,
                added.day,
                added.short(),
                made.day,
                made.short()
            );
            let help = format!(
                "run `tierod compare {0}`, and add what came of it to the `reason` or the `notes` of {0}; or remove {0} from \
                 `informs`",
                record.id
            );
            reporter.report(later.analysis, &["informs", record.id.as_str()], message, help);
        }
    }
}
