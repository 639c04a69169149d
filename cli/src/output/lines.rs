//! One line a finding, as compilers print and editors parse: `path:line:column: level: message [check]`.

use std::fmt::Write as _;

use super::Paths;
use super::listed::{Listed, standing};
use crate::screen::clean;

/// The findings that stand, in the order given.
pub(crate) fn text(findings: &[Listed<'_>], paths: &Paths) -> String {
    let mut out = String::new();
    for (finding, _) in standing(findings) {
        let path = clean(&paths.shown(&finding.path));
        let (line, column) = (finding.spot.line, finding.spot.column);
        let (level, message) = (finding.level.word(), clean(&finding.message));
        let _ = writeln!(out, "{path}:{line}:{column}: {level}: {message} [{}]", finding.check.name);
    }
    out
}
