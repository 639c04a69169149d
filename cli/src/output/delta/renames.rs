//! Records with a new id: those with `formerly`, and those that seem to lack it.

use std::fmt::Write as _;

use schema::number;
use serde_json::{Value, json};
use trace::RecordId;
use trace::RecordPositions;
use trace::delta::LikelyRename;

use super::DeltaView;
use crate::output::Paths;
use crate::screen::{Ink, clean};

fn renamed_pair(
    view: &DeltaView<'_>,
    positions: &mut RecordPositions<'_>,
    pair: (RecordId, RecordId),
    add: Option<&LikelyRename>,
) -> Value {
    let [old, new] = view.loaded();
    let (from, to) = (old.record(pair.0), new.record(pair.1));
    json!({
        "from": from.id.as_str(),
        "to": to.id.as_str(),
        "kind": to.kind().singular(),
        "formerly": add.is_none(),
        "path": format!("{}{}", new.snapshot.prefix, new.path(new.file(pair.1))),
        "line": positions.start(pair.1).line,
        "add": add.map(|likely| likely.line.as_str()),
        "alike": add.map(|likely| likely.alike),
    })
}

/// All renamed records of an answer: those with `formerly` first.
pub(super) fn json(view: &DeltaView<'_>) -> Vec<Value> {
    let mut positions = RecordPositions::new(view.loaded()[1]);
    let mut all: Vec<Value> =
        view.delta.renamed.iter().map(|pair| renamed_pair(view, &mut positions, *pair, None)).collect();
    let likely = view.delta.likely_renames.iter();
    all.extend(likely.map(|likely| renamed_pair(view, &mut positions, (likely.from, likely.to), Some(likely))));
    all
}

/// The section of the records that seem to lack `formerly` on the terminal.
pub(super) fn section(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let likely = &view.delta.likely_renames;
    if likely.is_empty() {
        return;
    }
    let [old, new] = view.loaded();
    let (paths, mut positions) = (Paths::new(new), RecordPositions::new(new));
    let _ = writeln!(out, "{}", ink.strong(&format!("possible renames without `formerly` ({})", likely.len())));
    for own in likely {
        let (from, to) = (&old.record(own.from).id, new.record(own.to));
        let place = format!("{}:{}", paths.shown(new.path(new.file(own.to))), positions.start(own.to).line);
        let alike = number::percent(own.alike, 0);
        let line = format!("{} {from} → {}  {alike} of the keys are the same", to.kind(), to.id);
        let _ = writeln!(out, "  {}", clean(&line));
        ink.block(out, "fix", 9, &format!("add `{}` to {} ({place})", own.line, to.id));
    }
    out.push('\n');
}
