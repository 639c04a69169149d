//! The models as data: names, inputs with units and defaults, outputs, sources.

use crate::binding;
use crate::equations::{EFFICIENCY, EFFICIENCY_CO2, LAP, STEADY_CIRCLE, STRAIGHT_LINE, STRESS_FIELD};
use crate::registry::{Column, Input, Kind, Model, Output};

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
        explained: EFFICIENCY,
        run: binding::efficiency,
        slopes: None,
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
        explained: EFFICIENCY_CO2,
        run: binding::efficiency_co2,
        slopes: None,
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
            ENGINE_CURVE,
            POWER_LIMIT,
            GRIP,
            number("braking-grip", "1", None, "longitudinal friction coefficient under braking; the default is `grip`"),
            DRAG_AREA,
            LIFT_AREA,
            ROLLING_RESISTANCE,
            ROTATING_MASS,
            DRIVEN_SHARE,
            CG_HEIGHT,
            WHEELBASE,
            LOAD_SENSITIVITY,
            REFERENCE_LOAD,
            TRACK_WIDTH,
            REAR_TRACK_WIDTH,
            FRONT_ROLL_SHARE,
            GEARS,
            FINAL_DRIVE,
            WHEEL_RADIUS,
            REDLINE,
            SHIFT_TIME,
            number(
                "regeneration",
                "1",
                Some(0.0),
                "share of the braking energy that is given back, including all losses; it reduces `energy`",
            ),
            number("regeneration-limit", "W", None, "highest braking power at the wheels that is given back"),
            MEASURED_FACTOR,
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
            Output { name: "energy", unit: "J", meaning: "energy at the driven wheels, minus the energy given back" },
            Output { name: "speed", unit: "m/s", meaning: "speed at the end" },
            Output { name: "recovered", unit: "J", meaning: "energy given back under braking" },
        ],
        explained: LAP,
        run: binding::lap,
        slopes: None,
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
            number("cg-height", "m", Some(0.0), "height of the centre of gravity; needs `track-width`"),
            TRACK_WIDTH,
            REAR_TRACK_WIDTH,
            number(
                "rear-weight-share",
                "1",
                Some(0.5),
                "share of the weight on the rear axle; used with `track-width`",
            ),
            FRONT_ROLL_SHARE,
            MEASURED_FACTOR,
            AIR_DENSITY,
        ],
        outputs: &[
            Output { name: "time", unit: "s", meaning: "time of one circle" },
            Output { name: "lateral-acceleration", unit: "m/s^2", meaning: "lateral acceleration" },
            Output { name: "speed", unit: "m/s", meaning: "speed" },
        ],
        explained: STEADY_CIRCLE,
        run: binding::steady_circle,
        slopes: None,
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
            ENGINE_CURVE,
            POWER_LIMIT,
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
            LOAD_SENSITIVITY,
            REFERENCE_LOAD,
            GEARS,
            FINAL_DRIVE,
            WHEEL_RADIUS,
            REDLINE,
            SHIFT_TIME,
            MEASURED_FACTOR,
            AIR_DENSITY,
        ],
        outputs: &[
            Output { name: "time", unit: "s", meaning: "measured time" },
            Output { name: "speed", unit: "m/s", meaning: "speed at the finish" },
            Output { name: "energy", unit: "J", meaning: "energy at the driven wheels, from the standstill" },
        ],
        explained: STRAIGHT_LINE,
        run: binding::straight_line,
        slopes: None,
    },
    Model {
        name: "stress-field",
        summary: "How the volume of a part is stressed, from a file of a stress analysis: its distance from an allowable \
                  stress, and how much of it is nearly unstressed.",
        source: "volume and stress of finite elements by quadrature; see O. C. Zienkiewicz and R. L. Taylor, The Finite Element \
                 Method",
        inputs: &[
            Input {
                name: "file",
                kind: Kind::StressFile,
                unit: "",
                default: None,
                required: true,
                meaning: "the results: VTU (`.vtu`), legacy VTK (`.vtk`), or a table (`.csv`) with a row for each integration \
                          point and the columns `volume` and stress",
            },
            Input {
                name: "stress",
                kind: Kind::Text,
                unit: "",
                default: None,
                required: true,
                meaning: "the name of the field or column: an equivalent stress, or a tensor with 6 or 9 components",
            },
            Input {
                name: "stress-unit",
                kind: Kind::Unit,
                unit: "Pa",
                default: None,
                required: true,
                meaning: "the unit of the stress in the file, such as `MPa`",
            },
            Input {
                name: "length-unit",
                kind: Kind::Unit,
                unit: "m",
                default: None,
                required: true,
                meaning: "the unit of the coordinates in the file, such as `mm`; volumes of a table are in its cube",
            },
            required("allowable", "Pa", "the allowable stress of the material, with its source in `notes`"),
            number("little", "1", Some(0.2), "the share of the allowable stress below which a volume counts as idle"),
            number("density", "kg/m^3", None, "density of the material; required for `mass` and `idle-mass`"),
        ],
        outputs: &[
            Output {
                name: "safety",
                unit: "1",
                meaning: "the allowable stress divided by the stress that 99.9 % of the volume does not exceed; \
                          it is a number of this file only, and never means that a part is safe",
            },
            Output {
                name: "peak-safety",
                unit: "1",
                meaning: "the allowable stress divided by the highest stress of the file",
            },
            Output {
                name: "idle-share",
                unit: "1",
                meaning: "share of the volume with a stress below `little` of the allowable stress",
            },
            Output { name: "volume", unit: "m^3", meaning: "volume of all elements" },
            Output { name: "mass", unit: "kg", meaning: "volume times `density`" },
            Output { name: "idle-mass", unit: "kg", meaning: "idle share of the mass" },
        ],
        explained: STRESS_FIELD,
        run: binding::stress_field,
        slopes: Some(binding::stress_field_slopes),
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
const CG_HEIGHT: Input = number(
    "cg-height",
    "m",
    Some(0.0),
    "height of the centre of gravity; used if `driven-share` is below 1, or with `load-sensitivity`",
);
const WHEELBASE: Input =
    number("wheelbase", "m", None, "distance between the axles; required with `cg-height` if it is used");
const LOAD_SENSITIVITY: Input = number(
    "load-sensitivity",
    "1/N",
    Some(0.0),
    "decrease of the friction coefficient per load of the whole car: a quarter of the value of one tyre",
);
const REFERENCE_LOAD: Input = number(
    "reference-load",
    "N",
    None,
    "load of the whole car at which `grip` is valid, four times that of one tyre; required with `load-sensitivity`",
);
const TRACK_WIDTH: Input = number(
    "track-width",
    "m",
    None,
    "distance between the left and right wheels; with `load-sensitivity` and `cg-height`, the load on the outer wheels reduces grip",
);
const REAR_TRACK_WIDTH: Input =
    number("rear-track-width", "m", None, "the same for the rear wheels; the default is `track-width`");
const FRONT_ROLL_SHARE: Input = number(
    "front-roll-share",
    "1",
    None,
    "share of the roll moment that the front axle takes; the default is its share of the weight",
);
const ENGINE_CURVE: Input = table(
    "engine-curve",
    [("shaft-speed", "rad/s"), ("power", "W")],
    false,
    "power at the wheels over shaft speed, needs `gears`; or set `power` or `power-curve`",
);
const POWER_LIMIT: Input = number("power-limit", "W", None, "highest power at the wheels, for example by the rules");
const GEARS: Input = Input {
    name: "gears",
    kind: Kind::List,
    unit: "1",
    default: None,
    required: false,
    meaning: "gear ratios from the first gear up, decreasing; without it there are no shifts",
};
const FINAL_DRIVE: Input = number("final-drive", "1", None, "ratio between gearbox and wheels; the default is 1");
const WHEEL_RADIUS: Input =
    number("wheel-radius", "m", None, "rolling radius of the driven wheels; required with `gears`");
const REDLINE: Input = number(
    "redline",
    "rad/s",
    None,
    "shaft speed at which the car shifts up; the default is the end of `engine-curve`",
);
const SHIFT_TIME: Input = number("shift-time", "s", Some(0.0), "time without driving force at each shift");
const MEASURED_FACTOR: Input =
    number("measured-factor", "1", Some(1.0), "measured time divided by modelled time; it multiplies `time` only");
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
