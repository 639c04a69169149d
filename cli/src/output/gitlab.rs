//! The other large forge's report of code quality: a JSON list (source: the forge's documentation "Code
//! Quality", "Code Quality report format"; not checked against the source).

use std::collections::HashMap;

use schema::settings::Level;
use serde::Serialize;

use super::listed::{Listed, sentences, unresolved};

#[derive(Serialize)]
struct Entry {
    description: String,
    check_name: &'static str,
    fingerprint: String,
    severity: &'static str,
    location: Location,
}

#[derive(Serialize)]
struct Location {
    path: String,
    lines: Lines,
}

#[derive(Serialize)]
struct Lines {
    begin: u32,
}

/// The unresolved findings. The forge itself compares the reports of two branches, by the fingerprints.
pub(crate) fn text(findings: &[Listed<'_>], prefix: &str) -> String {
    let mut seen: HashMap<String, usize> = HashMap::new();
    let all: Vec<Entry> = unresolved(findings)
        .map(|(finding, _)| {
            let fingerprint = finding.fingerprint();
            // The forge shows only one of several findings with the same fingerprint.
            let times = seen.entry(fingerprint.clone()).and_modify(|times| *times += 1).or_insert(1);
            let fingerprint = if *times == 1 { fingerprint } else { format!("{fingerprint}-{times}") };
            let (message, help) = sentences(finding);
            let subject = finding.record.as_ref().map(|record| format!("{record}: ")).unwrap_or_default();
            Entry {
                description: format!("{}{message} {help}", crate::screen::clean(&subject)).trim_end().to_owned(),
                check_name: finding.check.name,
                fingerprint,
                severity: match finding.level {
                    Level::Error => "major",
                    Level::Warning => "minor",
                    Level::Note | Level::Off => "info",
                },
                location: Location {
                    path: format!("{prefix}{}", finding.path),
                    lines: Lines { begin: finding.spot.line },
                },
            }
        })
        .collect();
    super::json::text(&all)
}

#[cfg(test)]
mod tests {
    use super::super::listed::tests::finding;
    use super::*;

    #[test]
    fn hostile_texts_are_text_and_fingerprints_are_unique() {
        let hostile = finding("no-reason", Level::Warning, "hub", "a\"b\nc.yaml", "why\u{1b}[2J \"},{");
        let text = text(&[(&hostile, None), (&hostile, None), (&hostile, None)], "car/");
        let list: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(list[0]["location"]["path"], "car/a\"b\nc.yaml");
        assert_eq!(list[0]["description"], "hub: why\u{fffd}[2J \"},{. Fix: say in one sentence why.");
        let print = hostile.fingerprint();
        let prints: Vec<&str> = (0..3).map(|n| list[n]["fingerprint"].as_str().unwrap()).collect();
        assert_eq!(prints, [&print, &format!("{print}-2"), &format!("{print}-3")]);
    }
}
