//! `history`: the history of one record, commit by commit.

use clap::Args;
use schema::suggest;
use trace::Error;
use trace::history::{Past, commit_state, story};

use super::{Done, Format, folded};
use crate::args::{Records, Shared};
use crate::output::{history, json};
use crate::screen::{Progress, clean};

/// The largest number of values in the chart.
const POINTS: usize = 60;

/// The arguments of `history`.
#[derive(Args)]
pub(crate) struct History {
    /// The id of a record (current or earlier), or an amount, as in `rack.mass` or `car.mass`
    id: String,
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl History {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = self.records.project()?;
        let study = self.records.study_of(&project)?;
        let (loaded, day) = (&study.loaded, study.day);
        let past = Past::load(&project, loaded, day);
        let Some(all) = past.available().filter(|all| !all.commits.is_empty()) else {
            let error =
                Error::new("no history to show").because(past.reason().unwrap_or_else(|| "no commit yet".to_owned()));
            return Err(error.help(match past {
                Past::OutsideOfGit => {
                    "run `git init`, then commit the records: `history` shows every commit that changes them"
                }
                Past::Known(_) | Past::Shallow(_) | Past::None(_) | Past::Off => {
                    "commit the records: `history` shows every commit that changes them"
                }
            }));
        };
        let (id, amount) = self.id.split_once('.').map_or((self.id.as_str(), None), |(id, a)| (id, Some(a)));
        let car = id == schema::words::CAR && amount.is_some();
        let record = all.record(id);
        if record.is_none() && !car {
            if loaded.renamed(id).is_some() {
                return Err(loaded.no_record(id, all.ids()));
            }
            let help = suggest::did_you_mean(id, all.ids(), "`tierod graph --format json` lists all records");
            return Err(Error::new(format!("no record with id `{}` in any commit", clean(id))).help(help));
        }
        let mut progress = Progress::new();
        let states = commit_state::states(&project, loaded, all, POINTS, &mut |done, all| progress.tick(done, all));
        let story = history::Story {
            history: all,
            record,
            name: &self.id,
            amount,
            events: story::Stories::new(all).rows(record, amount),
            line: story::values_over_time(all, record, &self.id, &states.all),
            note: past.reason(),
            not_evaluated: states.note(),
        };
        Ok(match self.format {
            Format::Terminal => folded(shared, |ink| history::terminal(&story, ink)),
            Format::Json => json::text(&history::json(&story)),
        }
        .into())
    }
}
