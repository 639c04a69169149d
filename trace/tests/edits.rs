//! Two hundred random edits of the example: the difference of what is read is the edit, and all other bytes stay.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints what it tried"
)]

use std::collections::BTreeMap;
use std::path::Path;

use schema::edit::Value;
use schema::read::flat;
use schema::read::tree::{Content, NodeId, Tree};
use schema::records::Body;
use trace::Loaded;
use trace::edit::{Address, EditedFile, Edits, Revising, rename, revise};
use trace::load::ParseCache;
use trace::snapshot::{Request, Snapshot, State};

/// A small generator of choices, the same on every machine.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        // xorshift64*
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 33) as usize % sides
    }
}

/// The example, read once.
struct Example {
    snapshot: Snapshot,
    pool: ParseCache,
}

impl Example {
    fn new() -> Self {
        let cwd = Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
        let loaded = Loaded::from_request(&Request { cwd, path: None, state: State::Worktree }).unwrap();
        Self { snapshot: loaded.snapshot, pool: ParseCache::default() }
    }

    fn edits(&mut self) -> Edits {
        let loaded = Loaded::from_pool(self.snapshot.clone(), &mut self.pool);
        let day = loaded.settings().as_of.unwrap();
        Edits::new(loaded, day)
    }
}

/// Every field of every record: kind, id and route, and its text.
type Fields = BTreeMap<(String, String, String), String>;

fn fields(snapshot: &Snapshot) -> Fields {
    let mut all = Fields::new();
    for file in snapshot.files.iter().skip(1) {
        for record in flat::records(file.content.as_ref().unwrap()).unwrap() {
            for (route, text) in record.fields {
                let key = (record.kind.plural().to_owned(), record.id.clone(), route);
                assert_eq!(all.insert(key, text), None);
            }
        }
    }
    all
}

fn after(example: &Example, files: &[EditedFile]) -> Fields {
    let edited = files.iter().fold(example.snapshot.clone(), |snapshot, file| {
        snapshot.with_file(&file.file.path, std::sync::Arc::clone(&file.file.after))
    });
    fields(&edited)
}

fn texts(file: &EditedFile) -> [String; 2] {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    [text(file.file.before.as_ref().unwrap()), text(&file.file.after)]
}

/// What differs between two sets of fields: added or changed, and removed.
fn difference(before: &Fields, after: &Fields) -> (Vec<(String, String)>, Vec<String>) {
    let name = |(kind, id, route): &(String, String, String)| format!("{kind}/{id}/{route}");
    let new = after.iter().filter(|(key, text)| before.get(*key) != Some(text));
    let gone = before.keys().filter(|key| !after.contains_key(*key));
    (new.map(|(key, text)| (name(key), text.clone())).collect(), gone.map(name).collect())
}

/// The routes of all scalars below a node.
fn leaves(tree: &Tree<'_>, node: NodeId, at: &mut Vec<String>, out: &mut Vec<Vec<String>>) {
    match tree.content(node) {
        Content::Scalar { .. } => out.push(at.clone()),
        Content::List(items) => {
            for (number, item) in items.iter().enumerate() {
                at.push((number + 1).to_string());
                leaves(tree, *item, at, out);
                at.pop();
            }
        }
        Content::Map(entries) => {
            for [key, value] in entries {
                at.push(tree.text(*key).unwrap().to_owned());
                leaves(tree, *value, at, out);
                at.pop();
            }
        }
    }
}

/// The lines that two texts do not have in common, if all lines before and after them are the same bytes.
fn changed_lines<'t>(before: &'t str, after: &'t str) -> [Vec<&'t str>; 2] {
    let [old, new]: [Vec<&str>; 2] = [before, after].map(|text| text.split_inclusive('\n').collect());
    let first = old.iter().zip(&new).take_while(|(old, new)| old == new).count();
    let rest = old.len().min(new.len()) - first;
    let last = old.iter().rev().zip(new.iter().rev()).take(rest).take_while(|(old, new)| old == new).count();
    [old[first..old.len() - last].to_vec(), new[first..new.len() - last].to_vec()]
}

#[test]
fn a_hundred_values_that_are_set() {
    const VALUES: [&str; 8] =
        ["0.61 kg", "a: b # c", "it's {odd}", "\"quoted: x\"", "2027-05-05", "- y", "é ± µ, 3", "33.5 kW ± 0.2 kW"];
    let mut example = Example::new();
    let before = fields(&example.snapshot);
    let mut all = Vec::new();
    for file in example.snapshot.files.iter().skip(1) {
        let tree = schema::read::places(file.content.as_ref().unwrap()).unwrap();
        leaves(&tree, tree.root().unwrap(), &mut Vec::new(), &mut all);
    }
    let mut dice = Dice(20_270_319);
    for number in 0..110 {
        let route = all[dice.roll(all.len())].clone();
        let typed = VALUES[dice.roll(VALUES.len())];
        let address = route[1..].join(".");
        let mut edits = example.edits();
        let found = Address::parse(edits.loaded(), &address).unwrap();
        assert_eq!(found.route, route, "{address}");
        let path = edits.path_of(found.record).to_owned();
        let change = found.set(edits.loaded(), Value::typed(typed));
        edits.change(&path, change);
        let files = edits.files().unwrap();
        let [file] = &files[..] else { panic!("{number}: {address}: {} files", files.len()) };
        assert_eq!(file.file.path, path);
        let (new, gone) = difference(&before, &after(&example, &files));
        assert_eq!((new.len(), &gone[..]), (1, &[][..]), "{address} = {typed}: {new:?}");
        let plain = typed.trim_matches('"');
        assert!(new[0].0.starts_with(&format!("{}/{}/", route[0], route[1])), "{address}: {new:?}");
        assert!(new[0].1.split(", ").any(|item| plain.starts_with(item)), "{address}: {new:?}");
        let [old, edited] = texts(file);
        let [lines, new_lines] = changed_lines(&old, &edited);
        // A folded text can have several lines.
        let is_folded = lines.first().is_some_and(|line| line.trim_end().ends_with(">-"));
        assert!(
            lines.len() == 1 && new_lines.len() == 1 || is_folded || lines.len() > 1 && new_lines.len() <= lines.len()
        );
        // The key, and a comment behind the value, stay.
        let comment = |line: &str| line.find(" # ").map(|at| line[at..].to_owned());
        if lines.len() == 1 && !lines[0].contains('"') {
            assert_eq!(comment(lines[0]).is_some(), comment(&new_lines[0].replace("b # c", "")).is_some(), "{lines:?}");
        }
    }
}

#[test]
fn sixty_records_that_are_renamed() {
    const NEW: &str = "zz-quite-new";
    let mut example = Example::new();
    let before = fields(&example.snapshot);
    let ids: Vec<String> = example.edits().loaded().ids().map(str::to_owned).collect();
    let mut dice = Dice(42);
    let mut changed_files = 0;
    for _ in 0..60 {
        let old = &ids[dice.roll(ids.len())];
        let mut edits = example.edits();
        rename(&mut edits, old, NEW).unwrap();
        let files = edits.files().unwrap();
        changed_files += files.len();
        let now = after(&example, &files);
        // With the old id in place of the new one, and without `formerly`, everything is as before.
        let back: Fields = now
            .iter()
            .filter(|((_, _, route), text)| !(route == "formerly" && *text == old))
            .map(|((kind, id, route), text)| {
                let back = |text: &str| text.replace(NEW, old);
                ((kind.clone(), back(id), back(route)), back(text))
            })
            .collect();
        assert_eq!(difference(&before, &back), (vec![], vec![]), "{old}");
        // No key that names records has the old id any more.
        for ((_, id, route), text) in &now {
            let key = route.split('.').next().unwrap();
            let names =
                ["of", "in", "share-of", "criteria", "informs", "supersedes", "finds", "reads", "given", "formula"];
            if names.contains(&key) || route.starts_with("score.given") || route.starts_with("score.formula") {
                assert!(!schema::edit::mentions(text, old), "{old}: {id}.{route}: {text}");
            }
            if ["serves", "finds", "alternatives", "for-parts"].contains(&key) {
                let steps: Vec<&str> = route.split('.').skip(1).collect();
                let is_name = key != "alternatives" || steps.get(1) == Some(&"sets");
                assert!(
                    !is_name || !steps[usize::from(key == "alternatives")..].contains(&old.as_str()),
                    "{old}: {id}.{route}"
                );
            }
        }
        for file in &files {
            let [old_text, edited] = texts(file);
            let back: String = edited
                .replace(NEW, old)
                .split_inclusive('\n')
                .filter(|line| line.trim() != format!("formerly: [{old}]"))
                .collect();
            let back = back.replace(&format!(", formerly: [{old}]}}"), "}");
            assert_eq!(back, old_text, "{old}: {}", file.file.path);
        }
    }
    assert!(changed_files > 70, "{changed_files}");
}

#[test]
fn forty_limits_that_are_revised() {
    let mut example = Example::new();
    let before = fields(&example.snapshot);
    let edits = example.edits();
    let limits: Vec<(String, &str, String)> = edits
        .loaded()
        .records()
        .filter_map(|(_, record)| {
            let Body::Target(target) = &record.body else { return None };
            let most = target.at_most.as_ref().map(|limit| ("at-most", limit.text().to_owned()));
            let (key, text) =
                most.or_else(|| target.at_least.as_ref().map(|limit| ("at-least", limit.text().to_owned())))?;
            Some((record.id.to_string(), key, text))
        })
        .collect();
    let mut dice = Dice(7);
    for number in 0..40 {
        let (id, key, old) = &limits[dice.roll(limits.len())];
        let unit = old.split_once(' ').map(|(_, unit)| format!(" {unit}")).unwrap_or_default();
        let to = format!("{}{unit}", 1000 + number);
        let mut edits = example.edits();
        let (target, reason) = (id.as_str(), "Agreed: it's # better");
        let revising = Revising { target, key, to: &to, reason, agreed_by: "chief engineer", date: None, id: None };
        let revision = revise(&mut edits, &revising).unwrap().to_string();
        let files = edits.files().unwrap();
        let (new, gone) = difference(&before, &after(&example, &files));
        let own = |key: &str, text: &str| (format!("revisions/{revision}/{key}"), text.to_owned());
        let mut expected = vec![
            own("agreed-by", "chief engineer"),
            own("date", "2027-03-19"),
            own("from", old),
            own("of", id),
            own("reason", reason),
            own("to", &to),
            (format!("targets/{id}/{key}"), to.clone()),
        ];
        expected.sort();
        assert_eq!((new, gone), (expected, vec![]), "{id}");
        assert_eq!(files.len(), 2);
        for file in &files {
            let [old_text, edited] = texts(file);
            let [lines, new_lines] = changed_lines(&old_text, &edited);
            if file.file.path.contains("revisions") {
                assert_eq!((lines, new_lines.len()), (Vec::<&str>::new(), 8), "a blank line and seven with text");
            } else {
                assert_eq!((lines.len(), new_lines.len()), (1, 1));
                assert_eq!(lines[0].replace(old.as_str(), &to), new_lines[0]);
            }
        }
    }
}
