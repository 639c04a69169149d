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
        summary: "The efficiency factor of FS-Rules: time squared times energy; smaller is better.",
        source: "FS-Rules 2025 v1.1, D7.9",
        inputs: &[
            needed("time", "s", "time of the endurance run"),
            number("energy", "J", None, "energy used in it; or give `fuel`"),
            number("fuel", "m^3", None, "volume of fuel used in it; or give `energy`"),
            number("energy-per-volume", "J/m^3", Some(3.2e10), "energy in a volume of fuel; any value scores the same"),
        ],
        outputs: &[Output { name: "factor", unit: "s^2*J", meaning: "efficiency factor" }],
        run: efficiency,
    },
    Model {
        name: "efficiency-co2",
        summary: "The efficiency factor of Formula SAE: time and CO2 per lap against the best ones; greater is better.",
        source: "Formula SAE Rules 2024, D.13 (from memory)",
        inputs: &[
            needed("time", "s", "time of the endurance run"),
            number("energy", "J", None, "electric energy used in it; or give `fuel`"),
            number("fuel", "m^3", None, "volume of fuel used in it; or give `energy`"),
            number("laps", "1", Some(1.0), "laps in it"),
            needed("best-time", "s", "shortest time of a car that is scored"),
            number("best-time-laps", "1", None, "laps in that; as many as `laps` when left out"),
            needed("best-co2", "kg", "least CO2 of a car that is scored"),
            number("best-co2-laps", "1", None, "laps in that; as many as `laps` when left out"),
            number("co2-per-volume", "kg/m^3", Some(2310.0), "CO2 for a volume of fuel; the default is petrol"),
            number(
                "co2-per-energy",
                "kg/J",
                Some(0.65 / 3.6e6),
                "CO2 for electric energy (0.65 kg per kWh, from memory)",
            ),
        ],
        outputs: &[
            Output { name: "factor", unit: "1", meaning: "efficiency factor" },
            Output { name: "co2", unit: "kg", meaning: "CO2 of the run" },
        ],
        run: efficiency_co2,
    },
    Model {
        name: "lap",
        summary: "A quasi-steady lap over a table of length and curvature, and the energy that it takes.",
        source: "Milliken and Milliken, Race Car Vehicle Dynamics, chapters 2 and 9; Guiggiani, The Science of Vehicle \
                 Dynamics, chapters 3 and 7 (from memory)",
        inputs: &[
            table("track", [("length", "m"), ("curvature", "1/m")], true, "segments in order; curvature 0 is straight"),
            MASS,
            POWER,
            POWER_CURVE,
            GRIP,
            number("braking-grip", "1", None, "friction coefficient lengthwise under braking; as `grip` when left out"),
            DRAG_AREA,
            LIFT_AREA,
            ROLLING_RESISTANCE,
            ROTATING_MASS,
            DRIVEN_SHARE,
            CG_HEIGHT,
            WHEELBASE,
            AIR_DENSITY,
            number("start", "m/s", None, "speed at the start of an open track; a closed flying lap when left out"),
        ],
        outputs: &[
            Output { name: "time", unit: "s", meaning: "lap time" },
            Output { name: "energy", unit: "J", meaning: "energy put out at the driven wheels while driving" },
            Output { name: "speed", unit: "m/s", meaning: "speed at the end" },
        ],
        run: lap,
    },
    Model {
        name: "steady-circle",
        summary: "One circle at the limit of load-sensitive grip, with downforce.",
        source: "Milliken and Milliken, Race Car Vehicle Dynamics, chapters 2 and 5; Guiggiani, The Science of Vehicle \
                 Dynamics, chapter 3 (from memory)",
        inputs: &[
            needed("radius", "m", "radius of the path of the centre of gravity"),
            needed("grip", "1", "friction coefficient of the car at the reference load"),
            MASS,
            LIFT_AREA,
            number(
                "load-sensitivity",
                "1/N",
                Some(0.0),
                "loss of the friction coefficient per load of the whole car above the reference: a quarter of one tyre's",
            ),
            number(
                "reference-load",
                "N",
                None,
                "load of the whole car at which `grip` holds; its own weight when left out, so that mass costs no grip",
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
        source: "Gillespie, Fundamentals of Vehicle Dynamics, chapter 2; Milliken and Milliken, Race Car Vehicle \
                 Dynamics, chapters 2 and 18 (from memory)",
        inputs: &[
            MASS,
            POWER,
            POWER_CURVE,
            table(
                "engine-curve",
                [("shaft-speed", "rad/s"), ("power", "W")],
                false,
                "power at the wheels over shaft speed, through `gears`; or give `power` or `power-curve`",
            ),
            GRIP,
            needed("distance", "m", "from where the clock starts to where it stops"),
            number("staging", "m", Some(0.0), "from the standing car to where the clock starts"),
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
                meaning: "gear ratios from the first gear up, falling; without gears there are no shifts",
            },
            number("final-drive", "1", None, "ratio behind the gears; 1 when left out"),
            number("wheel-radius", "m", None, "rolling radius of the driven wheels; needed with `gears`"),
            number("redline", "rad/s", None, "shaft speed at which it shifts; the end of `engine-curve` when left out"),
            number("shift-time", "s", Some(0.0), "time without drive at each shift"),
            AIR_DENSITY,
        ],
        outputs: &[
            Output { name: "time", unit: "s", meaning: "time on the clock" },
            Output { name: "speed", unit: "m/s", meaning: "speed where the clock stops" },
            Output { name: "energy", unit: "J", meaning: "energy put out at the driven wheels from the standstill on" },
        ],
        run: straight_line,
    },
];

const MASS: Input = needed("mass", "kg", "mass with the driver");
const POWER: Input = number("power", "W", None, "power at the wheels at every speed; or give `power-curve`");
const POWER_CURVE: Input = table(
    "power-curve",
    [("speed", "m/s"), ("power", "W")],
    false,
    "power at the wheels over road speed, linear between the rows; or give `power`",
);
const GRIP: Input = needed("grip", "1", "friction coefficient of the tyres");
const DRAG_AREA: Input = number("drag-area", "m^2", Some(0.0), "drag coefficient times frontal area");
const LIFT_AREA: Input = number("lift-area", "m^2", Some(0.0), "downforce coefficient times area");
const ROLLING_RESISTANCE: Input = number("rolling-resistance", "1", Some(0.0), "rolling resistance per load");
const ROTATING_MASS: Input =
    number("rotating-mass", "kg", Some(0.0), "what the rotating parts add to the inertia, reduced to the road");
const DRIVEN_SHARE: Input = number(
    "driven-share",
    "1",
    Some(1.0),
    "1: all the weight is on driven wheels; below 1: the static share of the driven rear axle",
);
const CG_HEIGHT: Input =
    number("cg-height", "m", Some(0.0), "height of the centre of gravity; read when `driven-share` is below 1");
const WHEELBASE: Input = number("wheelbase", "m", None, "needed with `cg-height` when `driven-share` is below 1");
const AIR_DENSITY: Input = number("air-density", "kg/m^3", Some(1.2), "density of the air");

const fn needed(name: &'static str, unit: &'static str, meaning: &'static str) -> Input {
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
    let usual = Car::default();
    Ok(Car {
        mass: bound.needed("mass")?,
        grip: bound.needed("grip")?,
        drag_area: bound.or("drag-area", usual.drag_area),
        lift_area: bound.or("lift-area", usual.lift_area),
        rolling_resistance: bound.or("rolling-resistance", usual.rolling_resistance),
        rotating_mass: bound.or("rotating-mass", usual.rotating_mass),
        driven_share: bound.or("driven-share", usual.driven_share),
        cg_height: bound.or("cg-height", usual.cg_height),
        wheelbase: bound.number("wheelbase"),
        air_density: bound.or("air-density", usual.air_density),
    })
}

fn power(bound: &Bound<'_>, engine: Option<&[(f64, f64)]>) -> Result<Power, ModelError> {
    let one = "power comes from one of `power`, `power-curve` and (with gears) `engine-curve`";
    match (bound.number("power"), bound.table("power-curve"), engine) {
        (Some(power), None, None) => Ok(Power::Constant(power)),
        (None, Some(curve), None) => Ok(Power::Curve(curve.to_vec())),
        (None, None, Some(curve)) => Ok(Power::Engine(curve.to_vec())),
        (None, None, None) => Err(ModelError::Missing { input: "power", hint: one }),
        (_, Some(_), Some(_)) | (Some(_), None, Some(_)) => {
            Err(ModelError::Conflict { input: "engine-curve", reason: one })
        }
        (Some(_), Some(_), None) => Err(ModelError::Conflict { input: "power", reason: one }),
    }
}

fn gearbox(bound: &Bound<'_>) -> Result<Option<Gearbox>, ModelError> {
    let Some(gears) = bound.list("gears") else {
        for input in ["final-drive", "wheel-radius", "redline"] {
            if bound.number(input).is_some() {
                return Err(ModelError::Conflict { input, reason: "it has no effect without `gears`" });
            }
        }
        if bound.or("shift-time", 0.0) != 0.0 {
            return Err(ModelError::Conflict { input: "shift-time", reason: "it has no effect without `gears`" });
        }
        return Ok(None);
    };
    let hint = "`gears` reach the road through it";
    Ok(Some(Gearbox {
        gears: gears.to_vec(),
        final_drive: bound.or("final-drive", 1.0),
        wheel_radius: bound.number("wheel-radius").ok_or(ModelError::Missing { input: "wheel-radius", hint })?,
        redline: bound.number("redline"),
        shift_time: bound.or("shift-time", 0.0),
    }))
}

fn straight_line(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let found = StraightLine {
        car: car(bound)?,
        power: power(bound, bound.table("engine-curve"))?,
        distance: bound.needed("distance")?,
        staging: bound.or("staging", 0.0),
        gearbox: gearbox(bound)?,
    }
    .run()?;
    Ok(vec![found.time, found.speed, found.energy])
}

fn steady_circle(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let usual = SteadyCircle::default();
    let found = SteadyCircle {
        radius: bound.needed("radius")?,
        grip: bound.needed("grip")?,
        mass: bound.needed("mass")?,
        lift_area: bound.or("lift-area", usual.lift_area),
        load_sensitivity: bound.or("load-sensitivity", usual.load_sensitivity),
        reference_load: bound.number("reference-load"),
        air_density: bound.or("air-density", usual.air_density),
    }
    .run()?;
    Ok(vec![found.time, found.lateral_acceleration, found.speed])
}

fn lap(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let hint = "the model needs it: rows of length and curvature";
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
        (None, None) => Err(ModelError::Missing { input: "energy", hint: "give it, or `fuel`" }),
        (Some(_), Some(_)) => Err(ModelError::Conflict { input: "fuel", reason: "`energy` is given already" }),
    }
}

fn efficiency(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let energy_per_volume = bound.or("energy-per-volume", Efficiency::default().energy_per_volume);
    let found = Efficiency { time: bound.needed("time")?, used: used(bound)?, energy_per_volume }.run()?;
    Ok(vec![found])
}

fn efficiency_co2(bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
    let usual = EfficiencyCo2::default();
    let found = EfficiencyCo2 {
        time: bound.needed("time")?,
        used: used(bound)?,
        laps: bound.or("laps", usual.laps),
        best_time: bound.needed("best-time")?,
        best_time_laps: bound.number("best-time-laps"),
        best_co2: bound.needed("best-co2")?,
        best_co2_laps: bound.number("best-co2-laps"),
        co2_per_volume: bound.or("co2-per-volume", usual.co2_per_volume),
        co2_per_energy: bound.or("co2-per-energy", usual.co2_per_energy),
    }
    .run()?;
    Ok(vec![found.factor, found.co2])
}
