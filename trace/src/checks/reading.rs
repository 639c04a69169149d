//! What the checks of reading share: each tells one kind of problem that the reader found.

use schema::read::ProblemKind;

use super::{Draft, Inputs, Told};

pub(super) fn tell(kind: ProblemKind, inputs: &Inputs<'_, '_>, told: &mut Told) {
    for found in inputs.graph.loaded.problems.iter().filter(|found| found.problem.kind == kind) {
        let problem = &found.problem;
        told.drafts.push(Draft {
            check: told.check,
            record: None,
            named: problem.record.clone(),
            file: Some(found.file),
            route: problem.route.clone(),
            at_key: false,
            offset: None,
            spot: problem.spot,
            message: problem.message.clone(),
            help: problem.help.clone(),
        });
    }
}
