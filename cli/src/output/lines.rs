//! One line per finding, in the format that compilers print and editors parse: `path:line:column: level: message [check]`.

use std::fmt::Write as _;

use super::Paths;
use super::listed::{Listed, unresolved};
use crate::screen::clean;

/// The unresolved findings, in the given order.
pub(crate) fn text(findings: &[Listed<'_>], paths: &Paths) -> String {
    let mut out = String::new();
    for (finding, _) in unresolved(findings) {
        let mut path = clean(&paths.shown(&finding.path));
        // A colon at the beginning of a line is a command to the runner of a CI.
        if path.trim_start().starts_with(':') {
            path.insert_str(0, "./");
        }
        let (line, column) = (finding.spot.line, finding.spot.column);
        let (level, message) = (finding.level.word(), clean(&finding.message));
        let _ = writeln!(out, "{path}:{line}:{column}: {level}: {message} [{}]", finding.check.name);
    }
    out
}
