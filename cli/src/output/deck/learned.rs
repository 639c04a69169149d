//! What we learned: how good the estimates were, and what changes next season.

use schema::number;
use trace::audit::{Lesson, ScoreCause, most_biased};

use super::text::{self, list};
use super::{DeckView, Slide, Visual, drawn};

/// The most lessons that are spoken.
const MOST: usize = 3;

/// The lessons of the season so far.
pub(super) fn learned(view: &DeckView<'_>) -> Result<Slide, String> {
    let audit = view.audit;
    let (inside, all) = audit.inside;
    let lessons = audit.next_season(view.study.settings());
    let mut spoken: Vec<String> = lessons.iter().filter_map(|lesson| phrase_of(view, lesson)).collect();
    if all == 0 && spoken.is_empty() {
        return Err("no estimate has a result yet".to_owned());
    }
    let biased = most_biased(&audit.pairs);
    let own = match (all, &biased) {
        (_, Some(group)) => format!(
            "Results were {} {} our estimates of {}",
            number::percent(group.bias.abs(), 0),
            if group.bias < 0.0 { "below" } else { "above" },
            group.quantity
        ),
        (0, None) => "What we do differently next time".to_owned(),
        (1, None) if inside == 1 => "The first result is where we expected it".to_owned(),
        (all, None) => format!("{inside} of {all} results are where we expected them"),
    };
    let mut notes = Vec::new();
    if all > 0 {
        notes.push(
            "An estimate has an interval. If we know what we do not know, about 95 of 100 results are inside of it."
                .to_owned(),
        );
    }
    if all > 0 && biased.is_some() {
        notes.push(format!("With us it was {inside} of {all}."));
    }
    if let Some(split) = view.scores().and_then(trace::audit::GoalScore::split) {
        let own = split.points(ScoreCause::OwnValues);
        let others = split.points(ScoreCause::OthersBest);
        notes.push(format!(
            "Against the prediction, the values of our own car gave {} points and the best of the others {}.",
            text::signed(own),
            text::signed(others)
        ));
    }
    spoken.truncate(MOST);
    notes.append(&mut spoken);
    Ok(Slide::new(own, Visual::Drawn(drawn::estimates(view.study, audit)), notes))
}

/// A lesson, as it is said.
fn phrase_of(view: &DeckView<'_>, lesson: &Lesson) -> Option<String> {
    let percent = |share: f64| number::percent(share, 0);
    let titles = |ids: &[trace::RecordId]| {
        let mut names: Vec<String> = ids.iter().take(2).map(|id| view.title(*id)).collect();
        names.extend((ids.len() > 2).then(|| format!("{} more", ids.len() - 2)));
        list(&names)
    };
    Some(match lesson {
        Lesson::AllowMore { group, covering, used } => format!(
            "Next time we allow {} more for {} {}, not {}.",
            percent(*covering),
            group.basis,
            group.quantity,
            percent(*used)
        ),
        Lesson::AllowLess { group, covering, used } => format!(
            "For {} {} an allowance of {} is enough; we had {}.",
            group.basis,
            group.quantity,
            percent(*covering),
            percent(*used)
        ),
        Lesson::Biased(group) => format!(
            "Our {} of {} is {} too {}, so we check the method.",
            group.basis,
            group.quantity,
            number::percent(group.bias.abs(), 0),
            if group.bias < 0.0 { "high" } else { "low" }
        ),
        Lesson::Missed(ids) => format!("Missed: {}. We set these limits again from what we measured.", titles(ids)),
        Lesson::Uncertain(ids) => format!("Not certain: {}. We measure these with a smaller uncertainty.", titles(ids)),
        Lesson::MetAfterChange(ids) => {
            format!(
                "Met only because the limit changed after the result: {}. Next time the limit comes first.",
                titles(ids)
            )
        }
        Lesson::NotVerified(ids) => format!("Never verified: {}. We plan the test earlier.", titles(ids)),
        Lesson::StillAtRisk(ids) => format!("Still at risk: {}.", titles(ids)),
        Lesson::LimitChanged(_) | Lesson::UnusedAnalyses(_) => return None,
    })
}
