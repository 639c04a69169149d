//! The open errors and warnings that no other section lists, by the record that they are about.

use std::collections::{BTreeMap, HashMap};

use schema::Kind;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::{Finding, RecordId};

use super::PageView;
use super::due::SOON;

/// The records that are listed, and the findings of each.
const MOST: usize = 12;
const MOST_OF_ONE: usize = 3;

/// Checks whose findings are rows of another section: what is at risk or missed, and what is due.
const AT_RISK: [&str; 2] = ["target-at-risk", "target-missed"];
const DUE: [&str; 2] = ["verification-overdue", "expired-waiver"];

/// The records with open findings: errors first, then what people's safety depends on, what is at risk, and what is due soon.
pub(super) fn section(view: &PageView<'_>) -> Value {
    let study = view.study;
    let open = || study.report().findings.iter().filter(|own| matches!(own.level, Level::Error | Level::Warning));
    let is_of = |checks: &[&str], finding: &&Finding| checks.contains(&finding.check.name);
    let own = open().filter(|finding| !is_of(&AT_RISK, finding) && !is_of(&DUE, finding));
    // What is about no record is listed by its file.
    let mut all: BTreeMap<(Option<RecordId>, &str), Vec<&Finding>> = BTreeMap::new();
    // A record can have very many findings.
    let mut subjects: HashMap<&str, Option<RecordId>> = HashMap::new();
    for finding in own {
        let id = finding.record.as_deref();
        let record = id.and_then(|id| *subjects.entry(id).or_insert_with(|| subject(view, id)));
        let path = if record.is_some() { "" } else { finding.path.as_str() };
        all.entry((record, path)).or_default().push(finding);
    }
    let mut all: Vec<_> = all.into_iter().collect();
    all.sort_by_cached_key(|((record, path), findings)| {
        let is_safe = !record.is_some_and(|own| study.loaded.record(own).safety_critical());
        let is_met = !record.is_some_and(|own| is_short(view, own));
        let is_later = !record.is_some_and(|own| is_due_soon(view, own));
        let is_error = findings.iter().any(|finding| finding.level == Level::Error);
        (!is_error, is_safe, is_met, is_later, *record, *path)
    });
    let rows = all.iter().take(MOST).map(|((record, path), findings)| row(view, *record, path, findings));
    let rest: usize = all.iter().skip(MOST).map(|(_, findings)| findings.len()).sum();
    let count = |checks: &[&str]| open().filter(|finding| is_of(checks, finding)).count();
    json!({"rows": rows.collect::<Vec<_>>(), "rest": rest, "at_risk": count(&AT_RISK), "due": count(&DUE),
           "all": open().count()})
}

/// What the findings of a record are about: of a result, what was measured; of an analysis, what it finds.
fn subject(view: &PageView<'_>, id: &str) -> Option<RecordId> {
    let loaded = &view.study.loaded;
    let record = loaded.find(id)?;
    let named = match loaded.kind(record) {
        Kind::Result | Kind::Revision | Kind::Waiver => loaded.record(record).about(),
        Kind::Analysis => loaded.analysis(record).and_then(|own| own.finds.as_ref()?.targets().first().copied()),
        Kind::Goal | Kind::Event | Kind::Target | Kind::Requirement | Kind::System | Kind::Part | Kind::Decision => {
            None
        }
    };
    named.and_then(|id| loaded.find(id.as_str())).or(Some(record))
}

fn is_short(view: &PageView<'_>, record: RecordId) -> bool {
    view.study.target_status(record).is_some_and(|target| target.status.is_short())
}

fn is_due_soon(view: &PageView<'_>, record: RecordId) -> bool {
    let planned = view.study.planned(record);
    planned.iter().any(|own| own.days_left(view.study.day).is_some_and(|days| days <= SOON))
}

fn row(view: &PageView<'_>, record: Option<RecordId>, path: &str, findings: &[&Finding]) -> Value {
    let title = record.map(|record| view.title(record)).unwrap_or_default();
    let message = |finding: &&Finding| {
        // The title is next to it.
        let rest = finding.message.strip_prefix(title).filter(|rest| !title.is_empty() && rest.starts_with([' ', ':']));
        let text = rest.map_or(finding.message.as_str(), |rest| rest.trim_start_matches([' ', ':']));
        json!({"text": text, "check": finding.check.name, "error": finding.level == Level::Error})
    };
    json!({
        "record": record.map_or_else(|| json!({"id": Value::Null, "title": path}), |record| view.link(record)),
        "safety": record.is_some_and(|record| view.study.loaded.record(record).safety_critical()),
        "lead": record.and_then(|record| view.study.graph.lead(record)),
        "messages": findings.iter().take(MOST_OF_ONE).map(message).collect::<Vec<_>>(),
        "more": findings.len().saturating_sub(MOST_OF_ONE),
    })
}
