//! What a stress file may have at most. A file of one million elements is well below each of them.

/// Elements, or rows of a table divided by 16.
pub const MOST_CELLS: usize = 2_000_000;

/// Nodes.
pub const MOST_POINTS: usize = 6_000_000;

/// Ids of nodes in all elements.
pub const MOST_IDS: usize = 30_000_000;

/// Arrays and pieces.
pub const MOST_ARRAYS: usize = 100_000;

/// Rows of a table of integration points.
pub const MOST_ROWS: usize = 16 * MOST_CELLS;

/// Columns of such a table.
pub const MOST_COLUMNS: usize = 10_000;

/// The bytes of a file.
pub const LARGEST_FILE: u64 = 192 * 1024 * 1024;

/// The memory that a mesh with one field takes, in bytes: a small file that is compressed may have a large mesh.
pub const MOST_MEMORY: usize = 224 * 1024 * 1024;

/// The bytes of all stress files of a state.
pub const MOST_BYTES: u64 = 512 * 1024 * 1024;

/// The work for all fields of a state, see [`StressFile::work`](super::StressFile::work): some seconds, whatever the elements are. Two files
/// of one million hexahedra with a tensor at each node are within it.
pub const MOST_WORK: u64 = 600_000_000;
