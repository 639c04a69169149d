//! A mesh with one stress field, as it was read: in the units of the file.

use super::error::{StressError, short};
use super::limits::{MOST_CELLS, MOST_IDS, MOST_POINTS};

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

/// A mesh and its stress.
#[derive(Debug)]
pub(super) struct Mesh {
    /// Three coordinates for each node.
    pub(super) points: Vec<f64>,
    /// The type of each element, with the numbers of VTK.
    pub(super) types: Vec<u8>,
    /// The end of each element in `ids`.
    pub(super) ends: Vec<u32>,
    /// The nodes of the elements.
    pub(super) ids: Vec<u32>,
    /// Where the stress is.
    pub(super) at: At,
    /// The numbers for each node or element: 1 (a scalar) or 6 (XX YY ZZ XY YZ XZ).
    pub(super) components: usize,
    /// The stress.
    pub(super) stress: Vec<f64>,
}

impl Mesh {
    pub(super) fn empty(at: At) -> Self {
        let (points, types, ends, ids, stress) = (Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new());
        Self { points, types, ends, ids, at, components: 1, stress }
    }
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

/// Checks the number of ids of all elements.
pub(super) fn check_ids(ids: usize) -> Result<(), StressError> {
    if ids > MOST_IDS { Err(StressError::too_many("ids of nodes in elements", ids, MOST_IDS)) } else { Ok(()) }
}

/// The number of components that a field may have; others are refused.
pub(super) fn check_components(name: &str, components: usize) -> Result<(), StressError> {
    match components {
        1 | 6 | 9 => Ok(()),
        other => Err(StressError::new(
            format!("the field `{}` has {other} components", short(name)),
            "use a scalar such as the von Mises stress (1 component), or the stress tensor (6 or 9 components)",
        )),
    }
}

/// Makes 6 components of 9, in place: XX XY XZ YX YY YZ ZX ZY ZZ to XX YY ZZ XY YZ XZ.
pub(super) fn symmetric(tensors: &mut Vec<f64>) {
    let count = tensors.len() / 9;
    for at in 0..count {
        let t: [f64; 9] = std::array::from_fn(|i| tensors[9 * at + i]);
        let six = [t[0], t[4], t[8], (t[1] + t[3]) / 2.0, (t[5] + t[7]) / 2.0, (t[2] + t[6]) / 2.0];
        tensors[6 * at..6 * at + 6].copy_from_slice(&six);
    }
    tensors.truncate(6 * count);
}

/// The von Mises stress of XX YY ZZ XY YZ XZ.
pub(super) fn von_mises(t: [f64; 6]) -> f64 {
    let [x, y, z, xy, yz, xz] = t;
    let normal = (x - y).powi(2) + (y - z).powi(2) + (z - x).powi(2);
    (normal / 2.0 + 3.0 * (xy * xy + yz * yz + xz * xz)).sqrt()
}
