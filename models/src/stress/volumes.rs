//! From a mesh to a distribution: the volume of every element, and the stress at the points of its rule.

use super::error::StressError;
use super::field::{Histogram, StressField};
use super::mesh::{At, von_mises};
use super::shapes::{self, Element, MOST_NODES, MOST_POINTS};
use super::{Ask, Mesh};

/// A volume below this share of the cube around an element counts as zero.
const FLAT: f64 = 1e-12;

/// A stress below zero by this share of the highest one is a mistake, not rounding.
const BELOW_ZERO: f64 = 0.01;

/// The distribution of a mesh.
pub(super) fn field(mesh: &Mesh, ask: Ask<'_>) -> Result<StressField, StressError> {
    check_types(mesh)?;
    let points = mesh.points.len() / 3;
    if let Some(at) = mesh.points.iter().position(|number| !number.is_finite()) {
        let message = format!("node {} has a coordinate that is not a finite number", at / 3);
        return Err(StressError::new(message, "export the mesh again"));
    }
    let (values, peak) = values(mesh, ask.stress)?;
    let values = values.as_deref().unwrap_or(&mesh.stress);
    let components = values.len() / tuples(mesh).max(1);
    let mut histogram = Histogram::new();
    let mut sums = Sums::new();
    let mut start = 0;
    for (cell, (vtk, end)) in mesh.types.iter().zip(&mesh.ends).enumerate() {
        let Some(element) = shapes::element(*vtk) else { continue };
        let end = *end as usize;
        let ids = mesh.ids.get(start..end).unwrap_or_default();
        start = end;
        if ids.len() != element.nodes {
            let name = shapes::name(*vtk);
            let message = format!("element {cell} ({name}) has {} nodes; this type has {}", ids.len(), element.nodes);
            return Err(StressError::damaged(message));
        }
        if let Some(id) = ids.iter().find(|id| **id as usize >= points) {
            let message = format!("element {cell} names node {id}, and the file has {points} nodes");
            return Err(StressError::damaged(message));
        }
        let volume = sums.volumes(element, ids, &mesh.points);
        if !volume.is_finite() || volume <= FLAT * sums.size.powi(3) {
            let problem = if volume < 0.0 { "is turned inside out" } else { "has no volume" };
            let message = format!("element {cell} ({}) {problem}", shapes::name(*vtk));
            let help = "check the mesh, and the order of the nodes in the export";
            return Err(StressError::new(message, help));
        }
        match mesh.at {
            At::Cells => histogram.add(values[cell], volume),
            At::Nodes => {
                sums.stress(element, ids, values, components);
                for (stress, volume) in sums.stress[0].iter().zip(&sums.weights).take(element.points) {
                    histogram.add(stress.clamp(0.0, peak), *volume);
                }
            }
        }
    }
    histogram.field(peak, mesh.types.len(), ask.stress_unit, ask.length_unit.powi(3))
}

fn tuples(mesh: &Mesh) -> usize {
    match mesh.at {
        At::Nodes => mesh.points.len() / 3,
        At::Cells => mesh.types.len(),
    }
}

/// Refuses elements that are not read, by their names.
fn check_types(mesh: &Mesh) -> Result<(), StressError> {
    let mut counts = [0_usize; 256];
    for vtk in &mesh.types {
        counts[usize::from(*vtk)] += 1;
    }
    let refused: Vec<u8> =
        (0..=255).filter(|vtk| counts[usize::from(*vtk)] > 0 && shapes::element(*vtk).is_none()).collect();
    if mesh.types.is_empty() {
        return Err(StressError::new("the file has no elements", "export the mesh with the results"));
    }
    if refused.is_empty() {
        return Ok(());
    }
    let list: Vec<String> = refused
        .iter()
        .map(|vtk| format!("{} of type {vtk} ({})", counts[usize::from(*vtk)], shapes::name(*vtk)))
        .collect();
    let message = format!("the file has elements that are not read: {}", list.join(", "));
    let help = if refused.iter().all(|vtk| shapes::is_flat(*vtk)) {
        "export only the volume elements; points, lines and shells have no volume here"
    } else {
        "use tetrahedra, hexahedra, wedges or pyramids, linear or quadratic"
    };
    Err(StressError::new(message, help))
}

/// The values to integrate, if they are not those of the mesh, and the highest stress.
///
/// A tensor of an element is one von Mises stress. Tensors of nodes stay tensors: the stress inside of an element is the von
/// Mises stress of the interpolated tensor, because the tensor is what varies smoothly. Interpolated von Mises stresses would
/// be too high: where a bending stress changes its sign, they would not reach zero.
fn values(mesh: &Mesh, name: &str) -> Result<(Option<Vec<f64>>, f64), StressError> {
    let expected = tuples(mesh) * mesh.components;
    if mesh.stress.len() != expected {
        let (found, word) = (mesh.stress.len() / mesh.components.max(1), mesh.at.word());
        let message =
            format!("the field `{}` has {found} values for {} {word}s", super::error::short(name), tuples(mesh));
        return Err(StressError::damaged(message));
    }
    if let Some(at) = mesh.stress.iter().position(|number| !number.is_finite()) {
        let word = mesh.at.word();
        let message = format!("the stress at {word} {} is not a finite number", at / mesh.components);
        return Err(StressError::new(message, "check the solution and the export"));
    }
    let highest =
        |values: &mut dyn Iterator<Item = f64>| values.fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
    let (tensors, _) = mesh.stress.as_chunks::<6>();
    let (made, (lowest, peak)) = match (mesh.components, mesh.at) {
        (6, At::Cells) => {
            let made: Vec<f64> = tensors.iter().map(|tensor| von_mises(*tensor)).collect();
            let range = highest(&mut made.iter().copied());
            (Some(made), range)
        }
        (6, At::Nodes) => (None, highest(&mut tensors.iter().map(|tensor| von_mises(*tensor)))),
        _ => (None, highest(&mut mesh.stress.iter().copied())),
    };
    if lowest < -BELOW_ZERO * peak || !peak.is_finite() {
        return Err(StressError::new(
            format!("the field `{}` has negative values: it is not an equivalent stress", super::error::short(name)),
            "use the von Mises stress or the whole tensor; a single component cannot be compared with an allowable stress",
        ));
    }
    // Rounding below zero is zero.
    let made = match (made, mesh.at) {
        (None, At::Cells) if lowest < 0.0 => Some(mesh.stress.iter().map(|stress| stress.max(0.0)).collect()),
        (made, _) => made,
    };
    Ok((made, peak))
}

/// The sums over the nodes of one element, at all points of its rule.
struct Sums {
    /// The derivatives of each coordinate by each direction, at every point.
    jacobians: [[f64; 3 * MOST_POINTS]; 3],
    /// The volume of every point.
    weights: [f64; MOST_POINTS],
    /// The components of the stress at every point; the first is the von Mises stress at the end.
    stress: [[f64; MOST_POINTS]; 6],
    /// The longest side of the box around the element.
    size: f64,
}

impl Sums {
    fn new() -> Self {
        let jacobians = [[0.0; 3 * MOST_POINTS]; 3];
        Self { jacobians, weights: [0.0; MOST_POINTS], stress: [[0.0; MOST_POINTS]; 6], size: 0.0 }
    }

    /// The volume of an element; those of its points are left in `weights`.
    fn volumes(&mut self, element: &Element, ids: &[u32], points: &[f64]) -> f64 {
        let count = element.points;
        let (mut low, mut high) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
        let mut nodes = [[0.0; 3]; MOST_NODES];
        for (node, id) in nodes.iter_mut().zip(ids) {
            for axis in 0..3 {
                node[axis] = points[3 * *id as usize + axis];
                low[axis] = low[axis].min(node[axis]);
                high[axis] = high[axis].max(node[axis]);
            }
        }
        self.size = (0..3).map(|axis| high[axis] - low[axis]).fold(0.0, f64::max);
        for (axis, row) in self.jacobians.iter_mut().enumerate() {
            let row = &mut row[..3 * count];
            row.fill(0.0);
            for (node, slopes) in nodes.iter().zip(element.slopes.chunks_exact(3 * count)) {
                // Relative to the first node, so that a part far from the origin has no other volume.
                let by = node[axis] - nodes[0][axis];
                row.iter_mut().zip(slopes).for_each(|(sum, slope)| *sum += by * slope);
            }
        }
        let [x, y, z] = &self.jacobians;
        let mut volume = 0.0;
        for at in 0..count {
            let (r, s, t) = (at, count + at, 2 * count + at);
            let determinant = x[r] * (y[s] * z[t] - y[t] * z[s]) - x[s] * (y[r] * z[t] - y[t] * z[r])
                + x[t] * (y[r] * z[s] - y[s] * z[r]);
            self.weights[at] = determinant * element.weights[at];
            volume += self.weights[at];
        }
        let weights = &mut self.weights[..count];
        if volume < 0.0 && element.both_ways {
            weights.iter_mut().for_each(|weight| *weight = -*weight);
            volume = -volume;
        }
        if weights.iter().any(|weight| *weight < 0.0) && volume > 0.0 {
            // A strongly curved element may be turned over near a node: that corner has no volume of its own.
            let positive: f64 = weights.iter().map(|weight| weight.max(0.0)).sum();
            weights.iter_mut().for_each(|weight| *weight = weight.max(0.0) * volume / positive);
        }
        volume
    }

    /// The stress at the points of an element, in `stress[0]`.
    fn stress(&mut self, element: &Element, ids: &[u32], values: &[f64], components: usize) {
        let count = element.points;
        for (component, sums) in self.stress.iter_mut().enumerate().take(components) {
            let sums = &mut sums[..count];
            sums.fill(0.0);
            for (id, shares) in ids.iter().zip(element.values.chunks_exact(count)) {
                let value = values[*id as usize * components + component];
                sums.iter_mut().zip(shares).for_each(|(sum, share)| *sum += value * share);
            }
        }
        if components == 6 {
            for at in 0..count {
                self.stress[0][at] = von_mises(std::array::from_fn(|component| self.stress[component][at]));
            }
        }
    }
}
