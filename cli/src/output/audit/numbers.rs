//! The numbers and phrases that several formats of the audit show.

use schema::number;
use trace::RecordId;
use trace::audit::{GoalScore, Group, Lesson, SHOWN_AS_ZERO, ScoreCause, Split, TargetAudit, Verdict, groups};

use super::AuditView;
use crate::output::points::points_of;
use crate::screen::count;

/// Why the scores of a goal differ from the predictions, as text. The numbers of each row add up as they are shown.
pub(super) struct SplitText {
    /// The causes that have an effect, which are the columns; empty if no event is split.
    pub(super) causes: Vec<ScoreCause>,
    /// The cells of each event, without the whole difference.
    pub(super) events: Vec<Vec<String>>,
    /// The cells of the total.
    pub(super) total: Vec<String>,
}

/// The causes that always have a column, if there is any split.
const USUAL: [ScoreCause; 4] =
    [ScoreCause::OwnValues, ScoreCause::OthersBest, ScoreCause::Finish, ScoreCause::Unexplained];

impl AuditView<'_> {
    /// How many targets have a verdict.
    pub(super) fn count(&self, verdict: Verdict) -> usize {
        self.audit.with_verdict(verdict).count()
    }

    /// How many targets were met, and how many were uncertain, missed and not verified, without those that have a qualifier.
    fn met_and_others(&self) -> (String, String) {
        let uncertain = self.uncertain();
        let some = |number: usize, words: &'static str| (number > 0).then_some((number, words));
        let always = |verdict: Verdict| Some((self.count(verdict), verdict.words()));
        let all = [
            some(uncertain, "uncertain"),
            always(Verdict::Missed),
            always(Verdict::NeverVerified),
            some(self.count(Verdict::NotDue), Verdict::NotDue.words()),
        ];
        let text = |(number, words): (usize, &str)| format!("{number} {words}");
        let others: Vec<String> = all.into_iter().flatten().map(text).collect();
        (text((self.count(Verdict::Met), Verdict::Met.words())), others.join(", "))
    }

    /// The same in one line.
    pub(super) fn counts(&self) -> String {
        let (met, others) = self.met_and_others();
        format!("{met}, {others}")
    }

    /// How many targets were met after their limit changed, before the other numbers; empty without one.
    fn met_after_change(&self) -> String {
        match self.count(Verdict::MetAfterChange) {
            0 => String::new(),
            some => format!("{some} met after the limit changed, "),
        }
    }

    /// The same of all targets, so that a reader can add them up.
    pub(super) fn counts_of_all(&self) -> String {
        let (met, others) = self.met_and_others();
        format!("{}: {met}, {}{others}", count(self.audit.targets.len(), "target"), self.met_after_change())
    }

    /// The few figures at the top: each a name, what counts most, and the others.
    pub(super) fn figures(&self) -> Vec<[String; 3]> {
        let mut all = Vec::new();
        for goal in self.audit.goals.iter().filter(|goal| !goal.events.is_empty()) {
            let name = match self.audit.goals.len() {
                1 => "points".to_owned(),
                _ => format!("points, {}", self.title(goal.index)),
            };
            let plan = format!("{} planned", number::fixed(goal.plan, 1));
            let predicted = goal.predicted.and(goal.spread.as_ref()).map(points_of);
            all.push(match (goal.scored(), predicted) {
                (Some(scored), Some(predicted)) => {
                    [name, format!("{} scored", number::fixed(scored, 1)), format!("{plan}, {predicted} predicted")]
                }
                (Some(scored), None) => [name, format!("{} scored", number::fixed(scored, 1)), plan],
                (None, Some(predicted)) => [name, format!("{predicted} predicted"), plan],
                (None, None) => [name, plan, format!("no prediction: {}", self.without_value(goal))],
            });
        }
        let targets = self.audit.targets.len();
        if targets > 0 {
            let (_, others) = self.met_and_others();
            let met = format!("{} of {targets} met", self.count(Verdict::Met));
            all.push(["targets".to_owned(), met, format!("{}{others}", self.met_after_change())]);
        }
        if self.audit.safety_critical > 0 {
            let (open, of) = (self.audit.unproven.len(), count(self.audit.safety_critical, "safety-critical record"));
            all.push(["safety".to_owned(), format!("{open} of {of}"), "without a passed test".to_owned()]);
        }
        all
    }

    /// How many targets have a limit inside the uncertainty of the result.
    pub(super) fn uncertain(&self) -> usize {
        self.count(Verdict::MetUncertain) + self.count(Verdict::MissedUncertain)
    }

    /// How many targets have an outcome with a qualifier; `None` without one.
    pub(super) fn qualified(&self) -> Option<String> {
        let all = [
            (Verdict::MetAfterChange, "met after the limit changed"),
            (Verdict::MetUncertain, "uncertain with a value that meets the limit"),
            (Verdict::MissedUncertain, "uncertain with a value that misses the limit"),
        ];
        let counted = all.into_iter().map(|(verdict, words)| (self.count(verdict), words));
        let shown: Vec<String> =
            counted.filter(|(count, _)| *count > 0).map(|(count, words)| format!("{count} {words}")).collect();
        (!shown.is_empty()).then(|| shown.join(", "))
    }

    /// How many results are inside the interval of their estimate, as a sentence; `None` if no estimate has one.
    pub(super) fn inside(&self) -> Option<String> {
        let (inside, all) = self.audit.inside;
        let in_rows = groups(&self.audit.pairs).iter().map(|group| group.with_interval).sum::<usize>();
        let others = match all.saturating_sub(in_rows) {
            0 => String::new(),
            others => format!("; {others} of them in a unit without a ratio (degrees), and so in no row below"),
        };
        (all > 0).then(|| {
            format!("{inside} of {all} results are inside the interval of their estimate (about 95 % expected){others}")
        })
    }

    /// Why the scores of a goal differ from the predictions.
    pub(super) fn split(&self, goal: &GoalScore) -> SplitText {
        let splits = || goal.events.iter().filter_map(|event| event.split.as_ref());
        let has_effect = |cause: ScoreCause| splits().any(|split| split.points(cause).abs() >= SHOWN_AS_ZERO);
        let is_split = [ScoreCause::OwnValues, ScoreCause::OthersBest, ScoreCause::Finish, ScoreCause::Penalties];
        let any = is_split.into_iter().any(has_effect);
        let is_shown = |cause: &ScoreCause| any && (USUAL.contains(cause) || has_effect(*cause));
        let causes: Vec<ScoreCause> = ScoreCause::ALL.into_iter().filter(is_shown).collect();
        let cells = |split: Option<&Split>, difference: Option<f64>| {
            let Some((split, difference)) = split.zip(difference) else { return vec![String::new(); causes.len()] };
            let parts: Vec<f64> = causes.iter().map(|cause| split.points(*cause)).collect();
            let shown = number::adding_up(&parts, difference, 1).into_iter();
            shown.map(|points| number::signed(points, 1)).collect()
        };
        let events = goal.events.iter().map(|event| cells(event.split.as_ref(), event.shown_difference())).collect();
        let total = cells(goal.split().as_ref(), goal.shown_difference());
        SplitText { causes, events, total }
    }

    /// What the less obvious causes of a split mean.
    pub(super) fn about_split(split: &SplitText) -> String {
        let words = |cause: &ScoreCause| match cause {
            ScoreCause::Unexplained => Some(
                "not explained: score minus what the formula gives for the values of the contest; penalties that are not recorded are in it",
            ),
            ScoreCause::Mean => Some(
                "mean: a prediction is the mean over its uncertainty, which differs from the score of the expected values",
            ),
            ScoreCause::OwnValues
            | ScoreCause::OthersBest
            | ScoreCause::Finish
            | ScoreCause::Penalties
            | ScoreCause::Judges => None,
        };
        split.causes.iter().filter_map(words).collect::<Vec<_>>().join("; ")
    }

    /// The growth allowance in the settings for a basis.
    pub(super) fn used(&self, group: &Group) -> Option<f64> {
        group.used(self.study.settings())
    }

    /// The planned verification methods of a record.
    pub(super) fn methods(&self, index: RecordId) -> Vec<&'static str> {
        let verify = self.study.loaded.verify(index);
        verify.into_iter().flat_map(|verify| verify.value.0.iter().map(|method| method.by.word())).collect()
    }

    /// The files of evidence of the latest result.
    pub(super) fn evidence(&self, target: &TargetAudit) -> Vec<&str> {
        target.result.map_or_else(Vec::new, |result| self.study.loaded.record(result).all_evidence())
    }

    /// What to do differently next season, in short phrases.
    pub(super) fn next_season(&self) -> Vec<String> {
        self.audit.next_season(self.study.settings()).iter().map(|lesson| self.phrase(lesson)).collect()
    }

    fn phrase(&self, lesson: &Lesson) -> String {
        let percent = |share: f64| number::percent(share, 0);
        match lesson {
            Lesson::AllowMore { group, covering, used } => format!(
                "use a growth allowance of {} for {} {} instead of {}: it would have covered nine of ten results ({} pairs)",
                percent(*covering),
                group.basis,
                group.quantity,
                percent(*used),
                group.size
            ),
            Lesson::AllowLess { group, covering, used } => format!(
                "a growth allowance of {} for {} {} would have been enough; {} was used ({} pairs)",
                percent(*covering),
                group.basis,
                group.quantity,
                percent(*used),
                group.size
            ),
            Lesson::Biased(group) => format!(
                "results of {} are on average {} {} the estimates whose basis is {} ({} pairs): check the method",
                group.quantity,
                number::percent(group.bias.abs(), 1),
                if group.bias < 0.0 { "below" } else { "above" },
                group.basis,
                group.size
            ),
            Lesson::Missed(ids) => self.list("missed; set the limit again from the measured value", ids),
            Lesson::Uncertain(ids) => {
                self.list("limit inside the uncertainty of the result; measure with a smaller uncertainty", ids)
            }
            Lesson::MetAfterChange(ids) => self.list(
                "met only by a limit that was set or changed after the result; set limits before you measure",
                ids,
            ),
            Lesson::NotVerified(ids) => self.list("not verified; plan a result or remove the target", ids),
            Lesson::StillAtRisk(ids) => self.list("still at risk", ids),
            Lesson::LimitChanged(ids) => self.list("limit changed while at risk; add the revision", ids),
            Lesson::UnusedAnalyses(ids) => {
                self.list("unused analyses (they inform no decision or part, and change no points)", ids)
            }
        }
    }

    fn list(&self, what: &str, ids: &[RecordId]) -> String {
        /// The largest number of records; the tables have all of them.
        const MOST: usize = 12;
        let names: Vec<String> = ids.iter().take(MOST).map(|id| self.title_and_id(*id)).collect();
        let more = ids.len().saturating_sub(MOST);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        format!("{what}: {}{more}", names.join("; "))
    }
}

/// A difference of points with its sign; empty without one.
pub(super) fn signed(points: Option<f64>) -> String {
    points.map(|points| number::signed(points, 1)).unwrap_or_default()
}

/// The difference of two points as they are shown, with its sign; empty without one of them.
pub(super) fn change(from: Option<f64>, to: Option<f64>) -> String {
    signed(from.zip(to).map(|(from, to)| number::shown_change(from, to, 1)))
}

/// How many results of a group are inside the interval of their estimate: `4 of 5`.
pub(super) fn inside_of(group: &Group) -> String {
    match group.with_interval {
        0 => String::new(),
        all => format!("{} of {all}", group.inside),
    }
}
