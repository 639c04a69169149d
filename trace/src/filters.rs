//! The filters of `check`: which findings of a report are shown.

use std::collections::BTreeMap;

use schema::settings::Level;
use schema::{renamed, suggest};

use crate::checks::{self, Check, Group};
use crate::finding::{Finding, Report};
use crate::ids::RecordId;
use crate::study::Study;
use crate::{Error, Loaded};

/// The largest number of names that an error lists.
const MOST_NAMES: usize = 12;

/// What findings must have to be shown; an empty filter lets all of them pass.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filters {
    /// The file, or a folder around it, relative to the project root.
    pub path: Option<String>,
    /// The lead of the record, its own or that of its system.
    pub lead: Option<String>,
    /// The system that the record is, or belongs to.
    pub system: Option<String>,
    /// The names of the checks.
    pub only: Vec<String>,
    /// The lowest level.
    pub level: Option<Level>,
}

impl Filters {
    /// Whether all findings pass.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Whether a check is named.
    pub fn names(&self, check: &str) -> bool {
        self.only.iter().any(|name| name == check)
    }

    /// The filters as a person would say them: `lead: suspension lead`.
    pub fn words(&self) -> Vec<String> {
        let mut words = Vec::new();
        words.extend(self.path.as_ref().map(|path| format!("in: {path}")));
        words.extend(self.lead.as_ref().map(|lead| format!("lead: {lead}")));
        words.extend(self.system.as_ref().map(|system| format!("system: {system}")));
        if !self.only.is_empty() {
            words.push(format!("only: {}", self.only.join(", ")));
        }
        words.extend(self.level.map(|level| format!("level: {} or above", level.word())));
        words
    }

    /// Checks that every name in the filters exists.
    ///
    /// # Errors
    /// An unknown path, lead, system or check, with the most similar one.
    pub fn verify(&self, study: &Study) -> Result<(), Error> {
        let loaded = &study.loaded;
        if let Some(path) = self.path.as_deref()
            && !loaded.snapshot.files.iter().any(|file| is_within(&file.path, path))
        {
            let error = Error::new(format!("no record file at `{}`", schema::words::shorten(path)));
            return Err(error.help("give a record file, a folder with record files, or the project root"));
        }
        if let Some(lead) = self.lead.as_deref() {
            known_lead(loaded, lead)?;
        }
        if let Some(system) = self.system.as_deref() {
            known_system(loaded, system)?;
        }
        self.only.iter().try_for_each(|name| known_check(name))
    }

    /// The findings that pass.
    pub fn apply(&self, study: &Study, report: &Report) -> Report {
        let passing =
            |list: &[Finding]| list.iter().filter(|finding| self.pass(study, finding)).cloned().collect::<Vec<_>>();
        Report {
            findings: passing(&report.findings),
            waived: passing(&report.waived),
            held_back: report.held_back.clone(),
        }
    }

    /// Whether a finding passes.
    pub fn pass(&self, study: &Study, finding: &Finding) -> bool {
        let record = || study.loaded.find(finding.record.as_deref()?);
        let graph = &study.graph;
        let of_lead = |lead: &str| record().and_then(|id| graph.lead(id)).is_some_and(|own| same_lead(own, lead));
        let in_system = |system: &str| {
            let is_system = |id: RecordId| study.loaded.record(id).id.as_str() == system;
            record().is_some_and(|id| graph.enclosing(id).any(is_system))
        };
        self.level.is_none_or(|least| finding.level >= least)
            && (self.only.is_empty() || self.names(finding.check.name))
            && self.path.as_deref().is_none_or(|path| is_within(&finding.path, path))
            && self.lead.as_deref().is_none_or(of_lead)
            && self.system.as_deref().is_none_or(in_system)
    }
}

/// Whether a file is this path, or below it.
fn is_within(file: &str, path: &str) -> bool {
    file.strip_prefix(path).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

fn same_lead(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

fn known_lead(loaded: &Loaded, lead: &str) -> Result<(), Error> {
    let mut leads: Vec<&str> =
        loaded.records().filter_map(|(_, record)| record.body.common().lead()).map(str::trim).collect();
    leads.retain(|lead| !lead.is_empty());
    leads.sort_unstable();
    leads.dedup();
    if leads.iter().any(|known| same_lead(known, lead)) {
        return Ok(());
    }
    let otherwise = some_of(&leads, "no record has a `lead`");
    let help = suggest::did_you_mean(lead.trim(), leads.iter().copied(), &otherwise);
    Err(Error::new(format!("unknown lead `{}`", schema::words::shorten(lead))).help(help))
}

fn known_system(loaded: &Loaded, id: &str) -> Result<(), Error> {
    if let Some(index) = loaded.find(id)
        && loaded.system(index).is_none()
    {
        let kind = loaded.kind(index).singular();
        let error = Error::new(format!("`{id}` is a {kind}, not a system"));
        return Err(error.help(format!("give the id of a system; `tierod why {id}` shows the one around it")));
    }
    let systems: Vec<&str> = loaded.systems().map(|(_, record, _)| record.id.as_str()).collect();
    if systems.contains(&id) {
        return Ok(());
    }
    let otherwise = some_of(&systems, "the project has no system");
    let help = suggest::did_you_mean(id, systems.iter().copied(), &otherwise);
    Err(Error::new(format!("unknown system `{}`", schema::words::shorten(id))).help(help))
}

fn known_check(name: &str) -> Result<(), Error> {
    if checks::find(name).is_some() {
        return Ok(());
    }
    if let Some((message, new)) = renamed::notice(renamed::Use::Check, name) {
        return Err(Error::new(message).help(format!("use `--only {new}`")));
    }
    let names = checks::all().iter().map(|check| check.name);
    let help = suggest::did_you_mean(name, names, "`tierod explain` lists the checks");
    Err(Error::new(format!("unknown check `{}`", schema::words::shorten(name))).help(help))
}

/// A help that lists names, or another one if there is none.
fn some_of(names: &[&str], without: &str) -> String {
    match names {
        [] => without.to_owned(),
        [..] if names.len() > MOST_NAMES => format!("use one of {}, ...", names[..MOST_NAMES].join(", ")),
        [..] => format!("use {}", suggest::any_of(names.iter().copied())),
    }
}

/// The findings of each check in the order for reading from the end: notes first and errors last, and what could not be
/// read at the very end, because other findings can follow from it. Those of a check are in the order of the report.
pub fn worst_last(findings: &[Finding]) -> Vec<Vec<&Finding>> {
    let mut checks: BTreeMap<_, Vec<&Finding>> = BTreeMap::new();
    for finding in findings {
        let key = (finding.level, finding.check.group == Group::Reading, finding.check.name);
        checks.entry(key).or_default().push(finding);
    }
    checks.into_values().collect()
}

/// The number of findings of each check, in the order of [`worst_last`].
pub fn counts_by_check(findings: &[Finding]) -> Vec<(&'static Check, Level, usize)> {
    let checks = worst_last(findings);
    checks.iter().filter_map(|all| all.first().map(|one| (one.check, one.level, all.len()))).collect()
}
