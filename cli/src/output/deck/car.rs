//! What the car must do, what changes the points, and what is at risk.

use schema::records::LimitStyle;
use trace::RecordId;
use trace::talk::count::{MOST_WORDS_OF_SLIDE, words_of_slide};
use trace::values::{Status, TargetStatus};

use super::text::{self, list, phrase, quantity, sentence};
use super::{DeckView, Slide, Visual, drawn};
use crate::output::pictures::tornado::TornadoBar;
use crate::output::pictures::typeset;

/// The most targets in one picture that can be read from the last row.
const MOST_SHOWN: usize = 6;

impl DeckView<'_> {
    /// What 1 % of a target is worth, in points; zero if no formula leads to the points.
    fn worth(&self, target: &TargetStatus, sensitivities: &[f64]) -> f64 {
        let values = self.study.values_on_paper();
        let node = values.record_node(target.index);
        let worth = node.and_then(|node| values.worth_of_value(node, sensitivities));
        worth.map_or(0.0, |worth| worth.per_percent).abs()
    }

    /// The target with its value and its limit, as a sentence.
    pub(super) fn target_text(&self, target: &TargetStatus) -> String {
        let unit = self.study.values().unit(target.node);
        let title = self.title(target.index);
        let limit = self.study.loaded.target(target.index).map(|own| own.limit_text(LimitStyle::Words));
        let limit = typeset(&limit.unwrap_or_default());
        match target.value {
            Some(value) => format!("{title}: {} now, limit {limit}", quantity(value, target.uncertainty, unit)),
            None => format!("{title}: no value yet, limit {limit}"),
        }
    }

    /// Why a record serves an event or a target, in its own words.
    fn reason(&self, index: RecordId) -> Option<String> {
        let serves = self.study.loaded.serves(index).value;
        serves.iter().find_map(|(_, reason)| reason.0.as_deref()).map(sentence)
    }
}

/// The targets of the whole car that are worth the most points.
pub(super) fn car(view: &DeckView<'_>) -> Result<Slide, String> {
    let (study, values) = (view.study, view.study.values_on_paper());
    let goal = values.record_node(view.goal.index).ok_or("the goal has no value")?;
    let sensitivities = values.worth_of_all(goal);
    let is_of_car = |target: &&TargetStatus| {
        study.loaded.record(target.index).about().is_some_and(|of| of.as_str() == schema::words::CAR)
    };
    let mut all: Vec<(f64, &TargetStatus)> = study
        .target_statuses()
        .iter()
        .filter(is_of_car)
        .map(|target| (view.worth(target, &sensitivities), target))
        .collect();
    // The largest worth first; those without a formula to the points as in the records.
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.truncate(MOST_SHOWN);
    if all.is_empty() {
        return Err("no target is about the whole car".to_owned());
    }
    let fails = |target: &TargetStatus| matches!(target.status, Status::AtRisk | Status::Missed | Status::Uncertain);
    let failing: Vec<&TargetStatus> = all.iter().map(|(_, target)| *target).filter(|own| fails(own)).collect();
    let own = match failing[..] {
        [] => {
            let with_value = all.iter().filter(|(_, target)| target.value.is_some()).count();
            match (all.len(), with_value) {
                (count, with_value) if with_value < count => {
                    format!("{with_value} of {count} main targets of the car have a value yet")
                }
                (1, _) => phrase("", &all.first().map(|own| view.brief(own.1.index)).unwrap_or_default(), " holds"),
                (2, _) => "Both main targets of the car hold".to_owned(),
                (count, _) => format!("All {count} main targets of the car hold"),
            }
        }
        [only] => phrase(
            &format!("{} of {} main targets hold; ", all.len() - 1, all.len()),
            &view.brief(only.index),
            " does not",
        ),
        [..] => {
            // What was measured is not at risk any more: it is missed, or within its uncertainty.
            let number = |status: Status| failing.iter().filter(|own| own.status == status).count();
            let (missed, uncertain) = (number(Status::Missed), number(Status::Uncertain));
            let at_risk = failing.len() - missed - uncertain;
            let words = [(missed, "missed"), (uncertain, "uncertain"), (at_risk, "at risk")];
            let words: Vec<(usize, &str)> = words.into_iter().filter(|(count, _)| *count > 0).collect();
            match words[..] {
                [(count, word)] => format!("{count} of {} main targets of the car are {word}", all.len()),
                [(count, word), ref others @ ..] => {
                    let others: String = others.iter().map(|(count, word)| format!(", {count} {word}")).collect();
                    format!("{count} of {} main targets {word}{others}", all.len())
                }
                [] => String::new(),
            }
        }
    };
    let mut notes = vec!["These numbers of the whole car are worth the most points. Each has a limit.".to_owned()];
    if let Some((worth, target)) = all.first().filter(|(worth, _)| *worth > 0.0) {
        let reason = view.reason(target.index).unwrap_or_default();
        let title = view.title(target.index);
        notes.push(format!("1 % of {title} is worth {} points. {reason}", text::tenths(*worth)).trim().to_owned());
    }
    for target in failing.iter().take(2) {
        notes.push(format!("{}.", view.target_text(target)));
    }
    let indices: Vec<RecordId> = all.iter().map(|(_, target)| target.index).collect();
    Ok(Slide::new(own, Visual::Drawn(drawn::targets(study, view.audit, "car", &indices)), notes))
}

/// What changes the points.
pub(super) fn levers(view: &DeckView<'_>) -> Result<Slide, String> {
    /// The fewest values that make a picture.
    const FEWEST: usize = 3;
    let mut input = drawn::levers(view.study, view.goal);
    let Some(first) = input.bars.first() else { return Err("no value of the car changes the points".to_owned()) };
    let title = &first.name.title;
    let mut notes = vec![format!(
        "If one value of the car were 1 % more and nothing else changed, the points would change by this much. For {title} \
         it is {} points.",
        text::signed(first.higher)
    )];
    let named = |bar: &TornadoBar| format!("{} with {}", bar.name.title, text::signed(bar.higher));
    let others: Vec<String> = input.bars.iter().skip(1).take(2).map(named).collect();
    if !others.is_empty() {
        notes.push(format!("Next are {}.", list(&others)));
    }
    notes.push("Points show what a value is worth, not what loads a part must carry.".to_owned());
    let own = text::first_that_fits(
        &["What changes the points: ", "It changes the points most: ", "Changes most: ", ""],
        title,
    );
    let mut slide = Slide::new(own, Visual::Drawn(drawn::tornado(&input)), notes);
    // Long titles leave room for fewer values.
    while words_of_slide(&slide.texts()) > MOST_WORDS_OF_SLIDE && input.bars.len() > FEWEST {
        input.bars.pop();
        slide.visual = Visual::Drawn(drawn::tornado(&input));
    }
    Ok(slide)
}

/// What is at risk now, and what is done about it.
pub(super) fn risk(view: &DeckView<'_>) -> Result<Slide, String> {
    let study = view.study;
    let fails = |target: &&TargetStatus| matches!(target.status, Status::AtRisk | Status::Missed);
    let mut all: Vec<&TargetStatus> = study.target_statuses().iter().filter(fails).collect();
    if all.is_empty() {
        return Err("no target is at risk or missed".to_owned());
    }
    // Safety first, then the one that is furthest from its limit.
    let margin = |target: &TargetStatus| target.margin.unwrap_or(0.0);
    let is_critical = |target: &TargetStatus| study.loaded.record(target.index).safety_critical();
    all.sort_by(|a, b| {
        is_critical(b).cmp(&is_critical(a)).then(margin(a).total_cmp(&margin(b))).then(a.index.cmp(&b.index))
    });
    let missed = all.iter().filter(|target| target.status == Status::Missed).count();
    let first = all.first().map(|target| view.title(target.index)).unwrap_or_default();
    let own = match (all.len(), missed) {
        (1, 0) => phrase("", &first, " is at risk"),
        (1, _) => phrase("", &first, " is missed"),
        (count, missed) => {
            let what = if missed == 0 { "at risk" } else { "at risk or missed" };
            let [long, short] = [format!("{count} targets are {what}, first "), format!("{count} {what}, first ")];
            text::first_that_fits(&[&long, &short], &first)
        }
    };
    let mut notes: Vec<String> = all.iter().take(3).map(|target| format!("{}.", view.target_text(target))).collect();
    let leads: Vec<&str> = all.iter().take(3).filter_map(|target| study.graph.lead(target.index)).collect();
    if let Some(lead) = leads.first() {
        notes.push(format!("The first one is with the {}.", text::typeset(lead)));
    }
    let shown: Vec<RecordId> = all.iter().take(MOST_SHOWN).map(|target| target.index).collect();
    Ok(Slide::new(own, Visual::Drawn(drawn::targets(study, view.audit, "risk", &shown)), notes))
}
