//! A YAML file as a tree in which every key and value knows its place.

use foldhash::HashMap;

use super::Spot;

/// The index of a node in its tree. An alias is the same node again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct NodeId(u32);

/// What a node holds.
#[derive(Clone, Debug)]
pub enum Content {
    /// A text; `plain` when it stood without quotes, so that it may also be a number, a truth value or nothing.
    Scalar {
        /// The text without quotes.
        text: Box<str>,
        /// Written without quotes?
        plain: bool,
    },
    /// A list.
    List(Vec<NodeId>),
    /// A map, with keys that may stand twice.
    Map(Vec<(NodeId, NodeId)>),
}

/// A node and where it begins.
#[derive(Clone, Debug)]
pub struct Node {
    /// What it holds.
    pub content: Content,
    /// Where it begins.
    pub spot: Spot,
}

/// All nodes of a file.
#[derive(Debug, Default)]
pub struct Tree {
    nodes: Vec<Node>,
    root: Option<NodeId>,
    /// Of each large collection, the numbers of its texts in the order of the texts.
    sorted: HashMap<NodeId, Vec<u32>>,
}

impl Tree {
    pub(super) fn push(&mut self, node: Node) -> NodeId {
        let id = NodeId(u32::try_from(self.nodes.len()).unwrap_or(u32::MAX));
        self.nodes.push(node);
        id
    }

    pub(super) fn append_item(&mut self, list: NodeId, item: NodeId) {
        if let Content::List(items) = &mut self.nodes[list.0 as usize].content {
            items.push(item);
        }
    }

    pub(super) fn append_entry(&mut self, map: NodeId, key: NodeId, value: NodeId) {
        if let Content::Map(entries) = &mut self.nodes[map.0 as usize].content {
            entries.push((key, value));
        }
    }

    /// Nothing is added after this.
    pub(super) fn finish(&mut self, root: Option<NodeId>) {
        /// Up to here a scan is as fast as a search.
        const SMALL: usize = 32;
        self.root = root;
        for (number, node) in self.nodes.iter().enumerate() {
            let len = match &node.content {
                Content::Map(entries) => entries.len(),
                Content::List(items) => items.len(),
                Content::Scalar { .. } => 0,
            };
            if len > SMALL {
                let id = NodeId(u32::try_from(number).unwrap_or(u32::MAX));
                let mut order: Vec<u32> = (0..u32::try_from(len).unwrap_or(u32::MAX)).collect();
                order.sort_by_key(|position| self.text_at(id, *position as usize));
                self.sorted.insert(id, order);
            }
        }
    }

    /// The text of a list's item or a map's key.
    fn text_at(&self, collection: NodeId, position: usize) -> Option<&str> {
        match &self.node(collection).content {
            Content::Map(entries) => self.text(entries.get(position)?.0),
            Content::List(items) => self.text(*items.get(position)?),
            Content::Scalar { .. } => None,
        }
    }

    /// The position of the first item or key with a text.
    fn position(&self, collection: NodeId, text: &str) -> Option<usize> {
        if let Some(order) = self.sorted.get(&collection) {
            let at = order.partition_point(|position| self.text_at(collection, *position as usize) < Some(text));
            let position = *order.get(at)? as usize;
            return (self.text_at(collection, position) == Some(text)).then_some(position);
        }
        match &self.node(collection).content {
            Content::Map(entries) => entries.iter().position(|(key, _)| self.text(*key) == Some(text)),
            Content::List(items) => items.iter().position(|item| self.text(*item) == Some(text)),
            Content::Scalar { .. } => None,
        }
    }

    /// The node of the document; none in an empty file.
    pub fn root(&self) -> Option<NodeId> {
        self.root
    }

    /// A node.
    pub fn node(&self, id: NodeId) -> &Node {
        &self.nodes[id.0 as usize]
    }

    /// Where a node begins.
    pub fn spot(&self, id: NodeId) -> Spot {
        self.node(id).spot
    }

    /// The text of a scalar.
    pub fn text(&self, id: NodeId) -> Option<&str> {
        match &self.node(id).content {
            Content::Scalar { text, .. } => Some(text),
            _ => None,
        }
    }

    /// Is it nothing: an empty plain scalar, `~` or `null`?
    pub fn is_null(&self, id: NodeId) -> bool {
        match &self.node(id).content {
            Content::Scalar { text, plain: true } => matches!(&**text, "" | "~" | "null" | "Null" | "NULL"),
            _ => false,
        }
    }

    /// The entries of a map; none where it is no map.
    pub fn entries(&self, id: NodeId) -> &[(NodeId, NodeId)] {
        match &self.node(id).content {
            Content::Map(entries) => entries,
            _ => &[],
        }
    }

    /// How many nodes stand here, with aliases written out.
    pub(super) fn size(&self, id: NodeId) -> usize {
        match &self.node(id).content {
            Content::Scalar { .. } => 1,
            Content::List(items) => 1 + items.iter().map(|item| self.size(*item)).sum::<usize>(),
            Content::Map(entries) => {
                1 + entries.iter().map(|(key, value)| self.size(*key) + self.size(*value)).sum::<usize>()
            }
        }
    }

    /// The key and value nodes of a key in a map.
    pub fn entry(&self, map: NodeId, key: &str) -> Option<(NodeId, NodeId)> {
        self.entries(map).get(self.position(map, key)?).copied()
    }

    /// Follows a route of keys from the root as far as it goes: the place of the value at its end (or of
    /// its key, as `aim` says), or of the last key that was found when the route breaks off.
    ///
    /// A step in a list is the text of the item it leads to.
    pub fn locate<'a>(&self, route: impl IntoIterator<Item = &'a str>, aim: super::Aim) -> Spot {
        let Some(mut at) = self.root else { return Spot::START };
        let mut key_spot = self.spot(at);
        for step in route {
            match &self.node(at).content {
                Content::Map(_) => {
                    let Some((key, value)) = self.entry(at, step) else { return key_spot };
                    (key_spot, at) = (self.spot(key), value);
                }
                Content::List(items) => {
                    let Some(&item) = self.position(at, step).and_then(|position| items.get(position)) else {
                        return key_spot;
                    };
                    (key_spot, at) = (self.spot(item), item);
                }
                Content::Scalar { .. } => return key_spot,
            }
        }
        // An empty value has no place of its own worth pointing at, and an alias is shown where it is
        // used, not where its anchor stands.
        let value_spot = self.spot(at);
        match aim {
            super::Aim::Value if !self.is_null(at) && value_spot > key_spot => value_spot,
            _ => key_spot,
        }
    }

    /// The text of the scalar that a route of keys leads to.
    pub fn text_of_route<'a>(&self, route: impl IntoIterator<Item = &'a str>) -> Option<&str> {
        let mut at = self.root?;
        for step in route {
            at = self.entry(at, step)?.1;
        }
        self.text(at)
    }
}
