//! Quantities in binary form, with all that was worked out when they were read.

use iso_currency::Currency;
use serde::de::{Deserialize, Deserializer, Error as _};
use serde::ser::{Serialize, Serializer};

use super::{Dimension, Unit};
use crate::quantity::Quantity;

/// The text, the value and its uncertainty; the unit's name, factor and offset; the dimension and its money.
type Parts<'q> = (&'q str, (f64, Option<f64>), (&'q str, f64, f64), ([i16; 9], Option<(&'q str, i16)>));

impl Serialize for Quantity {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            return serializer.serialize_str(&self.text);
        }
        let Unit { name, dimension, factor, offset } = &self.unit;
        let money = dimension.money.as_ref().map(|(currency, exponent)| (currency.code(), *exponent));
        let parts: Parts<'_> =
            (&self.text, (self.value, self.uncertainty), (name, *factor, *offset), (dimension.exponents, money));
        parts.serialize(serializer)
    }
}

/// Reads a quantity in binary form.
pub(in crate::quantity) fn read<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Quantity, D::Error> {
    let (text, (value, uncertainty), (name, factor, offset), (exponents, money)) = Parts::deserialize(deserializer)?;
    let is_sound = !text.is_empty()
        && value.is_finite()
        && uncertainty.is_none_or(|uncertainty| uncertainty.is_finite() && uncertainty >= 0.0)
        && factor.is_finite()
        && factor > 0.0
        && offset.is_finite();
    if !is_sound {
        return Err(D::Error::custom("a number out of range"));
    }
    let money = match money {
        Some((code, exponent)) => {
            let currency = Currency::from_code(code).ok_or_else(|| D::Error::custom("an unknown currency"))?;
            Some((currency, exponent))
        }
        None => None,
    };
    let dimension = Dimension { exponents, money };
    let unit = Unit { name: name.into(), dimension, factor, offset };
    Ok(Quantity { text: text.into(), value, unit, uncertainty })
}
