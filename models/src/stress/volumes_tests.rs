//! Meshes of many elements: several threads, and fewer points where the stress varies little.

use super::*;

/// A bar of hexahedra along x, bent: its stress is that of a cantilever, and its volume 8 - 0.3 x 0.1 x 0.7.
fn bar(counts: [usize; 3], peak: f64, components: usize) -> (Mesh, Stress) {
    let [nx, ny, nz] = counts;
    let (mut mesh, mut values) = (Mesh::default(), Vec::new());
    for at in 0..(nx + 1) * (ny + 1) * (nz + 1) {
        let index = [at % (nx + 1), at / (nx + 1) % (ny + 1), at / (nx + 1) / (ny + 1)];
        let [x, y, z]: [f64; 3] = std::array::from_fn(|axis| index[axis] as f64 / counts[axis] as f64);
        // Sheared and turned, so that no sum is exact.
        mesh.points.extend([8.0 * x + 0.3 * y, y - 0.1 * z, z + 0.7 * x]);
        let stress = peak * (1.0 - x) * (2.0 * y - 1.0);
        match components {
            1 => values.push(stress.abs()),
            _ => values.extend([stress, 0.0, 0.0, 0.1 * stress, 0.0, 0.0]),
        }
    }
    for cell in 0..nx * ny * nz {
        let [x, y, z] = [cell % nx, cell / nx % ny, cell / nx / ny];
        let node = |dx, dy, dz| (x + dx + (nx + 1) * (y + dy + (ny + 1) * (z + dz))) as u32;
        let ring = |dz| [node(0, 0, dz), node(1, 0, dz), node(1, 1, dz), node(0, 1, dz)];
        mesh.ids.extend(ring(0).into_iter().chain(ring(1)));
        mesh.ends.push(mesh.ids.len() as u32);
        mesh.types.push(12);
    }
    (mesh, Stress { at: At::Nodes, components, values })
}

fn bits(threads: usize, mesh: &Mesh, stress: Stress) -> Vec<u64> {
    let field = field_on(threads, mesh, stress, "S").unwrap();
    field.to_numbers().into_iter().map(f64::to_bits).collect()
}

#[test]
fn the_numbers_do_not_depend_on_threads() {
    for components in [1, 6] {
        let made = || bar([110, 60, 16], 150.0, components);
        let (mesh, stress) = made();
        assert!(mesh.types.len() > 3 * CHUNK);
        let expected = bits(1, &mesh, stress);
        for threads in [2, 3, 8] {
            assert!(bits(threads, &mesh, made().1) == expected, "{threads} threads, {components} components");
        }
    }
}

/// The first element that is wrong is named, whichever thread comes first.
#[test]
fn the_first_wrong_element_is_named() {
    let (mut mesh, stress) = bar([110, 60, 16], 150.0, 1);
    for cell in [CHUNK + 7, 2 * CHUNK + 1, 3 * CHUNK + 5] {
        mesh.ids[8 * cell..8 * cell + 8].rotate_left(4);
    }
    for threads in [1, 2, 8] {
        let stress = Stress { values: stress.values.clone(), ..stress };
        let error = field_on(threads, &mesh, stress, "S").unwrap_err();
        assert_eq!(error.message, format!("element {} (hexahedron) is turned inside out", CHUNK + 7));
    }
}

/// With two points in each direction where the stress varies little, with three where it does not, and with six in a mesh of few
/// elements, the distribution is the same: the share of volume up to x times the peak is x (1 - ln x).
#[test]
fn each_rule_gives_the_distribution_of_a_cantilever() {
    for (counts, is_little) in [([100, 60, 1], true), ([100, 12, 1], false), ([40, 20, 1], false)] {
        for components in [1, 6] {
            let (mesh, stress) = bar(counts, 150.0, components);
            let (stress, peak) = checked(&mesh, stress, "S").unwrap();
            let all = Part { mesh: &mesh, stress: &stress, peak, first: 0, end: mesh.types.len() };
            let points = all.samples(shapes::element(12).unwrap(), &mesh.ids[..8]).points;
            let is_few = mesh.types.len() < FEW_ELEMENTS;
            assert_eq!(
                points,
                if is_few {
                    216
                } else if is_little {
                    8
                } else {
                    27
                },
                "{counts:?}"
            );
            let field = field(&mesh, stress, "S").unwrap();
            assert!((field.volume() / 7.979 - 1.0).abs() < 1e-12, "{}", field.volume());
            for x in [0.1_f64, 0.5, 0.9] {
                let share = field.share_below(x * peak);
                assert!((share - x * (1.0 - x.ln())).abs() < 8e-3, "{counts:?}, {components}: {share} up to {x}");
            }
        }
    }
}

/// Where the stress is the same in an element, as many points are used as its volume needs.
#[test]
fn a_field_of_elements_has_few_points() {
    let (mesh, stress) = bar([100, 20, 1], 150.0, 1);
    let values = stress.values[..mesh.types.len()].to_vec();
    let stress = Stress { at: At::Cells, components: 1, values };
    let all = Part { mesh: &mesh, stress: &stress, peak: 1.0, first: 0, end: 1 };
    assert_eq!(all.samples(shapes::element(12).unwrap(), &mesh.ids[..8]).points, 8);
    assert_eq!(all.samples(shapes::element(10).unwrap(), &mesh.ids[..4]).points, 4);
    assert_eq!(all.samples(shapes::element(25).unwrap(), &mesh.ids[..20]).points, 27);
}
