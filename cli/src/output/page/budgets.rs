//! The budgets, from the limit through the shares to the parts.

use std::collections::HashMap;
use std::rc::Rc;

use schema::number;
use serde_json::{Value, json};
use trace::values::{Budget, Contribution, Share};
use trace::{NodeId, RecordId};

use super::PageView;
use crate::output::budget::{Scale, about_room, find, split_of_limit};
use crate::output::pictures::from_study::PartsOf;
use crate::screen::count;

/// The parts of a share that are listed; the others, if they are more than one, are added up in one row.
const MOST_PARTS: usize = 12;

/// Every budget with shares, and those that are no share of another one.
pub(super) fn section(view: &PageView<'_>) -> Vec<Value> {
    let budgets = view.study.budgets();
    let is_outermost = |budget: &Budget| budget.share_of.is_none_or(|outer| find(budgets, outer).is_none());
    let outermost = budgets.iter().filter(|budget| is_outermost(budget)).enumerate();
    let mut parts = Parts { view, drawn: PartsOf::new(view.study), made: HashMap::new() };
    outermost.map(|(number, own)| budget(&mut parts, number, own)).collect()
}

/// The parts below the budgets, found once for all shares with the same total.
struct Parts<'v, 't> {
    view: &'v PageView<'t>,
    drawn: PartsOf<'v>,
    made: HashMap<NodeId, Rc<Made>>,
}

/// What a total is made of.
struct Made {
    /// The parts that are listed, the largest ones.
    listed: Vec<Contribution>,
    /// The number of all parts, and what they add up to.
    all: (usize, f64),
    /// The number of parts that are not listed, and what these add up to.
    rest: (usize, f64),
}

fn budget(parts: &mut Parts<'_, '_>, number: usize, budget: &Budget) -> Value {
    let view = parts.view;
    let unit = view.study.values().unit(budget.node);
    let scale = Scale::new(unit, budget.limit);
    let shown = |si: f64| scale.text(si);
    let mut shares: Vec<&Share> = budget.shares.iter().collect();
    // What has the least room comes first.
    shares.sort_by(|a, b| left(a).total_cmp(&left(b)).then(a.index.cmp(&b.index)));
    let without: Vec<Value> = budget
        .without_share
        .iter()
        .map(|(index, si)| json!({"record": view.link(*index), "value": shown(*si)}))
        .collect();
    json!({
        "budget": view.link(budget.index),
        "lead": view.study.graph.lead(budget.index),
        "picture": super::drawn::budget(view, number, budget, &mut parts.drawn),
        "amount": budget.amount,
        "value": budget.value.map(shown),
        "growth": budget.growth.filter(|growth| *growth != 0.0).map(shown),
        "limit": shown(budget.limit),
        "unit": unit.to_string(),
        "room": budget.value.map(|value| scale.text(budget.limit - value)),
        "over": budget.over().is_some(),
        "limit_and_room": split_of_limit(budget, &scale).into_iter().chain(about_room(budget, &scale)).collect::<Vec<_>>(),
        "shares": shares.iter().map(|own| share(parts, budget, own, &scale)).collect::<Vec<_>>(),
        "sum": sum_of_shares(budget).map(shown).filter(|sum| Some(sum) != budget.value.map(shown).as_ref()),
        "without": without,
        "parts": if budget.shares.is_empty() { parts.below(budget.index, &scale) } else { Value::Null },
    })
}

/// What the shares add up to, if each has a value. A total that was measured as a whole is another number.
fn sum_of_shares(budget: &Budget) -> Option<f64> {
    let without: f64 = budget.without_share.iter().map(|(_, si)| si).sum();
    let all: Option<f64> = budget.shares.iter().map(|share| share.value).sum();
    all.filter(|_| !budget.shares.is_empty()).map(|all| all + without)
}

/// The part of its limit that a share has left.
fn left(share: &Share) -> f64 {
    share.value.map_or(f64::INFINITY, |value| 1.0 - value / share.limit)
}

fn share(parts: &mut Parts<'_, '_>, budget: &Budget, share: &Share, scale: &Scale<'_>) -> Value {
    let view = parts.view;
    let shown = |si: f64| scale.number(si);
    // A share can be a budget with shares of its own.
    let inner = find(view.study.budgets(), share.index).filter(|own| own.index != budget.index);
    let inner: Vec<Value> = inner
        .into_iter()
        .flat_map(|own| &own.shares)
        .map(|own| {
            json!({"share": view.link(own.index), "value": own.value.map(shown), "limit": shown(own.limit),
                   "growth": own.growth.filter(|growth| *growth != 0.0).map(shown), "room": own.room().map(shown),
                   "used": used(own), "over": own.over().is_some()})
        })
        .collect();
    json!({
        "share": view.link(share.index),
        "value": share.value.map(shown),
        "growth": share.growth.filter(|growth| *growth != 0.0).map(shown),
        "limit": shown(share.limit),
        "room": share.room().map(shown),
        "used": used(share),
        "over": share.over().is_some(),
        "inner": inner,
        "parts": parts.below(share.index, scale),
    })
}

/// The part of its limit that a share uses.
fn used(share: &Share) -> Option<String> {
    share.value.map(|value| number::percent(value / share.limit, 1))
}

impl Parts<'_, '_> {
    /// The parts under a target with a total, the largest first, and how many they are; null without any.
    fn below(&mut self, target: RecordId, scale: &Scale<'_>) -> Value {
        let view = self.view;
        let Some(made) = self.of(target) else { return Value::Null };
        let percent = |value: f64| number::percent(value / made.all.1, 1);
        let row = |own: &Contribution| json!({"part": view.link(own.part), "value": scale.text(own.value), "of": percent(own.value)});
        let mut rows: Vec<Value> = made.listed.iter().map(row).collect();
        let (rest, value) = made.rest;
        if rest > 0 {
            let title = format!("{rest} smaller parts");
            rows.push(
                json!({"part": {"id": Value::Null, "title": title}, "value": scale.text(value), "of": percent(value)}),
            );
        }
        let how_many = match rest {
            0 => count(made.all.0, "part"),
            _ => format!("the largest {} of {} parts", made.listed.len(), made.all.0),
        };
        if rows.is_empty() { Value::Null } else { json!({"rows": rows, "how_many": how_many}) }
    }

    /// What the total of a target is made of; `None` for a target without a total.
    fn of(&mut self, target: RecordId) -> Option<Rc<Made>> {
        let (loaded, values) = (&self.view.study.loaded, self.view.study.values());
        let amount = loaded.target(target)?.total.as_ref()?;
        let about = loaded.record(target).about()?.as_str();
        let subject = if about == schema::words::CAR { None } else { Some(loaded.find(about)?) };
        let total = values.total_of(subject, amount.as_str())?;
        Some(Rc::clone(self.made.entry(total).or_insert_with(|| Rc::new(Made::new(values.contributions(total))))))
    }
}

impl Made {
    fn new(mut all: Vec<Contribution>) -> Self {
        // One more is listed, because a row for the rest would be as long.
        let listed = if all.len() <= MOST_PARTS + 1 { all.len() } else { MOST_PARTS };
        let sum = |parts: &[Contribution]| parts.iter().map(|own| own.value).sum::<f64>();
        let rest = all.get(listed..).unwrap_or_default();
        let (rest, whole) = ((rest.len(), sum(rest)), (all.len(), sum(&all)));
        all.truncate(listed);
        all.shrink_to_fit();
        Self { listed: all, all: whole, rest }
    }
}
