//! The evaluated state at a commit: the values of its complete value graph, calculated from its records.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::Unit;
use serde::{Deserialize, Serialize};

use super::state_budget::StateBudget;
use super::{Commit, CommitIndex, History};
use crate::git::Project;
use crate::git::cache_file::CacheFile;
use crate::graph::Graph;
use crate::ids::NodeId;
use crate::load::{Loaded, ParseCache};
use crate::values::runs::RunKey;
use crate::values::work::Runs;
use crate::values::{Key, Limit, Status, Values};

/// A value at a commit.
#[derive(Clone, Debug, PartialEq)]
pub struct PastValue {
    /// The value in SI, if there was one.
    pub value: Option<f64>,
    /// The expanded uncertainty (k = 2), in SI.
    pub uncertainty: f64,
    /// The interval that contains 95 % of its outcomes, in SI; `None` if it is exact.
    pub interval: Option<(f64, f64)>,
    /// The chance that a goal was reached; `None` for other values, and once all its events have a result.
    pub chance: Option<f64>,
    /// The limit in SI, of a target.
    pub limit: Option<Limit>,
    /// The status of a target.
    pub status: Option<Status>,
    /// The origin of the value, as a word.
    pub origin: String,
    /// The unit to show it in.
    pub unit: String,
}

impl PastValue {
    /// The value with its uncertainty, as text.
    pub fn shown(&self) -> String {
        let unit = Unit::parse(&self.unit).unwrap_or_else(|_| Unit::dimensionless());
        self.value.map_or_else(|| "no value".to_owned(), |value| unit.show(value, self.uncertainty))
    }
}

/// The evaluated state at a commit: targets, events and goals by their ids, amounts of the car and of systems by names
/// like `car.mass`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CommitState {
    values: HashMap<String, PastValue>,
}

impl CommitState {
    /// A target, an event or a goal by its id; an amount of the car or of a system by a name like `car.mass`.
    pub fn get(&self, name: &str) -> Option<&PastValue> {
        self.values.get(name)
    }

    /// All values, sorted by name.
    pub fn all(&self) -> Vec<(&str, &PastValue)> {
        let mut all: Vec<(&str, &PastValue)> = self.values.iter().map(|(name, past)| (name.as_str(), past)).collect();
        all.sort_unstable_by_key(|(name, _)| *name);
        all
    }

    /// Evaluates loaded records; `None` if they or their models are over the budget. Returns the runs of the models, too.
    fn evaluate(loaded: &Arc<Loaded>, budget: &mut StateBudget) -> Option<(Self, Runs)> {
        if !budget.take_records(loaded.entries.len()) {
            return None;
        }
        let values = Values::new(&Arc::new(Graph::new(loaded)));
        let runs = values.model_runs();
        // Uncertainties, and the derivatives that they need, are calculated below: most of the work.
        if !budget.take_models(&runs) {
            return None;
        }
        let mut past = HashMap::new();
        let without_limit = |node: NodeId| {
            let spread = values.spread(node);
            PastValue {
                value: spread.as_ref().map(|spread| spread.mean),
                interval: spread.as_ref().filter(|own| own.low < own.high).map(|own| (own.low, own.high)),
                uncertainty: spread.map_or(0.0, |spread| spread.uncertainty),
                chance: None,
                limit: None,
                status: None,
                origin: String::new(),
                unit: values.unit(node).to_string(),
            }
        };
        for target in values.target_statuses() {
            let origin = values.origin(target.index).word().to_owned();
            let (limit, status) = (Some(target.limit), Some(target.status));
            let value = PastValue { limit, status, origin, ..without_limit(target.node) };
            past.insert(values.name(target.node), value);
        }
        for index in loaded.record_ids() {
            // Events and goals; targets are above, with their limits.
            if let Some(node) = values.record_node(index).filter(|_| loaded.target(index).is_none()) {
                let origin = values.origin(index).word().to_owned();
                let chance = values.chance_of(index);
                past.insert(values.name(node), PastValue { origin, chance, ..without_limit(node) });
            }
        }
        for (node, key) in values.nodes() {
            // The amounts of single parts are omitted: they are in their records, and there are too many of them.
            if matches!(key, Key::Group(..)) && values.value(node).is_some() {
                let whole = values.whole(node);
                let origin = if whole == node { "total" } else { "result" };
                past.insert(values.name(node), PastValue { origin: origin.to_owned(), ..without_limit(whole) });
            }
        }
        Some((Self { values: past }, runs))
    }
}

/// The evaluated state at one commit of a history; `None` if its records cannot be read any more.
pub fn state_at(
    project: &Project,
    loaded: &Arc<Loaded>,
    history: &History,
    commit: CommitIndex,
) -> Option<CommitState> {
    states_of(project, loaded, &[history.commit(commit)?], &mut |_, _| {}).all.pop().flatten()
}

/// The evaluated states over a history.
#[derive(Debug, Default)]
pub struct States {
    /// The states, each with its commit.
    pub all: Vec<(CommitIndex, CommitState)>,
    /// The number of commits that are not evaluated, because their models need too much work, or because all commits have
    /// too many records.
    over_limit: usize,
    budget: StateBudget,
}

impl States {
    /// What is missing, as a note; `None` if nothing is.
    pub fn note(&self) -> Option<String> {
        let commits = match self.over_limit {
            0 => return None,
            1 => "1 commit is".to_owned(),
            count => format!("{count} commits are"),
        };
        Some(self.budget.message(&format!("{commits} not evaluated")))
    }
}

/// The evaluated states over a history: at every commit if there are at most `most`, otherwise at the last commit of
/// each of `most` equal periods.
///
/// `tick` is called with the number of states that are evaluated, and the number of all.
pub fn states(
    project: &Project,
    loaded: &Arc<Loaded>,
    history: &History,
    most: usize,
    tick: &mut dyn FnMut(usize, usize),
) -> States {
    let chosen = last_of_periods(&history.commits, most);
    let commits: Vec<&Commit> = chosen.iter().map(|commit| &history.commits[*commit]).collect();
    let Evaluated { all, over_limit, budget } = states_of(project, loaded, &commits, tick);
    let all = chosen.iter().zip(all).filter_map(|(commit, state)| Some((*commit, state?))).collect();
    States { all, over_limit, budget }
}

/// The last commit of each period, by dates that never decrease.
fn last_of_periods(commits: &[Commit], most: usize) -> Vec<CommitIndex> {
    if commits.len() <= most {
        return CommitIndex::all(commits.len()).collect();
    }
    let (Some(first), Some(last)) = (commits.first(), commits.last()) else { return Vec::new() };
    let days = first.no_later_than.days_until(last.no_later_than).max(1) as usize;
    let period = |commit: &Commit| {
        let day = first.no_later_than.days_until(commit.no_later_than).max(0) as usize;
        (day * most / (days + 1)).min(most - 1)
    };
    let is_last =
        |at: &CommitIndex| commits.get(at.index() + 1).is_none_or(|next| period(next) != period(&commits[*at]));
    let mut chosen: Vec<CommitIndex> = CommitIndex::all(commits.len()).filter(is_last).collect();
    // Dates that go back in time may give more periods than asked for.
    let surplus = chosen.len().saturating_sub(most);
    chosen.drain(..surplus);
    chosen
}

/// The states of some commits, `None` for those that are not evaluated.
struct Evaluated {
    all: Vec<Option<CommitState>>,
    /// The number of those over the limit.
    over_limit: usize,
    budget: StateBudget,
}

/// The states of these commits: from the cache, or from their records.
fn states_of(
    project: &Project,
    loaded: &Arc<Loaded>,
    commits: &[&Commit],
    tick: &mut dyn FnMut(usize, usize),
) -> Evaluated {
    let cache = CacheFile::of_states(project.commits(&loaded.snapshot));
    let cached = cache.as_ref().map(CacheFile::read).unwrap_or_default();
    let mut new: Vec<(&[u8], Vec<u8>)> = Vec::new();
    let (mut all, mut parsed, mut before) = (Vec::new(), ParseCache::of_many_states(), None::<Arc<Loaded>>);
    let (mut budget, mut over_limit) = (StateBudget::default(), 0);
    for (done, commit) in commits.iter().enumerate() {
        tick(done, commits.len());
        let Some(id) = &commit.id else {
            let state = CommitState::evaluate(loaded, &mut budget);
            over_limit += usize::from(state.is_none());
            all.push(state.map(|(state, _)| state));
            continue;
        };
        let tree = commit.tree.as_bytes();
        // A state from the cache counts as much as one that is evaluated.
        if let Some((state, runs, records)) = cached.get(tree).and_then(decode) {
            let is_within = budget.take_records(records as usize) && budget.take_models(&runs);
            over_limit += usize::from(!is_within);
            all.push(is_within.then_some(state));
            continue;
        }
        let other = before.as_ref().map(|before| &before.snapshot);
        let then = project.load_commit(id, &commit.prefix, &loaded.snapshot, other, &mut parsed);
        let Ok(then) = then.map(Arc::new) else {
            all.push(None);
            continue;
        };
        let records = then.entries.len() as u32;
        let state = CommitState::evaluate(&then, &mut budget);
        before = Some(then);
        over_limit += usize::from(state.is_none());
        all.push(state.map(|(state, runs)| {
            new.extend(encode(&state, &runs, records).map(|bytes| (tree, bytes)));
            state
        }));
    }
    if let (Some(cache), false) = (cache, new.is_empty()) {
        cache.write(&cached, &new);
    }
    Evaluated { all, over_limit, budget }
}

/// A value of a state, as it is in the cache.
#[derive(Serialize, Deserialize)]
struct StoredValue<'b> {
    name: &'b str,
    value: Option<f64>,
    uncertainty: f64,
    interval: Option<(f64, f64)>,
    chance: Option<f64>,
    /// The lower and the upper limit.
    limit: Option<(Option<f64>, Option<f64>)>,
    /// The word of the status.
    #[serde(borrow)]
    status: Option<&'b str>,
    origin: &'b str,
    unit: &'b str,
}

/// The bytes of a state of so many records; `None` if they could not be read again.
fn encode(state: &CommitState, runs: &Runs, records: u32) -> Option<Vec<u8>> {
    let all = state.all();
    let stored = all.iter().map(|(name, past)| StoredValue {
        name,
        value: past.value,
        uncertainty: past.uncertainty,
        interval: past.interval,
        chance: past.chance,
        limit: past.limit.map(|limit| (limit.at_least, limit.at_most)),
        status: past.status.map(Status::word),
        origin: &past.origin,
        unit: &past.unit,
    });
    let all: Vec<StoredValue<'_>> = stored.collect();
    let runs: Vec<([u8; 32], u32)> = runs.iter().map(|(key, work)| (key.array(), *work)).collect();
    postcard::to_stdvec(&(records, runs, all)).ok()
}

/// The state of these bytes, with its runs and the number of its records; `None` if they are not what [`encode`] writes.
fn decode(bytes: &[u8]) -> Option<(CommitState, Runs, u32)> {
    type Stored<'b> = (u32, Vec<([u8; 32], u32)>, Vec<StoredValue<'b>>);
    let ((records, runs, all), rest): (Stored<'_>, &[u8]) = postcard::take_from_bytes(bytes).ok()?;
    let in_order = all.windows(2).all(|pair| pair[0].name < pair[1].name);
    if !rest.is_empty() || !in_order {
        return None;
    }
    let mut values = HashMap::with_capacity(all.len());
    for stored in all {
        let status = match stored.status {
            Some(word) => Some(Status::from_word(word)?),
            None => None,
        };
        let limit = stored.limit.map(|(at_least, at_most)| Limit { at_least, at_most });
        let ends = limit.into_iter().flat_map(|limit| [limit.at_least, limit.at_most]);
        // A missing value is `None`, and an uncertainty is the root of a sum of squares.
        let (uncertainty, interval) = (stored.uncertainty, stored.interval);
        let is_order = interval.is_none_or(|(low, high)| low < high);
        let is_chance = stored.chance.is_none_or(|chance| (0.0..=1.0).contains(&chance));
        if ends.chain([stored.value]).flatten().any(f64::is_nan) || uncertainty < 0.0 || !is_order || !is_chance {
            return None;
        }
        let (origin, unit) = (stored.origin.to_owned(), stored.unit.to_owned());
        let (value, chance) = (stored.value, stored.chance);
        let past = PastValue { value, uncertainty, interval, chance, limit, status, origin, unit };
        values.insert(stored.name.to_owned(), past);
    }
    let runs = runs.into_iter().map(|(key, work)| (RunKey::of_bytes(key), work)).collect();
    Some((CommitState { values }, runs, records))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_commit_of_each_period() {
        let days = ["2027-01-01", "2027-01-02", "2027-01-10", "2027-01-11", "2027-01-12", "2027-01-20"];
        let commits = super::super::scripted(&days.map(|day| (day, ""))).commits;
        let positions = |commits: &[Commit], most| {
            last_of_periods(commits, most).into_iter().map(CommitIndex::index).collect::<Vec<_>>()
        };
        assert_eq!(positions(&commits, 6), [0, 1, 2, 3, 4, 5]);
        // 1 to 10 January, 11 to 20 January.
        assert_eq!(positions(&commits, 2), [2, 5]);
        assert_eq!(positions(&commits, 1), [5]);
        assert_eq!(positions(&[], 3), [0; 0]);
    }

    /// A state with a value of every status.
    fn of_every_status() -> CommitState {
        let value = |(number, status): (usize, Status)| {
            let limit = Some(Limit { at_least: None, at_most: Some(2.0) });
            let (origin, unit) = ("estimate".to_owned(), "kg".to_owned());
            let (status, interval, chance) = (Some(status), Some((1.45, 1.6)), Some(0.75));
            let past = PastValue { value: Some(1.5), uncertainty: 0.1, interval, chance, limit, status, origin, unit };
            (format!("target-{number}"), past)
        };
        let mut values: HashMap<String, PastValue> = Status::ALL.into_iter().enumerate().map(value).collect();
        let (origin, unit) = ("total".to_owned(), "kg".to_owned());
        let (limit, status, interval, chance) = (None, None, None, None);
        let total = PastValue { value: None, uncertainty: 0.0, interval, chance, limit, status, origin, unit };
        values.insert("car.mass".to_owned(), total);
        CommitState { values }
    }

    #[test]
    fn a_state_is_read_as_it_was_written() {
        let runs: Runs = vec![(RunKey::of([&b"lap"[..]]), 7), (RunKey::of([&b"circle"[..]]), u32::MAX)];
        let bytes = encode(&of_every_status(), &runs, 300).unwrap();
        assert_eq!(decode(&bytes), Some((of_every_status(), runs, 300)));
        for length in 0..bytes.len() {
            assert_eq!(decode(&bytes[..length]), None, "{length}");
        }
        assert_eq!(decode(&[&bytes[..], &[0]].concat()), None);
        // No panic, even if a checksum held.
        for at in 0..bytes.len() {
            for bits in [0x01, 0x81, 0xff] {
                let mut damaged = bytes.clone();
                damaged[at] ^= bits;
                if let Some((state, ..)) = decode(&damaged) {
                    state.all().iter().for_each(|(_, past)| drop(past.shown()));
                }
            }
        }
    }

    /// If the order of the statuses in the code changes, stored states keep their meaning.
    #[test]
    fn statuses_are_stored_by_word() {
        let bytes = encode(&of_every_status(), &Runs::new(), 1).unwrap();
        let occurs = |bytes: &[u8], word: &str| bytes.windows(word.len()).any(|part| part == word.as_bytes());
        for status in Status::ALL {
            assert!(occurs(&bytes, status.word()), "{status:?}");
            assert_eq!(Status::from_word(status.word()), Some(status));
        }
        let unknown = bytes.iter().map(|byte| if *byte == b'm' { b'n' } else { *byte }).collect::<Vec<_>>();
        assert!(occurs(&unknown, "nissed") && decode(&unknown).is_none(), "an unknown word is not guessed");
    }

    #[test]
    fn impossible_values_are_refused() {
        let state = |change: fn(&mut PastValue)| {
            let mut state = of_every_status();
            state.values.values_mut().for_each(change);
            encode(&state, &Runs::new(), 1).unwrap()
        };
        assert!(decode(&state(|_| {})).is_some());
        assert_eq!(decode(&state(|past| past.value = Some(f64::NAN))), None);
        assert_eq!(decode(&state(|past| past.uncertainty = -0.1)), None);
        assert_eq!(decode(&state(|past| past.interval = Some((2.0, 1.0)))), None);
        assert_eq!(decode(&state(|past| past.chance = Some(f64::NAN))), None);
        assert_eq!(decode(&state(|past| past.chance = Some(1.5))), None);
        assert_eq!(decode(&state(|past| past.interval = Some((f64::NAN, 1.0)))), None);
        assert_eq!(decode(&state(|past| past.limit = Some(Limit { at_least: Some(f64::NAN), at_most: None }))), None);
    }
}
