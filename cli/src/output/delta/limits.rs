//! Changed limits, each with the revision that records it: why, who agreed, and when.

use std::fmt::Write as _;

use schema::quantity::Unit;
use schema::records::Revision;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::delta::ChangedLimit;
use trace::values::Limit;

use super::super::table::{Paint, Table, plain, strong};
use super::super::values::limit_json;
use super::DeltaView;
use crate::screen::Ink;

fn revision<'v>(view: &DeltaView<'v>, limit: &ChangedLimit) -> Option<&'v Revision> {
    view.head.loaded.revision(limit.revision?)
}

/// Who agreed, when and why, for example `chief engineer, 2027-03-18: The loom is heavier.`; empty without a revision.
pub(super) fn agreed(view: &DeltaView<'_>, limit: &ChangedLimit) -> String {
    let Some(revision) = revision(view, limit) else { return String::new() };
    let day = revision.date.map(|day| day.to_string());
    let who: Vec<String> = revision.agreed_by.clone().into_iter().chain(day).collect();
    let reason = revision.reason.as_deref().unwrap_or("no reason");
    format!("{}: {reason}", if who.is_empty() { "no role, no date".to_owned() } else { who.join(", ") })
}

/// The changed limits of an answer.
pub(super) fn json(view: &DeltaView<'_>) -> Vec<Value> {
    let [old, new] = view.loaded();
    let one = |limit: &ChangedLimit| {
        let (id, _, name) = view.limit(limit);
        let limit_of = |loaded: &trace::Loaded, index| loaded.target(index).map(Limit::from_target);
        let written = |loaded: &trace::Loaded, index| {
            loaded.target(index)?.limit().next().map(|(_, quantity)| quantity.unit().clone())
        };
        let (was, is) = (written(old, limit.base), written(new, limit.head));
        let unit = is.as_ref().or(was.as_ref()).cloned().unwrap_or_else(Unit::dimensionless);
        let fits = was.is_none_or(|was| was.dimension() == unit.dimension());
        let shown = |limit: Option<Limit>| limit.map(|limit| limit_json(&limit, &unit));
        let own = revision(view, limit);
        json!({"id": id, "before": shown(limit_of(old, limit.base).filter(|_| fits)),
               "after": shown(limit_of(new, limit.head)), "unit": unit.to_string(), "revision": name,
               "agreed_by": own.and_then(|own| own.agreed_by.as_deref()),
               "day": own.and_then(|own| own.date).map(|day| day.to_string()),
               "reason": own.and_then(|own| own.reason.as_deref())})
    };
    view.delta.limits.iter().map(one).collect()
}

/// The limits as text, for templates.
pub(super) fn texts(view: &DeltaView<'_>) -> Vec<Value> {
    let one = |limit: &ChangedLimit| {
        let (_, [before, after], _) = view.limit(limit);
        json!({"before": before, "after": after, "agreed": agreed(view, limit)})
    };
    view.delta.limits.iter().map(one).collect()
}

/// The section of the changed limits on the terminal.
pub(super) fn section(out: &mut String, view: &DeltaView<'_>, ink: Ink) {
    let limits = &view.delta.limits;
    if limits.is_empty() {
        return;
    }
    let _ = writeln!(out, "{}", ink.strong("changed limits"));
    let mut table = Table::new(&[("  target", false), ("before", true), ("after", true), ("revision", false)]);
    for limit in limits {
        let (id, [before, after], revision) = view.limit(limit);
        let recorded = match revision {
            Some(revision) => plain(revision),
            None => ("no revision".to_owned(), Paint::Level(Level::Warning)),
        };
        table.row(vec![strong(format!("  {id}")), plain(before), plain(after), recorded]);
    }
    out.push_str(&table.text(ink));
    for limit in limits {
        if let (_, _, Some(revision)) = view.limit(limit) {
            ink.block(out, "", 0, &format!("{revision}: agreed by {}", agreed(view, limit)));
        }
    }
    out.push('\n');
}
