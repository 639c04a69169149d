//! The quadrature rules: the points of an element at which its volume and stress are calculated.
//!
//! The usual rules are exact for the volume of every element with curved edges, as long as it is not turned over:
//! - hexahedra: 3 x 3 x 3 points of Gauss, exact to degree 5 in each direction; pyramids: 5 x 5 x 5
//! - tetrahedra: 14 points, exact to degree 5 (N. J. Walkington, Quadrature on simplices of arbitrary dimension, 2000)
//! - wedges: 6 points in the triangle, exact to degree 4 (D. A. Dunavant, 1985), times 3 points of Gauss
//!
//! A distribution needs more points than a volume if there are few elements: then each element is divided into eight parts of
//! the same size in its reference element, and each part has the usual points.
//! Linear hexahedra and tetrahedra in which the stress varies little need fewer: 8 and 4, which are exact for their volume.

use super::shapes::{Point, TETRAHEDRON};

/// Points with their weights.
pub(super) type Rule = Vec<(Point, f64)>;

/// The largest number of points of a rule.
pub(super) const MOST_POINTS: usize = 1000;

/// What a rule depends on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    Tetrahedron,
    Hexahedron,
    Wedge,
    Pyramid,
}

impl Shape {
    /// The usual rule.
    pub(super) fn usual(self) -> Rule {
        match self {
            Self::Tetrahedron => tetrahedron(),
            Self::Hexahedron => cube(&gauss()),
            Self::Wedge => wedge(),
            Self::Pyramid => pyramid(),
        }
    }

    /// The usual rule in each of eight parts.
    pub(super) fn many(self) -> Rule {
        let rule = self.usual();
        let parts = self.parts();
        let share = 1.0 / parts.len() as f64;
        let of_part = |part: &Part| rule.iter().map(|(at, weight)| (part.place(*at), weight * share)).collect::<Rule>();
        parts.iter().flat_map(of_part).collect()
    }

    fn parts(self) -> Vec<Part> {
        match self {
            Self::Hexahedron | Self::Pyramid => {
                // From -1 to 1; the height of a pyramid is from 0 to 1.
                let sides = [-0.5, 0.5];
                let heights = if self == Self::Pyramid { [0.0, 0.5] } else { sides };
                let pairs = heights.into_iter().flat_map(|z| sides.map(|y| (y, z)));
                pairs.flat_map(|(y, z)| sides.map(|x| Part::half([x, y, z]))).collect()
            }
            Self::Wedge => {
                let [x, y, z] = HALVES;
                let layer = |height: f64| {
                    let upright = [[0.0, 0.0, height], [0.5, 0.0, height], [0.0, 0.5, height]].map(Part::half);
                    let turned = Part { origin: [0.5, 0.5, height], sides: [x.map(|n| -n), y.map(|n| -n), z] };
                    upright.into_iter().chain([turned])
                };
                [-0.5, 0.5].into_iter().flat_map(layer).collect()
            }
            Self::Tetrahedron => {
                // By the nodes of the quadratic tetrahedron: four corners, and four around the line from 4 to 9.
                const PARTS: [[usize; 4]; 8] = [
                    [0, 4, 6, 7],
                    [4, 1, 5, 8],
                    [6, 5, 2, 9],
                    [7, 8, 9, 3],
                    [4, 9, 6, 7],
                    [4, 9, 7, 8],
                    [4, 9, 8, 5],
                    [4, 9, 5, 6],
                ];
                let part = |nodes: [usize; 4]| {
                    let [origin, corners @ ..] = nodes.map(|node| TETRAHEDRON[node]);
                    let side = |corner: Point| std::array::from_fn(|axis| corner[axis] - origin[axis]);
                    Part { origin, sides: corners.map(side) }
                };
                PARTS.map(part).to_vec()
            }
        }
    }
}

/// A part of a reference element: where its own coordinates are zero, and where those of length one lead.
#[derive(Clone, Copy, Debug)]
struct Part {
    origin: Point,
    sides: [Point; 3],
}

/// The directions of a part of half the size.
const HALVES: [Point; 3] = [[0.5, 0.0, 0.0], [0.0, 0.5, 0.0], [0.0, 0.0, 0.5]];

impl Part {
    fn half(origin: Point) -> Self {
        Self { origin, sides: HALVES }
    }

    fn place(&self, at: Point) -> Point {
        let along = |axis: usize| (0..3).map(|side| at[side] * self.sides[side][axis]).sum::<f64>();
        std::array::from_fn(|axis| self.origin[axis] + along(axis))
    }
}

/// Three points of Gauss from -1 to 1.
fn gauss() -> [(f64, f64); 3] {
    let at = 0.6_f64.sqrt();
    [(-at, 5.0 / 9.0), (0.0, 8.0 / 9.0), (at, 5.0 / 9.0)]
}

/// The points of a line in three directions.
fn cube(line: &[(f64, f64)]) -> Rule {
    let pairs = line.iter().flat_map(|(z, w)| line.iter().map(move |(y, v)| (*y, *z, v * w)));
    pairs.flat_map(|(y, z, w)| line.iter().map(move |(x, u)| ([*x, y, z], u * w))).collect()
}

/// A hexahedron with two points of Gauss in each direction.
pub(super) fn eight_of_hexahedron() -> Rule {
    let at = (1.0_f64 / 3.0).sqrt();
    cube(&[(-at, 1.0), (at, 1.0)])
}

/// A tetrahedron with four points, exact to degree 2.
pub(super) fn four_of_tetrahedron() -> Rule {
    let near = (5.0 - 5.0_f64.sqrt()) / 20.0;
    let far = 1.0 - 3.0 * near;
    [[near, near, near], [far, near, near], [near, far, near], [near, near, far]]
        .map(|point| (point, 1.0 / 24.0))
        .to_vec()
}

/// In collapsed coordinates: heights from 0 to 1. The size of the section is in the derivatives. There are more points than
/// the volume needs, because collapsed points are far apart at the base.
fn pyramid() -> Rule {
    let (far, near) = (0.906_179_845_938_664, 0.538_469_310_105_683_1);
    let (low, high) = (0.236_926_885_056_189_08, 0.478_628_670_499_366_47);
    let line = [(-far, low), (-near, high), (0.0, 128.0 / 225.0), (near, high), (far, low)];
    cube(&line).into_iter().map(|([x, y, z], weight)| ([x, y, (z + 1.0) / 2.0], weight / 2.0)).collect()
}

fn tetrahedron() -> Rule {
    let mut rule = Rule::new();
    for (a, w) in
        [(0.310_885_919_263_300_6, 0.112_687_925_718_015_85), (0.092_735_250_310_891_23, 0.073_493_043_116_361_95)]
    {
        let b = 1.0 - 3.0 * a;
        rule.extend([[a, a, a], [b, a, a], [a, b, a], [a, a, b]].map(|point| (point, w / 6.0)));
    }
    let (a, w) = (0.045_503_704_125_649_65, 0.042_546_020_777_081_47);
    let b = 0.5 - a;
    rule.extend([[a, a, b], [a, b, a], [b, a, a], [b, b, a], [b, a, b], [a, b, b]].map(|point| (point, w / 6.0)));
    rule
}

fn wedge() -> Rule {
    let triangle = [(0.445_948_490_915_965, 0.223_381_589_678_011), (0.091_576_213_509_771, 0.109_951_743_655_322)];
    let points = triangle.into_iter().flat_map(|(a, w)| {
        let b = 1.0 - 2.0 * a;
        [(a, a, w / 2.0), (b, a, w / 2.0), (a, b, w / 2.0)]
    });
    let points: Vec<(f64, f64, f64)> = points.collect();
    gauss().into_iter().flat_map(|(z, v)| points.iter().map(move |(x, y, w)| ([*x, *y, z], w * v))).collect()
}
