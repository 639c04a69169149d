//! What can be a cause: every rule that differs, every part, event and system that counts differently.

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::Quantity;
use schema::quantity::{Unit, same_number};
use schema::records::Amount;

use super::Renames;
use super::causes::{Cause, Draft, What, of_pieces, percent};
use super::merged::{Aspect, Member, Merged, Piece, Switch};
use super::sources::{EditedKey, Sources, amount, differing_input};
use super::values::{ChangedNode, Counterparts, ValueChange};
use crate::Loaded;
use crate::ids::{NodeId, RecordId};
use crate::study::Study;
use crate::values::{Key, Rule, Values, growth};

/// The two states, and the drafts so far.
pub(super) struct Drafts<'s, 'm> {
    pub(super) renames: &'s Renames,
    pub(super) base: &'s Study,
    pub(super) head: &'s Study,
    pub(super) counterparts: &'s Counterparts,
    pub(super) merged: &'m Merged<'s>,
    pub(super) all: Vec<Draft>,
    pub(super) pieces: Vec<Piece>,
    /// The derivative of the points by each value of head.
    pub(super) worth: Option<Vec<f64>>,
    /// The records whose own draft is already there.
    covered: HashSet<ChangedRecord>,
}

/// A record of head, or one that only base has.
type ChangedRecord = (bool, RecordId);

/// One amount of a part in base and in head.
struct Sides<'l> {
    name: &'l str,
    records: [Option<RecordId>; 2],
    amounts: [Option<&'l Amount>; 2],
    members: [Option<Member>; 2],
}

impl<'s, 'm> Drafts<'s, 'm> {
    pub(super) fn new(
        renames: &'s Renames,
        [base, head]: [&'s Study; 2],
        counterparts: &'s Counterparts,
        merged: &'m Merged<'s>,
    ) -> Self {
        let worth = head.goals().first().map(|goal| head.values().worth_of_all(goal.node));
        let (all, pieces, covered) = (Vec::new(), Vec::new(), HashSet::default());
        let mut drafts = Self { renames, base, head, counterparts, merged, all, pieces, worth, covered };
        drafts.rules();
        drafts.inputs();
        drafts.parts();
        drafts.records_of_one_state();
        // The same order in both directions, so that the effects are the same.
        drafts.all.sort_by_cached_key(|draft| (draft.cause.id.clone(), draft.cause.what));
        drafts
    }

    fn values(&self) -> [&'s Values; 2] {
        [self.base.values(), self.head.values()]
    }

    fn loaded(&self) -> [&'s Loaded; 2] {
        [&self.base.loaded, &self.head.loaded]
    }

    /// The points of a change of a value to first order; infinite if they are not known.
    fn size(&self, node: Option<NodeId>, change: Option<f64>) -> f64 {
        let worth = self.worth.as_ref().and_then(|worth| worth.get(node?.index()));
        let size = worth.zip(change).map_or(f64::INFINITY, |(worth, change)| (worth * change).abs());
        if size.is_nan() { f64::INFINITY } else { size }
    }

    fn push(
        &mut self,
        what: What,
        id: String,
        start: ValueChange,
        edited: [Option<EditedKey>; 2],
        switches: Vec<Switch>,
    ) {
        let [old, new] = self.values();
        let (unit, node) = match start.named {
            ChangedNode::Head(node) => (new.unit(node).clone(), Some(node)),
            ChangedNode::Base(node) => (old.unit(node).clone(), None),
        };
        let size = self.size(node, start.after.zip(start.before).map(|(after, before)| after - before));
        let cause = Cause::new(what, id, [start.before, start.after], unit, edited);
        self.all.push(Draft { cause, start: Some(start), switches, size });
    }

    /// Every node that both states have with another rule; several of them can have one edited key.
    fn rules(&mut self) {
        let [old, new] = self.values();
        let mut by_key: HashMap<(Option<RecordId>, String), usize> = HashMap::new();
        let (mut old_sources, mut new_sources) = (Sources::new(old), Sources::new(new));
        for node in NodeId::all(new.keys.len()) {
            let Some(was) = self.counterparts.base_of[node] else { continue };
            if self.merged.is_by_input(node) || self.merged.has_same_rule(node, was) {
                continue;
            }
            let (from, to) = (old_sources.source(was), new_sources.source(node));
            let same_key = from
                .as_ref()
                .zip(to.as_ref())
                .is_some_and(|((a, from), (b, to))| self.renames.base_of[*b] == Some(*a) && from.key == to.key);
            let is_given = |values: &Values, node: NodeId| matches!(values.network.nodes[node].rule, Rule::Given(_));
            let numbers = is_given(old, was) && is_given(new, node);
            let same_text =
                same_key && from.as_ref().map(|(_, from)| &from.text) == to.as_ref().map(|(_, to)| &to.text);
            let of_sheet = to.as_ref().is_some_and(|(_, to)| to.key == "score.use");
            let differing = from.as_ref().zip(to.as_ref()).filter(|_| same_text);
            let (what, edited) = match (same_key, numbers && !of_sheet, differing) {
                (true, true, Some(((_, from), _))) => (What::Settings, self.rate_of(&from.text)),
                (true, false, Some(((a, _), (b, _)))) => {
                    let [before, after] = self.loaded();
                    let found = differing_input(before, after, *a, *b);
                    (What::Formula, found.map(|sides| sides.map(Some)).unwrap_or_default())
                }
                (true, true, None) => (What::Value, Default::default()),
                (true, false, None) => (What::Formula, Default::default()),
                (false, ..) => (What::Source, Default::default()),
            };
            let edited = match (edited, what) {
                ([None, None], What::Value | What::Formula | What::Source) => {
                    [from.map(|(_, from)| from), to.as_ref().map(|(_, to)| to.clone())]
                }
                (edited, _) => edited,
            };
            let key = match (what, &edited, &to) {
                (What::Formula, [_, Some(edited)], Some((record, _))) => Some((Some(*record), edited.key.clone())),
                (What::Settings, [_, Some(edited)], _) => Some((None, edited.key.clone())),
                _ => None,
            };
            if let Some(at) = key.as_ref().and_then(|key| by_key.get(key)) {
                self.all[*at].switches.push(Switch::Rule(node));
                continue;
            }
            let start = ValueChange { named: ChangedNode::Head(node), before: old.value(was), after: new.value(node) };
            let setting = edited[1].as_ref().filter(|_| what == What::Settings).map(|edited| edited.key.clone());
            let id = setting.clone().unwrap_or_else(|| new.name(node));
            by_key.extend(key.map(|key| (key, self.all.len())));
            self.push(what, id, start, edited, vec![Switch::Rule(node)]);
            if let Some(draft) = self.all.last_mut().filter(|_| setting.is_some()) {
                // The number of one of the values that the setting changes is not that of the setting.
                (draft.cause.before, draft.cause.after) = (None, None);
            }
        }
    }

    /// The exchange rate of the currency of a quantity, in both states.
    fn rate_of(&self, quantity: &str) -> [Option<EditedKey>; 2] {
        let currency = Quantity::parse(quantity).ok().and_then(|quantity| quantity.unit().dimension().currency());
        self.loaded().map(|loaded| {
            let code = currency?.code();
            let text = loaded.settings().rates.get(code).map_or_else(String::new, ToString::to_string);
            Some(EditedKey::of_settings(format!("rates.{code}"), text))
        })
    }

    /// Events that count in a goal, and systems that count in a system, in one state only.
    fn inputs(&mut self) {
        let mut by_input: HashMap<NodeId, usize> = HashMap::new();
        let of_rule = self.drafts_of_rules();
        for switch in self.merged.inputs_of_one_state() {
            let Switch::Input { input, in_head, .. } = switch else { continue };
            if let Some(at) = by_input.get(&input) {
                self.all[*at].switches.push(switch);
                continue;
            }
            let Some(start) = self.change_of(input) else { continue };
            let [old, new] = self.values();
            let (values, node) = match start.named {
                ChangedNode::Head(node) => (new, node),
                ChangedNode::Base(node) => (old, node),
            };
            if let Key::NotInParts(target) = values.keys[node] {
                self.measured_total(values.record_node(target), start, switch, &of_rule);
                continue;
            }
            let record = match values.keys[node] {
                Key::Record(record) | Key::Group(Some(record), _) => record,
                Key::Group(None, _) | Key::Part(..) | Key::Local(..) | Key::NotInParts(_) => continue,
            };
            let is_event = matches!(values.keys[node], Key::Record(_));
            let in_both = match start.named {
                ChangedNode::Head(_) => self.renames.base_of[record].is_some(),
                ChangedNode::Base(_) => self.renames.head_of[record].is_some(),
            };
            let own = values.graph.loaded.record(record).id.as_str();
            let (what, id) = match (in_both, in_head, is_event) {
                (true, _, true) => (What::Link, own.to_owned()),
                (true, _, false) => (What::System, format!("{own}.in")),
                (false, true, _) => (What::Added, own.to_owned()),
                (false, false, _) => (What::Removed, own.to_owned()),
            };
            if is_event {
                self.covered.insert((matches!(start.named, ChangedNode::Head(_)), record));
            }
            let edited = if what == What::System { self.key_of_part(record, start.named) } else { Default::default() };
            by_input.insert(input, self.all.len());
            self.push(what, id, start, edited, vec![switch]);
        }
    }

    /// The draft so far that switches the rule of each node.
    fn drafts_of_rules(&self) -> HashMap<NodeId, usize> {
        let mut all = HashMap::new();
        for (at, draft) in self.all.iter().enumerate() {
            for switch in &draft.switches {
                if let Switch::Rule(node) = switch {
                    all.entry(*node).or_insert(at);
                }
            }
        }
        all
    }

    /// A total that was measured in one state only counts in place of its parts: one cause with the source of its target.
    fn measured_total(
        &mut self,
        target: Option<NodeId>,
        start: ValueChange,
        switch: Switch,
        of_rule: &HashMap<NodeId, usize>,
    ) {
        let is_head = matches!(start.named, ChangedNode::Head(_));
        let here = target.map(|node| if is_head { node } else { self.merged.of_base(node) });
        match here.and_then(|here| of_rule.get(&here)) {
            Some(at) => {
                let draft = &mut self.all[*at];
                draft.size = f64::INFINITY;
                draft.switches.push(switch);
            }
            None => {
                let [old, new] = self.values();
                let values = if is_head { new } else { old };
                let id = target.map(|node| values.name(node)).unwrap_or_default();
                self.push(What::Source, id, start, Default::default(), vec![switch]);
            }
        }
    }

    /// The key `in` of a record in both states.
    fn key_of_part(&self, record: RecordId, named: ChangedNode) -> [Option<EditedKey>; 2] {
        let records = match named {
            ChangedNode::Head(_) => [self.renames.base_of[record], Some(record)],
            ChangedNode::Base(_) => [Some(record), self.renames.head_of[record]],
        };
        let [before, after] = self.loaded();
        [(before, records[0]), (after, records[1])].map(|(loaded, record)| {
            let about = loaded.record(record?).about()?;
            Some(EditedKey::of_record(loaded, record?, "in".to_owned(), about.to_string()))
        })
    }

    /// The change of the value of a node of the merged graph.
    fn change_of(&self, node: NodeId) -> Option<ValueChange> {
        let [old, new] = self.values();
        if node.index() < new.keys.len() {
            let before = self.counterparts.base_of[node].and_then(|was| old.value(was));
            return Some(ValueChange { named: ChangedNode::Head(node), before, after: new.value(node) });
        }
        let was = self.merged.base(node)?;
        Some(ValueChange { named: ChangedNode::Base(was), before: old.value(was), after: None })
    }

    /// The parts that count in another way: added, removed, moved, more or fewer, with another growth allowance.
    fn parts(&mut self) {
        let [before, after] = self.loaded();
        let mut by_setting: HashMap<(String, String), (Vec<usize>, f64)> = HashMap::new();
        let parts = after.parts().map(|(new, ..)| [self.renames.base_of[new], Some(new)]);
        let removed = before.parts().filter(|(old, ..)| self.renames.head_of[*old].is_none());
        let parts: Vec<_> = parts.chain(removed.map(|(old, ..)| [Some(old), None])).collect();
        let same_settings = before.settings().growth == after.settings().growth;
        for records in parts {
            if let [Some(old), Some(new)] = records
                && same_settings
                && before.shares(old, after, new)
                && !self.system_differs(old, new)
            {
                continue;
            }
            let mut names: Vec<&str> = Vec::new();
            let mut seen = HashSet::default();
            for (loaded, record) in [(after, records[1]), (before, records[0])] {
                let part = record.and_then(|record| loaded.part(record));
                for (name, _) in part.into_iter().flat_map(|part| part.amounts.iter()) {
                    if seen.insert(name.as_str()) {
                        names.push(name.as_str());
                    }
                }
            }
            let (mut counts, mut systems) = (Vec::new(), Vec::new());
            let mut start = None;
            for name in names {
                let Some((at, sides)) = self.piece(records, name) else { continue };
                let node = self.pieces[at].node;
                let Some(change) = self.change_of(node) else { continue };
                let [Some(was), Some(is)] = sides.members else {
                    self.presence(at, &sides, change);
                    continue;
                };
                start = start.or(Some(change.clone()));
                if was.count.to_bits() != is.count.to_bits() {
                    counts.push(at);
                }
                if was.system != is.system {
                    systems.push(at);
                }
                if !same_number(was.growth, is.growth) {
                    let [Some(from), Some(to)] = sides.amounts else { continue };
                    if from.basis == to.basis {
                        let basis = to.basis.as_ref().map_or("", |basis| basis.as_str());
                        let size = self.size(self.pieces[at].car, self.effect(at, &change));
                        let entry = by_setting.entry((name.to_owned(), basis.to_owned())).or_default();
                        entry.0.push(at);
                        entry.1 += size;
                    } else {
                        self.basis(at, &sides, change);
                    }
                }
            }
            if let (Some(start), [Some(old), Some(new)]) = (start, records) {
                self.count_and_system([old, new], &start, counts, systems);
            }
        }
        let mut by_setting: Vec<_> = by_setting.into_iter().collect();
        by_setting.sort_unstable_by(|a, b| a.0.cmp(&b.0));
        for ((name, basis), (pieces, size)) in by_setting {
            self.growth_setting(&name, &basis, &pieces, size);
        }
    }

    /// Whether the total of the system of a part that did not change is new or gone.
    fn system_differs(&self, old: RecordId, new: RecordId) -> bool {
        let [before, after] = self.loaded();
        let system = |loaded: &Loaded, part| loaded.record(part).about().and_then(|id| loaded.find(id.as_str()));
        match (system(before, old), system(after, new)) {
            (Some(was), Some(is)) => self.renames.base_of[is] != Some(was),
            (None, None) => false,
            _ => true,
        }
    }

    /// A piece and its two sides; `None` if it counts the same in both states.
    fn piece<'l>(&mut self, records: [Option<RecordId>; 2], name: &'l str) -> Option<(usize, Sides<'l>)>
    where
        's: 'l,
    {
        let (values, loaded) = (self.values(), self.loaded());
        let mut nodes = [None; 2];
        let mut cars = [None; 2];
        let mut amounts: [Option<&'l Amount>; 2] = [None; 2];
        let mut members = [None; 2];
        for side in [0, 1] {
            let Some(record) = records[side] else { continue };
            let here = |node: NodeId| if side == 0 { self.merged.of_base(node) } else { node };
            let (values, loaded) = (values[side], loaded[side]);
            let Some((own, number)) = amount(loaded, record, name).zip(values.amount(name)) else { continue };
            nodes[side] = values.node(&Key::Part(record, number)).map(here);
            cars[side] = values.node(&Key::Group(None, number)).map(here);
            let system = loaded.record(record).about().and_then(|id| loaded.find(id.as_str()));
            let system = system.and_then(|system| values.node(&Key::Group(Some(system), number))).map(here);
            let count = f64::from(loaded.part(record).and_then(|part| part.count).unwrap_or(1));
            amounts[side] = Some(own);
            members[side] = Some(Member { system, count, growth: growth(loaded.settings(), name, own) });
        }
        if members[0] == members[1] {
            return None;
        }
        let piece = Piece::new(nodes[1].or(nodes[0])?, cars[1].or(cars[0]), members[0], members[1]);
        self.pieces.push(piece);
        Some((self.pieces.len() - 1, Sides { name, records, amounts, members }))
    }

    /// The change of the total by a change of a piece, roughly.
    fn effect(&self, at: usize, change: &ValueChange) -> Option<f64> {
        let piece = &self.pieces[at];
        let factor = |member: Option<Member>| member.map_or(0.0, |member| member.count * (1.0 + member.growth));
        Some((factor(piece.head) - factor(piece.base)) * change.after.or(change.before)?)
    }

    fn push_piece(&mut self, cause: Cause, start: ValueChange, switches: Vec<Switch>, size: f64) {
        self.all.push(Draft { cause, start: Some(start), switches, size });
    }

    fn name_of(&self, change: &ValueChange) -> (String, Unit) {
        let [old, new] = self.values();
        let (values, node) = match change.named {
            ChangedNode::Head(node) => (new, node),
            ChangedNode::Base(node) => (old, node),
        };
        (values.name(node), values.unit(node).clone())
    }

    fn edited(&self, sides: &Sides<'_>, key: &str, text: impl Fn(&Amount) -> String) -> [Option<EditedKey>; 2] {
        let loaded = self.loaded();
        [0, 1].map(|side| {
            let (record, amount) = (sides.records[side]?, sides.amounts[side]?);
            let key = format!("amounts.{}.{key}", sides.name);
            Some(EditedKey::of_record(loaded[side], record, key, text(amount)))
        })
    }

    /// A part, or an amount of it, that only one state has.
    fn presence(&mut self, at: usize, sides: &Sides<'_>, start: ValueChange) {
        let what = if self.pieces[at].head.is_some() { What::Added } else { What::Removed };
        let (id, unit) = self.name_of(&start);
        let edited = self.edited(sides, "value", |amount| amount.value.to_string());
        let size = self.size(self.pieces[at].car, self.effect(at, &start));
        let cause = Cause::new(what, id, [start.before, start.after], unit, edited);
        self.push_piece(cause, start, of_pieces(&[at], Aspect::Presence), size);
    }

    /// The basis of an estimate, and with it the growth allowance.
    fn basis(&mut self, at: usize, sides: &Sides<'_>, start: ValueChange) {
        let (id, _) = self.name_of(&start);
        let settings = self.loaded().map(Loaded::settings);
        let first = |side: usize| {
            let bases = settings[side].growth.get(sides.name);
            bases.and_then(|bases| bases.iter().next()).map_or_else(String::new, |(basis, _)| basis.to_string())
        };
        let mut edited = self.edited(sides, "basis", |amount| {
            amount.basis.as_ref().map_or_else(String::new, |basis| basis.as_str().to_owned())
        });
        // Without a basis, the first one of the settings applies.
        for (side, edited) in edited.iter_mut().enumerate() {
            if let Some(edited) = edited.as_mut().filter(|edited| edited.text.is_empty()) {
                edited.text = first(side);
            }
        }
        let size = self.size(self.pieces[at].car, self.effect(at, &start));
        let growths = sides.members.map(|member| member.map(|member| member.growth));
        let cause = Cause::new(What::Basis, id, growths, percent(), edited);
        self.push_piece(cause, start, of_pieces(&[at], Aspect::Growth), size);
    }

    fn growth_setting(&mut self, name: &str, basis: &str, pieces: &[usize], size: f64) {
        let Some(start) = pieces.first().and_then(|at| self.change_of(self.pieces[*at].node)) else { return };
        let sides = pieces.first().map(|at| [self.pieces[*at].base, self.pieces[*at].head]);
        let growths = sides.unwrap_or_default().map(|member| member.map(|member| member.growth));
        let id = if basis.is_empty() { format!("growth.{name}") } else { format!("growth.{name}.{basis}") };
        let text =
            |growth: Option<f64>| growth.map(|growth| EditedKey::of_settings(id.clone(), percent().show(growth, 0.0)));
        let edited = growths.map(text);
        let cause = Cause::new(What::Settings, id.clone(), growths, percent(), edited);
        self.push_piece(cause, start, of_pieces(pieces, Aspect::Growth), size);
    }

    fn count_and_system(&mut self, parts: [RecordId; 2], start: &ValueChange, counts: Vec<usize>, systems: Vec<usize>) {
        let loaded = self.loaded();
        let id = loaded[1].record(parts[1]).id.as_str();
        for (what, aspect, pieces, key) in
            [(What::Count, Aspect::Count, counts, "count"), (What::System, Aspect::System, systems, "in")]
        {
            if pieces.is_empty() {
                continue;
            }
            let count = |side: usize| loaded[side].part(parts[side]).and_then(|part| part.count).unwrap_or(1);
            let edited = [0, 1].map(|side| {
                let text = match what {
                    What::Count => Some(count(side).to_string()),
                    _ => loaded[side].record(parts[side]).about().map(ToString::to_string),
                };
                text.map(|text| EditedKey::of_record(loaded[side], parts[side], key.to_owned(), text))
            });
            let number = |side: usize| Some(f64::from(count(side))).filter(|_| what == What::Count);
            let size: f64 = pieces.iter().map(|at| self.size(self.pieces[*at].car, self.effect(*at, start))).sum();
            let (id, numbers) = (format!("{id}.{key}"), [number(0), number(1)]);
            let cause = Cause::new(what, id, numbers, Unit::dimensionless(), edited);
            self.push_piece(cause, start.clone(), of_pieces(&pieces, aspect), size);
        }
    }

    /// Targets and events that only one state has: they have an effect through the values that read them.
    fn records_of_one_state(&mut self) {
        let [old, new] = self.values();
        for (values, is_head) in [(new, true), (old, false)] {
            let mut sources = Sources::new(values);
            for (node, key) in values.nodes() {
                let Key::Record(record) = key else { continue };
                let other = if is_head { self.counterparts.base_of[node] } else { self.counterparts.head_of[node] };
                if other.is_some() || values.value(node).is_none() || self.covered.contains(&(is_head, *record)) {
                    continue;
                }
                let named = if is_head { ChangedNode::Head(node) } else { ChangedNode::Base(node) };
                let value = values.value(node);
                let (before, after) = if is_head { (None, value) } else { (value, None) };
                let what = if is_head { What::Added } else { What::Removed };
                let key = sources.source(node).map(|(_, key)| key);
                let edited = if is_head { [None, key] } else { [key, None] };
                self.push(what, values.name(node), ValueChange { named, before, after }, edited, Vec::new());
            }
        }
    }
}
