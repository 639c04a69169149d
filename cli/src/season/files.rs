//! The files that ship with the binary: the example car, and the phases of its season.

/// Each path with the text of the file below a folder of the repository.
macro_rules! texts {
    ($folder:literal: $($path:literal)*) => {
        &[$(($path, include_str!(concat!("../../../", $folder, "/", $path)))),*]
    };
}

/// The text files of `example-car/`.
pub(super) const CAR: &[(&str, &str)] = texts! {
    "example-car":
    "README.md"
    "aero/aero.yaml"
    "analysis/2026-10-14-straight-line.md"
    "analysis/2026-11-10-tyre-fit.csv"
    "analysis/2026-11-24-frame-twist.md"
    "analysis/2026-12-02-skidpad.md"
    "analysis/2026-12-02-straight-line.md"
    "analysis/2026-12-09-lap-model.md"
    "analysis/2026-12-11-engine-simulation.csv"
    "analysis/2026-12-15-flow-study.csv"
    "analysis/2026-12-15-flow-study.md"
    "analysis/2026-12-18-corner-loads.csv"
    "analysis/2026-12-18-corner-loads.md"
    "analysis/2026-12-20-brake-balance.md"
    "analysis/2026-12-21-rack-mount.vtu"
    "analysis/2027-01-05-rack-mount.vtu"
    "analysis/2027-01-09-rack-mount.vtu"
    "analysis/2027-01-12-camber.md"
    "analysis/2027-01-12-roll.md"
    "analysis/2027-01-18-yard-sprint.md"
    "analysis/2027-01-20-steer-geometry.csv"
    "analysis/2027-01-20-steering-effort.md"
    "analysis/2027-01-25-cooling.md"
    "analysis/2027-02-06-stoppages.csv"
    "analysis/2027-02-16-silencer.csv"
    "analysis/2027-03-02-mass-survey.csv"
    "analysis/analyses.yaml"
    "brakes/brakes.yaml"
    "cad/README.md"
    "cad/export.yaml"
    "car/systems.yaml"
    "car/targets.yaml"
    "chassis/chassis.yaml"
    "decisions/decisions.yaml"
    "drivetrain/drivetrain.yaml"
    "electrics/electrics.yaml"
    "powertrain/powertrain.yaml"
    "season/goal-and-events.yaml"
    "season/past-standings.csv"
    "season/power-curve.csv"
    "season/revisions-and-waivers.yaml"
    "season/track-autocross.csv"
    "season/track-endurance.csv"
    "steering/steering.yaml"
    "suspension/suspension.yaml"
    "test/2027-01-20-drop-test.csv"
    "test/2027-01-20-drop-test.md"
    "test/2027-02-10-pad-friction.csv"
    "test/2027-02-11-belt-anchor.csv"
    "test/2027-02-16-throttle-flow.csv"
    "test/2027-02-17-dampers.csv"
    "test/2027-02-18-springs.csv"
    "test/2027-02-24-battery.csv"
    "test/2027-02-24-tyres.csv"
    "test/2027-02-25-control-unit.md"
    "test/2027-02-25-front-upright-proof.csv"
    "test/2027-02-26-radiator-leak.csv"
    "test/2027-02-27-logger.csv"
    "test/2027-02-27-rod-ends.md"
    "test/2027-03-02-weld-hours.csv"
    "test/2027-03-03-moulds.csv"
    "test/2027-03-04-wishbone-leg.csv"
    "test/2027-03-05-wall-thickness.csv"
    "test/2027-03-06-rim-proof.csv"
    "test/2027-03-08-fuel-tank.csv"
    "test/2027-03-09-balance-bar.md"
    "test/2027-03-09-brake-pedal.csv"
    "test/2027-03-09-front-upright-stiffness.csv"
    "test/2027-03-10-drive-shaft.csv"
    "test/2027-03-10-restrictor.md"
    "test/2027-03-11-frame-torsion.csv"
    "test/2027-03-13-helmet-line.md"
    "test/results.yaml"
    "tierod-settings.schema.json"
    "tierod.schema.json"
    "tierod.yaml"
    "wheels/wheels.yaml"
};

/// The files of `example-car/` that are not text.
pub(super) const BINARY: &[(&str, &[u8])] = &[("cad/bom.xlsx", include_bytes!("../../../example-car/cad/bom.xlsx"))];

/// The phases of `templates/season/`, in their order.
pub(super) const PHASES: &[(&str, &str)] = texts! {
    "templates/season":
    "1-concept.yaml"
    "2-design.yaml"
    "3-build.yaml"
    "4-parts-in.yaml"
    "5-proofs.yaml"
    "6-assembly.yaml"
    "7-test.yaml"
    "8-contest.yaml"
};
