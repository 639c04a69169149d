//! The records that a key may name, for whoever types one.

use schema::records::{Kind, ReferenceKey};
use schema::words::CAR;

use crate::load::Loaded;

/// What a key of a kind may name: a row of the table of kinds, or any record; and whether the car, too.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Names {
    Rows(ReferenceKey),
    CarOr(ReferenceKey),
    Any,
}

fn names(kind: Kind, key: &str) -> Option<Names> {
    Some(match (kind, key) {
        (_, "serves") if kind.roles().may_serve => Names::Rows(ReferenceKey::Serves),
        (Kind::System, "in") => Names::CarOr(ReferenceKey::In),
        (Kind::Part, "in") => Names::Rows(ReferenceKey::In),
        (Kind::Target | Kind::Requirement | Kind::Decision, "of") => Names::CarOr(ReferenceKey::Subject),
        (Kind::Target, "share-of") => Names::Rows(ReferenceKey::ShareOf),
        (Kind::Analysis, "finds") => Names::Rows(ReferenceKey::Finds),
        (Kind::Analysis, "informs") => Names::Rows(ReferenceKey::Informs),
        (Kind::Analysis, "supersedes") => Names::Rows(ReferenceKey::Supersedes),
        (Kind::Decision, "criteria") => Names::Rows(ReferenceKey::Criteria),
        (Kind::Result, "of") => Names::Rows(ReferenceKey::Verified),
        (Kind::Result, "supersedes") => Names::Rows(ReferenceKey::SupersedesResult),
        (Kind::Revision, "of") => Names::Rows(ReferenceKey::Revised),
        (Kind::Waiver, "of") => Names::Any,
        _ => return None,
    })
}

/// The ids that a key of a kind may name, as they are in the records; `None` if the key names no record.
pub fn ids_for<'l>(loaded: &'l Loaded, kind: Kind, key: &str) -> Option<Vec<&'l str>> {
    let names = names(kind, key)?;
    let fits = |kind: Kind| match names {
        Names::Rows(row) | Names::CarOr(row) => kind.may_be_named_under(row),
        Names::Any => true,
    };
    let records = loaded.records().filter(|(_, record)| fits(record.kind())).map(|(_, record)| record.id.as_str());
    let car = matches!(names, Names::CarOr(_)).then_some(CAR);
    Some(car.into_iter().chain(records).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::graph::Graph;
    use crate::snapshot::{File, Snapshot};

    /// What is offered for a key is what the links accept: no such reference is reported.
    #[test]
    fn what_is_offered_is_accepted() {
        let text = "goals: {g: {place: 1}}\nevents: {e: {plan: 1 pts}}\nsystems: {s: {in: car, for-parts: {verify: {by: test}}}}\ntargets: {t: {of: car}}\n\
                    requirements: {r: {of: car}}\nparts: {p: {in: s}}\nanalyses: {a: {notes: x}}\n\
                    decisions: {d: {of: car}}\nresults: {m: {of: t}}\nrevisions: {v: {of: t}}\nwaivers: {w: {of: t}}\n";
        let file = |path: &str, text: &str| File { path: path.to_owned(), content: Ok(text.as_bytes().into()) };
        let load = |more: &str| {
            let files = vec![file("a.yaml", text), file("b.yaml", more)];
            std::sync::Arc::new(Loaded::from_snapshot(Snapshot::in_memory(files)))
        };
        let loaded = load("");
        let mut tried = 0;
        for kind in Kind::ALL.iter().copied() {
            for key in ["serves", "in", "of", "share-of", "informs", "supersedes"] {
                for id in ids_for(&loaded, kind, key).into_iter().flatten() {
                    let value = match key {
                        "serves" => format!("{{{id}: It is so.}}"),
                        "informs" | "supersedes" => format!("[{id}]"),
                        _ => id.to_owned(),
                    };
                    let with = load(&format!("{}: {{new: {{{key}: {value}}}}}\n", kind.plural()));
                    let new = with.find("new").unwrap();
                    let graph = Graph::new(&with);
                    let broken: Vec<&str> =
                        graph.broken.iter().filter(|own| own.from == new).map(|own| own.message.as_str()).collect();
                    assert!(broken.is_empty(), "{kind} {key} {id}: {broken:?}");
                    tried += 1;
                }
            }
        }
        assert!(tried > 20, "{tried}");
    }
}
