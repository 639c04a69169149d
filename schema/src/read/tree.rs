//! A YAML file as a tree in which every key and value knows its place.

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

    pub(super) fn set_root(&mut self, root: Option<NodeId>) {
        self.root = root;
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

    /// The key and value nodes of a key in a map.
    pub fn entry(&self, map: NodeId, key: &str) -> Option<(NodeId, NodeId)> {
        self.entries(map).iter().copied().find(|(k, _)| self.text(*k) == Some(key))
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
                    let Some(item) = items.iter().copied().find(|item| self.text(*item) == Some(step)) else {
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
    pub fn text_at<'a>(&self, route: impl IntoIterator<Item = &'a str>) -> Option<&str> {
        let mut at = self.root?;
        for step in route {
            at = self.entry(at, step)?.1;
        }
        self.text(at)
    }
}
