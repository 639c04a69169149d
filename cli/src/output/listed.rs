//! What the formats share that list only findings.

use trace::Finding;

use crate::screen::clean;

/// A finding and, if two revisions are compared, its state since the base.
pub(crate) type Listed<'f> = (&'f Finding, Option<Baseline>);

/// The state of a finding since the base.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Baseline {
    /// Only the head has it.
    New,
    /// Both have it.
    Unchanged,
    /// Only the base has it: it is fixed.
    Absent,
}

/// The unresolved findings, neither fixed since the base nor accepted by a waiver, and whether each one is new.
pub(crate) fn unresolved<'l, 'f>(findings: &'l [Listed<'f>]) -> impl Iterator<Item = (&'f Finding, bool)> + 'l {
    let is_unresolved =
        |(finding, baseline): &&Listed<'f>| *baseline != Some(Baseline::Absent) && finding.waiver.is_none();
    findings.iter().filter(is_unresolved).map(|(finding, baseline)| (*finding, *baseline == Some(Baseline::New)))
}

/// The message and the fix of a finding, as two sentences without control characters.
pub(crate) fn sentences(finding: &Finding) -> (String, String) {
    let ended = |text: &str| {
        let text = clean(text.trim());
        if text.is_empty() || text.ends_with(['.', '?', '!']) { text } else { text + "." }
    };
    let help = ended(&finding.help);
    (ended(&finding.message), if help.is_empty() { help } else { format!("Fix: {help}") })
}

/// A finding for the tests of the formats.
#[cfg(test)]
pub(crate) mod tests {
    use schema::settings::Level;

    use super::*;

    /// A finding of a check at a level, on a record of a file.
    pub(crate) fn finding(check: &str, level: Level, record: &str, path: &str, message: &str) -> Finding {
        Finding {
            check: trace::checks::find(check).unwrap(),
            level,
            record: Some(record.to_owned()),
            kind: Some(schema::records::Kind::Part),
            field: Some(format!("serves.{record}")),
            path: path.to_owned(),
            spot: schema::read::Spot { line: 7, column: 3 },
            message: message.to_owned(),
            help: "say in one sentence why".to_owned(),
            chain: Default::default(),
            waiver: None,
            measure: None,
            unresolved: None,
        }
    }

    #[test]
    fn fixed_and_waived_findings_are_not_unresolved() {
        let plain = finding("no-reason", Level::Error, "hub", "a.yaml", "x");
        let waived = Finding { waiver: Some("w".to_owned()), ..plain.clone() };
        let all = [
            (&plain, None),
            (&plain, Some(Baseline::New)),
            (&plain, Some(Baseline::Unchanged)),
            (&plain, Some(Baseline::Absent)),
            (&waived, Some(Baseline::New)),
        ];
        assert_eq!(unresolved(&all).map(|(_, new)| new).collect::<Vec<_>>(), [false, true, false]);
    }

    #[test]
    fn sentences_end_once() {
        let mut finding = finding("no-reason", Level::Error, "hub", "a.yaml", "there is no record\n`x`");
        finding.help = "did you mean `y`?".to_owned();
        let expected = ("there is no record `x`.".to_owned(), "Fix: did you mean `y`?".to_owned());
        assert_eq!(sentences(&finding), expected);
    }
}
