//! The models as data: names, inputs with units and defaults, outputs, sources.

use crate::car::Car;
use crate::efficiency::{Efficiency, EfficiencyCo2, Used};
use crate::error::ModelError;
use crate::lap::Lap;
use crate::power::Power;
use crate::registry::{Bound, Column, Input, Kind, Model, Output};
use crate::steady_circle::SteadyCircle;
use crate::straight_line::{Gearbox, StraightLine};

/// Every model, in alphabetical order.
pub static MODELS: &[Model] = &[
    Model {
        name: "efficiency",
        summary: "The efficiency factor of FS-Rules: time squared times energy (smaller is better).",
        source: "FS-Rules 2025 v1.1, D7.10",
        inputs: &[
            required("time", "s", "time of the endurance run"),
            number("energy", "J", None, "energy used in it; or set `fuel`"),
            number("fuel", "m^3", None, "volume of fuel used in it; or set `energy`"),
            number(
                "energy-per-volume",
                "J/m^3",
                Some(3.2e10),
                "energy per volume of fuel; the score does not depend on it if all factors use the same value",
            ),
        ],
        outputs: &[Output { name: "factor", unit: "s^2*J", meaning: "efficiency factor" }],
        run: efficiency,
    },
    Model {
        name: "efficiency-co2",
        summary: "The efficiency factor of Formula SAE: time and CO2 per lap relative to the best ones (larger is better).",
        source: "Formula SAE Rules 2024, D.13.4",
        inputs: &[
            required("time", "s", "time of the endurance run"),
            number("energy", "J", None, "electric energy used in it; or set `fuel`"),
            number("fuel", "m^3", None, "volume of fuel used in it; or set `energy`"),
            number("laps", "1", Some(1.0), "number of laps in it"),
            required("best-time", "s", "shortest time of an eligible car"),
            number("best-time-laps", "1", None, "number of laps for that; the default is `laps`"),
            required("best-co2", "kg", "smallest CO2 mass of an eligible car"),
            number("best-co2-laps", "1", None, "number of laps for that; the default is `laps`"),
            number("co2-per-volume", "kg/m^3", Some(2310.0), "CO2 per volume of fuel; the default is petrol"),
            number(
                "co2-per-energy",
                "kg/J",
                Some(0.65 / 3.6e6),
                "CO2 per electric energy; the default is 0.65 kg per kWh",
            ),
        ],
        outputs: &[
            Output { name: "factor", unit: "1", meaning: "efficiency factor" },
            Output { name: "co2", unit: "kg", meaning: "CO2 mass of the run" },
        ],
        run: efficiency_co2,
    },
    Model {
        name: "lap",
        summary: "A quasi-steady lap over a table of length and curvature, and the energy for it.",
        source: "standard textbook result; see Milliken and Milliken, Race Car Vehicle Dynamics; Guiggiani, The Science of \
                 Vehicle Dynamics",
        inputs: &[
            table(
                "track",
                [("length", "m"), ("curvature", "1/m")],
                true,
                "segments in order; curvature 0 is a straight",
            ),
            MASS,
            POWER,
            POWER_CURVE,
            GRIP,
            number("braking-grip", "1", None, "longitudinal friction coefficient under braking; the default is `grip`"),
            DRAG_AREA,
            LIFT_AREA,
            ROLLING_RESISTANCE,
            ROTATING_MASS,
            DRIVEN_SHARE,
            CG_HEIGHT,
            WHEELBASE,
            AIR_DENSITY,
            number(
                "start",
                "m/s",
                None,
                "speed at the start of an open track; without it, the lap is closed and flying",
            ),
        ],
        outputs: &[
            Output { name: "time", unit: "s", meaning: "lap time" },
            Output { name: "energy", unit: "J", meaning: "energy at the driven wheels (braking not included)" },
            Output { name: "speed", unit: "m/s", meaning: "speed at the end" },
        ],
        run: lap,
    },
    Model {
        name: "steady-circle",
        summary: "One circle at the limit of load-sensitive grip, with downforce.",
        source: "standard textbook result; see Milliken and Milliken, Race Car Vehicle Dynamics; Guiggiani, The Science of \
                 Vehicle Dynamics",
        inputs: &[
            required("radius", "m", "radius of the path of the centre of gravity"),
            required("grip", "1", "friction coefficient of the car at the reference load"),
            MASS,
            LIFT_AREA,
            number(
                "load-sensitivity",
                "1/N",
                Some(0.0),
                "decrease of the friction coefficient per load of the whole car above the reference: a quarter of the value of one tyre",
            ),
            number(
                "reference-load",
                "N",
                None,
                "load of the whole car at which `grip` is valid; the default is its own weight, so mass does not reduce grip",
            ),
            AIR_DENSITY,
        ],
        outputs: &[
            Output { name: "time", unit: "s", meaning: "time of one circle" },
            Output { name: "lateral-acceleration", unit: "m/s^2", meaning: "lateral acceleration" },
            Output { name: "speed", unit: "m/s", meaning: "speed" },
        ],
        run: steady_circle,
    },
    Model {
        name: "straight-line",
        summary: "A run from a standstill over a distance, limited by grip with load transfer and by power.",
        source: "standard textbook result; see Gillespie, Fundamentals of Vehicle Dynamics; Milliken and Milliken, Race Car \
                 Vehicle Dynamics",
        inputs: &[
            MASS,
            POWER,
            POWER_CURVE,
            table(
                "engine-curve",
                [("shaft-speed", "rad/s"), ("power", "W")],
                false,
                "power at the wheels over shaft speed, needs `gears`; or set `power` or `power-curve`",
            ),
            GRIP,
            required("distance", "m", "distance over which the time is measured"),
            number("staging", "m", Some(0.0), "distance from the standing car to the timing start line"),
            DRAG_AREA,
            LIFT_AREA,
            ROLLING_RESISTANCE,
            ROTATING_MASS,
            DRIVEN_SHARE,
            CG_HEIGHT,
            WHEELBASE,
            Input {
                name: "gears",
                kind: Kind::List,
                unit: "1",
                default: None,
                required: false,
                meaning: "gear ratios from the first gear up, decreasing; without it there are no shifts",
            },
            number("final-drive", "1", None, "ratio between gearbox and wheels; the default is 1"),
            number("wheel-radius", "m", None, "rolling radius of the driven wheels; required with `gears`"),
            number(
                "redline",
                "rad/s",
                None,
                "shaft speed at which the car shifts up; the default is the end of `engine-curve`",
            ),
            number("shift-time", "s", Some(0.0), "time without driving force at each shift"),
            AIR_DENSITY,
        ],
        outputs: &[
            Output { name: "time", unit: "s", meaning: "measured time" },
            Output { name: "speed", unit: "m/s", meaning: "speed at the finish" },
            Output { name: "energy", unit: "J", meaning: "energy at the driven wheels, from the standstill" },
        ],
        run: straight_line,
    },
];

const MASS: Input = required("mass", "kg", "mass with the driver");
const POWER: Input = number("power", "W", None, "power at the wheels at every speed; or set `power-curve`");
const POWER_CURVE: Input = table(
    "power-curve",
    [("speed", "m/s"), ("power", "W")],
    false,
    "power at the wheels over road speed, linear between the rows; or set `power`",
);
const GRIP: Input = required("grip", "1", "friction coefficient of the tyres");
const DRAG_AREA: Input = number("drag-area", "m^2", Some(0.0), "drag coefficient times frontal area");
const LIFT_AREA: Input = number("lift-area", "m^2", Some(0.0), "downforce coefficient times area");
const ROLLING_RESISTANCE: Input =
    number("rolling-resistance", "1", Some(0.0), "rolling resistance divided by the load");
const ROTATING_MASS: Input = number("rotating-mass", "kg", Some(0.0), "equivalent mass of the rotating parts");
const DRIVEN_SHARE: Input = number(
    "driven-share",
    "1",
    Some(1.0),
    "1: all the weight is on driven wheels; below 1: the static weight share of the driven rear axle",
);
const CG_HEIGHT: Input =
    number("cg-height", "m", Some(0.0), "height of the centre of gravity; used if `driven-share` is below 1");
const WHEELBASE: Input = number(
    "wheelbase",
    "m",
    None,
    "distance between the axles; required with `cg-height` if `driven-share` is below 1",
);
const AIR_DENSITY: Input = number("air-density", "kg/m^3", Some(1.2), "density of the air");

const fn required(name: &'static str, unit: &'static str, meaning: &'static str) -> Input {
    Input { name, kind: Kind::Number, unit, default: None, required: true, meaning }
}

const fn number(name: &'static str, unit: &'static str, default: Option<f64>, meaning: &'static str) -> Input {
    Input { name, kind: Kind::Number, unit, default, required: false, meaning }
}

const fn table(
    name: &'static str,
    columns: [(&'static str, &'static str); 2],
    required: bool,
    meaning: &'static str,
) -> Input {
    let [(first, first_unit), (second, second_unit)] = columns;
    let columns = [Column { name: first, unit: first_unit }, Column { name: second, unit: second_unit }];
    Input { name, kind: Kind::Table { columns }, unit: "", default: None, required, meaning }
}

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
        air_density: bound.number_or("air-density", default.air_density),
    })
}

fn power(bound: &Bound<'_>, engine: Option<&[(f64, f64)]>) -> Result<Power, ModelError> {
    let one_source = "set exactly one of `power`, `power-curve` and (with gears) `engine-curve`";
    match (bound.number("power"), bound.table("power-curve"), engine) {
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

fn straight_line(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let found = StraightLine {
        car: car(bound)?,
        power: power(bound, bound.table("engine-curve"))?,
        distance: bound.required("distance")?,
        staging: bound.number_or("staging", 0.0),
        gearbox: gearbox(bound)?,
    }
    .run()?;
    Ok(vec![found.time, found.speed, found.energy])
}

fn steady_circle(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let default = SteadyCircle::default();
    let found = SteadyCircle {
        radius: bound.required("radius")?,
        grip: bound.required("grip")?,
        mass: bound.required("mass")?,
        lift_area: bound.number_or("lift-area", default.lift_area),
        load_sensitivity: bound.number_or("load-sensitivity", default.load_sensitivity),
        reference_load: bound.number("reference-load"),
        air_density: bound.number_or("air-density", default.air_density),
    }
    .run()?;
    Ok(vec![found.time, found.lateral_acceleration, found.speed])
}

fn lap(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let hint = "the model requires it: rows of length and curvature";
    let found = Lap {
        car: car(bound)?,
        power: power(bound, None)?,
        track: bound.table("track").ok_or(ModelError::Missing { input: "track", hint })?.to_vec(),
        braking_grip: bound.number("braking-grip"),
        start: bound.number("start"),
    }
    .run()?;
    Ok(vec![found.time, found.energy, found.speed])
}

fn used(bound: &Bound<'_>) -> Result<Used, ModelError> {
    match (bound.number("energy"), bound.number("fuel")) {
        (Some(energy), None) => Ok(Used::Energy(energy)),
        (None, Some(volume)) => Ok(Used::Fuel(volume)),
        (None, None) => Err(ModelError::Missing { input: "energy", hint: "set it, or `fuel`" }),
        (Some(_), Some(_)) => Err(ModelError::Conflict { input: "fuel", reason: "`energy` is already set" }),
    }
}

fn efficiency(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let energy_per_volume = bound.number_or("energy-per-volume", Efficiency::default().energy_per_volume);
    let found = Efficiency { time: bound.required("time")?, used: used(bound)?, energy_per_volume }.run()?;
    Ok(vec![found])
}

fn efficiency_co2(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
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
