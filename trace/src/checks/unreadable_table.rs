//! `unreadable-table`: a CSV table or a stress file that a record names and that cannot be read.

use super::{ALWAYS_ERROR, About, Check, Group};
use crate::values::ValueProblemKind;

pub(super) static CHECK: Check = Check {
    name: "unreadable-table",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A CSV table that a record names (past standings, a track, a power curve, the evidence that a number is read from) \
            and that cannot be read: a missing column, a cell that is not a number, another separator or encoding, a file that \
            is too large, past standings that give no forecast, or evidence that is missing or has no row for `where`. Also a \
            stress file (VTU, legacy VTK, CSV) that is damaged, a pointer to a large file, without the named field, with \
            elements that are not read or inside out, or with numbers that are not finite.",
    why: "What is calculated from the table has no value, so that checks that need it report nothing.",
    fix: "Correct the line that the message names. A table is CSV in UTF-8: column names in the first line, commas between \
            columns, points in decimal numbers, numbers without units. Lines that begin with `#` are ignored. The limit is 8 MiB; of a stress file, \
          192 MiB (`tierod explain stress-field`).",
    bad_example: "\
analyses:     # track.csv begins with `length;curvature`
  lap-run: {model: lap, informs: [hub], given: {track: track.csv, mass: 250 kg, power: 40 kW, grip: 1.4}}",
    good_example: "\
analyses:     # lap.csv begins with `length,curvature`
  lap-run: {model: lap, informs: [hub], given: {track: lap.csv, mass: 250 kg, power: 40 kW, grip: 1.4}}",
    run: |study, reporter| reporter.report_value_problems(ValueProblemKind::Table, study),
};
