//! A new limit with its revision, in one edit.

use schema::edit::{Change, Value};
use schema::records::{Body, Kind};
use schema::words::shorten;
use schema::{Day, Id, Quantity};

use super::set::same_dimension;
use super::{Address, Edits};
use crate::Error;
use crate::trees::Trees;

/// A limit to change, and what its revision has.
#[derive(Clone, Debug)]
pub struct Revising<'a> {
    /// The id of the target.
    pub target: &'a str,
    /// The key of the limit: `at-most`, `at-least`, `between.1` or `between.2`.
    pub key: &'a str,
    /// The new limit.
    pub to: &'a str,
    /// Why.
    pub reason: &'a str,
    /// Who agreed.
    pub agreed_by: &'a str,
    /// The date of the agreement; by default the date that is used as today.
    pub date: Option<Day>,
    /// The id of the revision; by default that of the target and the date.
    pub id: Option<&'a str>,
}

/// Changes a limit, and adds the revision that says who agreed and why. Returns the id of the revision.
///
/// # Errors
/// No such target; a target without this limit; a limit that is not a quantity, or the same as before.
pub fn revise(edits: &mut Edits, revising: &Revising<'_>) -> Result<Id, Error> {
    let Revising { target: id, key, to, reason, agreed_by, date, id: revision } = *revising;
    let loaded = edits.loaded();
    let record = loaded.named(id)?;
    let own = loaded.record(record);
    let Body::Target(target) = &own.body else {
        let message = format!("`{id}` is {}, not a target", own.kind().with_article());
        return Err(Error::new(message).help("revisions are for the limits of targets; use `tierod set` for others"));
    };
    let (limit, side) = key.split_once('.').map_or((key, None), |(limit, side)| (limit, Some(side)));
    let is_key = match limit {
        "at-most" | "at-least" => side.is_none(),
        "between" => matches!(side, Some("1" | "2")),
        _ => false,
    };
    if !is_key {
        let help = "use `at-most`, `at-least`, or `between.1` and `between.2` for the two ends of a range";
        return Err(Error::new(format!("`{}` is not a limit", shorten(key))).help(help));
    }
    if !target.limit().any(|(own, _)| own == limit) {
        let help = match target.limit().next() {
            Some(("between", _)) => "its limits are `between.1` and `between.2`".to_owned(),
            Some((other, _)) => format!("its limit is `{other}`"),
            None => format!("set its first limit with `tierod set {id}.{key} LIMIT`; it needs no revision"),
        };
        return Err(Error::new(format!("{id} has no `{limit}`")).help(help));
    }
    let route = [Kind::Target.plural(), id, limit].into_iter().chain(side).map(str::to_owned).collect();
    let address = Address { record, route };
    let before = address.text(loaded).unwrap_or_default();
    let new =
        Quantity::parse(to).map_err(|error| Error::new(format!("`{}` is not a limit", shorten(to))).because(error))?;
    if let Ok(old) = Quantity::parse(&before) {
        same_dimension(&format!("{id}.{key}"), &old, to)?;
        if old.same_value(&new) && old.unit() == new.unit() {
            return Err(Error::new(format!("the limit of {id} is {before} already")).help("give another limit"));
        }
        if old.same_value(&new) {
            let help = format!("to write it in another unit, use `tierod set {id}.{key} '{new}'`");
            return Err(Error::new(format!("{new} is the limit of {id} already, written as {before}")).help(help));
        }
    }
    for (text, option) in [(reason, "--reason"), (agreed_by, "--agreed-by")] {
        if text.trim().is_empty() {
            return Err(
                Error::new(format!("`{option}` is empty")).help("say in one sentence why, and which role agreed")
            );
        }
    }
    let date = date.unwrap_or(edits.day());
    if date > edits.day() {
        return Err(Error::new(format!("the date {date} is after today, {}", edits.day()))
            .help("give the day on which it was agreed"));
    }
    let revision = match revision {
        Some(revision) => revision.to_owned(),
        None => free_id(edits, &format!("{id}-{date}")),
    };
    let revision = Id::new(&revision).map_err(Error::new)?;
    let keys = [
        ("of", Value::plain(id)),
        ("from", Value::plain(before)),
        ("to", Value::typed(to)),
        ("date", Value::plain(date.to_string())),
        ("agreed-by", Value::text(agreed_by.trim())),
        ("reason", Value::text(reason.trim())),
    ];
    let path = edits.path_of(record).to_owned();
    let file = revisions_file(edits).unwrap_or_else(|| path.clone());
    edits.change(&path, address.set(edits.loaded(), Value::typed(to)));
    edits.keep_right(id);
    edits.change(&file, Change::add_record(Kind::Revision, revision.as_str(), keys));
    Ok(revision)
}

/// An id that no record has.
fn free_id(edits: &Edits, id: &str) -> String {
    let mut number = 2;
    let mut free = id.to_owned();
    while edits.loaded().find(&free).is_some() {
        free = format!("{id}-{number}");
        number += 1;
    }
    free
}

/// The file with the last revision, otherwise one with a place for revisions.
fn revisions_file(edits: &Edits) -> Option<String> {
    let loaded = edits.loaded();
    let is_revision = |id: &crate::RecordId| loaded.record(*id).kind() == Kind::Revision;
    if let Some(last) = loaded.record_ids().rfind(is_revision) {
        return Some(edits.path_of(last).to_owned());
    }
    let mut trees = Trees::new(loaded);
    let has_place = |id: &crate::RecordId| {
        let tree = trees.of_record(*id);
        tree.is_some_and(|tree| tree.root().is_some_and(|root| tree.entry(root, Kind::Revision.plural()).is_some()))
    };
    loaded.record_ids().find(has_place).map(|id| edits.path_of(id).to_owned())
}
