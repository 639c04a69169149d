//! The graph for Graphviz, with the goals on top.

use std::fmt::Write as _;

use trace::RecordId;
use trace::graph::{Graph, Link, Tier};

use crate::screen::clean;

fn quoted(text: &str) -> String {
    format!("\"{}\"", escaped(text))
}

/// A text as a part of a quoted one.
fn escaped(text: &str) -> String {
    clean(text).replace('\\', "\\\\").replace('"', "\\\"")
}

/// All records and links, or those among the records to keep (sorted).
pub(crate) fn graph(graph: &Graph, keep: Option<&[RecordId]>) -> String {
    let kept = |index: &RecordId| keep.is_none_or(|keep| keep.binary_search(index).is_ok());
    let mut out = String::from("digraph tierod {\n  rankdir=BT;\n  node [shape=box, fontname=\"sans-serif\"];\n");
    for index in graph.loaded.record_ids().filter(kept) {
        let record = graph.loaded.record(index);
        let label = match record.body.common().title() {
            Some(title) => format!("{}\\n{}", escaped(record.id.as_str()), escaped(title)),
            None => escaped(record.id.as_str()),
        };
        let style = match graph.tier(index) {
            Some(Tier::Goal) => ", style=bold, shape=oval",
            Some(Tier::Event) => ", shape=oval",
            Some(_) => "",
            None => ", style=dashed",
        };
        let _ = writeln!(out, "  {} [label=\"{label}\"{style}];", quoted(record.id.as_str()));
    }
    for (from, to, edge) in graph.edges().filter(|(from, to, _)| kept(from) && kept(to)) {
        let id = |index: RecordId| quoted(graph.loaded.record(index).id.as_str());
        let style = match edge.link {
            Link::Serves => format!(" [tooltip={}]", quoted(edge.reason.unwrap_or(""))),
            other => format!(" [style=dashed, label={}]", quoted(other.word())),
        };
        let _ = writeln!(out, "  {} -> {}{style};", id(from), id(to));
    }
    out.push_str("}\n");
    out
}
