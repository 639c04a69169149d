//! Budgets: what is allowed, what is used; and what money buys.

use trace::RecordId;
use trace::values::{Budget, Outcome};

use super::chain::capital;
use super::text::{self, list, phrase, points, quantity, sentence};
use super::{DeckView, Slide, Visual, drawn};

/// A limit, its shares and what they use.
pub(super) fn budget(view: &DeckView<'_>, index: RecordId) -> Result<Slide, String> {
    let study = view.study;
    let budget = study.budgets().iter().find(|own| own.index == index);
    let budget = budget.ok_or("it is not a budget: it has no `total` and no shares")?;
    let unit = study.values().unit(budget.node);
    let show = |si: f64| quantity(si, 0.0, unit);
    let value = budget.value.ok_or("the budget has no value yet")?;
    // The budget of the whole car in mass is `Mass`.
    let of_car = study.loaded.record(index).about().is_some_and(|of| of.as_str() == schema::words::CAR);
    let amount = budget.amount.as_deref().filter(|_| of_car).map(|amount| capital(&amount.replace('-', " ")));
    let title = amount.unwrap_or_else(|| view.brief(index));
    let limit = show(budget.limit);
    let over: Vec<String> =
        budget.shares.iter().filter(|share| share.over().is_some()).map(|share| view.title(share.index)).collect();
    let end = match (budget.over(), over.len()) {
        (Some(_), _) => format!(": {} of {limit}, too much", show(value)),
        (None, 0) => format!(": {} of {limit}", show(value)),
        (None, 1) => format!(": {} of {limit}, one share over", show(value)),
        (None, more) => format!(": {} of {limit}, {more} shares over", show(value)),
    };
    let mut notes: Vec<String> = Vec::new();
    notes.extend(study.loaded.serves(index).value.iter().find_map(|(_, reason)| reason.0.as_deref()).map(sentence));
    let mut text = format!("{} of {limit} is used", show(value));
    if let Some(growth) = budget.growth.filter(|growth| *growth > 0.0) {
        let growth = text::typeset(&unit.after(&schema::number::significant(growth / unit.factor(), 2)));
        text = format!("{text}, with {growth} as an allowance for what parts usually gain");
    }
    if budget.reserve > 0.0 {
        text = format!("{text}; {} is kept in reserve", show(budget.reserve));
    }
    notes.push(format!("{text}."));
    match (over.is_empty(), budget.shares.first()) {
        (false, _) => notes.push(format!("Over its share: {}.", list(&over))),
        (true, Some(share)) => {
            let room = share.room().map(|room| format!(", with {} left", show(room))).unwrap_or_default();
            notes.push(format!("The tightest of {} shares is {}{room}.", budget.shares.len(), view.title(share.index)));
        }
        (true, None) => {}
    }
    let picture = drawn::budget(study, view.id(index), budget);
    Ok(Slide::new(phrase("", &title, &end), Visual::Drawn(picture), notes))
}

/// The budget of the car in money.
fn in_money<'t>(view: &DeckView<'t>) -> Option<&'t Budget> {
    let values = view.study.values();
    let mut budgets = view.study.budgets().iter().filter(|own| own.share_of.is_none());
    budgets.find(|own| values.unit(own.node).is_currency())
}

/// What money buys: what the car costs, what more money would change, and which alternatives it did not buy.
pub(super) fn money(view: &DeckView<'_>) -> Result<Slide, String> {
    let budget = in_money(view).ok_or("the car has no budget in money")?;
    let study = view.study;
    let (values, paper) = (study.values(), study.values_on_paper());
    let unit = values.unit(budget.node);
    let show = |si: f64| quantity(si, 0.0, unit);
    let cost = budget.value.ok_or("the cost of the car is not known yet")?;
    let scores = view.scores();
    let (verb, goes, sum) = match scores.map(|own| (own.scored(), own.predicted)) {
        Some((Some(scored), _)) => ("built", "went", Some(format!("It scored {}.", points(scored)))),
        Some((None, Some(predicted))) => ("build", "goes", Some(format!("We expect {} with it.", points(predicted)))),
        _ => ("build", "goes", None),
    };
    let largest = drawn::by_value(budget).first().copied();
    // The phrase is about the picture: where the money goes.
    let own = match largest {
        Some((share, _)) => {
            let before = format!("{} {verb} the car; the most {goes} into ", show(cost));
            phrase(&before, &drawn::title_of(study, share), "")
        }
        None => format!("{} {verb} the car", show(cost)),
    };
    let mut notes = vec![format!("The car costs {}, and may cost {}.", show(cost), show(budget.limit))];
    notes.extend(sum);
    if let Some((share, value)) = largest {
        let percent = schema::number::percent(value / cost, 0);
        let title = drawn::title_of(study, share);
        notes.push(format!("The largest share is {title} with {}, {percent} of it.", show(value)));
    }
    // What the price itself is worth in points.
    let node = paper.record_node(budget.index);
    let goal = paper.record_node(view.goal.index);
    if let Some((node, goal)) = node.zip(goal)
        && let Some(worth) = paper.worth_of_value(node, &paper.worth_of_all(goal)).filter(|own| own.per_si != 0.0)
    {
        let step = 1000.0;
        let by = worth.per_si * unit.factor() * step;
        let what = if by < 0.0 { "costs" } else { "adds" };
        notes.push(format!(
            "In the contest the price counts, too: {} more {what} {} points.",
            show(unit.to_si(step)),
            text::tenths(by.abs())
        ));
    }
    notes.extend(not_bought(view, budget, &show));
    Ok(Slide::new(own, Visual::Drawn(drawn::spent(study, "money", budget)), notes))
}

/// The alternative that would have cost the most more, and what it would have changed.
fn not_bought(view: &DeckView<'_>, budget: &Budget, show: &dyn Fn(f64) -> String) -> Option<String> {
    let paper = view.study.values_on_paper();
    let node = paper.record_node(budget.index)?;
    let cost = |outcome: &Outcome| {
        // An alternative with a problem can be without values.
        let value = outcome.problems.is_empty().then(|| outcome.state.values[node])?;
        (!value.is_nan()).then_some(value)
    };
    let mut best: Option<(f64, String)> = None;
    for choice in view.choices {
        let Some((chosen, own)) = choice.chosen().and_then(|own| Some((own, cost(own)?))) else { continue };
        for outcome in choice.compared.outcomes.iter().filter(|outcome| !outcome.chosen) {
            let Some(more) = cost(outcome).map(|cost| cost - own).filter(|more| *more > 0.0) else { continue };
            let by = outcome.spread.as_ref().zip(chosen.spread.as_ref()).map(|(a, b)| a.mean - b.mean);
            let what = match by {
                Some(by) if by >= 0.05 => format!("{} points more", text::tenths(by)),
                Some(by) if by <= -0.05 => format!("{} points less", text::tenths(-by)),
                Some(_) => "the same points".to_owned(),
                None => continue,
            };
            if best.as_ref().is_none_or(|(known, _)| more > *known) {
                let title = text::brief(outcome.title.as_deref().unwrap_or(&outcome.name));
                let text =
                    format!("{}: {} would have cost {} more, for {what}.", view.title(choice.index), title, show(more));
                best = Some((more, text));
            }
        }
    }
    best.map(|(_, text)| text)
}
