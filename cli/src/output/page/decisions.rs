//! The decisions: what was chosen, what was traded for it, and the points of each alternative.

use schema::number::{difference, is_shown_as_zero, signed};
use serde_json::{Value, json};
use trace::history::choice::Choice;
use trace::talk::decisions::Traded;
use trace::values::{Key, Outcome, Significance};
use trace::{Finding, RecordId};

use super::records::Places;
use super::{PageView, Worths};
use crate::output::compare::View;
use crate::output::decided::without_numbers;
use crate::output::numbers::quantity;
use crate::output::pictures::from_study::value_name;
use crate::output::points::points_of;

/// The decisions, those without a choice first, each with what the checks say of it, such as a value that has changed since.
pub(super) fn section(view: &PageView<'_>, worths: Option<&Worths<'_>>, places: &Places<'_, '_>) -> Vec<Value> {
    let mut all: Vec<RecordId> = view.study.loaded.decisions().map(|(index, ..)| index).collect();
    let is_chosen = |index: &RecordId| view.study.loaded.decision(*index).is_some_and(|own| own.chosen.is_some());
    all.sort_by_key(|index| (is_chosen(index), *index));
    let with_notes = |index: RecordId| {
        let mut own = places.decided(index).unwrap_or_else(|| decision(view, index, worths).0);
        own["notes"] = json!(places.open(index).map(|finding| note(view, index, finding)).collect::<Vec<_>>());
        own
    };
    all.into_iter().map(with_notes).collect()
}

/// What a check says of a decision; of a value that it was chosen with, by titles and with what is calculated with it.
fn note(view: &PageView<'_>, index: RecordId, finding: &Finding) -> String {
    let drift = trace::audit::drift(view.study, index, finding);
    let words = drift.and_then(|drift| {
        let [set, now] = drift.values?;
        let alternative = view.study.loaded.decision(index)?.alternatives.get(drift.alternative)?;
        let title = alternative.title.as_deref().unwrap_or(drift.alternative);
        let values = view.study.values();
        let value = values.named(drift.to).map_or_else(|| drift.to.to_owned(), |node| value_name(values, node).title);
        Some(format!("points of {title} are calculated with {value} at {set}; it is now {now}"))
    });
    words.unwrap_or_else(|| finding.message.clone())
}

/// A decision, and the picture of what its alternatives trade, which is only in its own place.
pub(super) fn place(view: &PageView<'_>, index: RecordId, worths: Option<&Worths<'_>>) -> (Value, Option<String>) {
    let (own, compared) = decision(view, index, worths);
    (own, compared.and_then(|compared| super::drawn::frontier(view, &compared)))
}

/// A decision with its alternatives.
fn decision<'t>(view: &PageView<'t>, index: RecordId, worths: Option<&Worths<'_>>) -> (Value, Option<View<'t>>) {
    let study = view.study;
    let Some(decision) = study.loaded.decision(index) else { return (Value::Null, None) };
    let compared = worths.and_then(|_| View::new(study, index, None));
    let outcomes = compared.as_ref().map(|own| own.compared.outcomes.as_slice()).unwrap_or_default();
    let name = |name: &str| {
        let title = decision.alternatives.get(name).and_then(|own| own.title.clone());
        title.unwrap_or_else(|| name.to_owned())
    };
    let chosen = decision.chosen.as_ref().map(|chosen| name(chosen.as_str()));
    let alternatives: Vec<Value> = outcomes
        .iter()
        .map(|outcome| {
            let criteria = compared.as_ref().map(|own| criteria(own, outcome)).unwrap_or_default();
            json!({
                "title": name(&outcome.name),
                "chosen": outcome.chosen,
                "points": outcome.spread.as_ref().map(points_of),
                "difference": difference_text(outcome),
                "criteria": criteria,
                "at_risk": outcome.newly_at_risk.iter().map(|own| view.link(*own)).collect::<Vec<_>>(),
                "problem": outcome.problems.first().map(|problem| &problem.message),
            })
        })
        .collect();
    let choice = study.past().available().and_then(|history| Choice::of(study, history, index));
    let informing = study.graph.informing(index).len();
    let ranked = outcomes.iter().filter(|own| !own.sets_nothing && own.spread.is_some()).count();
    let later = choice.as_ref().map(|choice| choice.later_analyses(study));
    let is_after = later.as_ref().map(Vec::len);
    let later: Vec<Value> = later
        .into_iter()
        .flatten()
        .map(|own| json!({"analysis": view.link(own.analysis), "day": own.commit.day.to_string()}))
        .collect();
    let trade = compared.as_ref().and_then(Trade::of);
    let own = json!({
        "decision": view.link(index),
        "chosen": chosen,
        "reason": decision.reason,
        "heads": decision.criteria.iter().map(|id| view.named(id.as_str())).collect::<Vec<_>>(),
        "day": choice.map(|choice| choice.day().to_string()),
        "later": later,
        "instead": trade.as_ref().map(|own| name(&own.other.name)),
        "by": trade.as_ref().and_then(|own| own.points.clone()),
        "amounts": trade.as_ref().map(|own| own.amounts.iter().map(|(_, text)| text).collect::<Vec<_>>()),
        "traded": trade.as_ref().map(|own| own.sentence(&name)),
        "analyses": decision.chosen.as_ref().and_then(|_| before_choice(informing, is_after)),
        "without": decision.chosen.as_ref().and_then(|_| without_numbers(ranked, informing, is_after.unwrap_or(0))),
        "verdict": compared.as_ref().and_then(|own| verdict(own, &name)),
        "alternatives": alternatives,
    });
    (own, compared)
}

/// What was chosen instead of what, and what that gained and cost.
struct Trade<'v> {
    chosen: &'v Outcome,
    other: &'v Outcome,
    /// The points, with what is known of their uncertainty.
    points: Option<String>,
    /// The amounts of the whole car, all of them: the name of each, and by how much it differs, if it does.
    amounts: Vec<(&'v str, Option<String>)>,
}

impl<'v> Trade<'v> {
    fn of(view: &'v View<'_>) -> Option<Self> {
        let outcomes = &view.compared.outcomes;
        let own = Traded::of(&view.compared)?;
        let chosen = outcomes.get(own.chosen)?;
        let others = || outcomes.iter().enumerate().filter(|(at, outcome)| *at != own.chosen && !outcome.sets_nothing);
        let other = own.other.or_else(|| Some(others().next()?.0)).and_then(|at| outcomes.get(at))?;
        let points = own.moved.map(|by| match own.uncertainty {
            _ if is_shown_as_zero(by, 1) => "the same points".to_owned(),
            Some(within) if by.abs() <= within => format!("{} points (within uncertainty)", difference(by, within, 1)),
            Some(within) => format!("{} points", difference(by, within, 1)),
            None => format!("{} points (uncertainty unknown)", signed(by, 1)),
        });
        let values = view.values;
        let difference = |at: usize| {
            let node = values.node(&Key::Group(None, u16::try_from(at).ok()?))?;
            let unit = values.unit(node);
            let by = (chosen.state.values.get(node.index())? - other.state.values.get(node.index())?) / unit.factor();
            let text = unit.after(&signed(by, schema::number::decimals(by, 3, 2)));
            (by.is_finite() && by.abs() > 1e-9).then_some(text)
        };
        let amounts = values.amounts().iter().enumerate().map(|(at, amount)| (&**amount, difference(at)));
        Some(Self { chosen, other, points, amounts: amounts.collect() })
    }

    /// All of it in a line.
    fn sentence(&self, name: &impl Fn(&str) -> String) -> String {
        let amounts = self.amounts.iter();
        let amounts = amounts.filter_map(|(amount, text)| Some(format!("{} of {amount}", text.as_ref()?)));
        let all: Vec<String> = self.points.clone().into_iter().chain(amounts).collect();
        let all = if all.is_empty() { "no difference in points or amounts".to_owned() } else { all.join(", ") };
        format!("{} instead of {}: {all}", name(&self.chosen.name), name(&self.other.name))
    }
}

/// How many of the analyses that inform a decision were there before its choice; `None` if the day of the choice is unknown.
fn before_choice(all: usize, after: Option<usize>) -> Option<String> {
    let after = after?;
    let before = all.saturating_sub(after);
    Some(match (all, before) {
        (0, _) => "no analysis".to_owned(),
        (_, before) if before == all => format!("{before} before"),
        _ => format!("{before} before, {} after", all - before),
    })
}

/// The difference to the car as it is, as text.
fn difference_text(outcome: &Outcome) -> Option<String> {
    Some(match (outcome.difference, outcome.significance) {
        _ if outcome.sets_nothing => "sets no value".to_owned(),
        (Some((by, _)), _) if by.abs() < 1e-9 => "as estimated".to_owned(),
        (Some((by, within)), Some(Significance::Larger)) => difference(by, within, 1),
        (Some((by, within)), Some(Significance::Within)) => {
            format!("{}, within uncertainty", difference(by, within, 1))
        }
        (Some((by, _)), _) => difference(by, 0.0, 1),
        (None, _) => return None,
    })
}

/// The value of each criterion with an alternative.
fn criteria(view: &View<'_>, outcome: &Outcome) -> Vec<Value> {
    let values = view.values;
    outcome
        .criteria
        .iter()
        .map(|own| {
            let text = own.value.map_or_else(|| "no value".to_owned(), |value| quantity(value, 0.0, values.unit(own.node)));
            let as_estimated = own.value.is_some() && own.value == values.value(own.node);
            json!({"text": text, "as_estimated": as_estimated, "status": own.status.word(), "class": super::records::class_of(own.status)})
        })
        .collect()
}

/// Which alternative scores most, and how sure that is.
fn verdict(view: &View<'_>, name: &impl Fn(&str) -> String) -> Option<String> {
    let lead = view.compared.lead.as_ref()?;
    // If the chosen one scores most, what was traded says so.
    if view.compared.outcomes.get(lead.best)?.chosen {
        return None;
    }
    let (best, next) = (view.compared.outcomes.get(lead.best)?, view.compared.outcomes.get(lead.next)?);
    let (best, next) = (name(&best.name), name(&next.name));
    let (by, within) = lead.difference;
    Some(match lead.significance {
        _ if by < 1e-9 => format!("{best} and {next} score the same"),
        Significance::Larger => format!("{best} scores most: {} points vs {next}", difference(by, within, 1)),
        Significance::Within => {
            format!("{best} scores most: {} points vs {next}, within uncertainty", difference(by, within, 1))
        }
        Significance::Unknown => {
            format!("{best} scores most: {} points vs {next}; what is set has no uncertainty", difference(by, 0.0, 1))
        }
    })
}
