//! What is wrong under a value: the read errors, references, formulas and tables that it depends on, and what has no value.
//!
//! A fault counts if the value may depend on it. What is wrong in a record that was read counts if one of the record's values
//! is read on the way to the value; what could not be assigned to a record always counts.

use std::cell::RefCell;

use foldhash::{HashMap, HashSet, HashSetExt as _};
use petgraph::Direction;
use schema::Kind;
use schema::read::{ProblemKind, Spot};
use schema::records::Body;

use super::bases::{unknown_bases, unknown_bases_of_alternatives};
use super::impossible::{self, Impossible, PLAN};
use super::sets::FoundSetProblem;
use super::{Budget, Key, Measured, Origin, Rule, SetProblemKind, ValueProblemKind, Values};
use crate::graph::Link;
use crate::ids::{FileId, NodeId, RecordId};

/// How a fault affects the values that depend on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultKind {
    /// They are missing, or calculated without what is wrong.
    Error,
    /// They have no value yet, because this value is not in the records.
    NoValue,
    /// They have one, but the records give more than one source of it.
    Doubt,
}

/// The position of a fault in its file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FaultAt {
    /// The last key of its route.
    Key,
    /// A character of the value of its route, counted from 0; the start of the value for `None`.
    Value(Option<usize>),
    /// A known position.
    Spot(Spot),
}

/// Something wrong that a value depends on.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// How it affects the value.
    pub kind: FaultKind,
    /// The record, if it was read.
    pub record: Option<RecordId>,
    /// The id of the record, if it is in one.
    pub id: Option<String>,
    /// The file.
    pub file: FileId,
    /// The keys from the top of the file: kind, id, and the keys of the record.
    pub route: Vec<String>,
    /// The position.
    pub at: FaultAt,
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// Keys that no value depends on.
const WITHOUT_EFFECT: [&str; 13] = [
    "title",
    "notes",
    "lead",
    "formerly",
    "reason",
    "verify",
    "evidence",
    "informs",
    "safety-critical",
    "source",
    "shall",
    "agreed-by",
    "for-parts",
];

/// Keys of the settings that no value depends on.
const SETTINGS_WITHOUT_EFFECT: [&str; 8] = ["season", "team", "car", "as-of", "stages", "levels", "stops", "history"];

fn strings(route: &[&str]) -> Vec<String> {
    route.iter().map(|key| (*key).to_owned()).collect()
}

/// The values that others depend on.
struct Under<'v> {
    values: &'v Values,
    /// For each node, whether one of the asked values depends on it.
    nodes: Vec<bool>,
    /// Those on which one of them depends, in their order.
    list: Vec<NodeId>,
    also: &'v [RecordId],
    is_also: HashSet<RecordId>,
    /// Whether the shares of budgets count.
    shares: bool,
    /// For each amount, whether one of them is among the nodes.
    amounts: Vec<bool>,
    /// Whether the total of a system is among the nodes.
    systems: bool,
    /// Whether a goal is among the nodes.
    goals: bool,
    /// For an analysis or a result that was looked at, whether it is about one of the nodes.
    is_about: RefCell<HashMap<RecordId, bool>>,
}

impl<'v> Under<'v> {
    fn new(values: &'v Values, asked: &[NodeId], also: &'v [RecordId], shares: bool) -> Self {
        let (nodes, mut list) = values.under(asked);
        list.sort_unstable();
        let (mut amounts, mut systems, mut goals) = (vec![false; values.amounts().len()], false, false);
        for &node in &list {
            let key = &values.keys[node];
            match key {
                Key::Part(_, amount) | Key::Group(_, amount) => {
                    amounts[usize::from(*amount)] = true;
                    systems |= matches!(key, Key::Group(Some(_), _));
                }
                Key::Record(record) => goals |= values.graph.loaded.goal(*record).is_some(),
                Key::Local(..) | Key::NotInParts(_) => {}
            }
        }
        let is_also = also.iter().copied().collect();
        let is_about = RefCell::default();
        Self { values, nodes, list, also, is_also, shares, amounts, systems, goals, is_about }
    }
}

impl Values {
    /// Everything wrong that these values may depend on, and what is wrong in these records themselves: read errors in the
    /// order of the files, then the others in the order of the records, then what has no value.
    pub fn faults_under(&self, asked: &[NodeId], also: &[RecordId]) -> Vec<Fault> {
        self.faults(&Under::new(self, asked, also, false))
    }

    /// Everything wrong under the values of budgets and their shares, with what would make a share of one missing.
    pub fn faults_under_budgets(&self, asked: &[NodeId], also: &[RecordId]) -> Vec<Fault> {
        self.faults(&Under::new(self, asked, also, true))
    }

    /// The shares and the reserve that a budget does not count.
    pub fn faults_of_budget(&self, budget: &Budget) -> Vec<Fault> {
        let id = |record: RecordId| &self.graph.loaded.record(record).id;
        let fault = |record: RecordId, key: &str, message: String, help: &str| {
            self.fault(FaultKind::Error, record, &[key.to_owned()], FaultAt::Value(None), message, help.to_owned())
        };
        let shares = budget.misfits.iter().map(|share| {
            let own = id(*share);
            let message = format!(
                "{own} is not counted as a share of {}: its unit does not match, or it has no upper limit",
                id(budget.index)
            );
            fault(*share, "share-of", message, "use `at-most` with a unit that matches, or remove `share-of`")
        });
        let reserve = self.graph.loaded.target(budget.index).and_then(|target| target.reserve.as_ref());
        let reserve = reserve.filter(|_| !budget.reserve_fits).map(|reserve| {
            let message = format!("the reserve {reserve} is not counted: its unit does not match the limit");
            fault(budget.index, "reserve", message, "give the reserve in the unit of the limit")
        });
        shares.chain(reserve).collect()
    }

    /// The plans above the most points of their event.
    pub fn impossible_plans(&self) -> Vec<Fault> {
        let under = Under::new(self, &[], &[], true);
        let events = self.graph.loaded.events().map(|(event, ..)| event);
        under.impossible(events, |_, found| found.route == PLAN)
    }

    fn faults(&self, under: &Under<'_>) -> Vec<Fault> {
        let mut faults = under.read_errors();
        let mut others = under.problems();
        others.extend(under.references());
        others.extend(under.unknown_bases());
        others.extend(under.alternatives());
        others.extend(under.impossible_points());
        others.sort_by(|a, b| (a.record, &a.route).cmp(&(b.record, &b.route)));
        faults.append(&mut others);
        let missing = under.without_value(&faults);
        faults.extend(missing);
        let mut seen = HashSet::new();
        faults.retain(|fault| seen.insert((fault.file, fault.route.clone(), fault.message.clone())));
        faults
    }

    /// For each node, whether one of these values depends on it, or is it.
    pub fn all_under(&self, asked: &[NodeId]) -> Vec<bool> {
        self.under(asked).0
    }

    /// The same, with a list of those on which one of them depends.
    fn under(&self, asked: &[NodeId]) -> (Vec<bool>, Vec<NodeId>) {
        let (mut under, mut list) = (vec![false; self.network.nodes.len()], Vec::new());
        let mut queue = asked.to_vec();
        while let Some(node) = queue.pop() {
            if !std::mem::replace(&mut under[node], true) {
                list.push(node);
                queue.extend(self.network.nodes[node].inputs.iter().copied());
            }
        }
        (under, list)
    }

    fn fault(
        &self,
        kind: FaultKind,
        record: RecordId,
        route: &[String],
        at: FaultAt,
        message: String,
        help: String,
    ) -> Fault {
        let loaded = &self.graph.loaded;
        let own = loaded.record(record);
        let top = [own.kind().plural().to_owned(), own.id.to_string()];
        let route = top.into_iter().chain(route.iter().cloned()).collect();
        let (file, id) = (loaded.entries[record].file, Some(own.id.to_string()));
        Fault { kind, record: Some(record), id, file, route, at, message, help }
    }

    /// The amounts of parts whose basis is not in the settings: the part, the name of the amount, the message and the help.
    fn unknown_bases(&self) -> &[(RecordId, String, String, String)] {
        self.unknown_bases.get_or_init(|| {
            let all = unknown_bases(&self.graph.loaded);
            all.map(|(part, name, message, help)| (part, name.to_owned(), message, help)).collect()
        })
    }
}

impl Under<'_> {
    fn read_errors(&self) -> Vec<Fault> {
        let loaded = &self.values.graph.loaded;
        let mut faults = Vec::new();
        for found in &loaded.problems {
            let problem = &found.problem;
            if !self.reaches_unread(found.file, problem.kind, &problem.route) {
                continue;
            }
            faults.push(Fault {
                kind: FaultKind::Error,
                record: problem.record.as_deref().and_then(|id| loaded.find(id)),
                id: problem.record.clone(),
                file: found.file,
                route: problem.route.clone(),
                at: problem.spot.map_or(FaultAt::Value(None), FaultAt::Spot),
                message: problem.message.clone(),
                help: problem.help.clone(),
            });
        }
        for (entry, first) in &loaded.doubles {
            let (kind, id) = (entry.record.kind(), &entry.record.id);
            if self.reaches(*first, &[]) || self.reaches_kind(kind, &[]) {
                let route = vec![kind.plural().to_owned(), id.to_string()];
                let message = format!("`{id}` appears twice: this record is not used");
                let help = "rename one of the two records".to_owned();
                let (id, at) = (Some(id.to_string()), FaultAt::Key);
                faults.push(Fault {
                    kind: FaultKind::Error,
                    record: Some(*first),
                    id,
                    file: entry.file,
                    route,
                    at,
                    message,
                    help,
                });
            }
        }
        faults
    }

    fn problems(&self) -> Vec<Fault> {
        let has_cycle = self.values.cyclic.iter().any(|node| self.nodes[*node]);
        let relevant = self.values.problems.iter().filter(|problem| {
            (problem.kind == ValueProblemKind::Cycle && has_cycle)
                || (!self.is_replaced(problem.record, &problem.route) && self.reaches(problem.record, &problem.route))
        });
        let fault = |problem: &super::ValueProblem| {
            let doubt = problem.kind == ValueProblemKind::Twice;
            let kind = if doubt { FaultKind::Doubt } else { FaultKind::Error };
            let at = FaultAt::Value(Some(problem.offset));
            self.values.fault(kind, problem.record, &problem.route, at, problem.message.clone(), problem.help.clone())
        };
        relevant.map(fault).collect()
    }

    fn references(&self) -> Vec<Fault> {
        let broken = self.values.graph.broken.iter();
        let relevant = broken
            .filter(|broken| !self.is_replaced(broken.from, &broken.route) && self.reaches(broken.from, &broken.route));
        let fault = |broken: &crate::graph::Broken| {
            let at = if broken.is_key { FaultAt::Key } else { FaultAt::Value(None) };
            let (message, help) = (broken.message.clone(), broken.help.clone());
            self.values.fault(FaultKind::Error, broken.from, &broken.route, at, message, help)
        };
        relevant.map(fault).collect()
    }

    /// What alternatives cannot set, in decisions that are asked about themselves.
    fn alternatives(&self) -> Vec<Fault> {
        let problems = self.also.iter().flat_map(|decision| self.values.set_problems(*decision));
        let others = problems.filter(|(.., problem)| problem.kind != SetProblemKind::Record);
        let fault = |(decision, route, problem): FoundSetProblem<'_>| {
            let at = if problem.kind == SetProblemKind::Name { FaultAt::Key } else { FaultAt::Value(None) };
            self.values.fault(FaultKind::Error, decision, &route.map(str::to_owned), at, problem.message, problem.help)
        };
        let bases = unknown_bases_of_alternatives(&self.values.graph.loaded, self.also.iter().copied()).into_iter();
        let bases = bases.map(|(decision, route, message, help)| {
            self.values.fault(FaultKind::Error, decision, &route, FaultAt::Value(None), message, help)
        });
        others.map(fault).chain(bases).collect()
    }

    /// Points that their event cannot give, apart from its plan, on which no value depends.
    fn impossible_points(&self) -> Vec<Fault> {
        let events = self.list.iter().filter_map(|node| match self.values.keys[*node] {
            Key::Record(record) => Some(record),
            Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => None,
        });
        self.impossible(events, |event, found| {
            found.route != PLAN && !(found.record == event && self.is_replaced(event, &strings(found.route)))
        })
    }

    fn impossible(
        &self,
        events: impl Iterator<Item = RecordId>,
        counts: impl Fn(RecordId, &Impossible) -> bool,
    ) -> Vec<Fault> {
        let values = self.values;
        let events = events.filter_map(|event| Some((event, values.graph.loaded.event(event)?)));
        let all = events.flat_map(|(event, body)| {
            let name = values.graph.loaded.record(event).name();
            impossible::in_event(values, event, name, body).into_iter().map(move |found| (event, found))
        });
        all.filter(|(event, found)| counts(*event, found))
            .map(|(_, found)| {
                let (route, help) = (strings(found.route), found.help.to_owned());
                self.values.fault(FaultKind::Error, found.record, &route, FaultAt::Value(None), found.message, help)
            })
            .collect()
    }

    fn unknown_bases(&self) -> Vec<Fault> {
        let all = self.values.unknown_bases().iter().filter(|(_, name, ..)| self.reads_amount(Some(name)));
        all.map(|(part, name, message, help)| {
            let route = ["amounts", name, "basis"].map(str::to_owned);
            let (message, help) = (message.clone(), help.clone());
            self.values.fault(FaultKind::Error, *part, &route, FaultAt::Value(None), message, help)
        })
        .collect()
    }

    /// The values under the asked ones that have none, although they read nothing that is missing.
    fn without_value(&self, known: &[Fault]) -> Vec<Fault> {
        let values = self.values;
        let mut faults: Vec<Fault> = Vec::new();
        let errors = known.iter().filter(|fault| fault.kind == FaultKind::Error);
        let mut explained: HashSet<RecordId> = errors.filter_map(|fault| fault.record).collect();
        let nodes = self.list.iter().copied().filter(|node| values.value(*node).is_none());
        for node in nodes {
            let value = &values.network.nodes[node];
            let is_missing = |input: &NodeId| values.value(*input).is_none();
            // Why an input is missing is said of the input.
            // A rule that was taken away keeps its inputs, and the finding about it says why.
            let is_taken = matches!(value.rule, Rule::None) && !value.inputs.is_empty();
            if is_taken || value.inputs.iter().any(is_missing) || self.is_cyclic(node) {
                continue;
            }
            let record = match values.keys[node] {
                Key::Record(record) | Key::Part(record, _) | Key::Local(record, _) | Key::NotInParts(record) => record,
                Key::Group(Some(system), _) => system,
                Key::Group(None, _) => continue,
            };
            if !explained.insert(record) {
                continue;
            }
            let message = format!("{} has no value", values.name(node));
            let help = match (&values.keys[node], &value.rule) {
                (Key::Group(..), _) => "add the amount to the parts of the system",
                (_, Rule::Total(_)) => "add the events that serve it",
                _ => "add an estimate with its uncertainty; a rough one is enough",
            };
            faults.push(self.values.fault(FaultKind::NoValue, record, &[], FaultAt::Key, message, help.to_owned()));
        }
        faults
    }

    /// Whether a value is one of a cycle: the finding about it is about all its values.
    fn is_cyclic(&self, node: NodeId) -> bool {
        let cyclic = self.values.is_cyclic.get_or_init(|| self.values.cyclic.iter().copied().collect());
        cyclic.contains(&node)
    }

    /// Whether a key of a record defines a value that another source replaces: it changes no number.
    fn is_replaced(&self, record: RecordId, route: &[String]) -> bool {
        let key = route.first().map_or("", String::as_str);
        let own = ["formula", "total", "estimate", "given", "score", "reads", "expect"].contains(&key);
        let origin = self.values.origin(record);
        let is_local_read = || {
            let local = route.last().and_then(|name| self.values.node(&Key::Local(record, name.as_str().into())));
            local.is_some_and(|local| self.nodes[local])
        };
        own && matches!(origin, Origin::Result(_) | Origin::Analysis(_)) && !is_local_read()
    }

    /// Whether the asked values may depend on what is at a route of a file that could not be read.
    fn reaches_unread(&self, file: FileId, kind: ProblemKind, route: &[String]) -> bool {
        let loaded = &self.values.graph.loaded;
        if file.index() == 0 {
            let key = route.first().map_or("", String::as_str);
            return !SETTINGS_WITHOUT_EFFECT.contains(&key);
        }
        let [top, id, below @ ..] = route else { return true };
        let Some(of_kind) = Kind::from_plural(top) else { return true };
        // An unknown key may be meant for any key of the record.
        let below = if kind == ProblemKind::UnknownKey && below.len() == 1 { &[] } else { below };
        match loaded.find(id).filter(|record| loaded.kind(*record) == of_kind) {
            Some(record) => self.reaches(record, below),
            None => self.reaches_kind(of_kind, below),
        }
    }

    /// Whether the asked values may depend on a record of a kind that was not read.
    fn reaches_kind(&self, kind: Kind, below: &[String]) -> bool {
        match kind {
            Kind::Goal | Kind::Analysis => true,
            Kind::Result => self.values.measured != Measured::Nothing,
            Kind::Event => self.goals,
            // A record that names it is a fault by itself, but a share is missing in silence.
            Kind::Target => self.shares,
            Kind::Part => self.reads_amount(below.get(1).map(String::as_str)),
            Kind::System => self.systems,
            Kind::Requirement | Kind::Decision | Kind::Revision | Kind::Waiver => false,
        }
    }

    /// Whether the asked values may depend on what is at a route of a record.
    fn reaches(&self, record: RecordId, route: &[String]) -> bool {
        if self.is_also.contains(&record) {
            return true;
        }
        let (values, graph) = (self.values, &self.values.graph);
        let key = route.first().map_or("", String::as_str);
        if WITHOUT_EFFECT.contains(&key) {
            return false;
        }
        let reads = |record: RecordId| values.record_node(record).is_some_and(|node| self.nodes[node]);
        match &graph.loaded.record(record).body {
            Body::Goal(_) => reads(record),
            Body::Event(_) => reads(record) || (["serves", ""].contains(&key) && self.goals),
            Body::Target(_) if key == "serves" => false,
            Body::Target(_) => reads(record) || (["share-of", ""].contains(&key) && self.shares),
            Body::Part(_) => match key {
                "" | "count" => self.reads_amount(None),
                "in" => self.systems,
                "amounts" => self.reads_amount(route.get(1).map(String::as_str)),
                _ => false,
            },
            Body::System(_) => ["", "in"].contains(&key) && self.systems,
            Body::Analysis(analysis) => {
                if graph.superseded().contains(&graph.loaded.record(record).id) {
                    return false;
                }
                let found = || analysis.finds.as_ref().map(|finds| finds.targets()).unwrap_or_default();
                // A result replaces what an analysis finds.
                let is_used = |target: RecordId| reads(target) && !matches!(values.origin(target), Origin::Result(_));
                let uses = |id: &&schema::Id| graph.loaded.find(id.as_str()).is_none_or(is_used);
                ["", "finds"].contains(&key) && found().is_empty() || self.is_about(record, || found().iter().any(uses))
            }
            Body::Result(_) if values.measured == Measured::Nothing || key == "outcome" => false,
            Body::Result(_) => {
                let subjects = || graph.linked(record, Link::Verifies, Direction::Outgoing);
                self.is_about(record, || subjects().next().is_none() || subjects().any(reads))
            }
            Body::Requirement(_) | Body::Decision(_) | Body::Revision(_) | Body::Waiver(_) => false,
        }
    }

    /// Whether a record is about one of the asked values: found out once, however many problems it has.
    fn is_about(&self, record: RecordId, find: impl FnOnce() -> bool) -> bool {
        *self.is_about.borrow_mut().entry(record).or_insert_with(find)
    }

    /// Whether the asked values depend on an amount, or on any amount for `None`.
    fn reads_amount(&self, name: Option<&str>) -> bool {
        match name {
            Some(name) => self.values.amount(name).is_some_and(|amount| self.amounts[usize::from(amount)]),
            None => self.amounts.contains(&true),
        }
    }
}
