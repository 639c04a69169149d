//! What a stress file may have at most. A file of one million elements is well below each of them.

/// Elements, or rows of a table divided by 16.
pub const MOST_CELLS: usize = 2_000_000;

/// Nodes.
pub const MOST_POINTS: usize = 6_000_000;

/// Ids of nodes in all elements.
pub const MOST_IDS: usize = 30_000_000;

/// Rows of a table of integration points.
pub const MOST_ROWS: usize = 16 * MOST_CELLS;

/// The bytes of a file.
pub const LARGEST_FILE: u64 = 192 * 1024 * 1024;
