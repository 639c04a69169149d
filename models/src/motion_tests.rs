//! Motion compared with closed-form solutions of Newton's law, for cases that need a single part of a model.

use super::*;
use crate::GRAVITY;
use crate::car::Car;

/// The car of the closed-form cases: 280 kg, air of 1.2 kg/m^3.
fn forces(drag_area: f64, lift_area: f64) -> Forces {
    Forces::new(&Car { mass: 280.0, grip: 1.5, drag_area, lift_area, ..Car::default() }, true).unwrap()
}

fn leg(forces: &Forces, push: Push) -> Leg<'_> {
    Leg::new(forces, 0.0, push, Piece::NONE, (0.0, f64::INFINITY))
}

fn close(value: f64, expected: f64, within: f64) {
    assert!((value / expected - 1.0).abs() < within, "got {value}, expected {expected}");
}

#[test]
fn coasting_on_drag_alone() {
    // t = (m/k)(1/v - 1/v0), x = (m/k) ln(v0/v)
    let forces = forces(1.1, 0.0);
    let mut state = State::with_speed(30.0);
    let leg = Leg { low: 20.0, ..leg(&forces, Push::Coast) };
    let end = leg.run(&mut state, f64::INFINITY, f64::INFINITY, &mut Steps(1000)).unwrap();
    assert_eq!(end, End::Low);
    close(state.time, 7.070_707, 1e-6);
    close(state.distance, 172.015_5, 1e-6);
    let k = 1.2 * 1.1 / 2.0;
    close(state.time, 280.0 / k * (1.0 / 20.0 - 1.0 / 30.0), 1e-11);
    close(state.distance, 280.0 / k * 1.5_f64.ln(), 1e-11);
}

#[test]
fn braking_with_and_without_air() {
    for (drag_area, lift_area, distance, time) in [(0.0, 0.0, 30.591_486, 2.039_432), (1.1, 2.5, 23.678_391, 1.721_652)]
    {
        let forces = forces(drag_area, lift_area);
        let mut state = State::with_speed(0.0);
        let leg = Leg { high: 30.0, ..leg(&forces, Push::Brake { grip: 1.5 }) };
        let end = leg.run(&mut state, 100.0, f64::INFINITY, &mut Steps(1000)).unwrap();
        assert_eq!((end, state.speed), (End::High, 30.0));
        close(state.distance, distance, 1e-7);
        close(state.time, time, 1e-6);
    }
}

#[test]
fn coasting_ends_at_the_time_or_at_rest() {
    let rolling = Car { mass: 280.0, grip: 1.5, rolling_resistance: 0.02, ..Car::default() };
    let forces = Forces::new(&rolling, true).unwrap();
    let leg = leg(&forces, Push::Coast);
    let mut state = State::with_speed(2.0);
    assert_eq!(leg.run(&mut state, 100.0, 3.0, &mut Steps(100)).unwrap(), End::Time);
    close(state.speed, 2.0 - 3.0 * 0.02 * GRAVITY, 1e-12);
    assert_eq!(leg.run(&mut state, 100.0, f64::INFINITY, &mut Steps(100)).unwrap(), End::Low);
    assert_eq!(state.speed, 0.0);
    close(state.distance, 4.0 / (2.0 * 0.02 * GRAVITY), 1e-10);
}

#[test]
fn the_rear_drive_limit_and_the_wheelie() {
    // Standard textbook result (Gillespie): mu g (a/L)/(1 - mu h/L)
    let car = |cg_height| Car {
        mass: 280.0,
        grip: 1.4,
        driven_share: 0.80 / 1.55,
        cg_height,
        wheelbase: Some(1.55),
        ..Car::default()
    };
    let low = Forces::new(&car(0.29), true).unwrap();
    close(low.driven_limit(0.0, 0.0) / 280.0, 9.600_92, 1e-6);
    assert!(low.front_limit(0.0, 0.0) > low.driven_limit(0.0, 0.0));
    // A car with a high centre of gravity lifts its front wheels at g b/h.
    let high = Forces::new(&car(0.9), true).unwrap();
    close(high.front_limit(0.0, 0.0) / 280.0, GRAVITY * 0.75 / 0.9, 1e-12);
    assert!(high.front_limit(0.0, 0.0) < high.driven_limit(0.0, 0.0));
    // If each newton of driving force adds more than one newton of grip, the rear axle gets all the load.
    close(Forces::new(&car(1.2), true).unwrap().driven_limit(0.0, 0.0), 1.4 * 280.0 * GRAVITY, 1e-12);
}

#[test]
fn the_corner_speed_can_be_held() {
    for (drag_area, lift_area, rolling, share, height) in [
        (0.0, 0.0, 0.0, 1.0, 0.0),
        (1.1, 2.5, 0.02, 1.0, 0.0),
        (1.3, 1.0, 0.03, 0.52, 0.3),
        (0.5, -0.5, 0.01, 0.6, 0.25),
    ] {
        let car = Car {
            mass: 280.0,
            grip: 1.5,
            drag_area,
            lift_area,
            rolling_resistance: rolling,
            driven_share: share,
            cg_height: height,
            wheelbase: Some(1.55),
            ..Car::default()
        };
        let forces = Forces::new(&car, true).unwrap();
        for radius in [5.0_f64, 9.0, 20.0, 40.0] {
            let w = forces.corner_speed(1.0 / radius).unwrap().powi(2);
            let at = |w: f64| forces.driven_limit(w, 1.0 / radius) - forces.resistance(w);
            assert!(at(w * (1.0 - 1e-6)) > 0.0, "{car:?} {radius}");
            // With load transfer a car can be faster while it accelerates, but it cannot hold that speed.
            assert!(height > 0.0 || at(w * (1.0 + 1e-6)) <= 0.0, "{car:?} {radius}");
            // The friction circle is fully used, laterally and longitudinally.
            let load = 280.0 * GRAVITY + 0.6 * lift_area * w;
            let used = (share * 280.0 * w / radius).hypot(forces.resistance(w));
            close(used, share * 1.5 * load, 1e-12);
        }
    }
}
