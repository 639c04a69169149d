//! Typed indices, so that the index of a record cannot be used as the index of a value, a file or a commit.

use std::ops::{Index, IndexMut};

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(u32);

        impl $name {
            /// The id for a position in its list.
            pub fn new(position: usize) -> Self {
                debug_assert!(u32::try_from(position).is_ok());
                Self(position as u32)
            }

            /// The position in its list.
            pub fn index(self) -> usize {
                self.0 as usize
            }

            /// The ids of a list of this length, in order.
            pub fn all(length: usize) -> impl DoubleEndedIterator<Item = Self> + ExactSizeIterator + Clone {
                (0..length).map(Self::new)
            }
        }

        impl<T> Index<$name> for Vec<T> {
            type Output = T;

            fn index(&self, id: $name) -> &T {
                &self[id.index()]
            }
        }

        impl<T> Index<$name> for [T] {
            type Output = T;

            fn index(&self, id: $name) -> &T {
                &self[id.index()]
            }
        }

        impl<T> IndexMut<$name> for Vec<T> {
            fn index_mut(&mut self, id: $name) -> &mut T {
                &mut self[id.index()]
            }
        }
    )*};
}

ids! {
    /// A record, by its position in [`crate::Loaded::entries`].
    RecordId;
    /// A value, by its position in [`crate::values::Network::nodes`].
    NodeId;
    /// A file, by its position in [`crate::snapshot::Snapshot::files`].
    FileId;
    /// A commit that changed the project, by its position in [`crate::history::History::commits`].
    CommitIndex;
}

impl CommitIndex {
    /// The first commit. In the history of a merged branch, it is the one that the branch descends from.
    pub const FIRST: Self = Self(0);

    /// The commit before; the first one if there is none.
    #[must_use]
    pub fn before(self) -> Self {
        Self(self.0.saturating_sub(1))
    }
}
