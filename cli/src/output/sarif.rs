//! SARIF 2.1.0, the Static Analysis Results Interchange Format. Source: the OASIS standard "Static Analysis Results
//! Interchange Format (SARIF) Version 2.1.0"; the section numbers below are not checked against the source.

use schema::settings::{Level, Stage};
use serde::Serialize;
use serde_json::{Map, Value, json};
use trace::Finding;
use trace::checks::{self, Check};

use super::listed::{Baseline, Listed, sentences};
use super::uri::uri;
use crate::screen::clean;

/// The base of the paths of results.
const BASE: &str = "SRCROOT";

/// The address of the schema of the standard.
const SCHEMA: &str = "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json";

/// A result, written directly to text because there can be a hundred thousand.
#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct ResultEntry {
    rule_id: &'static str,
    rule_index: usize,
    level: &'static str,
    message: Value,
    locations: [Value; 1],
    partial_fingerprints: Value,
    #[serde(skip_serializing_if = "Option::is_none")]
    baseline_state: Option<&'static str>,
    suppressions: Vec<Value>,
    #[serde(skip_serializing_if = "Map::is_empty")]
    properties: Map<String, Value>,
}

/// A log of one run with all findings, including waived ones. The prefix is the path from the top of the repository to
/// the project root.
pub(crate) fn text(findings: &[Listed<'_>], prefix: &str) -> String {
    #[derive(Serialize)]
    struct Log {
        #[serde(rename = "$schema")]
        schema: &'static str,
        version: &'static str,
        runs: [Run; 1],
    }
    #[derive(Serialize)]
    #[serde(rename_all = "camelCase")]
    struct Run {
        tool: Value,
        column_kind: &'static str,
        original_uri_base_ids: Value,
        results: Vec<ResultEntry>,
    }
    let rules: Vec<Value> = checks::all().iter().map(|check| rule(check)).collect();
    let log = Log {
        schema: SCHEMA,
        version: "2.1.0",
        runs: [Run {
            tool: json!({"driver": {
                "name": "tierod",
                "version": env!("CARGO_PKG_VERSION"),
                "semanticVersion": env!("CARGO_PKG_VERSION"),
                "shortDescription": {"text": "Links every part of a race car to the points that it is built to score."},
                "rules": rules,
            }}),
            // Columns count characters, not bytes or UTF-16 code units (3.14.17).
            column_kind: "unicodeCodePoints",
            // No URI, because the folder of the repository on a machine is private (3.14.14).
            original_uri_base_ids: json!({
                BASE: {"description": {"text": "The top folder of the repository; without a repository, the project root."}},
            }),
            results: findings.iter().map(|(finding, baseline)| result(finding, *baseline, prefix)).collect(),
        }],
    };
    super::json::text(&log)
}

/// The level in SARIF; `none` if it is not a problem.
fn level(level: Level) -> &'static str {
    if level == Level::Off { "none" } else { level.word() }
}

/// A check as a rule. A rule has one level, but a check has one per stage: the rule gets the worst of them, and each
/// result its own level.
fn rule(check: &Check) -> Value {
    let worst = check.levels.iter().max().copied().unwrap_or(Level::Off);
    let by_stage: Map<String, Value> = Stage::ALL
        .iter()
        .zip(check.levels)
        .map(|(stage, level)| (stage.word().to_owned(), level.word().into()))
        .collect();
    json!({
        "id": check.name,
        "shortDescription": {"text": message(check.reports)},
        "fullDescription": {"text": message(&format!("{} {}", check.reports, check.why))},
        "help": {"text": message(&format!("{} {}", check.why, check.fix))},
        "defaultConfiguration": {"level": level(worst)},
        "properties": {"group": check.group.word(), "levels": by_stage},
    })
}

fn result(finding: &Finding, baseline: Option<Baseline>, prefix: &str) -> ResultEntry {
    let (what, fix) = sentences(finding);
    let mut location = json!({
        "physicalLocation": {
            "artifactLocation": {"uri": uri(&format!("{prefix}{}", finding.path)), "uriBaseId": BASE},
            "region": {"startLine": finding.spot.line, "startColumn": finding.spot.column},
        },
    });
    if let Some(record) = &finding.record {
        let mut logical = json!({"name": clean(record), "fullyQualifiedName": clean(record)});
        if let Some(kind) = finding.kind {
            logical["kind"] = kind.singular().into();
        }
        location["logicalLocations"] = json!([logical]);
    }
    // A waived finding names its waiver; the others have an empty list, because all results must have the key if one of
    // them has it (3.27.23).
    let suppressions = match &finding.waiver {
        Some(waiver) => vec![json!({
            "kind": "external",
            "status": "accepted",
            "justification": format!("waiver `{}`", clean(waiver)),
        })],
        None => Vec::new(),
    };
    let mut properties = Map::new();
    if let Some(field) = &finding.field {
        properties.insert("field".to_owned(), clean(field).into());
    }
    if !finding.chain.is_empty() {
        properties.insert("wayUp".to_owned(), finding.chain.iter().map(|id| &**id).collect::<Vec<&str>>().into());
    }
    ResultEntry {
        rule_id: finding.check.name,
        rule_index: checks::all().iter().position(|check| check.name == finding.check.name).unwrap_or_default(),
        level: level(finding.level),
        message: json!({"text": message(format!("{what} {fix}").trim_end())}),
        locations: [location],
        partial_fingerprints: json!({"tierodFinding/v1": finding.fingerprint()}),
        baseline_state: baseline.map(|baseline| match baseline {
            Baseline::New => "new",
            Baseline::Unchanged => "unchanged",
            Baseline::Absent => "absent",
        }),
        suppressions,
        properties,
    }
}

/// A text as a message string, in which `{0}` would be an argument (3.11.5) and `[text](target)` a link (3.11.6).
/// The standard asks for every brace to be doubled, but readers show both, so that YAML in a message would be wrong.
/// Braces are doubled only in a text that contains something like an argument.
fn message(text: &str) -> String {
    let argument = text.match_indices('{').any(|(at, _)| text[at + 1..].starts_with(|c: char| c.is_ascii_digit()));
    let text = if argument { text.replace('{', "{{").replace('}', "}}") } else { text.to_owned() };
    if !text.contains("](") {
        return text;
    }
    // A backslash of the text must not take the one before the bracket.
    ['\\', '[', ']'].into_iter().fold(text, |text, sign| text.replace(sign, &format!("\\{sign}")))
}

#[cfg(test)]
mod tests {
    use super::super::listed::tests::finding;
    use super::*;

    fn schema() -> jsonschema::Validator {
        // The OASIS schema of the standard; tests/sarif/NOTICE has its source and terms. The pattern of language
        // names, which are not used here, has one bracket too many for a strict reader of ECMA 262.
        let schema = include_str!("../../../tests/sarif/sarif-schema-2.1.0.json").replace("{2}]?$", "{2}$");
        let schema: Value = serde_json::from_str(&schema).unwrap();
        jsonschema::options().should_validate_formats(true).build(&schema).unwrap()
    }

    fn log(findings: &[Listed<'_>], prefix: &str) -> Value {
        serde_json::from_str(&text(findings, prefix)).unwrap()
    }

    /// RFC 3986, section 2.1 to 2.3 and 4.2.
    #[test]
    fn paths_are_percent_encoded() {
        assert_eq!(uri("car/aero/front wing.yaml"), "car/aero/front%20wing.yaml");
        assert_eq!(uri("c:d/50%?#ü.yaml"), "c%3Ad/50%25%3F%23%C3%BC.yaml");
        assert_eq!(uri("A-z_0.~"), "A-z_0.~");
    }

    #[test]
    fn arguments_and_links_in_a_message_are_text() {
        assert_eq!(message("add `verify: {by: test}` [x]"), "add `verify: {by: test}` [x]");
        assert_eq!(message("{a: b} {0}"), "{{a: b}} {{0}}");
        assert_eq!(message("[x](http://y)"), "\\[x\\](http://y)");
        assert_eq!(message(r"\[x\](http://y)"), r"\\\[x\\\](http://y)");
    }

    #[test]
    fn hostile_texts_and_every_state_fit_the_schema() {
        let hostile = finding("no-reason", Level::Error, "hub\u{1b}", "a b:\u{1}\"ü.yaml", "{0} [a](b)\n\u{202e}");
        let waived = Finding { waiver: Some("late".to_owned()), level: Level::Note, ..hostile.clone() };
        let bare = Finding { record: None, kind: None, field: None, level: Level::Warning, ..hostile.clone() };
        let log = log(
            &[(&hostile, Some(Baseline::New)), (&waived, Some(Baseline::Unchanged)), (&bare, Some(Baseline::Absent))],
            "car 1/",
        );
        let errors: Vec<String> =
            schema().iter_errors(&log).map(|error| format!("{}: {error}", error.instance_path())).collect();
        assert_eq!(errors, Vec::<String>::new());
        let results = &log["runs"][0]["results"];
        let states: Vec<&Value> = (0..3).map(|n| &results[n]["baselineState"]).collect();
        assert_eq!(states, ["new", "unchanged", "absent"]);
        let at = &results[0]["locations"][0];
        assert_eq!(at["physicalLocation"]["artifactLocation"]["uri"], "car%201/a%20b%3A%01%22%C3%BC.yaml");
        assert_eq!(at["logicalLocations"][0]["kind"], "part");
        assert_eq!(results[0]["message"]["text"], "{{0}} \\[a\\](b) \u{fffd}. Fix: say in one sentence why.");
        assert_eq!(results[0]["suppressions"], json!([]));
        assert_eq!(results[1]["suppressions"][0]["justification"], "waiver `late`");
    }

    /// The schema rejects broken logs.
    #[test]
    fn the_schema_rejects_what_is_broken() {
        let finding = finding("no-reason", Level::Error, "hub", "a.yaml", "x");
        let good = log(&[(&finding, None)], "");
        let schema = schema();
        assert!(schema.is_valid(&good));
        let breaks: [(&str, Value); 8] = [
            ("/version", json!("2.0.0")),
            ("/runs/0/columnKind", json!("bytes")),
            ("/runs/0/tool/driver/name", json!(7)),
            ("/runs/0/results/0/level", json!("off")),
            ("/runs/0/results/0/message", json!({})),
            ("/runs/0/results/0/locations/0/physicalLocation/region/startColumn", json!(0)),
            ("/runs/0/results/0/locations/0/physicalLocation/artifactLocation/uri", json!("a b%.yaml")),
            ("/runs/0/results/0/suppressions", json!([{"kind": "waiver"}])),
        ];
        for (at, value) in breaks {
            let mut broken = good.clone();
            *broken.pointer_mut(at).unwrap() = value;
            assert!(!schema.is_valid(&broken), "{at}");
        }
    }

    #[test]
    fn every_check_is_a_rule_and_results_point_at_it() {
        let finding = finding("wrong-tier", Level::Error, "hub", "a.yaml", "x");
        let log = log(&[(&finding, None)], "");
        let rules = log["runs"][0]["tool"]["driver"]["rules"].as_array().unwrap();
        assert_eq!(rules.len(), checks::all().len());
        let index = log["runs"][0]["results"][0]["ruleIndex"].as_u64().unwrap();
        assert_eq!(rules[usize::try_from(index).unwrap()]["id"], "wrong-tier");
        assert!(log["runs"][0]["results"][0].get("baselineState").is_none());
    }
}
