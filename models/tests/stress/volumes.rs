//! Volumes of elements, which are exact.

use models::stress::read;

use super::meshes::{ALL, Kind, MM, Point, close, field, mesh};

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
