//! A hundred random cars with gears, load transfer, load-sensitive tyres, a power limit and energy given back, compared with
//! an independent integration on a grid: `independent/laps.py`, which uses NumPy, generated `independent/laps.csv`.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use models::{Car, Gearbox, Lap, Power, SteadyCircle};

/// Pairs `a:b` separated by semicolons.
fn pairs(cell: &str) -> Vec<(f64, f64)> {
    let pair = |row: &str| {
        let (first, second) = row.split_once(':').unwrap();
        (first.parse().unwrap(), second.parse().unwrap())
    };
    cell.split(';').map(pair).collect()
}

#[test]
fn a_hundred_random_laps_and_circles() {
    let mut lines = include_str!("independent/laps.csv").lines().skip(1);
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let (mut count, mut worst) = (0, [0.0_f64; 3]);
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let cell = |name: &str| cells[names.iter().position(|known| *known == name).unwrap()];
        let number = |name: &str| cell(name).parse::<f64>().unwrap();
        let car = Car {
            mass: number("mass"),
            grip: number("grip"),
            drag_area: number("drag"),
            lift_area: number("lift"),
            rolling_resistance: number("roll"),
            rotating_mass: number("rotating"),
            driven_share: number("share"),
            cg_height: number("height"),
            wheelbase: Some(number("wheelbase")),
            load_sensitivity: number("loss"),
            reference_load: Some(number("reference")),
            track_width: Some(number("front_track")),
            rear_track_width: Some(number("rear_track")),
            front_roll_share: Some(number("front_roll")),
            air_density: number("air"),
        };
        // 1000 rad/s at the redline of each gear.
        let gearbox = Gearbox {
            gears: cell("tops").split(';').map(|top| 1000.0 / top.parse::<f64>().unwrap()).collect(),
            wheel_radius: 1.0,
            shift_time: number("shift"),
            ..Gearbox::default()
        };
        let lap = Lap {
            car: car.clone(),
            power: Power::Engine(pairs(cell("engine"))),
            track: pairs(cell("track")),
            braking_grip: Some(number("braking_grip")),
            start: None,
            gearbox: Some(gearbox),
            power_limit: Some(number("limit")),
            regeneration: number("regeneration"),
            regeneration_limit: Some(number("regeneration_limit")),
            measured_factor: number("factor"),
        };
        let found = lap.run().unwrap();
        let circle = SteadyCircle {
            radius: number("radius"),
            grip: car.grip,
            mass: car.mass,
            lift_area: car.lift_area,
            load_sensitivity: car.load_sensitivity,
            reference_load: car.reference_load,
            air_density: car.air_density,
            cg_height: car.cg_height,
            track_width: car.track_width,
            rear_track_width: car.rear_track_width,
            rear_weight_share: if car.driven_share < 1.0 { car.driven_share } else { 0.5 },
            front_roll_share: car.front_roll_share,
            measured_factor: number("factor"),
        };
        let circle = circle.run().unwrap();
        let all = [
            ("lap time", found.time, number("lap-time"), 1e-4),
            ("lap energy", found.energy, number("lap-energy"), 1e-3),
            ("circle time", circle.time, number("circle-time"), 1e-9),
        ];
        for ((what, value, expected, within), worst) in all.into_iter().zip(&mut worst) {
            let off = (value / expected - 1.0).abs();
            assert!(off < within, "{what} of car {count}: got {value}, expected {expected}");
            *worst = worst.max(off);
        }
        count += 1;
    }
    assert_eq!(count, 100);
    println!("largest relative deviations: {worst:e?}");
}
