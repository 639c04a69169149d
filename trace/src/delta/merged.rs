//! The value graphs of base and head as one, in which each difference between them can be switched on and off.
//!
//! A node that both states have starts with its rule of base. A total of an amount, or of a goal, is switched by input:
//! a part counts in it as often as its record says, with its growth allowance. A node that only one state has always
//! has its rule, because it has an effect only through the nodes that read it.

use foldhash::{HashMap, HashMapExt as _};
use schema::Kind;

use super::values::Counterparts;
use crate::ids::NodeId;
use crate::values::{Key, Network, Rule, State, Value, Values};

/// How a part counts in the totals of one of its amounts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Member {
    /// The total of its system, if the system has one.
    pub(super) system: Option<NodeId>,
    pub(super) count: f64,
    /// The growth allowance, as a share.
    pub(super) growth: f64,
}

/// What can be switched of a [`Piece`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Aspect {
    /// Whether it is there.
    Presence,
    Count,
    Growth,
    System,
}

/// An amount of a part in base, in head, or in both.
#[derive(Clone, Debug)]
pub(super) struct Piece {
    pub(super) node: NodeId,
    /// The total of the car.
    pub(super) car: Option<NodeId>,
    pub(super) base: Option<Member>,
    pub(super) head: Option<Member>,
    /// The aspects that are switched to head.
    switched: [bool; 4],
    /// The targets whose value is the total of this part.
    followers: Vec<NodeId>,
}

impl Piece {
    pub(super) fn new(node: NodeId, car: Option<NodeId>, base: Option<Member>, head: Option<Member>) -> Self {
        Self { node, car, base, head, switched: [false; 4], followers: Vec::new() }
    }

    fn member(&self) -> Option<Member> {
        let is = |aspect: Aspect| self.switched[aspect as usize];
        match (self.base, self.head) {
            (Some(base), Some(head)) => Some(Member {
                system: if is(Aspect::System) { head.system } else { base.system },
                count: if is(Aspect::Count) { head.count } else { base.count },
                growth: if is(Aspect::Growth) { head.growth } else { base.growth },
            }),
            (Some(base), None) => Some(base).filter(|_| !is(Aspect::Presence)),
            (None, head) => head.filter(|_| is(Aspect::Presence)),
        }
    }
}

/// One thing that differs between base and head.
#[derive(Clone, Debug)]
pub(super) enum Switch {
    /// The rule of a node that both states have.
    Rule(NodeId),
    /// Whether a total has an input.
    Input { total: NodeId, input: NodeId, in_head: bool },
    /// An aspect of a piece, by its position.
    Piece(usize, Aspect),
}

/// The inputs that a total can have, each with its factor if it has it now.
#[derive(Default)]
struct Slots {
    inputs: Vec<(NodeId, Option<f64>)>,
    position: HashMap<NodeId, usize>,
}

impl Slots {
    fn set(&mut self, input: NodeId, factor: Option<f64>) {
        let next = self.inputs.len();
        let at = *self.position.entry(input).or_insert(next);
        match self.inputs.get_mut(at) {
            Some(slot) => slot.1 = factor,
            None => self.inputs.push((input, factor)),
        }
    }
}

/// The two value graphs as one.
pub(super) struct Merged<'s> {
    base: &'s Values,
    head: &'s Values,
    /// The node here for each node of base; the nodes of head keep their ids.
    of_base: Vec<NodeId>,
    /// The node of base for each node here.
    base_of: Vec<Option<NodeId>>,
    /// The target that was measured in place of a total, in head or in base: what reads the one reads the other, because
    /// the target is the total in a state in which it was not measured.
    whole: HashMap<NodeId, NodeId>,
    network: Network,
    state: State,
    totals: HashMap<NodeId, Slots>,
    pub(super) pieces: Vec<Piece>,
    by_node: HashMap<NodeId, usize>,
}

/// Whether a node is a total that is switched by input.
fn is_by_input(values: &Values, node: NodeId) -> bool {
    let has_key = match values.keys[node] {
        Key::Group(..) => true,
        Key::Record(record) => values.graph.loaded.kind(record) == Kind::Goal,
        Key::Part(..) | Key::Local(..) | Key::NotInParts(_) => false,
    };
    has_key && matches!(values.network.nodes[node].rule, Rule::Total(_))
}

impl<'s> Merged<'s> {
    /// Merges two graphs, with every difference as in base. The pieces are added by [`Merged::start`].
    pub(super) fn new(base: &'s Values, head: &'s Values, counterparts: &Counterparts) -> Self {
        let mut next = head.keys.len();
        let of_base = counterparts.head_of.iter().map(|node| {
            node.unwrap_or_else(|| {
                next += 1;
                NodeId::new(next - 1)
            })
        });
        let of_base: Vec<NodeId> = of_base.collect();
        let mut network = Network {
            nodes: head.network.nodes.clone(),
            calls: head.network.calls.iter().chain(&base.network.calls).cloned().collect(),
            ..Network::default()
        };
        network.nodes.resize_with(next, || Value {
            rule: Rule::None,
            inputs: Vec::new(),
            dimension: schema::quantity::Dimension::default(),
            unit: schema::quantity::Unit::dimensionless(),
            uncertainty: 0.0,
        });
        let state = State::empty(&network);
        let mut base_of = counterparts.base_of.clone();
        base_of.resize(next, None);
        for (old, &node) in NodeId::all(base.keys.len()).zip(&of_base) {
            base_of[node] = Some(old);
        }
        let totals = |values: &Values| -> Vec<(NodeId, NodeId)> {
            NodeId::all(values.keys.len()).map(|node| (node, values.whole(node))).filter(|(a, b)| a != b).collect()
        };
        let mut whole: HashMap<NodeId, NodeId> =
            totals(base).into_iter().map(|(total, target)| (of_base[total], of_base[target])).collect();
        whole.extend(totals(head));
        let mut merged = Self {
            base,
            head,
            of_base,
            base_of,
            whole,
            network,
            state,
            totals: HashMap::new(),
            pieces: Vec::new(),
            by_node: HashMap::new(),
        };
        for (old, &node) in NodeId::all(base.keys.len()).zip(&merged.of_base.clone()) {
            merged.set_rule_of_base(node, old);
        }
        merged
    }

    /// The node here of a node of base.
    pub(super) fn of_base(&self, node: NodeId) -> NodeId {
        self.of_base[node]
    }

    /// The node of base of a node here.
    pub(super) fn base(&self, node: NodeId) -> Option<NodeId> {
        self.base_of[node]
    }

    /// Whether a node that both states have is a total that is switched by input.
    pub(super) fn is_by_input(&self, node: NodeId) -> bool {
        is_by_input(self.head, node) && self.base_of[node].is_none_or(|old| is_by_input(self.base, old))
    }

    /// The inputs of a node of base, as nodes here.
    fn inputs_of_base(&self, old: NodeId) -> Vec<NodeId> {
        self.base.network.nodes[old].inputs.iter().map(|input| self.of_base[*input]).collect()
    }

    fn set_rule_of_base(&mut self, node: NodeId, old: NodeId) {
        let rule = match &self.base.network.nodes[old].rule {
            Rule::Model { call, output } => Rule::Model { call: call + self.head.network.calls.len(), output: *output },
            other => other.clone(),
        };
        let inputs = self.inputs_of_base(old).into_iter().map(|input| self.whole(node, input)).collect();
        (self.network.nodes[node].rule, self.network.nodes[node].inputs) = (rule, inputs);
    }

    /// The node that a node reads for an input: the measured target for a total, except in the totals themselves.
    fn whole(&self, node: NodeId, input: NodeId) -> NodeId {
        let is_total = matches!(self.key(node), Some(Key::Group(..) | Key::NotInParts(_)));
        let whole = self.whole.get(&input).copied().filter(|whole| *whole != node && !is_total);
        whole.unwrap_or(input)
    }

    /// Whether the rule of a node that both states have is the same in both.
    pub(super) fn has_same_rule(&self, node: NodeId, old: NodeId) -> bool {
        let (was, is) = (&self.base.network.nodes[old], &self.head.network.nodes[node]);
        let whole =
            |inputs: &[NodeId]| -> Vec<NodeId> { inputs.iter().map(|input| self.whole(node, *input)).collect() };
        let same_inputs = || whole(&is.inputs) == whole(&self.inputs_of_base(old));
        match (&was.rule, &is.rule) {
            (Rule::Given(a) | Rule::Replaced(a, _), Rule::Given(b) | Rule::Replaced(b, _)) => {
                schema::quantity::same_number(*a, *b)
            }
            (Rule::Formula(a), Rule::Formula(b)) => a == b && same_inputs(),
            (Rule::Total(a), Rule::Total(b)) => {
                let follows = is.inputs.iter().all(|input| matches!(self.head.keys[*input], Key::Part(..)));
                (a == b || follows) && same_inputs()
            }
            (Rule::Model { call: a, output: one }, Rule::Model { call: b, output: other }) => {
                one == other && self.base.network.calls[*a].is_same(&self.head.network.calls[*b]) && same_inputs()
            }
            (Rule::Chance, Rule::Chance) => same_inputs(),
            (Rule::None, Rule::None) => true,
            _ => false,
        }
    }

    /// The inputs that only one state has of the totals that are switched by input, except parts.
    pub(super) fn inputs_of_one_state(&self) -> Vec<Switch> {
        let mut all = Vec::new();
        for total in NodeId::all(self.head.keys.len()).filter(|node| self.is_by_input(*node)) {
            let Some(old) = self.base_of[total] else { continue };
            let (was, is) = (self.inputs_of_base(old), &self.head.network.nodes[total].inputs);
            let is_part = |input: &NodeId| self.key(*input).is_some_and(|key| matches!(key, Key::Part(..)));
            let only = |these: &[NodeId], those: &[NodeId], in_head: bool| {
                let those: foldhash::HashSet<NodeId> = those.iter().copied().collect();
                let only = these.iter().filter(|input| !those.contains(input) && !is_part(input));
                only.map(|input| Switch::Input { total, input: *input, in_head }).collect::<Vec<_>>()
            };
            all.extend(only(is, &was, true));
            all.extend(only(&was, is, false));
        }
        all
    }

    /// What a node represents, in head or otherwise in base.
    fn key(&self, node: NodeId) -> Option<&Key> {
        self.head.keys.get(node.index()).or_else(|| Some(&self.base.keys[self.base_of[node]?]))
    }

    /// Adds the amounts of the parts, sorts the nodes and evaluates base. `false` if the two graphs together have a
    /// cycle: then no difference can be switched alone.
    pub(super) fn start(&mut self, pieces: Vec<Piece>) -> bool {
        let head_nodes = self.head.keys.len();
        let Some(order) = self.sorted() else { return false };
        self.network.order = order;
        self.by_node.extend(pieces.iter().enumerate().map(|(at, piece)| (piece.node, at)));
        self.pieces = pieces;
        for node in NodeId::all(self.network.nodes.len()) {
            let of_head = node.index() < head_nodes;
            let by_input = if of_head { self.is_by_input(node) } else { true };
            let value = &self.network.nodes[node];
            let Rule::Total(factors) = &value.rule else { continue };
            let inputs: Vec<(NodeId, f64)> = value.inputs.iter().copied().zip(factors.iter().copied()).collect();
            match inputs[..] {
                [(input, _)] if !by_input && self.by_node.contains_key(&input) => {
                    self.pieces[self.by_node[&input]].followers.push(node);
                }
                _ if by_input && of_head => {
                    let mut slots = Slots::default();
                    for (input, factor) in inputs {
                        slots.set(input, Some(factor));
                    }
                    self.totals.insert(node, slots);
                }
                _ => {}
            }
        }
        let mut edited = Vec::new();
        for at in 0..self.pieces.len() {
            self.place(at, &mut edited);
        }
        self.refresh(&mut edited);
        self.state = self.network.evaluate();
        true
    }

    /// An order of the nodes that fits the rules of both states.
    fn sorted(&self) -> Option<Vec<NodeId>> {
        let count = self.network.nodes.len();
        let mut edges: Vec<(NodeId, NodeId)> = Vec::new();
        for (node, value) in NodeId::all(self.head.keys.len()).zip(&self.head.network.nodes) {
            edges.extend(value.inputs.iter().map(|input| (*input, node)));
        }
        for old in NodeId::all(self.base.keys.len()) {
            edges.extend(self.inputs_of_base(old).into_iter().map(|input| (input, self.of_base[old])));
        }
        edges.sort_unstable();
        edges.dedup();
        let mut waiting = vec![0_u32; count];
        for (_, node) in &edges {
            waiting[*node] += 1;
        }
        let mut order: Vec<NodeId> = NodeId::all(count).filter(|node| waiting[*node] == 0).collect();
        let mut at = 0;
        while let Some(&input) = order.get(at) {
            at += 1;
            let first = edges.partition_point(|(from, _)| *from < input);
            for (_, node) in edges[first..].iter().take_while(|(from, _)| *from == input) {
                waiting[*node] -= 1;
                if waiting[*node] == 0 {
                    order.push(*node);
                }
            }
        }
        (order.len() == count).then_some(order)
    }

    /// Sets the factors of a piece in the totals that it counts in.
    fn place(&mut self, at: usize, edited: &mut Vec<NodeId>) {
        let piece = &self.pieces[at];
        let now = piece.member();
        let factor = now.map(|member| member.count * (1.0 + member.growth));
        let systems = [piece.base, piece.head].map(|member| member.and_then(|member| member.system));
        let here = now.and_then(|member| member.system);
        let in_systems = systems.into_iter().flatten().map(|system| (system, factor.filter(|_| here == Some(system))));
        for (total, factor) in piece.car.map(|car| (car, factor)).into_iter().chain(in_systems) {
            if let Some(slots) = self.totals.get_mut(&total) {
                slots.set(piece.node, factor);
                edited.push(total);
            }
        }
        for follower in &piece.followers {
            self.network.nodes[*follower].rule = Rule::Total(vec![factor.unwrap_or(1.0)]);
            edited.push(*follower);
        }
    }

    /// Writes the factors of totals that changed into their rules.
    fn refresh(&mut self, edited: &mut Vec<NodeId>) {
        edited.sort_unstable();
        edited.dedup();
        for total in edited {
            let Some(slots) = self.totals.get(total) else { continue };
            let present = slots.inputs.iter().filter_map(|(input, factor)| Some((*input, (*factor)?)));
            let (inputs, factors) = present.unzip();
            let node = &mut self.network.nodes[*total];
            (node.inputs, node.rule) = (inputs, Rule::Total(factors));
        }
    }

    fn set_rule(&mut self, node: NodeId, to_head: bool) {
        match self.base_of[node].filter(|_| !to_head) {
            Some(old) => self.set_rule_of_base(node, old),
            None => {
                let value = &self.head.network.nodes[node];
                self.network.nodes[node].rule = value.rule.clone();
                self.network.nodes[node].inputs.clone_from(&value.inputs);
            }
        }
    }

    /// Switches to head or back to base, and evaluates again.
    pub(super) fn switch<'a>(&mut self, switches: impl IntoIterator<Item = &'a Switch>, to_head: bool) {
        let mut edited = Vec::new();
        for switch in switches {
            match *switch {
                Switch::Rule(node) => {
                    self.set_rule(node, to_head);
                    edited.push(node);
                }
                Switch::Input { total, input, in_head } => {
                    if let Some(slots) = self.totals.get_mut(&total) {
                        slots.set(input, Some(1.0).filter(|_| in_head == to_head));
                        edited.push(total);
                    }
                }
                Switch::Piece(at, aspect) => {
                    self.pieces[at].switched[aspect as usize] = to_head;
                    self.place(at, &mut edited);
                }
            }
        }
        self.refresh(&mut edited);
        self.network.update(&mut self.state, &edited);
    }

    /// Switches without evaluating again, and returns the change of the totals of the car by the parts alone.
    pub(super) fn switch_parts(&mut self, switches: &[Switch], to_head: bool) -> Vec<(NodeId, f64)> {
        let mut changes = Vec::new();
        for switch in switches {
            let (node, piece) = match *switch {
                Switch::Rule(node) => (node, self.by_node.get(&node).copied()),
                Switch::Piece(at, _) => (self.pieces[at].node, Some(at)),
                Switch::Input { .. } => continue,
            };
            let car = match piece {
                Some(at) => self.pieces[at].car,
                None => self.car_of(node),
            };
            let before = self.share(node, piece, car);
            match *switch {
                Switch::Rule(node) => self.set_rule(node, to_head),
                Switch::Piece(at, aspect) => self.pieces[at].switched[aspect as usize] = to_head,
                Switch::Input { .. } => {}
            }
            changes.extend(car.map(|car| (car, self.share(node, piece, Some(car)) - before)));
        }
        changes
    }

    /// The total of the car that a part counts in.
    fn car_of(&self, node: NodeId) -> Option<NodeId> {
        let Some(Key::Part(_, number)) = self.key(node) else { return None };
        self.head.node(&Key::Group(None, *number)).filter(|_| node.index() < self.head.keys.len())
    }

    /// What a part adds to a total of the car now.
    fn share(&self, node: NodeId, piece: Option<usize>, car: Option<NodeId>) -> f64 {
        let slots = car.and_then(|car| self.totals.get(&car));
        let factor = match piece {
            Some(at) => self.pieces[at].member().map(|member| member.count * (1.0 + member.growth)),
            None => slots.and_then(|slots| slots.inputs.get(*slots.position.get(&node)?)?.1),
        };
        match (&self.network.nodes[node].rule, factor) {
            (Rule::Given(value), Some(factor)) => value * factor,
            _ => 0.0,
        }
    }

    /// The value of a node now, in SI.
    pub(super) fn value(&self, node: NodeId) -> Option<f64> {
        Some(self.state.values[node]).filter(|value| !value.is_nan())
    }
}
