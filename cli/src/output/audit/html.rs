//! The audit as one HTML file that loads nothing: charts and a small script are inline.

use schema::records::Body;
use serde_json::{Map, Value, json};
use trace::Error;
use trace::graph::Link;

use super::{AuditView, context};
use crate::output::compare::View;
use crate::output::page::script::hash;
use crate::output::pictures::typeset::typeset_all;
use crate::output::pictures::{
    Numbers, Picture, STYLE, estimates, from_study, frontier, loops, over_time, targets, verification, waterfall,
};
use crate::output::points::needs;
use crate::output::template::{self, Escape};

/// The script of the page, the only one that its policy allows.
const SCRIPT: &str =
    concat!(include_str!("../../../../templates/sort.js"), include_str!("../../../../templates/audit.js"));

/// What is typed or looked for, which no typesetting may change.
const AS_TYPED: &[&str] = &[
    "id", "title", "name", "lead", "commit", "made", "made_by", "evidence", "by", "of", "target", "check", "method",
    "kind", "source",
];

/// The page.
pub(crate) fn html(view: &AuditView<'_>) -> Result<String, Error> {
    let mut context = context(view);
    typeset_all(&mut context, AS_TYPED);
    context["pictures"] = pictures(view);
    context["chain"] = json!(embedded(&chain(view)));
    context["script"] = json!(SCRIPT);
    context["script_hash"] = json!(format!("sha256-{}", hash(SCRIPT)));
    let shipped = include_str!("../../../../templates/audit.html");
    template::render("audit.html", shipped, view.template, Escape::Html, &context)
}

/// The pictures, each as HTML with its caption; of a target one for a cell.
fn pictures(view: &AuditView<'_>) -> Value {
    let (study, audit) = (view.study, view.audit);
    // One point is no curve: the page has a sentence instead.
    let season = view.season.filter(|season| season.complete(study).len() > 1);
    let figure = |picture: Picture| picture.figure(Numbers::Folded, false);
    let names = study.values().amounts().iter();
    let amounts = names.filter_map(|name| {
        let input = from_study::amount_over_time(study, audit, season?, name)?;
        Some(json!({"name": &**name, "picture": figure(over_time::picture(&format!("amount-{name}"), &input))}))
    });
    let goals = audit.goals.iter().enumerate().map(|(number, goal)| {
        let id = view.id(goal.index);
        let has_points = number < from_study::MOST_GOALS && !goal.events.is_empty();
        let points = has_points.then(|| {
            let picture = waterfall::picture(&format!("points-{id}"), &from_study::waterfall(study, goal, needs));
            picture.figure(Numbers::Elsewhere, false)
        });
        // Without a value of each event, the points of a commit are those of some events.
        let is_drawn = goal.predicted.is_some() && from_study::has_curve(audit, number);
        let over_time = season.filter(|_| is_drawn).and_then(|season| {
            let input = from_study::points_over_time(study, audit, season, goal, needs);
            let picture = over_time::picture(&format!("season-{id}"), &input);
            // The section has a sentence about curves that are not known yet.
            (!picture.is_empty()).then(|| figure(picture))
        });
        json!({"points": points, "over_time": over_time})
    });
    let decisions = view.decisions.iter().map(|own| {
        // Fewer than two alternatives with points are not drawn, and comparing them again would be slow.
        let with_points = own.now.iter().flat_map(|now| &now.alternatives).filter(|one| one.points.is_some()).count();
        if with_points < 2 {
            return None;
        }
        let compared = View::new(study, own.index, None)?;
        let key = format!("frontier-{}", view.id(own.index));
        let picture = frontier::picture(&key, &from_study::frontier(study, &compared)?);
        // One that cannot be drawn needs no sentence: the tables say what is not known.
        (!picture.is_empty()).then(|| figure(picture))
    });
    let targets = audit.targets.iter().map(|target| {
        let row = from_study::target(study, target, from_study::Words::Verdict);
        targets::small(&format!("target-{}", view.id(target.status.index)), &row)
    });
    json!({
        "amounts": amounts.collect::<Vec<_>>(),
        "goals": goals.collect::<Vec<_>>(),
        "decisions": decisions.collect::<Vec<_>>(),
        "targets": targets.collect::<Vec<_>>(),
        "loops": loops::picture("loops", &from_study::loops(study, audit, view.season)).figure(Numbers::Elsewhere, false),
        "estimates": estimates::picture("estimates", &from_study::estimates(study, audit)).figure(Numbers::Elsewhere, false),
        "verification": figure(verification::picture("verification", &from_study::verification(study))),
        "style": STYLE,
    })
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
        let is_result = matches!(record.body, Body::Result(_));
        if record.kind().roles().is_note && !is_result {
            continue;
        }
        let up: Vec<Value> = graph
            .outgoing(index)
            .into_iter()
            .filter(|(_, edge)| edge.link != Link::In && (is_result || edge.link != Link::Of))
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
