//! Workflow commands of the large forge's CI, which shows them as annotations next to the lines of a change.
//!
//! Source of the format and of its escapes: the forge's documentation "Workflow commands" and the functions
//! `escapeData` and `escapeProperty` of its toolkit (not checked against the source). `;` is escaped in the older `##[...]` form only;
//! in this form it would be shown as `%3B`.

use std::fmt::Write as _;

use schema::settings::Level;
use trace::Finding;
use trace::finding::LEVELS;

use super::listed::{Listed, sentences, unresolved};
use crate::screen::{clean, count};

/// The number of annotations per level and step that the forge shows; it drops the others silently (not checked
/// against the source).
const MOST: usize = 10;

/// Annotations, the worst level first and new ones first in it, then a plain line with the number of the others.
pub(crate) fn text(findings: &[Listed<'_>], prefix: &str) -> String {
    let mut out = String::new();
    let mut left = Vec::new();
    for level in LEVELS {
        let mut all: Vec<(&Finding, bool)> =
            unresolved(findings).filter(|(finding, _)| finding.level == level).collect();
        // Sorting is stable, so the order is kept otherwise.
        all.sort_by_key(|(_, new)| !new);
        for (finding, _) in all.iter().take(MOST) {
            annotation(&mut out, finding, prefix);
        }
        if all.len() > MOST {
            left.push(count(all.len() - MOST, level.word()));
        }
    }
    if !left.is_empty() {
        let _ = writeln!(
            out,
            "not shown as annotations (at most {MOST} per level and step): {}; the job summary and `tierod check` list all",
            left.join(", ")
        );
    }
    out
}

fn annotation(out: &mut String, finding: &Finding, prefix: &str) {
    let command = match finding.level {
        Level::Error => "error",
        Level::Warning => "warning",
        Level::Note | Level::Off => "notice",
    };
    let title = match &finding.record {
        Some(record) => format!("{}: {record}", finding.check.name),
        None => finding.check.name.to_owned(),
    };
    let (message, help) = sentences(finding);
    let _ = writeln!(
        out,
        "::{command} file={},line={},col={},title={}::{}",
        property(&clean(&format!("{prefix}{}", finding.path))),
        finding.spot.line,
        finding.spot.column,
        property(&clean(&title)),
        data(format!("{message}\n{help}").trim_end()),
    );
}

/// A text as the message of a command.
fn data(text: &str) -> String {
    text.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

/// A text as the value of a property of a command.
fn property(text: &str) -> String {
    data(text).replace(':', "%3A").replace(',', "%2C")
}

#[cfg(test)]
mod tests {
    use super::super::listed::Baseline;
    use super::super::listed::tests::finding;
    use super::*;

    /// Neither a path nor a title nor a message ends the command, begins another or sets a property.
    #[test]
    fn hostile_texts_stay_in_their_place() {
        let path = "a,line=1::x\n::error::y%0A.yaml";
        let hostile =
            finding("no-reason", Level::Error, "hub,col=9::z", path, "why\r\n::stop-commands::x 50%0A off\u{1b}[2J");
        assert_eq!(
            text(&[(&hostile, None)], "car 1/"),
            "::error file=car 1/a%2Cline=1%3A%3Ax %3A%3Aerror%3A%3Ay%250A.yaml,line=7,col=3,\
             title=no-reason%3A hub%2Ccol=9%3A%3Az::why\u{fffd} ::stop-commands::x 50%250A off\u{fffd}[2J.%0AFix: say in one sentence why.\n"
        );
    }

    #[test]
    fn ten_a_level_new_ones_first_and_the_rest_is_counted() {
        let all: Vec<Finding> = (0..14)
            .flat_map(|n| {
                let at = |level| finding("no-reason", level, &format!("{}-{n}", Level::word(level)), "a.yaml", "x");
                [at(Level::Note), at(Level::Error)]
            })
            .collect();
        let late = finding("no-reason", Level::Error, "late", "a.yaml", "x");
        let mut listed: Vec<Listed<'_>> = all.iter().map(|one| (one, Some(Baseline::Unchanged))).collect();
        listed.push((&late, Some(Baseline::New)));
        let text = text(&listed, "");
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 21);
        assert!(lines[0].contains("title=no-reason%3A late::"), "{}", lines[0]);
        assert!(lines[..10].iter().all(|line| line.starts_with("::error ")));
        assert!(lines[10..20].iter().all(|line| line.starts_with("::notice ")));
        assert!(lines[20].contains(": 5 errors, 4 notes; the job summary"), "{}", lines[20]);
    }
}
