//! Ten random cars compared with an independent integration: `independent/make.py`, which uses SciPy, generated
//! `independent/cars.csv`.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use models::{Car, Gearbox, Lap, Power, StraightLine};

fn close(what: &str, value: f64, expected: f64, within: f64) {
    assert!((value / expected - 1.0).abs() < within, "{what}: got {value}, expected {expected}");
}

#[test]
fn ten_random_cars() {
    let mut count = 0;
    for line in include_str!("independent/cars.csv").lines().skip(2) {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |index: usize| cells[index].parse::<f64>().unwrap();
        let car = Car {
            mass: number(0),
            grip: number(1),
            drag_area: number(2),
            lift_area: number(3),
            rolling_resistance: number(4),
            rotating_mass: number(5),
            driven_share: number(6),
            cg_height: number(7),
            wheelbase: Some(number(8)),
            air_density: number(9),
            ..Car::default()
        };
        let power = Power::Constant(number(11));
        // The speeds at which it shifts, as ratios.
        let redline = 1000.0;
        let gearbox = Gearbox {
            gears: (14..17).map(|index| redline / number(index)).collect(),
            wheel_radius: 1.0,
            redline: Some(redline),
            shift_time: number(13),
            ..Gearbox::default()
        };
        let run = StraightLine {
            car: car.clone(),
            power: power.clone(),
            distance: 75.0,
            staging: number(12),
            gearbox: Some(gearbox),
            ..StraightLine::default()
        };
        let found = run.run().unwrap();
        close("time of the run", found.time, number(18), 2e-8);
        close("speed of the run", found.speed, number(19), 2e-8);

        let track = cells[17].split(';').map(|row| {
            let (length, curvature) = row.split_once(':').unwrap();
            (length.parse().unwrap(), curvature.parse().unwrap())
        });
        let lap = Lap { car, power, track: track.collect(), braking_grip: Some(number(10)), ..Lap::default() };
        let found = lap.run().unwrap();
        close("time of the lap", found.time, number(20), 2e-8);
        close("energy of the lap", found.energy, number(21), 2e-7);
        count += 1;
    }
    assert_eq!(count, 10);
}
