//! The day from which on the car was complete on paper: before it, a total of the car is the total of a part of the car.

use schema::Day;

use super::season::Season;
use crate::study::Study;
use crate::values::Key;

/// The share of an amount of today's car that parts must have on record so that its total describes a car.
pub const COMPLETE: f64 = 0.95;

impl Season {
    /// The first day on which the parts on record have [`COMPLETE`] of today's total of an amount, each part with its
    /// value today; `None` without a history or without the amount.
    pub fn amount_complete_since(&self, study: &Study, name: &str) -> Option<Day> {
        let values = study.values_on_paper();
        let amount = values.amount(name)?;
        let mut parts: Vec<(Day, f64)> = Vec::new();
        for (index, record, part) in study.loaded.parts() {
            let Some(value) = values.node(&Key::Part(index, amount)).and_then(|node| values.value(node)) else {
                continue;
            };
            let first = self.amounts.get(&format!("{}.{name}", record.id)).and_then(|past| past.first());
            // A part without a history was there from the beginning.
            let day = first.map(|past| past.day).or_else(|| self.timeline.first().map(|point| point.day))?;
            parts.push((day, value.abs() * f64::from(part.count.unwrap_or(1))));
        }
        parts.sort_by_key(|(day, _)| *day);
        let total: f64 = parts.iter().map(|(_, value)| value).sum();
        let mut sum = 0.0;
        parts.into_iter().find_map(|(day, value)| {
            sum += value;
            (sum >= COMPLETE * total).then_some(day)
        })
    }

    /// The first day on which every amount that the points of a goal depend on was complete; `None` without a history or
    /// if the points depend on none.
    pub fn complete_since(&self, study: &Study, goal: &str) -> Option<Day> {
        let values = study.values_on_paper();
        let goal = values.named(goal)?;
        let worth = values.worth_of_car(&values.worth_of_all(goal));
        let amounts = values.amounts().iter().filter(|name| {
            let node = values.named(&format!("{}.{name}", schema::words::CAR));
            node.is_some_and(|node| worth.iter().any(|own| own.node == node && own.per_si != 0.0))
        });
        amounts.filter_map(|name| self.amount_complete_since(study, name)).max()
    }
}
