//! The nodes of records and of the names in them, without rules.

use schema::quantity::{Dimension, Unit};
use schema::records::{Body, Expression};
use schema::{Entries, Id, Record};

use super::builder::{Builder, Field};
use crate::ids::RecordId;
use crate::values::Key;

impl Builder<'_> {
    pub(super) fn declare(&mut self) {
        let loaded = &*self.graph.loaded;
        for (index, record) in loaded.records() {
            self.declare_value(index, record);
            if let Body::Event(event) = &record.body {
                self.declare_event_names(index, event);
                continue;
            }
            for (keys, names) in record.body.own_names() {
                self.declare_names(index, names, keys);
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

    pub(super) fn declare_names(&mut self, index: RecordId, names: &Entries<Id, Expression>, route: &[&str]) {
        for (name, _) in names.iter() {
            let route: Vec<&str> = route.iter().copied().chain([name.as_str()]).collect();
            self.add(Key::Local(index, name.as_str().into()), Field::new(index, &route), None);
        }
    }
}
