//! The goal, how a car is scored, and the plan.

use schema::number;
use trace::audit::GoalScore;
use trace::values::LEVEL;

use super::text::{self, list, phrase, points, sentence, tenths};
use super::{DeckView, Slide, Visual, drawn};
use crate::screen::count;

impl DeckView<'_> {
    /// The scores of the goal.
    pub(super) fn scores(&self) -> Option<&GoalScore> {
        self.audit.goals.iter().find(|own| own.index == self.goal.index)
    }
}

/// What the season is for, and whether the car reaches it.
pub(super) fn goal(view: &DeckView<'_>) -> Result<Slide, String> {
    let loaded = &view.study.loaded;
    let title = view.title(view.goal.index);
    let mut notes: Vec<String> = Vec::new();
    notes.extend(loaded.goal(view.goal.index).and_then(|goal| goal.reason.as_deref()).map(sentence));
    let mut numbers = String::new();
    if let Ok(needed) = &view.goal.needed {
        let needs = points(needed.points);
        numbers = match needed.years.len() {
            0 => format!("The goal is {needs}."),
            years => format!(
                "That takes about {needs}. {} say so: with {:.0} % probability it will be {:.0} to {:.0}.",
                count(years, "past contest"),
                LEVEL * 100.0,
                needed.low,
                needed.high
            ),
        };
    }
    let scores = view.scores();
    let scored = scores.and_then(GoalScore::scored);
    let place = scores.and_then(|own| own.place_reached).map(|(place, _)| place);
    match (scored, view.goal.predicted, view.goal.chance()) {
        (Some(scored), ..) => {
            let place = place.map(|place| format!(" and finished in place {place}")).unwrap_or_default();
            numbers = format!("{numbers} We scored {}{place}.", points(scored));
        }
        (None, Some(predicted), Some(chance)) => {
            let chance = number::chance(chance);
            numbers = format!("{numbers} We expect {}; the chance to reach the goal is {chance}.", points(predicted));
        }
        (None, Some(predicted), None) => numbers = format!("{numbers} We expect {}.", points(predicted)),
        _ if view.goal.events.is_empty() => numbers.push_str(" The events that give points are not recorded yet."),
        _ => numbers.push_str(" Not every event has a value yet, so the sum is not known."),
    }
    notes.push(numbers.trim().to_owned());
    let picture = drawn::place_band(view.study, view.goal, scores);
    Ok(Slide::new(phrase("", &title, ""), Visual::Drawn(picture), notes))
}

/// How a car is scored.
pub(super) fn scored(view: &DeckView<'_>) -> Result<Slide, String> {
    let (loaded, values) = (&view.study.loaded, view.study.values());
    let events = &view.goal.events;
    if events.is_empty() {
        return Err("the goal has no events".to_owned());
    }
    let most: Vec<Option<f64>> = events.iter().map(|event| values.most(event.index)).collect();
    let total: Option<f64> = most.iter().copied().sum();
    let before = if events.len() == 1 {
        "1 event gives points".to_owned()
    } else {
        format!("{} events give points", events.len())
    };
    let own = match total {
        Some(total) => format!("{before}, at most {total:.0} together"),
        None => before,
    };
    let by_number = events.iter().filter(|event| event.reads.is_some()).count();
    let by_jury = events.len() - by_number;
    let mut notes = vec![format!(
        "A race car is not only judged by who is first. In {by_number} events a number of the car gives the points: a time, \
         the fuel, the price. In {by_jury} a jury gives them."
    )];
    let largest = events.iter().zip(&most).filter_map(|(event, most)| Some((event, (*most)?)));
    if let Some((event, most)) = largest.max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.index.cmp(&a.0.index))) {
        let title = view.brief(event.index);
        let serves = loaded.serves(event.index).value;
        let reason = serves.get(view.id(view.goal.index)).and_then(|reason| reason.0.as_deref()).map(sentence);
        notes.push(
            format!("The most are in {title}: {}. {}", points(most), reason.unwrap_or_default()).trim().to_owned(),
        );
    }
    let chances: Vec<String> =
        events.iter().filter(|event| event.chance.is_some()).map(|event| view.brief(event.index)).collect();
    if !chances.is_empty() {
        notes.push(format!("Who does not finish gets nothing in {}.", list(&chances)));
    }
    Ok(Slide::new(own, Visual::Drawn(drawn::events(view.study, view.goal)), notes))
}

/// From the plan to the prediction, and to the score if there is one.
pub(super) fn plan(view: &DeckView<'_>) -> Result<Slide, String> {
    let scores = view.scores().filter(|own| !own.events.is_empty()).ok_or("the goal has no events")?;
    let whole = |points: f64| number::fixed(points, 0);
    let plan = whole(scores.plan);
    let own = match (scores.scored(), scores.predicted) {
        (Some(scored), _) => format!("Planned {plan} points, scored {}", whole(scored)),
        (None, Some(predicted)) => format!("We plan {plan} points and expect {}", whole(predicted)),
        (None, None) => format!("We plan {plan} points"),
    };
    let mut notes = vec!["Each event has a plan. What the car can do now gives more or less than that.".to_owned()];
    let mut differences: Vec<(f64, String)> = Vec::new();
    for event in &scores.events {
        let now = event.scored.map(|(points, _)| points).or(event.predicted);
        if let Some((plan, now)) = event.plan.zip(now) {
            differences.push((now - plan, view.brief(event.index)));
        }
    }
    differences.sort_by(|a, b| b.0.total_cmp(&a.0));
    let named = |(by, title): &(f64, String)| format!("{title} with {} points", text::signed(*by));
    match (differences.first().filter(|own| own.0 > 0.05), differences.last().filter(|own| own.0 < -0.05)) {
        (Some(best), Some(worst)) => {
            notes.push(format!("The most above its plan is {}, the most below {}.", named(best), named(worst)));
        }
        (Some(best), None) => notes.push(format!("No event is below its plan. The most above is {}.", named(best))),
        (None, Some(worst)) => notes.push(format!("No event is above its plan. The most below is {}.", named(worst))),
        (None, None) => {}
    }
    if let (Some(spread), None) = (scores.predicted.and(scores.spread.as_ref()), scores.scored()) {
        let [low, high] = [spread.low, spread.high].map(tenths);
        notes.push(format!("With everything that is uncertain it can be {low} to {high}, in 95 of 100 cases."));
    }
    Ok(Slide::new(own, Visual::Drawn(drawn::waterfall(view.study, scores)), notes))
}
