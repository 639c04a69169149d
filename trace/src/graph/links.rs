//! Which keys of a record name other records, and what they may name.

use schema::records::roles::any_kind_of;
use schema::records::{Body, Expression, Kind, ReferenceKey};
use schema::suggest;
use schema::words::{CAR, is_kebab_case, shorten};
use schema::{Entries, Record};

use super::Link;
use crate::ids::RecordId;
use crate::load::{Loaded, is_table};

/// A key that names another record.
pub struct Reference<'r> {
    /// The edge it makes, if one.
    pub link: Option<Link>,
    /// The keys below the record, the name itself last where it is a key or an item.
    pub route: Vec<&'r str>,
    /// The id named.
    pub to: &'r str,
    /// What the name may lead to.
    pub may_be: May,
    /// Why, on `serves`.
    pub reason: Option<&'r str>,
}

/// What a name may lead to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum May {
    /// The kinds that the key may name, according to the table of kinds.
    Named(ReferenceKey),
    /// The car, or the kinds that the key may name.
    CarOr(ReferenceKey),
    /// A value: a target, an event or a goal, or an amount of the car, a system or a part.
    Value,
    /// Any record at all.
    Any,
    /// A file that is there.
    File,
}

/// A reference that leads nowhere, or to the wrong kind of record.
#[derive(Debug)]
pub struct Broken {
    /// The record that names.
    pub from: RecordId,
    /// The keys below it.
    pub route: Vec<String>,
    /// Is the name itself a key?
    pub is_key: bool,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

/// Every name of another record in a record, in the order of its keys.
pub(super) fn references(record: &Record) -> Vec<Reference<'_>> {
    let mut all = Collector(Vec::new());
    match &record.body {
        Body::Goal(goal) => {
            if let Some(file) = goal.past_standings.as_ref().and_then(|table| table.file.as_deref()) {
                all.name(None, &["past-standings", "file"], file, May::File);
            }
        }
        Body::Event(event) => {
            all.values("reads", &event.reads, &[]);
            if let Some(score) = &event.score {
                let local: Vec<&str> = event.reads.keys().map(schema::Id::as_str).collect();
                all.values("score", &score.given, &local);
            }
        }
        Body::System(system) => all.id(Link::In, "in", system.r#in.as_ref(), May::CarOr(ReferenceKey::In)),
        Body::Target(target) => {
            all.id(Link::Of, "of", target.of.as_ref(), May::CarOr(ReferenceKey::Subject));
            if let Some(budget) = &target.share_of {
                all.name(None, &["share-of"], budget.as_str(), May::Named(ReferenceKey::ShareOf));
            }
            all.values("given", &target.given, &[]);
        }
        Body::Requirement(requirement) => {
            all.id(Link::Of, "of", requirement.of.as_ref(), May::CarOr(ReferenceKey::Subject));
        }
        Body::Part(part) => all.id(Link::In, "in", part.r#in.as_ref(), May::Named(ReferenceKey::In)),
        Body::Analysis(analysis) => {
            all.values("given", &analysis.given, &[]);
            let found = analysis.finds.as_ref().map(|finds| finds.targets()).unwrap_or_default();
            let is_list = matches!(analysis.finds, Some(schema::records::Finds::Values(_)));
            for id in found {
                let route: &[&str] = if is_list { &["finds", id.as_str()] } else { &["finds"] };
                all.name(Some(Link::Finds), route, id.as_str(), May::Named(ReferenceKey::Finds));
            }
            for id in &analysis.informs {
                let may_be = May::Named(ReferenceKey::Informs);
                all.name(Some(Link::Informs), &["informs", id.as_str()], id.as_str(), may_be);
            }
            for id in &analysis.supersedes {
                all.name(None, &["supersedes", id.as_str()], id.as_str(), May::Named(ReferenceKey::Supersedes));
            }
        }
        Body::Decision(decision) => {
            all.id(Link::Of, "of", decision.of.as_ref(), May::CarOr(ReferenceKey::Subject));
            for id in &decision.criteria {
                all.name(
                    Some(Link::Criteria),
                    &["criteria", id.as_str()],
                    id.as_str(),
                    May::Named(ReferenceKey::Criteria),
                );
            }
            for (name, alternative) in decision.alternatives.iter() {
                for reference in alternative.sets.keys() {
                    let route = ["alternatives", name.as_str(), "sets", reference.as_str()];
                    all.name(None, &route, reference.as_str(), May::Value);
                }
            }
        }
        Body::Result(result) => {
            let may_be = May::Named(ReferenceKey::Verified);
            all.id(Link::Verifies, "of", result.of.as_ref(), may_be);
        }
        Body::Revision(revision) => all.id(Link::Of, "of", revision.of.as_ref(), May::Named(ReferenceKey::Revised)),
        Body::Waiver(waiver) => {
            if let Some(of) = &waiver.of {
                all.name(None, &["of"], of.as_str(), May::Any);
            }
        }
    }
    for (id, reason) in record.body.common().serves().iter() {
        all.name(Some(Link::Serves), &["serves", id.as_str()], id.as_str(), May::Named(ReferenceKey::Serves));
        if let Some(last) = all.0.last_mut() {
            last.reason = reason.0.as_deref();
        }
    }
    all.0
}

struct Collector<'r>(Vec<Reference<'r>>);

impl<'r> Collector<'r> {
    fn name(&mut self, link: Option<Link>, route: &[&'r str], to: &'r str, may_be: May) {
        self.0.push(Reference { link, route: route.to_vec(), to, may_be, reason: None });
    }

    fn id(&mut self, link: Link, key: &'r str, id: Option<&'r schema::Id>, may_be: May) {
        if let Some(id) = id {
            self.name(Some(link), &[key], id.as_str(), may_be);
        }
    }

    /// Inputs that are one name and nothing else; what is inside a formula is told where formulas are read.
    fn values(&mut self, key: &'r str, given: &'r Entries<schema::Id, Expression>, local: &[&str]) {
        for (name, value) in given.iter() {
            let text = value.text();
            let route: &[&str] =
                if key == "score" { &["score", "given", name.as_str()] } else { &[key, name.as_str()] };
            if is_table(value) {
                self.name(None, route, text, May::File);
            } else if is_name(text) && !local.contains(&text) && given.get(text).is_none() {
                self.name(None, route, text, May::Value);
            }
        }
    }
}

/// One name, and not a number or the one constant that formulas know.
fn is_name(text: &str) -> bool {
    let (id, amount) = text.split_once('.').unwrap_or((text, "x"));
    is_kebab_case(id) && is_kebab_case(amount) && text != "pi"
}

/// The record that a reference leads to; `None` where it leads to none and need not (the car, a file, a record that could not be read).
///
/// Looking for a near name takes time in the number of records, so it is done only when `suggest` says so.
pub(super) fn resolve(
    loaded: &Loaded,
    from: RecordId,
    reference: &Reference<'_>,
    suggest: bool,
) -> Result<Option<RecordId>, Broken> {
    // A list's items are found by their text, so that there the name is the value.
    let is_key = reference.route.len() > 1 && reference.route.last() == Some(&reference.to);
    let broken = |message: String, help: String| {
        let route = reference.route.iter().map(|key| (*key).to_owned()).collect();
        Broken { from, route, is_key, message, help }
    };
    let name = reference.to;
    let (id, amount) = match reference.may_be {
        May::File if loaded.present.contains(name) => return Ok(None),
        May::File => {
            let message = format!("there is no file `{}`", shorten(name));
            return Err(broken(message, "write its path relative to the data root, and add the file".to_owned()));
        }
        May::Value => name.split_once('.').map_or((name, None), |(id, amount)| (id, Some(amount))),
        _ => (name, None),
    };
    if id == CAR {
        let fits = match reference.may_be {
            May::CarOr(_) | May::Any => true,
            May::Value => amount.is_some(),
            May::Named(_) | May::File => false,
        };
        return if fits {
            Ok(None)
        } else {
            let wanted = wanted(reference.may_be);
            Err(broken(format!("`{name}` stands for the whole car"), format!("name {wanted} here")))
        };
    }
    let Some(index) = loaded.find(id) else {
        if loaded.damaged.contains_key(id) {
            return Ok(None);
        }
        let fits = |index: &RecordId| allows(reference.may_be, loaded.record(*index).kind(), amount.is_some());
        let candidates = loaded.record_ids().filter(|index| fits(index));
        let near =
            suggest.then(|| suggest::nearest(id, candidates.map(|index| loaded.record(index).id.as_str()))).flatten();
        let help = match near {
            Some(near) => format!("did you mean `{near}`?"),
            None => format!("write its record, or name {} that there is", wanted(reference.may_be)),
        };
        return Err(broken(format!("there is no record `{}`", shorten(id)), help));
    };
    let kind = loaded.record(index).kind();
    if !allows(reference.may_be, kind, amount.is_some()) {
        let is = kind.with_article();
        let what = match amount {
            Some(_) => format!("`{id}` is {is}, and has no amounts"),
            None => format!("`{id}` is {is}"),
        };
        return Err(broken(what, format!("name {} here", wanted(reference.may_be))));
    }
    Ok(Some(index))
}

fn allows(may_be: May, kind: Kind, amount: bool) -> bool {
    match may_be {
        May::Named(key) | May::CarOr(key) => kind.may_be_named_under(key),
        May::Value if amount => kind.roles().has_amounts,
        May::Value => kind.roles().has_value,
        May::Any => true,
        May::File => false,
    }
}

fn wanted(may_be: May) -> String {
    let with = |has: fn(Kind) -> bool| any_kind_of(Kind::ALL.iter().copied().filter(|kind| has(*kind)));
    match may_be {
        May::Named(key) => any_kind_of(Kind::named_under(key)),
        May::CarOr(key) => format!("`car`, {}", any_kind_of(Kind::named_under(key))),
        May::Value => {
            let (values, amounts) = (with(|kind| kind.roles().has_value), with(|kind| kind.roles().has_amounts));
            format!("{values}, or `id.amount` of {amounts}")
        }
        May::Any => "a record".to_owned(),
        May::File => "a file".to_owned(),
    }
}
