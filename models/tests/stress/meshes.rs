//! Meshes of every element, made of boxes, and what is read of them.

use std::fmt::Write as _;

use models::stress::{Ask, StressField, StressPart, read};

pub(crate) type Point = [f64; 3];

pub(crate) const MM: Ask<'static> = Ask { stress: "S", stress_unit: 1e6, length_unit: 1e-3 };

/// The types of elements, with the corners of each element in a unit box, and the edges with a node in the middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Kind {
    Tetrahedron,
    Hexahedron,
    Wedge,
    Pyramid,
}

pub(crate) const ALL: [Kind; 4] = [Kind::Tetrahedron, Kind::Hexahedron, Kind::Wedge, Kind::Pyramid];

impl Kind {
    pub(crate) fn vtk(self, quadratic: bool) -> u8 {
        match (self, quadratic) {
            (Self::Tetrahedron, false) => 10,
            (Self::Tetrahedron, true) => 24,
            (Self::Hexahedron, false) => 12,
            (Self::Hexahedron, true) => 25,
            (Self::Wedge, false) => 13,
            (Self::Wedge, true) => 26,
            (Self::Pyramid, false) => 14,
            (Self::Pyramid, true) => 27,
        }
    }

    fn split(self) -> Vec<Vec<Point>> {
        let box_of: [Point; 9] = [
            [0.0, 0.0, 0.0],
            [1.0, 0.0, 0.0],
            [1.0, 1.0, 0.0],
            [0.0, 1.0, 0.0],
            [0.0, 0.0, 1.0],
            [1.0, 0.0, 1.0],
            [1.0, 1.0, 1.0],
            [0.0, 1.0, 1.0],
            [0.5, 0.5, 0.5],
        ];
        let all: &[&[usize]] = match self {
            Self::Hexahedron => &[&[0, 1, 2, 3, 4, 5, 6, 7]],
            Self::Wedge => &[&[0, 1, 2, 4, 5, 6], &[0, 2, 3, 4, 6, 7]],
            Self::Tetrahedron => {
                &[&[0, 1, 2, 6], &[0, 2, 3, 6], &[0, 3, 7, 6], &[0, 7, 4, 6], &[0, 4, 5, 6], &[0, 5, 1, 6]]
            }
            Self::Pyramid => &[
                &[0, 1, 2, 3, 8],
                &[4, 7, 6, 5, 8],
                &[0, 4, 5, 1, 8],
                &[1, 5, 6, 2, 8],
                &[2, 6, 7, 3, 8],
                &[3, 7, 4, 0, 8],
            ],
        };
        all.iter().map(|ids| ids.iter().map(|id| box_of[*id]).collect()).collect()
    }

    fn edges(self) -> &'static [(usize, usize)] {
        match self {
            Self::Tetrahedron => &[(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)],
            Self::Hexahedron => {
                &[(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 6), (6, 7), (7, 4), (0, 4), (1, 5), (2, 6), (3, 7)]
            }
            Self::Wedge => &[(0, 1), (1, 2), (2, 0), (3, 4), (4, 5), (5, 3), (0, 3), (1, 4), (2, 5)],
            Self::Pyramid => &[(0, 1), (1, 2), (2, 3), (3, 0), (0, 4), (1, 4), (2, 4), (3, 4)],
        }
    }
}

/// A mesh as legacy VTK, with a field `S` at nodes: a unit box in `counts` boxes, mapped by `place`.
pub(crate) fn mesh(
    kind: Kind,
    quadratic: bool,
    counts: [usize; 3],
    place: impl Fn(Point) -> Point,
    stress: impl Fn(Point) -> Vec<f64>,
) -> String {
    let (mut points, mut cells) = (Vec::new(), Vec::new());
    for at in 0..counts.iter().product() {
        let index = [at % counts[0], at / counts[0] % counts[1], at / counts[0] / counts[1]];
        for corners in kind.split() {
            let of_box = |p: &Point| -> Point {
                std::array::from_fn(|axis| (index[axis] as f64 + p[axis]) / counts[axis] as f64)
            };
            let mut nodes: Vec<Point> = corners.iter().map(of_box).collect();
            if quadratic {
                let middle =
                    |(a, b): &(usize, usize)| std::array::from_fn(|axis| (nodes[*a][axis] + nodes[*b][axis]) / 2.0);
                let middles: Vec<Point> = kind.edges().iter().map(middle).collect();
                nodes.extend(middles);
            }
            cells.push((points.len(), nodes.len()));
            points.extend(nodes);
        }
    }
    let mut text =
        format!("# vtk DataFile Version 3.0\nt\nASCII\nDATASET UNSTRUCTURED_GRID\nPOINTS {} double\n", points.len());
    for point in &points {
        let [x, y, z] = place(*point);
        let _ = writeln!(text, "{x:?} {y:?} {z:?}");
    }
    let ids: usize = cells.iter().map(|(_, count)| count + 1).sum();
    let _ = writeln!(text, "CELLS {} {ids}", cells.len());
    for (first, count) in &cells {
        let ids: Vec<String> = (*first..first + count).map(|id| id.to_string()).collect();
        let _ = writeln!(text, "{count} {}", ids.join(" "));
    }
    let _ = writeln!(text, "CELL_TYPES {}\n{}", cells.len(), format!("{}\n", kind.vtk(quadratic)).repeat(cells.len()));
    let values: Vec<Vec<f64>> = points.iter().map(|point| stress(*point)).collect();
    let _ =
        writeln!(text, "POINT_DATA {}\nFIELD FieldData 1\nS {} {} double", points.len(), values[0].len(), points.len());
    for value in values {
        let _ = writeln!(text, "{}", value.iter().map(|n| format!("{n:?}")).collect::<Vec<_>>().join(" "));
    }
    text
}

pub(crate) fn field(text: &str) -> StressField {
    read(text.as_bytes(), MM).unwrap_or_else(|error| panic!("{error}; {}", error.help))
}

pub(crate) fn outputs(field: &StressField, allowable: f64, little: f64, density: f64) -> [f64; 6] {
    StressPart { field, allowable, little, density: Some(density) }.run().unwrap()
}

#[track_caller]
pub(crate) fn close(what: &str, found: f64, expected: f64, within: f64) {
    let off = if expected == 0.0 { found.abs() } else { (found / expected - 1.0).abs() };
    assert!(off <= within, "{what}: {found}, expected {expected}, off by {off:.2e}");
}
