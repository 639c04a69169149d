//! The audit as one HTML file that loads nothing: charts and a small script are inline.

use schema::Kind;
use schema::records::Body;
use serde_json::{Map, Value, json};
use trace::Error;
use trace::graph::Link;

use super::{AuditView, context};
use crate::output::template::{self, Escape};

/// The page.
pub(crate) fn html(view: &AuditView<'_>) -> Result<String, Error> {
    let mut context = context(view);
    // One point is no curve: the page has a sentence instead.
    let has_curves = view.season.is_some_and(|season| season.complete().len() > 1);
    let amounts: Vec<Value> = view
        .study
        .values()
        .amounts()
        .iter()
        .filter(|_| has_curves)
        .filter_map(|name| Some(json!({"name": &**name, "picture": view.picture_of_amount(name)?})))
        .collect();
    let goals: Vec<Value> = view
        .audit
        .goals
        .iter()
        .map(|goal| {
            let over_time = if has_curves { view.picture_of_prediction(goal) } else { None };
            json!({"points": view.picture_of_points(goal), "over_time": over_time})
        })
        .collect();
    let targets: Vec<Option<String>> = view.audit.targets.iter().map(|target| view.picture_of_target(target)).collect();
    context["pictures"] = json!({"amounts": amounts, "goals": goals, "targets": targets});
    context["chain"] = json!(embedded(&chain(view)));
    let shipped = include_str!("../../../../templates/audit.html");
    template::render("audit.html", shipped, view.template, Escape::Html, &context)
}

/// The data as JSON for a script element: `<` and similar characters are escaped, so that no text can end the element.
fn embedded(value: &Value) -> String {
    let text = value.to_string();
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '<' => out.push_str("\\u003c"),
            '>' => out.push_str("\\u003e"),
            '&' => out.push_str("\\u0026"),
            '\u{2028}' => out.push_str("\\u2028"),
            '\u{2029}' => out.push_str("\\u2029"),
            c => out.push(c),
        }
    }
    out
}

/// Every record with its links and reasons, for the chain from any part to the goal.
fn chain(view: &AuditView<'_>) -> Value {
    let graph = &view.study.graph;
    let mut all = Map::new();
    for (index, record) in graph.loaded.records() {
        if matches!(record.kind(), Kind::Revision | Kind::Waiver) {
            continue;
        }
        let up: Vec<Value> = graph
            .outgoing(index)
            .into_iter()
            .filter(|(_, edge)| edge.link != Link::In && edge.link != Link::Of)
            .map(|(to, edge)| json!([view.id(to), edge.link.word(), edge.reason.map(crate::screen::clean)]))
            .collect();
        let value = view
            .study
            .values()
            .record_node(index)
            .and_then(|node| Some(view.study.values().unit(node).show(view.study.values().value(node)?, 0.0)));
        let amounts = match &record.body {
            Body::Part(part) => {
                let all = part.amounts.iter().map(|(name, amount)| format!("{name} {}", amount.value));
                Some(all.collect::<Vec<_>>().join(", "))
            }
            Body::Goal(_)
            | Body::Event(_)
            | Body::System(_)
            | Body::Target(_)
            | Body::Requirement(_)
            | Body::Analysis(_)
            | Body::Decision(_)
            | Body::Result(_)
            | Body::Revision(_)
            | Body::Waiver(_) => None,
        };
        all.insert(
            record.id.to_string(),
            json!({
                "kind": record.kind().singular(),
                "title": crate::screen::clean(record.name()),
                "lead": graph.lead(index).map(crate::screen::clean),
                "value": value.or(amounts),
                "up": up,
            }),
        );
    }
    Value::Object(all)
}
