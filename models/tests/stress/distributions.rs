//! Stresses and their distribution, against closed forms.

use std::fmt::Write as _;

use models::stress::read;
use models::{Bound, find};

use super::meshes::{ALL, Kind, MM, Point, close, field, mesh, outputs};

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
