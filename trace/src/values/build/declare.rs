//! The nodes of records and of the names in them, without rules.

use schema::quantity::{Dimension, Unit};
use schema::records::{Body, Event, Expression};
use schema::{Entries, Id, Record};

use super::builder::{Builder, Field};
use crate::ids::RecordId;
use crate::values::{CHANCE, Key, SCORE, sheets};

impl Builder<'_> {
    pub(super) fn declare(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, record) in loaded.records() {
            self.declare_value(index, record);
            match &record.body {
                Body::Event(event) => self.declare_event_names(index, event),
                Body::Target(target) => self.declare_names(index, &target.given, &["given"]),
                Body::Analysis(analysis) => self.declare_names(index, &analysis.given, &["given"]),
                Body::Goal(_)
                | Body::System(_)
                | Body::Requirement(_)
                | Body::Part(_)
                | Body::Decision(_)
                | Body::Result(_)
                | Body::Revision(_)
                | Body::Waiver(_) => {}
            }
        }
    }

    /// The node of a record that has a value.
    fn declare_value(&mut self, index: RecordId, record: &Record) {
        match &record.body {
            Body::Goal(_) | Body::Event(_) => {
                let node = self.add(Key::Record(index), Field::new(index, &[]), Some(Dimension::points()));
                self.network.nodes[node].unit = Unit::parse("pts").unwrap_or_else(|_| Unit::dimensionless());
            }
            Body::Target(target) => {
                let limit = target.limit().next().map(|(_, quantity)| self.in_currency(quantity).0);
                let node = self.add(Key::Record(index), Field::new(index, &[]), limit.as_ref().map(Unit::dimension));
                if let Some(unit) = limit {
                    self.network.nodes[node].unit = unit;
                }
            }
            Body::System(_)
            | Body::Requirement(_)
            | Body::Part(_)
            | Body::Analysis(_)
            | Body::Decision(_)
            | Body::Result(_)
            | Body::Revision(_)
            | Body::Waiver(_) => {}
        }
    }

    fn declare_names(&mut self, index: RecordId, names: &Entries<Id, Expression>, route: &[&str]) {
        for (name, _) in names.iter() {
            let route: Vec<&str> = route.iter().copied().chain([name.as_str()]).collect();
            self.add(Key::Local(index, name.as_str().into()), Field::new(index, &route), None);
        }
    }

    /// The names that an event reads, and those of its score sheet.
    fn declare_event_names(&mut self, index: RecordId, event: &Event) {
        self.declare_names(index, &event.reads, &["reads"]);
        if event.chance.is_some() {
            let score = self.add(Key::Local(index, SCORE.into()), Field::new(index, &[]), Some(Dimension::points()));
            self.network.nodes[score].unit = self.network.nodes[self.by_key[&Key::Record(index)]].unit.clone();
            let chance = Key::Local(index, CHANCE.into());
            let chance = self.add(chance, Field::new(index, &["chance"]), Some(Dimension::default()));
            self.network.nodes[chance].unit = Unit::parse("%").unwrap_or_else(|_| Unit::dimensionless());
        }
        let Some(score) = &event.score else { return };
        self.declare_names(index, &score.given, &["score", "given"]);
        let sheet = score.r#use.as_deref().and_then(sheets::find);
        for (name, _) in sheet.into_iter().flat_map(|sheet| sheet.constants.iter()) {
            if score.given.get(name.as_str()).is_none() {
                self.add(Key::Local(index, name.as_str().into()), Field::new(index, &["score", "use"]), None);
            }
        }
    }
}
