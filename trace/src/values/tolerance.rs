//! When a calculated value counts as within its limit: less than half of the last digit beyond it is rounding.
//!
//! A limit is written with some digits, and so are the amounts of parts: a total of rounded numbers can differ from a
//! rounded limit although nothing is too heavy. Two conditions must hold for a value beyond its limit to count as
//! within it:
//!
//! - It is less than half of the last digit that is shown of it (four significant digits) beyond the limit.
//! - The written digits explain it: half of the last digit of the limit, and for a total half of the last digit of each
//!   amount, as often as it counts.
//!
//! A measured or estimated value has all its digits in the record, so it has no tolerance, and neither has what people's
//! safety depends on.

use schema::quantity::Unit;
use schema::records::Target;
use schema::{Quantity, number};

use super::currency::in_currency;
use super::network::Rule;
use super::{Key, Origin, Values};
use crate::ids::{NodeId, RecordId};

/// Half of the last digit that is shown of a value in SI: four significant digits.
fn half_of_shown(value: f64, unit: &Unit) -> f64 {
    let decimals = number::decimals(value / unit.factor(), 4, 7);
    0.5 * 10.0_f64.powi(-i32::try_from(decimals).unwrap_or(0)) * unit.factor()
}

impl Values {
    /// How far the value of a target (in SI) may be beyond its limit and still count as within it.
    pub(super) fn tolerance(&self, index: RecordId, target: &Target, node: NodeId, value: f64) -> f64 {
        let is_calculated = match self.origin(index) {
            Origin::Formula | Origin::Total | Origin::Analysis(_) => {
                !matches!(self.network.nodes[node].rule, Rule::Given(_))
            }
            Origin::Result(_) | Origin::Estimate | Origin::Score | Origin::Events | Origin::None => false,
        };
        if !is_calculated || target.safety_critical {
            return 0.0;
        }
        let limit = target.limit().map(|(_, quantity)| self.half_in_team(quantity)).fold(0.0, f64::max);
        let parts = match self.origin(index) {
            Origin::Total => self.half_digits_of_parts(node),
            _ => 0.0,
        };
        half_of_shown(value, self.unit(node)).min(limit + parts) * (1.0 - 1e-9)
    }

    /// How far the sum of these limits may be above another one and still count as equal: all in SI, as written.
    pub(super) fn tolerance_of_sum<'q>(
        &self,
        sum: f64,
        unit: &Unit,
        written: impl Iterator<Item = &'q Quantity>,
    ) -> f64 {
        let all: f64 = written.map(|quantity| self.half_in_team(quantity)).sum();
        half_of_shown(sum, unit).min(all) * (1.0 - 1e-9)
    }

    /// Half of the last digit of a quantity as written, in the team's currency.
    fn half_in_team(&self, quantity: &Quantity) -> f64 {
        let half = quantity.half_of_last_digit();
        let (unit, team, _) = in_currency(&self.graph.loaded.settings().rates, quantity);
        if unit == *quantity.unit() {
            return half;
        }
        let rate = team / quantity.si();
        if rate.is_finite() { half * rate } else { 0.0 }
    }

    /// The sum over the amounts in a total of half of their last digit.
    fn half_digits_of_parts(&self, total: NodeId) -> f64 {
        // A total can be in many others, so each is added up once, after what is in it.
        let all = self.half_digits.get_or_init(|| {
            let mut halves = vec![0.0; self.keys.len()];
            for &node in &self.network.order {
                halves[node] = self.half_digits(node, &halves);
            }
            halves
        });
        all[total]
    }

    /// The same for one value, given what its inputs have.
    fn half_digits(&self, node: NodeId, halves: &[f64]) -> f64 {
        let value = &self.network.nodes[node];
        if let Key::Part(part, number) = self.keys[node] {
            let name = &self.amounts[usize::from(number)];
            let amount = self.graph.loaded.part(part).and_then(|part| part.amounts.get(name));
            return amount.and_then(|amount| amount.value.quantity()).map_or(0.0, |own| self.half_in_team(own));
        }
        let Rule::Total(factors) = &value.rule else { return 0.0 };
        value.inputs.iter().zip(factors).map(|(input, factor)| factor * halves[*input]).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_of_the_last_digit_shown() {
        let kg = Unit::parse("kg").unwrap();
        for (value, half) in [(52.548, 0.005), (205.4, 0.05), (4.27, 0.0005), (18_015.0, 0.5)] {
            assert!((half_of_shown(value, &kg) / half - 1.0).abs() < 1e-12, "{value}");
        }
    }
}
