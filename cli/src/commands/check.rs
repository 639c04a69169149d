//! `check`: the findings of all checks.

use std::mem::ManuallyDrop;

use clap::{Args, ValueEnum};
use schema::Day;
use schema::settings::Level;
use trace::delta::{ExistingFindings, Parents};
use trace::history::Logs;
use trace::load::ParseCache;
use trace::snapshot::Source;
use trace::{Due, Error, Filters, Project, Report, Study, since};

use super::{Done, FindingsFormat, folded};
use crate::args::{Records, Shared, today};
use crate::output::check::CheckView;
use crate::output::delta::FindingChanges;
use crate::output::{Paths, csv, github, gitlab, grids, json, lines, sarif, terminal};
use crate::screen::{Progress, word};

/// What the exit status means, and how `--since` finds what it shows.
const AFTER_HELP: &str = "\
Exit status: 1 if a finding that is reported is an error (after filters; with `--staged` without existing findings), 2 if \
tierod could not do its work (also for an unknown name in a filter), otherwise 0.

`--since` bisects the history by first parents and evaluates each commit for its own date. The finding may have been \
absent for a time since then. If a date that was reached caused it, and no commit, the first day is shown.

On a terminal, the findings of a check after the tenth are counted; in a file or a pipe all are printed.";

/// The arguments of `check`.
#[derive(Args)]
#[command(after_help = AFTER_HELP, mut_arg("root", |arg| arg.value_name("PATH").help(PATH_HELP)))]
pub(crate) struct Check {
    #[command(flatten)]
    records: Records,
    /// With --staged: also report findings that existed before, not only those that the next commit adds
    #[arg(long, requires = "staged")]
    all: bool,
    /// Only findings about records with this lead, their own or that of their system
    #[arg(long, value_name = "ROLE", help_heading = FILTERS)]
    lead: Option<String>,
    /// Only findings about this system and everything in it
    #[arg(long, value_name = "ID", help_heading = FILTERS)]
    system: Option<String>,
    /// Only findings of this check; can be given several times
    #[arg(long, value_name = "CHECK", help_heading = FILTERS)]
    only: Vec<String>,
    /// Only findings at this level or above
    #[arg(long, value_name = "LEVEL", help_heading = FILTERS)]
    level: Option<LeastLevel>,
    /// Only what is due until this date if the records stay as they are: errors in the stage of that date, and
    /// verifications and waivers whose date is reached
    #[arg(long, value_name = "DATE", value_parser = Day::parse, conflicts_with = "staged", help_heading = FILTERS)]
    due: Option<Day>,
    /// Show one line per check: level, number of findings, name
    #[arg(long, conflicts_with = "since")]
    summary: bool,
    /// Show since when each finding is open: the commit and its day
    #[arg(long)]
    since: bool,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: FindingsFormat,
}

const FILTERS: &str = "Filters";
const PATH_HELP: &str = "The project root (folder with tierod.yaml), or a file or folder in it: then only its findings \
                         are reported [default: search upwards from here]";

/// The levels of `--level`.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum LeastLevel {
    /// Everything
    Note,
    /// Warnings and errors
    Warning,
    /// Errors
    Error,
}

impl LeastLevel {
    fn level(self) -> Level {
        match self {
            Self::Note => Level::Note,
            Self::Warning => Level::Warning,
            Self::Error => Level::Error,
        }
    }
}

impl Check {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        if self.summary && !matches!(self.format, FindingsFormat::Terminal) {
            let error = Error::new("`--summary` is for the format `terminal`");
            return Err(error.help("remove `--format`; JSON has the counts under `summary`"));
        }
        if self.since && !matches!(self.format, FindingsFormat::Terminal | FindingsFormat::Json) {
            let error = Error::new("`--since` is for the formats `terminal` and `json`");
            return Err(error.help("the other formats cannot show it: remove one of the two options"));
        }
        let project = self.records.project()?;
        let mut pool = ParseCache::default();
        let loaded = project.load_with(&mut pool)?;
        let day = self.records.day(&loaded);
        let mut logs = Logs::default();
        // The process ends after the report: freeing a large study would take a tenth of the time.
        let subtracts = self.records.staged && !self.all;
        let (study, earlier) = project.study_for_checks_while(loaded, day, &mut logs, |study, logs| {
            subtracts.then(|| parents(&project, study, pool, logs).map(ManuallyDrop::new))
        });
        let study = ManuallyDrop::new(study);
        let filters = self.filters(&project, &study)?;
        if let Some(Ok(parents)) = &earlier {
            study.report_during(|| parents.evaluate_reports());
        }
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
        let due = self.due.map(|date| Due::until(&project, &study, date)).transpose()?;
        let (report, unfiltered) = match &due {
            Some(due) => (&due.report, due.all),
            None => (report, report.findings.len()),
        };
        let filtered = (!filters.is_empty()).then(|| filters.apply(&study, report));
        let report = filtered.as_ref().unwrap_or(report);

        let view = CheckView {
            study: &study,
            report,
            older,
            next: delta.as_ref().map(|delta| FindingChanges { delta, head: &study }),
            filters: &filters,
            due: self.due,
            unfiltered,
            off: project.switched_off(&study),
            since: self.since.then(|| beginnings(&project, &study, report)),
            last_commit: self.old_clone(&project, &study),
            command: self.command(),
            summary: self.summary,
        };
        // Formats that list waived findings mark them; the others omit them.
        let all: Vec<_> = report.findings.iter().chain(&report.waived).map(|finding| (finding, None)).collect();
        let prefix = &study.loaded.snapshot.prefix;
        let text = match self.format {
            FindingsFormat::Terminal => folded(shared, |ink| terminal::check(&view, ink)),
            FindingsFormat::Json => json::check(&view),
            FindingsFormat::Sarif => sarif::text(&all, prefix),
            FindingsFormat::Lines => lines::text(&all, &Paths::new(&study.loaded)),
            FindingsFormat::Github => github::text(&all, prefix),
            FindingsFormat::Gitlab => gitlab::text(&all, prefix),
            FindingsFormat::Csv => {
                csv::text(&grids::findings::grid(all.iter().map(|(finding, _)| *finding), &study.loaded))
            }
        };
        let stopping =
            |delta: &trace::Delta| delta.stopping(delta.stops.commit).any(|finding| filters.pass(&study, finding));
        let errors = delta.as_ref().map_or_else(|| report.has_errors(), stopping);
        Ok(Done { errors, commands: matches!(self.format, FindingsFormat::Github), ..text.into() })
    }

    /// The filters, with names that exist.
    fn filters(&self, project: &Project, study: &Study) -> Result<Filters, Error> {
        let named = self.records.root.as_ref().and_then(|_| project.path_within(&study.loaded.snapshot));
        let filters = Filters {
            path: named,
            lead: self.lead.clone(),
            system: self.system.clone(),
            only: self.only.clone(),
            level: self.level.map(LeastLevel::level),
        };
        filters.verify(study)?;
        Ok(filters)
    }

    /// The day of the last commit, if it is so long ago that it is probably the date to use as today: nothing else gives a
    /// date, and no commit is being made.
    fn old_clone(&self, project: &Project, study: &Study) -> Option<Day> {
        const OLD: i32 = 60;
        let snapshot = &study.loaded.snapshot;
        if snapshot.source != Source::Worktree || self.records.on.is_some() || snapshot.settings.as_of.is_some() {
            return None;
        }
        project.last_commit_day(snapshot).filter(|day| day.days_until(today()) > OLD)
    }

    /// This command without a choice of checks, as it can be typed again.
    fn command(&self) -> String {
        let mut words = vec!["tierod check".to_owned()];
        let mut option = |name: &str, value: Option<String>| {
            words.extend(value.map(|value| format!("{name} {}", word(&value))));
        };
        option("--rev", self.records.rev.clone());
        option("--on", self.records.on.map(|day| day.to_string()));
        option("--lead", self.lead.clone());
        option("--system", self.system.clone());
        option("--due", self.due.map(|day| day.to_string()));
        words.extend(self.records.staged.then(|| "--staged".to_owned()));
        words.extend(self.all.then(|| "--all".to_owned()));
        words.extend(self.records.root.as_ref().map(|root| word(&root.to_string_lossy())));
        words.join(" ")
    }
}

/// The counts of older findings if there is no finding at all, and the last commit cannot be read.
const NO_EXISTING: ExistingFindings = ExistingFindings { counts: [0; 3], stopping: 0 };

/// The last commit and, during a merge, what is merged, evaluated for the same date.
fn parents(project: &Project, study: &Study, mut pool: ParseCache, logs: &mut Logs) -> Result<Parents, Error> {
    let revisions = project.parents_of_next_commit(&study.loaded.snapshot)?;
    project.parents(&revisions, &study.loaded, study.day, &mut pool, logs)
}

/// Since when the findings of a report are open.
fn beginnings(project: &Project, study: &Study, report: &Report) -> Result<since::Beginnings, String> {
    let mut progress = Progress::new();
    since::beginnings(project, study, &report.findings, &mut |done, all| progress.tick(done, all))
}
