//! The table of units and the parser of unit names.
//!
//! Factors are those of the SI Brochure and of NIST SP 811 (2008), appendix B.8. Each currency is a dimension; points and
//! the decibel are dimensions too, so that none of them can be added to another quantity by mistake.

pub(super) mod encoded;
mod table;

use std::fmt;
use std::sync::Arc;

use iso_currency::Currency;

use self::table::{ANGLES, Exponents, LIKELY, OTHERWISE, PLAIN, PREFIXED, PREFIXES};
use super::error::{QuantityError, QuantityErrorKind};
use crate::suggest;
use crate::words::shorten;

/// The exponents of the base dimensions of a unit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Dimension {
    /// Metre, kilogram, second, ampere, kelvin, mole, candela, points, decibel, in this order. Each is stored in twelfths,
    /// so that square and cube roots are exact.
    exponents: [i16; 9],
    /// The currency and its exponent in twelfths; `None` if the exponent is zero.
    money: Option<(Currency, i16)>,
}

const BASE: [&str; 9] = ["m", "kg", "s", "A", "K", "mol", "cd", "pts", "dB"];
/// The stored value of the exponent 1.
const WHOLE: i16 = 12;

impl Dimension {
    fn whole(exponents: Exponents) -> Self {
        Self { exponents: exponents.map(|exponent| exponent * WHOLE), money: None }
    }

    /// The dimension of points.
    pub fn points() -> Self {
        let mut exponents = [0; 9];
        exponents[7] = WHOLE;
        Self { exponents, money: None }
    }

    /// Whether this is the dimension of a number without unit.
    pub fn is_one(&self) -> bool {
        *self == Self::default()
    }

    /// The currency in it, if there is one.
    pub fn currency(&self) -> Option<Currency> {
        self.money.map(|(currency, _)| currency)
    }

    /// The dimension of a product; `None` for two currencies or an exponent that overflows.
    pub fn times(self, other: Self) -> Option<Self> {
        self.combine(other, 1)
    }

    /// The dimension of a quotient; `None` for two currencies or an exponent that overflows.
    pub fn over(self, other: Self) -> Option<Self> {
        self.combine(other, -1)
    }

    fn combine(mut self, other: Self, sign: i16) -> Option<Self> {
        for (exponent, more) in self.exponents.iter_mut().zip(other.exponents) {
            *exponent = exponent.checked_add(more.checked_mul(sign)?)?;
        }
        if let Some((currency, more)) = other.money {
            let more = more.checked_mul(sign)?;
            self.money = match self.money {
                None => Some((currency, more)),
                Some((own, exponent)) if own == currency => {
                    let sum = exponent.checked_add(more)?;
                    (sum != 0).then_some((own, sum))
                }
                Some(_) => return None,
            };
        }
        Some(self)
    }

    /// The dimension of a power; `None` if an exponent is not a whole number of twelfths, or overflows.
    pub fn power(self, power: f64) -> Option<Self> {
        let scale = |exponent: i16| -> Option<i16> {
            let scaled = f64::from(exponent) * power;
            let near = scaled.round();
            ((scaled - near).abs() < 1e-9 && near.abs() < 10_000.0).then_some(near as i16)
        };
        let mut out = Self::default();
        for (to, from) in out.exponents.iter_mut().zip(self.exponents) {
            *to = scale(from)?;
        }
        if let Some((currency, exponent)) = self.money {
            let exponent = scale(exponent)?;
            out.money = (exponent != 0).then_some((currency, exponent));
        }
        Some(out)
    }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = |name: &str, exponent: i16| match exponent {
            WHOLE => name.to_owned(),
            _ => format!("{name}^{}", f64::from(exponent) / f64::from(WHOLE)),
        };
        let named = BASE.iter().zip(self.exponents).filter(|(_, exponent)| *exponent != 0);
        let mut words: Vec<String> = named.map(|(name, exponent)| word(name, exponent)).collect();
        words.extend(self.money.map(|(currency, exponent)| word(currency.code(), exponent)));
        if words.is_empty() { f.write_str("1") } else { f.write_str(&words.join("*")) }
    }
}

/// A unit: its name as written, its dimension, and its conversion to SI.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    name: Arc<str>,
    dimension: Dimension,
    factor: f64,
    offset: f64,
}

impl Unit {
    /// The unit of a number without unit.
    pub fn dimensionless() -> Self {
        Self { name: "".into(), dimension: Dimension::default(), factor: 1.0, offset: 0.0 }
    }

    /// Whether all names in a text are units; otherwise it is no unit. Quick, because it looks for no similar name.
    pub fn has_known_names(text: &str) -> bool {
        text.split(['*', '/']).all(|part| Atom::known(part.split('^').next().unwrap_or(part)).is_some())
    }

    /// Reads a unit: names joined by `*` and `/`, each with an optional whole power, for example `kg/m^3`.
    ///
    /// # Errors
    /// The unknown part, with the most similar unit if there is one.
    pub fn parse(name: &str) -> Result<Self, String> {
        Self::read(name).map_err(String::from)
    }

    /// The same, with the kind of error.
    pub(super) fn read(name: &str) -> Result<Self, QuantityError> {
        let mut dimension = Dimension::default();
        let mut factor = 1.0;
        let mut offset = 0.0;
        let mut sign = 1;
        let mut rest = name;
        let mut several = false;
        loop {
            let end = rest.find(['*', '/']).unwrap_or(rest.len());
            let (atom, power) = match rest[..end].split_once('^') {
                Some((atom, power)) => (atom, whole_power(power, name)?),
                None => (&rest[..end], 1),
            };
            let found = Atom::find(atom, name)?;
            let signed: i8 = power * sign;
            dimension =
                found.dimension.power(f64::from(signed)).and_then(|more| dimension.times(more)).ok_or_else(|| {
                    format!(
                        "the unit `{}` has two currencies or too high a power: use one currency, and powers to 9",
                        shorten(name)
                    )
                })?;
            factor *= found.factor.powi(i32::from(signed));
            several |= signed != 1 || end < rest.len();
            if found.offset != 0.0 {
                offset = found.offset;
            }
            match rest[end..].chars().next() {
                None => break,
                Some('/') => sign = -1,
                Some(_) => sign = 1,
            }
            rest = &rest[end + 1..];
        }
        if several && offset != 0.0 {
            return Err(format!(
                "`{}` has a temperature scale in a product, quotient or power: use K for the difference of temperatures",
                shorten(name)
            )
            .into());
        }
        // One name per currency, so that outputs do not depend on how it is written.
        let name = if name.contains('€') { name.replace('€', "EUR").into() } else { name.into() };
        Ok(Self { name, dimension, factor, offset })
    }

    /// The names in it, without powers: `kg` and `m` of `kg/m^3`.
    pub fn atoms(&self) -> impl Iterator<Item = &str> {
        self.name.split(['*', '/']).map(|part| part.split('^').next().unwrap_or(part))
    }

    /// Whether it has the dimension of a shaft speed or a frequency.
    fn is_rate(&self) -> bool {
        let mut exponents = [0; 9];
        exponents[2] = -WHOLE;
        self.dimension == Dimension { exponents, money: None }
    }

    /// Whether it is an angle per time: `rpm`, `rad/s`, `deg/s`.
    pub fn is_shaft_speed(&self) -> bool {
        self.is_rate() && self.atoms().any(|atom| ANGLES.contains(&atom))
    }

    /// Whether it counts per time without naming an angle: `Hz`, `1/min`. The SI unit of calculated values is not one.
    pub fn is_frequency(&self) -> bool {
        self.is_rate() && !self.is_shaft_speed() && &*self.name != "s^-1"
    }

    /// A unit of the same quantity without a zero of its own: kelvin for degrees Celsius.
    pub fn of_differences(&self) -> Self {
        if self.has_own_zero() { Self::si(self.dimension) } else { self.clone() }
    }

    /// The dimension.
    pub fn dimension(&self) -> Dimension {
        self.dimension
    }

    /// The value of one of this unit in SI units.
    pub fn factor(&self) -> f64 {
        self.factor
    }

    /// Whether it is a currency: not a power of one, nor with another unit.
    pub fn is_currency(&self) -> bool {
        self.dimension.money.is_some_and(|(_, exponent)| exponent == WHOLE) && self.dimension.exponents == [0; 9]
    }

    /// Whether the unit has its own zero, like degrees Celsius. A ratio of two such values has no meaning.
    pub fn has_own_zero(&self) -> bool {
        self.offset != 0.0
    }

    /// Converts a value from SI to this unit.
    pub fn from_si(&self, value: f64) -> f64 {
        (value - self.offset) / self.factor
    }

    /// The same unit with its currency converted by an exchange rate, and the factor for its values; `None` if the unit of
    /// the rate is not a currency.
    pub fn exchanged(&self, rate: &super::Quantity) -> Option<(Self, f64)> {
        let (from, exponent) = self.dimension.money?;
        let (to, 12) = rate.unit().dimension.money? else { return None };
        let dimension = Dimension { money: Some((to, exponent)), ..self.dimension };
        let name = self.name.replace(from.code(), to.code());
        let factor = rate.si().powf(f64::from(exponent) / f64::from(WHOLE));
        Some((Self { name: name.into(), dimension, ..self.clone() }, factor))
    }

    /// The SI unit of a dimension, with the names of its base units.
    pub fn si(dimension: Dimension) -> Self {
        // Called for every value, and most values have a base unit: such names need no formatting.
        let mut named = BASE.iter().zip(dimension.exponents).filter(|(_, exponent)| *exponent != 0);
        let name: Arc<str> = match (named.next(), named.next(), dimension.money) {
            (None, _, None) => "".into(),
            (Some((name, WHOLE)), None, None) => (*name).into(),
            (None, _, Some((currency, WHOLE))) => currency.code().into(),
            _ => dimension.to_string().into(),
        };
        Self { name, dimension, factor: 1.0, offset: 0.0 }
    }

    /// Converts a value from this unit to SI.
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.factor + self.offset
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)
    }
}

fn whole_power(text: &str, unit: &str) -> Result<i8, String> {
    match text.parse::<i8>() {
        Ok(power) if (-9..=9).contains(&power) && power != 0 => Ok(power),
        _ => Err(format!(
            "the power `{}` in the unit `{}` is not a whole number from -9 to 9 (0 is not allowed): correct it, for example \
             `m^2`",
            shorten(text),
            shorten(unit)
        )),
    }
}

struct Atom {
    dimension: Dimension,
    factor: f64,
    offset: f64,
}

/// A unit of the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct KnownUnit {
    /// Its name.
    pub name: &'static str,
    /// Whether it takes SI prefixes.
    pub takes_prefixes: bool,
}

/// Every unit of the table, those with SI prefixes first. Currencies are those of ISO 4217.
pub fn known() -> impl Iterator<Item = KnownUnit> {
    let prefixed = PREFIXED.iter().map(|(name, ..)| KnownUnit { name, takes_prefixes: true });
    prefixed.chain(PLAIN.iter().map(|(name, ..)| KnownUnit { name, takes_prefixes: false }))
}

/// The SI prefixes, each with its factor.
pub fn prefixes() -> &'static [(&'static str, f64)] {
    PREFIXES
}

/// Whether a name is written like the code of a currency.
fn is_code(name: &str) -> bool {
    name.len() == 3 && name.bytes().all(|b| b.is_ascii_uppercase())
}

impl Atom {
    /// A unit by its name.
    fn known(atom: &str) -> Option<Self> {
        let plain = PLAIN.iter().find(|(name, ..)| *name == atom);
        if let Some(&(_, factor, exponents, offset)) = plain {
            return Some(Self { dimension: Dimension::whole(exponents), factor, offset });
        }
        Self::prefixed(atom).or_else(|| {
            // Three capital letters from the list of ISO 4217 are a currency; only one has the euro sign.
            let code = if atom == "€" { "EUR" } else { atom };
            let currency = is_code(code).then(|| Currency::from_code(code)).flatten()?;
            let dimension = Dimension { exponents: [0; 9], money: Some((currency, WHOLE)) };
            Some(Self { dimension, factor: 1.0, offset: 0.0 })
        })
    }

    fn find(atom: &str, unit: &str) -> Result<Self, QuantityError> {
        if let Some(known) = Self::known(atom) {
            return Ok(known);
        }
        if atom.is_empty() {
            return Err(format!(
                "the unit `{}` has no name next to `*` or `/`: remove the sign, or add a unit next to it",
                shorten(unit)
            )
            .into());
        }
        let whole = if atom == unit { String::new() } else { format!(" in `{}`", shorten(unit)) };
        let otherwise = |name: &str| OTHERWISE.iter().find(|(wrong, _)| *wrong == name).map(|(_, right)| *right);
        let meant = otherwise(unit).filter(|_| atom == unit).or_else(|| otherwise(atom));
        // Most pairs of letters are one edit away from a unit.
        let is_short = atom.chars().count() <= 2;
        let near = suggest::nearest(atom, LIKELY.iter().copied());
        let near = near.filter(|near| !is_short || near.eq_ignore_ascii_case(atom));
        let hint = match meant.or(near) {
            Some(name) => format!("did you mean `{name}`?"),
            None if is_code(atom) => "it is not a currency of ISO 4217, and units have no such name".to_owned(),
            None => "`tierod explain units` lists the units".to_owned(),
        };
        let text = format!("unknown unit `{}`{whole}: {hint}", shorten(atom));
        Err(QuantityError::new(QuantityErrorKind::UnknownUnit, text))
    }

    fn prefixed(atom: &str) -> Option<Self> {
        let entry = |name: &str| PREFIXED.iter().find(|(known, ..)| *known == name);
        let (scale, &(_, factor, exponents)) = match entry(atom) {
            Some(found) => (1.0, found),
            None => PREFIXES
                .iter()
                .find_map(|(prefix, scale)| atom.strip_prefix(prefix).and_then(entry).map(|found| (*scale, found)))?,
        };
        Some(Self { dimension: Dimension::whole(exponents), factor: scale * factor, offset: 0.0 })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dimensions_of_products() {
        let newton_per_area = Unit::parse("N/m^2").unwrap();
        assert_eq!(newton_per_area.dimension(), Unit::parse("Pa").unwrap().dimension());
        assert_eq!(Unit::parse("kW*h").unwrap().dimension(), Unit::parse("kWh").unwrap().dimension());
        assert!(Unit::parse("m/m").unwrap().dimension().is_one());
        assert_eq!(Unit::parse("kg*m/s^2").unwrap().dimension().to_string(), "m*kg*s^-2");
        assert_eq!(Unit::parse("EUR/kg").unwrap().dimension().to_string(), "kg^-1*EUR");
        assert!(Unit::parse("EUR/EUR").unwrap().dimension().is_one());
    }

    #[test]
    fn invalid_units() {
        for (name, reason) in [
            ("sec", "did you mean `s`?"),
            ("kgg", "did you mean `kg`?"),
            ("N*", "has no name"),
            ("m^x", "whole number"),
            ("m^0", "whole number"),
            ("°C/s", "K"),
            ("EUR/USD", "currencies"),
            ("XQX", "unknown unit"),
            ("G", "did you mean `gn`?"),
        ] {
            let error = Unit::parse(name).unwrap_err();
            assert!(error.contains(reason), "{name}: {error}");
        }
    }
}
