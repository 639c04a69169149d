//! `no-reason`: a link or a choice without a reason of its own.

use schema::records::Body;

use super::{About, Check, Error, Group, Reporter, Study, Warning};

pub(super) static CHECK: Check = Check {
    name: "no-reason",
    group: Group::Structure,
    about: About::Records,
    levels: [Warning, Warning, Warning, Error, Error],
    reports: "A reason that is missing, is a placeholder (`todo`), or only repeats a title or id.",
    why: "Newcomers, judges and next season's team need the reason; a link without it explains nothing.",
    fix: "Give the reason in one sentence, if possible with a number: what would be lost without it?",
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

const HELP: &str = "give the reason in one sentence";

fn run(study: &Study, reporter: &mut Reporter) {
    let graph = &study.graph;
    for (index, record) in graph.loaded.records() {
        let own = [Some(record.id.as_str()), record.body.common().title()];
        for (parent, reason) in record.body.common().serves().iter() {
            let title = graph.loaded.find(parent.as_str()).and_then(|i| graph.loaded.record(i).body.common().title());
            let names = own.into_iter().flatten().chain([parent.as_str()]).chain(title);
            if let Some(problem) = problem(reason.0.as_deref(), names) {
                let message = format!("the reason for `serves: {parent}` {problem}");
                reporter.report(index, &["serves", parent.as_str()], message, HELP);
            }
        }
        let (subject, reason) = match &record.body {
            Body::Goal(goal) => ("the goal", &goal.reason),
            Body::Decision(decision) if decision.chosen.is_some() => ("the chosen alternative", &decision.reason),
            Body::Revision(revision) => ("the revision", &revision.reason),
            Body::Waiver(waiver) => ("the waiver", &waiver.reason),
            Body::Event(_)
            | Body::System(_)
            | Body::Target(_)
            | Body::Requirement(_)
            | Body::Part(_)
            | Body::Analysis(_)
            | Body::Decision(_)
            | Body::Result(_) => continue,
        };
        if let Some(problem) = problem(reason.as_deref(), own.into_iter().flatten()) {
            reporter.report(index, &["reason"], format!("the reason for {subject} {problem}"), HELP);
        }
    }
}

/// What is wrong with a reason: it is missing, is a placeholder, or only repeats one of these names.
fn problem<'a>(reason: Option<&str>, names: impl IntoIterator<Item = &'a str>) -> Option<&'static str> {
    let reason = reason.unwrap_or("");
    if letters_and_digits(reason).next().is_none() {
        return Some("is missing");
    }
    let is_same = |text: &str| letters_and_digits(text).eq(letters_and_digits(reason));
    if ["todo", "tbd", "tba", "fixme", "wip"].into_iter().any(is_same) {
        return Some("is a placeholder (`todo`)");
    }
    names.into_iter().any(is_same).then_some("only repeats a title or id")
}

/// The letters and digits of a text in lower case: they are equal if texts differ only in spaces, punctuation and
/// capitals.
pub(super) fn letters_and_digits(text: &str) -> impl Iterator<Item = char> {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase)
}
