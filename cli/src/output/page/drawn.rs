//! The pictures of the page, each as HTML with its caption. Their numbers are in the tables next to them.

use trace::RecordId;
use trace::audit::{GoalScore, TargetAudit};
use trace::stress::Iterations;

use super::{PageView, Worths};
use crate::output::compare::View;
use crate::output::pictures::{
    Numbers, Picture, budget as budgets, chain as chains, from_study, frontier as frontiers, loops as periods,
    over_time, stress as stresses, target, targets, tornado, verification as verifications, waterfall,
};
use crate::output::points;

/// The ids in a picture begin with a character that no id of a record has.
fn key(name: &str, number: usize) -> String {
    format!("_{name}{number}")
}

fn beside_its_table(picture: &Picture) -> String {
    picture.figure(Numbers::Elsewhere, false)
}

fn with_its_table(picture: &Picture) -> String {
    picture.figure(Numbers::Folded, true)
}

/// The scores of a goal, with its place among the goals.
pub(super) fn scores<'v>(view: &'v PageView<'_>, goal: RecordId) -> Option<(usize, &'v GoalScore)> {
    let all = &view.audit.goals;
    // They are in the order of the records.
    let at = all.binary_search_by_key(&goal, |own| own.index).ok()?;
    Some((at, all.get(at)?))
}

/// The points of a goal over the season against those that the place needs; `None` without a history, or if there are very
/// many goals.
pub(super) fn points_over_time(view: &PageView<'_>, goal: RecordId) -> Option<String> {
    let (number, own) = scores(view, goal)?;
    if !from_study::has_curve(view.audit, number) {
        return None;
    }
    let input = from_study::points_over_time(view.study, view.audit, view.season?, own, needs(own));
    let picture = over_time::picture(&key("season", number), &input);
    (!picture.is_empty()).then(|| with_its_table(&picture))
}

/// The points of a goal from the plan to the prediction; `None` for one of very many goals.
pub(super) fn plan_to_prediction(view: &PageView<'_>, goal: RecordId) -> Option<String> {
    let (number, own) = scores(view, goal).filter(|(number, _)| *number < from_study::MOST_GOALS)?;
    let input = from_study::waterfall(view.study, own, needs(own));
    Some(beside_its_table(&waterfall::picture(&key("points", number), &input)))
}

fn needs(goal: &GoalScore) -> from_study::NeededWords {
    if goal.is_forecast_after_contest() { points::was_estimated_to_need } else { points::needs }
}

/// The targets that are at risk, missed or uncertain, on one scale; `None` if there are none.
pub(super) fn at_risk(view: &PageView<'_>) -> Option<String> {
    let all: Vec<_> = view.audit.targets.iter().filter(|own| is_at_risk(own)).cloned().collect();
    let input = from_study::targets(view.study, &all, from_study::Words::Status);
    (!all.is_empty()).then(|| beside_its_table(&targets::picture("_risk0", &input)))
}

/// A target that is at risk, missed or uncertain, in its own place.
pub(super) fn target(view: &PageView<'_>, own: &TargetAudit) -> Option<String> {
    let key = key("target", own.status.index.index());
    is_at_risk(own).then(|| beside_its_table(&target::picture(&key, &from_study::one_target(view.study, own))))
}

fn is_at_risk(own: &TargetAudit) -> bool {
    own.status.status.is_short()
}

/// The periods at risk over the season; `None` without a history or without such a period.
pub(super) fn periods_at_risk(view: &PageView<'_>) -> Option<String> {
    let input = from_study::loops(view.study, view.audit, view.season);
    let picture = periods::picture("_periods0", &input);
    (!picture.is_empty()).then(|| with_its_table(&picture))
}

/// The verifications that passed, over their due dates; `None` if there is nothing to draw.
pub(super) fn verification(view: &PageView<'_>) -> Option<String> {
    let picture = verifications::picture("_verification0", &from_study::verification(view.study));
    // The date of each is in the place of its record.
    (!picture.is_empty()).then(|| beside_its_table(&picture))
}

/// The most budgets with a picture.
const MOST_BUDGETS: usize = 200;

/// A budget from its limit to its shares; `None` if there is nothing to draw, or for one of very many budgets.
pub(super) fn budget(
    view: &PageView<'_>,
    number: usize,
    own: &trace::values::Budget,
    parts: &mut from_study::PartsOf<'_>,
) -> Option<String> {
    if number >= MOST_BUDGETS {
        return None;
    }
    let picture = budgets::picture(&key("budget", number), &from_study::budget(view.study, own, parts));
    (!picture.is_empty()).then(|| beside_its_table(&picture))
}

/// What 1 % of each value does to the chance of the goal, or to the points.
pub(super) fn worth(view: &PageView<'_>, worths: &Worths<'_>) -> String {
    let chance = worths.chance.as_ref().map(|(now, effects)| (*now, effects));
    beside_its_table(&tornado::picture("_worth0", &from_study::tornado(view.study, &worths.goal, chance)))
}

/// The stress of a part, one picture for each of its current analyses with a stress file.
pub(super) fn stress(view: &PageView<'_>, part: RecordId, all: &[Iterations]) -> Vec<String> {
    let all = from_study::stress(view.study, part, all).into_iter().enumerate();
    let key = |number| key(&format!("stress{}-", part.index()), number);
    all.map(|(number, input)| beside_its_table(&stresses::picture(&key(number), &input))).collect()
}

/// The whole chain as a list that folds.
pub(super) fn chain(view: &PageView<'_>) -> String {
    beside_its_table(&chains::picture(&from_study::chain(view.study), true))
}

/// The alternatives of a decision, points against what they cost; `None` if they differ in no amount of the car.
pub(super) fn frontier(view: &PageView<'_>, compared: &View<'_>) -> Option<String> {
    let input = from_study::frontier(view.study, compared)?;
    let picture = frontiers::picture(&key("frontier", compared.index.index()), &input);
    (!picture.is_empty()).then(|| with_its_table(&picture))
}
