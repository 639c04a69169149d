//! Quantities: a number with a unit and, optionally, an expanded uncertainty.
//!
//! The text is `NUMBER UNIT` or `NUMBER UNIT ± NUMBER UNIT`: `4.25 s`, `0.62 kg ± 0.02 kg`, `20 %`,
//! `140 EUR`, `2.0`. `± U` is the expanded uncertainty with the coverage factor k = 2, which corresponds to a level of
//! confidence of about 95 % (JCGM 100:2008, 6.2).

mod error;
mod names;
mod show;
mod units;
mod wrong;

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};

pub use error::{QuantityError, QuantityErrorKind};
pub use units::{Dimension, KnownUnit, Unit, known as known_units, prefixes};

use crate::number;
use crate::words::shorten;

/// A number with a unit: the text as written, and its value in that unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    text: Box<str>,
    value: f64,
    unit: Unit,
    uncertainty: Option<f64>,
}

impl Quantity {
    /// Reads a quantity.
    ///
    /// # Errors
    /// What is wrong with the number, the unit or the uncertainty.
    pub fn parse(text: &str) -> Result<Self, QuantityError> {
        let trimmed = text.trim();
        strict(trimmed).map_err(|error| match trimmed.len() {
            0..=200 => wrong::likely(trimmed).unwrap_or(error),
            _ => error,
        })
    }

    /// A quantity that was calculated: the number and its expanded uncertainty (k = 2) in the unit. The text has two digits
    /// of the uncertainty, or ten digits of the number if it has none.
    pub fn calculated(value: f64, unit: Unit, uncertainty: Option<f64>) -> Self {
        let uncertainty = uncertainty.filter(|uncertainty| *uncertainty > 0.0);
        let text = match uncertainty {
            // A number that two digits of a very small uncertainty would make too long.
            Some(spread) if spread >= 1e-9 * value.abs() && (1e-7..1e12).contains(&spread) => {
                let places = number::decimals(spread, 2, 9);
                [number::fixed(value, places), number::fixed(spread, places)].map(|text| unit.after(&text)).join(" ± ")
            }
            Some(spread) => [value, spread].map(|number| unit.after(&number::precise(number))).join(" ± "),
            None => unit.after(&number::precise(value)),
        };
        Self { text: text.into(), value, unit, uncertainty }
    }

    /// The text as it is in the file.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The number, in the unit of the text.
    pub fn value(&self) -> f64 {
        self.value
    }

    /// The unit of the text.
    pub fn unit(&self) -> &Unit {
        &self.unit
    }

    /// The expanded uncertainty (k = 2), in the unit of the text.
    pub fn uncertainty(&self) -> Option<f64> {
        self.uncertainty
    }

    /// Half of the last digit of the number as written, in SI: 0.05 kg for `52.5 kg`.
    pub fn half_of_last_digit(&self) -> f64 {
        let digits = &self.text[..number_end(&self.text)];
        let (mantissa, power) = digits.split_once(['e', 'E']).unwrap_or((digits, "0"));
        let decimals = mantissa.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        let power = power.parse::<i32>().unwrap_or(0) - i32::try_from(decimals).unwrap_or(0);
        0.5 * 10.0_f64.powi(power) * self.unit.factor()
    }

    /// Whether two quantities have the same dimension and value, in any unit. The uncertainty is ignored.
    pub fn same_value(&self, other: &Self) -> bool {
        self.unit.dimension() == other.unit.dimension() && same_number(self.si(), other.si())
    }

    /// The value in SI base units (money in its currency, points in points).
    pub fn si(&self) -> f64 {
        self.unit.to_si(self.value)
    }
}

/// Reads a text without spaces around it.
fn strict(text: &str) -> Result<Quantity, QuantityError> {
    if text.is_empty() {
        return Err("a quantity is missing: use a number and a unit, for example `4.25 s`".to_owned().into());
    }
    if text.len() > 200 {
        return Err(format!("`{}` is too long for a quantity", shorten(text)).into());
    }
    let (nominal, spread) = match text.split_once('±') {
        Some((nominal, spread)) => (nominal.trim(), Some(spread.trim())),
        None => (text, None),
    };
    let (value, unit) = number_and_unit(nominal)?;
    let uncertainty = match spread {
        None => None,
        Some(spread) => Some(uncertainty(spread, &unit)?),
    };
    Ok(Quantity { text: text.into(), value, unit, uncertainty })
}

fn uncertainty(spread: &str, unit: &Unit) -> Result<f64, String> {
    let (value, spread_unit) =
        number_and_unit(spread).map_err(|e| format!("the uncertainty after ± is invalid: {e}"))?;
    if spread_unit.dimension() != unit.dimension() {
        return Err(format!(
            "the unit of the uncertainty `{}` does not match the value: {}",
            shorten(spread),
            if unit.to_string().is_empty() { "add the unit of the value".to_owned() } else { format!("use `{unit}`") }
        ));
    }
    if value < 0.0 {
        return Err("the uncertainty after ± is negative".to_owned());
    }
    // An interval has a factor but no offset: ± 2 K and ± 2 °C are the same.
    Ok(value * spread_unit.factor() / unit.factor())
}

/// The fix for a comma with three digits after it, which may separate thousands. As a decimal number it is written without
/// zeros, so that the difference is seen: `6,000` is 6000 or 6.
pub(crate) fn without_comma(whole: &str, rest: &str) -> String {
    let (fraction, unit) = rest.split_at(rest.bytes().take_while(u8::is_ascii_digit).count());
    let decimal = format!("{whole}.{fraction}");
    format!(
        "use `{}` if it separates thousands, or `{}` if it is a decimal comma",
        shorten(&format!("{whole}{rest}")),
        shorten(&format!("{}{unit}", number::without_zeros(&decimal)))
    )
}

fn number_and_unit(text: &str) -> Result<(f64, Unit), QuantityError> {
    let end = number_end(text);
    let (digits, rest) = text.split_at(end);
    if digits.is_empty() {
        return Err(format!(
            "`{}` does not begin with a number: use a number and a unit, for example `4.25 s`",
            shorten(text)
        )
        .into());
    }
    if let Some(rest) = rest.strip_prefix(',') {
        let (whole, text) = (digits, shorten(text));
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        return Err(match digits {
            3 if rest[3..].contains(',') => {
                format!("`{text}` has commas in its number: use `{}`", text.replace(',', ""))
            }
            3 => format!("`{text}` has a comma in its number: {}", without_comma(whole, rest)),
            0 => format!("`{text}` has a comma in its number: use a decimal point, and no thousands separator"),
            _ => format!("`{text}` has a decimal comma: use a decimal point, `{}`", text.replacen(',', ".", 1)),
        }
        .into());
    }
    let value: f64 = digits.parse().map_err(|_| format!("`{}` is not a number", shorten(digits)))?;
    if !value.is_finite() {
        return Err(format!("`{}` is too large: correct the exponent", shorten(digits)).into());
    }
    let name = rest.trim();
    if name.is_empty() {
        return Ok((value, Unit::dimensionless()));
    }
    if name.contains(char::is_whitespace) {
        return Err(format!(
            "`{}` has a space inside the unit: write the unit without spaces, for example `kg/m^3`",
            shorten(text)
        )
        .into());
    }
    if !rest.starts_with([' ', '%', '°']) {
        let (number, unit) = (shorten(digits), shorten(name));
        return Err(format!("`{number}{unit}` has no space between number and unit: use `{number} {unit}`").into());
    }
    Ok((value, Unit::read(name)?))
}

/// The end of the number at the start of the text: sign, digits, point, digits, exponent.
fn number_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |from: usize| bytes[from..].iter().take_while(|b| b.is_ascii_digit()).count();
    let mut end = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let whole = digits(end);
    end += whole;
    let mut fraction = 0;
    if bytes.get(end) == Some(&b'.') {
        fraction = digits(end + 1);
        end += 1 + fraction;
    }
    if whole + fraction == 0 {
        return 0;
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits((end + 1 + sign).min(bytes.len()));
        if exponent > 0 {
            end += 1 + sign + exponent;
        }
    }
    end
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl<'de> Deserialize<'de> for Quantity {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl Visitor<'_> for Text {
            type Value = Quantity;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number with a unit, for example `4.25 s`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Quantity, E> {
                Quantity::parse(text).map_err(E::custom)
            }
        }
        if !deserializer.is_human_readable() {
            return units::encoded::read(deserializer);
        }
        // As text, so that `2.0` and `1e3` keep the form in which they were written.
        deserializer.deserialize_str(Text)
    }
}

/// The pattern of a quantity in the JSON Schema.
pub const PATTERN: &str = "^[+-]?([0-9]+\\.?[0-9]*|\\.[0-9]+)([eE][+-]?[0-9]+)?( ?[%°]| ?°[CF]| [^\\s±]+)?(\\s*±\\s*[0-9.eE+-]+( ?[%°]| ?°[CF]| [^\\s±]+)?)?$";

impl JsonSchema for Quantity {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Quantity".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": ["string", "number"],
            "pattern": PATTERN
        })
    }
}

/// Whether two numbers are equal except for the last digits, which can change in unit conversions: within 1 part in 10^9.
pub fn same_number(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-9 * a.abs().max(b.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn si(text: &str) -> f64 {
        Quantity::parse(text).unwrap_or_else(|e| panic!("{text}: {e}")).si()
    }

    #[test]
    fn valid_quantities() {
        let q = Quantity::parse("0.62 kg ± 20 g").unwrap();
        assert_eq!((q.value(), q.unit().to_string().as_str()), (0.62, "kg"));
        assert!((q.uncertainty().unwrap() - 0.02).abs() < 1e-15);
        assert_eq!(q.text(), "0.62 kg ± 20 g");
        for text in ["2.0", "-3 °C", "20 %", "20%", "140 EUR", "62 pts", "1.2 kg/m^3", "1e3 N*m/deg", ".5 m", "1 1/m"]
        {
            assert!(Quantity::parse(text).is_ok(), "{text}");
        }
    }

    #[test]
    fn calculated_quantities() {
        let text = |value: f64, unit: &str, uncertainty: Option<f64>| {
            let unit = if unit.is_empty() { Unit::dimensionless() } else { Unit::parse(unit).unwrap() };
            let own = Quantity::calculated(value, unit, uncertainty);
            let read = Quantity::parse(own.text()).unwrap();
            assert!((read.si() - own.si()).abs() <= own.half_of_last_digit() * 1.000_001, "{own}");
            own.to_string()
        };
        assert_eq!(text(4.296_423, "s", Some(0.013_1)), "4.296 s ± 0.013 s");
        assert_eq!(text(4.296_423, "s", None), "4.296423 s");
        assert_eq!(text(4.3, "s", Some(0.0)), "4.3 s");
        assert_eq!(text(0.1 + 0.2, "", None), "0.3");
        assert_eq!(text(1234.5, "N", Some(120.0)), "1234 N ± 120 N");
        assert_eq!(text(1e300, "m", Some(1.0)), "1e300 m ± 1 m");
        assert_eq!(text(1e-9, "m", Some(1e-12)), "1e-9 m ± 1e-12 m");
        assert_eq!(text(23.5, "°C", Some(0.5)), "23.50 °C ± 0.50 °C");
    }

    #[test]
    fn invalid_quantities() {
        use QuantityErrorKind::{Calculation, Other, UnknownUnit};
        for (text, reason, kind) in [
            ("", "missing", Other),
            ("fast", "does not begin with a number", Other),
            ("4,25 s", "point", Other),
            ("4.25s", "space between", Other),
            ("4.25 sec", "`sec`", UnknownUnit),
            ("4.25 degrees", "`deg`", UnknownUnit),
            ("4.25 s*", "has no name", Other),
            ("22 x 1.04", "use `22.88`", Calculation),
            ("22 - 24 s", "is a range", Other),
            ("0.62 kg +/- 0.02 kg", "±", Other),
            ("0.62 kg ± 0.02 m", "does not match", Other),
            ("0.62 kg ± 0.02 kgg", "`kgg`", Other),
            ("0.62 kg ± -0.02 kg", "negative", Other),
            ("1.2 kg / m^3", "`1.2 kg/m^3`", Other),
            ("1e999 m", "too large", Other),
        ] {
            let error = Quantity::parse(text).unwrap_err();
            assert!(error.to_string().contains(reason), "{text}: {error}");
            assert_eq!(error.kind, kind, "{text}: {error}");
        }
    }

    #[test]
    fn the_last_digit_as_written() {
        for (text, half) in
            [("52.5 kg", 0.05), ("47.123457 kg", 5e-7), ("205 kg", 0.5), ("1.20e3 g", 5e-3), ("-3 °C", 0.5)]
        {
            let found = Quantity::parse(text).unwrap().half_of_last_digit();
            assert!((found / half - 1.0).abs() < 1e-12, "{text}: {found}");
        }
    }

    /// Conversion factors to SI as in NIST SP 811 (2008), appendix B.8; most of them are exact by definition.
    #[test]
    fn factors_of_nist_sp_811() {
        for (text, value) in [
            ("1 hp", 745.699_871_582_270_2),
            ("1 in", 0.0254),
            ("1 ft", 0.3048),
            ("1 lb", 0.453_592_37),
            ("1 lbf", 4.448_221_615_260_5),
            ("1 psi", 6_894.757_293_168_361),
            ("1 gn", 9.806_65),
            ("1 bar", 1e5),
            ("1 l", 1e-3),
            ("1 h", 3600.0),
            ("36 km/h", 10.0),
            ("1 mph", 0.447_04),
            ("60 rpm", std::f64::consts::TAU),
            ("180 deg", std::f64::consts::PI),
            ("20 °C", 293.15),
            ("1 N/mm", 1e3),
            ("1 kN*m/deg", 180e3 / std::f64::consts::PI),
            ("1 t", 1e3),
            ("1 mi", 1609.344),
            ("1 yd", 0.9144),
            ("16 oz", 0.453_592_37),
            ("1 kgf", 9.806_65),
            ("212 °F", 373.15),
            ("32 degF", 273.15),
            ("100 degC", 373.15),
            ("60 rev/min", std::f64::consts::TAU),
            ("5 ppm", 5e-6),
            ("3 kΩ", 3e3),
            ("140 €", 140.0),
            ("1 kWh", 3.6e6),
            ("25 %", 0.25),
        ] {
            let got = si(text);
            assert!((got - value).abs() <= 1e-12 * value.abs(), "{text}: got {got}, expected {value}");
        }
    }
}
