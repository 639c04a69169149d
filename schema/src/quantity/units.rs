//! The table of units and the parser of unit names.
//!
//! Factors are those of the SI Brochure and of NIST SP 811 (2008), appendix B.8. Each currency is a dimension; points and
//! the decibel are dimensions too, so that none of them can be added to another quantity by mistake.

pub(super) mod encoded;

use std::fmt;
use std::sync::Arc;

use iso_currency::Currency;

use crate::suggest;
use crate::words::shorten;

/// The exponents of the base dimensions of a unit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
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

    /// Reads a unit: names joined by `*` and `/`, each with an optional whole power, for example `kg/m^3`.
    ///
    /// # Errors
    /// The unknown part, with the most similar unit if there is one.
    pub fn parse(name: &str) -> Result<Self, String> {
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
            dimension = found
                .dimension
                .power(f64::from(signed))
                .and_then(|more| dimension.times(more))
                .ok_or_else(|| format!("the unit `{}` has two currencies or too high a power", shorten(name)))?;
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
            return Err(format!("`{}`: °C cannot be part of a product, quotient or power: use K", shorten(name)));
        }
        Ok(Self { name: name.into(), dimension, factor, offset })
    }

    /// The dimension.
    pub fn dimension(&self) -> Dimension {
        self.dimension
    }

    /// The value of one of this unit in SI units.
    pub fn factor(&self) -> f64 {
        self.factor
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
            "the power `{}` in the unit `{}` is not a whole number from -9 to 9 (0 is not allowed)",
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

/// Exponents of m, kg, s, A, K, mol, cd, points, decibel.
type Exponents = [i16; 9];

const fn mechanical(m: i16, kg: i16, s: i16, a: i16) -> Exponents {
    [m, kg, s, a, 0, 0, 0, 0, 0]
}

/// Units with SI prefixes: name, factor, exponents.
const PREFIXED: &[(&str, f64, Exponents)] = &[
    ("m", 1.0, mechanical(1, 0, 0, 0)),
    ("g", 1e-3, mechanical(0, 1, 0, 0)),
    ("s", 1.0, mechanical(0, 0, 1, 0)),
    ("A", 1.0, mechanical(0, 0, 0, 1)),
    ("K", 1.0, [0, 0, 0, 0, 1, 0, 0, 0, 0]),
    ("mol", 1.0, [0, 0, 0, 0, 0, 1, 0, 0, 0]),
    ("cd", 1.0, [0, 0, 0, 0, 0, 0, 1, 0, 0]),
    ("N", 1.0, mechanical(1, 1, -2, 0)),
    ("Pa", 1.0, mechanical(-1, 1, -2, 0)),
    ("J", 1.0, mechanical(2, 1, -2, 0)),
    ("W", 1.0, mechanical(2, 1, -3, 0)),
    ("Wh", 3600.0, mechanical(2, 1, -2, 0)),
    ("V", 1.0, mechanical(2, 1, -3, -1)),
    ("ohm", 1.0, mechanical(2, 1, -3, -2)),
    ("C", 1.0, mechanical(0, 0, 1, 1)),
    ("Ah", 3600.0, mechanical(0, 0, 1, 1)),
    ("F", 1.0, mechanical(-2, -1, 4, 2)),
    ("H", 1.0, mechanical(2, 1, -2, -2)),
    ("Hz", 1.0, mechanical(0, 0, -1, 0)),
    ("rad", 1.0, mechanical(0, 0, 0, 0)),
    ("l", 1e-3, mechanical(3, 0, 0, 0)),
    ("L", 1e-3, mechanical(3, 0, 0, 0)),
    ("bar", 1e5, mechanical(-1, 1, -2, 0)),
];

const FOOT: f64 = 0.3048;
const POUND: f64 = 0.453_592_37;
const GN: f64 = 9.806_65;
const DEGREE: f64 = std::f64::consts::PI / 180.0;

/// Units without SI prefixes: name, factor, exponents, offset.
const PLAIN: &[(&str, f64, Exponents, f64)] = &[
    ("1", 1.0, mechanical(0, 0, 0, 0), 0.0),
    ("%", 1e-2, mechanical(0, 0, 0, 0), 0.0),
    ("°", DEGREE, mechanical(0, 0, 0, 0), 0.0),
    ("deg", DEGREE, mechanical(0, 0, 0, 0), 0.0),
    ("min", 60.0, mechanical(0, 0, 1, 0), 0.0),
    ("h", 3600.0, mechanical(0, 0, 1, 0), 0.0),
    ("d", 86_400.0, mechanical(0, 0, 1, 0), 0.0),
    ("t", 1e3, mechanical(0, 1, 0, 0), 0.0),
    ("°C", 1.0, [0, 0, 0, 0, 1, 0, 0, 0, 0], 273.15),
    ("rpm", std::f64::consts::TAU / 60.0, mechanical(0, 0, -1, 0), 0.0),
    ("gn", GN, mechanical(1, 0, -2, 0), 0.0),
    ("hp", 550.0 * FOOT * POUND * GN, mechanical(2, 1, -3, 0), 0.0),
    ("in", FOOT / 12.0, mechanical(1, 0, 0, 0), 0.0),
    ("ft", FOOT, mechanical(1, 0, 0, 0), 0.0),
    ("mph", 5280.0 * FOOT / 3600.0, mechanical(1, 0, -1, 0), 0.0),
    ("lb", POUND, mechanical(0, 1, 0, 0), 0.0),
    ("lbf", POUND * GN, mechanical(1, 1, -2, 0), 0.0),
    ("psi", POUND * GN * 144.0 / (FOOT * FOOT), mechanical(-1, 1, -2, 0), 0.0),
    ("pts", 1.0, [0, 0, 0, 0, 0, 0, 0, 1, 0], 0.0),
    ("dB", 1.0, [0, 0, 0, 0, 0, 0, 0, 0, 1], 0.0),
];

const PREFIXES: &[(&str, f64)] = &[
    ("da", 1e1),
    ("G", 1e9),
    ("M", 1e6),
    ("k", 1e3),
    ("h", 1e2),
    ("d", 1e-1),
    ("c", 1e-2),
    ("m", 1e-3),
    ("µ", 1e-6),
    ("μ", 1e-6),
    ("u", 1e-6),
    ("n", 1e-9),
];

/// Unit names that are suggested for a mistyped one.
const LIKELY: &[&str] = &[
    "mm", "cm", "km", "kg", "ms", "kN", "kW", "kJ", "MJ", "kWh", "MPa", "GPa", "kPa", "N", "s", "m", "g", "W", "J",
    "V", "A", "K", "l", "bar", "min", "h", "deg", "rpm", "gn", "hp", "pts", "EUR", "USD", "%", "°C", "rad", "Hz",
];

/// Common names of units that have another name here.
const OTHERWISE: &[(&str, &str)] = &[
    ("sec", "s"),
    ("secs", "s"),
    ("seconds", "s"),
    ("hr", "h"),
    ("hrs", "h"),
    ("kph", "km/h"),
    ("kmh", "km/h"),
    ("lbs", "lb"),
    ("Nm", "N*m"),
    ("points", "pts"),
    ("pt", "pts"),
    ("percent", "%"),
    ("degC", "°C"),
    ("degrees", "deg"),
    ("€", "EUR"),
    ("$", "USD"),
    ("£", "GBP"),
    ("G", "gn"),
    ("euro", "EUR"),
    ("euros", "EUR"),
    ("KG", "kg"),
    ("Kg", "kg"),
    ("kgs", "kg"),
    ("KW", "kW"),
    ("Kw", "kW"),
    ("inch", "in"),
    ("RPM", "rpm"),
    ("m²", "m^2"),
    ("m³", "m^3"),
    ("mm²", "mm^2"),
    ("m2", "m^2"),
    ("m3", "m^3"),
    ("mm2", "mm^2"),
];

impl Atom {
    fn find(atom: &str, unit: &str) -> Result<Self, String> {
        let plain = PLAIN.iter().find(|(name, ..)| *name == atom);
        if let Some(&(_, factor, exponents, offset)) = plain {
            return Ok(Self { dimension: Dimension::whole(exponents), factor, offset });
        }
        if let Some(found) = Self::prefixed(atom) {
            return Ok(found);
        }
        // Three capital letters from the list of ISO 4217 are a currency.
        let code = atom.len() == 3 && atom.bytes().all(|b| b.is_ascii_uppercase());
        if let Some(currency) = code.then(|| Currency::from_code(atom)).flatten() {
            let dimension = Dimension { exponents: [0; 9], money: Some((currency, WHOLE)) };
            return Ok(Self { dimension, factor: 1.0, offset: 0.0 });
        }
        if atom.is_empty() {
            return Err(format!("the unit `{}` has no name next to `*` or `/`", shorten(unit)));
        }
        let whole = if atom == unit { String::new() } else { format!(" in `{}`", shorten(unit)) };
        let meant = OTHERWISE.iter().find(|(wrong, _)| *wrong == atom).map(|(_, right)| *right);
        let hint = match meant.or_else(|| suggest::nearest(atom, LIKELY.iter().copied())) {
            Some(name) => format!("did you mean `{name}`?"),
            None => "use an SI unit (with or without prefix), a common engineering unit, an ISO 4217 currency or `pts`"
                .to_owned(),
        };
        Err(format!("unknown unit `{}`{whole}: {hint}", shorten(atom)))
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
