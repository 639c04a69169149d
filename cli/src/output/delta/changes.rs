//! What a change does to findings and rules, beside new and fixed findings: for `delta` and for `check --staged`.

use std::fmt::Write as _;

use schema::settings::{Level, StoppedBy};
use serde_json::{Value, json};
use trace::delta::{MeasureChange, Postponed, RuleChange};
use trace::{Delta, Finding, Study};

use super::super::json::{findings, measure};
use super::super::table::{Paint, Table, plain, strong};
use crate::output::{Paths, terminal};
use crate::screen::{Ink, clean, count};

/// A comparison of findings and rules.
pub(crate) struct FindingChanges<'t> {
    pub(crate) delta: &'t Delta,
    pub(crate) head: &'t Study,
}

impl FindingChanges<'_> {
    /// The keys of the JSON answer. `by`: the errors that stop the change.
    pub(crate) fn json(&self, by: StoppedBy) -> Value {
        let (delta, loaded) = (self.delta, &self.head.loaded);
        let measured = |changes: &[MeasureChange]| -> Value {
            let all = changes.iter().map(|change| {
                let mut finding = findings(std::slice::from_ref(&change.finding), loaded)[0].take();
                finding["before"] = measure(&change.before);
                finding
            });
            all.collect()
        };
        let rules: Value = delta
            .settings
            .iter()
            .map(|rule| json!({"key": rule.key, "before": rule.before, "after": rule.after, "hidden": rule.hidden}))
            .collect();
        let postponed: Value = delta
            .postponed
            .iter()
            .map(|own| json!({"id": self.id(own), "before": own.before.to_string(), "after": own.after.map(|day| day.to_string())}))
            .collect();
        json!({
            "stops": delta.stopping(by).map(Finding::fingerprint).collect::<Vec<_>>(),
            "uncovered": findings(&delta.uncovered, loaded),
            "worse": measured(&delta.worse),
            "better": measured(&delta.better),
            "postponed": postponed,
            "settings": rules,
        })
    }

    /// The records that seem to have a new id without `formerly`, if findings about them are not new because of it.
    fn likely_renames(&self, out: &mut String, ink: Ink) {
        for likely in &self.delta.likely_renames {
            let id = &self.head.loaded.record(likely.to).id;
            let text =
                format!("{id} seems to have a new id: if so, add `{}` to it, which keeps its history", likely.line);
            ink.block(out, "", 0, &text);
            out.push('\n');
        }
    }

    /// All sections for the terminal, each with its heading.
    pub(crate) fn terminal(&self, ink: Ink) -> String {
        let mut out = String::new();
        self.rules(&mut out, ink);
        self.likely_renames(&mut out, ink);
        self.postponed(&mut out, ink);
        self.better(&mut out, ink);
        self.uncovered(&mut out, ink);
        self.worse(&mut out, ink);
        out
    }

    /// The changed rules.
    pub(super) fn rules(&self, out: &mut String, ink: Ink) {
        if self.delta.settings.is_empty() {
            return;
        }
        heading(out, ink, "changed rules", self.delta.settings.len());
        let mut table = Table::new(&[("  rule", false), ("before", false), ("after", false), ("", false)]);
        for rule in &self.delta.settings {
            let [before, after] = rule_texts(rule);
            let hidden = (rule.hidden > 0).then(|| (hidden_text(rule.hidden), Paint::Level(Level::Warning)));
            table.row(vec![
                strong(format!("  {}", rule.key)),
                plain(before),
                plain(after),
                hidden.unwrap_or_else(|| plain(String::new())),
            ]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }

    /// The verifications that are due later.
    pub(super) fn postponed(&self, out: &mut String, ink: Ink) {
        if self.delta.postponed.is_empty() {
            return;
        }
        heading(out, ink, "postponed verifications", self.delta.postponed.len());
        let mut table = Table::new(&[("  record", false), ("due before", false), ("due now", false)]);
        for own in &self.delta.postponed {
            let after = own.after.map_or_else(|| "no due date".to_owned(), |day| day.to_string());
            table.row(vec![strong(format!("  {}", self.id(own))), plain(own.before.to_string()), plain(after)]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }

    /// The findings that could not be seen in the base.
    pub(super) fn uncovered(&self, out: &mut String, ink: Ink) {
        let all = &self.delta.uncovered;
        if all.is_empty() {
            return;
        }
        heading(out, ink, "uncovered findings", all.len());
        ink.block(out, "", 0, "not new: they could not be seen before, because a file or record was unreadable");
        let paths = Paths::new(&self.head.loaded);
        for finding in all {
            terminal::finding(out, finding, &paths, ink);
        }
        out.push('\n');
    }

    /// The findings that are worse than before.
    pub(crate) fn worse(&self, out: &mut String, ink: Ink) {
        measures(out, ink, "worse findings", &self.delta.worse);
    }

    /// The findings that are better than before.
    pub(crate) fn better(&self, out: &mut String, ink: Ink) {
        measures(out, ink, "better findings", &self.delta.better);
    }

    fn id(&self, postponed: &Postponed) -> &str {
        self.head.loaded.record(postponed.head).id.as_str()
    }
}

/// A rule before and after as text.
pub(super) fn rule_texts(rule: &RuleChange) -> [String; 2] {
    [&rule.before, &rule.after].map(|text| text.clone().unwrap_or_else(|| "not set".to_owned()))
}

/// The number of findings that a rule hides, as text.
fn hidden_text(number: usize) -> String {
    format!("{} no longer reported", count(number, "finding"))
}

/// The measures of a finding before and after, as text.
pub(super) fn measure_texts(change: &MeasureChange) -> [String; 2] {
    change.finding.measure.as_ref().map(|after| change.before.shown_with(after)).unwrap_or_default()
}

fn measures(out: &mut String, ink: Ink, name: &str, changes: &[MeasureChange]) {
    if changes.is_empty() {
        return;
    }
    heading(out, ink, name, changes.len());
    let mut table =
        Table::new(&[("  level", false), ("check", false), ("record", false), ("before", true), ("after", true)]);
    for change in changes {
        let [before, after] = measure_texts(change);
        let finding = &change.finding;
        let what = finding.record.as_deref().unwrap_or(&finding.path);
        table.row(vec![
            (format!("  {}", finding.level.word()), Paint::Level(finding.level)),
            plain(finding.check.name.to_owned()),
            strong(what.to_owned()),
            plain(before),
            plain(after),
        ]);
    }
    out.push_str(&table.text(ink));
    for change in changes {
        ink.block(out, "", 0, &clean(&change.finding.message));
    }
    out.push('\n');
}

fn heading(out: &mut String, ink: Ink, name: &str, number: usize) {
    let _ = writeln!(out, "{}", ink.strong(&format!("{name} ({number})")));
}
