//! `no-reason`: a link or a choice without a reason of its own.

use schema::records::Body;

use super::{Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-reason",
    group: Group::Structure,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A missing reason, or one that only repeats a title or an id.",
    why: "The reason is what a newcomer, a judge and next season's team need; the link alone says only that there is one.",
    fix: "Say in one sentence why, best with the number that follows from it: what would be lost without it?",
    bad_example: "\
parts:
  front-upright:
    title: Front upright
    in: suspension
    serves: {circle-time: Front upright}",
    good_example: "\
parts:
  front-upright:
    title: Front upright
    in: suspension
    serves: {circle-time: It keeps the camber within 0.3 deg under 1.3 gn.}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    for (index, record) in graph.loaded.records() {
        let own = [Some(record.id.as_str()), record.body.common().title()];
        for (parent, reason) in record.body.common().serves().iter() {
            let title = graph.loaded.find(parent.as_str()).and_then(|i| graph.loaded.record(i).body.common().title());
            let names = own.into_iter().flatten().chain([parent.as_str()]).chain(title);
            if let Some(problem) = wanting(reason.0.as_deref(), names) {
                let message = format!("why it serves {parent} {problem}");
                reporter.report(index, &["serves", parent.as_str()], message, "say in one sentence why");
            }
        }
        let (what, reason) = match &record.body {
            Body::Goal(goal) => ("why this is the goal", &goal.reason),
            Body::Decision(decision) if decision.chosen.is_some() => ("why this alternative", &decision.reason),
            Body::Revision(revision) => ("why the target was changed", &revision.reason),
            Body::Waiver(waiver) => ("why the finding is accepted", &waiver.reason),
            _ => continue,
        };
        if let Some(problem) = wanting(reason.as_deref(), own.into_iter().flatten()) {
            reporter.report(index, &["reason"], format!("{what} {problem}"), "say in one sentence why");
        }
    }
}

/// What a reason wants: it is not there, or it says no more than a name does.
fn wanting<'a>(reason: Option<&str>, names: impl IntoIterator<Item = &'a str>) -> Option<&'static str> {
    let reason = reason.unwrap_or("");
    if letters_and_digits(reason).next().is_none() {
        return Some("is not said");
    }
    let says = |text: &str| letters_and_digits(text).eq(letters_and_digits(reason));
    if ["todo", "tbd", "tba", "fixme", "wip"].into_iter().any(says) {
        return Some("is put off");
    }
    names.into_iter().any(says).then_some("only repeats a name")
}

/// What a text says, however it is spaced, pointed and capitalised.
pub(super) fn letters_and_digits(text: &str) -> impl Iterator<Item = char> {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase)
}
