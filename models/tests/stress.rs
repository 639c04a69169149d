//! The model `stress-field` against closed forms: a bar, a cantilever, a plate with a hole, a thick cylinder; exact volumes
//! of every element; and what is refused.
//!
//! The closed forms: Timoshenko and Goodier, Theory of Elasticity; for a cantilever the distribution follows from
//! |stress| = peak times two numbers that are even from 0 to 1.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::fmt::Write as _;

use models::stress::{Ask, StressError, StressField, StressPart, read};
use models::{Bound, find};

type Point = [f64; 3];

const MM: Ask<'static> = Ask { stress: "S", stress_unit: 1e6, length_unit: 1e-3 };

/// The types of elements, with the corners of each element in a unit box, and the edges with a node in the middle.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Tetrahedron,
    Hexahedron,
    Wedge,
    Pyramid,
}

const ALL: [Kind; 4] = [Kind::Tetrahedron, Kind::Hexahedron, Kind::Wedge, Kind::Pyramid];

impl Kind {
    fn vtk(self, quadratic: bool) -> u8 {
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
fn mesh(
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

fn field(text: &str) -> StressField {
    read(text.as_bytes(), MM).unwrap_or_else(|error| panic!("{error}; {}", error.help))
}

fn outputs(field: &StressField, allowable: f64, little: f64, density: f64) -> [f64; 6] {
    StressPart { field, allowable, little, density: Some(density) }.run().unwrap()
}

#[track_caller]
fn close(what: &str, found: f64, expected: f64, within: f64) {
    let off = if expected == 0.0 { found.abs() } else { (found / expected - 1.0).abs() };
    assert!(off <= within, "{what}: {found}, expected {expected}, off by {off:.2e}");
}

/// The volume of a map of the unit box, by its derivatives at points of Gauss: exact for polynomials.
fn volume_of(place: impl Fn(Point) -> Point) -> f64 {
    let at = 0.6_f64.sqrt();
    let line = [((1.0 - at) / 2.0, 5.0 / 18.0), (0.5, 8.0 / 18.0), ((1.0 + at) / 2.0, 5.0 / 18.0)];
    let mut volume = 0.0;
    for (x, u) in line {
        for (y, v) in line {
            for (z, w) in line {
                // Central differences are exact for the quadratic maps of these tests.
                let slope = |axis: usize| -> Point {
                    let moved = |by: f64| {
                        let mut p = [x, y, z];
                        p[axis] += by;
                        place(p)
                    };
                    let (high, low) = (moved(0.5), moved(-0.5));
                    std::array::from_fn(|i| high[i] - low[i])
                };
                let [a, b, c] = [slope(0), slope(1), slope(2)];
                let cross = [b[1] * c[2] - b[2] * c[1], b[2] * c[0] - b[0] * c[2], b[0] * c[1] - b[1] * c[0]];
                volume += u * v * w * (a[0] * cross[0] + a[1] * cross[1] + a[2] * cross[2]);
            }
        }
    }
    volume
}

/// Sheared and stretched, linear and quadratic, all types, far from the origin too.
#[test]
fn volumes_of_sheared_elements_are_exact() {
    let place = |[x, y, z]: Point| [1000.0 + 3.0 * x + 0.5 * y, 2.0 * y + 0.3 * z, 4.0 * z + 0.7 * x];
    for kind in ALL {
        for quadratic in [false, true] {
            for counts in [[1, 1, 1], [2, 3, 1]] {
                let found = field(&mesh(kind, quadratic, counts, place, |_| vec![7.0]));
                close(&format!("{kind:?} {quadratic} {counts:?}"), found.volume(), volume_of(place) * 1e-9, 1e-11);
                assert_eq!((found.percentile(), found.peak()), (7e6, 7e6), "{kind:?}");
            }
        }
    }
}

/// Quadratic elements follow a quadratic map exactly, with curved edges and faces.
#[test]
fn volumes_of_curved_quadratic_elements_are_exact() {
    let place = |[x, y, z]: Point| {
        [
            x + 0.2 * x * x + 0.1 * y * z + 0.05 * z * z,
            y + 0.15 * y * y - 0.05 * x * z,
            z + 0.1 * z * z + 0.05 * x * y - 0.1 * x * x,
        ]
    };
    for kind in ALL {
        for counts in [[1, 1, 1], [2, 2, 2]] {
            let found = field(&mesh(kind, true, counts, place, |_| vec![1.0]));
            close(&format!("{kind:?} {counts:?}"), found.volume(), volume_of(place) * 1e-9, 1e-11);
        }
    }
    // A linear hexahedron follows a map that is linear in each direction.
    let warped = |[x, y, z]: Point| [x + 0.3 * y * z, y - 0.2 * x * z, z + 0.1 * x * y];
    let found = field(&mesh(Kind::Hexahedron, false, [1, 1, 1], warped, |_| vec![1.0]));
    close("warped hexahedron", found.volume(), volume_of(warped) * 1e-9, 1e-11);
}

/// The hexahedron with 27 nodes, in the order of VTK: type 29.
#[test]
fn a_hexahedron_with_27_nodes_has_its_exact_volume() {
    let place = |[x, y, z]: Point| [x + 0.2 * x * x * y, y + 0.1 * y * y * z * z, z - 0.1 * x * x];
    let text = mesh(Kind::Hexahedron, true, [1, 1, 1], |p| p, |_| vec![1.0]);
    let more: [Point; 7] = [
        [0.0, 0.5, 0.5],
        [1.0, 0.5, 0.5],
        [0.5, 0.0, 0.5],
        [0.5, 1.0, 0.5],
        [0.5, 0.5, 0.0],
        [0.5, 0.5, 1.0],
        [0.5, 0.5, 0.5],
    ];
    let lines: Vec<&str> = text.lines().collect();
    let parse = |line: &&str| -> Point {
        let numbers: Vec<f64> = line.split(' ').map(|number| number.parse().unwrap()).collect();
        [numbers[0], numbers[1], numbers[2]]
    };
    let points: Vec<Point> = lines[5..25].iter().map(parse).chain(more).map(place).collect();
    let points: Vec<String> = points.iter().map(|[x, y, z]| format!("{x:?} {y:?} {z:?}")).collect();
    let ids: Vec<String> = (0..27).map(|id| id.to_string()).collect();
    let text = format!(
        "# vtk DataFile Version 3.0\nt\nASCII\nDATASET UNSTRUCTURED_GRID\nPOINTS 27 double\n{}\nCELLS 1 28\n27 {}\n\
         CELL_TYPES 1\n29\nCELL_DATA 1\nSCALARS S double 1\nLOOKUP_TABLE default\n5\n",
        points.join("\n"),
        ids.join(" ")
    );
    // The determinant of the map, integrated by hand: (1 + 0.4 x y)(1 + 0.2 y z^2) and the terms of the shear in x and y.
    let (n, mut expected) = (200, 0.0);
    for i in 0..n {
        for j in 0..n {
            for k in 0..n {
                let [x, y, z] = [i, j, k].map(|i| (f64::from(i) + 0.5) / f64::from(n));
                // Rows: d(x, y, z) of each coordinate.
                let a = [1.0 + 0.4 * x * y, 0.2 * x * x, 0.0];
                let b = [0.0, 1.0 + 0.2 * y * z * z, 0.2 * y * y * z];
                let c = [-0.2 * x, 0.0, 1.0];
                let cross = [b[1] * c[2] - b[2] * c[1], b[2] * c[0] - b[0] * c[2], b[0] * c[1] - b[1] * c[0]];
                expected += (a[0] * cross[0] + a[1] * cross[1] + a[2] * cross[2]) / f64::from(n).powi(3);
            }
        }
    }
    close("27 nodes", field(&text).volume(), expected * 1e-9, 1e-5);
}

/// Programs differ in which end of a wedge comes first; any other element that is turned inside out is refused.
#[test]
fn only_wedges_may_have_either_order() {
    let mirrored = |[x, y, z]: Point| [x, y, -z];
    let refused = |kind, quadratic| {
        read(mesh(kind, quadratic, [1, 1, 1], mirrored, |_| vec![1.0]).as_bytes(), MM).map_err(|error| error.message)
    };
    for quadratic in [false, true] {
        close("wedge", refused(Kind::Wedge, quadratic).unwrap().volume(), 1e-9, 1e-12);
        for kind in [Kind::Tetrahedron, Kind::Hexahedron, Kind::Pyramid] {
            let message = refused(kind, quadratic).unwrap_err();
            assert!(message.ends_with("is turned inside out"), "{message}");
        }
    }
}

/// metrology: invariants of the von Mises stress, with 6 and 9 components, at nodes and in elements.
#[test]
fn von_mises_stresses_have_their_invariants() {
    let of = |tensor: Vec<f64>| {
        let at_nodes = mesh(Kind::Hexahedron, false, [1, 1, 1], |p| p, |_| tensor.clone());
        field(&at_nodes).percentile() / 1e6
    };
    close("shear", of(vec![0.0, 0.0, 0.0, 10.0, 0.0, 0.0]), 10.0 * 3_f64.sqrt(), 1e-14);
    close("general", of(vec![100.0, 50.0, -30.0, 20.0, 10.0, 5.0]), 120.312_094, 1e-8);
    close("nine", of(vec![100.0, 20.0, 5.0, 20.0, 50.0, 10.0, 5.0, 10.0, -30.0]), 120.312_094, 1e-8);
    close("under pressure", of(vec![600.0, 550.0, 470.0, 20.0, 10.0, 5.0]), 120.312_094, 1e-8);
    // The same tensor in axes turned by 30 degrees about x, then by 40 degrees about z.
    let (a, b) = (30_f64.to_radians(), 40_f64.to_radians());
    let turn = [
        [b.cos(), -b.sin() * a.cos(), b.sin() * a.sin()],
        [b.sin(), b.cos() * a.cos(), -b.cos() * a.sin()],
        [0.0, a.sin(), a.cos()],
    ];
    let own = [[100.0, 20.0, 5.0], [20.0, 50.0, 10.0], [5.0, 10.0, -30.0]];
    let turned: Vec<f64> = (0..9)
        .map(|at| {
            let pairs = (0..9).map(|pair| turn[at / 3][pair / 3] * own[pair / 3][pair % 3] * turn[at % 3][pair % 3]);
            pairs.sum()
        })
        .collect();
    close("turned", of(turned), 120.312_094, 1e-8);
    let pressure = mesh(Kind::Hexahedron, false, [1, 1, 1], |p| p, |_| vec![80.0, 80.0, 80.0, 0.0, 0.0, 0.0]);
    assert_eq!(read(pressure.as_bytes(), MM).unwrap_err().message, "the stress is zero everywhere");
}

/// A bar in tension: 10 kN on 20 x 10 x 100 mm is 50 MPa everywhere.
#[test]
fn a_bar_in_tension() {
    for kind in ALL {
        let text = mesh(
            kind,
            false,
            [5, 2, 1],
            |[x, y, z]| [100.0 * x, 20.0 * y, 10.0 * z],
            |_| vec![50.0, 0.0, 0.0, 0.0, 0.0, 0.0],
        );
        let bar = field(&text);
        let [safety, peak_safety, idle, volume, mass, idle_mass] = outputs(&bar, 250e6, 0.2, 2700.0);
        close("volume", volume, 20_000e-9, 1e-12);
        close("safety", safety, 5.0, 1e-12);
        close("peak safety", peak_safety, 5.0, 1e-12);
        close("mass", mass, 0.054, 1e-12);
        // 50 MPa is not below 20 % of 250 MPa, but it is below 20 % of 251 MPa.
        assert_eq!((idle, idle_mass), (0.0, 0.0), "{kind:?}");
        close("all of it is idle", outputs(&bar, 251e6, 0.2, 2700.0)[2], 1.0, 1e-12);
        let shares = bar.distribution(250e6, 10);
        assert_eq!(shares.len(), 11);
        assert!((shares[2].share - 1.0).abs() < 1e-12 && shares[2].from == 0.2 && shares[2].to == Some(0.3));
        assert_eq!(shares[10].to, None);
        // At exactly the allowable stress, nothing is above it.
        let shares = bar.distribution(50e6, 10);
        assert!((shares[9].share - 1.0).abs() < 1e-12 && shares[10].share.abs() < 1e-12, "{shares:?}");
        assert!((bar.distribution(49e6, 10)[10].share - 1.0).abs() < 1e-12);
    }
}

/// A cantilever with a load at its end, 10 x 20 x 200 mm, 500 N: 150 MPa at the root; the share of volume with a stress of at
/// most x times the peak is x (1 - ln x). The tensor changes its sign within elements when their number across is odd.
#[test]
fn a_cantilever_has_its_distribution() {
    for (kind, quadratic, across) in [
        (Kind::Hexahedron, false, 20),
        (Kind::Hexahedron, false, 21),
        (Kind::Hexahedron, true, 10),
        (Kind::Tetrahedron, true, 10),
        (Kind::Wedge, true, 10),
        (Kind::Pyramid, false, 16),
    ] {
        let place = |[x, y, z]: Point| [200.0 * x, 20.0 * y, 10.0 * z];
        let bending = |[x, y, _]: Point| vec![150.0 * (1.0 - x) * (2.0 * y - 1.0), 0.0, 0.0, 0.0, 0.0, 0.0];
        let beam = field(&mesh(kind, quadratic, [40, across, 1], place, bending));
        let what = format!("{kind:?} {quadratic} {across}");
        close(&what, beam.volume(), 40_000e-9, 1e-11);
        close(&what, beam.peak(), 150e6, 1e-12);
        for (x, share) in [(0.1, 0.330_258_509_3), (0.5, 0.846_573_590_3), (0.9, 0.994_824_464_1)] {
            let found = beam.share_below(x * 150e6);
            assert!((found - share).abs() < 8e-3, "{what}: {found} for {share}");
        }
        for (share, x) in [(0.5, 0.186_682_3), (0.9, 0.587_539_6), (0.95, 0.700_920_0), (0.99, 0.861_952_8)] {
            close(&format!("{what}, {share}"), beam.stress_at(share), x * 150e6, 1.5e-2);
        }
        // 1 - x + x ln x = 0.001
        let [safety, peak_safety, idle, ..] = outputs(&beam, 300e6, 0.2, 2700.0);
        close(&format!("{what}, safety"), safety, 2.0 / 0.955_610_9, 1e-2);
        close(&what, peak_safety, 2.0, 1e-12);
        assert!((idle - 0.4 * (1.0 - 0.4_f64.ln())).abs() < 8e-3, "{what}: {idle}");
    }
}

/// A plate of 100 x 50 x 5 mm with a hole of 10 mm (Kirsch): three times the stress at the hole, and the volume of a mesh whose
/// hole has 32 straight sides.
#[test]
fn a_plate_with_a_hole() {
    let (radius, half) = (5.0, [50.0, 25.0]);
    // A quarter: v outward to the edge of the plate, u around the hole from the x axis to the y axis.
    let place = |[v, u, w]: Point| {
        let angle = u * std::f64::consts::FRAC_PI_2;
        let (c, s) = (angle.cos(), angle.sin());
        // The boundary of the quarter at equal steps along its two edges.
        let edge = if u <= 0.5 { [half[0], 2.0 * u * half[1]] } else { [2.0 * (1.0 - u) * half[0], half[1]] };
        let v = v * v;
        [radius * c * (1.0 - v) + edge[0] * v, radius * s * (1.0 - v) + edge[1] * v, 5.0 * w]
    };
    let kirsch = |p: Point| {
        let [x, y, _] = place(p);
        let (r, t) = (x.hypot(y), y.atan2(x));
        let k2 = radius * radius / (r * r);
        let (k4, cos, sin) = (k2 * k2, (2.0 * t).cos(), (2.0 * t).sin());
        let rr = 50.0 * (1.0 - k2) + 50.0 * (1.0 - 4.0 * k2 + 3.0 * k4) * cos;
        let tt = 50.0 * (1.0 + k2) - 50.0 * (1.0 + 3.0 * k4) * cos;
        let rt = -50.0 * (1.0 + 2.0 * k2 - 3.0 * k4) * sin;
        (rr, tt, rt)
    };
    // The stress in the axes of the plate.
    let tensor = |p: Point| {
        let (rr, tt, rt) = kirsch(p);
        let [x, y, _] = place(p);
        let (c, s) = (x / x.hypot(y), y / x.hypot(y));
        let xx = rr * c * c + tt * s * s - 2.0 * rt * s * c;
        let yy = rr * s * s + tt * c * c + 2.0 * rt * s * c;
        let xy = (rr - tt) * s * c + rt * (c * c - s * s);
        vec![xx, yy, 0.0, xy, 0.0, 0.0]
    };
    let von_mises = |p: Point| {
        let (rr, tt, rt) = kirsch(p);
        (rr * rr - rr * tt + tt * tt + 3.0 * rt * rt).sqrt()
    };
    let coarse = field(&mesh(Kind::Hexahedron, false, [12, 8, 1], place, tensor));
    close("32 sides", 4.0 * coarse.volume(), 24_609.819_356e-9, 1e-9);
    close("round", 4.0 * coarse.volume(), 24_607.300_918e-9, 1e-3);
    close("peak", coarse.peak(), 300e6, 1e-9);
    let round = field(&mesh(Kind::Hexahedron, true, [12, 16, 1], place, tensor));
    close("curved", 4.0 * round.volume(), 24_607.300_918e-9, 1e-6);

    // The distribution of the exact stress, by a fine division of the same quarter.
    let (n, mut exact) = (600, Vec::new());
    for i in 0..n {
        for j in 0..n {
            let [u, v] = [i, j].map(|i| (f64::from(i) + 0.5) / f64::from(n));
            let by = 0.5 / f64::from(n);
            let corner = |du: f64, dv: f64| place([u + du, v + dv, 0.0]);
            let (a, b, c, d) = (corner(-by, -by), corner(by, -by), corner(by, by), corner(-by, by));
            let area = ((c[0] - a[0]) * (d[1] - b[1]) - (c[1] - a[1]) * (d[0] - b[0])).abs() / 2.0;
            exact.push((von_mises([u, v, 0.0]), area));
        }
    }
    exact.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = exact.iter().map(|(_, area)| area).sum();
    close("area", total, 24_607.300_918 / 20.0, 1e-5);
    let mut below = 0.0;
    let percentile = exact.iter().find(|(_, area)| {
        below += area;
        below >= 0.999 * total
    });
    let percentile = percentile.unwrap().0;
    assert!((150.0..250.0).contains(&percentile), "{percentile}");
    let fine = field(&mesh(Kind::Hexahedron, false, [24, 32, 1], place, tensor));
    let [safety, peak_safety, ..] = outputs(&fine, 400e6, 0.2, 2700.0);
    close("safety", safety, 400.0 / percentile, 1e-2);
    close("peak safety", peak_safety, 4.0 / 3.0, 1e-9);
    let [safety, ..] = outputs(&round, 400e6, 0.2, 2700.0);
    close("safety with quadratic elements", safety, 400.0 / percentile, 1e-2);
}

/// A thick cylinder with closed ends under inner pressure (Lame): radii 50 and 100 mm, 100 MPa; a quarter, 10 mm long.
#[test]
fn a_thick_cylinder() {
    let place = |[u, v, w]: Point| {
        let (radius, angle) = (50.0 + 50.0 * u, v * std::f64::consts::FRAC_PI_2);
        [radius * angle.cos(), radius * angle.sin(), 10.0 * w]
    };
    let c = 100.0 * 2500.0 / 7500.0;
    let tensor = |p: Point| {
        let [x, y, _] = place(p);
        let r2 = x * x + y * y;
        let (tt, rr) = (c * (1.0 + 1e4 / r2), c * (1.0 - 1e4 / r2));
        vec![(rr * x * x + tt * y * y) / r2, (rr * y * y + tt * x * x) / r2, c, (rr - tt) * x * y / r2, 0.0, 0.0]
    };
    for (kind, quadratic, counts, within) in [
        (Kind::Hexahedron, true, [40, 8, 1], 1e-5),
        (Kind::Wedge, true, [40, 8, 1], 1e-5),
        (Kind::Tetrahedron, true, [40, 8, 1], 1e-5),
        (Kind::Hexahedron, false, [40, 32, 1], 1e-3),
    ] {
        let found = field(&mesh(kind, quadratic, counts, place, tensor));
        let what = format!("{kind:?} {quadratic}");
        close(&what, found.volume(), 23_561.944_902e-9 * 10.0 / 4.0, within);
        close(&what, found.peak(), 230.940_108e6, 1e-8);
        for (x, share) in [(0.3, 0.222_222_2), (0.5, 0.666_666_7), (0.75, 0.888_888_9)] {
            let found = found.share_below(x * 230.940_108e6);
            assert!((found - share).abs() < 8e-3, "{what}: {found} for {share}");
        }
        // 99.9 % of the volume is outside of the radius at which r^2 = 2507.5.
        let [safety, peak_safety, ..] = outputs(&found, 350e6, 0.2, 7850.0);
        close(&what, safety, 350.0 / (230.940_108 * 2500.0 / 2507.5), 1e-2);
        close(&what, peak_safety, 350.0 / 230.940_108, 1e-8);
    }
}

/// A table, with the three delimiters; the stress that 99.9 % of a thousand equal volumes do not exceed is the 999th.
#[test]
fn a_table_of_integration_points() {
    for delimiter in [",", ";", "\t"] {
        let mut text = format!("\u{feff}# exported\nvolume{delimiter} S {delimiter}name\n");
        for stress in 1..=1000 {
            let _ = writeln!(text, "2.5{delimiter}{stress}{delimiter}x");
        }
        let found = field(&text);
        close("volume", found.volume(), 2500e-9, 1e-12);
        close("99.9 %", found.percentile(), 999e6, 1e-12);
        close("peak", found.peak(), 1000e6, 1e-12);
        assert_eq!(found.elements(), 1000);
        assert!((found.share_below(200e6) - 0.199).abs() < 1e-3);
    }
}

/// The slopes agree with differences, where the field has no steps.
#[test]
fn slopes_are_those_of_the_outputs() {
    let beam = field(&mesh(
        Kind::Hexahedron,
        false,
        [80, 80, 1],
        |[x, y, z]| [200.0 * x, 20.0 * y, 10.0 * z],
        |[x, y, _]| vec![150.0 * (1.0 - x) * (2.0 * y - 1.0).abs()],
    ));
    let model = find("stress-field").unwrap();
    let run = |allowable: f64, little: f64, density: f64| {
        let mut bound = Bound::new();
        bound.set_field("file", &beam).set_number("allowable", allowable).set_number("little", little);
        bound.set_number("density", density);
        (
            model.check_and_run(&bound).unwrap(),
            ["allowable", "little", "density"].map(|name| model.slopes.unwrap()(&bound, name).unwrap()),
        )
    };
    let at = [300e6, 0.2, 2700.0];
    let (_, slopes) = run(at[0], at[1], at[2]);
    for input in 0..3 {
        let moved = |by: f64| {
            let mut at = at;
            at[input] *= 1.0 + by;
            run(at[0], at[1], at[2]).0
        };
        let (high, low) = (moved(0.05), moved(-0.05));
        for output in 0..6 {
            let difference = (high[output] - low[output]) / (0.1 * at[input]);
            let scale = high[output].abs() / at[input];
            assert!((slopes[input][output] - difference).abs() < 0.01 * scale, "input {input}, output {output}");
        }
    }
    // d(x (1 - ln x))/dx = -ln x, with x = little times allowable / peak.
    close("idle share by little", slopes[1][2], -(0.4_f64.ln()) * 2.0, 0.02);
    assert!(model.slopes.unwrap()(&Bound::new(), "little").is_none());
}

fn refused(text: impl AsRef<[u8]>) -> StressError {
    read(text.as_ref(), MM).expect_err("it is refused")
}

#[test]
fn what_cannot_be_used_is_refused_with_its_cause() {
    let good = mesh(Kind::Tetrahedron, false, [1, 1, 1], |p| p, |[x, ..]| vec![10.0 + x]);
    assert!(read(good.as_bytes(), MM).is_ok());
    let case = |from: &str, to: &str| refused(good.replacen(from, to, 1)).message;
    // Six tetrahedra with nodes of their own.
    assert_eq!(
        case("CELLS 6 30\n4 0 1 2 3", "CELLS 6 31\n5 0 1 2 3 3"),
        "element 0 (tetrahedron) has 5 nodes; this type has 4"
    );
    assert_eq!(
        case("CELLS 6 30\n4 0 1 2 3", "CELLS 6 29\n3 0 1 2"),
        "element 0 (tetrahedron) has 3 nodes; this type has 4"
    );
    assert_eq!(case("\n4 0 1 2 3", "\n9999 0 1 2 3"), "element 0 has more ids than the file");
    assert_eq!(case("\n4 0 1 2 3", "\n4 0 1 2 24"), "element 0 names node 24, and the file has 24 nodes");
    assert_eq!(case("\n4 0 1 2 3", "\n4 0 1 2 -3"), "number 4 of `CELLS` is not a number of its type");
    assert_eq!(case("\n4 0 1 2 3", "\n4 0 1 2 2"), "element 0 (tetrahedron) has no volume");
    assert_eq!(case("\n4 0 1 2 3", "\n4 1 0 2 3"), "element 0 (tetrahedron) is turned inside out");
    assert_eq!(case("double\n10.0", "double\nnan"), "the stress at node 0 is not a finite number");
    assert_eq!(case("double\n10.0", "double\ninf"), "the stress at node 0 is not a finite number");
    assert_eq!(
        case("double\n10.0", "double\n-10.0"),
        "the field `S` has negative values: it is not an equivalent stress"
    );
    assert_eq!(
        case("double\n0.0 0.0 0.0", "double\n0.0 inf 0.0"),
        "node 0 has a coordinate that is not a finite number"
    );
    assert_eq!(case("S 1 24", "S 1 23"), "the field `S` has 23 values for 24 nodes");
    assert_eq!(case("S 1 24", "S 3 24"), "the field `S` has 3 components");
    assert_eq!(
        case("CELL_TYPES 6\n10\n10", "CELL_TYPES 6\n3\n5"),
        "the file has elements that are not read: 1 of type 3 (line), 1 of type 5 (triangle or polygon)"
    );
    let help = refused(good.replacen("CELL_TYPES 6\n10", "CELL_TYPES 6\n42", 1));
    assert_eq!(help.message, "the file has elements that are not read: 1 of type 42 (polyhedron)");
    assert!(help.help.contains("linear or quadratic"));
    assert!(refused(good.replacen("CELL_TYPES 6\n10", "CELL_TYPES 6\n5", 1)).help.contains("no volume"));
    let missing = refused(good.replacen("\nS 1", "\nmises 1", 1));
    assert_eq!(
        (missing.message.as_str(), missing.help.as_str()),
        ("the file has no field `S`", "its fields are `mises`")
    );
    assert_eq!(case("UNSTRUCTURED_GRID", "POLYDATA"), "the file has a `POLYDATA`, not an `UNSTRUCTURED_GRID`");
    assert_eq!(case("POINTS 24", "POINTS 99999999"), "99999999 nodes; the limit is 6000000");
    assert_eq!(case("CELLS 6", "CELLS 9999999"), "9999999 elements; the limit is 2000000");
    // A pointer to a large file, by its shape.
    let pointer = "version https://example.org/spec/v1\noid sha256:4d7a214614ab2935c943f9e0ff69d22eadbb8f32b1258daaa5e2ca24d17e2393\nsize 12345\n";
    assert_eq!(refused(pointer).message, "the file is only a pointer to a large file, not the file itself");
    assert_eq!(refused("").message, "the file is empty");
    assert_eq!(refused([0x50, 0x4b, 3, 4, 0, 0]).message, "the file is neither VTU, legacy VTK nor CSV");
}

#[test]
fn tables_that_cannot_be_used_are_refused_with_their_cause() {
    let no_column = refused("Volume,S\n1,2\n");
    assert_eq!(
        (no_column.message.as_str(), no_column.help.as_str()),
        ("the file has no column `volume`", "its columns are `Volume`, `S`")
    );
    assert_eq!(refused("volume,stress\n1,2\n").message, "the file has no column `S`");
    assert_eq!(refused("volume,S\n").message, "the table has no rows");
    assert_eq!(refused("volume,S\n1,2\n0,3\n").message, "line 3: the volume is zero or negative");
    assert_eq!(
        refused("volume,S\n1,-2\n").message,
        "line 2: the stress is negative, so it is not an equivalent stress"
    );
    for wrong in ["nan", "inf", "2 MPa", "", "1e999"] {
        let message = refused(format!("volume,S\n1,{wrong}\n")).message;
        assert_eq!(message, format!("line 2: `{wrong}` in the column `S`; it must be a number, zero or more"));
    }
    assert_eq!(
        refused("volume;S\n1,5;2\n").message,
        "line 2: `1,5` in the column `volume`; it must be a number above zero"
    );
}

/// A VTU file with one element, whose arrays are given.
fn vtu(attributes: &str, points: &str, connectivity: &str, offsets: &str, stress: &str, after: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?>\n<VTKFile type=\"UnstructuredGrid\" {attributes}><UnstructuredGrid>\
         <Piece NumberOfPoints=\"4\" NumberOfCells=\"1\"><PointData/><CellData>{stress}</CellData>\
         <Points>{points}</Points><Cells>{connectivity}{offsets}\
         <DataArray type=\"UInt8\" Name=\"types\" format=\"ascii\">10</DataArray></Cells></Piece></UnstructuredGrid>{after}</VTKFile>\n"
    )
}

#[test]
fn a_vtu_file_that_claims_too_much_is_refused() {
    let array = |kind: &str, name: &str, more: &str, text: &str| {
        format!("<DataArray type=\"{kind}\" Name=\"{name}\" {more}>{text}</DataArray>")
    };
    let ascii = "format=\"ascii\"";
    let points = array("Float64", "Points", "NumberOfComponents=\"3\" format=\"ascii\"", "0 0 0 1 0 0 0 1 0 0 0 1");
    let ids = array("Int64", "connectivity", ascii, "0 1 2 3");
    let ends = array("Int64", "offsets", ascii, "4");
    let stress = array("Float64", "S", ascii, "5");
    let good = vtu("", &points, &ids, &ends, &stress, "");
    close("one tetrahedron", field(&good).volume(), 1e-9 / 6.0, 1e-13);
    let all = |attributes: &str, ids: &str, ends: &str, stress: &str, after: &str| {
        refused(vtu(attributes, &points, ids, ends, stress, after)).message
    };
    assert_eq!(
        all("", &ids, &array("Int64", "offsets", ascii, "4000000000"), &stress, ""),
        "4000000000 ids of nodes in elements; the limit is 30000000"
    );
    assert_eq!(
        all("", &ids, &array("Int64", "offsets", ascii, "5"), &stress, ""),
        "`connectivity` has 4 numbers; the file needs 5 of them"
    );
    assert_eq!(
        all("", &ids, &ends, &array("Float64", "S", ascii, "5 6"), ""),
        "`S` has more numbers; the file needs 1 of them"
    );
    assert_eq!(
        all(
            "",
            &ids,
            &ends,
            &array("Float64", "S", "format=\"appended\" offset=\"999999999999\"", ""),
            "<AppendedData encoding=\"raw\">_1234"
        ),
        "`S` is outside of the appended data (offset 999999999999)"
    );
    assert_eq!(
        all("", &ids, &ends, &array("Float64", "S", "format=\"appended\" offset=\"0\"", ""), ""),
        "`S` is outside of the appended data (offset 0)"
    );
    assert_eq!(
        all("", &ids, &ends, &array("Float64", "S", "format=\"binary\"", "!!!!"), ""),
        "`S` ends before its numbers"
    );
    assert_eq!(
        all("compressor=\"vtkLZMADataCompressor\"", &ids, &ends, &stress, ""),
        "the file is compressed by `vtkLZMADataCompressor`, which is not read"
    );
    assert_eq!(
        refused(good.replace("NumberOfPoints=\"4\"", "NumberOfPoints=\"18446744073709551615\"")).message,
        "18446744073709551615 nodes; the limit is 6000000"
    );
    assert_eq!(
        refused(good.replace("\"UnstructuredGrid\"", "\"PUnstructuredGrid\"")).message,
        "the file has a `PUnstructuredGrid`, not an `UnstructuredGrid`"
    );
    assert_eq!(refused("<html><body>not found</body></html>").message, "the file is XML, but not a VTK file");
    // A header of four billion blocks, and one block that would never end.
    let header = "/////wAAAAAAAAAA";
    let bomb = array("Float64", "S", "format=\"binary\"", header);
    assert_eq!(all("compressor=\"vtkZLibDataCompressor\"", &ids, &ends, &bomb, ""), "`S` ends before its numbers");
}
