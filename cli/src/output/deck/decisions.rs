//! A decision: the alternatives, each in the whole car.

use trace::RecordId;
use trace::talk::decisions::Choice;
use trace::values::Outcome;

use super::text::{self, list, phrase, sentence};
use super::{DeckView, Slide, Visual, drawn};

fn title(outcome: &Outcome) -> String {
    text::brief(outcome.title.as_deref().unwrap_or(&outcome.name))
}

/// The decision with its choice.
pub(super) fn decision(view: &DeckView<'_>, index: RecordId) -> Result<Slide, String> {
    let choice = view.choices.iter().find(|own| own.index == index);
    let choice = choice.ok_or("nothing is chosen yet, or the alternatives cannot be compared")?;
    let chosen = choice.chosen().ok_or("the chosen alternative cannot be compared")?;
    let question = view.title(index);
    let record = view.study.loaded.decision(index);
    let mut notes: Vec<String> = Vec::new();
    notes.extend(record.and_then(|own| own.reason.as_deref()).map(sentence));
    notes.push(difference(choice));
    if let Some(other) = choice.other() {
        let name = title(other);
        let named = |all: &[RecordId]| -> Vec<String> { all.iter().take(2).map(|index| view.brief(*index)).collect() };
        let more = |all: &[RecordId]| all.len().saturating_sub(2);
        match &other.newly_at_risk[..] {
            [] => {}
            all => {
                let mut names = named(all);
                names.extend((more(all) > 0).then(|| format!("{} more", more(all))));
                notes.push(format!("With {name} these would be at risk: {}.", list(&names)));
            }
        }
        match &other.newly_on_target[..] {
            [] => {}
            all => notes.push(format!("What we gave up: {} would be on target.", list(&named(all)))),
        }
    }
    let evidence = record.map(|own| own.alternatives.iter().flat_map(|(_, own)| &own.evidence).count());
    if evidence == Some(0) {
        notes.push("No evidence is recorded with the alternatives.".to_owned());
    }
    let separator = if question.ends_with('?') { " " } else { ": " };
    let before = format!("{}{separator}", text::short(&question, 6));
    let picture = drawn::alternatives(view.id(index), choice);
    Ok(Slide::new(phrase(&before, &title(chosen), ""), picture.map_or(Visual::None, Visual::Drawn), notes))
}

/// What the choice moved, as a sentence.
fn difference(choice: &Choice) -> String {
    let Some((moved, other)) = choice.moved.zip(choice.other()) else {
        return "The points do not show the difference, because no formula leads from it to an event.".to_owned();
    };
    let size = text::tenths(moved.abs());
    let name = title(other);
    let within = choice.uncertainty.map(|own| format!(", plus or minus {}", text::tenths(own))).unwrap_or_default();
    match choice.uncertainty {
        _ if moved.abs() < 0.05 => format!("It scores the same as {name}: the points did not decide."),
        Some(own) if moved.abs() <= own => {
            format!("The points do not decide: {size} of difference to {name}{within}.")
        }
        _ if moved > 0.0 => format!("It scores {size} points more than {name}{within}."),
        _ => format!("It scores {size} points less than {name}{within}, so the points were not the reason."),
    }
}
