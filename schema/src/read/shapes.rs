//! Keys that are missing or exclude each other in a record or the settings, although every key can be read.

use super::problems::{Problem, ProblemKind};
use super::tree::Tree;
use super::{Aim, FileRecords};
use crate::records::Record;
use crate::renamed;

/// Reports the shape problems of a record.
///
/// `reported` is the index of the first problem of the record: a key that was omitted because it is wrong is already among
/// these.
pub(super) fn report(record: &Record, tree: &Tree<'_>, reported: usize, out: &mut FileRecords) {
    let kind = record.kind();
    if !kind.roles().may_serve && !record.body.common().serves().is_empty() {
        let message = format!("unknown key `serves`: {} is linked by its other keys", kind.with_article());
        let mut problem = Problem::new(ProblemKind::UnknownKey, None, message, "remove `serves`");
        problem = problem.on_record(kind, record.id.as_str(), &["serves"]);
        problem.spot = Some(tree.locate(problem.route.iter().map(String::as_str), Aim::Key));
        out.problems.push(problem);
    }
    for shape in record.body.shape() {
        let key = shape.route[0];
        let is_reported = out.problems[reported..].iter().filter_map(|problem| problem.route.get(2)).any(|wrong| {
            // A target whose only limit cannot be read still has one.
            let limit = shape.missing && key == "at-most" && matches!(wrong.as_str(), "at-least" | "between");
            let renamed = renamed::new_name(renamed::Use::Key(record.kind()), wrong) == Some(key);
            // So does a result whose outcome or place cannot be read.
            let outcome = shape.missing && key == "value" && matches!(wrong.as_str(), "outcome" | "place" | "reads");
            wrong == key || limit || outcome || renamed
        });
        if is_reported {
            continue;
        }
        let kind = if shape.missing { ProblemKind::MissingKey } else { ProblemKind::BadValue };
        let mut problem = Problem::new(kind, None, shape.message, &shape.help);
        problem = problem.on_record(record.kind(), record.id.as_str(), &shape.route);
        problem.spot = Some(tree.locate(problem.route.iter().map(String::as_str), Aim::Value));
        out.problems.push(problem);
    }
}
