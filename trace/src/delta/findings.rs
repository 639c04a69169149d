//! Findings by fingerprint: those of head except those of its parents, and those that became worse or better.

use std::borrow::Cow;
use std::cell::{OnceCell, RefCell};
use std::collections::VecDeque;

use foldhash::{HashMap, HashMapExt as _, HashSet, HashSetExt as _};
use schema::read::PossibleIds;
use schema::settings::Level;

use super::renames::likely;
use super::settings::BothRules;
use super::{Delta, MeasureChange, Parents, Postponed, Renames, postponed};
use crate::Loaded;
use crate::checks::{About, Group};
use crate::finding::{Finding, Report, fingerprint};
use crate::held_back::Unread;
use crate::ids::{FileId, RecordId};
use crate::measure::Measure;
use crate::report::Rules;
use crate::snapshot::Content;
use crate::study::Study;
use crate::values::GoalPoints;

/// The fingerprint that a finding of base has in head, where records can have other ids.
fn renamed(finding: &Finding, renames: &Renames) -> String {
    let subject = finding.record.as_deref().map_or(finding.path.as_str(), |id| renames.id(id));
    let field = finding.field.as_deref().map(|field| renames.route(field));
    fingerprint(finding.check.name, subject, field.as_deref().unwrap_or(""))
}

/// The files of both states, because a finding about a file is identified by its path, which can change.
struct FilesByPath<'l>([HashMap<&'l str, &'l Content>; 2]);

impl<'l> FilesByPath<'l> {
    fn new(base: &'l Loaded, head: &'l Loaded) -> Self {
        let by_path = |loaded: &'l Loaded| loaded.snapshot.files.iter().map(|file| (&*file.path, &file.content));
        Self([base, head].map(|loaded| by_path(loaded).collect()))
    }

    /// Whether the file of one finding was moved to that of another one.
    fn is_moved(&self, old: &Finding, new: &Finding) -> bool {
        let [base, head] = &self.0;
        let same_bytes = || match (base.get(&*old.path), head.get(&*new.path)) {
            (Some(Ok(old)), Some(Ok(new))) => old == new,
            _ => false,
        };
        let moved = || !head.contains_key(&*old.path) && !base.contains_key(&*new.path);
        moved() || same_bytes()
    }
}

/// The findings of an earlier state that head has too.
struct Matches<'p> {
    /// The finding of the earlier state for each finding of head.
    earlier: Vec<Option<&'p Finding>>,
    /// The findings that head does not have.
    left: Vec<&'p Finding>,
}

/// Of the findings about files that say the same, so many are compared with a new one: whether their files were moved.
const MOST_ALIKE: usize = 1000;

/// The findings of an earlier state that are not matched yet.
#[derive(Default)]
struct Left<'p> {
    all: Vec<Option<&'p Finding>>,
    /// Those with a fingerprint, in their order.
    of_print: HashMap<String, VecDeque<usize>>,
    /// Those with a fingerprint and a message.
    of_message: HashMap<(String, &'p str), VecDeque<usize>>,
}

impl<'p> Left<'p> {
    fn add(&mut self, print: String, finding: &'p Finding) {
        self.of_print.entry(print.clone()).or_default().push_back(self.all.len());
        self.of_message.entry((print, &finding.message)).or_default().push_back(self.all.len());
        self.all.push(Some(finding));
    }

    fn take_with_message(&mut self, print: &str, message: &'p str) -> Option<&'p Finding> {
        let at = self.of_message.get_mut(&(print.to_owned(), message))?.pop_front()?;
        self.all[at].take()
    }

    /// The first one with a fingerprint. Then no other is asked for by its message.
    fn take_first(&mut self, print: &str) -> Option<&'p Finding> {
        let known = self.of_print.get_mut(print)?;
        std::iter::from_fn(|| known.pop_front()).find_map(|at| self.all[at].take())
    }
}

/// Matches the findings of an earlier state with those of head.
///
/// A check can report several findings about one field, with one fingerprint. As many of them match as both states have.
fn matches<'p>(
    renames: &Renames,
    earlier: &'p [Finding],
    findings: &'p [Finding],
    [base, head]: [&Loaded; 2],
) -> Matches<'p> {
    let mut left = Left::default();
    for finding in earlier {
        left.add(renamed(finding, renames), finding);
    }
    let mut unmatched: Vec<(String, usize)> = Vec::new();
    let mut matched: Vec<Option<&Finding>> = vec![None; findings.len()];
    // Findings with the same message are matched before others.
    for (index, finding) in findings.iter().enumerate() {
        let print = finding.fingerprint();
        match left.take_with_message(&print, &finding.message) {
            Some(same) => matched[index] = Some(same),
            None => unmatched.push((print, index)),
        }
    }
    let mut of_files: Vec<usize> = Vec::new();
    for (print, index) in unmatched {
        // The first of those left, so that the comparison from head to base matches the same two.
        matched[index] = left.take_first(&print);
        if matched[index].is_none() && findings[index].record.is_none() {
            of_files.push(index);
        }
    }
    let mut left: Vec<Option<&Finding>> = left.all.into_iter().filter(Option::is_some).collect();
    left.sort_by_cached_key(|own| own.map(|own| (own.sort_key(), own.record.as_deref())));
    if !of_files.is_empty() {
        let says = |finding: &'p Finding| (finding.check.name, finding.field.as_deref(), finding.message.as_str());
        let mut of_text: HashMap<_, VecDeque<usize>> = HashMap::new();
        for (at, old) in left.iter().enumerate() {
            if let Some(old) = old.as_ref().filter(|old| old.record.is_none()) {
                of_text.entry(says(old)).or_default().push_back(at);
            }
        }
        let files = FilesByPath::new(base, head);
        for index in of_files {
            let new = &findings[index];
            let Some(same) = of_text.get_mut(&says(new)) else { continue };
            let is_moved = |at: &usize| left[*at].is_some_and(|old| files.is_moved(old, new));
            if let Some(at) = same.iter().take(MOST_ALIKE).position(is_moved).and_then(|place| same.remove(place)) {
                matched[index] = left[at].take();
            }
        }
    }
    Matches { earlier: matched, left: left.into_iter().flatten().collect() }
}

/// The levels that apply to a comparison: those of base, because a change of the levels neither adds nor fixes a finding.
/// If the levels of base cannot be read, those of head.
fn rules<'s>(base: &'s Study, head: &'s Study) -> Rules<'s> {
    let of_levels = |found: &crate::load::FileProblem| {
        let key = found.problem.route.first().map(String::as_str);
        found.file.index() == 0 && matches!(key, None | Some("levels" | "stages" | "stops"))
    };
    if base.loaded.problems.iter().any(of_levels) { head.rules() } else { base.rules() }
}

/// Sorts the findings into new, uncovered, fixed and unchanged ones, and finds which of those became worse or better.
pub(super) fn compare(parents: &Parents, head: &Study, delta: &mut Delta) {
    let first = &parents.first.seen;
    let rules = rules(first, head);
    delta.stops = rules.settings.stops;
    let after = head.report_under(rules);
    let findings = &after.findings;
    let reports: Vec<Cow<'_, Report>> = parents.all().map(|parent| parent.report_under(rules)).collect();
    let compared: Vec<(Renames, Matches<'_>)> = parents
        .all()
        .zip(&reports)
        .map(|(parent, report)| {
            let renames = Renames::new(&parent.loaded, &head.loaded);
            let matches = matches(&renames, &report.findings, findings, [&parent.loaded, &head.loaded]);
            (renames, matches)
        })
        .collect();
    let (seen, repaired) = compared.split_at(1 + parents.others.len());
    let Some((renames, matches)) = seen.first() else { return };

    let both = BothRules::new(renames, first, &parents.first.known().loaded, head);
    delta.settings = both.changes([&reports[0], &after]);
    for ((renames, _), other) in seen.iter().zip(parents.seen()).skip(1) {
        // What another parent of a merge has already is no change of this one.
        let changed = BothRules::new(renames, other, &other.loaded, head).changes([&reports[0], &after]);
        let keys: HashSet<&str> = changed.iter().map(|also| also.key.as_str()).collect();
        delta.settings.retain(|change| keys.contains(change.key.as_str()));
    }
    delta.postponed = postponed::compare(parents, renames, head);
    let postponed = PostponedRecords::new(&delta.postponed, first, head);

    let hidden = Hidden::new(parents, head);
    let removed = RemovedNames::new(parents, head);
    for (index, finding) in findings.iter().enumerate() {
        let earlier = |all: &[(Renames, Matches<'_>)]| all.iter().any(|(_, of)| of.earlier[index].is_some());
        // Of a finding that was held back in an earlier state, how bad it was is known from the repaired state.
        let measures = compared.iter().filter_map(|(_, of)| of.earlier[index]?.measure.as_ref());
        delta.compare_measures(measures, finding, &postponed);
        let list = if earlier(seen) {
            &mut delta.unchanged
        } else if (earlier(repaired) || hidden.explains(finding) || both.uncover(finding)) && !removed.are_in(finding) {
            &mut delta.uncovered
        } else {
            &mut delta.new
        };
        list.push(finding.clone());
    }
    let mut left = matches.left.clone();
    match_likely_renames(delta, &mut left, renames, [&first.loaded, &head.loaded]);
    let mut waived: HashMap<String, &Finding> =
        after.waived.iter().map(|finding| (finding.fingerprint(), finding)).collect();
    let unreadable: HashSet<&str> = head.loaded.unreadable().map(|found| head.loaded.path(found.file)).collect();
    let unread = Unread::new(head);
    let numbers = OnceCell::new();
    let held_back: HashSet<String> = after.held_back.iter().map(Finding::fingerprint).collect();
    for finding in left {
        // What head cannot see is not fixed.
        let is_unseen = finding.check.group != Group::Reading && unreadable.contains(finding.path.as_str());
        let may_be_hidden = || {
            let record = finding.record.as_deref().and_then(|id| head.loaded.find(renames.id(id)));
            unread.as_ref().is_some_and(|unread| unread.hides(finding.check, record))
        };
        let has_no_number = || {
            let record = finding.record.as_deref().and_then(|id| head.loaded.find(renames.id(id)));
            OF_NUMBERS.contains(&finding.check.name)
                && record.is_some_and(|record| numbers.get_or_init(|| Numbers::new(head)).lacks(record))
        };
        if is_unseen || held_back.contains(&renamed(finding, renames)) || may_be_hidden() || has_no_number() {
            continue;
        }
        let waiver = waived.remove(&renamed(finding, renames)).and_then(|waived| waived.waiver.clone());
        if waiver.is_some() || !(both.hide(finding) || postponed.explains_fix(finding)) {
            delta.fixed.push(Finding { waiver, ..finding.clone() });
        }
    }
    delta.waived.clone_from(&after.waived);
    delta.held_back.clone_from(&after.held_back);
    delta.counts = [reports[0].counts(), after.counts()];
    delta.by_result = brought_by_results(parents, head, rules, delta);
}

/// Checks that compare a number: without it they report nothing, which fixes nothing.
const OF_NUMBERS: [&str; 6] =
    ["excess-margin", "over-budget", "plan-above-targets", "plan-short", "points-short", "target-at-risk"];

/// The values of head, with its goals by record.
struct Numbers<'s> {
    head: &'s Study,
    goals: HashMap<RecordId, &'s GoalPoints>,
}

impl<'s> Numbers<'s> {
    fn new(head: &'s Study) -> Self {
        Self { head, goals: head.goals().iter().map(|goal| (goal.index, goal)).collect() }
    }

    /// Whether a record has no number to compare: no value, or a goal for which the points needed are not known.
    fn lacks(&self, record: RecordId) -> bool {
        let values = self.head.values();
        match self.goals.get(&record) {
            Some(goal) => goal.needed.is_err() || goal.spread.is_none(),
            None => values.record_node(record).is_some_and(|node| values.value(node).is_none()),
        }
    }
}

/// A finding about a record that seems to have a new id is not new if base has it about the old id.
fn match_likely_renames(delta: &mut Delta, left: &mut Vec<&Finding>, renames: &Renames, [base, head]: [&Loaded; 2]) {
    let is_added = |finding: &Finding| {
        finding.record.as_deref().and_then(|id| head.find(id)).is_some_and(|id| renames.base_of[id].is_none())
    };
    if left.is_empty() || !delta.new.iter().any(is_added) {
        return;
    }
    let removed: Vec<RecordId> = base.record_ids().filter(|old| renames.head_of[*old].is_none()).collect();
    let added: Vec<RecordId> = head.record_ids().filter(|new| renames.base_of[*new].is_none()).collect();
    let likely = likely(base, head, &removed, &added);
    let old_ids: HashMap<RecordId, &str> =
        likely.iter().map(|pair| (pair.to, base.record(pair.from).id.as_str())).collect();
    let key = |finding: &Finding, id: Option<&str>| (finding.check.name, id.map(str::to_owned), finding.field.clone());
    let mut earlier: HashMap<_, VecDeque<usize>> = HashMap::new();
    for (at, finding) in left.iter().enumerate() {
        earlier.entry(key(finding, finding.record.as_deref())).or_default().push_back(at);
    }
    let mut found = HashSet::new();
    let (known, new): (Vec<Finding>, Vec<Finding>) = std::mem::take(&mut delta.new).into_iter().partition(|finding| {
        let to = finding.record.as_deref().and_then(|id| head.find(id));
        let Some(old) = to.and_then(|to| old_ids.get(&to)) else { return false };
        let same = earlier.get_mut(&key(finding, Some(old))).and_then(VecDeque::pop_front);
        found.extend(same);
        same.is_some()
    });
    let mut at = 0..;
    left.retain(|_| at.next().is_none_or(|at| !found.contains(&at)));
    delta.new = new;
    delta.unchanged.extend(known);
    delta.likely_renames = likely;
}

/// The records that could not be read in a parent.
struct Hidden<'s> {
    ids: HashSet<&'s str>,
    parents: &'s Parents,
    head: &'s Study,
    /// Whether each record that was asked for is the same in a parent.
    unchanged: RefCell<HashMap<RecordId, bool>>,
    /// Whether what is around each record that was asked for explains findings about it.
    explained: RefCell<HashMap<RecordId, bool>>,
}

impl<'s> Hidden<'s> {
    fn new(parents: &'s Parents, head: &'s Study) -> Self {
        let mut ids = HashSet::new();
        for repaired in parents.repaired() {
            let loaded = &repaired.loaded;
            for id in loaded.record_ids() {
                let name = loaded.record(id).id.as_str();
                let read =
                    |parent: &Study| parent.loaded.find(name).is_some_and(|own| parent.loaded.shares(own, loaded, id));
                if !parents.seen().any(read) {
                    ids.insert(name);
                }
            }
        }
        Self { ids, parents, head, unchanged: RefCell::default(), explained: RefCell::default() }
    }

    /// Whether a history finding comes from a hidden record: the history of an earlier state does not have it, so that the
    /// check could not find anything about it there. It does not if a record that could be read has changed.
    fn explains(&self, finding: &Finding) -> bool {
        if self.ids.is_empty() || finding.check.group != Group::History {
            return false;
        }
        let Some(own) = finding.record.as_deref().and_then(|id| self.head.loaded.find(id)) else { return false };
        *self.explained.borrow_mut().entry(own).or_insert_with(|| self.explains_all_about(own))
    }

    fn explains_all_about(&self, own: RecordId) -> bool {
        let (graph, loaded) = (&self.head.graph, &self.head.loaded);
        let linked = graph.outgoing(own).into_iter().chain(graph.incoming(own)).map(|(other, _)| other);
        let around: Vec<RecordId> = std::iter::once(own).chain(linked).collect();
        let is_hidden = |id: &RecordId| self.ids.contains(loaded.record(*id).id.as_str());
        around.iter().any(is_hidden) && around.iter().all(|id| is_hidden(id) || self.is_unchanged(*id))
    }

    /// Whether a record of head is the same in a parent.
    fn is_unchanged(&self, id: RecordId) -> bool {
        *self.unchanged.borrow_mut().entry(id).or_insert_with(|| {
            let record = self.head.loaded.record(id);
            self.parents.seen().any(|parent| {
                let own = parent.loaded.find(record.id.as_str());
                own.is_some_and(|own| parent.loaded.record(own).body == record.body)
            })
        })
    }
}

/// The names of records that may have been in a file of a parent that could not be read, and that head no longer has.
struct RemovedNames<'s> {
    held: PossibleIds<'s>,
    /// Whether such a file has no text.
    without_text: bool,
    head: &'s Study,
}

impl<'s> RemovedNames<'s> {
    fn new(parents: &'s Parents, head: &'s Study) -> Self {
        let mut names = Self { held: PossibleIds::default(), without_text: false, head };
        for loaded in parents.seen().map(|parent| &parent.loaded) {
            let files: HashSet<FileId> = loaded.unreadable().map(|found| found.file).collect();
            for file in files {
                match &loaded.snapshot.files[file].content {
                    Ok(bytes) => names.held.add(bytes),
                    Err(_) => names.without_text = true,
                }
            }
        }
        names
    }

    /// Whether a finding is about such a name: the repair removed the record, so that the finding is new.
    fn are_in(&self, finding: &Finding) -> bool {
        finding.unresolved.as_deref().filter(|name| !name.is_empty()).is_some_and(|name| {
            (self.without_text || self.held.contains(name)) && self.head.loaded.find(name).is_none()
        })
    }
}

/// For each new finding, whether it is about the car and is there only because of results that were added: without them,
/// head does not have it.
fn brought_by_results(parents: &Parents, head: &Study, rules: Rules<'_>, delta: &Delta) -> Vec<bool> {
    let may_be = |finding: &Finding| finding.check.about == About::Car && finding.check.group != Group::History;
    let added = |id: &RecordId| {
        let name = head.loaded.record(*id).id.as_str();
        let known = parents.all().any(|parent| parent.loaded.find(name).is_some());
        !known && head.loaded.result(*id).is_some()
    };
    let results: HashSet<RecordId> = head.loaded.record_ids().filter(added).collect();
    if results.is_empty() || !delta.new.iter().any(|finding| finding.level == Level::Error && may_be(finding)) {
        return vec![false; delta.new.len()];
    }
    let without = Study::without_history(head.loaded.without(&results), head.day);
    let report = without.report_under(rules);
    let remaining: HashSet<String> = report.findings.iter().map(Finding::fingerprint).collect();
    delta.new.iter().map(|finding| may_be(finding) && !remaining.contains(&finding.fingerprint())).collect()
}

impl Delta {
    /// Adds a finding that is in a parent too to those that became worse or better. In a merge it is worse if it is worse
    /// than in every parent.
    fn compare_measures<'m>(
        &mut self,
        before: impl Iterator<Item = &'m Measure> + Clone,
        finding: &Finding,
        postponed: &PostponedRecords<'_>,
    ) {
        let by_size = |a: &&Measure, b: &&Measure| a.si().total_cmp(&b.si());
        let (Some(after), Some(most), Some(least)) =
            (&finding.measure, before.clone().max_by(by_size), before.min_by(by_size))
        else {
            return;
        };
        let change = |before: &Measure| MeasureChange { before: before.clone(), finding: finding.clone() };
        if most.change_to(after).is_some_and(|change| change > 0.0) {
            self.worse.push(change(most));
        } else if least.change_to(after).is_some_and(|change| change < 0.0) {
            // A verification that is due later is not less late.
            if !postponed.is_in_head(finding) {
                self.better.push(change(least));
            }
        }
    }
}

/// The records whose due date is later in head.
struct PostponedRecords<'s> {
    in_base: HashSet<&'s str>,
    in_head: HashSet<&'s str>,
}

impl<'s> PostponedRecords<'s> {
    fn new(all: &[Postponed], base: &'s Study, head: &'s Study) -> Self {
        let in_base = all.iter().map(|own| base.loaded.record(own.base).id.as_str()).collect();
        let in_head = all.iter().map(|own| head.loaded.record(own.head).id.as_str()).collect();
        Self { in_base, in_head }
    }

    /// Whether a finding of head is about a due date that is later there.
    fn is_in_head(&self, finding: &Finding) -> bool {
        finding.check.name == postponed::CHECK && finding.record.as_deref().is_some_and(|id| self.in_head.contains(id))
    }

    /// Whether a finding of base is missing in head only because its due date is later there.
    fn explains_fix(&self, finding: &Finding) -> bool {
        finding.check.name == postponed::CHECK && finding.record.as_deref().is_some_and(|id| self.in_base.contains(id))
    }
}
