//! The graph for Graphviz: a column for each level from the goals on the left to the parts on the right, a box around the
//! targets and parts of each system, shapes by kind, colours by status. Labels have the title first, then value and status.

use std::collections::HashMap;
use std::fmt::Write as _;

use schema::Kind;
use trace::graph::{Link, Tier};
use trace::{RecordId, Study};

use super::shown_status::{Need, ShownStatus};
use crate::screen::{clean, width};

/// The width of a line of a label.
const LINE: usize = 28;

/// The largest number of lines of a title.
const LINES: usize = 3;

/// The style of the whole: dark on white.
const HEAD: &str = "digraph tierod {
  graph [rankdir=RL, newrank=true, bgcolor=white, fontname=\"sans-serif\", fontcolor=\"#1d252c\", fontsize=13, nodesep=0.12, ranksep=1.1];
  node [shape=box, style=\"rounded,filled\", fillcolor=white, color=\"#5f6b76\", fontname=\"sans-serif\", fontcolor=\"#1d252c\", fontsize=11, margin=\"0.12,0.05\"];
  edge [color=\"#7a868f\", fontname=\"sans-serif\", fontcolor=\"#4a545c\", fontsize=9, arrowsize=0.6];
";

fn quoted(text: &str) -> String {
    format!("\"{}\"", escaped(text))
}

/// A text as a part of a quoted one.
fn escaped(text: &str) -> String {
    clean(text).replace('\\', "\\\\").replace('"', "\\\"")
}

/// A text as a part of a label or a tooltip, where entities of HTML have a meaning.
fn label(text: &str) -> String {
    escaped(text).replace('&', "&amp;")
}

/// A title on a few lines.
fn folded(title: &str) -> String {
    let mut lines: Vec<String> = Vec::new();
    for word in clean(title).split_whitespace() {
        match lines.last_mut().filter(|line| width(line) + 1 + width(word) <= LINE) {
            Some(line) => {
                line.push(' ');
                line.push_str(word);
            }
            None => lines.push(word.to_owned()),
        }
    }
    let more = lines.len() > LINES;
    lines.truncate(LINES);
    let mut lines: Vec<String> = lines.iter().map(|line| label(&super::flow::cut(line, LINE))).collect();
    if let Some(last) = lines.last_mut().filter(|_| more) {
        last.push('…');
    }
    lines.join("\\n")
}

fn shape(kind: Kind) -> &'static str {
    match kind {
        Kind::Goal => "octagon",
        Kind::Event => "ellipse",
        Kind::System => "tab",
        Kind::Target => "box",
        Kind::Requirement => "note",
        Kind::Part => "component",
        Kind::Analysis => "parallelogram",
        Kind::Decision => "diamond",
        Kind::Result => "folder",
        Kind::Revision => "cds",
        Kind::Waiver => "septagon",
    }
}

/// Fill and border by what a record asks for; the word is in the label, too.
fn colours(need: Need) -> &'static str {
    match need {
        Need::Done => "fillcolor=\"#dcefe0\", color=\"#2f7d46\"",
        Need::Expected => "fillcolor=\"#e4eefb\", color=\"#2f5f9e\"",
        Need::Attention => "fillcolor=\"#fdf0d0\", color=\"#9a6a00\", penwidth=2",
        Need::Failed => "fillcolor=\"#fbdedb\", color=\"#b3261e\", penwidth=3",
        Need::Unknown => "fillcolor=white, color=\"#5f6b76\", style=\"rounded,filled,dashed\"",
    }
}

/// The node of a record.
fn node(study: &Study, index: RecordId) -> String {
    let record = study.loaded.record(index);
    let shown = ShownStatus::of(study, index);
    let id = label(record.id.as_str());
    let mut lines: Vec<String> = Vec::new();
    lines.extend(record.body.common().title().map(folded).filter(|title| !title.is_empty()));
    let is_titled = !lines.is_empty();
    if !is_titled {
        lines.push(id.clone());
    }
    lines.extend(Some(label(&shown.text())).filter(|text| !text.is_empty()));
    if is_titled {
        lines.push(id);
    }
    let shape = shape(record.kind());
    let colours = shown.status.map(|(_, need)| format!(", {}", colours(need))).unwrap_or_default();
    format!("{} [label=\"{}\", shape={shape}{colours}];", quoted(record.id.as_str()), lines.join("\\n"))
}

/// The records and links of the chain, or with `all` every record and link; of those to keep (sorted).
pub(crate) fn graph(study: &Study, keep: Option<&[RecordId]>, all: bool) -> String {
    let (graph, loaded) = (&study.graph, &study.loaded);
    let kept = |index: &RecordId| {
        let in_chain = graph.tier(*index).is_some() || loaded.kind(*index).must_reach_goal();
        (all || in_chain || keep.is_some()) && keep.is_none_or(|keep| keep.binary_search(index).is_ok())
    };
    let drawn = |(from, to, edge): &(RecordId, RecordId, trace::graph::Edge<'_>)| {
        // The box of a system says what is in it.
        let boxed = matches!(edge.link, Link::In | Link::Of) && !all;
        !boxed && kept(from) && kept(to)
    };
    let edges: Vec<_> = graph.edges().filter(drawn).collect();
    let linked: Vec<RecordId> = {
        let mut linked: Vec<RecordId> = edges.iter().flat_map(|(from, to, _)| [*from, *to]).collect();
        linked.sort_unstable();
        linked.dedup();
        linked
    };
    let system = |index: RecordId| graph.enclosing(index).find(|around| loaded.kind(*around) == Kind::System);
    let nodes: Vec<RecordId> = loaded
        .record_ids()
        .filter(kept)
        .filter(|index| loaded.kind(*index) != Kind::System || all || linked.binary_search(index).is_ok())
        .collect();

    let mut out = String::from(HEAD);
    let mut boxes: Vec<(RecordId, Vec<RecordId>)> = Vec::new();
    let mut box_of: HashMap<RecordId, usize> = HashMap::new();
    for &index in &nodes {
        match system(index) {
            None => drop(writeln!(out, "  {}", node(study, index))),
            Some(system) => {
                let at = *box_of.entry(system).or_insert(boxes.len());
                match boxes.get_mut(at) {
                    Some((_, inside)) => inside.push(index),
                    None => boxes.push((system, vec![index])),
                }
            }
        }
    }
    for (system, inside) in &boxes {
        let record = loaded.record(*system);
        let id = record.id.as_str();
        let title = record.body.common().title().unwrap_or(id);
        let _ = writeln!(out, "  subgraph {} {{", quoted(&format!("cluster_{id}")));
        let title = label(&super::flow::cut(&clean(title), 2 * LINE));
        let _ =
            writeln!(out, "    label=\"{title}\"; style=\"rounded,filled\"; fillcolor=\"#f6f7f8\"; color=\"#b8c0c6\";");
        for index in inside {
            let _ = writeln!(out, "    {}", node(study, *index));
        }
        out.push_str("  }\n");
    }
    for tier in [Tier::Goal, Tier::Event, Tier::Car, Tier::System, Tier::Part] {
        let own = nodes.iter().filter(|index| graph.tier(**index) == Some(tier));
        let ids: Vec<String> = own.map(|index| quoted(loaded.record(*index).id.as_str())).collect();
        if ids.len() > 1 {
            let _ = writeln!(out, "  {{ rank=same; {}; }}", ids.join("; "));
        }
    }
    for (from, to, edge) in edges {
        let id = |index: RecordId| quoted(loaded.record(index).id.as_str());
        let style = match edge.link {
            Link::Serves => format!(" [tooltip=\"{}\"]", label(edge.reason.unwrap_or(""))),
            other => format!(" [style=dashed, constraint=false, label={}]", quoted(other.word())),
        };
        let _ = writeln!(out, "  {} -> {}{style};", id(from), id(to));
    }
    out.push_str("}\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_cannot_end_a_label() {
        assert_eq!(label("the \"hub\" \\ &lt;b&gt;\nx"), r#"the \"hub\" \\ &amp;lt;b&amp;gt; x"#);
        assert_eq!(
            folded("Set of 24 rod ends and 8 spherical bearings"),
            "Set of 24 rod ends and 8\\nspherical bearings"
        );
        assert_eq!(folded(&"word ".repeat(40)).matches("\\n").count(), 2);
        assert!(folded(&"word ".repeat(40)).ends_with('…'));
        assert_eq!(folded(&"x".repeat(99)), format!("{}…", "x".repeat(27)));
    }
}
