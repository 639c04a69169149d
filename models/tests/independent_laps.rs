//! A hundred random cars with gears, load transfer, load-sensitive tyres, a power limit and energy given back, compared with
//! an independent integration by another method.
//!
//! No code of the models is used for it: the loads of the four wheels, the friction coefficient of each and the forces of the
//! axles are added up wheel by wheel; the largest forces and the corner speeds are found by bisection; the lap is a forward
//! and a backward pass of the squared speed over distance with a Runge-Kutta method of fourth order on a fixed grid, whose
//! steps end where the driving force jumps. Time and energy are sums over that grid.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints deviations"
)]

use models::{Car, Gearbox, Lap, Power, SteadyCircle};

const G: f64 = 9.806_65;
/// Steps in each segment.
const STEPS: usize = 100;

struct Random(u64);

impl Random {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * ((self.0 >> 11) as f64 / (1_u64 << 53) as f64)
    }
}

/// A car with all that the integration needs.
struct Own {
    car: Car,
    /// Share of the static weight on the rear axle.
    rear: f64,
    /// Road speeds at the redline of each gear.
    tops: [f64; 4],
    engine: [(f64, f64); 4],
    shift: f64,
    limit: f64,
    braking_grip: f64,
    regeneration: f64,
    regeneration_limit: f64,
    factor: f64,
    track: Vec<(f64, f64)>,
}

impl Own {
    fn draw(r: &mut Random) -> Self {
        let rear_driven = r.between(0.0, 1.0) < 0.7;
        let share = r.between(0.46, 0.58);
        let car = Car {
            mass: r.between(200.0, 350.0),
            grip: r.between(1.2, 1.8),
            drag_area: r.between(0.5, 1.5),
            lift_area: r.between(0.0, 3.0),
            rolling_resistance: r.between(0.01, 0.03),
            rotating_mass: r.between(0.0, 20.0),
            driven_share: if rear_driven { share } else { 1.0 },
            cg_height: r.between(0.22, 0.35),
            wheelbase: Some(r.between(1.53, 1.7)),
            load_sensitivity: r.between(1e-5, 4e-5),
            reference_load: Some(r.between(2000.0, 3500.0)),
            track_width: Some(r.between(1.1, 1.3)),
            rear_track_width: Some(r.between(1.05, 1.25)),
            front_roll_share: Some(r.between(0.4, 0.6)),
            air_density: r.between(1.1, 1.25),
        };
        let (first, peak) = (r.between(11.0, 15.0), r.between(40e3, 90e3));
        let track = vec![
            (r.between(20.0, 60.0), 0.0),
            (r.between(5.0, 20.0), 1.0 / r.between(6.0, 12.0)),
            (r.between(5.0, 30.0), 1.0 / r.between(15.0, 60.0)),
            (r.between(30.0, 80.0), 0.0),
            (r.between(5.0, 15.0), -1.0 / r.between(5.0, 9.0)),
            (r.between(3.0, 9.0), 1.0 / r.between(5.0, 12.0)),
            (r.between(20.0, 40.0), 1.0 / r.between(25.0, 80.0)),
            (r.between(40.0, 90.0), 0.0),
            (r.between(5.0, 20.0), 1.0 / r.between(8.0, 20.0)),
        ];
        Self {
            rear: if rear_driven { share } else { 0.5 },
            tops: [first, 1.3 * first, 1.6 * first, 1.6 * first * r.between(1.2, 1.8)],
            engine: [(350.0, 0.3 * peak), (600.0, 0.7 * peak), (850.0, peak), (1000.0, 0.93 * peak)],
            shift: r.between(-0.05, 0.15).max(0.0),
            limit: r.between(35e3, 80e3),
            braking_grip: car.grip * r.between(0.9, 1.1),
            regeneration: r.between(-0.2, 0.7).max(0.0),
            regeneration_limit: r.between(10e3, 60e3),
            factor: r.between(0.98, 1.06),
            track,
            car,
        }
    }

    fn lap(&self) -> Lap {
        Lap {
            car: self.car.clone(),
            power: Power::Engine(self.engine.to_vec()),
            track: self.track.clone(),
            braking_grip: Some(self.braking_grip),
            start: None,
            gearbox: Some(Gearbox {
                gears: self.tops.iter().map(|top| 1000.0 / top).collect(),
                wheel_radius: 1.0,
                shift_time: self.shift,
                ..Gearbox::default()
            }),
            power_limit: Some(self.limit),
            regeneration: self.regeneration,
            regeneration_limit: Some(self.regeneration_limit),
            measured_factor: self.factor,
        }
    }

    fn load(&self, v: f64) -> f64 {
        self.car.mass * G + 0.5 * self.car.air_density * self.car.lift_area * v * v
    }

    fn resist(&self, v: f64) -> f64 {
        0.5 * self.car.air_density * self.car.drag_area * v * v + self.car.rolling_resistance * self.load(v)
    }

    fn inertia(&self) -> f64 {
        self.car.mass + self.car.rotating_mass
    }

    /// The forces that both axles can hold, from the loads of the four wheels.
    fn axles(&self, v: f64, curvature: f64, acceleration: f64) -> (f64, f64) {
        let car = &self.car;
        let pitch = car.mass * acceleration * car.cg_height / car.wheelbase.unwrap();
        let (front, rear) = ((1.0 - self.rear) * self.load(v) - pitch, self.rear * self.load(v) + pitch);
        let moment = car.mass * v * v * curvature * car.cg_height;
        let share = car.front_roll_share.unwrap();
        let over_front = share * moment / car.track_width.unwrap();
        let over_rear = (1.0 - share) * moment / car.rear_track_width.unwrap();
        let tyre = |load: f64| {
            // One tyre loses four times the value of the car per newton.
            (car.grip - 4.0 * car.load_sensitivity * (load - car.reference_load.unwrap() / 4.0)) * load
        };
        let axle = |load: f64, over: f64| tyre(load / 2.0 - over) + tyre(load / 2.0 + over);
        (axle(front, over_front), axle(rear, over_rear))
    }

    /// The widths of the ranges of speeds around the first three redlines.
    fn width(&self, k: usize) -> f64 {
        let before = if k > 0 { self.tops[k - 1] } else { 0.0 };
        let (here, after) = (self.tops[k], self.tops[k + 1]);
        (0.05 * here).min(0.5 * (here - before)).min(0.5 * (after - here))
    }

    fn lag(&self, v: f64) -> f64 {
        let near = (0..3).find(|k| (v - self.tops[*k]).abs() < self.width(*k) / 2.0);
        near.map_or(0.0, |k| self.shift / self.width(k))
    }

    /// Squared speeds at which the acceleration jumps.
    fn edges(&self) -> Vec<f64> {
        let around = |k: usize| [-0.5, 0.0, 0.5].map(|part| (self.tops[k] + part * self.width(k)).powi(2));
        (0..3).flat_map(around).collect()
    }

    fn power_force(&self, v: f64) -> f64 {
        let top = self.tops.into_iter().find(|top| v <= *top).unwrap_or(self.tops[3]);
        let shaft = 1000.0 * v / top;
        let (first, power) = self.engine[0];
        let power = if shaft < first {
            power * shaft / first
        } else {
            let pair = self.engine.windows(2).find(|pair| shaft <= pair[1].0).unwrap_or(&self.engine[2..]);
            pair[0].1 + (pair[1].1 - pair[0].1) * (shaft - pair[0].0) / (pair[1].0 - pair[0].0)
        };
        power.min(self.limit) / v
    }

    fn drive(&self, v: f64, curvature: f64) -> f64 {
        let (lateral, resist) = (self.car.mass * v * v * curvature, self.resist(v));
        largest(resist, self.power_force(v), |force| {
            let (front, rear) = self.axles(v, curvature, (force - resist) / self.inertia());
            if self.car.driven_share == 1.0 {
                force.hypot(lateral) <= front + rear
            } else {
                force.hypot(self.rear * lateral) <= rear && (1.0 - self.rear) * lateral <= front
            }
        })
    }

    fn brake(&self, v: f64, curvature: f64) -> f64 {
        let (lateral, resist) = (self.car.mass * v * v * curvature, self.resist(v));
        largest(0.0, 4.0 * self.load(v), |force| {
            let (front, rear) = self.axles(v, curvature, -(force + resist) / self.inertia());
            (force * self.car.grip / self.braking_grip).hypot(lateral) <= front + rear
        })
    }

    fn corner(&self, curvature: f64, resisted: bool) -> f64 {
        largest(0.01, self.tops[3], |v| self.holds(v, curvature, resisted))
    }

    fn holds(&self, v: f64, curvature: f64, resisted: bool) -> bool {
        let (front, rear) = self.axles(v, curvature, 0.0);
        let lateral = self.car.mass * v * v * curvature;
        let resist = if resisted { self.resist(v) } else { 0.0 };
        let driven = if self.car.driven_share == 1.0 {
            lateral.hypot(resist) <= front + rear
        } else {
            (self.rear * lateral).hypot(resist) <= rear
        };
        driven && (1.0 - self.rear) * lateral <= front && self.rear * lateral <= rear
    }

    /// Time and energy of the lap.
    fn integrate(&self) -> (f64, f64) {
        let mut track: Vec<(f64, f64, f64)> =
            self.track.iter().map(|row| (row.0, row.1.abs(), self.corner(row.1.abs(), true).powi(2))).collect();
        // It begins in the slowest corner, which every car reaches at the speed of that corner.
        let begin = (0..track.len()).min_by(|a, b| track[*a].2.total_cmp(&track[*b].2)).unwrap();
        track.rotate_left(begin);

        let mut back = vec![[0.0; STEPS + 1]; track.len()];
        let mut w = track[0].2;
        for (row, &(length, curvature, cap)) in track.iter().enumerate().rev() {
            let slope = |w: f64| {
                let v = w.min(cap).sqrt();
                2.0 * (self.brake(v, curvature) + self.resist(v)) / self.inertia()
            };
            w = w.min(cap);
            back[row][STEPS] = w;
            for step in (0..STEPS).rev() {
                w = runge_kutta(slope, w, length / STEPS as f64).min(cap);
                back[row][step] = w;
            }
        }

        let edges = self.edges();
        let (mut time, mut energy, mut recovered) = (0.0, 0.0, 0.0);
        let mut w = track[0].2;
        for (row, &(length, curvature, cap)) in track.iter().enumerate() {
            let h = length / STEPS as f64;
            let slope = |w: f64, edge: f64| {
                let v = w.min(cap).min(edge).sqrt();
                let force = self.drive(v, curvature);
                2.0 * (force - self.resist(v)) / (self.inertia() + force * self.lag(v))
            };
            w = w.min(cap);
            for step in 0..STEPS {
                let edge = edges.iter().copied().filter(|edge| *edge > w * (1.0 + 1e-10)).fold(f64::INFINITY, f64::min);
                let mut after = runge_kutta(|w| slope(w, edge * (1.0 - 1e-12)), w, h);
                if after > edge {
                    let rest = (1.0 - (edge - w) / (after - w)) * h;
                    after = runge_kutta(|w| slope(w, f64::INFINITY), edge * (1.0 + 1e-10), rest);
                }
                after = after.min(cap);
                // The speed is the smaller one of both passes; they cross at a part of the step.
                let (before, ahead) = ((back[row][step] - w).max(0.0), (after - back[row][step + 1]).max(0.0));
                let part = if ahead == 0.0 { 1.0 } else { before / (before + ahead) };
                let crossing = if part == 0.0 { back[row][step] } else { w + part * (after - w) };
                for (from, to, h, drives) in
                    [(w, crossing, part * h, true), (crossing, back[row][step + 1], (1.0 - part) * h, false)]
                {
                    if h == 0.0 {
                        continue;
                    }
                    let middle = 0.5 * (from.sqrt() + to.sqrt());
                    time += h / middle;
                    let work = 0.5 * self.inertia() * (to - from) + self.resist(middle) * h;
                    if drives {
                        energy += work;
                    } else {
                        let power = -work * middle / h;
                        recovered += (-work).max(0.0) * (self.regeneration_limit / power.max(1e-9)).min(1.0);
                    }
                }
                w = after;
            }
        }
        (self.factor * time, energy - self.regeneration * recovered)
    }
}

/// The largest number up to `high` that fits, by bisection; `low` if none does.
fn largest(mut low: f64, mut high: f64, fits: impl Fn(f64) -> bool) -> f64 {
    if high <= low || fits(high) {
        return high.max(low);
    }
    for _ in 0..36 {
        let middle = 0.5 * (low + high);
        *if fits(middle) { &mut low } else { &mut high } = middle;
    }
    low
}

fn runge_kutta(slope: impl Fn(f64) -> f64, w: f64, h: f64) -> f64 {
    let a = slope(w);
    let b = slope(w + 0.5 * h * a);
    let c = slope(w + 0.5 * h * b);
    let d = slope(w + h * c);
    w + h / 6.0 * (a + 2.0 * b + 2.0 * c + d)
}

fn circle(own: &Own, radius: f64) -> SteadyCircle {
    let car = &own.car;
    SteadyCircle {
        radius,
        grip: car.grip,
        mass: car.mass,
        lift_area: car.lift_area,
        load_sensitivity: car.load_sensitivity,
        reference_load: car.reference_load,
        air_density: car.air_density,
        cg_height: car.cg_height,
        track_width: car.track_width,
        rear_track_width: car.rear_track_width,
        rear_weight_share: own.rear,
        front_roll_share: car.front_roll_share,
        measured_factor: own.factor,
    }
}

#[test]
fn a_hundred_random_laps_and_circles() {
    let mut random = Random(20_270_319);
    let mut worst = [0.0_f64; 3];
    for count in 0..100 {
        let own = Own::draw(&mut random);
        let found = own.lap().run().unwrap();
        let (time, energy) = own.integrate();
        let radius = random.between(7.5, 15.0);
        let on_circle = circle(&own, radius).run().unwrap();
        let speed = own.corner(1.0 / radius, false);
        let all = [
            ("lap time", found.time, time, 1e-4),
            ("lap energy", found.energy, energy, 5e-3),
            ("circle speed", on_circle.speed, speed, 1e-8),
        ];
        for ((what, value, expected, within), worst) in all.into_iter().zip(&mut worst) {
            let off = (value / expected - 1.0).abs();
            assert!(off < within, "{what} of car {count}: got {value}, expected {expected}");
            *worst = worst.max(off);
        }
    }
    println!("largest relative deviations of lap time, energy and circle: {worst:?}");
}
