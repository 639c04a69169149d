//! Where everything stood at a commit: the whole value graph, as the records had it then.

use foldhash::{HashMap, HashMapExt as _};
use schema::quantity::Unit;
use schema::records::Body;
use sha2::{Digest as _, Sha256};

use super::cache::{Cache, Source, put_number, put_text};
use super::{Commit, History};
use crate::git::Project;
use crate::graph::Graph;
use crate::load::{Loaded, Pool};
use crate::values::{Key, Limit, Status, Values};

/// A value as it stood.
#[derive(Clone, Debug, PartialEq)]
pub struct Stood {
    /// The value in SI, if there was one.
    pub value: Option<f64>,
    /// The expanded uncertainty (k = 2), in SI.
    pub uncertainty: f64,
    /// The limit in SI, for a target.
    pub limit: Option<Limit>,
    /// Where it stood, for a target.
    pub status: Option<Status>,
    /// Where the value came from, in a word.
    pub origin: String,
    /// The unit to show it in.
    pub unit: String,
}

impl Stood {
    /// The value with its uncertainty, for a person.
    pub fn shown(&self) -> String {
        let unit = Unit::parse(&self.unit).unwrap_or_else(|_| Unit::one());
        self.value.map_or_else(|| "no value".to_owned(), |value| unit.show(value, self.uncertainty))
    }
}

/// Where everything stood: targets, events and goals by their ids, amounts of the car as in `car.mass`.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outlook {
    stood: HashMap<String, Stood>,
}

impl Outlook {
    /// A target, an event or a goal by its id; an amount of the car or a system as in `car.mass`.
    pub fn get(&self, name: &str) -> Option<&Stood> {
        self.stood.get(name)
    }

    /// All of it, in the order of the names.
    pub fn all(&self) -> Vec<(&str, &Stood)> {
        let mut all: Vec<(&str, &Stood)> = self.stood.iter().map(|(name, stood)| (name.as_str(), stood)).collect();
        all.sort_unstable_by_key(|(name, _)| *name);
        all
    }

    /// Where everything stands in records that were loaded.
    pub fn of(loaded: &Loaded) -> Self {
        let graph = Graph::new(loaded);
        let values = Values::new(&graph);
        let gradients = values.gradients();
        let mut stood = HashMap::new();
        let one = |node: usize| Stood {
            value: values.value(node),
            uncertainty: gradients.uncertainty(&values.network, node),
            limit: None,
            status: None,
            origin: String::new(),
            unit: values.unit(node).to_string(),
        };
        for standing in values.standings(&gradients) {
            let origin = values.origin(standing.index).word().to_owned();
            let (limit, status) = (Some(standing.limit), Some(standing.status));
            stood.insert(values.name(standing.node), Stood { limit, status, origin, ..one(standing.node) });
        }
        for (index, entry) in loaded.entries.iter().enumerate() {
            if let (Body::Event(_) | Body::Goal(_), Some(node)) = (&entry.record.body, values.of_record(index)) {
                let origin = values.origin(index).word().to_owned();
                stood.insert(values.name(node), Stood { origin, ..one(node) });
            }
        }
        for (node, key) in values.keys.iter().enumerate() {
            // The amounts of single parts are in their records as they are; there are too many to keep.
            if matches!(key, Key::Group(..)) && values.value(node).is_some() {
                stood.insert(values.name(node), Stood { origin: "total".to_owned(), ..one(node) });
            }
        }
        Self { stood }
    }
}

/// The outlook of one step; `None` if its records can no longer be read.
pub fn at(project: &Project, loaded: &Loaded, history: &History, step: usize) -> Option<Outlook> {
    evaluate(project, loaded, &[history.steps.get(step)?], &mut |_, _| {}).pop().flatten()
}

/// The outlooks over a history: of every step where there are no more than `most`, else of the last step in each of so
/// many equal slots of time.
///
/// `tick` is told how many are evaluated, of how many.
pub fn outlooks(
    project: &Project,
    loaded: &Loaded,
    history: &History,
    most: usize,
    tick: &mut dyn FnMut(usize, usize),
) -> Vec<(usize, Outlook)> {
    let chosen = slots(&history.steps, most);
    let steps: Vec<&Commit> = chosen.iter().map(|step| &history.steps[*step]).collect();
    let all = chosen.iter().zip(evaluate(project, loaded, &steps, tick));
    all.filter_map(|(step, outlook)| Some((*step, outlook?))).collect()
}

/// The last step of each slot, by days that never go back.
fn slots(steps: &[Commit], most: usize) -> Vec<usize> {
    if steps.len() <= most {
        return (0..steps.len()).collect();
    }
    let (Some(first), Some(last)) = (steps.first(), steps.last()) else { return Vec::new() };
    let whole = first.no_later_than.days_until(last.no_later_than).max(1) as usize;
    let slot = |step: &Commit| {
        let days = first.no_later_than.days_until(step.no_later_than).max(0) as usize;
        (days * most / (whole + 1)).min(most - 1)
    };
    let ends = (0..steps.len()).filter(|at| steps.get(at + 1).is_none_or(|next| slot(next) != slot(&steps[*at])));
    let mut ends: Vec<usize> = ends.collect();
    // Clocks that went back may make more slots than asked for.
    let surplus = ends.len().saturating_sub(most);
    ends.drain(..surplus);
    ends
}

fn evaluate(
    project: &Project,
    loaded: &Loaded,
    steps: &[&Commit],
    tick: &mut dyn FnMut(usize, usize),
) -> Vec<Option<Outlook>> {
    let cache = Cache::of_outlooks(project.commits(&loaded.snapshot));
    let content = cache.as_ref().and_then(Cache::unchecked).unwrap_or_default();
    let kept = entries(&content);
    let mut new: Vec<(&str, Vec<u8>)> = Vec::new();
    let (mut all, mut pool, mut before) = (Vec::new(), Pool::of_many_states(), None::<Loaded>);
    for (done, step) in steps.iter().enumerate() {
        tick(done, steps.len());
        if step.id.is_none() {
            all.push(Some(Outlook::of(loaded)));
            continue;
        }
        let known = kept.iter().find(|(tree, ..)| *tree == step.tree).and_then(|(_, sum, bytes)| read(sum, bytes));
        let outlook = known.or_else(|| {
            let other = before.as_ref().map(|before| &before.snapshot);
            let commit = step.id.as_deref()?;
            let then = project.load_commit(commit, &step.prefix, &loaded.snapshot, other, &mut pool).ok()?;
            let outlook = Outlook::of(&then);
            before = Some(then);
            new.push((&step.tree, bytes_of(&outlook)));
            Some(outlook)
        });
        all.push(outlook);
    }
    if let (Some(cache), false) = (cache, new.is_empty()) {
        cache.put_unchecked(&joined(&kept, &new));
    }
    all
}

/// What is kept of outlooks: the tree, the checksum of the rest, and the rest.
type Kept<'b> = (&'b str, &'b [u8], &'b [u8]);

fn entries(content: &[u8]) -> Vec<Kept<'_>> {
    let mut source = Source { bytes: content };
    let mut all = Vec::new();
    let mut next = || {
        let tree = source.text()?;
        let length = source.number()? as usize;
        Some((tree, source.take(32)?, source.take(length)?))
    };
    while let Some(entry) = next() {
        all.push(entry);
    }
    all
}

/// All entries, the newest first; what is damaged or too much is left out.
fn joined(kept: &[Kept<'_>], new: &[(&str, Vec<u8>)]) -> Vec<u8> {
    const MOST_BYTES: usize = 32 << 20;
    let mut out = Vec::new();
    let fresh = new.iter().map(|(tree, bytes)| (*tree, bytes.as_slice()));
    let old = kept.iter().filter(|(tree, sum, bytes)| sum_of(bytes) == **sum && new.iter().all(|(own, _)| own != tree));
    for (tree, bytes) in fresh.chain(old.map(|(tree, _, bytes)| (*tree, *bytes))) {
        if out.len() + bytes.len() > MOST_BYTES {
            break;
        }
        put_text(&mut out, tree);
        put_number(&mut out, bytes.len() as u32);
        out.extend_from_slice(&sum_of(bytes));
        out.extend_from_slice(bytes);
    }
    out
}

fn sum_of(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

const STATUSES: [Status; 5] = [Status::Met, Status::Missed, Status::OnCourse, Status::OffCourse, Status::Open];

fn bytes_of(outlook: &Outlook) -> Vec<u8> {
    let mut out = Vec::new();
    let all = outlook.all();
    put_number(&mut out, all.len() as u32);
    for (name, stood) in all {
        put_text(&mut out, name);
        let limit = stood.limit.unwrap_or(Limit { at_least: None, at_most: None });
        for number in [stood.value, Some(stood.uncertainty), limit.at_least, limit.at_most] {
            out.extend_from_slice(&number.unwrap_or(f64::NAN).to_le_bytes());
        }
        let status = stood.status.and_then(|status| STATUSES.iter().position(|known| *known == status));
        put_number(&mut out, status.map_or(u32::MAX, |at| at as u32));
        put_text(&mut out, &stood.origin);
        put_text(&mut out, &stood.unit);
    }
    out
}

fn read(sum: &[u8], bytes: &[u8]) -> Option<Outlook> {
    if sum_of(bytes) != sum {
        return None;
    }
    let mut source = Source { bytes };
    let all = source.list(48, |source| {
        let name = source.text()?.to_owned();
        let mut number = || Some(f64::from_le_bytes(source.take(8)?.try_into().ok()?));
        let numbers = [number()?, number()?, number()?, number()?];
        let [value, uncertainty, at_least, at_most] = numbers;
        let some = |number: f64| (!number.is_nan()).then_some(number);
        let status = STATUSES.get(source.number()? as usize).copied();
        let limit = status.map(|_| Limit { at_least: some(at_least), at_most: some(at_most) });
        let (origin, unit) = (source.text()?.to_owned(), source.text()?.to_owned());
        Some((name, Stood { value: some(value), uncertainty, limit, status, origin, unit }))
    })?;
    source.bytes.is_empty().then(|| Outlook { stood: all.into_iter().collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_step_of_each_slot() {
        let days = ["2027-01-01", "2027-01-02", "2027-01-10", "2027-01-11", "2027-01-12", "2027-01-20"];
        let steps = super::super::scripted(&days.map(|day| (day, ""))).steps;
        assert_eq!(slots(&steps, 6), [0, 1, 2, 3, 4, 5]);
        // 1 to 10 January, 11 to 20 January.
        assert_eq!(slots(&steps, 2), [2, 5]);
        assert_eq!(slots(&steps, 1), [5]);
        assert_eq!(slots(&[], 3), [0; 0]);
    }

    #[test]
    fn an_outlook_is_read_as_it_was_written() {
        let limit = Some(Limit { at_least: None, at_most: Some(2.0) });
        let (origin, unit) = ("estimate".to_owned(), "kg".to_owned());
        let stood = Stood { value: Some(1.5), uncertainty: 0.1, limit, status: Some(Status::OnCourse), origin, unit };
        let outlook = Outlook { stood: HashMap::from_iter([("a".to_owned(), stood)]) };
        let bytes = bytes_of(&outlook);
        assert_eq!(read(&sum_of(&bytes), &bytes), Some(outlook));
        let file = joined(&[], &[("tree", bytes.clone())]);
        let kept = entries(&file);
        assert_eq!(kept, [("tree", &sum_of(&bytes)[..], &bytes[..])]);
        // An older version of the same tree gives way.
        assert_eq!(joined(&kept, &[("tree", bytes)]), file);
    }
}
