//! Reads a root through `values --format json` and `check --format json`.

use std::collections::HashMap;

use serde_json::Value;

use crate::support::{SETTINGS, Sandbox};

/// A root with records, and the values in `values --format json`.
pub(crate) struct Read {
    pub(crate) sandbox: Sandbox,
    pub(crate) values: HashMap<String, Value>,
}

impl Read {
    #[track_caller]
    pub(crate) fn new(records: &str) -> Self {
        let sandbox = Sandbox::new();
        sandbox.write("tierod.yaml", SETTINGS);
        sandbox.write("records.yaml", records);
        Self::from_sandbox(sandbox)
    }

    /// The values of an existing root.
    #[track_caller]
    pub(crate) fn from_sandbox(sandbox: Sandbox) -> Self {
        let answer = sandbox.tierod(&["values", "--format", "json"]).ended(0).json();
        assert_eq!(answer["version"], 1);
        let all = answer["values"].as_array().unwrap().iter();
        let values: HashMap<String, Value> =
            all.map(|value| (value["id"].as_str().unwrap().to_owned(), value.clone())).collect();
        assert_eq!(values.len(), answer["values"].as_array().unwrap().len(), "each id once");
        Self { sandbox, values }
    }

    /// The entry of a value.
    #[track_caller]
    pub(crate) fn get(&self, id: &str) -> &Value {
        self.values.get(id).unwrap_or_else(|| panic!("no value `{id}`"))
    }

    /// The number of a value, in its own unit.
    #[track_caller]
    pub(crate) fn number(&self, id: &str) -> f64 {
        self.get(id)["value"].as_f64().unwrap_or_else(|| panic!("{} has no number\n{}", self.get(id), self.findings()))
    }

    /// The number of a value in SI.
    #[track_caller]
    pub(crate) fn si(&self, id: &str) -> f64 {
        self.get(id)["si"].as_f64().unwrap_or_else(|| panic!("{} has no number\n{}", self.get(id), self.findings()))
    }

    /// The expanded uncertainty, in the value's unit.
    #[track_caller]
    pub(crate) fn uncertainty(&self, id: &str) -> f64 {
        self.get(id)["uncertainty"].as_f64().unwrap_or_else(|| panic!("{} has no uncertainty", self.get(id)))
    }

    fn findings(&self) -> String {
        let answer = self.sandbox.tierod(&["check", "--format", "json"]);
        let findings = answer.json()["findings"].as_array().unwrap().clone();
        findings.iter().map(|f| format!("{} {} {}: {}\n", f["check"], f["record"], f["field"], f["message"])).collect()
    }

    /// The finding of a check about a record, which must have a place; fails if there is none.
    #[track_caller]
    pub(crate) fn reports(&self, check: &str, record: &str, message: &str, help: &str) -> Value {
        let answer = self.sandbox.tierod(&["check", "--format", "json"]).json();
        let text = |finding: &Value, key: &str| finding[key].as_str().unwrap_or("").to_owned();
        let all = answer["findings"].as_array().unwrap();
        let found = all.iter().find(|finding| {
            finding["check"] == check
                && finding["record"] == record
                && text(finding, "message").contains(message)
                && text(finding, "help").contains(help)
        });
        let found =
            found.unwrap_or_else(|| panic!("{check} does not report `{message}` for {record}:\n{}", self.findings()));
        assert!(found["line"].as_u64() > Some(0) && found["column"].as_u64() > Some(0), "{found}");
        found.clone()
    }

    /// Fails if one of these checks reports a record.
    #[track_caller]
    pub(crate) fn reports_nothing(&self, checks: &[&str], record: &str) {
        let answer = self.sandbox.tierod(&["check", "--format", "json"]).json();
        for finding in answer["findings"].as_array().unwrap() {
            let wrong = checks.iter().any(|check| finding["check"] == *check) && finding["record"] == record;
            assert!(!wrong, "{finding}");
        }
    }
}

#[track_caller]
pub(crate) fn close(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within * expected.abs().max(1e-300), "{found} instead of {expected}");
}
