//! What `explain lap` states about the length of segments and about noise in the curvature.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use models::{Car, Lap, Power, find};

/// Corners of a course for student teams: length, largest curvature. Between them are straights.
const CORNERS: [(f64, f64); 6] = [(25.0, 0.1), (40.0, 0.04), (18.0, 0.15), (30.0, -0.07), (14.0, 0.19), (35.0, -0.05)];

/// A closed course whose curvature rises and falls in each corner as a squared sine, with so many segments per corner.
fn course(parts: u32) -> Vec<(f64, f64)> {
    let mut rows = Vec::new();
    for (index, (length, most)) in CORNERS.into_iter().enumerate() {
        rows.push((15.0 + 12.0 * (index % 3) as f64, 0.0));
        for part in 0..parts {
            let middle = (f64::from(part) + 0.5) / f64::from(parts);
            rows.push((length / f64::from(parts), most * (std::f64::consts::PI * middle).sin().powi(2)));
        }
    }
    rows
}

fn time(track: Vec<(f64, f64)>) -> f64 {
    let car =
        Car { mass: 280.0, grip: 1.4, drag_area: 1.1, lift_area: 2.0, rolling_resistance: 0.02, ..Car::default() };
    Lap { car, power: Power::Constant(50e3), track, ..Lap::default() }.run().unwrap().time
}

/// Numbers between -1 and 1 with a variance of 1/3.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
    }
}

fn stated() -> String {
    find("lap").unwrap().explained.accuracy.join("\n")
}

#[test]
fn the_longest_segment() {
    let exact = time(course(400));
    let off = |parts| (time(course(parts)) / exact - 1.0).abs();
    for (parts, low, high) in [(8, 0.004, 0.006), (16, 0.001, 0.002)] {
        assert!((low..high).contains(&off(parts)), "{parts}: {}", off(parts));
    }
    let text = stated();
    assert!(text.contains("16 segments") && text.contains("within 0.2 %, with 8 segments within 0.6 %"), "{text}");
    // Segments of constant curvature may have any length.
    let long: Vec<_> = CORNERS.into_iter().flat_map(|(length, most)| [(20.0, 0.0), (length, most)]).collect();
    let short = long.iter().flat_map(|(length, curvature)| (0..9).map(move |_| (length / 9.0, *curvature))).collect();
    assert!((time(short) / time(long) - 1.0).abs() < 1e-9);
}

#[test]
fn noise_in_the_curvature() {
    // Rows of about 1 m.
    let smooth = course(25);
    let exact = time(smooth.clone());
    let mean = |noise: f64, over: usize| {
        let mut random = Random(2027);
        let runs = 40;
        let total: f64 = (0..runs)
            .map(|_| {
                let spoilt: Vec<f64> =
                    smooth.iter().map(|row| row.1 * (1.0 + noise * 3.0_f64.sqrt() * random.next())).collect();
                let track = smooth.iter().enumerate().map(|(at, row)| {
                    let near = &spoilt[at.saturating_sub(over)..(at + over + 1).min(spoilt.len())];
                    (row.0, if row.1 == 0.0 { 0.0 } else { near.iter().sum::<f64>() / near.len() as f64 })
                });
                time(track.collect())
            })
            .sum();
        total / f64::from(runs) / exact - 1.0
    };
    for (noise, low, high) in [(0.05, 0.0035, 0.0045), (0.1, 0.0115, 0.0125), (0.2, 0.025, 0.035)] {
        assert!((low..high).contains(&mean(noise, 0)), "{noise}: {}", mean(noise, 0));
    }
    assert!(mean(0.1, 1).abs() < 0.003, "{}", mean(0.1, 1));
    let text = stated();
    assert!(text.contains("5 % (standard deviation) adds 0.4 %, 10 % adds 1.2 %, 20 % adds 3 %"), "{text}");
    assert!(text.contains("mean of three rows, 10 % changes it by less than 0.3 %"), "{text}");
}
