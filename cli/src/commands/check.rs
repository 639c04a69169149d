//! `check`: the findings of all checks.

use std::mem::ManuallyDrop;

use clap::Args;
use trace::delta::ExistingFindings;
use trace::history::Logs;
use trace::load::ParseCache;
use trace::{Error, Project, Study};

use super::{Done, FindingsFormat};
use crate::args::{Records, Shared};
use crate::output::{Paths, github, gitlab, json, lines, sarif, terminal};
use crate::screen::Ink;

/// The arguments of `check`.
#[derive(Args)]
pub(crate) struct Check {
    #[command(flatten)]
    records: Records,
    /// With --staged: also report findings that existed before, not only those that the next commit adds
    #[arg(long, requires = "staged")]
    all: bool,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: FindingsFormat,
}

impl Check {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = self.records.project()?;
        let mut pool = ParseCache::default();
        let loaded = project.load_with(&mut pool)?;
        let day = self.records.day(&loaded);
        let mut logs = Logs::default();
        // The process ends after the report: freeing a large study would take a tenth of the time.
        let study = ManuallyDrop::new(project.study_for_checks(loaded, day, &mut logs));
        let subtracts = self.records.staged && !self.all;
        let earlier = subtracts.then(|| {
            study.report_during(|| {
                let earlier = before(&project, &study, pool, logs).map(ManuallyDrop::new);
                if let Ok(earlier) = &earlier {
                    earlier.report();
                }
                earlier
            })
        });
        let report = study.report();
        // Only the findings that the next commit adds are reported; those that existed before are counted.
        let split = match earlier {
            Some(earlier) if !report.findings.is_empty() => {
                let earlier = earlier?;
                Some(ExistingFindings::split(&earlier, &study))
            }
            _ => None,
        };
        let (report, older) = match &split {
            Some((new, older)) => (new, Some(older)),
            None if subtracts => (report, Some(&NO_EXISTING)),
            None => (report, None),
        };
        // Formats that list waived findings mark them; the others omit them.
        let all: Vec<_> = report.findings.iter().chain(&report.waived).map(|finding| (finding, None)).collect();
        let prefix = &study.loaded.snapshot.prefix;
        let text = match self.format {
            FindingsFormat::Terminal => terminal::check(&study, report, older, Ink::stdout(shared)),
            FindingsFormat::Json => json::check(&study, report, older),
            FindingsFormat::Sarif => sarif::text(&all, prefix),
            FindingsFormat::Lines => lines::text(&all, &Paths::new(&study.loaded)),
            FindingsFormat::Github => github::text(&all, prefix),
            FindingsFormat::Gitlab => gitlab::text(&all, prefix),
        };
        Ok(Done { text, errors: report.has_errors() })
    }
}

/// The counts of older findings if there is no finding at all.
const NO_EXISTING: ExistingFindings = ExistingFindings { counts: [0; 3] };

/// The last commit, evaluated for the same date.
fn before(project: &Project, study: &Study, mut pool: ParseCache, mut logs: Logs) -> Result<Study, Error> {
    let loaded = project.load_before("HEAD", &study.loaded.snapshot, &mut pool)?;
    Ok(project.study_for_checks(loaded, study.day, &mut logs))
}
