//! JSON answers, version 1: stable, identical bytes for the same input.

use schema::settings::Level;
use serde::Serialize;
use serde_json::{Value, json};
use trace::delta::ExistingFindings;
use trace::graph::{Edge, Graph, Link};
use trace::report::RecordPositions;
use trace::snapshot::Source;
use trace::{Finding, Loaded, Measure, RecordId, Report, Study};

use super::delta::FindingChanges;

/// A value as the text that is printed.
pub(crate) fn text(value: &Value) -> String {
    let mut text = serde_json::to_string_pretty(value).unwrap_or_default();
    text.push('\n');
    text
}

/// What was read: its kind and, for a revision, the full commit id.
pub(crate) fn source(loaded: &Loaded) -> Value {
    let (kind, revision) = match &loaded.snapshot.source {
        Source::Worktree => ("worktree", None),
        Source::Index => ("index", None),
        Source::Nothing => ("nothing", None),
        Source::Revision { commit, .. } => ("revision", Some(commit)),
    };
    json!({"kind": kind, "revision": revision})
}

/// The JSON answer of `check`, written directly to text because there can be a hundred thousand findings.
pub(crate) fn check(
    study: &Study,
    report: &Report,
    older: Option<&ExistingFindings>,
    next: Option<&FindingChanges<'_>>,
) -> String {
    let loaded = &study.loaded;
    #[derive(Serialize)]
    struct Answer<'a> {
        version: u32,
        source: Value,
        stage: &'static str,
        history: &'static str,
        #[serde(skip_serializing_if = "Option::is_none")]
        history_note: Option<String>,
        summary: Value,
        findings: Vec<FindingJson<'a>>,
        /// What the next commit does to findings and rules, besides new findings.
        #[serde(flatten)]
        next: Option<Value>,
    }
    let mut summary = json!({
        "records": loaded.entries.len(),
        "error": report.count(Level::Error),
        "warning": report.count(Level::Warning),
        "note": report.count(Level::Note),
        "waived": report.waived.len(),
    });
    if !report.held_back.is_empty() {
        summary["held_back"] = json!(report.held_back.len());
    }
    if let Some(older) = older {
        let [error, warning, note] = older.counts;
        summary["as_before"] = json!({"error": error, "warning": warning, "note": note});
    }
    let answer = Answer {
        version: 1,
        source: source(loaded),
        stage: study.stage.word(),
        history: study.past().word(),
        history_note: study.past().reason(),
        summary,
        findings: report.findings.iter().map(|finding| FindingJson::new(finding, loaded)).collect(),
        next: next.map(|next| next.json(next.delta.stops.commit)),
    };
    let mut text = serde_json::to_string_pretty(&answer).unwrap_or_default();
    text.push('\n');
    text
}

/// The findings of one state of the project root.
pub(crate) fn findings(list: &[Finding], loaded: &Loaded) -> Value {
    json!(list.iter().map(|finding| FindingJson::new(finding, loaded)).collect::<Vec<_>>())
}

/// A finding, its keys in the order of the documentation.
#[derive(Serialize)]
struct FindingJson<'a> {
    check: &'static str,
    level: &'static str,
    about: &'static str,
    record: Option<&'a str>,
    field: Option<&'a str>,
    path: String,
    line: u32,
    column: u32,
    message: &'a str,
    help: &'a str,
    fingerprint: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    measure: Option<Value>,
    /// The waiver that accepts it, in answers that list waived findings.
    #[serde(skip_serializing_if = "Option::is_none")]
    waiver: Option<&'a str>,
}

impl<'a> FindingJson<'a> {
    fn new(finding: &'a Finding, loaded: &Loaded) -> Self {
        Self {
            check: finding.check.name,
            level: finding.level.word(),
            about: finding.check.about.word(),
            record: finding.record.as_deref(),
            field: finding.field.as_deref(),
            path: format!("{}{}", loaded.snapshot.prefix, finding.path),
            line: finding.spot.line,
            column: finding.spot.column,
            message: &finding.message,
            help: &finding.help,
            fingerprint: finding.fingerprint(),
            measure: finding.measure.as_ref().map(measure),
            waiver: finding.waiver.as_deref(),
        }
    }
}

/// How bad a finding is.
pub(crate) fn measure(measure: &Measure) -> Value {
    json!({"value": super::values::number(Some(measure.value)), "unit": measure.unit})
}

fn node(graph: &Graph, positions: &mut RecordPositions<'_>, index: RecordId) -> Value {
    let (loaded, record) = (&graph.loaded, graph.loaded.record(index));
    json!({
        "id": record.id.as_str(),
        "kind": record.kind().singular(),
        "tier": graph.tier(index).map(trace::graph::Tier::word),
        "path": format!("{}{}", loaded.snapshot.prefix, loaded.path(loaded.file(index))),
        "line": positions.start(index).line,
    })
}

fn edge(graph: &Graph, from: RecordId, to: RecordId, edge: &Edge<'_>) -> Value {
    let id = |index: RecordId| graph.loaded.record(index).id.as_str();
    let mut all = json!({"from": id(from), "to": id(to), "link": edge.link.word(), "reason": edge.reason});
    if let Some(group) = edge.group {
        all["inherited_from"] = json!(id(group));
    }
    all
}

/// All records and links, or those among the records to keep (sorted).
pub(crate) fn graph(graph: &Graph, keep: Option<&[RecordId]>) -> Value {
    let kept = |index: &RecordId| keep.is_none_or(|keep| keep.binary_search(index).is_ok());
    let mut positions = RecordPositions::new(&graph.loaded);
    let nodes: Vec<Value> =
        graph.loaded.record_ids().filter(kept).map(|index| node(graph, &mut positions, index)).collect();
    let edges: Vec<Value> = graph
        .edges()
        .filter(|(from, to, _)| kept(from) && kept(to))
        .map(|(from, to, link)| edge(graph, from, to, &link))
        .collect();
    json!({"version": 1, "nodes": nodes, "edges": edges})
}

/// One record, the links on all its paths to the goals, and the links below it.
pub(crate) fn why(graph: &Graph, index: RecordId) -> Value {
    let mut up = Vec::new();
    let mut seen = vec![false; graph.len()];
    let mut queue = std::collections::VecDeque::from([index]);
    while let Some(at) = queue.pop_front() {
        if std::mem::replace(&mut seen[at], true) {
            continue;
        }
        for (to, link) in graph.outgoing(at) {
            if link.link == Link::Serves || (at == index && link.link != Link::In) {
                up.push(edge(graph, at, to, &link));
                queue.push_back(to);
            }
        }
    }
    let mut below = Vec::new();
    for at in std::iter::once(index).chain(graph.below(index)) {
        for (from, link) in graph.incoming(at) {
            below.push(edge(graph, from, at, &link));
        }
    }
    let mut positions = RecordPositions::new(&graph.loaded);
    json!({
        "version": 1,
        "record": node(graph, &mut positions, index),
        "title": graph.loaded.record(index).body.common().title(),
        "lead": graph.lead(index),
        "up": up,
        "below": below,
    })
}
