//! `idle-material`: a part of which much is stressed little.

use schema::number;

use super::{About, Check, Group, Note, Reporter, Study};
use crate::measure::Measure;
use crate::stress::{CAUTION, has_stress, of_analysis};

pub(super) static CHECK: Check = Check {
    name: "idle-material",
    group: Group::Values,
    about: About::Car,
    levels: [Note; 5],
    reports: "An analysis with a stress file, not superseded, in which half of the volume or more is stressed below `little` \
              (20 %) of the allowable stress. Not reported if the safety is less than a target demands.",
    why: "Material that carries little costs mass and points. It can also have another purpose that the file does not show: \
          another load case, stiffness, assembly, a rule.",
    fix: "Look at the distribution with `tierod why PART`. This finding does not mean that material may be taken away, and a \
          value of `safety` does not mean that a part is safe. Check load cases and calculation methods first; contest rules \
          and local regulations take precedence; a qualified person decides. Say in `notes` what the material is for.",
    bad_example: "\
analyses:     # idle.csv has 80 % of its volume at 10 MPa
  hub-stress: {model: stress-field, informs: [hub], given: {file: idle.csv, stress: von Mises, stress-unit: MPa, length-unit: mm, allowable: 200 MPa}}",
    good_example: "\
analyses:     # idle.csv has 80 % of its volume at 10 MPa
  hub-stress: {model: stress-field, informs: [hub], given: {file: idle.csv, stress: von Mises, stress-unit: MPa, length-unit: mm, allowable: 40 MPa}}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let superseded = study.graph.superseded();
    for (index, record, analysis) in study.loaded.analyses() {
        if !has_stress(analysis) || superseded.contains(record.id.as_str()) {
            continue;
        }
        let found = of_analysis(study, index, analysis);
        let Some(Ok(numbers)) = found.current().filter(|_| found.is_idle).map(|own| &own.numbers) else { continue };
        let mass = numbers.idle_mass.map(|mass| format!(" ({} kg)", number::significant(mass, 3))).unwrap_or_default();
        let message = format!(
            "{}: {} of the volume{mass} is stressed below {} of the allowable stress",
            record.name(),
            number::percent(numbers.idle_share, 0),
            number::percent(numbers.little, 0),
        );
        reporter.report(index, &["given", "file"], message, CAUTION);
        reporter.measured(Measure::percent(numbers.idle_share));
    }
}
