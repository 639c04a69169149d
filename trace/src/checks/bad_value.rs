//! `bad-value`: a value of the wrong type or form.

use schema::read::ProblemKind;

use super::{ALWAYS_ERROR, About, Check, Group, shared};
use crate::values::SetProblemKind;

pub(super) static CHECK: Check = Check {
    name: "bad-value",
    group: Group::Reading,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A value of the wrong type or form: a quantity without a known unit, an invalid date, an id that is not \
              kebab-case.",
    why: "A value that cannot be read is missing from every budget and prediction.",
    fix: "Use the form given with the finding. A quantity is a number, a space and a unit; its expanded uncertainty \
          follows after `±`: `0.62 kg ± 0.02 kg`.",
    bad_example: "\
targets:
  car-mass: {of: car, at-most: 205 kgs}",
    good_example: "\
targets:
  car-mass: {of: car, at-most: 205 kg}",
    run: |study, reporter| {
        reporter.report_read_problems(ProblemKind::BadValue, study);
        reporter.report_value_problems(crate::values::ValueProblemKind::Bad, study);
        for (index, route, problem) in shared::set_problems(study, SetProblemKind::Bad) {
            reporter.report(index, &route, problem.message, problem.help);
        }
    },
};
