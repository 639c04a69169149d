//! Budgets with their sections and parts.

use std::collections::HashMap;
use std::rc::Rc;

use trace::values::{Key, Share};
use trace::{RecordId, Study};

use super::super::Name;
use super::super::budget::{Budget, Section};
use super::name;

/// A budget.
pub(crate) fn budget(study: &Study, own: &trace::values::Budget, parts: &mut PartsOf<'_>) -> Budget {
    let unit = study.values().unit(own.node);
    let shown = |si: f64| unit.from_si(si);
    let width = |si: f64| si / unit.factor();
    let sections = own.shares.iter().map(|share| {
        let over = share.over().is_some();
        Section {
            name: section_name(study, share.index),
            limit: shown(share.limit),
            value: share.value.map(shown),
            growth: share.growth.map(width),
            uncertainty: width(share.uncertainty),
            is_over: over,
            parts: own.amount.as_deref().map(|amount| parts.section(share, amount, &width)).unwrap_or_default(),
        }
    });
    Budget {
        name: name(&study.loaded, own.index),
        unit: unit.to_string(),
        limit: shown(own.limit),
        reserve: width(own.reserve),
        unallocated: width(own.unallocated()),
        value: own.value.map(shown),
        growth: own.growth.map(width),
        uncertainty: width(own.uncertainty),
        sections: sections.collect(),
    }
}

/// The target of a share under the title of its system, which is shorter.
fn section_name(study: &Study, target: RecordId) -> Name {
    let own = name(&study.loaded, target);
    let about = study.loaded.target(target).and_then(|target| target.of.as_ref());
    let system = about.and_then(|about| study.loaded.find(about.as_str()));
    match system {
        Some(system) => Name { title: study.loaded.record(system).name().to_owned(), ..own },
        None => own,
    }
}

/// The most parts of a section, the largest ones: smaller ones are too narrow to be drawn. And of all pictures together.
const MOST_PARTS: (usize, usize) = (1_000, 100_000);

/// A part: what one piece has of an amount, in SI, and the number of pieces.
type Pieces = (RecordId, f64, f64);

/// The parts below the shares of all budgets.
pub(crate) struct PartsOf<'s> {
    study: &'s Study,
    /// The parts of each system with a share, in the order of the records.
    of: HashMap<RecordId, Vec<RecordId>>,
    /// The largest parts of a system by an amount, in the order of the records: see [`Self::largest`].
    largest: HashMap<(RecordId, u16), Rc<Vec<Pieces>>>,
    /// How many parts may still be in a picture.
    left: usize,
}

impl<'s> PartsOf<'s> {
    /// Finds the parts of all systems with a share.
    pub(crate) fn new(study: &'s Study) -> Self {
        let loaded = &study.loaded;
        let shares = study.budgets().iter().flat_map(|budget| &budget.shares);
        let systems = shares.filter_map(|share| subject(study, share));
        let mut of: HashMap<RecordId, Vec<RecordId>> = systems.map(|system| (system, Vec::new())).collect();
        for (index, ..) in loaded.parts() {
            for around in loaded.enclosing(index) {
                if let Some(inside) = of.get_mut(&around) {
                    inside.push(index);
                }
            }
        }
        Self { study, of, largest: HashMap::new(), left: MOST_PARTS.1 }
    }

    /// The parts of a section with their amounts, all pieces together, the largest first.
    fn section(&mut self, share: &Share, amount: &str, width: &dyn Fn(f64) -> f64) -> Vec<(Name, f64)> {
        let amount = self.study.values().amount(amount);
        let (Some(system), Some(amount)) = (subject(self.study, share), amount) else { return Vec::new() };
        if self.left == 0 {
            return Vec::new();
        }
        let largest = self.largest(system, amount);
        let mut all: Vec<(RecordId, f64)> =
            largest.iter().map(|(index, value, pieces)| (*index, width(*value) * pieces)).collect();
        all.sort_by(|a, b| b.1.total_cmp(&a.1));
        all.truncate(self.left);
        self.left -= all.len();
        all.into_iter().map(|(index, value)| (name(&self.study.loaded, index), value)).collect()
    }

    /// The largest parts of a system by what all their pieces have of an amount, in the order of the records.
    fn largest(&mut self, system: RecordId, amount: u16) -> Rc<Vec<Pieces>> {
        let (study, of) = (self.study, &self.of);
        let find = || {
            let values = study.values();
            let own = |index: &RecordId| {
                let value = values.value(values.node(&Key::Part(*index, amount))?)?;
                Some((*index, value, f64::from(study.loaded.part(*index)?.count.unwrap_or(1))))
            };
            let mut all: Vec<_> = of.get(&system).into_iter().flatten().filter_map(own).collect();
            if all.len() > MOST_PARTS.0 {
                all.sort_by(|a, b| (b.1 * b.2).total_cmp(&(a.1 * a.2)));
                all.truncate(MOST_PARTS.0);
                all.sort_by_key(|(index, ..)| *index);
            }
            Rc::new(all)
        };
        Rc::clone(self.largest.entry((system, amount)).or_insert_with(find))
    }
}

/// The record that the target of a share is about; `None` for the car.
fn subject(study: &Study, share: &Share) -> Option<RecordId> {
    let loaded = &study.loaded;
    loaded.find(loaded.target(share.index)?.of.as_ref()?.as_str())
}
