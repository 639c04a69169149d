//! The elements: shape functions and their derivatives at the points of a quadrature rule.
//!
//! Every element is described by its nodes in a reference element and by the monomials that its shape functions are made of;
//! the shape functions follow from these by one inverted matrix. Pyramids use collapsed coordinates, in which their rational
//! shape functions are polynomials: the base is the square from -1 to 1, and all of the top face is the apex at height 1.
//! The rules are those of `rules.rs`.

use std::sync::LazyLock;

use super::rules::{self, Rule, Shape};

/// The largest number of nodes of an element.
pub(super) const MOST_NODES: usize = 27;

/// A type of element.
#[derive(Debug)]
pub(super) struct Element {
    /// The number of nodes.
    pub(super) nodes: usize,
    /// Whether both orders of its two ends are in use: programs differ for wedges.
    pub(super) both_ways: bool,
    /// At few points, if these are enough for the volume: for an element in which the stress varies little.
    pub(super) few: Option<Samples>,
    /// At the points of the usual rule.
    pub(super) usual: Samples,
    /// At many points: for a mesh of few elements.
    pub(super) many: Samples,
}

/// The shape functions of an element at the points of a rule.
#[derive(Debug)]
pub(super) struct Samples {
    /// The number of points of the rule.
    pub(super) points: usize,
    /// The weight of each point.
    pub(super) weights: Vec<f64>,
    /// The shape functions: for each node its value at every point.
    pub(super) values: Vec<f64>,
    /// Their derivatives: for each node, for each direction, at every point.
    pub(super) slopes: Vec<f64>,
}

pub(super) type Point = [f64; 3];
type Powers = [u8; 3];

/// The element of a type of VTK; `None` if it is not one that is read.
pub(super) fn element(vtk: u8) -> Option<&'static Element> {
    static ALL: LazyLock<Vec<(u8, Element)>> = LazyLock::new(|| {
        let all = [10, 12, 13, 14, 24, 25, 26, 27, 29];
        all.into_iter().filter_map(|vtk| Some((vtk, build(vtk)?))).collect()
    });
    ALL.iter().find(|(own, _)| *own == vtk).map(|(_, element)| element)
}

/// The name of a type of VTK, and what kind of element it is.
pub(super) fn name(vtk: u8) -> &'static str {
    match vtk {
        0 => "empty cell",
        1 | 2 => "vertex",
        3 | 4 => "line",
        5..=7 => "triangle or polygon",
        8 | 9 => "quadrilateral",
        10 => "tetrahedron",
        11 => "voxel",
        12 => "hexahedron",
        13 => "wedge",
        14 => "pyramid",
        15 | 16 => "prism with five or six sides",
        21 | 35 => "quadratic line",
        22 | 34 | 36 => "quadratic triangle or polygon",
        23 | 28 | 30 => "quadratic quadrilateral",
        24 => "quadratic tetrahedron",
        25 => "quadratic hexahedron",
        26 => "quadratic wedge",
        27 => "quadratic pyramid",
        29 => "triquadratic hexahedron",
        31..=33 | 37 => "element that is quadratic in some directions only",
        41 | 42 => "polyhedron",
        60..=81 => "element of higher order",
        _ => "unknown element",
    }
}

/// Whether a type of VTK has no volume of its own.
pub(super) fn is_flat(vtk: u8) -> bool {
    matches!(vtk, 0..=9 | 21..=23 | 28 | 30 | 34..=36)
}

fn build(vtk: u8) -> Option<Element> {
    let (nodes, powers): (Vec<Point>, Vec<Powers>) = match vtk {
        10 => (TETRAHEDRON[..4].to_vec(), of_degree(1)),
        24 => (TETRAHEDRON.to_vec(), of_degree(2)),
        12 => (HEXAHEDRON[..8].to_vec(), box_of(1)),
        25 => (HEXAHEDRON[..20].to_vec(), box_of(2).into_iter().filter(|p| squares(*p) < 2).collect()),
        29 => (HEXAHEDRON.to_vec(), box_of(2)),
        13 => (WEDGE[..6].to_vec(), wedge(1)),
        26 => (WEDGE.to_vec(), wedge(2)),
        14 => (PYRAMID[..5].to_vec(), Vec::new()),
        27 => (PYRAMID.to_vec(), Vec::new()),
        _ => return None,
    };
    let terms = |at: Point| -> Vec<[f64; 4]> {
        match vtk {
            14 => PYRAMID_LINEAR.iter().map(|term| term.value_and_slopes(at)).collect(),
            27 => PYRAMID_QUADRATIC.iter().map(|term| term.value_and_slopes(at)).collect(),
            _ => powers.iter().map(|powers| monomial(*powers, at)).collect(),
        }
    };
    let count = nodes.len();
    let matrix: Vec<Vec<f64>> =
        nodes.iter().map(|node| terms(*node).into_iter().map(|term| term[0]).collect()).collect();
    // Row t of the inverse: the share of the term t in the shape function of each node.
    let inverse = inverse(matrix)?;
    let sample = |rule: &Rule| -> Samples {
        let points = rule.len();
        let mut samples = Samples {
            points,
            weights: rule.iter().map(|(_, weight)| *weight).collect(),
            values: vec![0.0; count * points],
            slopes: vec![0.0; count * 3 * points],
        };
        for (at, (point, _)) in rule.iter().enumerate() {
            for (term, shares) in terms(*point).iter().zip(&inverse) {
                for (node, share) in shares.iter().enumerate() {
                    samples.values[node * points + at] += share * term[0];
                    for axis in 0..3 {
                        samples.slopes[(node * 3 + axis) * points + at] += share * term[axis + 1];
                    }
                }
            }
        }
        samples
    };
    let shape = match vtk {
        10 | 24 => Shape::Tetrahedron,
        13 | 26 => Shape::Wedge,
        14 | 27 => Shape::Pyramid,
        _ => Shape::Hexahedron,
    };
    let few = match vtk {
        10 => Some(rules::four_of_tetrahedron()),
        12 => Some(rules::eight_of_hexahedron()),
        _ => None,
    };
    Some(Element {
        nodes: count,
        both_ways: shape == Shape::Wedge,
        few: few.as_ref().map(sample),
        usual: sample(&shape.usual()),
        many: sample(&shape.many()),
    })
}

/// A monomial and its derivatives.
fn monomial(powers: Powers, at: Point) -> [f64; 4] {
    let power = |axis: usize| at[axis].powi(i32::from(powers[axis]));
    let slope = |axis: usize| match powers[axis] {
        0 => 0.0,
        n => f64::from(n) * at[axis].powi(i32::from(n) - 1),
    };
    let [x, y, z] = [power(0), power(1), power(2)];
    [x * y * z, slope(0) * y * z, x * slope(1) * z, x * y * slope(2)]
}

/// All monomials up to a total degree.
fn of_degree(most: u8) -> Vec<Powers> {
    box_of(most).into_iter().filter(|powers| powers.iter().sum::<u8>() <= most).collect()
}

/// All monomials up to a degree in each direction.
fn box_of(most: u8) -> Vec<Powers> {
    let all = 0..=most;
    all.clone().flat_map(|z| all.clone().flat_map(move |y| (0..=most).map(move |x| [x, y, z]))).collect()
}

/// The number of directions in which a monomial is quadratic: of the 27 of the full element, those with one at most are the
/// 20 of the serendipity element.
fn squares(powers: Powers) -> usize {
    powers.iter().filter(|power| **power == 2).count()
}

/// The monomials of a wedge: those of a triangle times those of a line; of the quadratic one without the middle of its faces.
fn wedge(degree: u8) -> Vec<Powers> {
    let fits = |powers: &Powers| {
        let [x, y, z] = *powers;
        x + y <= degree && (degree == 1 || x + y < 2 || z < 2)
    };
    box_of(degree).into_iter().filter(fits).collect()
}

/// A term of a pyramid: a monomial of the collapsed coordinates times a power of the size of the section at this height.
struct Term(Powers, u8);

impl Term {
    fn value_and_slopes(&self, at: Point) -> [f64; 4] {
        let [value, x, y, z] = monomial(self.0, at);
        let size = 1.0 - at[2];
        let factor = size.powi(i32::from(self.1));
        let slope = match self.1 {
            0 => 0.0,
            n => -f64::from(n) * size.powi(i32::from(n) - 1),
        };
        [value * factor, x * factor, y * factor, z * factor + value * slope]
    }
}

const PYRAMID_LINEAR: [Term; 5] =
    [Term([0, 0, 0], 0), Term([0, 0, 1], 0), Term([1, 0, 0], 1), Term([0, 1, 0], 1), Term([1, 1, 0], 1)];

/// All quadratic terms, and the three rational ones of the element with 13 nodes (G. Bedrosian, 1992).
const PYRAMID_QUADRATIC: [Term; 13] = [
    Term([0, 0, 0], 0),
    Term([0, 0, 1], 0),
    Term([0, 0, 2], 0),
    Term([1, 0, 0], 1),
    Term([0, 1, 0], 1),
    Term([1, 0, 1], 1),
    Term([0, 1, 1], 1),
    Term([2, 0, 0], 2),
    Term([0, 2, 0], 2),
    Term([1, 1, 0], 2),
    Term([1, 1, 1], 1),
    Term([2, 1, 0], 2),
    Term([1, 2, 0], 2),
];

/// The nodes in the order of VTK.
pub(super) const TETRAHEDRON: [Point; 10] = [
    [0.0, 0.0, 0.0],
    [1.0, 0.0, 0.0],
    [0.0, 1.0, 0.0],
    [0.0, 0.0, 1.0],
    [0.5, 0.0, 0.0],
    [0.5, 0.5, 0.0],
    [0.0, 0.5, 0.0],
    [0.0, 0.0, 0.5],
    [0.5, 0.0, 0.5],
    [0.0, 0.5, 0.5],
];

const HEXAHEDRON: [Point; 27] = [
    [-1.0, -1.0, -1.0],
    [1.0, -1.0, -1.0],
    [1.0, 1.0, -1.0],
    [-1.0, 1.0, -1.0],
    [-1.0, -1.0, 1.0],
    [1.0, -1.0, 1.0],
    [1.0, 1.0, 1.0],
    [-1.0, 1.0, 1.0],
    [0.0, -1.0, -1.0],
    [1.0, 0.0, -1.0],
    [0.0, 1.0, -1.0],
    [-1.0, 0.0, -1.0],
    [0.0, -1.0, 1.0],
    [1.0, 0.0, 1.0],
    [0.0, 1.0, 1.0],
    [-1.0, 0.0, 1.0],
    [-1.0, -1.0, 0.0],
    [1.0, -1.0, 0.0],
    [1.0, 1.0, 0.0],
    [-1.0, 1.0, 0.0],
    [-1.0, 0.0, 0.0],
    [1.0, 0.0, 0.0],
    [0.0, -1.0, 0.0],
    [0.0, 1.0, 0.0],
    [0.0, 0.0, -1.0],
    [0.0, 0.0, 1.0],
    [0.0, 0.0, 0.0],
];

const WEDGE: [Point; 15] = [
    [0.0, 0.0, -1.0],
    [1.0, 0.0, -1.0],
    [0.0, 1.0, -1.0],
    [0.0, 0.0, 1.0],
    [1.0, 0.0, 1.0],
    [0.0, 1.0, 1.0],
    [0.5, 0.0, -1.0],
    [0.5, 0.5, -1.0],
    [0.0, 0.5, -1.0],
    [0.5, 0.0, 1.0],
    [0.5, 0.5, 1.0],
    [0.0, 0.5, 1.0],
    [0.0, 0.0, 0.0],
    [1.0, 0.0, 0.0],
    [0.0, 1.0, 0.0],
];

const PYRAMID: [Point; 13] = [
    [-1.0, -1.0, 0.0],
    [1.0, -1.0, 0.0],
    [1.0, 1.0, 0.0],
    [-1.0, 1.0, 0.0],
    [0.0, 0.0, 1.0],
    [0.0, -1.0, 0.0],
    [1.0, 0.0, 0.0],
    [0.0, 1.0, 0.0],
    [-1.0, 0.0, 0.0],
    [-1.0, -1.0, 0.5],
    [1.0, -1.0, 0.5],
    [1.0, 1.0, 0.5],
    [-1.0, 1.0, 0.5],
];

/// The inverse of a matrix; `None` if it has none.
fn inverse(mut matrix: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let n = matrix.len();
    let mut inverse: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    for column in 0..n {
        let largest = (column..n).max_by(|a, b| matrix[*a][column].abs().total_cmp(&matrix[*b][column].abs()))?;
        matrix.swap(column, largest);
        inverse.swap(column, largest);
        let pivot = matrix[column][column];
        if pivot.abs() < 1e-9 {
            return None;
        }
        for value in matrix[column].iter_mut().chain(&mut inverse[column]) {
            *value /= pivot;
        }
        let (own, own_inverse) = (matrix[column].clone(), inverse[column].clone());
        for row in (0..n).filter(|row| *row != column) {
            let factor = matrix[row][column];
            if factor != 0.0 {
                matrix[row].iter_mut().zip(&own).for_each(|(value, own)| *value -= factor * own);
                inverse[row].iter_mut().zip(&own_inverse).for_each(|(value, own)| *value -= factor * own);
            }
        }
    }
    Some(inverse)
}
