//! A value in place of another one, and removing keys and records.

use schema::Quantity;
use schema::edit::{Change, Value};
use schema::records::Kind;
use schema::words::shorten;

use super::{Address, Edits};
use crate::graph::named_in;
use crate::{Error, RecordId};

/// More records than this are counted in a message.
const MOST_LISTED: usize = 8;

/// Sets the value that a text names, as in `front-upright.mass`.
///
/// # Errors
/// No such record; no key; an id; a quantity of another dimension than the one that is there.
pub fn set(edits: &mut Edits, address: &str, value: &str) -> Result<RecordId, Error> {
    let loaded = edits.loaded();
    let at = Address::parse(loaded, address)?;
    let id = loaded.record(at.record).id.to_string();
    if at.keys() == ["id"] {
        let help = format!("use `tierod rename {id} {}`: it changes every reference, too", shorten(value));
        return Err(Error::new("an id is not a key").help(help));
    }
    if let Some(before) = at.quantity(loaded) {
        same_dimension(&format!("{id}.{}", at.keys().join(".")), &before, value)?;
    }
    let change = at.set(loaded, Value::typed(value));
    let path = edits.path_of(at.record).to_owned();
    edits.change(&path, change);
    edits.keep_right(&id);
    Ok(at.record)
}

/// Refuses a quantity of another dimension than the one that it replaces: what has a unit keeps one of the same kind.
/// Money can change its currency.
pub(super) fn same_dimension(what: &str, before: &Quantity, value: &str) -> Result<(), Error> {
    let Ok(new) = Quantity::parse(value.trim().trim_matches(['"', '\''])) else { return Ok(()) };
    let (old, own) = (before.unit().dimension(), new.unit().dimension());
    if old == own || (old.currency().is_some() && own.currency().is_some()) {
        return Ok(());
    }
    let unit = before.unit();
    let digits =
        new.text().find(|c: char| c.is_whitespace() || c.is_alphabetic() || c == '±').unwrap_or(new.text().len());
    let number = unit.after(new.text()[..digits].trim());
    let message = match (unit.to_string().is_empty(), new.unit().to_string().is_empty()) {
        (_, true) => format!("`{new}` has no unit: {what} is `{before}`"),
        (true, _) => format!("`{new}` has a unit: {what} is `{before}`"),
        _ => format!("`{new}` is of another kind than {what}, which is `{before}`"),
    };
    let help =
        format!("write `{number}`; for another kind of quantity remove the key first: `tierod set {what} --remove`");
    Err(Error::new(message).help(help))
}

/// Removes a key with its value, an item of a list, or a whole record if the text is only an id.
///
/// # Errors
/// Nothing there; a record that others name.
pub fn remove(edits: &mut Edits, address: &str) -> Result<RecordId, Error> {
    let loaded = edits.loaded();
    if !address.contains('.') {
        return remove_record(edits, address);
    }
    let at = Address::parse(loaded, address)?;
    if !at.exists(loaded) {
        let own = Address::own_keys(loaded, at.record);
        let error = Error::new(format!("{} has no `{}`", loaded.record(at.record).id, shorten(&at.keys().join("."))));
        return Err(error.help(format!("its keys are {}", own.join(", "))));
    }
    let path = edits.path_of(at.record).to_owned();
    edits.change(&path, Change::Remove { at: at.route });
    Ok(at.record)
}

fn remove_record(edits: &mut Edits, id: &str) -> Result<RecordId, Error> {
    let loaded = edits.loaded();
    let record = loaded.named(id)?;
    let names = |from: RecordId| {
        named_in(loaded.record(from)).any(|(_, to)| to == id || to.split_once('.').is_some_and(|(to, _)| to == id))
            || super::rename::formulas_name(loaded.record(from), id)
    };
    let naming: Vec<&str> = loaded
        .record_ids()
        .filter(|from| *from != record && names(*from))
        .map(|from| loaded.record(from).id.as_str())
        .collect();
    if !naming.is_empty() {
        let (number, shown) = (naming.len(), &naming[..naming.len().min(MOST_LISTED)]);
        let more = if number > MOST_LISTED { format!(" and {} more", number - MOST_LISTED) } else { String::new() };
        let (who, verb) = if number == 1 { ("record", "names") } else { ("records", "name") };
        return Err(Error::new(format!("{number} {who} {verb} {id}: {}{more}", shown.join(", ")))
            .help("remove these references or records first"));
    }
    let path = edits.path_of(record).to_owned();
    let at = [loaded.record(record).kind().plural(), id];
    edits.change(&path, Change::remove(at));
    Ok(record)
}

/// What a key that a part does not have is meant for: the name of an amount, or a key of one, below `amounts`.
pub fn amount_meant(kind: Kind, key: &str) -> Option<&'static str> {
    let all = [
        ("mass", "mass"),
        ("weight", "mass"),
        ("cost", "cost"),
        ("price", "cost"),
        ("basis", "mass.basis"),
        ("value", "mass"),
    ];
    all.iter().find(|(word, _)| kind == Kind::Part && *word == key).map(|(_, route)| *route)
}
