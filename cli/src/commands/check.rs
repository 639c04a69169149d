//! `check`: the findings of all checks.

use std::mem::ManuallyDrop;

use clap::Args;
use trace::delta::{ExistingFindings, Parents};
use trace::history::Logs;
use trace::load::ParseCache;
use trace::{Error, Project, Study};

use super::{Done, FindingsFormat};
use crate::args::{Records, Shared};
use crate::output::delta::FindingChanges;
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
                let parents = parents(&project, &study, pool, logs).map(ManuallyDrop::new);
                if let Ok(parents) = &parents {
                    parents.evaluate_reports();
                }
                parents
            })
        });
        let report = study.report();
        // Only the findings that the next commit adds are reported; those that existed before are counted.
        let parents = match earlier {
            Some(Err(_)) if report.findings.is_empty() => None,
            earlier => earlier.transpose()?,
        };
        let delta = parents.as_ref().map(|parents| trace::Delta::of_findings(parents, &study));
        let split = delta.as_ref().map(ExistingFindings::split);
        let (report, older) = match &split {
            Some((new, older)) => (new, Some(older)),
            None if subtracts => (report, Some(&NO_EXISTING)),
            None => (report, None),
        };
        let next = delta.as_ref().map(|delta| FindingChanges { delta, head: &study });
        // Formats that list waived findings mark them; the others omit them.
        let all: Vec<_> = report.findings.iter().chain(&report.waived).map(|finding| (finding, None)).collect();
        let prefix = &study.loaded.snapshot.prefix;
        let text = match self.format {
            FindingsFormat::Terminal => {
                let ink = Ink::stdout(shared);
                let changes = next.as_ref().map(|next| next.terminal(ink)).unwrap_or_default();
                changes + &terminal::check(&study, report, older, ink)
            }
            FindingsFormat::Json => json::check(&study, report, older, next.as_ref()),
            FindingsFormat::Sarif => sarif::text(&all, prefix),
            FindingsFormat::Lines => lines::text(&all, &Paths::new(&study.loaded)),
            FindingsFormat::Github => github::text(&all, prefix),
            FindingsFormat::Gitlab => gitlab::text(&all, prefix),
        };
        let errors = older.map_or_else(|| report.has_errors(), |older| older.stopping > 0);
        Ok(Done { text, errors })
    }
}

/// The counts of older findings if there is no finding at all, and the last commit cannot be read.
const NO_EXISTING: ExistingFindings = ExistingFindings { counts: [0; 3], stopping: 0 };

/// The last commit and, during a merge, what is merged, evaluated for the same date.
fn parents(project: &Project, study: &Study, mut pool: ParseCache, mut logs: Logs) -> Result<Parents, Error> {
    let revisions = project.parents_of_next_commit(&study.loaded.snapshot)?;
    project.parents(&revisions, &study.loaded, study.day, &mut pool, &mut logs)
}
