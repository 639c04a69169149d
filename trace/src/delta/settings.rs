//! What a change does to the rules: the settings, the waivers and the templates of the project.

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};

use foldhash::{HashMap, HashSet};
use schema::Quantity;
use schema::read::tree::{Content, NodeId, Tree};
use schema::records::Waiver;
use schema::settings::{FILE, Level, Stage};
use sha2::{Digest as _, Sha256};

use super::Renames;
use crate::checks::{self, Check, Group};
use crate::finding::Finding;
use crate::hex::hex;
use crate::load::FileProblem;
use crate::snapshot::{Source, TEMPLATES};
use crate::study::Study;
use crate::{Loaded, Report};

/// A changed rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RuleChange {
    /// The setting as it is in the file, its keys joined by dots (`levels.no-lead`); `waivers.ID` for a waiver,
    /// `templates/FILE` for a template.
    pub key: String,
    /// Its value in base; `None` if it was not set.
    pub before: Option<String>,
    /// Its value in head; `None` if it is not set.
    pub after: Option<String>,
    /// The number of findings that are not reported because of it.
    pub hidden: usize,
}

/// The rules of a state: each with its value as text.
type RuleTexts = BTreeMap<String, String>;

/// The rules of base and of head.
pub(super) struct BothRules<'s> {
    base: &'s Study,
    head: &'s Study,
    texts: [RuleTexts; 2],
    /// Whether a file is a record file under the settings of head.
    is_record: Box<dyn Fn(&str) -> bool>,
    /// Whether the rules about the history differ.
    history_differs: bool,
}

/// The numbers of findings that are not reported because of rules, each counted when it is first asked for.
struct HiddenFindings<'r, 's> {
    rules: &'r BothRules<'s>,
    reports: [&'r Report; 2],
    of_check: OnceCell<HashMap<&'static str, usize>>,
    of_waiver: OnceCell<HashMap<&'r str, usize>>,
    ignored: OnceCell<usize>,
    of_history: OnceCell<usize>,
}

impl<'r, 's> HiddenFindings<'r, 's> {
    fn new(rules: &'r BothRules<'s>, reports: [&'r Report; 2]) -> Self {
        let (of_check, of_waiver) = (OnceCell::new(), OnceCell::new());
        Self { rules, reports, of_check, of_waiver, ignored: OnceCell::new(), of_history: OnceCell::new() }
    }

    /// The number of findings that are not reported because of a rule of head.
    fn by_rule(&self, key: &str) -> usize {
        let (top, rest) = key.split_once('.').unwrap_or((key, ""));
        match top {
            "levels" => {
                let check = rest.split('.').next().and_then(checks::find);
                let off = check.filter(|check| level_now(self.rules.head, check) == Level::Off);
                off.map_or(0, |off| self.of_check().get(off.name).copied().unwrap_or(0))
            }
            "waivers" => self.of_waiver().get(rest).copied().unwrap_or(0),
            "ignore" => *self
                .ignored
                .get_or_init(|| self.reports[0].findings.iter().filter(|finding| self.rules.ignores(finding)).count()),
            "history" => *self.of_history.get_or_init(|| self.count_of_history()),
            _ => 0,
        }
    }

    fn of_check(&self) -> &HashMap<&'static str, usize> {
        self.of_check.get_or_init(|| counts(self.reports[1].findings.iter().map(|finding| finding.check.name)))
    }

    fn of_waiver(&self) -> &HashMap<&'r str, usize> {
        let report = self.reports[1];
        self.of_waiver.get_or_init(|| counts(report.waived.iter().filter_map(|finding| finding.waiver.as_deref())))
    }

    fn count_of_history(&self) -> usize {
        let [before, after] = self.reports;
        let known: HashSet<String> = after.findings.iter().map(Finding::fingerprint).collect();
        let of_history = before.findings.iter().filter(|finding| finding.check.group == Group::History);
        of_history.filter(|finding| !known.contains(&finding.fingerprint())).count()
    }
}

/// How often each name is there.
fn counts<'n>(names: impl Iterator<Item = &'n str>) -> HashMap<&'n str, usize> {
    let mut all = HashMap::default();
    names.for_each(|name| *all.entry(name).or_default() += 1);
    all
}

impl<'s> BothRules<'s> {
    /// The rules of two states; none if one of them has no project, or settings that cannot be read. `seen`: the records
    /// of base, with those that could not be read in it.
    pub(super) fn new(renames: &Renames, base: &'s Study, seen: &Loaded, head: &'s Study) -> Self {
        let unknown = |loaded: &Loaded| {
            let unread = |found: &FileProblem| found.file.index() == 0 && found.problem.route.is_empty();
            loaded.snapshot.source == Source::Nothing || loaded.problems.iter().any(unread)
        };
        let texts = if unknown(&base.loaded) || unknown(&head.loaded) {
            Default::default()
        } else {
            let [mut before, after] =
                [rules(&base.loaded, seen, Some(renames)), rules(&head.loaded, &head.loaded, None)];
            // A waiver in a file that head cannot read is not removed.
            let unreadable: HashSet<&str> =
                head.loaded.unreadable().map(|found| head.loaded.path(found.file)).collect();
            for (id, record, _) in seen.waivers().filter(|_| !unreadable.is_empty()) {
                let key = format!("waivers.{}", renames.id(record.id.as_str()));
                if unreadable.contains(seen.path(seen.file(id))) && !after.contains_key(&key) {
                    before.remove(&key);
                }
            }
            [before, after]
        };
        let history_differs = history_differs(&texts);
        Self { base, head, texts, is_record: Box::new(head.loaded.snapshot.is_record()), history_differs }
    }

    /// The rules that differ. `reports`: the findings of both under the levels of base.
    pub(super) fn changes(&self, reports: [&Report; 2]) -> Vec<RuleChange> {
        let [before, after] = &self.texts;
        let keys: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
        let hidden = HiddenFindings::new(self, reports);
        let change = |key: &&String| {
            let (was, is) = (before.get(*key), after.get(*key));
            let differs = was != is && !self.mean_the_same(key, was, is);
            let change = || RuleChange {
                key: (*key).clone(),
                before: was.cloned(),
                after: is.cloned(),
                hidden: hidden.by_rule(key),
            };
            differs.then(change)
        };
        keys.iter().filter_map(change).collect()
    }

    /// Whether a finding of base is missing in head only because head does not look for it: its file is ignored, or what is
    /// read from the history has changed. A change of the rules fixes nothing.
    pub(super) fn hide(&self, finding: &Finding) -> bool {
        self.ignores(finding) || self.uncover(finding)
    }

    /// Whether a finding of head is missing in base only because base did not look for it in the history.
    pub(super) fn uncover(&self, finding: &Finding) -> bool {
        finding.check.group == Group::History && self.history_differs
    }

    fn ignores(&self, finding: &Finding) -> bool {
        finding.path != FILE && !(self.is_record)(&finding.path)
    }

    /// Whether two texts of a rule mean the same.
    fn mean_the_same(&self, key: &str, was: Option<&String>, is: Option<&String>) -> bool {
        if let Some(rest) = key.strip_prefix("levels.") {
            let Some(check) = rest.split('.').next().and_then(checks::find) else { return false };
            let same = |stage: &Stage| {
                let [was, is] = [self.base, self.head].map(|study| checks::level(check, study.settings(), *stage));
                was == is
            };
            return Stage::ALL.iter().all(same);
        }
        let quantity = |text: Option<&String>| text.and_then(|text| Quantity::parse(text).ok());
        matches!((quantity(was), quantity(is)), (Some(was), Some(is)) if was.same_value(&is))
    }
}

/// Whether the rules about the history differ between base and head.
fn history_differs(texts: &[RuleTexts; 2]) -> bool {
    let [before, after] = texts.each_ref().map(|texts| {
        texts.iter().filter(|(key, _)| *key == "history" || key.starts_with("history.")).collect::<Vec<_>>()
    });
    before != after
}

/// The level of a check in a state.
fn level_now(study: &Study, check: &Check) -> Level {
    checks::level(check, study.settings(), study.stage)
}

/// The rules of a state as text. `seen`: its records. `renames`: how ids are in head.
fn rules(loaded: &Loaded, seen: &Loaded, renames: Option<&Renames>) -> RuleTexts {
    let mut rules = RuleTexts::new();
    let bytes = loaded.snapshot.files.first().and_then(|file| file.content.as_deref().ok());
    if let Some(tree) = bytes.and_then(schema::read::places)
        && let Some(root) = tree.root()
    {
        flatten(&tree, root, String::new(), &mut rules);
        // The words of a talk are no rule.
        rules.retain(|key, _| key != "deck" && !key.starts_with("deck."));
    }
    let name = |id: &str| renames.map_or(id, |renames| renames.id(id)).to_owned();
    for (_, record, waiver) in seen.waivers() {
        rules.insert(format!("waivers.{}", name(record.id.as_str())), waiver_text(waiver, name));
    }
    for (path, content) in loaded.snapshot.templates() {
        let text = match content {
            Ok(bytes) => {
                let lines = bytes.iter().filter(|byte| **byte == b'\n').count();
                let hash = hex(&Sha256::digest(bytes)[..4]);
                format!("{lines} lines ({hash})")
            }
            Err(_) => "unreadable".to_owned(),
        };
        rules.insert(format!("{TEMPLATES}/{path}"), text);
    }
    rules
}

fn waiver_text(waiver: &Waiver, name: impl Fn(&str) -> String) -> String {
    let mut text = waiver.check.as_ref().map_or("no check", schema::Id::as_str).to_owned();
    if let Some(of) = &waiver.of {
        text.push_str(&format!(" of {}", name(of.as_str())));
    }
    if let Some(until) = waiver.until {
        text.push_str(&format!(" until {until}"));
    }
    if let Some(role) = &waiver.agreed_by {
        text.push_str(&format!(", agreed by {role}"));
    }
    text
}

/// Adds every value below a node with the keys that lead to it.
fn flatten(tree: &Tree<'_>, node: NodeId, route: String, out: &mut RuleTexts) {
    /// Settings are a few levels deep: what is deeper is not a setting.
    const DEEPEST: usize = 6;
    if tree.is_null(node) || route.matches('.').count() > DEEPEST {
        return;
    }
    match tree.content(node) {
        Content::Scalar { text, .. } => drop(out.insert(route, text.to_owned())),
        Content::List(items) => {
            let texts: Vec<&str> = items.iter().filter_map(|item| tree.text(*item)).collect();
            out.insert(route, texts.join(", "));
        }
        Content::Map(entries) => {
            // The first basis of an amount is its default, so the order of these keys is a rule.
            if route.starts_with("growth.")
                && let Some(first) = entries.first().and_then(|[key, _]| tree.text(*key))
            {
                out.insert(format!("{route} (default basis)"), first.to_owned());
            }
            let mut seen = HashSet::default();
            for &[key, value] in entries {
                let Some(name) = tree.text(key).filter(|name| seen.insert(*name)) else { continue };
                let below = if route.is_empty() { name.to_owned() } else { format!("{route}.{name}") };
                flatten(tree, value, below, out);
            }
        }
    }
}
