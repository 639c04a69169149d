//! The text of `compare`.

use std::collections::HashMap;

use schema::number::difference;
use trace::RecordId;
use trace::values::{GoalPoints, Outcome, Significance, Spread, State};

use super::{Comparison, View, When, amounts};
use crate::output::flow::flow;
use crate::output::numbers::quantity;
use crate::output::points::{points, points_of};
use crate::output::table::{Paint, Table, faint, plain, strong};
use crate::output::values::status;
use crate::output::worth::{CAUTION, results_ignored};
use crate::screen::{Ink, clean};

/// The width of the labels.
const LABELS: usize = 7;

/// The text for the terminal.
pub(crate) fn terminal(comparison: &Comparison<'_>, ink: Ink) -> String {
    let record = comparison.now.study.loaded.record(comparison.now.index);
    let title = clean(record.body.common().title().unwrap_or(""));
    let mut out = String::new();
    flow(&mut out, ink, ["", "  "], &[strong(record.id.as_str()), plain(title)]);
    let then = comparison.then.as_ref().and_then(|then| then.as_ref().ok());
    add_choice(comparison, &mut out, ink);
    match (comparison.when, then) {
        (When::Both, Some(then)) => {
            out.push('\n');
            out.push_str(&both(comparison.now, then, ink));
            add_verdict(then, "then", &mut out, ink);
            add_verdict(comparison.now, "now", &mut out, ink);
            if !then.has_answer() {
                let text = format!("what is broken then: `tierod compare {} --when chosen`", record.id);
                ink.block(&mut out, "", LABELS, &text);
            }
            out.push('\n');
            add_details(comparison.now, "now", &mut out, ink);
        }
        (When::Chosen, Some(then)) => {
            add_verdict(then, "then", &mut out, ink);
            out.push('\n');
            add_details(then, "then", &mut out, ink);
        }
        _ => {
            add_verdict(comparison.now, "now", &mut out, ink);
            out.push('\n');
            add_details(comparison.now, "now", &mut out, ink);
        }
    }
    out
}

/// Adds when the choice was made, and what is younger.
fn add_choice(comparison: &Comparison<'_>, out: &mut String, ink: Ink) {
    if let Some(at) = &comparison.chosen_at {
        let decision = comparison.now.study.loaded.decision(comparison.now.index);
        let chosen = decision.and_then(|decision| decision.chosen.as_ref()).map_or("", schema::Id::as_str);
        ink.block(out, "chosen", LABELS, &format!("{chosen} on {} ({})", at.commit.day, at.commit.short()));
        if !at.later.is_empty() {
            let later: Vec<String> = at.later.iter().map(|(id, day, _)| format!("{id} ({day})")).collect();
            let what =
                if later.len() == 1 { "an analysis that informs it was" } else { "analyses that inform it were" };
            ink.block(out, "later", LABELS, &format!("{what} added after the choice: {}", later.join(", ")));
        }
    }
    if let Some(Err(why)) = &comparison.then {
        ink.block(out, "", 0, &format!("only as it is now, not as when it was chosen: {why}"));
    }
}

/// Both states, one alternative per row.
fn both(now: &View<'_>, then: &View<'_>, ink: Ink) -> String {
    let mut table =
        Table::new(&[("points", false), ("then", true), ("vs then", true), ("now", true), ("vs now", true)]);
    let total = |view: &View<'_>| plain(whole(&view.goal).map(points_of).unwrap_or_default());
    table.row(vec![plain("the records"), total(then), plain(""), total(now), plain("")]);
    let [by_name_then, by_name_now] = [by_name(then), by_name(now)];
    let only_then = then.compared.outcomes.iter().filter(|own| !by_name_now.contains_key(own.name.as_str()));
    for own in now.compared.outcomes.iter().chain(only_then) {
        let name = if own.chosen { format!("{} (chosen)", own.name) } else { own.name.clone() };
        let mut row = vec![strong(name)];
        for outcomes in [&by_name_then, &by_name_now] {
            match outcomes.get(own.name.as_str()) {
                Some(outcome) => row.extend([points_cell(outcome), difference_cell(outcome)]),
                None => row.extend([faint("not in it"), plain("")]),
            }
        }
        table.row(row);
    }
    table.text(ink)
}

/// The alternatives of a state by their names.
fn by_name<'v>(view: &'v View<'_>) -> HashMap<&'v str, &'v Outcome> {
    view.compared.outcomes.iter().map(|own| (own.name.as_str(), own)).collect()
}

/// The points of a goal if every event has a value.
fn whole(goal: &GoalPoints) -> Option<&Spread> {
    goal.spread.as_ref().filter(|_| goal.predicted.is_some())
}

fn points_cell(outcome: &Outcome) -> (String, Paint) {
    match &outcome.spread {
        Some(spread) => strong(points_of(spread)),
        None => plain("no points"),
    }
}

/// The difference as text. Without the uncertainty of what the alternative sets, that of the rest would mislead.
fn difference_cell(outcome: &Outcome) -> (String, Paint) {
    match (outcome.difference, outcome.significance) {
        _ if outcome.sets_nothing => faint("sets no value"),
        (Some((by, _)), _) if by.abs() < 1e-9 => faint("unchanged"),
        (Some((by, within)), Some(Significance::Larger)) => strong(difference(by, within, 1)),
        (Some((by, within)), Some(Significance::Within)) => {
            faint(format!("{}, within uncertainty", difference(by, within, 1)))
        }
        (Some((by, _)), _) => plain(difference(by, 0.0, 1)),
        (None, _) => plain(""),
    }
}

/// Adds which alternative has the most points, how sure that is, and what the points cannot show.
fn add_verdict(view: &View<'_>, label: &str, out: &mut String, ink: Ink) {
    let (loaded, compared) = (&view.study.loaded, &view.compared);
    let mut sentences: Vec<String> = Vec::new();
    let names = compared.lead.as_ref().and_then(|lead| {
        Some((lead, compared.outcomes.get(lead.best)?.name.as_str(), compared.outcomes.get(lead.next)?.name.as_str()))
    });
    if let Some((lead, best, next)) = names {
        let (by, within) = lead.difference;
        sentences.push(match lead.significance {
            _ if by < 1e-9 => format!("{best} and {next} score the same"),
            Significance::Larger => format!("{best} scores most, {} vs {next}", difference(by, within, 1)),
            Significance::Within => {
                format!("{best} scores most, {} vs {next}: within uncertainty", difference(by, within, 1))
            }
            Significance::Unknown => {
                format!(
                    "{best} scores most, {} vs {next}; not significant: what is set has no uncertainty",
                    difference(by, 0.0, 1)
                )
            }
        });
    }
    let criteria = |which: fn(&trace::values::Criterion) -> bool| -> String {
        let own = compared.criteria.iter().filter(|criterion| which(criterion));
        own.map(|criterion| loaded.record(criterion.index).id.as_str()).collect::<Vec<_>>().join(", ")
    };
    let unseen = criteria(|criterion| !criterion.moves_points);
    if !unseen.is_empty() {
        sentences.push(format!(
            "the points do not include {unseen}: no formula, model or total leads from there to an event, so compare \
             with the limit"
        ));
    }
    let fixed = criteria(|criterion| criterion.moves_points && !criterion.is_changed);
    // What an alternative without points would have changed is not known.
    let all_have_points = compared.outcomes.iter().all(|outcome| outcome.points.is_some());
    if !fixed.is_empty() && all_have_points {
        sentences.push(format!("no alternative changes {fixed}"));
    }
    let mut label = label;
    for sentence in sentences {
        ink.block(out, label, LABELS, &sentence);
        label = "";
    }
}

/// Adds the table of all values of one state, and what follows from it.
fn add_details(view: &View<'_>, label: &str, out: &mut String, ink: Ink) {
    let (loaded, outcomes) = (&view.study.loaded, &view.compared.outcomes);
    if outcomes.is_empty() {
        out.push_str("no alternatives to compare\n");
        return;
    }
    out.push_str(&details(view, label, ink));
    for outcome in outcomes {
        for problem in &outcome.problems {
            let field = problem.route.join(".");
            ink.block(out, "", 0, &format!("{} has no points: {field}: {}", outcome.name, problem.message));
        }
        let ids =
            |all: &[RecordId]| all.iter().map(|i| loaded.record(*i).id.to_string()).collect::<Vec<_>>().join(", ");
        for (what, all) in [("newly at risk", &outcome.newly_at_risk), ("newly on target", &outcome.newly_on_target)] {
            if !all.is_empty() {
                ink.block(out, "", 0, &format!("{} {what}: {}", outcome.name, ids(all)));
            }
        }
    }
    let unknown = outcomes.iter().filter(|outcome| outcome.significance == Some(Significance::Unknown));
    let unknown: Vec<String> =
        unknown.map(|outcome| format!("{} ({})", outcome.name, outcome.without_uncertainty.join(", "))).collect();
    if !unknown.is_empty() {
        let text = format!("not significant, because values have no uncertainty (`± U`): {}", unknown.join("; "));
        ink.block(out, "", 0, &text);
    }
    add_sources(view, out, ink);
    if let Some(text) = results_ignored(view.study, &view.goal) {
        ink.block(out, "", 0, &text);
    }
    out.push('\n');
    ink.block(out, "caution", LABELS, CAUTION);
}

/// Adds the basis and the evidence of what the alternatives set.
fn add_sources(view: &View<'_>, out: &mut String, ink: Ink) {
    let Some(decision) = view.study.loaded.decision(view.index) else { return };
    for (name, alternative) in decision.alternatives.iter() {
        let mut sources: Vec<String> = Vec::new();
        for (to, setting) in alternative.sets.iter() {
            let basis = alternative.basis_of(setting).map(|basis| format!("{to} is {basis}"));
            let files: Vec<&str> = setting.files().collect();
            let evidence = (!files.is_empty()).then(|| format!("evidence {}", files.join(", ")));
            match (basis, evidence) {
                (None, None) => {}
                (Some(basis), None) => sources.push(basis),
                (Some(basis), Some(evidence)) => sources.push(format!("{basis} ({evidence})")),
                (None, Some(evidence)) => sources.push(format!("{to} ({evidence})")),
            }
        }
        if !alternative.evidence.is_empty() {
            sources.push(format!("evidence {}", alternative.evidence.join(", ")));
        }
        if !sources.is_empty() {
            ink.block(out, "", 0, &format!("{name}: {}", sources.join(", ")));
        }
    }
}

/// The table of points, events, amounts and criteria.
fn details(view: &View<'_>, label: &str, ink: Ink) -> String {
    let (values, loaded, outcomes, goal) = (view.values, &view.study.loaded, &view.compared.outcomes, &view.goal);
    let names: Vec<String> =
        outcomes.iter().map(|o| if o.chosen { format!("{} (chosen)", o.name) } else { o.name.clone() }).collect();
    let head = if values.results() > 0 { format!("{label} (estimates)") } else { label.to_owned() };
    let mut heads: Vec<(&str, bool)> = vec![("", false), (&head, true)];
    heads.extend(names.iter().map(|name| (name.as_str(), true)));
    let mut table = Table::new(&heads);
    let line = |head: (String, Paint), now: (String, Paint), cell: &dyn Fn(&Outcome) -> (String, Paint)| {
        let mut row = vec![head, now];
        row.extend(outcomes.iter().map(cell));
        row
    };
    // A value with an alternative; none if the alternative cannot be set.
    let known = |state: &State, node: trace::NodeId| Some(state.values[node]).filter(|value| !value.is_nan());
    let total = whole(goal).map(points_of).unwrap_or_default();
    table.row(line(strong("points"), strong(total), &points_cell));
    table.row(line(plain(format!("vs {label}")), plain(""), &difference_cell));
    for event in &goal.events {
        let before = event.predicted;
        let now = before.map(|p| points(p, 0.0)).unwrap_or_default();
        let id = loaded.record(event.index).id.as_str();
        let own = |o: &Outcome| Some(o.points_of_event(event.node)).filter(|points| !points.is_nan());
        let same = outcomes.iter().all(|o| !o.problems.is_empty() || own(o) == before);
        if !same {
            table.row(line(faint(format!("  {id}")), faint(now), &|o| {
                faint(own(o).map(|value| points(value, 0.0)).unwrap_or_default())
            }));
        }
    }
    for node in amounts(values) {
        let shown =
            |value: Option<f64>| plain(value.map(|value| quantity(value, 0.0, values.unit(node))).unwrap_or_default());
        let now = shown(values.value(node));
        table.row(line(plain(values.name(node)), now, &|o| shown(known(&o.state, node))));
    }
    let criteria: Vec<&str> = view.compared.criteria.iter().map(|one| loaded.record(one.index).id.as_str()).collect();
    for (at, id) in criteria.iter().enumerate() {
        let now = values.named(id).and_then(|node| Some(quantity(values.value(node)?, 0.0, values.unit(node))));
        table.row(line(plain(*id), plain(now.unwrap_or_default()), &|o| {
            let Some(criterion) = o.criteria.get(at) else { return plain("") };
            // A value that the alternative does not change says nothing about it.
            if criterion.value == values.value(criterion.node) {
                return faint(if criterion.value.is_some() { "unchanged" } else { "no value" });
            }
            let (word, paint) = status(criterion.status);
            let shown =
                criterion.value.map(|value| quantity(value, 0.0, values.unit(criterion.node))).unwrap_or_default();
            let holds = paint == Paint::Plain;
            (if holds { shown } else { format!("{shown}, {word}") }, paint)
        }));
    }
    table.text(ink)
}
