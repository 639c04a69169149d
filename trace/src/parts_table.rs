//! The amounts of all parts as columns with one unit each, for a table.

use foldhash::{HashMap, HashSet};
use schema::Quantity;
use schema::quantity::{Dimension, Unit};
use schema::records::Amount;

use crate::load::Loaded;

/// The columns of one amount.
#[derive(Clone, Debug)]
pub struct AmountColumns {
    /// The name of the amount.
    pub name: String,
    /// Its units: that which most parts use, and more only if they have other dimensions (money in two currencies).
    pub units: Vec<AmountUnit>,
    /// Whether a part has a basis.
    pub has_basis: bool,
}

/// A unit of an amount.
#[derive(Clone, Debug)]
pub struct AmountUnit {
    /// The unit.
    pub unit: Unit,
    /// Whether an amount in it has an uncertainty.
    pub has_uncertainty: bool,
}

impl AmountColumns {
    /// The amounts of all parts: those with growth in the settings first, then the others as they first appear.
    pub fn of(loaded: &Loaded) -> Vec<Self> {
        let mut columns: Vec<(&str, Written)> = Vec::new();
        let mut positions: HashMap<&str, usize> = HashMap::default();
        let in_settings = loaded.settings().growth.keys().map(|name| (name.as_str(), None));
        let used = loaded.parts().flat_map(|(.., part)| part.amounts.iter());
        for (name, amount) in in_settings.chain(used.map(|(name, amount)| (name.as_str(), Some(amount)))) {
            let at = *positions.entry(name).or_insert(columns.len());
            if at == columns.len() {
                columns.push((name, Written::default()));
            }
            columns[at].1.add(amount);
        }
        let all = columns.into_iter().map(|(name, written)| written.columns(name));
        all.filter(|amount| !amount.units.is_empty()).collect()
    }
}

/// What the parts have of one amount, as it is written.
#[derive(Default)]
struct Written<'l> {
    /// Every unit, with the number of parts that use it.
    units: Vec<(&'l Unit, usize)>,
    /// The position of each by its name.
    by_name: HashMap<String, usize>,
    /// The dimensions of the amounts with an uncertainty.
    uncertain: HashSet<Dimension>,
    has_basis: bool,
}

impl<'l> Written<'l> {
    fn add(&mut self, amount: Option<&'l Amount>) {
        let Some(amount) = amount else { return };
        self.has_basis |= amount.basis.is_some();
        let Some(quantity) = amount.value.quantity() else { return };
        let unit = quantity.unit();
        let at = *self.by_name.entry(unit.to_string()).or_insert_with(|| {
            self.units.push((unit, 0));
            self.units.len() - 1
        });
        self.units[at].1 += 1;
        if quantity.uncertainty().is_some() {
            self.uncertain.insert(unit.dimension());
        }
    }

    /// The columns: of each dimension the unit that most parts use.
    fn columns(self, name: &str) -> AmountColumns {
        let mut units: Vec<(&Unit, usize)> = Vec::new();
        let mut by_dimension: HashMap<Dimension, usize> = HashMap::default();
        for (unit, count) in self.units {
            let at = *by_dimension.entry(unit.dimension()).or_insert(units.len());
            match units.get_mut(at) {
                Some(most) if most.1 < count => *most = (unit, count),
                Some(_) => {}
                None => units.push((unit, count)),
            }
        }
        let has_uncertainty = |unit: &Unit| self.uncertain.contains(&unit.dimension());
        let units = units
            .into_iter()
            .map(|(unit, _)| AmountUnit { unit: unit.clone(), has_uncertainty: has_uncertainty(unit) });
        AmountColumns { name: name.to_owned(), units: units.collect(), has_basis: self.has_basis }
    }
}

impl AmountUnit {
    /// An amount and its uncertainty in this unit; `None` if it has another dimension.
    pub fn convert(&self, quantity: &Quantity) -> Option<(f64, Option<f64>)> {
        if !fits(quantity, &self.unit) {
            return None;
        }
        if quantity.unit().to_string() == self.unit.to_string() {
            return Some((quantity.value(), quantity.uncertainty()));
        }
        let ratio = quantity.unit().factor() / self.unit.factor();
        let uncertainty = quantity.uncertainty().map(|own| without_rounding(own * ratio));
        Some((without_rounding(self.unit.from_si(quantity.si())), uncertainty))
    }
}

fn fits(quantity: &Quantity, unit: &Unit) -> bool {
    quantity.unit().dimension() == unit.dimension()
}

/// The number without the last digits, which come from the conversion.
fn without_rounding(value: f64) -> f64 {
    format!("{value:.13e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::{File, Snapshot};

    fn loaded(text: &str) -> Loaded {
        let file = File { path: "parts.yaml".to_owned(), content: Ok(text.as_bytes().into()) };
        Loaded::from_snapshot(Snapshot::in_memory(vec![file]))
    }

    #[test]
    fn the_unit_that_most_parts_use_counts() {
        let parts = loaded(
            "parts:\n  a: {in: x, amounts: {mass: 0.62 kg, cost: 20 EUR}}\n  b: {in: x, amounts: {mass: 410 g ± 5 g}}\n  \
             c: {in: x, amounts: {cost: 3 USD, mass: {value: 1.1 g, basis: drawn}}}\n",
        );
        let all = AmountColumns::of(&parts);
        let names: Vec<(&str, Vec<String>, bool)> = all
            .iter()
            .map(|one| (one.name.as_str(), one.units.iter().map(|unit| unit.unit.to_string()).collect(), one.has_basis))
            .collect();
        let expected =
            [("mass", vec!["g".to_owned()], true), ("cost", vec!["EUR".to_owned(), "USD".to_owned()], false)];
        assert_eq!(names, expected);
        let grams = &all[0].units[0];
        assert!(grams.has_uncertainty);
        let convert = |text: &str| grams.convert(&Quantity::parse(text).unwrap());
        // 0.62 * 1000 and 0.0071 / 0.001 have rounding errors in binary.
        assert_eq!(convert("0.62 kg ± 0.0071 kg"), Some((620.0, Some(7.1))));
        assert_eq!(convert("410.3 g"), Some((410.3, None)));
        assert_eq!(convert("1 EUR"), None);
    }
}
