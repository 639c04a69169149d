//! Budgets with their sections and parts.

use trace::values::{Key, Share};
use trace::{RecordId, Study};

use super::super::Name;
use super::super::budget::{Budget, Section};
use super::name;

/// A budget.
pub(crate) fn budget(study: &Study, own: &trace::values::Budget) -> Budget {
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
            parts: own.amount.as_deref().map(|amount| parts(study, share, amount, &width)).unwrap_or_default(),
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

/// The parts of a section with their amounts, all pieces together, the largest first.
fn parts(study: &Study, share: &Share, amount: &str, width: &dyn Fn(f64) -> f64) -> Vec<(Name, f64)> {
    let (loaded, values) = (&study.loaded, study.values());
    let about = loaded.target(share.index).and_then(|target| loaded.find(target.of.as_ref()?.as_str()));
    let (Some(system), Some(amount)) = (about, values.amount(amount)) else { return Vec::new() };
    let mut all: Vec<(Name, f64)> = loaded
        .parts()
        .filter(|(index, ..)| loaded.enclosing(*index).any(|around| around == system))
        .filter_map(|(index, _, part)| {
            let value = values.value(values.node(&Key::Part(index, amount))?)?;
            Some((name(loaded, index), width(value) * f64::from(part.count.unwrap_or(1))))
        })
        .collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1));
    all
}
