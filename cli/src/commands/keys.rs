//! The keys of records and settings, from the JSON Schema: their meaning, whether they are required, and the forms that
//! their values can have.

use std::fmt::Write as _;

use schema::{Kind, renamed};
use serde_json::{Map, Value, json};

use crate::screen::Ink;

/// A key with its position: the kind of record (or `settings`) and the keys above it.
pub(crate) struct Key {
    /// `target.verify` for the keys of a verification; without the key itself.
    above: String,
    name: String,
    meaning: String,
    required: bool,
    /// The keys of which one is required, if it is one of them.
    one_of: Vec<String>,
    /// The forms of its value, each in a few words.
    forms: Vec<String>,
    /// The words that its value can be, if it has such a list.
    words: Vec<String>,
    /// Whether its value is a map whose keys are names of the team: ids, amounts.
    has_names: bool,
    below: Vec<Self>,
}

/// The kind with this name, as in `part` or `parts`.
pub(crate) fn kind(name: &str) -> Option<Kind> {
    Kind::from_singular(name).or_else(|| Kind::from_plural(name))
}

impl Key {
    /// The key.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// What it means.
    pub(crate) fn meaning(&self) -> &str {
        &self.meaning
    }

    /// Whether it is required.
    pub(crate) fn is_required(&self) -> bool {
        self.required
    }

    /// The forms of its value, each in a few words.
    pub(crate) fn forms(&self) -> &[String] {
        &self.forms
    }

    /// The words that its value can be.
    pub(crate) fn words(&self) -> &[String] {
        &self.words
    }

    /// Whether its value is a map whose keys are names of the team.
    pub(crate) fn has_names(&self) -> bool {
        self.has_names
    }

    /// Whether its value is a map.
    pub(crate) fn is_map(&self) -> bool {
        self.has_names || !self.below.is_empty()
    }

    /// Whether its value is a list and nothing else.
    pub(crate) fn is_list(&self) -> bool {
        !self.forms.is_empty() && self.forms.iter().all(|form| form.starts_with("a list"))
    }

    /// Whether its value can be a map with keys of its own.
    pub(crate) fn has_map_form(&self) -> bool {
        self.forms.iter().any(|form| form.starts_with("a map"))
    }

    /// Whether its value can be written without brackets.
    pub(crate) fn has_simple_form(&self) -> bool {
        self.forms.iter().any(|form| !form.starts_with("a map") && !form.starts_with("a list"))
    }

    /// Whether its value is a text and nothing else.
    pub(crate) fn is_text(&self) -> bool {
        self.forms == ["a text"]
    }

    /// Whether its value is a date.
    pub(crate) fn is_date(&self) -> bool {
        self.forms.iter().any(|form| form.starts_with("a date"))
    }

    /// The keys below it.
    pub(crate) fn below(&self) -> &[Self] {
        &self.below
    }

    pub(crate) fn json(&self) -> Value {
        let mut below = Vec::new();
        self.below.iter().for_each(|key| key.all(&mut below));
        let mut own = self.own_json();
        own["keys"] = below.into_iter().map(Self::own_json).collect();
        own
    }

    fn own_json(&self) -> Value {
        json!({
            "key": self.name,
            "in": self.above,
            "meaning": self.meaning,
            "required": self.required,
            "forms": self.forms,
        })
    }

    /// The text in a list of keys.
    fn line(&self) -> String {
        match self.need() {
            Some(need) => format!("({need}) {}", self.meaning),
            None => self.meaning.clone(),
        }
    }

    /// Whether it must be given, as text.
    fn need(&self) -> Option<String> {
        if self.required {
            return Some("required".to_owned());
        }
        (!self.one_of.is_empty()).then(|| format!("one of {} is required", self.one_of.join(", ")))
    }

    fn is_same(&self, other: &Self) -> bool {
        (&self.meaning, self.required, &self.forms) == (&other.meaning, other.required, &other.forms)
    }

    /// This key and all below it.
    fn all<'k>(&'k self, out: &mut Vec<&'k Self>) {
        out.push(self);
        self.below.iter().for_each(|key| key.all(out));
    }
}

/// The keys of a kind of record.
pub(crate) fn of_kind(kind: Kind) -> Vec<Key> {
    let root = schema::json_schema::records();
    let records = &root["properties"][kind.plural()]["additionalProperties"];
    keys(&root, records, kind.singular(), 0)
}

/// The keys of the settings.
pub(crate) fn of_settings() -> Vec<Key> {
    let root = schema::json_schema::settings();
    keys(&root, &root, "settings", 0)
}

/// The keys with this name, or with this position: `verify`, `target.verify`. An old name gives those of the new one.
pub(crate) fn named(name: &str) -> (Option<String>, Vec<Key>) {
    let mut found = Vec::new();
    let mut top: Vec<Key> = Kind::ALL.iter().flat_map(|kind| of_kind(*kind)).collect();
    top.extend(of_settings());
    let renamed = Kind::ALL.iter().find_map(|kind| renamed::notice(renamed::Use::Key(*kind), name));
    let exists = |name: &str| {
        let mut all = Vec::new();
        top.iter().for_each(|key| key.all(&mut all));
        all.iter().any(|key| key.name == name)
    };
    let (notice, name) = match renamed {
        Some((notice, new)) if !exists(name) => (Some(notice), new),
        _ => (None, name),
    };
    let (above, last) = name.rsplit_once('.').map_or((None, name), |(above, last)| (Some(above), last));
    collect(top, above, last, &mut found);
    (notice, found)
}

fn collect(keys: Vec<Key>, above: Option<&str>, name: &str, out: &mut Vec<Key>) {
    for mut key in keys {
        let below = std::mem::take(&mut key.below);
        let is_there = above.is_none_or(|above| key.above == above || key.above.ends_with(&format!(".{above}")));
        if key.name == name && is_there {
            key.below = below;
            out.push(key);
        } else {
            collect(below, above, name, out);
        }
    }
}

/// The names of all keys, for a suggestion.
pub(crate) fn names() -> Vec<String> {
    let mut top: Vec<Key> = Kind::ALL.iter().flat_map(|kind| of_kind(*kind)).collect();
    top.extend(of_settings());
    let mut all = Vec::new();
    top.iter().for_each(|key| key.all(&mut all));
    let mut names: Vec<String> = all.into_iter().map(|key| key.name.clone()).collect();
    names.sort_unstable();
    names.dedup();
    names
}

/// Keys deeper than this are not followed.
const DEEPEST: usize = 4;

fn keys(root: &Value, schema: &Value, above: &str, depth: usize) -> Vec<Key> {
    let schema = resolved(root, schema);
    let mut out = Vec::new();
    if depth > DEEPEST {
        return out;
    }
    let required: Vec<&str> = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    let choices = schema["oneOf"].as_array().into_iter().flatten();
    let excluding: Vec<String> =
        choices.filter_map(|choice| choice["required"][0].as_str()).map(str::to_owned).collect();
    for (name, value) in schema["properties"].as_object().into_iter().flatten() {
        let below_name = format!("{above}.{name}");
        let mut forms = Vec::new();
        add_forms(root, value, &mut forms);
        let one_of = if excluding.contains(name) { excluding.clone() } else { Vec::new() };
        out.push(Key {
            above: above.to_owned(),
            name: name.clone(),
            meaning: meaning(root, value),
            required: required.contains(&name.as_str()),
            one_of,
            forms,
            words: words(root, value),
            has_names: has_names(root, value),
            below: keys_in(root, value, &below_name, depth + 1),
        });
    }
    out
}

/// The keys of the maps that a value can be, or contain.
fn keys_in(root: &Value, value: &Value, above: &str, depth: usize) -> Vec<Key> {
    let value = resolved(root, value);
    let mut out = keys(root, value, above, depth);
    for choice in choices(value) {
        out.extend(keys_in(root, choice, above, depth));
    }
    for inner in [&value["items"], &value["additionalProperties"]] {
        if inner.is_object() {
            out.extend(keys_in(root, inner, above, depth));
        }
    }
    let mut seen: Vec<String> = Vec::new();
    out.retain(|key| {
        !seen.contains(&key.name) && {
            seen.push(key.name.clone());
            true
        }
    });
    out
}

fn resolved<'s>(root: &'s Value, schema: &'s Value) -> &'s Value {
    let reference = schema["$ref"].as_str().and_then(|path| root.pointer(path.trim_start_matches('#')));
    reference.unwrap_or(schema)
}

/// The words of a value that is one of a list.
fn words(root: &Value, schema: &Value) -> Vec<String> {
    let schema = resolved(root, schema);
    let listed = schema["enum"].as_array().into_iter().flatten().chain([&schema["const"]]);
    let own = listed.filter_map(Value::as_str).map(str::to_owned);
    own.chain(choices(schema).flat_map(|choice| words(root, choice))).collect()
}

fn has_names(root: &Value, schema: &Value) -> bool {
    let schema = resolved(root, schema);
    schema["additionalProperties"].is_object() || choices(schema).any(|choice| has_names(root, choice))
}

fn choices(schema: &Value) -> impl Iterator<Item = &Value> {
    // `oneOf` of keys that exclude each other has no types.
    let all = [&schema["oneOf"], &schema["anyOf"]].into_iter().filter_map(Value::as_array).flatten();
    all.filter(|choice| choice.as_object().is_some_and(|choice| !choice.keys().all(|key| key == "required")))
}

fn meaning(root: &Value, value: &Value) -> String {
    let own = value["description"].as_str().or_else(|| resolved(root, value)["description"].as_str());
    own.unwrap_or("").replace('\n', " ")
}

/// Adds the forms of a value, without repeating one.
fn add_forms(root: &Value, schema: &Value, out: &mut Vec<String>) {
    let schema = resolved(root, schema);
    let mut all: Vec<&Value> = choices(schema).collect();
    if !all.is_empty() && all.iter().all(|choice| choice["const"].is_string()) {
        let words: Vec<String> =
            all.iter().filter_map(|word| word["const"].as_str()).map(|word| format!("`{word}`")).collect();
        push(out, schema::suggest::any_of(words.iter().map(String::as_str)));
        return;
    }
    if all.is_empty() {
        push(out, form(root, schema));
    }
    for choice in all.drain(..) {
        add_forms(root, choice, out);
    }
}

fn push(out: &mut Vec<String>, form: String) {
    if !form.is_empty() && !out.contains(&form) {
        out.push(form);
    }
}

/// The form of a value that has only one.
fn form(root: &Value, schema: &Value) -> String {
    let empty = Map::new();
    let object = schema.as_object().unwrap_or(&empty);
    if let Some(words) = object.get("enum").and_then(Value::as_array) {
        let words: Vec<String> = words.iter().filter_map(Value::as_str).map(|word| format!("`{word}`")).collect();
        return schema::suggest::any_of(words.iter().map(String::as_str));
    }
    let types: Vec<&str> = match object.get("type") {
        Some(Value::String(one)) => vec![one],
        Some(Value::Array(several)) => several.iter().filter_map(Value::as_str).collect(),
        _ => return String::new(),
    };
    let pattern = object.get("pattern").and_then(Value::as_str).unwrap_or("");
    let has = |name: &str| types.contains(&name);
    let inner = |key: &str| {
        let mut forms = Vec::new();
        object.get(key).into_iter().for_each(|inner| add_forms(root, inner, &mut forms));
        forms.join(" or ")
    };
    if has("string") && has("number") && has("array") {
        return "a quantity (`4.25 s`), the name of a value (`car-mass`), a formula (`car-mass + 75 kg`), or for an input \
                that is a list `[2.5, 2, 1.6]` or `\"2.5, 2, 1.6\"`"
            .to_owned();
    }
    if has("string") && has("number") {
        return "a quantity: `4.25 s`, `0.62 kg ± 0.02 kg`, `20 %`".to_owned();
    }
    if has("array") {
        let some = match object.get("minItems").and_then(Value::as_u64) {
            Some(count @ 2..) if object.get("maxItems").and_then(Value::as_u64) == Some(count) => {
                format!("{count} of: ")
            }
            _ => String::new(),
        };
        return format!("a list `[...]` of {some}{}", inner("items"));
    }
    if has("object") {
        if object.contains_key("properties") {
            let keys: Vec<&str> =
                object["properties"].as_object().into_iter().flatten().map(|(key, _)| key.as_str()).collect();
            return format!("a map `{{...}}` with the keys {}", keys.join(", "));
        }
        let of = inner("additionalProperties");
        return if of.is_empty() {
            "a map `{...}`".to_owned()
        } else {
            format!("a map `{{name: ...}}`, each with {of}")
        };
    }
    match () {
        () if object.get("format").and_then(Value::as_str) == Some("date") => "a date: `2027-05-21`".to_owned(),
        () if pattern == schema::words::ID_PATTERN => "an id or name in kebab-case: `front-upright`".to_owned(),
        () if pattern == schema::words::REF_PATTERN => "an id, or an id and an amount: `engine-unit.mass`".to_owned(),
        () if pattern.ends_with("%$") => "a percentage: `50 %`".to_owned(),
        () if has("boolean") => "`true` or `false`".to_owned(),
        () if pattern == schema::settings::imports::HEADER_PATTERN => "a row: `3`, or two: `3-4`".to_owned(),
        () if has("integer") => "a whole number".to_owned(),
        () if has("string") => "a text".to_owned(),
        () => String::new(),
    }
}

/// A list of keys.
pub(crate) fn list(out: &mut String, keys: &[Key], ink: Ink) {
    for key in keys {
        ink.block(out, &key.name, 16, &key.line());
    }
}

/// The docs of keys with the same name; those that are the same in several kinds of records are shown once.
pub(crate) fn docs(notice: Option<&str>, found: &[Key], ink: Ink) -> String {
    let mut out = String::new();
    if let Some(notice) = notice {
        let _ = writeln!(out, "{notice}\n");
    }
    let mut shown = vec![false; found.len()];
    for (at, key) in found.iter().enumerate() {
        if shown[at] {
            continue;
        }
        let mut places = Vec::new();
        for (other, same) in found.iter().enumerate().skip(at) {
            if !shown[other] && key.is_same(same) {
                shown[other] = true;
                places.push(same.above.as_str());
            }
        }
        if at > 0 {
            out.push('\n');
        }
        let _ = writeln!(out, "{}  (key of {})", ink.strong(&key.name), places.join(", "));
        ink.block(&mut out, "meaning", 8, &key.meaning);
        if let Some(need) = key.need() {
            ink.block(&mut out, "needed", 8, &need);
        }
        for (number, form) in key.forms.iter().enumerate() {
            ink.block(&mut out, if number == 0 { "form" } else { "or" }, 8, form);
        }
        if !key.below.is_empty() {
            let _ = writeln!(out, "{}", ink.strong("its keys"));
            list(&mut out, &key.below, ink);
        }
    }
    out
}
