//! `worth`: how many points one unit, or 1 %, of each value is worth.

use clap::Args;
use trace::{Error, RecordId, Study};

use super::{Done, Format};
use super::{folded, points::no_goal};
use crate::args::{Records, Shared};
use crate::output::{json, worth};

/// The arguments of `worth`.
#[derive(Args)]
pub(crate) struct Worth {
    /// Show only this value: a target, or an amount, as in `car.mass` or `front-upright.mass`
    id: Option<String>,
    /// Count only the points of this event
    #[arg(long, value_name = "ID")]
    event: Option<String>,
    /// Show all values, including those under `given`, and not only the first twenty
    #[arg(long)]
    all: bool,
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Worth {
    pub(super) fn run(mut self, shared: &Shared) -> Result<Done, Error> {
        self.records.take_root(&mut self.id);
        let study = self.records.study()?;
        let values = study.values_on_paper();
        let goal = values.goals().first().cloned().ok_or_else(no_goal)?;
        let event = match &self.event {
            None => None,
            Some(id) => Some(find_event(&study, id)?),
        };
        let of = event.and_then(|event| values.record_node(event)).unwrap_or(goal.node);
        let sensitivities = values.worth_of_all(of);
        let named = match &self.id {
            None => None,
            Some(id) => {
                let Some(node) = values.named(id) else {
                    if study.loaded.renamed(id).is_some() {
                        return Err(study.loaded.no_record(id, std::iter::empty()));
                    }
                    let names = values.nodes().map(|(node, _)| values.name(node)).collect::<Vec<_>>();
                    let names = names.iter().map(String::as_str);
                    let help = schema::suggest::did_you_mean(id, names, "`tierod values` lists all values");
                    return Err(Error::new(format!("no value with id `{}`", crate::screen::clean(id))).help(help));
                };
                let worth = values.worth_of_value(node, &sensitivities);
                Some(worth.ok_or_else(|| Error::new(format!("`{id}` has no value")).help("add an estimate"))?)
            }
        };
        let report = worth::ShownWorth {
            study: &study,
            values,
            goal: &goal,
            event,
            leaves: if named.is_some() { Vec::new() } else { values.worth_of_leaves(&sensitivities) },
            car: if named.is_some() { Vec::new() } else { values.worth_of_car(&sensitivities) },
            named,
            most: if self.all { usize::MAX } else { 20 },
        };
        let broken = report.broken();
        let text = match self.format {
            Format::Terminal => folded(shared, |ink| broken.terminal(ink) + &worth::terminal(&report, ink)),
            Format::Json => json::text(&worth::json(&report, &broken)),
        };
        Ok(Done::answer(text, !broken.has_errors() && report.is_complete()))
    }
}

/// The event with an id.
fn find_event(study: &Study, id: &str) -> Result<RecordId, Error> {
    let loaded = &study.loaded;
    let found = loaded.find(id);
    if let Some(event) = found.filter(|found| loaded.event(*found).is_some()) {
        return Ok(event);
    }
    let shown = crate::screen::clean(id);
    let events = || loaded.events().map(|(_, record, _)| record.id.as_str());
    let all = format!("the events are {}", schema::suggest::any_of(events()));
    Err(match found {
        Some(found) => {
            Error::new(format!("`{shown}` is {}, not an event", loaded.kind(found).with_article())).help(all)
        }
        None if loaded.renamed(id).is_some() => loaded.no_record(id, events()),
        None => {
            let help = schema::suggest::did_you_mean(id, events(), &all);
            Error::new(format!("no event with id `{shown}`")).help(help)
        }
    })
}
