//! The sheet that says what the others were made from.

use trace::snapshot::Source;
use trace::{Project, Study};

use crate::output::grid::{Cell, Grid};
use crate::output::incomplete;

/// Season, state, commit and date.
pub(crate) fn grid(project: &Project, study: &Study) -> Grid {
    let snapshot = &study.loaded.snapshot;
    let state = match &snapshot.source {
        Source::Worktree => "working tree, which can differ from the last commit",
        Source::Index => "index (staged)",
        Source::Revision { .. } => "commit",
        Source::Nothing => "nothing",
    };
    let mut rows: Vec<(&str, String)> = Vec::new();
    rows.extend(study.settings().season.map(|season| ("season", season.to_string())));
    rows.push(("date", study.day.to_string()));
    rows.push(("stage", study.stage.word().to_owned()));
    rows.push(("read from", state.to_owned()));
    rows.extend(project.last_commit(snapshot).map(|commit| ("last commit", commit)));
    rows.extend(incomplete(&study.loaded).map(|text| ("read errors", text)));
    rows.push((
        "uncertainty",
        "expanded uncertainty (k = 2: an interval of about 95 %), in the unit of the value".to_owned(),
    ));
    rows.push(("amounts of parts", "of one piece, without growth allowance".to_owned()));
    rows.push(("written by", format!("tierod {}", env!("CARGO_PKG_VERSION"))));
    let cells = |(key, text): (&str, String)| vec![Cell::text(key), Cell::text(&text)];
    Grid { heads: ["what", "content"].map(str::to_owned).to_vec(), rows: rows.into_iter().map(cells).collect() }
}
