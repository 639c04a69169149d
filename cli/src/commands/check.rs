//! `check`: what is open or broken.

use clap::Args;
use schema::settings::Level;
use trace::compare::Side;
use trace::graph::Graph;
use trace::history::{Logs, Past};
use trace::load::Pool;
use trace::values::Values;
use trace::{Delta, Error, Finding, Project, Report};

use super::{Done, FindingsFormat};
use crate::args::{Records, Shared};
use crate::output::{Paths, github, gitlab, json, lines, sarif, terminal};
use crate::screen::Ink;

/// Tell what is open or broken.
#[derive(Args)]
pub(crate) struct Check {
    #[command(flatten)]
    records: Records,
    /// With --staged: tell and count what stood before, too, and not only what the next commit brings
    #[arg(long, requires = "staged")]
    all: bool,
    /// The form of the report
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: FindingsFormat,
}

impl Check {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = self.records.project()?;
        let mut pool = Pool::default();
        let loaded = if self.records.staged { project.load_with(&mut pool)? } else { project.load()? };
        let graph = Graph::new(&loaded);
        let values = Values::new(&graph);
        let day = self.records.day(&loaded);
        let mut logs = Logs::default();
        let past = Past::for_checks_with(&project, &mut logs, &loaded, day);
        let mut report =
            Report::with_history(&values, day, &past, |step| project.values_at(&loaded, past.whole()?, step));
        // A commit answers for what it brings; what stood before is for those who brought it.
        let older = if self.records.staged && !self.all {
            let new = brought(&project, &values, &report, pool, logs)?;
            Some(Older::split(&mut report, new))
        } else {
            None
        };
        // Formats that tell waived findings mark them; the others leave them out.
        let all: Vec<_> = report.findings.iter().chain(&report.waived).map(|finding| (finding, None)).collect();
        let prefix = &loaded.snapshot.prefix;
        let text = match self.format {
            FindingsFormat::Terminal => terminal::check(&report, older.as_ref(), &values, Ink::stdout(shared)),
            FindingsFormat::Json => json::check(&report, older.as_ref(), &loaded),
            FindingsFormat::Sarif => sarif::text(&all, prefix),
            FindingsFormat::Lines => lines::text(&all, &Paths::new(&loaded)),
            FindingsFormat::Github => github::text(&all, prefix),
            FindingsFormat::Gitlab => gitlab::text(&all, prefix),
        };
        Ok(Done { text, errors: report.has_errors() })
    }
}

/// How many findings stood before the next commit, by level.
pub(crate) struct Older {
    /// Errors, warnings and notes.
    pub(crate) counts: [usize; 3],
}

impl Older {
    /// Leaves the new findings in the report, and counts the others.
    fn split(report: &mut Report, new: Vec<Finding>) -> Self {
        let all = LEVELS.map(|level| report.count(level));
        report.findings = new;
        let new = LEVELS.map(|level| report.count(level));
        Self { counts: [0, 1, 2].map(|at| all[at] - new[at]) }
    }

    /// All of them.
    pub(crate) fn sum(&self) -> usize {
        self.counts.iter().sum()
    }
}

/// The levels of findings, worst first.
const LEVELS: [Level; 3] = [Level::Error, Level::Warning, Level::Note];

/// The findings that the last commit does not have.
fn brought(
    project: &Project,
    values: &Values<'_, '_>,
    report: &Report,
    mut pool: Pool,
    mut logs: Logs,
) -> Result<Vec<Finding>, Error> {
    if report.findings.is_empty() {
        return Ok(Vec::new());
    }
    let before = project.load_before("HEAD", &values.graph.loaded.snapshot, &mut pool)?;
    let graph = Graph::new(&before);
    let old = Values::new(&graph);
    let past = Past::for_checks_with(project, &mut logs, &before, report.day);
    let old_report =
        Report::with_history(&old, report.day, &past, |step| project.values_at(&before, past.whole()?, step));
    let delta = Delta::findings(Side { values: &old, report: &old_report }, Side { values, report });
    Ok(delta.new)
}
