//! Keys that are missing or exclude each other in a record or the settings, although every key can be read.

use super::problems::{Problem, ProblemKind};
use super::tree::Tree;
use super::{Aim, FileRecords};
use crate::records::Record;
use crate::renamed;
use crate::settings::{Settings, Stage};

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
            wrong == key || limit || renamed
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

/// Reports problems of settings that can be read.
pub(super) fn settings(settings: &Settings, problems: &mut Vec<Problem>) {
    let mut bad = |route: &[&str], message: String, help: &str| {
        let mut problem = Problem::new(ProblemKind::BadValue, None, message, help);
        problem.route = route.iter().map(|s| (*s).to_owned()).collect();
        problems.push(problem);
    };
    if let Some(code) = &settings.currency
        && iso_currency::Currency::from_code(code).is_none()
    {
        let message = format!("`{}` is no currency", crate::words::shorten(code));
        bad(&["currency"], message, "write an ISO 4217 code, as in EUR");
    }
    let mut last: Option<(Stage, crate::words::Day)> = None;
    for stage in Stage::ALL {
        let Some(end) = settings.stages.last_day(stage) else { continue };
        if let Some((earlier, day)) = last
            && end <= day
        {
            let message = format!("the {} stage ends on {end}, not after the {} stage", stage.word(), earlier.word());
            bad(&["stages", stage.word()], message, "stages follow one another: concept, design, build, test, contest");
        }
        last = Some((stage, end));
    }
    for (amount, bases) in settings.growth.iter() {
        for (basis, growth) in bases.iter() {
            let route = ["growth", amount.as_str(), basis.as_str()];
            if !growth.unit().dimension().is_one() {
                bad(&route, format!("the growth `{growth}` is not a ratio"), "write a percentage, as in 10 %");
            } else if growth.si() < 0.0 {
                bad(&route, format!("the growth `{growth}` is negative"), "write the allowance added, 0 % or more");
            }
        }
    }
}
