//! The names of an event: those that it reads and is given, and those of its score sheet.

use std::cell::OnceCell;

use foldhash::{HashMap, HashSet};
use schema::formula::Formula;
use schema::quantity::{Dimension, Unit};
use schema::records::{Event, NONE, Score};
use schema::sheet::{MOST, NO_FINISH, SheetEvent};
use schema::{Quantity, suggest};

use super::builder::{Builder, Field, OF_SHEET};
use crate::ids::{NodeId, RecordId};
use crate::load::is_table;
use crate::sheets;
use crate::values::problems::ValueProblemKind;
use crate::values::{ADDED, CHANCE, EXPECTED, GAIN, Key, SCORE};

/// The largest number of entries of a table of a sheet.
const MOST_ENTRIES: usize = 200;

/// The sheet that an event uses.
fn sheet_of(event: &Event) -> Option<&'static SheetEvent> {
    sheets::find(event.score.as_ref()?.r#use.as_deref()?)
}

/// Whether an event sets a name itself.
fn sets(event: &Event, name: &str) -> bool {
    let given = event.score.as_ref().is_some_and(|score| score.given.get(name).is_some());
    given || (event.reads.get(name).is_some() && !event.reads_none(name))
}

/// What an input has for the word `none`; otherwise the event scores without a finish.
fn text_for_none(sheet: &'static SheetEvent, name: &str) -> Option<&'static str> {
    let input = sheet.input(name)?;
    input.none.as_ref().or(input.default.as_ref()).map(schema::records::Expression::text)
}

/// Whether a text uses a name.
fn uses(text: &str, name: &str) -> bool {
    Formula::parse(text).is_ok_and(|formula| formula.names().iter().any(|used| &*used.text == name))
}

/// The names that the texts of an event use, each with the names of these texts (`None` for `no-finish`).
fn users_of<'e>(event: &'e Event, score: &'e Score) -> HashMap<String, Vec<Option<&'e str>>> {
    let own = event.reads.iter().chain(score.given.iter()).map(|(name, text)| (Some(name.as_str()), text.text()));
    let all = own.chain(score.no_finish.as_ref().map(|text| (None, text.text())));
    let mut users: HashMap<String, Vec<Option<&str>>> = HashMap::default();
    for (name, text) in all {
        for used in Formula::parse(text).iter().flat_map(Formula::names) {
            users.entry(used.text.to_string()).or_default().push(name);
        }
    }
    users
}

impl Builder<'_> {
    /// The nodes of all names of an event.
    pub(super) fn declare_event_names(&mut self, index: RecordId, event: &Event) {
        self.declare_names(index, &event.reads, &["reads"]);
        if event.chance.is_some() {
            for name in [SCORE, GAIN, ADDED] {
                let node = self.add(Key::Local(index, name.into()), Field::new(index, &[]), Some(Dimension::points()));
                self.network.nodes[node].unit = self.network.nodes[self.by_key[&Key::Record(index)]].unit.clone();
            }
            let chance = Key::Local(index, CHANCE.into());
            let chance = self.add(chance, Field::new(index, &["chance"]), Some(Dimension::default()));
            self.network.nodes[chance].unit = Unit::parse("%").unwrap_or_else(|_| Unit::dimensionless());
        }
        if event.is_limited_expectation() {
            let key = Key::Local(index, EXPECTED.into());
            let node = self.add(key, Field::new(index, &["expect"]), Some(Dimension::points()));
            self.network.nodes[node].unit = self.network.nodes[self.by_key[&Key::Record(index)]].unit.clone();
        }
        let score = event.score.as_ref();
        if let Some(score) = score {
            self.declare_names(index, &score.given, &["score", "given"]);
        }
        let mut own = Vec::new();
        own.extend(event.most.as_ref().map(|_| (MOST, &["most"][..])));
        own.extend(score.and_then(|score| score.no_finish.as_ref()).map(|_| (NO_FINISH, &["score", "no-finish"][..])));
        if let Some(sheet) = sheet_of(event) {
            let names = sheet.texts().map(|(name, _)| name).chain(sheet.tables.keys().map(schema::Id::as_str));
            own.extend(names.chain([MOST, NO_FINISH]).map(|name| (name, &OF_SHEET[..])));
        }
        for (name, route) in own {
            let key = Key::Local(index, name.into());
            if !self.by_key.contains_key(&key) {
                let required = [MOST, NO_FINISH].contains(&name).then(Dimension::points);
                self.add(key, Field::new(index, route), required);
            }
        }
    }

    /// The rules of the names that an event reads.
    pub(super) fn define_reads(&mut self, index: RecordId, event: &Event) {
        let sheet = sheet_of(event);
        for (name, text) in event.reads.iter().filter(|(_, text)| !is_table(text)) {
            let node = self.by_key[&Key::Local(index, name.as_str().into())];
            if text.text() != NONE {
                self.set_text(node, text.text(), &Field::new(index, &["reads", name.as_str()]));
            } else if let Some(text) = sheet.and_then(|sheet| text_for_none(sheet, name.as_str())) {
                self.set_text(node, text, &Field::new(index, &OF_SHEET));
            }
        }
    }

    /// The rules of the names that a score is given.
    pub(super) fn define_given(&mut self, index: RecordId, score: &Score) {
        let sheet = score.r#use.as_deref().and_then(sheets::find);
        for (name, text) in score.given.iter().filter(|(_, text)| !is_table(text)) {
            let field = Field::new(index, &["score", "given", name.as_str()]);
            let node = self.by_key[&Key::Local(index, name.as_str().into())];
            if let Some(past) = text.past() {
                let field = Field::new(index, &["score", "given", name.as_str(), "past"]);
                self.set_past_value(node, name.as_str(), &past, &field);
                continue;
            }
            match sheet.and_then(|sheet| sheet.tables.get(name.as_str())) {
                Some(table) => self.define_table(node, table.by.as_str(), text.text(), &field),
                None => self.set_text(node, text.text(), &field),
            }
        }
    }

    /// The points of a list by another name: 0 at 0, the first entry at 1, the last one from its number on, and
    /// interpolated between them. A text without a comma is a quantity or a formula.
    fn define_table(&mut self, node: NodeId, by: &str, text: &str, field: &Field) {
        if !text.contains(',') || text.contains('(') {
            self.set_text(node, text, field);
            return;
        }
        let entries: Vec<&str> = text.split(',').map(str::trim).filter(|entry| !entry.is_empty()).collect();
        let (mut formula, mut before) = ("0 pts".to_owned(), 0.0);
        for (number, entry) in entries.iter().take(MOST_ENTRIES).enumerate() {
            match Quantity::parse(entry) {
                Ok(found) if found.unit().dimension().is_one() || found.unit().dimension() == Dimension::points() => {
                    formula += &format!(" + ({:?} pts) * min(max({by} - {number}, 0), 1)", found.si() - before);
                    before = found.si();
                }
                _ => {
                    let message = format!("expected a list of points, found `{}` in it", schema::words::shorten(entry));
                    self.report(ValueProblemKind::Bad, field, 0, message, "separate numbers with commas: `2, 4, 6`");
                    return;
                }
            }
        }
        self.set_text(node, &formula, &Field::new(field.record, &OF_SHEET));
    }

    /// The rules of the names of a score sheet, and of the event that uses it.
    pub(super) fn sheet(&mut self, index: RecordId, node: NodeId, event: &Event, name: &str, field: &Field) {
        let Some(sheet) = sheets::find(name) else {
            let names = sheets::names();
            let otherwise = format!("the sheets are {}", names.join(", "));
            let help = suggest::did_you_mean(name, names.iter().map(String::as_str), &otherwise);
            let message = format!("unknown score sheet `{}`", schema::words::shorten(name));
            self.report(ValueProblemKind::Reference, field, 0, message, help);
            return;
        };
        let reads_none = |name: &schema::Id| event.reads_none(name.as_str());
        let without_finish =
            sheet.reads.keys().any(|name| reads_none(name) && text_for_none(sheet, name.as_str()).is_none());
        let has_unknown = self.reports_names(index, event, sheet, name);
        if has_unknown | (!without_finish && self.reports_missing(event, sheet, name, field)) {
            return;
        }
        for (name, input) in sheet.reads.iter().chain(sheet.given.iter()) {
            self.require_input(index, event, name.as_str(), input.unit.as_deref());
        }
        let own_most = event.most.is_none().then_some((MOST, sheet.most.text()));
        let no_finish = sheet.no_finish.as_ref().map_or("0 pts", schema::records::Expression::text);
        let is_set = event.score.as_ref().is_some_and(|score| score.no_finish.is_some());
        let own_no_finish = (!is_set).then_some((NO_FINISH, no_finish));
        let tables = sheet.tables.keys().map(|table| (table.as_str(), "0 pts"));
        for (own, text) in sheet.texts().chain(tables).chain(own_most).chain(own_no_finish) {
            if !sets(event, own) && !event.reads_none(own) {
                let node = self.by_key[&Key::Local(index, own.into())];
                self.set_text(node, text, field);
            }
        }
        if without_finish {
            self.score_without_finish(index, node);
        } else {
            self.set_text(node, sheet.formula.text(), field);
            self.limit_to_most(index, node);
        }
    }

    /// Requires the dimension of an input that the event sets.
    fn require_input(&mut self, index: RecordId, event: &Event, name: &str, unit: Option<&str>) {
        let unit = unit.and_then(|unit| Unit::parse(unit).ok());
        let Some(unit) = unit.filter(|_| sets(event, name)) else { return };
        let node = self.by_key[&Key::Local(index, name.into())];
        let read = event.reads.get(name);
        let text = read.or_else(|| event.score.as_ref()?.given.get(name));
        let key = if read.is_some() { &["reads", name][..] } else { &["score", "given", name] };
        if let Some(text) = text {
            self.require_unit(node, &unit, text, &Field::new(index, key));
        }
    }

    /// Reports names that neither the sheet nor another text of the event uses: probably a typing error in an optional name.
    fn reports_names(&mut self, index: RecordId, event: &Event, sheet: &SheetEvent, used_sheet: &str) -> bool {
        let Some(score) = &event.score else { return false };
        let known: HashSet<&str> = sheet.names().collect();
        let users = OnceCell::new();
        let mut found = false;
        for (key, names) in [(&["reads"][..], &event.reads), (&["score", "given"], &score.given)] {
            for name in names.keys().map(schema::Id::as_str) {
                let by_own = || {
                    let users = users.get_or_init(|| users_of(event, score)).get(name);
                    users.into_iter().flatten().any(|user| *user != Some(name))
                };
                if known.contains(name) || by_own() {
                    continue;
                }
                let otherwise = format!("`tierod explain {used_sheet}` lists its inputs");
                let help = self.suggestions.did_you_mean(name, sheet.names(), &otherwise);
                let route: Vec<&str> = key.iter().copied().chain([name]).collect();
                let message = format!("score sheet `{used_sheet}` has no input `{name}`");
                self.report(ValueProblemKind::Reference, &Field::new(index, &route), 0, message, help);
                found = true;
            }
        }
        found
    }

    /// Reports the first input without a default that is missing.
    fn reports_missing(&mut self, event: &Event, sheet: &SheetEvent, name: &str, field: &Field) -> bool {
        let is_missing = |id: &str| {
            let input = sheet.input(id);
            input.is_some_and(|input| input.default.is_none()) && !sets(event, id) && !event.reads_none(id)
        };
        // An input that only the default of another one uses can be replaced by that one.
        let others = || sheet.inputs().filter(|(_, id, _)| !sets(event, id.as_str()) && !event.reads_none(id.as_str()));
        for (key, id, _) in sheet.inputs().filter(|(_, id, _)| is_missing(id.as_str())) {
            let id = id.as_str();
            let by_default = |input: &schema::sheet::SheetInput| {
                input.default.as_ref().is_some_and(|default| uses(default.text(), id))
            };
            let replaces = sheet.inputs().find(|(_, _, input)| by_default(input));
            let (key, id, or) = match replaces {
                // Its place is taken.
                Some((_, other, _)) if !others().any(|(_, open, _)| open == other) => continue,
                Some((key, other, _)) => (key, other.as_str(), format!(", or `{id}`")),
                None => (key, id, String::new()),
            };
            let message = format!("score sheet `{name}` needs `{id}`");
            self.report(ValueProblemKind::Reference, field, 0, message, format!("add it under `{key}`{or}"));
            return true;
        }
        false
    }
}
