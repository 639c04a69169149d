//! JSON answers, version 1: stable, identical bytes for the same input.

use schema::settings::Level;
use serde::Serialize;
use serde_json::{Value, json};
use trace::RecordPositions;
use trace::filters::counts_by_check;
use trace::graph::{Edge, Graph, Link};
use trace::since::{Beginnings, Since};
use trace::snapshot::Source;
use trace::{Finding, Loaded, Measure, RecordId, Study};

use super::check::{CheckView, off_json};
use crate::screen::escaped_json;

/// A value as the text that is printed, with a line break at its end. It is made in one piece of memory: a string that grows needs
/// three times its size for a moment.
pub(crate) fn text(value: &impl Serialize) -> String {
    struct Size(usize);
    impl std::io::Write for Size {
        fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
            self.0 += bytes.len();
            Ok(bytes.len())
        }
        fn flush(&mut self) -> std::io::Result<()> {
            Ok(())
        }
    }
    let mut size = Size(1);
    if serde_json::to_writer_pretty(&mut size, value).is_err() {
        return "\n".to_owned();
    }
    let mut text = Vec::with_capacity(size.0);
    let written = serde_json::to_writer_pretty(&mut text, value);
    text.push(b'\n');
    escaped_json(written.ok().and_then(|()| String::from_utf8(text).ok()).unwrap_or_default())
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
pub(crate) fn check(view: &CheckView<'_>) -> String {
    let CheckView { study, report, older, .. } = view;
    let loaded = &study.loaded;
    #[derive(Serialize)]
    struct Answer<'a> {
        version: u32,
        source: Value,
        stage: &'static str,
        history: &'static str,
        #[serde(skip_serializing_if = "Option::is_none")]
        history_note: Option<String>,
        #[serde(skip_serializing_if = "Option::is_none")]
        last_commit: Option<String>,
        filters: Value,
        summary: Value,
        off: Value,
        findings: Findings<'a>,
        /// What the next commit does to findings and rules, besides new findings.
        #[serde(flatten)]
        next: Option<Value>,
    }
    let mut summary = json!({
        "records": loaded.entries.len(),
        "unfiltered": view.unfiltered,
        "error": report.count(Level::Error),
        "warning": report.count(Level::Warning),
        "note": report.count(Level::Note),
        "waived": report.waived.len(),
        "checks": counts_by_check(&report.findings)
            .iter()
            .map(|(check, level, count)| json!({"check": check.name, "level": level.word(), "count": count}))
            .collect::<Vec<_>>(),
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
        last_commit: view.last_commit.map(|day| day.to_string()),
        filters: filters(view),
        summary,
        off: off_json(&view.off),
        findings: Findings(view),
        next: view.next.as_ref().map(|next| next.json(next.delta.stops.commit)),
    };
    text(&answer)
}

/// The findings of `check`, each made when it is written.
struct Findings<'a>(&'a CheckView<'a>);

impl Serialize for Findings<'_> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let CheckView { study, report, .. } = self.0;
        let json = |finding| FindingJson { since: since(self.0, finding), ..FindingJson::new(finding, &study.loaded) };
        serializer.collect_seq(report.findings.iter().map(json))
    }
}

/// The filters that are set.
fn filters(view: &CheckView<'_>) -> Value {
    let filters = view.filters;
    let mut all = serde_json::Map::new();
    let mut set = |name: &str, value: Option<Value>| all.extend(value.map(|value| (name.to_owned(), value)));
    set("path", filters.path.as_ref().map(|path| json!(format!("{}{path}", view.study.loaded.snapshot.prefix))));
    set("lead", filters.lead.as_ref().map(|lead| json!(lead)));
    set("system", filters.system.as_ref().map(|system| json!(system)));
    set("only", (!filters.only.is_empty()).then(|| json!(filters.only)));
    set("level", filters.level.map(|level| json!(level.word())));
    set("due", view.due.map(|date| json!(date.to_string())));
    Value::Object(all)
}

/// Since when a finding is open, if it was asked for: null if it is not known.
fn since(view: &CheckView<'_>, finding: &Finding) -> Option<Value> {
    let known = view.since.as_ref()?.as_ref().ok().and_then(|all: &Beginnings| all.get(&finding.fingerprint()));
    let one =
        |since: &Since| json!({"commit": since.commit, "day": since.day.to_string(), "cause": since.cause.word()});
    Some(known.map_or(Value::Null, one))
}

/// The findings of one state of the project root.
pub(crate) fn findings<'f>(list: impl IntoIterator<Item = &'f Finding>, loaded: &Loaded) -> Value {
    json!(list.into_iter().map(|finding| FindingJson::new(finding, loaded)).collect::<Vec<_>>())
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
    /// Since when it is open, in answers to `--since`.
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<Value>,
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
            since: None,
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

/// The most links of `why` in each direction.
const MOST_LINKS: usize = 20_000;

/// One record, the links on all its paths to the goals, and the links below it.
pub(crate) fn why(study: &Study, index: RecordId) -> Value {
    let graph = &*study.graph;
    let (mut up, mut all_up) = (Vec::new(), 0);
    let mut seen = vec![false; graph.len()];
    let mut queue = std::collections::VecDeque::from([index]);
    while let Some(at) = queue.pop_front() {
        if std::mem::replace(&mut seen[at], true) {
            continue;
        }
        for (to, link) in graph.outgoing(at) {
            if link.link == Link::Serves || (at == index && link.link != Link::In) {
                if up.len() < MOST_LINKS {
                    up.push(edge(graph, at, to, &link));
                }
                all_up += 1;
                queue.push_back(to);
            }
        }
    }
    let (mut below, mut all_below) = (Vec::new(), 0);
    for at in std::iter::once(index).chain(graph.below(index)) {
        for (from, link) in graph.incoming(at) {
            if below.len() < MOST_LINKS {
                below.push(edge(graph, from, at, &link));
            }
            all_below += 1;
        }
    }
    let mut positions = RecordPositions::new(&graph.loaded);
    json!({
        "version": 1,
        "record": node(graph, &mut positions, index),
        "title": graph.loaded.record(index).body.common().title(),
        "lead": graph.lead(index),
        "readings": super::evidence::json(study, index),
        "more_up": all_up - up.len(),
        "up": up,
        "more_below": all_below - below.len(),
        "below": below,
        "stress": super::stress::values(study, &trace::stress::of_part(study, index)),
    })
}
