//! `export`: the records and their numbers as a workbook for a spreadsheet.

use std::path::PathBuf;

use clap::{Args, ValueHint};
use trace::Error;

use super::{Done, Format, folded};
use crate::args::{Records, Shared};
use crate::output::budget::ShownBudgets;
use crate::output::grids::values::Which;
use crate::output::workbook::{self, Sheet};
use crate::output::{grids, json, points, values};
use crate::screen::clean;

const AFTER_HELP: &str = "\
Sheets, one table each: Parts, Budgets, Targets, Amounts, Results, Points, and About with the season, commit and date.
Parts has the amounts of one piece, in the unit that most parts use: `tierod import` reads them back.
Budgets has each budget once: `budget` is the one that it is a share of, so add up the rows without it.
Amounts has those of the systems, as in `brakes.cost`, with all that is in them.
The column `record` is the file and line of each record; ids in the other columns link to their row.
With the same records and `--on DATE` the file has the same bytes.";

/// The arguments of `export`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct Export {
    /// The workbook to write, ending in .xlsx
    #[arg(value_name = "FILE", value_hint = ValueHint::FilePath)]
    file: PathBuf,
    /// Replace the file if it already exists
    #[arg(long)]
    replace: bool,
    #[command(flatten)]
    records: Records,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Export {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        if !self.file.extension().is_some_and(|ending| ending.eq_ignore_ascii_case("xlsx")) {
            let error = Error::new(format!("{} does not end in .xlsx", clean(&self.file.to_string_lossy())));
            return Err(error.help("`export` writes workbooks of this kind: name the file as in `car.xlsx`"));
        }
        trace::git::may_be_written(&self.file, self.replace)?;
        let project = self.records.project()?;
        let study = self.records.study_of(&project)?;
        let all = |_: &trace::values::Budget| true;
        let report = ShownBudgets { values: study.values(), budgets: study.budgets(), wanted: &all, day: study.day };
        let broken = values::broken(&study);
        let sheets = [
            Sheet { name: "Parts", grid: grids::parts::grid(&study)? },
            Sheet { name: "Budgets", grid: grids::budgets::grid(&study, &report, &report.broken()) },
            Sheet { name: "Targets", grid: grids::values::grid(&study, &broken, Which::Targets) },
            Sheet { name: "Amounts", grid: grids::values::grid(&study, &broken, Which::Amounts) },
            Sheet { name: "Results", grid: grids::results::grid(&study) },
            Sheet { name: "Points", grid: grids::points::grid(&study, &points::broken(&study)) },
            Sheet { name: "About", grid: grids::about::grid(&project, &study) },
        ];
        let title = study.settings().season.map_or_else(|| "tierod".to_owned(), |season| format!("Season {season}"));
        let bytes = workbook::bytes(&sheets, &title, study.day)?;
        trace::git::write_file(&self.file, &bytes, self.replace)?;
        Ok(match self.format {
            Format::Terminal => {
                let rows = sheets
                    .iter()
                    .take(sheets.len() - 1)
                    .map(|sheet| format!("{} {}", sheet.name, sheet.grid.rows.len()));
                let rows = rows.collect::<Vec<_>>().join(", ");
                let file = clean(&self.file.to_string_lossy());
                folded(shared, |ink| broken.terminal(ink) + &format!("wrote {file}; rows: {rows}\n"))
            }
            Format::Json => json::text(&serde_json::json!({
                "version": 1,
                "broken": broken.json(),
                "file": self.file.to_string_lossy(),
                "sheets": sheets.iter().map(|sheet| serde_json::json!({
                    "name": sheet.name,
                    "rows": sheet.grid.rows.len(),
                })).collect::<Vec<_>>(),
            })),
        }
        .into())
    }
}
