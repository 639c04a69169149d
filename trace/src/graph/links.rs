//! The keys of a record that name other records, and the kinds that each may name.

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::records::roles::any_kind_of;
use schema::records::{Analysis, Body, Expression, Kind, NONE, ReferenceKey, SetTo};
use schema::suggest;
use schema::words::{CAR, is_kebab_case, shorten};
use schema::{Entries, Record};

use super::Link;
use crate::ids::RecordId;
use crate::load::{Loaded, is_table, is_table_name};
use crate::stress;

/// A key that names another record.
pub(super) struct Reference<'r> {
    /// The link of its edge; `None` if it adds no edge.
    pub link: Option<Link>,
    /// The keys below the record; the name itself is last if it is a key or an item.
    pub route: Vec<&'r str>,
    /// The id named.
    pub to: &'r str,
    /// What the name may refer to.
    pub expected: Expected,
    /// Why, on `serves`.
    pub reason: Option<&'r str>,
}

/// What a name may refer to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Expected {
    /// The kinds that the key may name, according to the table of kinds.
    Named(ReferenceKey),
    /// The car, or the kinds that the key may name.
    CarOr(ReferenceKey),
    /// A value: a target, an event or a goal, or an amount of the car, a system or a part.
    Value,
    /// What an alternative can set: a target or an event, an amount or a count, or an input of an analysis.
    Settable,
    /// A part, which an alternative takes out.
    Part,
    /// Any record.
    Any,
    /// An existing file.
    File,
}

/// A reference to a missing record or file, or to a record of the wrong kind.
#[derive(Debug)]
pub struct Broken {
    /// The record with the reference.
    pub from: RecordId,
    /// The keys below it.
    pub route: Vec<String>,
    /// Whether the name itself is a key.
    pub is_key: bool,
    /// The id, if no record has it.
    pub missing: Option<String>,
    /// The record with the most similar id, which the help suggests.
    pub near: Option<RecordId>,
    /// The message.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// Every reference of a record, in the order of its keys.
pub(super) fn references(record: &Record) -> Vec<Reference<'_>> {
    let mut all = Collector(Vec::new());
    match &record.body {
        Body::Goal(goal) => {
            if let Some(file) = goal.past_standings.as_ref().and_then(|table| table.file.as_deref()) {
                all.name(None, &["past-standings", "file"], file, Expected::File);
            }
        }
        Body::Event(event) => {
            let score = event.score.as_ref();
            let sheet = score.and_then(|score| crate::sheets::find(score.r#use.as_deref()?));
            let mut local: HashSet<&str> = sheet.into_iter().flat_map(|sheet| sheet.names()).chain([NONE]).collect();
            local.extend(score.iter().flat_map(|score| score.given.keys().map(schema::Id::as_str)));
            all.values("reads", &event.reads, &local);
            if let Some(chance) = event.chance.as_ref().map(Expression::text)
                && is_name(chance)
                && event.reads.get(chance).is_none()
            {
                all.name(None, &["chance"], chance, Expected::Value);
            }
            if let Some(score) = score {
                local.extend(event.reads.keys().map(schema::Id::as_str));
                all.values("score", &score.given, &local);
            }
        }
        Body::System(system) => {
            all.id(Link::In, "in", system.r#in.as_ref(), Expected::CarOr(ReferenceKey::In));
            for id in system.for_parts.iter().flat_map(|group| group.serves.keys()) {
                // The parts have these links, not the system.
                let route = ["for-parts", "serves", id.as_str()];
                all.name(None, &route, id.as_str(), Expected::Named(ReferenceKey::Serves));
            }
        }
        Body::Target(target) => {
            all.id(Link::Of, "of", target.of.as_ref(), Expected::CarOr(ReferenceKey::Subject));
            if let Some(budget) = &target.share_of {
                all.name(None, &["share-of"], budget.as_str(), Expected::Named(ReferenceKey::ShareOf));
            }
            all.values("given", &target.given, &HashSet::default());
        }
        Body::Requirement(requirement) => {
            all.id(Link::Of, "of", requirement.of.as_ref(), Expected::CarOr(ReferenceKey::Subject));
        }
        Body::Part(part) => all.id(Link::In, "in", part.r#in.as_ref(), Expected::Named(ReferenceKey::In)),
        Body::Analysis(analysis) => {
            all.inputs(analysis);
            let found = analysis.finds.as_ref().map(|finds| finds.targets()).unwrap_or_default();
            let is_list = matches!(analysis.finds, Some(schema::records::Finds::Values(_)));
            for id in found {
                let route: &[&str] = if is_list { &["finds", id.as_str()] } else { &["finds"] };
                all.name(Some(Link::Finds), route, id.as_str(), Expected::Named(ReferenceKey::Finds));
            }
            for id in &analysis.informs {
                let expected = Expected::Named(ReferenceKey::Informs);
                all.name(Some(Link::Informs), &["informs", id.as_str()], id.as_str(), expected);
            }
            for id in &analysis.supersedes {
                all.name(None, &["supersedes", id.as_str()], id.as_str(), Expected::Named(ReferenceKey::Supersedes));
            }
        }
        Body::Decision(decision) => {
            all.id(Link::Of, "of", decision.of.as_ref(), Expected::CarOr(ReferenceKey::Subject));
            for id in &decision.criteria {
                all.name(
                    Some(Link::Criteria),
                    &["criteria", id.as_str()],
                    id.as_str(),
                    Expected::Named(ReferenceKey::Criteria),
                );
            }
            for (name, alternative) in decision.alternatives.iter() {
                for (reference, setting) in alternative.sets.iter() {
                    let route = ["alternatives", name.as_str(), "sets", reference.as_str()];
                    let is_removal = setting.value == SetTo::Nothing && reference.parts().1.is_none();
                    let expected = if is_removal { Expected::Part } else { Expected::Settable };
                    all.name(None, &route, reference.as_str(), expected);
                    if let SetTo::Text(text) = &setting.value
                        && is_table_name(text)
                    {
                        all.name(None, &route, text, Expected::File);
                    }
                }
            }
        }
        Body::Result(result) => {
            all.id(Link::Verifies, "of", result.of.as_ref(), Expected::Named(ReferenceKey::Verified));
            for id in &result.supersedes {
                let expected = Expected::Named(ReferenceKey::SupersedesResult);
                all.name(None, &["supersedes", id.as_str()], id.as_str(), expected);
            }
        }
        Body::Revision(revision) => {
            all.id(Link::Of, "of", revision.of.as_ref(), Expected::Named(ReferenceKey::Revised));
        }
        Body::Waiver(waiver) => {
            if let Some(of) = &waiver.of {
                all.name(None, &["of"], of.as_str(), Expected::Any);
            }
        }
    }
    let serves = record.body.common().serves();
    for (id, reason) in serves.iter().filter(|_| record.kind().roles().may_serve) {
        all.name(Some(Link::Serves), &["serves", id.as_str()], id.as_str(), Expected::Named(ReferenceKey::Serves));
        if let Some(last) = all.0.last_mut() {
            last.reason = reason.0.as_deref();
        }
    }
    all.0
}

/// Every id, or value by its id, that a record names: the keys below the record, and the name.
pub(crate) fn named_in(record: &Record) -> impl Iterator<Item = (Vec<&str>, &str)> {
    let all = references(record).into_iter().filter(|reference| reference.expected != Expected::File);
    all.map(|reference| (reference.route, reference.to))
}

struct Collector<'r>(Vec<Reference<'r>>);

impl<'r> Collector<'r> {
    fn name(&mut self, link: Option<Link>, route: &[&'r str], to: &'r str, expected: Expected) {
        self.0.push(Reference { link, route: route.to_vec(), to, expected, reason: None });
    }

    fn id(&mut self, link: Link, key: &'r str, id: Option<&'r schema::Id>, expected: Expected) {
        if let Some(id) = id {
            self.name(Some(link), &[key], id.as_str(), expected);
        }
    }

    /// The inputs of an analysis.
    fn inputs(&mut self, analysis: &'r Analysis) {
        let local = HashSet::default();
        for (name, value) in analysis.given.iter() {
            if !stress::is_text(analysis, name.as_str()) {
                self.value("given", name, value, &analysis.given, &local);
            } else if name.as_str() == stress::FILE && stress::is_stress_file(value.text()) {
                self.name(None, &["given", name.as_str()], value.text(), Expected::File);
            }
        }
    }

    /// Inputs that are a single name; names inside formulas are checked with the formulas.
    fn values(&mut self, key: &'r str, given: &'r Entries<schema::Id, Expression>, local: &HashSet<&str>) {
        for (name, value) in given.iter() {
            self.value(key, name, value, given, local);
        }
    }

    fn value(
        &mut self,
        key: &'r str,
        name: &'r schema::Id,
        value: &'r Expression,
        given: &'r Entries<schema::Id, Expression>,
        local: &HashSet<&str>,
    ) {
        let text = value.text();
        let route: &[&str] = if key == "score" { &["score", "given", name.as_str()] } else { &[key, name.as_str()] };
        if let Some(file) = value.past_file() {
            let route: Vec<&str> = route.iter().copied().chain(["past"]).collect();
            self.name(None, &route, file, Expected::File);
        } else if is_table(value) {
            self.name(None, route, text, Expected::File);
        } else if is_name(text) && !local.contains(text) && given.get(text).is_none() {
            self.name(None, route, text, Expected::Value);
        }
    }
}

/// Whether a text is a single name: not a number, and not the constant `pi`.
fn is_name(text: &str) -> bool {
    let (id, amount) = text.split_once('.').unwrap_or((text, "x"));
    is_kebab_case(id) && is_kebab_case(amount) && text != "pi"
}

/// The record that a reference names; `None` for the car, a file, or a record that could not be read.
///
/// The search for a similar name takes time in proportion to the number of records, so it is optional (`suggest`).
/// `renamed` finds the record that had an id before.
pub(super) fn resolve(
    loaded: &Loaded,
    from: RecordId,
    reference: &Reference<'_>,
    suggest: bool,
    renamed: impl Fn(&str) -> Option<RecordId>,
) -> Result<Option<RecordId>, Broken> {
    // Items of a list are found by their text: there the name is the value.
    let is_key = reference.route.len() > 1 && reference.route.last() == Some(&reference.to);
    let broken = |message: String, help: String| {
        let route = reference.route.iter().map(|key| (*key).to_owned()).collect();
        Broken { from, route, is_key, missing: None, near: None, message, help }
    };
    let name = reference.to;
    let (id, amount) = match reference.expected {
        Expected::File if loaded.present.contains(name) => return Ok(None),
        Expected::File => {
            let message = format!("file missing or empty: `{}`", shorten(name));
            return Err(broken(message, "add the file, or correct its path (relative to the project root)".to_owned()));
        }
        Expected::Value | Expected::Settable => {
            name.split_once('.').map_or((name, None), |(id, amount)| (id, Some(amount)))
        }
        _ => (name, None),
    };
    if id == CAR {
        let fits = match reference.expected {
            Expected::CarOr(_) | Expected::Any => true,
            Expected::Value | Expected::Settable => amount.is_some(),
            Expected::Named(_) | Expected::Part | Expected::File => false,
        };
        return if fits {
            Ok(None)
        } else {
            let help = format!("use {} here", reference.expected.text());
            Err(broken(format!("`{name}` is the whole car"), help))
        };
    }
    let Some(index) = loaded.find(id) else {
        if loaded.damaged.contains_key(id) {
            return Ok(None);
        }
        let message = format!("no record with id `{}`", shorten(id));
        if let Some(now) = renamed(id) {
            let help = renamed_help(&loaded.record(now).id);
            return Err(Broken { missing: Some(id.to_owned()), ..broken(message, help) });
        }
        let fits = |index: &RecordId| reference.expected.allows(loaded.record(*index).kind(), amount.is_some());
        let candidates = loaded.record_ids().filter(|index| fits(index));
        let near =
            suggest.then(|| suggest::nearest(id, candidates.map(|index| loaded.record(index).id.as_str()))).flatten();
        let help = match near {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("add the record, or use {} that exists", reference.expected.text()),
        };
        let near = near.and_then(|near| loaded.find(near));
        return Err(Broken { missing: Some(id.to_owned()), near, ..broken(message, help) });
    };
    let kind = loaded.record(index).kind();
    // A name that another event gives or reads, for example the best time that two events share.
    if let (Expected::Value, Some(event), Some(name)) = (reference.expected, loaded.event(index), amount) {
        let score = event.score.as_ref();
        if event.reads.get(name).is_some() || score.is_some_and(|score| score.given.get(name).is_some()) {
            return Ok(Some(index));
        }
        let given = || score.into_iter().flat_map(|score| score.given.keys());
        let names = || given().chain(event.reads.keys()).map(schema::Id::as_str);
        let near = if suggest { suggest::nearest(name, names()) } else { None };
        let help = near.map(|near| format!("did you mean `{id}.{near}`?"));
        let example = |own| format!("use a name under its `given` or `reads`, for example `{id}.{own}`");
        let first = || names().next().map(example);
        let help = help.or_else(first);
        let help = help.unwrap_or_else(|| format!("add `{name}` under `given` of its score"));
        return Err(broken(format!("the score of {id} has no `{name}`"), help));
    }
    if !reference.expected.allows(kind, amount.is_some()) {
        let kind = kind.with_article();
        let message = match amount {
            Some(_) => format!("`{id}` is {kind}, which has no amounts"),
            None => format!("`{id}` is {kind}"),
        };
        return Err(broken(message, format!("use {} here", reference.expected.text())));
    }
    // A result replaces only results of the same record.
    if let (Some(own), Some(other)) = (loaded.result(from), loaded.result(index))
        && let (Some(own), Some(of)) = (&own.of, &other.of)
        && own != of
    {
        return Err(broken(format!("`{id}` is a result of {of}, not of {own}"), format!("name a result of {own}")));
    }
    // A result of a system is about the plan that its parts inherit.
    let is_verified = reference.expected == Expected::Named(ReferenceKey::Verified);
    if let (true, Some(system)) = (is_verified, loaded.system(index)) {
        let group = system.for_parts.as_ref();
        let is_unread = loaded.damaged.contains_key(id);
        if !is_unread && group.and_then(|group| group.verify.as_ref()).is_none() {
            let help = "name the target, requirement or part that was verified, or add `for-parts: {verify: ...}` to the \
                        system";
            return Err(broken(format!("`{id}` is a system"), help.to_owned()));
        }
    }
    Ok(Some(index))
}

/// The help for an earlier id of a record.
pub(crate) fn renamed_help(now: &schema::Id) -> String {
    format!("it is `{now}` now; use that id")
}

/// If several records name the same unknown id, and none the similar one that exists, the typing error is probably in the
/// one that exists: changes the help of these references.
pub(super) fn suspect_existing_ids(loaded: &Loaded, broken: &mut [Broken]) {
    // The records that name each unknown id; one record can name it several times, one after the other.
    let mut naming: HashMap<&str, (usize, RecordId)> = HashMap::new();
    for found in broken.iter() {
        let Some(id) = found.missing.as_deref() else { continue };
        let (count, last) = naming.entry(id).or_insert((0, found.from));
        if *count == 0 || *last != found.from {
            (*count, *last) = (*count + 1, found.from);
        }
    }
    let count = |found: &Broken| naming.get(found.missing.as_deref()?).map(|(count, _)| *count).filter(|n| *n > 1);
    let mut suspects: HashSet<&str> = broken
        .iter()
        .filter(|found| count(found).is_some())
        .filter_map(|found| Some(loaded.record(found.near?).id.as_str()))
        .collect();
    if suspects.is_empty() {
        return;
    }
    for (_, record) in loaded.records() {
        for reference in references(record) {
            suspects.remove(reference.to);
            suspects.remove(reference.to.split('.').next().unwrap_or(reference.to));
        }
    }
    let helps: Vec<Option<String>> = broken
        .iter()
        .map(|found| {
            let (id, near) = (found.missing.as_deref()?, loaded.record(found.near?).id.as_str());
            let count = count(found).filter(|_| suspects.contains(near))?;
            Some(format!("{count} records link to `{id}`, none links to `{near}`: is `{near}` a typing error?"))
        })
        .collect();
    for (found, help) in broken.iter_mut().zip(helps) {
        if let Some(help) = help {
            found.help = help;
        }
    }
}

impl Expected {
    /// Whether a kind of record is allowed, or an amount of such a record.
    fn allows(self, kind: Kind, amount: bool) -> bool {
        match self {
            Self::Named(key) | Self::CarOr(key) => kind.may_be_named_under(key),
            Self::Value if amount => kind.has_amounts(),
            Self::Value => kind.roles().has_value,
            Self::Settable if amount => kind.has_amounts() || kind == Kind::Analysis,
            // The points of a goal are the sum of its events.
            Self::Settable => kind.roles().has_value && kind != Kind::Goal,
            Self::Part => kind == Kind::Part,
            Self::Any => true,
            Self::File => false,
        }
    }

    /// The allowed kinds, for a message.
    fn text(self) -> String {
        let kinds_with = |has: fn(Kind) -> bool| any_kind_of(Kind::ALL.iter().copied().filter(|kind| has(*kind)));
        match self {
            Self::Named(key) => any_kind_of(Kind::named_under(key)),
            Self::CarOr(key) => format!("`car`, {}", any_kind_of(Kind::named_under(key))),
            Self::Value => {
                let values = kinds_with(|kind| kind.roles().has_value);
                let amounts = kinds_with(Kind::has_amounts);
                format!("{values}, or `id.amount` of {amounts}")
            }
            Self::Settable => {
                "a target, an event, `part.amount`, `part.count`, `part: none`, or `analysis.input`".to_owned()
            }
            Self::Part => any_kind_of([Kind::Part]),
            Self::Any => "a record".to_owned(),
            Self::File => "a file".to_owned(),
        }
    }
}
