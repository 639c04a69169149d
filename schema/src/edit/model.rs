//! The values of a file without their form: what an edit must lead to.

use super::pairs::Pairs;
use super::value::is_special;
use super::{Change, EditError, Route, Value, names};
use crate::read::tree::{Content, NodeId, Tree};

/// A value of a file.
#[derive(Clone, Debug)]
pub(super) enum Model {
    /// A scalar. `new`: it may have quotes or not, if that makes no difference.
    Scalar {
        text: String,
        plain: bool,
        new: bool,
    },
    List(Vec<Self>),
    Map(Pairs),
}

impl Model {
    /// The values of a tree, with aliases expanded.
    pub(super) fn of(tree: &Tree<'_>) -> Self {
        let empty = Self::Scalar { text: String::new(), plain: true, new: false };
        tree.root().map_or(empty, |root| Self::of_node(tree, root))
    }

    fn of_node(tree: &Tree<'_>, node: NodeId) -> Self {
        match tree.content(node) {
            Content::Scalar { text, plain } => Self::Scalar { text: text.to_owned(), plain, new: false },
            Content::List(items) => Self::List(items.iter().map(|item| Self::of_node(tree, *item)).collect()),
            Content::Map(entries) => Self::Map(
                entries.iter().map(|[key, value]| (Self::of_node(tree, *key), Self::of_node(tree, *value))).collect(),
            ),
        }
    }

    fn of_value(value: &Value) -> Self {
        match value {
            Value::Scalar { text, plain } => Self::Scalar { text: text.clone(), plain: *plain, new: true },
            Value::List(items) => Self::List(items.iter().map(Self::of_value).collect()),
            Value::Map(entries) => {
                Self::Map(entries.iter().map(|(key, value)| (Self::key(key), Self::of_value(value))).collect())
            }
        }
    }

    fn key(text: &str) -> Self {
        Self::Scalar { text: text.to_owned(), plain: false, new: true }
    }

    pub(super) fn text(&self) -> Option<&str> {
        match self {
            Self::Scalar { text, .. } => Some(text),
            Self::List(_) | Self::Map(_) => None,
        }
    }

    fn is_null(&self) -> bool {
        matches!(self, Self::Scalar { text, plain: true, .. } if matches!(text.as_str(), "" | "~" | "null" | "Null" | "NULL"))
    }

    /// Whether what was read is what was expected.
    pub(super) fn is_same(&self, read: &Self) -> bool {
        match (self, read) {
            (Self::Scalar { text, plain, new }, Self::Scalar { text: other, plain: other_plain, .. }) => {
                text == other && (plain == other_plain || *new && !is_special(text))
                    || *new && self.is_null() && read.is_null()
            }
            (Self::List(items), Self::List(others)) => {
                items.len() == others.len() && items.iter().zip(others).all(|(item, other)| item.is_same(other))
            }
            (Self::Map(entries), Self::Map(others)) => {
                let (entries, others) = (entries.as_slice(), others.as_slice());
                entries.len() == others.len()
                    && entries
                        .iter()
                        .zip(others)
                        .all(|((key, value), (other_key, other))| key.is_same(other_key) && value.is_same(other))
            }
            _ => false,
        }
    }

    fn step(&mut self, step: &str) -> Option<&mut Self> {
        let index = self.index_of(step)?;
        match self {
            Self::Scalar { .. } => None,
            Self::List(items) => items.get_mut(index),
            Self::Map(entries) => entries.value_mut(index),
        }
    }

    /// As in the tree.
    fn index_of(&mut self, step: &str) -> Option<usize> {
        match self {
            Self::Scalar { .. } => None,
            Self::Map(entries) => entries.position(step),
            Self::List(items) => {
                let number = || step.parse::<usize>().ok().filter(|at| (1..=items.len()).contains(at)).map(|at| at - 1);
                items.iter().position(|item| item.text() == Some(step)).or_else(number)
            }
        }
    }

    fn find(&mut self, at: &Route) -> Result<&mut Self, EditError> {
        let mut node = self;
        for step in at {
            node = node.step(step).ok_or_else(|| EditError::Missing(at.clone()))?;
        }
        Ok(node)
    }

    /// The collection that the end of a route is in, and its index there.
    fn parent(&mut self, at: &Route) -> Result<(&mut Self, usize), EditError> {
        let missing = || EditError::Missing(at.clone());
        let (last, above) = at.split_last().ok_or_else(missing)?;
        let mut node = self;
        for step in above {
            node = node.step(step).ok_or_else(missing)?;
        }
        let index = node.index_of(last).ok_or_else(missing)?;
        Ok((node, index))
    }

    /// Makes a change.
    pub(super) fn apply(&mut self, change: &Change) -> Result<(), EditError> {
        match change {
            Change::Set { at, value } => self.set(at, Self::of_value(value)),
            Change::Add { at, value } => match self.find(at) {
                Ok(found) if !found.is_null() || at.len() <= 2 => Err(EditError::Exists(at.clone())),
                _ => self.set(at, Self::of_value(value)),
            },
            Change::Append { at, value } => match self.find(at) {
                Ok(Self::List(items)) => {
                    items.push(Self::of_value(value));
                    Ok(())
                }
                Ok(found) if !found.is_null() => Err(EditError::NoList(at.clone())),
                _ => self.set(at, Self::List(vec![Self::of_value(value)])),
            },
            Change::Remove { at } => {
                match self.parent(at)? {
                    (Self::Map(entries), index) => entries.remove(index),
                    (Self::List(items), index) => drop(items.remove(index)),
                    (Self::Scalar { .. }, _) => return Err(EditError::Missing(at.clone())),
                }
                Ok(())
            }
            Change::RenameKey { at, to } => {
                let (parent, index) = self.parent(at)?;
                let Self::Map(entries) = parent else { return Err(EditError::NoMap(at.clone())) };
                if entries.position(to).is_some() {
                    let mut other = at.clone();
                    other.pop();
                    other.push(to.clone());
                    return Err(EditError::Exists(other));
                }
                entries.rename(index, Self::key(to));
                Ok(())
            }
            Change::ReplaceName { at, from, to } => {
                let Self::Scalar { text, .. } = self.find(at)? else { return Err(EditError::NoName(at.clone())) };
                match names::replaced(text, from, to) {
                    Some(new) => *text = new,
                    None => return Err(EditError::NoName(at.clone())),
                }
                Ok(())
            }
        }
    }

    fn set(&mut self, at: &Route, value: Self) -> Result<(), EditError> {
        let mut node = self;
        for (depth, step) in at.iter().enumerate() {
            let error = |kind: fn(Route) -> EditError| Err(kind(at[..depth].to_vec()));
            if node.is_null() {
                *node = Self::Map(Pairs::default());
            }
            let found = node.index_of(step);
            node = match node {
                Self::Scalar { .. } => return error(EditError::NoMap),
                Self::List(items) => match found {
                    Some(index) => &mut items[index],
                    None => return Err(EditError::Missing(at.clone())),
                },
                Self::Map(entries) => {
                    let empty = || Self::Scalar { text: String::new(), plain: true, new: true };
                    let index = found.unwrap_or_else(|| entries.push(Self::key(step), empty()));
                    entries.value_mut(index).ok_or_else(|| EditError::Missing(at.clone()))?
                }
            };
        }
        *node = value;
        Ok(())
    }
}
