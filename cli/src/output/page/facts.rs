//! What a record says of itself, by kind.

use schema::records::{Body, Outcome};
use serde_json::{Value, json};
use trace::RecordId;

use super::PageView;

/// The keys of a record that a reader wants to see first: each with its name and its text.
pub(super) fn facts(view: &PageView<'_>, index: RecordId) -> Vec<Value> {
    let mut all: Vec<(&str, String)> = Vec::new();
    let mut add = |name: &'static str, text: Option<String>| all.extend(text.map(|text| (name, text)));
    let notes = match &view.study.loaded.record(index).body {
        Body::Goal(own) => {
            add("reason", own.reason.clone());
            let goals = view.study.goals();
            // They are in the order of the records.
            if let Ok(at) = goals.binary_search_by_key(&index, |goal| goal.index) {
                let goal = &goals[at];
                let answer = super::answer::goal(view, goal);
                let text = |key: &str| answer[key].as_str().map(str::to_owned);
                add("chance", text("chance"));
                add("points", text("points"));
                add("needed", text("needed"));
                add("before", text("before"));
            }
            &own.notes
        }
        Body::Event(own) => {
            add("plan", own.plan.as_ref().map(ToString::to_string));
            add("most", own.most.as_ref().map(ToString::to_string));
            add("score", own.score.as_ref().and_then(|score| score.r#use.clone()));
            &own.notes
        }
        Body::System(own) => &own.notes,
        Body::Target(own) => {
            add("estimate", own.estimate.as_ref().map(ToString::to_string));
            add("formula", own.formula.as_ref().map(|formula| formula.text().to_owned()));
            add("total of", own.total.as_ref().map(ToString::to_string));
            add("reserve", own.reserve.as_ref().map(ToString::to_string));
            &own.notes
        }
        Body::Requirement(own) => {
            add("shall", own.shall.clone());
            add("source", own.source.clone());
            &own.notes
        }
        Body::Part(own) => {
            add("count", own.count.map(|count| count.to_string()));
            &own.notes
        }
        Body::Analysis(own) => {
            add("model", own.model.as_ref().map(ToString::to_string));
            add("formula", own.formula.as_ref().map(|formula| formula.text().to_owned()));
            let given = own.given.iter().map(|(name, value)| format!("{name} {}", value.text())).collect::<Vec<_>>();
            add("given", (!given.is_empty()).then(|| given.join("; ")));
            &own.notes
        }
        Body::Decision(own) => &own.notes,
        Body::Result(own) => {
            add("value", own.value.as_ref().map(ToString::to_string));
            let outcome = own.outcome.map(|outcome| match outcome {
                Outcome::Pass => "pass".to_owned(),
                Outcome::Fail => "fail".to_owned(),
            });
            add("outcome", outcome);
            add("place", own.place.map(|place| place.to_string()));
            let reads = own.reads.iter().map(|(name, value)| format!("{name} {value}")).collect::<Vec<_>>();
            add("reads", (!reads.is_empty()).then(|| reads.join("; ")));
            add("date", own.date.map(|date| date.to_string()));
            add("by", own.by.map(|by| by.word().to_owned()));
            &own.notes
        }
        Body::Revision(own) => {
            add("from", own.from.as_ref().map(ToString::to_string));
            add("to", own.to.as_ref().map(ToString::to_string));
            add("date", own.date.map(|date| date.to_string()));
            add("agreed by", own.agreed_by.clone());
            add("reason", own.reason.clone());
            &own.notes
        }
        Body::Waiver(own) => {
            add("check", own.check.as_ref().map(ToString::to_string));
            add("until", own.until.map(|until| until.to_string()));
            add("agreed by", own.agreed_by.clone());
            add("reason", own.reason.clone());
            &own.notes
        }
    };
    add("notes", notes.clone());
    let is_code = |name: &str| matches!(name, "formula" | "given" | "score" | "model" | "reads" | "check");
    let one = |(name, text): (&str, String)| {
        let (code, text) = if is_code(name) { (Some(text), None) } else { (None, Some(text)) };
        json!({"name": name, "text": text, "code": code})
    };
    all.into_iter().map(one).collect()
}
