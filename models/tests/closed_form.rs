//! The closed-form cases of section 2 of the reference tables. Each follows from Newton's law and is a standard textbook
//! result (Gillespie, Fundamentals of Vehicle Dynamics; Milliken and Milliken, Race Car Vehicle Dynamics; Guiggiani, The
//! Science of Vehicle Dynamics).

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use models::{Car, GRAVITY, Lap, ModelError, Power, SteadyCircle, StraightLine};

const FREE: f64 = 1e15;

/// A car of 280 kg, with default values otherwise.
fn car(grip: f64) -> Car {
    Car { mass: 280.0, grip, ..Car::default() }
}

fn run(car: Car, power: f64, staging: f64) -> (f64, f64) {
    let run = StraightLine { car, power: Power::Constant(power), distance: 75.0, staging, ..StraightLine::default() };
    let found = run.run().unwrap();
    (found.time, found.speed)
}

fn close(value: f64, expected: f64, within: f64) {
    assert!((value / expected - 1.0).abs() < within, "got {value}, expected {expected}");
}

#[test]
fn constant_acceleration() {
    let (time, speed) = run(car(8.0 / GRAVITY), FREE, 0.0);
    close(time, 4.330_127, 2e-7);
    close(speed, 34.641_016, 2e-8);
}

#[test]
fn constant_acceleration_after_staging() {
    let (time, speed) = run(car(8.0 / GRAVITY), FREE, 0.30);
    close(time, 4.064_917, 2e-7);
    close(speed, (2.0_f64 * 8.0 * 75.3).sqrt(), 1e-10);
}

#[test]
fn constant_power() {
    let (time, speed) = run(car(1e9), 60e3, 0.0);
    close(time, 3.090_964, 2e-7);
    close(speed, 36.396_413, 2e-8);
    // The run does not change if mass and power are scaled by the same factor.
    let heavy = run(Car { mass: 560.0, ..car(1e9) }, 120e3, 0.0);
    close(heavy.0, time, 1e-10);
}

#[test]
fn constant_acceleration_then_constant_power() {
    let (time, speed) = run(car(8.0 / GRAVITY), 60e3, 0.0);
    close(time, 4.339_376, 2e-7);
    close(speed, 33.797_310, 2e-8);
    let (mass, power, acceleration): (f64, f64, f64) = (280.0, 60e3, 8.0);
    let v1 = power / (mass * acceleration);
    let x1 = v1 * v1 / (2.0 * acceleration);
    let v = f64::cbrt(v1.powi(3) + 3.0 * power * (75.0 - x1) / mass);
    close(speed, v, 1e-11);
    close(time, v1 / acceleration + mass * (v * v - v1 * v1) / (2.0 * power), 1e-11);
}

#[test]
fn constant_thrust_with_drag() {
    let (time, speed) = run(Car { drag_area: 1.1, ..car(8.0 / GRAVITY) }, FREE, 0.0);
    close(time, 4.458_767, 2e-7);
    close(speed, 31.793_036, 2e-8);
}

#[test]
fn constant_power_with_drag_and_terminal_speed() {
    let driven = Car { drag_area: 1.1, ..car(1e9) };
    close(run(driven.clone(), 60e3, 0.0).1, 33.447_428, 2e-8);
    let long = StraightLine { car: driven, power: Power::Constant(60e3), distance: 1e6, ..StraightLine::default() };
    close(long.run().unwrap().speed, 44.964_431, 2e-8);
}

#[test]
fn coasting_as_a_lap_without_drive() {
    // Below the first row its power applies, which is zero.
    let lap = Lap {
        car: Car { drag_area: 1.1, ..car(1.5) },
        power: Power::Curve(vec![(40.0, 0.0), (50.0, 1e3)]),
        track: vec![(172.015_5, 0.0)],
        start: Some(30.0),
        ..Lap::default()
    };
    let found = lap.run().unwrap();
    close(found.time, 7.070_707, 1e-6);
    close(found.speed, 20.0, 1e-6);
    assert_eq!(found.energy, 0.0);
}

#[test]
fn braking_as_late_as_possible() {
    // From 30 m/s to a corner of 10 m: the difference of v^2/(2 mu g) between both speeds.
    let corner = 1.5 * GRAVITY * 10.0;
    let braking = (900.0 - corner) / (2.0 * 1.5 * GRAVITY);
    let lap = |straight| Lap {
        car: car(1.5),
        power: Power::Curve(vec![(40.0, 0.0), (50.0, 1e3)]),
        track: vec![(straight, 0.0), (5.0, 0.1)],
        start: Some(30.0),
        ..Lap::default()
    };
    let found = lap(60.0).run().unwrap();
    let time = (60.0 - braking) / 30.0 + (30.0 - corner.sqrt()) / (1.5 * GRAVITY) + 5.0 / corner.sqrt();
    close(found.time, time, 1e-9);
    match lap(braking - 0.1).run() {
        Err(ModelError::StartTooFast { limit, .. }) => {
            close(limit, (corner + 2.0 * 1.5 * GRAVITY * (braking - 0.1)).sqrt(), 1e-10);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn circles() {
    let circle = |diameter: f64| SteadyCircle { radius: diameter / 2.0, grip: 1.5, mass: 280.0, ..Default::default() };
    close(circle(17.10).run().unwrap().time, 4.790_24, 2e-6);
    close(circle(18.25).run().unwrap().time, 4.948_69, 2e-6);
    let winged = SteadyCircle { lift_area: 2.5, ..circle(18.25) };
    let found = winged.run().unwrap();
    close(found.speed, 12.035_35, 1e-6);
    close(found.time, 4.763_80, 2e-6);
    close(found.lateral_acceleration, found.speed.powi(2) / 9.125, 1e-14);
    // mu kL R >= m
    let endless = 280.0 / (1.5 * 0.6 * 9.125);
    let what = "the speed on the circle";
    let of = |lift_area| SteadyCircle { lift_area, ..circle(18.25) }.run();
    assert_eq!(of(endless * 1.000_001), Err(ModelError::NoFiniteLimit { what }));
    assert!(of(endless * 0.999_999).is_ok());
}

#[test]
fn a_lap_of_one_circle_is_the_circle() {
    let radius = 9.125;
    let lap = Lap {
        car: Car { lift_area: 2.5, ..car(1.5) },
        power: Power::Constant(60e3),
        track: vec![(std::f64::consts::TAU * radius, 1.0 / radius)],
        ..Lap::default()
    };
    let found = lap.run().unwrap();
    close(found.time, 4.763_80, 2e-6);
    assert_eq!(found.energy, 0.0);
}

#[test]
fn rear_drive_traction_limit() {
    let rear = Car { driven_share: 0.80 / 1.55, cg_height: 0.29, wheelbase: Some(1.55), ..car(1.4) };
    let (time, speed) = run(rear, FREE, 0.0);
    close(speed * speed / 150.0, 9.600_92, 1e-6);
    close(time, (150.0_f64 / 9.600_92).sqrt(), 1e-6);
}

#[test]
fn stadium_lap() {
    // corners of 10 m at mu 1.5, straights of 60 m at +8 and -14 m/s2
    let half = std::f64::consts::PI * 10.0;
    let lap = Lap {
        car: Car { driven_share: 8.0 / (1.5 * GRAVITY), ..car(1.5) },
        power: Power::Constant(FREE),
        track: vec![(60.0, 0.0), (half, 0.1), (60.0, 0.0), (half, -0.1)],
        braking_grip: Some(14.0 / GRAVITY),
        ..Lap::default()
    };
    let found = lap.run().unwrap();
    close(found.time, 11.231_90, 1e-6);
    let corner: f64 = 1.5 * GRAVITY * 10.0;
    let top = (corner + 2.0 * 60.0 * 8.0 * 14.0 / 22.0).sqrt();
    let time = std::f64::consts::TAU * 10.0 / corner.sqrt() + 2.0 * (top - corner.sqrt()) * (1.0 / 8.0 + 1.0 / 14.0);
    close(found.time, time, 1e-9);
    close(found.speed, corner.sqrt(), 1e-12);
    // Without losses the driving energy equals the braking energy.
    close(found.energy, 2.0 * 0.5 * 280.0 * (top * top - corner), 1e-8);
}
