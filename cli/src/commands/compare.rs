//! `compare`: the whole car with each alternative of a decision.

use clap::Args;
use trace::history::Past;
use trace::history::choice::Choice;
use trace::{Error, Project, RecordId, Study};

use super::points::no_goal;
use super::{Done, Format, folded};
use crate::args::{Records, Shared};
use crate::output::compare::{self, ChosenAt, Comparison, View, When};
use crate::output::json;

/// The arguments of `compare`.
#[derive(Args)]
pub(crate) struct Compare {
    /// The id of the decision
    decision: String,
    #[command(flatten)]
    records: Records,
    /// Which state to evaluate: now, the commit in which the alternative was chosen, or both
    #[arg(long, value_name = "WHEN", default_value = "both")]
    when: When,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Compare {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = self.records.project()?;
        let loaded = project.load()?;
        let index = loaded.named(&self.decision)?;
        let Some(decision) = loaded.decision(index) else {
            let kind = loaded.kind(index).with_article();
            let error = Error::new(format!("`{}` is {kind}, not a decision", self.decision));
            return Err(error.help("give the id of a decision"));
        };
        let is_chosen = decision.chosen.is_some();
        if self.when == When::Chosen && !is_chosen {
            let error = Error::new(format!("no alternative of `{}` is chosen yet", self.decision));
            return Err(error.help("use `--when now`"));
        }
        let wants_then = is_chosen && self.when != When::Now;
        let day = self.records.day(&loaded);
        let past = if wants_then { Past::for_audit(&project, &loaded, day) } else { Past::Off };
        let study = Study::new(loaded, day, past);
        let now = View::new(&study, index, None).ok_or_else(no_goal)?;
        let choice = wants_then.then(|| choice(&study, index));
        let earlier = choice.as_ref().map(|choice| {
            let choice = choice.as_ref().map_err(Clone::clone)?;
            study_then(&project, &study, choice)
        });
        let goal = study.loaded.record(now.goal.index).id.as_str();
        let then = earlier.as_ref().map(|earlier| {
            let (study, index) = earlier.as_ref().map_err(Clone::clone)?;
            View::new(study, *index, Some(goal)).ok_or_else(|| "there was no goal".to_owned())
        });
        if let (When::Chosen, Some(Err(why))) = (self.when, &then) {
            return Err(Error::new("the state in which it was chosen cannot be evaluated").because(why));
        }
        let chosen_at = choice.as_ref().and_then(|choice| choice.as_ref().ok()).map(|choice| ChosenAt {
            commit: choice.commit(),
            later: choice
                .later_analyses(&study)
                .into_iter()
                .map(|later| (study.loaded.record(later.analysis).id.to_string(), later.commit.day, later.commit))
                .collect(),
        });
        let shown = match (self.when, &then) {
            (When::Chosen, Some(Ok(then))) => then,
            _ => &now,
        };
        let (broken, has_answer) = (shown.broken(), shown.has_answer());
        let then = then.as_ref().map(|then| then.as_ref().map_err(Clone::clone));
        let comparison = Comparison { now: &now, when: self.when, chosen_at, then };
        let text = match self.format {
            Format::Terminal => folded(shared, |ink| broken.terminal(ink) + &compare::terminal(&comparison, ink)),
            Format::Json => json::text(&compare::json(&comparison)),
        };
        Ok(Done::answer(text, has_answer))
    }
}

/// When the choice was made, or why that is not known.
fn choice(study: &Study, index: RecordId) -> Result<Choice<'_>, String> {
    let history = match study.past() {
        Past::Known(history) => history,
        Past::Off => return Err("`history: off` in the settings".to_owned()),
        other => return Err(other.reason().unwrap_or_default()),
    };
    let choice = Choice::of(study, history, index).filter(|choice| choice.commit().id.is_some());
    choice.ok_or_else(|| "the choice is not committed yet".to_owned())
}

/// The state in which the choice was made, and the decision in it.
fn study_then(project: &Project, study: &Study, choice: &Choice<'_>) -> Result<(Study, RecordId), String> {
    let then = project.study_at(choice.commit(), study).map_err(|error| error.to_string())?;
    let found = choice.ids().find_map(|id| then.loaded.find(id).filter(|index| then.loaded.decision(*index).is_some()));
    let index = found.ok_or_else(|| format!("the decision cannot be read in commit {}", choice.commit().short()))?;
    Ok((then, index))
}
