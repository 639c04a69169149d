//! What `explain MODEL` shows: the equations of each model, what they leave out, and how exact they are.
//!
//! The numbers under `accuracy` are checked by `tests/accuracy.rs` and `tests/stress.rs`.

use crate::registry::Explained;

const TYRES: &str = "load-sensitive tyres: mu = grip - 4 k (N - reference-load/4) at the load N of each wheel, k = load-sensitivity; \
     so an axle with the load W, of which d moves to the outer wheel, holds \
     (grip + k reference-load - 2 k W) W - 8 k d^2";
const PITCH: &str = "load that moves to the rear: X = mass a cg-height / wheelbase";
const LAW: &str = "(mass + rotating-mass) a = F - drag - rolling resistance";
const AIR: &str = "load = mass g + air-density lift-area v^2 / 2; drag = air-density drag-area v^2 / 2; \
     rolling resistance = rolling-resistance load";
const DRIVE: &str = "F = the smallest of power / v, the grip of the driven tyres, and (rear-wheel drive) the force that lifts the front wheels";
const LIMIT: &str =
    "power = the smaller of the power or curve and power-limit; linear between rows, constant outside of them";
const FACTOR: &str = "time = measured-factor times modelled time";

pub(crate) const LAP: Explained = Explained {
    equations: &[
        "v = the smallest of three speeds at each point: corner speed, forward pass (drive), backward pass (brakes)",
        LAW,
        AIR,
        DRIVE,
        "tyres while driving: F^2 + (mass v^2 curvature)^2 <= (mu load)^2, with driven-share below 1 for the rear axle alone",
        "tyres while braking: an ellipse of braking-grip and grip for all wheels, with ideal brake balance",
        "corner speed: each axle holds its share of mass v^2 curvature, and the driven tyres also the resistance",
        TYRES,
        PITCH,
        "load that moves to the outer wheels: d = share of the roll moment mass v^2 curvature cg-height / track width, \
         front-roll-share of it in front; the car does not tip over",
        "gears: the lowest one below its redline; a shift costs the speed shift-time F / mass, spread over 5 % of the speed \
         around the redline (less for close ratios)",
        LIMIT,
        "energy = driving energy - regeneration times braking energy; braking power above regeneration-limit gives nothing back",
        FACTOR,
    ],
    omitted: &[
        "the driver, the line (the curvature is that of the path driven), slopes, banking, wind, kerbs",
        "transients: yaw, roll and pitch take no time; tyres have no temperature, wear, camber or slip angle drag",
        "brake balance, differential and torque split: each tyre uses all of its grip",
        "wheels that lift; front-wheel drive; downforce that changes with speed, ride height or curvature",
        "shifts down; shifts before the redline; wheel spin and clutch at the start",
    ],
    accuracy: &[
        "the equations are solved to about 1e-9 for segments of constant curvature, and the result is smooth in all inputs",
        "longest segment: where the curvature is constant, any length is exact. Split a corner with changing curvature into \
         at least 16 segments (about 1 m each), with the curvature in the middle of each: then the time is within 0.2 %, \
         with 8 segments within 0.6 %",
        "noise in the curvature costs time, since the car slows down for each peak: in rows of 1 m, noise of 5 % (standard \
         deviation) adds 0.4 %, 10 % adds 1.2 %, 20 % adds 3 %. With the mean of three rows, 10 % changes it by less than 0.3 %",
        "a real lap is usually some per cent slower: set measured-factor to measured / modelled, with its uncertainty",
    ],
};

pub(crate) const STRAIGHT_LINE: Explained = Explained {
    equations: &[
        LAW,
        AIR,
        DRIVE,
        "grip of the driven tyres: mu times their load, which is the static share plus the load X that moves to the rear",
        TYRES,
        PITCH,
        LIMIT,
        "gears: shift up at the redline, shift-time without force; in the last gear the redline speed is held",
        "the time starts after the staging distance",
        FACTOR,
    ],
    omitted: &[
        "reaction time, wheel spin, clutch slip above the first row of engine-curve, slopes, wind",
        "front-wheel drive; differential and torque split: each tyre uses all of its grip",
        "tyre temperature and wear; downforce that changes with ride height",
    ],
    accuracy: &[
        "the equations are solved to about 1e-9, and the result is smooth in all inputs",
        "the staging distance matters: 0.3 m are worth about 0.27 s",
        "a real run is usually some per cent slower: set measured-factor to measured / modelled, with its uncertainty",
    ],
};

pub(crate) const STEADY_CIRCLE: Explained = Explained {
    equations: &[
        "mass v^2 / radius = mu load; load = mass g + air-density lift-area v^2 / 2",
        "mu = grip - load-sensitivity (load - reference-load)",
        "with track-width, each axle holds its share of mass v^2 / radius, at most \
         (grip + k reference-load - 2 k W) W - 8 k d^2 with its load W, k = load-sensitivity, and \
         d = share of the roll moment mass v^2 / radius cg-height / track width; the car does not tip over",
        FACTOR,
    ],
    omitted: &[
        "drag, rolling resistance and the cornering drag of the tyres (the lap model has the first two)",
        "banking, transients, camber, tyre temperature and wear, wheels that lift",
        "without reference-load, mass does not reduce grip",
    ],
    accuracy: &[
        "exact to about 1e-12, and smooth in all inputs (front and rear axle may limit in turn)",
        "the radius is that of the path of the centre of gravity: in an 18.25 m circle about half of the car's width less",
    ],
};

pub(crate) const EFFICIENCY: Explained = Explained {
    equations: &["factor = time^2 energy", "energy = energy-per-volume fuel, if fuel is set"],
    omitted: &["limits of time and energy beyond which there is no score; the score itself is a score sheet"],
    accuracy: &["exact"],
};

pub(crate) const EFFICIENCY_CO2: Explained = Explained {
    equations: &[
        "factor = (best-time / best-time-laps) / (time / laps) * (best-co2 / best-co2-laps) / (co2 / laps)",
        "co2 = co2-per-volume fuel, or co2-per-energy energy",
    ],
    omitted: &["limits of time and CO2 beyond which there is no score; the score itself is a score sheet"],
    accuracy: &["exact"],
};

pub(crate) const STRESS_FIELD: Explained = Explained {
    equations: &[
        "volume of an element = sum of weight times det(dx/dr) over the points of a quadrature rule that is exact for its curved \
         edges: 3 x 3 x 3 points of Gauss (hexahedra), 5 x 5 x 5 (pyramids), 14 points (tetrahedra), 6 x 3 points (wedges)",
        "with fewer than 1000 elements, these points are in each of eight parts of an element; with more, linear hexahedra and \
         tetrahedra in which the stress varies by at most 5 % of the highest have 8 and 4 points",
        "stress at a point = sum of shape function times value of the node; a field of elements is constant in each element",
        "tensors: von Mises^2 = ((XX - YY)^2 + (YY - ZZ)^2 + (ZZ - XX)^2) / 2 + 3 (XY^2 + YZ^2 + XZ^2). A tensor at nodes is \
         interpolated first, and the von Mises stress is taken at the point: the other order gives too much where a bending \
         stress changes its sign. 6 components: XX YY ZZ, then the three shear stresses; 9 components: row by row",
        "safety = allowable / s, where 99.9 % of the volume has a stress of s or less",
        "peak-safety = allowable / the highest value in the file, at a node or in an element",
        "idle-share = volume with a stress below little times allowable, divided by volume",
        "mass = density times volume; idle-mass = idle-share times mass",
    ],
    omitted: &[
        "everything that the file does not contain: other load cases, fatigue, buckling, stiffness, temperature, welds, notches \
         that the mesh does not have, scatter of loads and material, misuse",
        "whether loads, supports and contacts of the analysis are right: check them first, by hand calculation and test",
        "points, lines and shells, which have no volume: a file with them is refused, and so are polyhedra and elements of \
         higher order (read are the types 10, 12, 13, 14, 24 to 27 and 29 of VTK)",
        "units are never guessed, and one component of a stress is not an equivalent stress: a field with negative values is \
         refused",
        "idle material is not useless material: it may carry another load case, stiffness, assembly or a rule of the contest",
    ],
    accuracy: &[
        "the volume is exact for the elements; straight edges in place of a hole with 32 sides change it by 0.01 %",
        "stresses are sorted into bins of 0.2 %; within a bin they count as evenly spread, so that a constant stress is exact",
        "safety is within 1 % where the mesh has ten elements or more across the highest stress. The peak at a sharp corner or a \
         point load grows without limit as the mesh gets finer; the 99.9 % are less sensitive to it, but not to a coarse mesh",
        "shares of the volume are as fine as the mesh: about a third of the volume of a layer of elements with equal stress",
        "derivatives are exact; that of idle-share is taken over 5 % to both sides, because a mesh has steps",
        "at most 2 million elements, 6 million nodes and 192 MiB per file, 512 MiB for all files of a project",
    ],
};
