//! Load-sensitive tyres, load transfer, gears in a lap, the power limit, and energy given back: cases that can be worked out
//! by hand, and the direction of every effect.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use models::{Bound, Car, GRAVITY, Gearbox, Lap, ModelError, Power, SteadyCircle, StraightLine, find};

const FREE: f64 = 1e15;

fn close(value: f64, expected: f64, within: f64) {
    assert!((value / expected - 1.0).abs() < within, "got {value}, expected {expected}");
}

/// A car of 280 kg whose tyres lose 0.12 of 1.5 per 1000 N each, with a track of 1.2 m.
fn car() -> Car {
    Car {
        mass: 280.0,
        grip: 1.5,
        cg_height: 0.3,
        wheelbase: Some(1.55),
        load_sensitivity: 3e-5,
        reference_load: Some(2600.0),
        track_width: Some(1.2),
        ..Car::default()
    }
}

fn circle(car: &Car, radius: f64) -> SteadyCircle {
    SteadyCircle {
        radius,
        grip: car.grip,
        mass: car.mass,
        load_sensitivity: car.load_sensitivity,
        reference_load: car.reference_load,
        cg_height: car.cg_height,
        track_width: car.track_width,
        ..SteadyCircle::default()
    }
}

fn stadium() -> Vec<(f64, f64)> {
    let half = std::f64::consts::PI * 10.0;
    vec![(60.0, 0.0), (half, 0.1), (60.0, 0.0), (half, -0.1)]
}

fn lap(car: &Car) -> Lap {
    Lap { car: car.clone(), power: Power::Constant(60e3), track: stadium(), ..Lap::default() }
}

/// Standard textbook result (Milliken and Milliken; Gillespie): a pair of tyres with `F = (a - b N) N` loses
/// `2 b dN^2` of lateral force when `dN` moves from one to the other. Four equal wheels, from the load of each:
/// `m A = sum (grip - b (N - N0)) N`, `dN = m A h / (2 t)` on each axle.
#[test]
fn a_pair_of_tyres_loses_the_square_of_the_load_transfer() {
    let car = car();
    let found = circle(&car, 9.0).run().unwrap();
    let force = car.mass * found.lateral_acceleration;
    let (wheel, moved) = (car.mass * GRAVITY / 4.0, force * 0.3 / (2.0 * 1.2));
    let (b, reference) = (4.0 * 3e-5, 2600.0 / 4.0);
    let tyre = |load: f64| (1.5 - b * (load - reference)) * load;
    close(2.0 * (tyre(wheel - moved) + tyre(wheel + moved)), force, 1e-12);
    // By hand: A solves 4 k (m h / t)^2 A^2 + m A = (grip - k (W - W0)) W.
    let weight = car.mass * GRAVITY;
    let quadratic = 4.0 * 3e-5 * (car.mass * 0.3 / 1.2).powi(2);
    let static_grip = (1.5 - 3e-5 * (weight - 2600.0)) * weight;
    let inside = car.mass * car.mass + 4.0 * quadratic * static_grip;
    let acceleration = 2.0 * static_grip / (car.mass + inside.sqrt());
    close(found.lateral_acceleration, acceleration, 1e-12);
    // Found by bisection on the sum over the wheels.
    close(acceleration, 14.241_160_125, 1e-9);
    // Without load transfer it is the model of the whole car.
    let flat = SteadyCircle { cg_height: 0.0, ..circle(&car, 9.0) };
    let whole = SteadyCircle { cg_height: 0.0, track_width: None, ..circle(&car, 9.0) };
    close(flat.run().unwrap().time, whole.run().unwrap().time, 1e-12);
}

#[test]
fn a_lap_of_one_circle_is_the_circle_with_load_transfer() {
    for driven_share in [1.0, 0.54] {
        let car = Car { driven_share, lift_area: 2.0, front_roll_share: Some(0.5), ..car() };
        let radius = 9.0;
        let track = vec![(std::f64::consts::TAU * radius, 1.0 / radius)];
        let found = Lap { track, ..lap(&car) }.run().unwrap();
        let rear_weight_share = if driven_share < 1.0 { driven_share } else { 0.5 };
        let circle =
            SteadyCircle { lift_area: 2.0, rear_weight_share, front_roll_share: Some(0.5), ..circle(&car, radius) };
        close(found.time, circle.run().unwrap().time, 1e-12);
    }
}

/// Standard textbook result (Gillespie): the traction limit of a rear-driven car, with `mu` at the load of its rear wheels:
/// `m a = mu N`, `N = m (g share + a h / L)`, `mu = grip - k (2 N - N0)`.
#[test]
fn the_launch_of_a_rear_driven_car() {
    let car = Car { driven_share: 0.52, ..car() };
    let run =
        StraightLine { car: car.clone(), power: Power::Constant(FREE), distance: 75.0, ..StraightLine::default() };
    let speed = run.run().unwrap().speed;
    let acceleration = speed * speed / 150.0;
    let load = car.mass * (GRAVITY * 0.52 + acceleration * 0.3 / 1.55);
    close((1.5 - 3e-5 * (2.0 * load - 2600.0)) * load, car.mass * acceleration, 1e-9);
    // A higher centre of gravity helps the launch, and less than without load sensitivity.
    let higher = |car: &Car| {
        let time =
            |cg_height: f64| StraightLine { car: Car { cg_height, ..car.clone() }, ..run.clone() }.run().unwrap().time;
        time(0.29) - time(0.31)
    };
    let sensitive = higher(&car);
    let insensitive = Car { load_sensitivity: 0.0, reference_load: None, track_width: None, ..car };
    assert!(sensitive > 0.0 && sensitive < higher(&insensitive), "{sensitive} {}", higher(&insensitive));
}

/// From Newton's law: braking from a speed, with `m a = sum over both axles of (grip - k (2 N - N0)) N` and the load
/// `m a h / L` on the front wheels.
#[test]
fn braking_with_load_transfer_to_the_front() {
    let car = car();
    let track = vec![(60.0, 0.0), (5.0, 0.1)];
    let power = Power::Curve(vec![(40.0, 0.0), (50.0, 1e3)]);
    let coast = Lap { power, track, start: Some(25.0), ..lap(&car) };
    let time = coast.run().unwrap().time;
    let corner = circle(&car, 10.0).run().unwrap().speed;
    // Time = (60 - d) / 25 + (25 - vc) / a + 5 / vc, d = (625 - vc^2) / (2 a): solved for a.
    let rest = time - 60.0 / 25.0 - 5.0 / corner;
    let a = ((25.0 - corner) - (625.0 - corner * corner) / 50.0) / rest;
    let (half, moved) = (car.mass * GRAVITY / 2.0, car.mass * a * 0.3 / 1.55);
    let axle = |load: f64| (1.5 - 3e-5 * (2.0 * load - 2600.0)) * load;
    close(axle(half + moved) + axle(half - moved), car.mass * a, 1e-8);
}

/// The sign of a load-sensitive tyre: a higher centre of gravity and more mass cost time, a wider track saves it.
#[test]
fn mass_and_height_cost_time() {
    for driven_share in [1.0, 0.53] {
        let base = Car { driven_share, drag_area: 1.1, lift_area: 1.5, rolling_resistance: 0.02, ..car() };
        let of = |car: Car| lap(&car).run().unwrap().time;
        let time = of(base.clone());
        assert!(of(Car { cg_height: 0.31, ..base.clone() }) > time);
        assert!(of(Car { track_width: Some(1.25), ..base.clone() }) < time);
        assert!(of(Car { load_sensitivity: 3.1e-5, ..base.clone() }) > time);
        // Mass costs more than with the same grip at every load.
        let heavier = |car: &Car| of(Car { mass: car.mass + 1.0, ..car.clone() }) - of(car.clone());
        let insensitive = Car { load_sensitivity: 0.0, reference_load: None, track_width: None, ..base.clone() };
        assert!(heavier(&base) > 1.2 * heavier(&insensitive), "{} {}", heavier(&base), heavier(&insensitive));
        let on_circle = |car: &Car| circle(car, 9.0).run().unwrap().time;
        assert!(on_circle(&Car { cg_height: 0.31, ..base.clone() }) > on_circle(&base));
        assert!(on_circle(&Car { mass: 281.0, ..base.clone() }) > on_circle(&base));
    }
}

/// A car tips over when the moment `m A h` is the load times half of the track: `A = g t / (2 h)`.
#[test]
fn a_tall_car_tips_over_before_it_slides() {
    let tall = Car { cg_height: 0.5, track_width: Some(1.0), load_sensitivity: 0.0, ..car() };
    close(circle(&tall, 9.0).run().unwrap().lateral_acceleration, GRAVITY * 1.0 / (2.0 * 0.5), 1e-12);
}

#[test]
fn inputs_that_load_transfer_needs() {
    let missing = |found: Result<f64, ModelError>| match found {
        Err(ModelError::Missing { input, .. }) => input,
        other => panic!("{other:?}"),
    };
    let of = |car: Car| lap(&car).run().map(|found| found.time);
    assert_eq!(missing(of(Car { reference_load: None, ..car() })), "reference-load");
    assert_eq!(missing(of(Car { track_width: None, ..car() })), "track-width");
    assert_eq!(missing(of(Car { track_width: None, front_roll_share: Some(0.5), ..car() })), "track-width");
    assert_eq!(missing(of(Car { wheelbase: None, ..car() })), "wheelbase");
    let high = SteadyCircle { track_width: None, ..circle(&car(), 9.0) };
    assert_eq!(missing(high.run().map(|found| found.time)), "track-width");
    let too_much = Car { load_sensitivity: 1e-3, reference_load: Some(0.0), ..car() };
    assert!(matches!(of(too_much), Err(ModelError::OutOfRange { input: "load-sensitivity", .. })));
    let track = stadium();
    let mut bound = Bound::new();
    bound.set_number("mass", 280.0).set_number("grip", 1.4).set_number("power", 60e3).set_table("track", &track);
    bound.set_number("track-width", 1.2);
    assert_eq!(missing(find("lap").unwrap().check_and_run(&bound).map(|found| found[0])), "load-sensitivity");
}

fn gearbox(shift_time: f64) -> Gearbox {
    // The redlines are at 14.4, 19.2, 25.0 and 35.9 m/s.
    Gearbox {
        gears: vec![2.0, 1.5, 1.15, 0.8],
        final_drive: 8.0,
        wheel_radius: 0.23,
        redline: Some(1000.0),
        shift_time,
    }
}

fn engine() -> Power {
    Power::Engine(vec![(350.0, 18e3), (600.0, 42e3), (850.0, 60e3), (1000.0, 56e3)])
}

/// On an open straight from rest, the lap agrees with the straight line, which rolls without force during each shift.
#[test]
fn gears_of_a_lap_agree_with_the_straight_line() {
    let car = Car { driven_share: 0.53, drag_area: 1.1, rolling_resistance: 0.02, ..car() };
    for shift_time in [0.0, 0.05, 0.15] {
        let run = StraightLine {
            car: car.clone(),
            power: engine(),
            distance: 150.0,
            gearbox: Some(gearbox(shift_time)),
            ..StraightLine::default()
        };
        let open = Lap {
            power: engine(),
            track: vec![(150.0, 0.0)],
            start: Some(0.0),
            gearbox: Some(gearbox(shift_time)),
            ..lap(&car)
        };
        let (run, open) = (run.run().unwrap(), open.run().unwrap());
        let within = if shift_time == 0.0 { 1e-9 } else { 5e-4 };
        close(open.time, run.time, within);
        close(open.energy, run.energy, if shift_time == 0.0 { 1e-8 } else { 5e-4 });
    }
}

#[test]
fn shifts_cost_time_and_the_last_redline_holds() {
    let geared = |shift_time| Lap { power: engine(), gearbox: Some(gearbox(shift_time)), ..lap(&car()) };
    let of = |lap: Lap| lap.run().unwrap().time;
    let times = [0.0, 0.05, 0.1].map(|shift_time| of(geared(shift_time)));
    assert!(times[0] < times[1] && times[1] < times[2], "{times:?}");
    // A single gear with a redline of 12 m/s, below all corner speeds of this track.
    let single = Gearbox { gears: vec![1000.0 * 0.23 / (8.0 * 12.0)], ..gearbox(0.1) };
    let slow = Lap { power: engine(), gearbox: Some(single), track: vec![(100.0, 0.0), (100.0, 0.01)], ..lap(&car()) };
    close(of(slow), 200.0 / 12.0, 1e-9);
    // A second gear without power: the car stays at the redline of the first.
    let weak = Power::Engine(vec![(400.0, 0.0), (700.0, 0.0), (990.0, 60e3), (1000.0, 60e3)]);
    let two = Gearbox { gears: vec![2.0, 1.0], ..gearbox(0.1) };
    let track = vec![(300.0, 0.0)];
    let drag = Car { drag_area: 1.0, ..car() };
    let held = Lap { power: weak, gearbox: Some(two), track, start: Some(14.3), ..lap(&drag) };
    close(held.run().unwrap().speed, 1000.0 * 0.23 / (2.0 * 8.0), 1e-9);
}

#[test]
fn an_engine_curve_needs_gears() {
    let found = Lap { power: engine(), ..lap(&car()) }.run();
    assert!(matches!(found, Err(ModelError::Missing { input: "gears", .. })), "{found:?}");
}

#[test]
fn a_power_limit_cuts_curves_exactly() {
    let curve = vec![(0.0, 10e3), (10.0, 50e3), (20.0, 70e3), (30.0, 30e3)];
    // 40 kW is crossed at 7.5 m/s and 27.5 m/s.
    let cut = vec![(0.0, 10e3), (7.5, 40e3), (27.5, 40e3), (30.0, 30e3)];
    let of = |power, power_limit| StraightLine {
        car: car(),
        power,
        power_limit,
        distance: 150.0,
        ..StraightLine::default()
    };
    let (limited, by_hand) = (of(Power::Curve(curve.clone()), Some(40e3)), of(Power::Curve(cut), None));
    close(limited.run().unwrap().time, by_hand.run().unwrap().time, 1e-12);
    assert_eq!(of(Power::Curve(curve.clone()), Some(70e3)).run(), of(Power::Curve(curve.clone()), None).run());
    assert_eq!(of(Power::Constant(60e3), Some(45e3)).run(), of(Power::Constant(45e3), None).run());
    assert!(of(Power::Curve(curve), Some(0.0)).run().is_err());
    // Below the first row the force is constant, up to the limit.
    let geared = |rows: Vec<(f64, f64)>, power_limit| StraightLine {
        gearbox: Some(gearbox(0.1)),
        ..of(Power::Engine(rows), power_limit)
    };
    let limited = geared(vec![(500.0, 50e3), (1000.0, 50e3)], Some(25e3)).run().unwrap();
    let by_hand = geared(vec![(250.0, 25e3), (1000.0, 25e3)], None).run().unwrap();
    close(limited.time, by_hand.time, 1e-12);
}

/// Without losses the braking energy equals the driving energy on a closed lap, so a share of it is given back.
#[test]
fn energy_given_back() {
    let back = |regeneration, regeneration_limit| Lap { regeneration, regeneration_limit, ..lap(&car()) };
    let without = back(0.0, None).run().unwrap();
    let half = back(0.5, None).run().unwrap();
    close(half.energy, 0.5 * without.energy, 1e-7);
    close(half.recovered, 0.5 * without.energy, 1e-7);
    assert_eq!(half.time, without.time);
    // Braking at constant deceleration with a power limit: P v / a of it while B v > P, that is P (v1 - P / B) / a, and the
    // rest of the kinetic energy.
    let plain = Car { mass: 280.0, grip: 1.5, ..Car::default() };
    let (power, corner) = (30e3, (1.5 * GRAVITY * 4.0_f64).sqrt());
    let stop = Lap {
        power: Power::Curve(vec![(40.0, 0.0), (50.0, 1e3)]),
        track: vec![(80.0, 0.0), (2.0, 0.25)],
        start: Some(25.0),
        regeneration: 1.0,
        regeneration_limit: Some(power),
        ..lap(&plain)
    };
    let found = stop.run().unwrap();
    let (force, a) = (280.0 * 1.5 * GRAVITY, 1.5 * GRAVITY);
    let full = (power / force).max(corner);
    close(found.recovered, power * (25.0 - full) / a + 140.0 * (full * full - corner * corner), 1e-8);
    close(found.energy, -found.recovered, 1e-12);
}

#[test]
fn the_measured_factor_multiplies_the_time_only() {
    let plain = lap(&car()).run().unwrap();
    let slower = Lap { measured_factor: 1.03, ..lap(&car()) }.run().unwrap();
    assert_eq!((slower.time, slower.energy, slower.speed), (1.03 * plain.time, plain.energy, plain.speed));
    let circle = |measured_factor| SteadyCircle { measured_factor, ..circle(&car(), 9.0) }.run().unwrap();
    close(circle(1.03).time, 1.03 * circle(1.0).time, 1e-15);
    assert_eq!(circle(1.03).speed, circle(1.0).speed);
    let run = |measured_factor| {
        let power = Power::Constant(60e3);
        StraightLine { car: car(), power, distance: 75.0, measured_factor, ..StraightLine::default() }.run().unwrap()
    };
    close(run(1.03).time, 1.03 * run(1.0).time, 1e-15);
    assert!(Lap { measured_factor: 0.0, ..lap(&car()) }.run().is_err());
}
