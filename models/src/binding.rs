//! The binding of inputs by name to each model.

use crate::car::Car;
use crate::efficiency::{Efficiency, EfficiencyCo2, Used};
use crate::error::ModelError;
use crate::gearbox::Gearbox;
use crate::lap::Lap;
use crate::power::Power;
use crate::registry::Bound;
use crate::steady_circle::SteadyCircle;
use crate::straight_line::StraightLine;
use crate::stress::StressPart;

fn car(bound: &Bound<'_>) -> Result<Car, ModelError> {
    let default = Car::default();
    Ok(Car {
        mass: bound.required("mass")?,
        grip: bound.required("grip")?,
        drag_area: bound.number_or("drag-area", default.drag_area),
        lift_area: bound.number_or("lift-area", default.lift_area),
        rolling_resistance: bound.number_or("rolling-resistance", default.rolling_resistance),
        rotating_mass: bound.number_or("rotating-mass", default.rotating_mass),
        driven_share: bound.number_or("driven-share", default.driven_share),
        cg_height: bound.number_or("cg-height", default.cg_height),
        wheelbase: bound.number("wheelbase"),
        load_sensitivity: load_sensitivity(bound)?,
        reference_load: bound.number("reference-load"),
        track_width: bound.number("track-width"),
        rear_track_width: bound.number("rear-track-width"),
        front_roll_share: bound.number("front-roll-share"),
        air_density: bound.number_or("air-density", default.air_density),
    })
}

/// Load transfer to the outer wheels has an effect through the load sensitivity only.
fn load_sensitivity(bound: &Bound<'_>) -> Result<f64, ModelError> {
    match bound.number("load-sensitivity") {
        None if bound.number("track-width").is_some() => {
            Err(ModelError::Missing { input: "load-sensitivity", hint: "`track-width` has no effect without it" })
        }
        found => Ok(found.unwrap_or(0.0)),
    }
}

fn power(bound: &Bound<'_>) -> Result<Power, ModelError> {
    let one_source = "set exactly one of `power`, `power-curve` and (with gears) `engine-curve`";
    match (bound.number("power"), bound.table("power-curve"), bound.table("engine-curve")) {
        (Some(power), None, None) => Ok(Power::Constant(power)),
        (None, Some(curve), None) => Ok(Power::Curve(curve.to_vec())),
        (None, None, Some(curve)) => Ok(Power::Engine(curve.to_vec())),
        (None, None, None) => Err(ModelError::Missing { input: "power", hint: one_source }),
        (_, Some(_), Some(_)) | (Some(_), None, Some(_)) => {
            Err(ModelError::Conflict { input: "engine-curve", reason: one_source })
        }
        (Some(_), Some(_), None) => Err(ModelError::Conflict { input: "power", reason: one_source }),
    }
}

fn gearbox(bound: &Bound<'_>) -> Result<Option<Gearbox>, ModelError> {
    let Some(gears) = bound.list("gears") else {
        for input in ["final-drive", "wheel-radius", "redline"] {
            if bound.number(input).is_some() {
                return Err(ModelError::Conflict { input, reason: "it has no effect without `gears`" });
            }
        }
        if bound.number_or("shift-time", 0.0) != 0.0 {
            return Err(ModelError::Conflict { input: "shift-time", reason: "it has no effect without `gears`" });
        }
        return Ok(None);
    };
    let hint = "`gears` need it";
    Ok(Some(Gearbox {
        gears: gears.to_vec(),
        final_drive: bound.number_or("final-drive", 1.0),
        wheel_radius: bound.number("wheel-radius").ok_or(ModelError::Missing { input: "wheel-radius", hint })?,
        redline: bound.number("redline"),
        shift_time: bound.number_or("shift-time", 0.0),
    }))
}

pub(crate) fn straight_line(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let found = StraightLine {
        car: car(bound)?,
        power: power(bound)?,
        distance: bound.required("distance")?,
        staging: bound.number_or("staging", 0.0),
        gearbox: gearbox(bound)?,
        power_limit: bound.number("power-limit"),
        measured_factor: bound.number_or("measured-factor", 1.0),
    }
    .run()?;
    Ok(vec![found.time, found.speed, found.energy])
}

pub(crate) fn steady_circle(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let default = SteadyCircle::default();
    let found = SteadyCircle {
        radius: bound.required("radius")?,
        grip: bound.required("grip")?,
        mass: bound.required("mass")?,
        lift_area: bound.number_or("lift-area", default.lift_area),
        load_sensitivity: load_sensitivity(bound)?,
        reference_load: bound.number("reference-load"),
        air_density: bound.number_or("air-density", default.air_density),
        cg_height: bound.number_or("cg-height", default.cg_height),
        track_width: bound.number("track-width"),
        rear_track_width: bound.number("rear-track-width"),
        rear_weight_share: bound.number_or("rear-weight-share", default.rear_weight_share),
        front_roll_share: bound.number("front-roll-share"),
        measured_factor: bound.number_or("measured-factor", default.measured_factor),
    }
    .run()?;
    Ok(vec![found.time, found.lateral_acceleration, found.speed])
}

pub(crate) fn lap(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let hint = "the model requires it: rows of length and curvature";
    let regeneration_limit = bound.number("regeneration-limit");
    if regeneration_limit.is_some() && bound.number("regeneration").is_none() {
        let reason = "it has no effect without `regeneration`";
        return Err(ModelError::Conflict { input: "regeneration-limit", reason });
    }
    let found = Lap {
        car: car(bound)?,
        power: power(bound)?,
        track: bound.table("track").ok_or(ModelError::Missing { input: "track", hint })?.to_vec(),
        braking_grip: bound.number("braking-grip"),
        start: bound.number("start"),
        gearbox: gearbox(bound)?,
        power_limit: bound.number("power-limit"),
        regeneration: bound.number_or("regeneration", 0.0),
        regeneration_limit,
        measured_factor: bound.number_or("measured-factor", 1.0),
    }
    .run()?;
    Ok(vec![found.time, found.energy, found.speed, found.recovered])
}

fn used(bound: &Bound<'_>) -> Result<Used, ModelError> {
    match (bound.number("energy"), bound.number("fuel")) {
        (Some(energy), None) => Ok(Used::Energy(energy)),
        (None, Some(volume)) => Ok(Used::Fuel(volume)),
        (None, None) => Err(ModelError::Missing { input: "energy", hint: "set it, or `fuel`" }),
        (Some(_), Some(_)) => Err(ModelError::Conflict { input: "fuel", reason: "`energy` is already set" }),
    }
}

pub(crate) fn efficiency(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let energy_per_volume = bound.number_or("energy-per-volume", Efficiency::default().energy_per_volume);
    let found = Efficiency { time: bound.required("time")?, used: used(bound)?, energy_per_volume }.run()?;
    Ok(vec![found])
}

pub(crate) fn efficiency_co2(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let default = EfficiencyCo2::default();
    let found = EfficiencyCo2 {
        time: bound.required("time")?,
        used: used(bound)?,
        laps: bound.number_or("laps", default.laps),
        best_time: bound.required("best-time")?,
        best_time_laps: bound.number("best-time-laps"),
        best_co2: bound.required("best-co2")?,
        best_co2_laps: bound.number("best-co2-laps"),
        co2_per_volume: bound.number_or("co2-per-volume", default.co2_per_volume),
        co2_per_energy: bound.number_or("co2-per-energy", default.co2_per_energy),
    }
    .run()?;
    Ok(vec![found.factor, found.co2])
}

fn stress_part<'a>(bound: &Bound<'a>) -> Result<StressPart<'a>, ModelError> {
    let hint = "the model requires it: a file of a stress analysis";
    Ok(StressPart {
        field: bound.field("file").ok_or(ModelError::Missing { input: "file", hint })?,
        allowable: bound.required("allowable")?,
        little: bound.number_or("little", StressPart::LITTLE),
        density: bound.number("density"),
    })
}

pub(crate) fn stress_field(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    Ok(stress_part(bound)?.run()?.to_vec())
}

pub(crate) fn stress_field_slopes(bound: &Bound<'_>, input: &str) -> Option<Vec<f64>> {
    stress_part(bound).ok()?.slopes(input)
}
