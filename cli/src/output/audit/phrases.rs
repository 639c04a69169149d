//! The sentences of the audit: the headline, why a goal was missed, limits that changed, decisions. What they say is decided in
//! `trace::audit`.

use std::collections::HashMap;

use schema::number;
use trace::RecordId;
use trace::audit::{
    AtRiskPeriod, DecisionReview, DecisionValue, EventScore, GoalScore, LimitMove, Ranking, SHOWN_AS_ZERO,
    TargetEffect, Unproven,
};
use trace::snapshot::short_id;

use super::AuditView;
use crate::output::decided::without_numbers;
use crate::output::numbers::quantity;
use crate::output::points::{self, needs, points_of};
use crate::screen::count;

/// The part of a difference to the plan that no target explains.
const REST: &str = "not explained by targets";

impl AuditView<'_> {
    /// Who made the state: team, car, commit and day.
    pub(super) fn made_by(&self) -> String {
        let made = &self.made;
        let mut all: Vec<String> = made.team.iter().cloned().collect();
        all.extend(made.car.as_ref().map(|car| format!("car {car}")));
        all.extend(made.commit.as_ref().map(|(commit, day)| {
            let changes = if made.uncommitted { "changes that are not committed, after commit" } else { "commit" };
            format!("{changes} {} of {day}", short_id(commit))
        }));
        if made.commit.is_none() {
            all.push("not committed".to_owned());
        }
        all.join(", ")
    }

    /// What the goal needs, as a sentence; `None` if that is not known.
    fn needed(&self, goal: &GoalScore) -> Option<String> {
        let needed = goal.needed.as_ref().ok()?;
        let source = if needed.years.is_empty() { "" } else { " (forecast from past contests)" };
        Some(format!("{} {:.1}{source}", needs(&self.study.loaded, goal.index, needed), needed.points))
    }

    /// From when on the curves of the season are, or why there is none.
    pub(super) fn about_curves(&self) -> String {
        let Some(season) = self.season.filter(|season| !season.timeline.is_empty()) else {
            return "no curves: there is no git history".to_owned();
        };
        match (season.complete(self.study), season.timeline.len()) {
            (_, 1) => "no curves: the records have one commit".to_owned(),
            ([], _) => {
                "no curves: the car is not complete on paper yet, so that its totals are of a part of it".to_owned()
            }
            ([only], _) => {
                format!("no curves: the car is complete on paper since the last evaluated commit, of {}", only.day)
            }
            ([first, ..], _) => match (season.complete_from(self.study), self.not_known_yet()) {
                (Some(from), _) => format!("curves from {from} on, when the car was complete on paper"),
                (None, Some(missing)) => format!("no curve of the points yet: {missing}"),
                (None, None) => format!("curves from {} on", first.day),
            },
        }
    }

    /// Why the first goal without a prediction has none.
    fn not_known_yet(&self) -> Option<String> {
        self.audit.goals.iter().find(|goal| goal.predicted.is_none()).map(|goal| self.without_value(goal))
    }

    /// How many commits there are, and at how many the car was evaluated; `None` without a history.
    pub(super) fn evaluated(&self) -> Option<String> {
        let season = self.season.filter(|season| !season.timeline.is_empty())?;
        let commits = count(season.commits, "commit");
        Some(match season.timeline.len() {
            all if all >= season.commits => format!("{commits} changed the records"),
            some => format!("{commits} changed the records; the car was evaluated at {some} of them"),
        })
    }

    /// The words for a project without a goal; `None` with one.
    pub(super) fn no_goal(&self) -> Option<&'static str> {
        self.audit.goals.is_empty().then_some("No goal: add one under `goals:`")
    }

    /// The title of a record, with its id if that is another text.
    pub(super) fn title_and_id(&self, index: RecordId) -> String {
        let (title, id) = (self.title(index), self.id(index));
        if title == id { id.to_owned() } else { format!("{title} ({id})") }
    }

    /// What was predicted for a goal: place, points and probability; `None` if an event has no value.
    pub(super) fn predicted(&self, goal: &GoalScore) -> Option<String> {
        goal.predicted?;
        let points = format!("{} points", points_of(goal.spread.as_ref()?));
        let place = goal.place.and(goal.place_predicted).map(|place| format!("place {place} with "));
        let chance = goal.chance.map(|chance| format!(", probability of reaching the goal {}", number::chance(chance)));
        Some(format!("{}{points}{}", place.unwrap_or_default(), chance.unwrap_or_default()))
    }

    /// Whether the goal was reached, as a sentence; before the contest what is predicted.
    pub(super) fn verdict(&self, goal: &GoalScore) -> String {
        let (so_far, events) = goal.so_far();
        let place = goal.place_reached.map(|(place, _)| format!("place {place}"));
        let points = match (events, goal.events.len()) {
            (0, _) => None,
            (some, all) if some == all => Some(format!("{} points", number::fixed(so_far, 1))),
            (some, all) => Some(format!("{} points from {some} of {all} events", number::fixed(so_far, 1))),
        };
        let has = [place, points].into_iter().flatten().collect::<Vec<_>>().join(" and ");
        let verdict = match goal.reached() {
            Some(true) => format!("reached with {has}"),
            Some(false) => format!("not reached with {has}"),
            None if has.is_empty() => match self.predicted(goal) {
                Some(predicted) => format!("not raced yet; predicted: {predicted}"),
                None => format!("not raced yet; no prediction: {}", self.without_value(goal)),
            },
            None => has,
        };
        [Some(verdict), self.needed(goal)].into_iter().flatten().collect::<Vec<_>>().join("; ")
    }

    /// Why a goal has no prediction.
    pub(super) fn without_value(&self, goal: &GoalScore) -> String {
        let missing = goal.events.iter().filter(|event| event.predicted.is_none()).map(|event| event.index);
        let missing: Vec<RecordId> = missing.collect();
        let without = points::without_value(&self.study.loaded, goal.events.len(), &missing);
        without.unwrap_or_else(|| "it has no events".to_owned())
    }

    /// What was predicted before the contest, to be shown beside the place and the points reached; `None` before the first
    /// score, when the verdict says it.
    pub(super) fn beside(&self, goal: &GoalScore) -> Option<String> {
        let predicted = self.predicted(goal).filter(|_| !goal.is_before_contest())?;
        Some(format!("predicted before the contest: {predicted}"))
    }

    /// Why a goal was missed: the points against those that it needs, from which of plan and score that is, and the events
    /// that are short of their plan. `None` if it was not missed, or if none of this is known.
    pub(super) fn why_missed(&self, goal: &GoalScore) -> Option<String> {
        if goal.reached() != Some(false) {
            return None;
        }
        let all: Vec<String> = [self.against_needed(goal), self.short_of_plan(goal)].into_iter().flatten().collect();
        (!all.is_empty()).then(|| all.join("; "))
    }

    /// The points scored and planned against those that the goal needs; `None` without them.
    fn against_needed(&self, goal: &GoalScore) -> Option<String> {
        let (needed, scored) = (goal.needed.as_ref().ok()?, goal.scored()?);
        let by = |from: f64, to: f64| number::shown_change(from, to, 1);
        let side = |points: f64, of: &str| match points {
            points if points < 0.0 => format!("{:.1} below {of}", -points),
            points => format!("{points:.1} above {of}"),
        };
        let needs = format!("{} ({:.1})", needs(&self.study.loaded, goal.index, needed), needed.points);
        let short = by(needed.points, scored);
        Some(if short < 0.0 {
            let [plan, score] = [by(needed.points, goal.plan), by(goal.plan, scored)];
            let (plan, score) = (side(plan, "that"), side(score, "the plan"));
            format!("scored {:.1} points fewer than {needs}: the plan was {plan}, and the scores {score}", -short)
        } else {
            format!("scored {short:.1} points more than {needs} by past contests: the others scored more than then")
        })
    }

    /// How many events are short of their plan and by how much in total; `None` without one.
    fn short_of_plan(&self, goal: &GoalScore) -> Option<String> {
        let short = goal.short_events();
        let points: f64 = short.iter().filter_map(|event| event.shown_vs_plan()).sum();
        let what = if goal.is_before_contest() { "predicted" } else { "scored" };
        let events = count(short.len(), "event");
        (!short.is_empty()).then(|| format!("{events} {what} {:.1} points fewer than planned", -points))
    }

    /// Why the latest points of an event differ from its plan, the largest cause first: `judges -4.6, prediction vs plan +4.0`.
    /// All causes are in it, so that a reader can add them up. Before the contest the targets that are not at their limits, and
    /// the rest.
    pub(super) fn cause(&self, event: &EventScore) -> String {
        /// The targets that are shown; the table of targets has all of them.
        const MOST: usize = 2;
        if event.scored.is_none() {
            let (effects, rest) = event.shown_effects();
            let mut all: Vec<String> = effects.iter().take(MOST).map(|(own, _)| self.effect(own)).collect();
            let (others, number) = (effects.iter().skip(MOST).map(|(_, points)| points).sum::<f64>(), effects.len());
            if number > MOST {
                let what = count(number - MOST, "other target");
                all.push(format!("{what}: {} points", number::signed(others, 1)));
            }
            if rest.abs() >= SHOWN_AS_ZERO {
                all.push(format!("{}: {} points", self.rest_of(event), number::signed(rest, 1)));
            }
            return all.join("; ");
        }
        let all = event.shown_causes().into_iter();
        all.map(|(cause, points)| format!("{} {}", cause.words(), number::signed(points, 1)))
            .collect::<Vec<_>>()
            .join(", ")
    }

    /// The words for the difference of a prediction to its plan that no target explains.
    fn rest_of(&self, event: &EventScore) -> &'static str {
        let has_formula = self.study.loaded.event(event.index).is_some_and(|event| event.score.is_some());
        if has_formula { REST } else { "estimate vs plan" }
    }

    /// What the rest of a cause is, if a goal has one before the contest.
    pub(super) fn about_rest(&self, goal: &GoalScore) -> Option<String> {
        let has_rest = |event: &EventScore| {
            event.scored.is_none() && event.shown_effects().1.abs() >= SHOWN_AS_ZERO && self.rest_of(event) == REST
        };
        let text =
            "the plan is not exactly the points at the limits, and a prediction is the mean over its uncertainty";
        goal.events.iter().any(|event| has_rest(event)).then(|| format!("{REST}: {text}"))
    }

    /// What a target that is not at its limit costs: `accel-time 4.310 s, limit 4.27 s: -1.2 points`.
    pub(super) fn effect(&self, own: &TargetEffect) -> String {
        let values = self.study.values();
        let node = values.record_node(own.target);
        let show = |si: f64| node.map(|node| quantity(si, 0.0, values.unit(node))).unwrap_or_default();
        let (value, limit) = (show(own.value), show(own.limit));
        format!("{} {value}, limit {limit}: {} points", self.id(own.target), number::signed(own.points, 1))
    }

    /// The limit before and after a change: `at most 200 kg → 205 kg`.
    pub(super) fn limits_of_move(moved: &LimitMove) -> String {
        let Some(before) = &moved.before else { return moved.after.clone() };
        format!("{before} → {}", moved.after_in_short)
    }

    /// Who agreed to a change of a limit, or why no one had to.
    pub(super) fn agreed(&self, moved: &LimitMove) -> String {
        let revision = moved.revision.and_then(|id| self.study.loaded.revision(id));
        let agreed = revision.and_then(|revision| revision.agreed_by.as_deref());
        let record = agreed.unwrap_or_else(|| moved.record.words());
        let after = if moved.after_result { "after a result" } else { "" };
        [record, after].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join(", ")
    }

    /// The reason of a change of a limit; empty without a revision.
    pub(super) fn reason_of_move(&self, moved: &LimitMove) -> &str {
        let revision = moved.revision.and_then(|id| self.study.loaded.revision(id));
        revision.and_then(|revision| revision.reason.as_deref()).unwrap_or_default()
    }

    /// A change of a limit in one line: the target, the limit before and after, who agreed and why.
    pub(super) fn limit_move(&self, moved: &LimitMove) -> String {
        let reason = self.reason_of_move(moved);
        let reason = if reason.is_empty() { String::new() } else { format!(": {reason}") };
        let agreed = if moved.revision.is_some() { "agreed by the " } else { "" };
        let (name, limits) = (self.title_and_id(moved.target), Self::limits_of_move(moved));
        format!("{name} {limits}, {agreed}{}{reason}", self.agreed(moved))
    }

    /// What a safety-critical record lacks: `no result of test, due 2027-02-19`.
    pub(super) fn lacks(&self, one: &Unproven) -> String {
        let methods: Vec<&str> = one.open.iter().map(|method| method.word()).collect();
        let of = if methods.is_empty() { String::new() } else { format!(" of {}", methods.join(" and ")) };
        let due = one.due.filter(|_| !methods.is_empty());
        let due =
            due.map(|day| if day < self.audit.day { format!(", overdue since {day}") } else { format!(", due {day}") });
        format!("{}{of}{}", one.why.words(), due.unwrap_or_default())
    }

    /// What a safety-critical record lacks, without the date: `no result of test, overdue`.
    pub(super) fn lacks_in_short(&self, one: &Unproven) -> String {
        let methods: Vec<&str> = one.open.iter().map(|method| method.word()).collect();
        let of = if methods.is_empty() { String::new() } else { format!(" of {}", methods.join(" and ")) };
        let is_overdue = !methods.is_empty() && one.due.is_some_and(|day| day < self.audit.day);
        format!("{}{of}{}", one.why.words(), if is_overdue { ", overdue" } else { "" })
    }

    /// How a period at risk ended: `met on 2027-05-23`, or `unresolved`.
    pub(super) fn end_of(period: &AtRiskPeriod) -> String {
        period.end.map_or_else(|| "unresolved".to_owned(), |(day, end)| format!("{} on {day}", end.words()))
    }

    /// What was chosen, and when.
    pub(super) fn choice(&self, own: &DecisionReview) -> String {
        match (&own.chosen, &own.chosen_at) {
            (None, _) => "no alternative is chosen yet".to_owned(),
            (Some(chosen), Some((day, commit))) => {
                format!("{}, chosen on {day} ({})", self.alternative(own, chosen), short_id(commit))
            }
            (Some(chosen), None) => {
                let chosen = self.alternative(own, chosen);
                let why = own.then.as_ref().and_then(|then| then.as_ref().err());
                let why = why.map(|why| format!(" ({why})")).unwrap_or_default();
                format!("{chosen}, at an unknown time{why}")
            }
        }
    }

    /// The title of an alternative, or its name.
    fn alternative<'t>(&'t self, own: &DecisionReview, name: &'t str) -> &'t str {
        let decision = self.study.loaded.decision(own.index);
        decision.and_then(|decision| decision.alternatives.get(name)?.title.as_deref()).unwrap_or(name)
    }

    /// The points that were predicted when a choice was made; `None` if that is not known.
    pub(super) fn points_then(own: &DecisionReview) -> Option<String> {
        let then = own.then.as_ref()?.as_ref().ok()?;
        Some(match &then.points {
            Some(points) => format!("{} points predicted", points_of(points)),
            None => "no points yet, because an event had no value".to_owned(),
        })
    }

    /// What was known when a choice was made: points, and the analyses before it; `None` if that is not known.
    pub(super) fn known_then(&self, own: &DecisionReview) -> Option<String> {
        Some(format!("{}; {}", Self::points_then(own)?, self.analyses(own, false)))
    }

    /// The analyses that inform a decision, those after the choice or the others.
    pub(super) fn analyses(&self, own: &DecisionReview, after: bool) -> String {
        let all = own.analyses.iter().filter(|one| one.after.unwrap_or(false) == after);
        let names: Vec<String> = all
            .map(|one| match one.day {
                Some(day) => format!("{} ({day})", self.title(one.analysis)),
                None => self.title(one.analysis).to_owned(),
            })
            .collect();
        let what = match (own.chosen_at.is_some(), after) {
            (true, false) => "analyses before the choice",
            (true, true) => "analyses after the choice",
            (false, _) => "analyses",
        };
        if names.is_empty() { format!("no {what}") } else { format!("{what}: {}", names.join(", ")) }
    }

    /// How each alternative of a ranking did: its place and points.
    pub(super) fn ranked(ranking: &Ranking) -> HashMap<&str, String> {
        let all = ranking.alternatives.iter().enumerate().map(|(at, own)| {
            let text = match &own.points {
                Some(points) => format!("{}.  {}", at + 1, points_of(points)),
                None => "no points".to_owned(),
            };
            (own.name.as_str(), text)
        });
        all.collect()
    }

    /// What was missing when the choice was made; `None` without a choice, or if nothing was.
    pub(super) fn without_numbers(own: &DecisionReview) -> Option<String> {
        own.chosen.as_ref()?;
        let then = own.then.as_ref().and_then(|then| then.as_ref().ok());
        let ranking = then.or(own.now.as_ref());
        let ranked = ranking.map_or(0, |own| own.alternatives.iter().filter(|own| own.points.is_some()).count());
        let later = own.analyses.iter().filter(|own| own.after == Some(true)).count();
        without_numbers(ranked, own.analyses.len(), later)
    }

    /// Whether the first of a ranking is significantly ahead, as a phrase.
    pub(super) fn significance(ranking: &Ranking) -> &'static str {
        let with_points = ranking.alternatives.iter().filter(|own| own.points.is_some()).count();
        match ranking.significant {
            _ if with_points < 2 => "nothing to compare",
            Some(true) => "the first is significantly ahead",
            Some(false) => "the first two are within uncertainty",
            None => "not significant: what is set has no uncertainty",
        }
    }

    /// The cells of a value that a decision was judged on: set, then, now, measured.
    pub(super) fn decision_value(own: &DecisionValue) -> [String; 4] {
        [own.set, own.then, own.now, own.measured]
            .map(|known| known.map(|(value, uncertainty)| quantity(value, uncertainty, &own.unit)).unwrap_or_default())
    }

    /// The name of a value that a decision was judged on: the title of a target, or of a part with the amount.
    pub(super) fn value_title(&self, own: &DecisionValue) -> String {
        let title = |id: &str| self.study.loaded.find(id).map(|index| self.title(index)).filter(|title| *title != id);
        let of_part = || {
            let (part, amount) = own.name.split_once('.')?;
            Some(format!("{}: {amount}", title(part)?))
        };
        title(&own.name).map(str::to_owned).or_else(of_part).unwrap_or_else(|| own.name.clone())
    }

    /// What the measurements say about the choice, as a sentence; `None` if nothing of it was measured.
    pub(super) fn measurements(&self, own: &DecisionReview) -> Option<String> {
        let measured: Vec<&DecisionValue> = own.values.iter().filter(|value| value.measured.is_some()).collect();
        let compared = measured.iter().filter(|value| value.differs().is_some()).count();
        let differing: Vec<String> = measured
            .iter()
            .filter(|value| value.differs() == Some(true))
            .map(|value| self.value_title(value))
            .collect();
        let all = count(compared, "measured value");
        match (measured.len(), differing.len()) {
            (0, _) => None,
            (some, _) if compared == 0 => {
                Some(format!("{} measured; none of them was set by the choice", count(some, "value")))
            }
            (_, 0) => Some(format!(
                "{compared} of {all} {} within the uncertainty of what the choice set",
                if compared == 1 { "is" } else { "are" }
            )),
            (_, some) => Some(format!(
                "{some} of {all} {} from what the choice set by more than the uncertainty: {}",
                if some == 1 { "differs" } else { "differ" },
                differing.join(", ")
            )),
        }
    }
}
