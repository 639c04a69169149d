//! A mesh and its stress, as they were read: in the units of the file.

use super::error::{StressError, short};
use super::limits::{MOST_ARRAYS, MOST_CELLS, MOST_IDS, MOST_MEMORY, MOST_POINTS};

/// Where the values of a field are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum At {
    Nodes,
    Cells,
}

impl At {
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Nodes => "node",
            Self::Cells => "element",
        }
    }
}

/// A mesh.
#[derive(Debug, Default)]
pub(super) struct Mesh {
    /// Three coordinates for each node.
    pub(super) points: Vec<f64>,
    /// The type of each element, with the numbers of VTK.
    pub(super) types: Vec<u8>,
    /// The end of each element in `ids`.
    pub(super) ends: Vec<u32>,
    /// The nodes of the elements.
    pub(super) ids: Vec<u32>,
}

/// The stress of a mesh.
#[derive(Debug)]
pub(super) struct Stress {
    /// Where the values are.
    pub(super) at: At,
    /// The numbers for each node or element: 1 (a scalar) or 6 (XX YY ZZ XY YZ XZ).
    pub(super) components: usize,
    /// The values.
    pub(super) values: Vec<f64>,
}

impl Mesh {
    pub(super) fn nodes(&self) -> usize {
        self.points.len() / 3
    }

    /// The number of places that a field has values at.
    pub(super) fn places(&self, at: At) -> usize {
        match at {
            At::Nodes => self.nodes(),
            At::Cells => self.types.len(),
        }
    }

    /// Checks that the mesh and a field with so many components fit into memory.
    pub(super) fn check_field(&self, name: &str, at: At, components: usize) -> Result<(), StressError> {
        check_components(name, components)?;
        check_memory(self.nodes(), self.types.len(), self.ids.len(), self.places(at) * kept(components))
    }
}

/// The components that are kept of a field.
pub(super) fn kept(components: usize) -> usize {
    if components == 1 { 1 } else { 6 }
}

/// Checks that a mesh, and so many numbers of a field, fit into memory.
pub(super) fn check_memory(points: usize, cells: usize, ids: usize, numbers: usize) -> Result<(), StressError> {
    let bytes = 24 * points + 5 * cells + 4 * ids + 8 * numbers;
    if bytes <= MOST_MEMORY {
        return Ok(());
    }
    Err(StressError::new(
        format!("the mesh and its stress need {} MiB of memory; the limit is {} MiB", bytes >> 20, MOST_MEMORY >> 20),
        "use a coarser mesh, export only this part, or export the von Mises stress in place of the tensor",
    ))
}

/// Checks the counts that a header states.
pub(super) fn check_counts(points: usize, cells: usize) -> Result<(), StressError> {
    if points > MOST_POINTS {
        return Err(StressError::too_many("nodes", points, MOST_POINTS));
    }
    if cells > MOST_CELLS {
        return Err(StressError::too_many("elements", cells, MOST_CELLS));
    }
    Ok(())
}

/// Checks the number of arrays, and of pieces.
pub(super) fn check_arrays(arrays: usize) -> Result<(), StressError> {
    if arrays > MOST_ARRAYS { Err(StressError::too_many("arrays", arrays, MOST_ARRAYS)) } else { Ok(()) }
}

/// Checks the number of ids of all elements.
pub(super) fn check_ids(ids: usize) -> Result<(), StressError> {
    if ids > MOST_IDS { Err(StressError::too_many("ids of nodes in elements", ids, MOST_IDS)) } else { Ok(()) }
}

/// The number of components that a field may have; others are refused.
fn check_components(name: &str, components: usize) -> Result<(), StressError> {
    match components {
        1 | 6 | 9 => Ok(()),
        other => Err(StressError::new(
            format!("the field `{}` has {other} components", short(name)),
            "use a scalar such as the von Mises stress (1 component), or the stress tensor (6 or 9 components)",
        )),
    }
}

/// The von Mises stress of XX YY ZZ XY YZ XZ.
pub(super) fn von_mises(tensor: [f64; 6]) -> f64 {
    von_mises_squared(tensor).sqrt()
}

/// Its square.
pub(super) fn von_mises_squared(t: [f64; 6]) -> f64 {
    let [x, y, z, xy, yz, xz] = t;
    let normal = (x - y).powi(2) + (y - z).powi(2) + (z - x).powi(2);
    normal / 2.0 + 3.0 * (xy * xy + yz * yz + xz * xz)
}
