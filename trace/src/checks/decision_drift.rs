//! `decision-drift`: a value that a choice was judged on has changed.

use schema::records::{Alternative, Setting};
use schema::{Id, Ref};

use super::{About, Check, Group, Note, RecordId, Reporter, Study};
use crate::finding::Finding;
use crate::measure::Measure;
use crate::values::Effect;

/// The smallest change that is reported, as a ratio, if it is also larger than the uncertainty.
const REPORTED_CHANGE: f64 = 0.02;

pub(super) static CHECK: Check = Check {
    name: "decision-drift",
    group: Group::Values,
    about: About::Car,
    levels: [Note; 5],
    reports: "A decision whose chosen alternative was judged on a value that has changed since, by more than 2 % and \
              by more than the uncertainty of both values.",
    why: "With the current values, another alternative may be better.",
    fix: "Compare the alternatives with the current values (`tierod compare`). If the choice is still right, update \
          `sets`.",
    bad_example: "\
targets:
  hub-stiffness: {of: suspension, at-least: 2 kN/mm, estimate: 3 kN/mm}
decisions:
  hub-material:
    chosen: steel
    alternatives: {steel: {sets: {hub-stiffness: 2.5 kN/mm}}, alloy: {sets: {hub-stiffness: 2 kN/mm}}}",
    good_example: "\
targets:
  hub-stiffness: {of: suspension, at-least: 2 kN/mm, estimate: 3 kN/mm}
decisions:
  hub-material:
    chosen: steel
    alternatives: {steel: {sets: {hub-stiffness: 3 kN/mm}}, alloy: {sets: {hub-stiffness: 2 kN/mm}}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for (index, record, _) in study.loaded.decisions() {
        let help = format!("run `tierod compare {}` with the current values", record.id);
        for drift in of(study, index) {
            reporter.report(index, &drift.route(), drift.message(), &help);
            if let Some(measure) = drift.measure {
                reporter.measured(measure);
            }
        }
    }
}

/// A value that a choice was judged on and that has changed since.
#[derive(Clone, Debug)]
pub struct Drift<'s> {
    /// The key of the chosen alternative.
    pub alternative: &'s str,
    /// The value that it sets, by its name.
    pub to: &'s str,
    /// What the alternative sets and what is in the car now, each as text; `None` if the alternative is without something
    /// that is in the car now.
    pub values: Option<[String; 2]>,
    measure: Option<Measure>,
}

impl Drift<'_> {
    /// The keys below the decision that set the value.
    fn route(&self) -> [&str; 4] {
        ["alternatives", self.alternative, "sets", self.to]
    }

    fn message(&self) -> String {
        let Self { alternative, to, .. } = self;
        match &self.values {
            Some([set, now]) => format!("alternative {alternative} was chosen with {to} at {set}; it is now {now}"),
            None => format!("alternative {alternative} was chosen without {to}, which is in the car now"),
        }
    }
}

/// The values that the choice of a decision was judged on and that have changed since.
fn of(study: &Study, decision: RecordId) -> Vec<Drift<'_>> {
    let Some((name, alternative)) = chosen(study, decision) else { return Vec::new() };
    let sets = alternative.sets.iter();
    sets.filter_map(|(to, setting)| drift_of(study, (name, alternative), (to, to.as_str()), setting)).collect()
}

/// The chosen alternative of a decision, with its name.
fn chosen(study: &Study, decision: RecordId) -> Option<(&Id, &Alternative)> {
    let decision = study.loaded.decision(decision)?;
    let name = decision.chosen.as_ref()?;
    Some((name, decision.alternatives.get(name.as_str())?))
}

/// A value that an alternative sets, if it has changed since.
fn drift_of<'s>(
    study: &'s Study,
    (name, alternative): (&'s Id, &'s Alternative),
    (to, text): (&Ref, &'s str),
    setting: &'s Setting,
) -> Option<Drift<'s>> {
    let values = study.values();
    let drift = |values| Drift { alternative: name.as_str(), to: text, values, measure: None };
    match values.effect(alternative, to, setting) {
        Ok(Effect::Value { node, value: then, uncertainty, .. }) => {
            let now = values.value(node)?;
            let own = study.gradients().uncertainty(&values.network, node);
            let (change, within) = ((now - then).abs(), uncertainty.unwrap_or(0.0).hypot(own));
            let is_changed = change > REPORTED_CHANGE * then.abs() && change > within;
            is_changed.then(|| {
                let unit = values.unit(node);
                let texts = [setting.value.to_string(), unit.show(now, 0.0)];
                Drift { measure: Some(Measure::of(change, now, unit)), ..drift(Some(texts)) }
            })
        }
        Ok(Effect::Count(part, ratio)) if ratio != 1.0 => {
            let now = study.loaded.part(part).and_then(|part| part.count).unwrap_or(1);
            Some(drift(Some([setting.value.to_string(), now.to_string()])))
        }
        Ok(Effect::Without(_)) => Some(drift(None)),
        // A changed list or table changes the values that are judged. What cannot be set is an error of its own.
        Ok(Effect::Count(..) | Effect::Input(..) | Effect::List(..) | Effect::Table(..)) | Err(_) => None,
    }
}

/// The value that a finding about a decision is about, if it is one of this check.
pub fn drift<'s>(study: &'s Study, decision: RecordId, finding: &'s Finding) -> Option<Drift<'s>> {
    let field = finding.field.as_deref().filter(|_| finding.check.name == CHECK.name)?;
    let (name, alternative) = chosen(study, decision)?;
    let set = field.strip_prefix("alternatives.")?.strip_prefix(name.as_str())?.strip_prefix(".sets.")?;
    let (to, setting) = (Ref::new(set).ok()?, alternative.sets.get(set)?);
    drift_of(study, (name, alternative), (&to, set), setting)
}
