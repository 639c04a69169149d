//! Since when findings are open: the first commit, or the first day, at which each is found.
//!
//! The commits of the history (by first parents) are bisected, each evaluated on its own date. A finding that was absent
//! for a time in between can get a later or an earlier one of its beginnings. The commit before the one that was found is
//! evaluated on the date of that commit, too: if it has the finding, time caused it and not a commit, and the days in
//! between are bisected.

use std::collections::BTreeMap;
use std::sync::Arc;

use foldhash::{HashMap, HashSet};
use schema::Day;

use crate::finding::{Finding, fingerprint};
use crate::git::Project;
use crate::git::cache_file::{CacheFile, Entries};
use crate::history::state_budget::StateBudget;
use crate::history::{History, Logs, Past};
use crate::ids::CommitIndex;
use crate::load::{Loaded, ParseCache};
use crate::study::Study;
use crate::values::runs::RunKey;
use crate::values::work::Runs;

/// What caused a finding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A commit.
    Commit,
    /// A date that passed: the records were the same the day before.
    Date,
    /// A change that is not committed.
    Uncommitted,
}

impl Cause {
    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Commit => "commit",
            Self::Date => "date",
            Self::Uncommitted => "uncommitted",
        }
    }
}

/// Since when a finding is open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Since {
    /// The full id of the commit that caused it; `None` if no commit did.
    pub commit: Option<String>,
    /// The day of that commit; otherwise the first day on which it was found.
    pub day: Day,
    /// What caused it.
    pub cause: Cause,
}

/// Since when each finding is open, by fingerprint. One that cannot be followed back, or is not open yet, is missing.
pub type Beginnings = HashMap<String, Since>;

/// Since when these findings of a study are open.
///
/// `tick` is called with the number of states that are evaluated, and the number that is known to be needed so far.
///
/// # Errors
/// Why there is no history.
pub fn beginnings(
    project: &Project,
    study: &Study,
    findings: &[Finding],
    tick: &mut dyn FnMut(usize, usize),
) -> Result<Beginnings, String> {
    // That of the checks may lack records, and with them their earlier ids.
    let past = Past::load(project, &study.loaded, study.day);
    let Some(history) = past.available() else {
        return Err(past.reason().unwrap_or_default());
    };
    let mut subjects: BTreeMap<String, Subject<'_>> = BTreeMap::new();
    let committed = history.commits.iter().filter(|commit| commit.id.is_some()).count();
    let committed = CommitIndex::new(committed);
    let own = study.report();
    let open: HashSet<u64> =
        own.findings.iter().chain(&own.waived).map(|finding| number(&finding.fingerprint())).collect();
    for finding in findings.iter().filter(|finding| open.contains(&number(&finding.fingerprint()))) {
        subjects.entry(finding.fingerprint()).or_insert(Subject { finding, absent: None, present: committed });
    }
    let mut states = States::new(project, study, history);
    bisect(&mut subjects, &mut states, committed, tick);
    let all = subjects.into_iter().filter_map(|(print, subject)| {
        let since = subject.since(&mut states, committed)?;
        Some((print, since))
    });
    let all = all.collect();
    let over = states.budget.is_spent().then(|| states.budget.message("earlier commits are not evaluated"));
    states.keep();
    over.map_or(Ok(all), Err)
}

/// A finding while the commits are bisected.
struct Subject<'f> {
    finding: &'f Finding,
    /// The last commit that is known not to have it.
    absent: Option<CommitIndex>,
    /// The first one that is known to have it; the index after all commits means the state of the study.
    present: CommitIndex,
}

impl Subject<'_> {
    /// The next commit to look at; `None` if there is none between.
    fn next(&self, committed: CommitIndex) -> Option<CommitIndex> {
        let (from, to) = (self.absent.map_or(0, |absent| absent.index() + 1), self.present.index());
        if from >= to {
            return None;
        }
        // Most findings are older than the last commit.
        Some(if self.present == committed { committed.before() } else { CommitIndex::new((from + to - 1) / 2) })
    }

    /// What the bisection found, without an accusation of a commit that only came after a date had passed.
    fn since(&self, states: &mut States<'_>, committed: CommitIndex) -> Option<Since> {
        let history = states.history;
        let of_commit = history.commit(self.present).filter(|_| self.present < committed);
        let day = of_commit.map_or(states.study.day, |_| states.day(self.present));
        if let Some(before) = self.absent {
            let mut absent = states.day(before);
            if absent < day && self.is_found(states, before, day)? {
                let mut present = day;
                while absent.days_until(present) > 1 {
                    let days = i64::from(absent.days_until(present) / 2);
                    let middle = Day::from(absent.date().checked_add(jiff::Span::new().days(days)).ok()?);
                    *(if self.is_found(states, before, middle)? { &mut present } else { &mut absent }) = middle;
                }
                return Some(Since { commit: None, day: present, cause: Cause::Date });
            }
        } else if history.shallow && self.present == CommitIndex::FIRST {
            // It may be older than the clone.
            return None;
        }
        Some(match of_commit {
            Some(commit) => Since { commit: commit.id.clone(), day: commit.day, cause: Cause::Commit },
            None => Since { commit: None, day, cause: Cause::Uncommitted },
        })
    }

    /// Whether the state of a commit has the finding on a day; `None` if the state cannot be read.
    fn is_found(&self, states: &mut States<'_>, commit: CommitIndex, day: Day) -> Option<bool> {
        let print = self.print_at(states.history, commit);
        Some(states.prints(commit, day)?.contains(&print))
    }

    /// The fingerprint at a commit, where the record may have had another id.
    fn print_at(&self, history: &History, commit: CommitIndex) -> u64 {
        let id = |id: &str| {
            let record = history.record(id).filter(|record| *record.id == *id);
            let rename = record.and_then(|record| record.renames.iter().find(|(at, _)| *at > commit));
            rename.map_or_else(|| id.to_owned(), |(_, before)| before.to_string())
        };
        let finding = self.finding;
        let field: Vec<String> = finding.field.iter().flat_map(|field| field.split('.')).map(id).collect();
        let subject = finding.record.as_deref().map_or_else(|| finding.path.clone(), id);
        number(&fingerprint(finding.check.name, &subject, &field.join(".")))
    }
}

/// Narrows every subject down to a pair of neighbours. In each round the commits that any of them needs are evaluated in
/// their order, because neighbours share most files.
fn bisect(
    subjects: &mut BTreeMap<String, Subject<'_>>,
    states: &mut States<'_>,
    committed: CommitIndex,
    tick: &mut dyn FnMut(usize, usize),
) {
    let mut done = 0;
    let mut waiting: BTreeMap<CommitIndex, Vec<&mut Subject<'_>>> = BTreeMap::new();
    for subject in subjects.values_mut() {
        if let Some(next) = subject.next(committed) {
            waiting.entry(next).or_default().push(subject);
        }
    }
    loop {
        let wanted: Vec<CommitIndex> = waiting.keys().copied().collect();
        if wanted.is_empty() || states.budget.is_spent() {
            return;
        }
        let all = done + wanted.len();
        for commit in wanted {
            tick(done, all);
            done += 1;
            let day = states.day(commit);
            for subject in waiting.remove(&commit).unwrap_or_default() {
                match subject.is_found(states, commit, day) {
                    Some(true) => subject.present = commit,
                    // A state that cannot be read has no findings.
                    Some(false) | None => subject.absent = Some(commit),
                }
                if let Some(next) = subject.next(committed) {
                    waiting.entry(next).or_default().push(subject);
                }
            }
        }
    }
}

/// The fingerprint as a number.
fn number(fingerprint: &str) -> u64 {
    u64::from_str_radix(fingerprint, 16).unwrap_or_default()
}

type Prints = HashSet<u64>;

/// The findings of states of the history on dates, each evaluated once.
struct States<'s> {
    project: &'s Project,
    study: &'s Study,
    history: &'s History,
    logs: Logs,
    parsed: ParseCache,
    /// The records that were read last.
    loaded: Option<(CommitIndex, Arc<Loaded>)>,
    known: BTreeMap<(CommitIndex, Day), Option<Prints>>,
    /// `None` without a place to keep it, and in a shallow clone, where the history can become longer.
    cache: Option<CacheFile>,
    cached: Entries,
    new: Vec<(Vec<u8>, Vec<u8>)>,
    budget: StateBudget,
}

impl<'s> States<'s> {
    fn new(project: &'s Project, study: &'s Study, history: &'s History) -> Self {
        let cache = CacheFile::of_findings(project.commits(&study.loaded.snapshot)).filter(|_| !history.shallow);
        let cached = cache.as_ref().map(CacheFile::read).unwrap_or_default();
        let mut logs = Logs::default();
        // Read once here, and continued from at each commit.
        Past::for_checks(project, &mut logs, &study.loaded, study.day);
        Self {
            project,
            study,
            history,
            logs,
            parsed: ParseCache::of_many_states(),
            loaded: None,
            known: BTreeMap::new(),
            cache,
            cached,
            new: Vec::new(),
            budget: StateBudget::default(),
        }
    }

    /// The date for which a commit is evaluated: its own, never later than that of a commit after it or of the study.
    fn day(&self, commit: CommitIndex) -> Day {
        let day = self.history.commit(commit).map_or(self.study.day, |commit| commit.no_later_than);
        day.min(self.study.day)
    }

    /// The findings of a commit on a day, those that waivers accept included; `None` if its records cannot be read.
    fn prints(&mut self, commit: CommitIndex, day: Day) -> Option<&Prints> {
        if !self.known.contains_key(&(commit, day)) {
            let prints = self.find(commit, day);
            self.known.insert((commit, day), prints);
        }
        self.known.get(&(commit, day))?.as_ref()
    }

    fn find(&mut self, index: CommitIndex, day: Day) -> Option<Prints> {
        let commit = self.history.commit(index)?;
        let id = commit.id.as_deref()?;
        let key = format!("{id} {} {day}", commit.prefix).into_bytes();
        // What is in the cache counts as much as what is evaluated.
        if let Some((prints, runs, records)) = self.cached.get(&key).and_then(decode) {
            let is_within = self.budget.take_records(records as usize) && self.budget.take_models(&runs);
            return is_within.then_some(prints);
        }
        if self.budget.is_spent() {
            return None;
        }
        let loaded = match &self.loaded {
            Some((last, loaded)) if *last == index => Arc::clone(loaded),
            last => {
                let other = last.as_ref().map(|(_, loaded)| &loaded.snapshot);
                let head = &self.study.loaded.snapshot;
                Arc::new(self.project.load_commit(id, &commit.prefix, head, other, &mut self.parsed).ok()?)
            }
        };
        self.loaded = Some((index, Arc::clone(&loaded)));
        let records = loaded.entries.len() as u32;
        if !self.budget.take_records(records as usize) {
            return None;
        }
        let past = Past::for_checks(self.project, &mut self.logs.clone(), &loaded, day);
        let study = self.project.study(loaded, day, past);
        let runs = study.values().model_runs();
        if !self.budget.take_models(&runs) {
            return None;
        }
        let report = study.report();
        let all = report.findings.iter().chain(&report.waived);
        let prints: Prints = all.map(|finding| number(&finding.fingerprint())).collect();
        if self.cache.is_some() {
            self.new.push((key, encode(&prints, &runs, records)));
        }
        Some(prints)
    }

    /// Keeps what was evaluated for the next run.
    fn keep(self) {
        if let (Some(cache), false) = (&self.cache, self.new.is_empty()) {
            let new: Vec<(&[u8], Vec<u8>)> = self.new.iter().map(|(key, value)| (&**key, value.clone())).collect();
            cache.write(&self.cached, &new);
        }
    }
}

/// The bytes of findings, in their order as numbers, with the number of records of the state and the runs of its models.
fn encode(prints: &Prints, runs: &Runs, records: u32) -> Vec<u8> {
    let mut all: Vec<u64> = prints.iter().copied().collect();
    all.sort_unstable();
    let mut bytes = Vec::with_capacity(8 + OF_RUN * runs.len() + 8 * all.len());
    bytes.extend(records.to_le_bytes());
    bytes.extend((runs.len() as u32).to_le_bytes());
    for (key, work) in runs {
        bytes.extend(key.bytes());
        bytes.extend(work.to_le_bytes());
    }
    bytes.extend(all.iter().flat_map(|print| print.to_le_bytes()));
    bytes
}

/// The number of bytes of a run.
const OF_RUN: usize = 32 + 4;

/// The findings, runs and number of records of these bytes; `None` if they are not what [`encode`] writes.
fn decode(bytes: &[u8]) -> Option<(Prints, Runs, u32)> {
    let (records, rest) = bytes.split_first_chunk::<4>()?;
    let records = u32::from_le_bytes(*records);
    let (count, rest) = rest.split_first_chunk::<4>()?;
    let end = usize::try_from(u32::from_le_bytes(*count)).ok()?.checked_mul(OF_RUN)?;
    let (runs, prints) = rest.split_at_checked(end)?;
    let run = |bytes: &[u8; OF_RUN]| {
        let (key, work) = bytes.split_first_chunk::<32>()?;
        Some((RunKey::of_bytes(*key), u32::from_le_bytes(work.try_into().ok()?)))
    };
    let runs: Option<Runs> = runs.as_chunks::<OF_RUN>().0.iter().map(run).collect();
    let (all, rest) = prints.as_chunks::<8>();
    let all: Vec<u64> = all.iter().map(|bytes| u64::from_le_bytes(*bytes)).collect();
    (rest.is_empty() && all.is_sorted_by(|a, b| a < b)).then_some((all.into_iter().collect(), runs?, records))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn findings_are_read_as_they_were_written() {
        let prints: Prints = [3, u64::MAX, 7].into_iter().collect();
        for runs in [Runs::new(), vec![(RunKey::of([&b"lap"[..]]), 7); 3]] {
            let bytes = encode(&prints, &runs, 9);
            assert_eq!(decode(&bytes), Some((prints.clone(), runs, 9)));
            assert_eq!(decode(&bytes[1..]), None);
            assert_eq!(decode(&bytes[..bytes.len() - 1]), None);
        }
        let bytes = encode(&prints, &Runs::new(), 0);
        assert_eq!(decode(&[&bytes[..8], &bytes[16..], &bytes[8..16]].concat()), None, "not sorted");
        assert_eq!(decode(&encode(&Prints::default(), &Runs::new(), 0)), Some((Prints::default(), Runs::new(), 0)));
        assert_eq!(decode(&[]), None);
    }
}
