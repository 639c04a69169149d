//! From a mesh to a distribution: the volume of every element, and the stress at the points of its rule.

use super::error::StressError;
use super::field::{Bins, Histogram, StressField};
use super::mesh::{At, Mesh, Stress, von_mises, von_mises_squared};
use super::rules::MOST_POINTS;
use super::shapes::{self, Element, MOST_NODES, Samples};
use crate::parallel::{cores, in_parallel};

/// A volume below this share of the cube around an element counts as zero.
const FLAT: f64 = 1e-12;

/// A stress below zero by this share of the highest one is a mistake, not rounding.
const BELOW_ZERO: f64 = 0.01;

/// The elements that one thread takes at once. The sums over them are added in their order, so that the numbers do not depend
/// on the number of threads.
const CHUNK: usize = 1 << 15;

/// In a mesh of fewer elements, each has many points.
const FEW_ELEMENTS: usize = 1000;

/// The share of the highest stress up to which the stress of an element varies little.
const LITTLE: f64 = 0.05;

/// Checks a mesh before any of its fields is read.
pub(super) fn check(mesh: &Mesh) -> Result<(), StressError> {
    check_types(mesh)?;
    if let Some(at) = mesh.points.iter().position(|number| !number.is_finite()) {
        let message = format!("node {} has a coordinate that is not a finite number", at / 3);
        return Err(StressError::new(message, "export the mesh again"));
    }
    Ok(())
}

/// The work for a field of a mesh: each node of an element at each point that it may have.
pub(super) fn work(mesh: &Mesh) -> u64 {
    let mut counts = [0_u64; 256];
    for vtk in &mesh.types {
        counts[usize::from(*vtk)] += 1;
    }
    let is_few = mesh.types.len() < FEW_ELEMENTS;
    let of_one = |vtk: u8| {
        let element = shapes::element(vtk)?;
        let samples = if is_few { &element.many } else { &element.usual };
        Some((element.nodes * samples.points) as u64)
    };
    (0..=255).map(|vtk| counts[usize::from(vtk)] * of_one(vtk).unwrap_or(0)).sum()
}

/// The distribution of a field of a mesh, in the units of the file.
pub(super) fn field(mesh: &Mesh, stress: Stress, name: &str) -> Result<StressField, StressError> {
    field_on(cores(), mesh, stress, name)
}

fn field_on(threads: usize, mesh: &Mesh, stress: Stress, name: &str) -> Result<StressField, StressError> {
    let (stress, peak) = checked(mesh, stress, name)?;
    let elements = mesh.types.len();
    let parts: Vec<Part<'_>> = (0..elements)
        .step_by(CHUNK)
        .map(|first| Part { mesh, stress: &stress, peak, first, end: elements.min(first + CHUNK) })
        .collect();
    let mut bins = in_parallel(&parts, threads, Part::bins).into_iter();
    let mut histogram = Histogram::new();
    bins.try_for_each(|bins| bins.map(|bins| histogram.add_all(&bins)))?;
    histogram.field(peak, elements)
}

/// Some elements that follow each other.
struct Part<'m> {
    mesh: &'m Mesh,
    stress: &'m Stress,
    peak: f64,
    first: usize,
    end: usize,
}

impl Part<'_> {
    fn bins(&self) -> Result<Bins, StressError> {
        let Self { mesh, stress, peak, .. } = *self;
        let points = mesh.nodes();
        let (mut histogram, mut sums) = (Histogram::new(), Sums::new());
        let mut start = self.first.checked_sub(1).map_or(0, |before| mesh.ends[before] as usize);
        let elements = mesh.types[self.first..self.end].iter().zip(&mesh.ends[self.first..self.end]);
        for (cell, (vtk, end)) in (self.first..).zip(elements) {
            let Some(element) = shapes::element(*vtk) else { continue };
            let end = *end as usize;
            let ids = mesh.ids.get(start..end).unwrap_or_default();
            start = end;
            if ids.len() != element.nodes {
                let name = shapes::name(*vtk);
                let message =
                    format!("element {cell} ({name}) has {} nodes; this type has {}", ids.len(), element.nodes);
                return Err(StressError::damaged(message));
            }
            if let Some(id) = ids.iter().find(|id| **id as usize >= points) {
                let message = format!("element {cell} names node {id}, and the file has {points} nodes");
                return Err(StressError::damaged(message));
            }
            let samples = self.samples(element, ids);
            let volume = sums.volumes(element, samples, ids, &mesh.points);
            if !volume.is_finite() || volume <= FLAT * sums.size.powi(3) {
                let problem = if volume < 0.0 { "is turned inside out" } else { "has no volume" };
                let message = format!("element {cell} ({}) {problem}", shapes::name(*vtk));
                let help = "check the mesh, and the order of the nodes in the export";
                return Err(StressError::new(message, help));
            }
            match stress.at {
                At::Cells => histogram.add(stress.values[cell], volume),
                At::Nodes => {
                    sums.stress(samples, ids, &stress.values, stress.components);
                    for (stress, volume) in sums.stress[0].iter().zip(&sums.weights).take(samples.points) {
                        histogram.add(stress.clamp(0.0, peak), *volume);
                    }
                }
            }
        }
        Ok(histogram.bins())
    }

    /// The points of an element: as many as its volume needs if the stress is the same or varies little in it; more in a mesh
    /// of few elements.
    fn samples(&self, element: &'static Element, ids: &[u32]) -> &'static Samples {
        let few = element.few.as_ref().unwrap_or(&element.usual);
        match self.stress.at {
            At::Cells => few,
            At::Nodes if self.mesh.types.len() < FEW_ELEMENTS => &element.many,
            At::Nodes if element.few.is_some() && self.varies_little(ids) => few,
            At::Nodes => &element.usual,
        }
    }

    /// Whether the stress of an element varies little: by the von Mises stress of the differences to its first node.
    fn varies_little(&self, ids: &[u32]) -> bool {
        let most = LITTLE * self.peak;
        let (values, _) = self.stress.values.as_chunks::<6>();
        match ids.split_first() {
            Some((first, others)) if self.stress.components == 6 => {
                let first = values[*first as usize];
                others.iter().all(|id| {
                    let other = values[*id as usize];
                    von_mises_squared(std::array::from_fn(|at| other[at] - first[at])) <= most * most
                })
            }
            Some((first, others)) => {
                let first = self.stress.values[*first as usize];
                others.iter().all(|id| (self.stress.values[*id as usize] - first).abs() <= most)
            }
            None => true,
        }
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

/// The stress to integrate, and the highest one.
///
/// A tensor of an element is one von Mises stress. Tensors of nodes stay tensors: the stress inside of an element is the von
/// Mises stress of the interpolated tensor, because the tensor is what varies smoothly. Interpolated von Mises stresses would
/// be too high: where a bending stress changes its sign, they would not reach zero.
fn checked(mesh: &Mesh, mut stress: Stress, name: &str) -> Result<(Stress, f64), StressError> {
    let (places, word) = (mesh.places(stress.at), stress.at.word());
    if stress.values.len() != places * stress.components {
        let found = stress.values.len() / stress.components.max(1);
        let message = format!("the field `{}` has {found} values for {places} {word}s", super::error::short(name));
        return Err(StressError::damaged(message));
    }
    if let Some(at) = stress.values.iter().position(|number| !number.is_finite()) {
        let message = format!("the stress at {word} {} is not a finite number", at / stress.components);
        return Err(StressError::new(message, "check the solution and the export"));
    }
    let highest =
        |values: &mut dyn Iterator<Item = f64>| values.fold((0.0_f64, 0.0_f64), |(l, h), v| (l.min(v), h.max(v)));
    let (tensors, _) = stress.values.as_chunks::<6>();
    let mut all = tensors.iter().map(|tensor| von_mises(*tensor));
    let (lowest, peak) = match (stress.components, stress.at) {
        (6, At::Cells) => {
            let values: Vec<f64> = all.collect();
            stress = Stress { at: At::Cells, components: 1, values };
            highest(&mut stress.values.iter().copied())
        }
        (6, At::Nodes) => highest(&mut all),
        _ => highest(&mut stress.values.iter().copied()),
    };
    if lowest < -BELOW_ZERO * peak || !peak.is_finite() {
        return Err(StressError::new(
            format!("the field `{}` has negative values: it is not an equivalent stress", super::error::short(name)),
            "use the von Mises stress or the whole tensor; a single component cannot be compared with an allowable stress",
        ));
    }
    // Rounding below zero is zero.
    if stress.at == At::Cells && lowest < 0.0 {
        stress.values.iter_mut().for_each(|value| *value = value.max(0.0));
    }
    Ok((stress, peak))
}

/// The sums over the nodes of one element, at all points of its rule.
struct Sums {
    /// The derivatives of each coordinate by each direction, at every point.
    jacobians: [Vec<f64>; 3],
    /// The volume of every point.
    weights: Vec<f64>,
    /// The components of the stress at every point; the first is the von Mises stress at the end.
    stress: [Vec<f64>; 6],
    /// The longest side of the box around the element.
    size: f64,
}

impl Sums {
    fn new() -> Self {
        let (each, three) = (vec![0.0; MOST_POINTS], vec![0.0; 3 * MOST_POINTS]);
        Self {
            jacobians: std::array::from_fn(|_| three.clone()),
            weights: each.clone(),
            stress: std::array::from_fn(|_| each.clone()),
            size: 0.0,
        }
    }

    /// The volume of an element; those of its points are left in `weights`.
    fn volumes(&mut self, element: &Element, samples: &Samples, ids: &[u32], points: &[f64]) -> f64 {
        let count = samples.points;
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
            for (node, slopes) in nodes.iter().zip(samples.slopes.chunks_exact(3 * count)) {
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
            self.weights[at] = determinant * samples.weights[at];
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
    fn stress(&mut self, samples: &Samples, ids: &[u32], values: &[f64], components: usize) {
        let count = samples.points;
        for (component, sums) in self.stress.iter_mut().enumerate().take(components) {
            let sums = &mut sums[..count];
            sums.fill(0.0);
            for (id, shares) in ids.iter().zip(samples.values.chunks_exact(count)) {
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

#[cfg(test)]
#[path = "volumes_tests.rs"]
mod tests;
