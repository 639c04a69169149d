//! Runs the checks, sets levels, applies waivers and finds the places.

use std::collections::BTreeMap;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::read::{self, Aim, Spot};
use schema::records::{Body, Kind};
use schema::settings::{Level, Stage};
use schema::{Day, Id};

use crate::checks::{self, Draft, Group, Inputs};
use crate::finding::Finding;
use crate::graph::{Chains, Graph};
use crate::history::{self, Past};
use crate::values::{GoalPoints, Partials, Standing, Values};

/// What the checks found.
#[derive(Debug)]
pub struct Report {
    /// The stage on the day of the check.
    pub stage: Stage,
    /// The day the check reckons with.
    pub day: Day,
    /// How many records were read.
    pub records: usize,
    /// The findings that stand, worst first.
    pub findings: Vec<Finding>,
    /// The findings that waivers accept.
    pub waived: Vec<Finding>,
    /// Where every target stands.
    pub standings: Vec<Standing>,
    /// The goals, with their points.
    pub goals: Vec<GoalPoints>,
    /// The derivatives of values by what they read.
    pub partials: Partials,
    /// Did the checks of the history run: `on`, `off`, or `short` in a shallow clone?
    pub history: &'static str,
    /// Why they did not, and what brings them back.
    pub history_note: Option<String>,
}

impl Report {
    /// Runs every check on the values of a graph, as of a day, without a history.
    pub fn new(values: &Values<'_, '_>, day: Day) -> Self {
        Self::with_history(values, day, &Past::None("it was not asked for".to_owned()))
    }

    /// Runs every check, those of the history too where all of it is there.
    pub fn with_history(values: &Values<'_, '_>, day: Day, past: &Past) -> Self {
        let graph = values.graph;
        let settings = graph.loaded.settings();
        let stage = settings.stages.on(day);
        let chains = Chains::new(graph);
        let partials = values.network.partials(&values.state);
        let gradients = values.network.gradients(&partials);
        let standings = values.standings(&gradients);
        let goals = values.goals(&gradients);
        let budgets = values.budgets(&gradients);
        let inputs = Inputs {
            graph,
            chains: &chains,
            values,
            partials: &partials,
            gradients: &gradients,
            goals: &goals,
            standings: &standings,
            budgets: &budgets,
            history: past.whole(),
            outlook: &|step| history::outlook::at(graph.loaded, past.whole()?, step),
            day,
            stage,
        };
        let mut drafts: Vec<Draft> = checks::all().iter().flat_map(|check| checks::run(check, &inputs)).collect();
        drafts.retain(|draft| !follows_from_damage(graph, draft));

        let (waived, unused) = accept(graph, day, &mut drafts);
        drafts.extend(checks::unused_waiver::drafts(graph, &unused));

        let level = |draft: &Draft| checks::level(draft.check, settings, stage);
        let mut places = Places::new(graph);
        let mut finish = |draft: Draft, waiver: Option<&Id>| {
            let level = level(&draft);
            (level != Level::Off).then(|| places.finding(&chains, draft, level, waiver))
        };
        let mut waived: Vec<Finding> =
            waived.into_iter().filter_map(|(draft, waiver)| finish(draft, Some(waiver))).collect();
        let mut findings: Vec<Finding> = drafts.into_iter().filter_map(|draft| finish(draft, None)).collect();
        findings.sort_by(|a, b| a.order().cmp(&b.order()));
        waived.sort_by(|a, b| a.order().cmp(&b.order()));
        let (history, history_note) = (past.word(), past.reason());
        Self { stage, day, records: graph.len(), findings, waived, standings, goals, partials, history, history_note }
    }

    /// How many findings stand at a level.
    pub fn count(&self, level: Level) -> usize {
        self.findings.iter().filter(|finding| finding.level == level).count()
    }

    /// Is there a finding at error level?
    pub fn has_errors(&self) -> bool {
        self.count(Level::Error) > 0
    }
}

/// A key that could not be read is told once; that the record seems to lack it is no news.
fn follows_from_damage(graph: &Graph<'_>, draft: &Draft) -> bool {
    if draft.check.group == Group::Reading {
        return false;
    }
    let Some(index) = draft.record else { return false };
    let Some(damage) = graph.loaded.damaged.get(graph.loaded.record(index).id.as_str()) else { return false };
    draft.route.first().is_some_and(|key| damage.keys.iter().any(|lost| lost == key))
}

/// Splits off the drafts that a waiver in force accepts, and names the waivers that accept none.
fn accept<'r>(graph: &Graph<'r>, day: Day, drafts: &mut Vec<Draft>) -> (Vec<(Draft, &'r Id)>, Vec<usize>) {
    let mut in_force: BTreeMap<(&str, &str), (usize, &'r Id, bool)> = BTreeMap::new();
    for (index, entry) in graph.loaded.entries.iter().enumerate() {
        let Body::Waiver(waiver) = &entry.record.body else { continue };
        let (Some(check), Some(on), Some(until)) = (&waiver.check, &waiver.on, waiver.until) else { continue };
        if until >= day && waiver.agreed_by.is_some() && checks::can_be_waived(check.as_str()) {
            in_force.insert((check.as_str(), on.as_str()), (index, &entry.record.id, false));
        }
    }
    let mut waived = Vec::new();
    let mut kept = Vec::with_capacity(drafts.len());
    for draft in drafts.drain(..) {
        let on = draft.record.map(|index| graph.loaded.record(index).id.as_str());
        match on.and_then(|on| in_force.get_mut(&(draft.check.name, on))) {
            Some((_, id, used)) => {
                *used = true;
                waived.push((draft, *id));
            }
            None => kept.push(draft),
        }
    }
    *drafts = kept;
    let known: HashSet<&str> = graph.loaded.ids().collect();
    let unused = in_force
        .iter()
        .filter(|((_, on), (.., used))| !used && known.contains(on))
        .map(|(_, (index, ..))| *index)
        .collect();
    (waived, unused)
}

/// Turns routes into places; each file is read for places once, and only when something in it is shown.
struct Places<'r> {
    trees: HashMap<usize, Option<read::tree::Tree<'r>>>,
    loaded: &'r crate::Loaded,
}

impl<'r> Places<'r> {
    fn new(graph: &Graph<'r>) -> Self {
        Self { trees: HashMap::new(), loaded: graph.loaded }
    }

    fn spot(&mut self, file: usize, route: &[&str], aim: Aim) -> Spot {
        let loaded = self.loaded;
        let tree = self
            .trees
            .entry(file)
            .or_insert_with(|| loaded.snapshot.files[file].content.as_ref().ok().and_then(|bytes| read::places(bytes)));
        read::locate(tree.as_ref(), route.iter().copied(), aim)
    }

    /// The place of a character in a value's text.
    fn spot_within(&mut self, file: usize, route: &[&str], offset: usize) -> Spot {
        let start = self.spot(file, route, Aim::Value);
        let source = self.loaded.snapshot.files[file].content.as_ref().ok().and_then(|bytes| read::text(bytes).ok());
        let text =
            self.trees.get(&file).and_then(Option::as_ref).and_then(|tree| tree.text_of_route(route.iter().copied()));
        match (source, text) {
            (Some(source), Some(text)) => read::within(source, start, text, offset),
            _ => start,
        }
    }

    fn finding(&mut self, chains: &Chains, draft: Draft, level: Level, waiver: Option<&Id>) -> Finding {
        let loaded = self.loaded;
        let (file, mut top) = match draft.record {
            Some(index) => {
                let entry = &loaded.entries[index];
                (entry.file, vec![entry.record.kind().plural(), entry.record.id.as_str()])
            }
            None => (draft.file.unwrap_or(0), Vec::new()),
        };
        let file = draft.file.unwrap_or(file);
        top.extend(draft.route.iter().map(String::as_str));
        let aim = if draft.route.is_empty() || draft.at_key { Aim::Key } else { Aim::Value };
        let spot = draft.spot.unwrap_or_else(|| match draft.offset {
            None => self.spot(file, &top, aim),
            Some(offset) => self.spot_within(file, &top, offset),
        });
        let id = |index: usize| loaded.record(index).id.to_string();
        // A chain of one says nothing.
        let way = draft.record.map(|index| chains.up(index)).filter(|way| way.len() > 1).unwrap_or_default();
        let chain = way.into_iter().map(id).collect();
        let kind = match draft.record {
            Some(index) => Some(loaded.record(index).kind()),
            None => draft.route.first().filter(|_| draft.named.is_some()).and_then(|key| Kind::from_plural(key)),
        };
        let mut field = draft.route;
        if draft.record.is_none() && draft.named.is_some() && field.len() >= 2 {
            // A problem of reading is told by its whole route: kind and id come off.
            field.drain(..2);
        }
        Finding {
            check: draft.check,
            level,
            record: draft.record.map(id).or(draft.named),
            kind,
            field: (!field.is_empty()).then(|| field.join(".")),
            path: loaded.snapshot.files[file].path.clone(),
            spot,
            message: draft.message,
            help: draft.help,
            chain,
            waiver: waiver.map(ToString::to_string),
        }
    }
}

/// The places of records' ids, for outputs that show where every record stands.
pub struct Lines<'r>(Places<'r>);

impl<'r> Lines<'r> {
    /// Nothing is read yet.
    pub fn new(graph: &Graph<'r>) -> Self {
        Self(Places::new(graph))
    }

    /// Where a record begins.
    pub fn of(&mut self, index: usize) -> Spot {
        let entry = &self.0.loaded.entries[index];
        self.0.spot(entry.file, &[entry.record.kind().plural(), entry.record.id.as_str()], Aim::Key)
    }
}
