//! `key=value` as it is typed.

use schema::edit::Value;
use schema::{Day, suggest};
use trace::Error;
use trace::edit::amount_meant;
use trace::new_record::NewRecord;

use crate::commands::keys::Key;
use crate::screen::clean;

/// Sets what a word says: `verify.by=test`.
pub(super) fn add(record: &mut NewRecord, known: &[Key], word: &str, today: Day) -> Result<(), Error> {
    let Some((route, text)) = word.split_once('=') else {
        let error = Error::new(format!("`{}` is not `key=value`", clean(word)));
        return Err(
            error.help("write the key, `=` and the value; put a value with spaces in quotes: `value='0.62 kg'`")
        );
    };
    let route: Vec<&str> = route.split('.').collect();
    let key = find(record, known, &route)?;
    if let ([top], Some(key)) = (&route[..], key)
        && let Some(near) = named_below(key, text)
    {
        let error = Error::new(format!("`{top}` is a map of names, and `{}` is one text", clean(text)));
        return Err(error.help(near));
    }
    if text.trim().is_empty() {
        return Err(
            Error::new(format!("`{}` has no value", route.join("."))).help("give a value, or leave the key out")
        );
    }
    let is_reason = matches!(route[..], ["serves", _]);
    record.set(&route, if is_reason { reason(text) } else { value(key, text, today) })
}

/// How to write a map of names, if a text is given in its place.
fn named_below(key: &Key, text: &str) -> Option<String> {
    if !key.has_names() || key.forms().iter().any(|form| !form.starts_with("a map")) || text.trim().starts_with('{') {
        return None;
    }
    let (top, text) = (key.name(), text.trim());
    let is_id = schema::words::Id::new(text).is_ok();
    Some(match top {
        "serves" if is_id => format!("write `serves.{text}='reason'`, with the reason in one sentence"),
        "serves" => "write `serves.ID='reason'`, with the id of what it serves".to_owned(),
        "amounts" => format!("write `amounts.mass='{}'`", clean(text)),
        _ => format!("write `{top}.NAME='{}'`", clean(text)),
    })
}

/// The key at the end of a route; `None` if it has a name of the team, as an id under `serves`.
fn find<'k>(record: &NewRecord, known: &'k [Key], route: &[&str]) -> Result<Option<&'k Key>, Error> {
    let (mut keys, mut found): (&[Key], Option<&Key>) = (known, None);
    for (at, step) in route.iter().enumerate() {
        if let Some(key) = keys.iter().find(|key| key.name() == *step) {
            keys = key.below();
            found = Some(key);
            // Below it comes a name, and below that the keys of what the map holds.
            if key.has_names() {
                return Ok(match route.get(at + 1..).unwrap_or_default() {
                    [] => Some(key),
                    [_] => None,
                    [.., last] => keys.iter().find(|key| key.name() == *last),
                });
            }
            continue;
        }
        let names = || keys.iter().map(Key::name);
        if let Some(meant) = amount_meant(record.kind, step).filter(|_| at == 0) {
            let error = Error::new(format!("`{}` is not a key of a part", clean(step)));
            return Err(error.help(format!("write `amounts.{meant}=...`: amounts are below their name")));
        }
        let inside = match at {
            0 => record.kind.with_article(),
            _ => format!("`{}`", route[..at].join(".")),
        };
        let list = if keys.is_empty() {
            format!("`{}` has no keys in it", route[..at].join("."))
        } else {
            format!("{inside} has the keys {}", names().collect::<Vec<_>>().join(", "))
        };
        let error = Error::new(format!("unknown key `{}` of {inside}", clean(step)));
        return Err(error.help(suggest::did_you_mean(step, names(), &list)));
    }
    Ok(found)
}

/// A value as it is typed, in the form that its key has.
pub(super) fn value(key: Option<&Key>, text: &str, today: Day) -> Value {
    let text = text.trim();
    if text.starts_with(['[', '{', '"', '\'']) {
        return Value::typed(text);
    }
    match key {
        Some(key) if key.is_date() && text.eq_ignore_ascii_case("today") => Value::plain(today.to_string()),
        Some(key) if key.is_list() => Value::List(text.split(',').map(|item| Value::typed(item.trim())).collect()),
        Some(key) if key.is_text() => Value::text(text),
        _ => Value::typed(text),
    }
}

/// The reason of a link: a text, whatever it looks like.
pub(super) fn reason(text: &str) -> Value {
    if text.starts_with(['"', '\'']) { Value::typed(text) } else { Value::text(text.trim()) }
}
