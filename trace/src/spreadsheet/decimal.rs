//! Exact decimal numbers: the sums of a spreadsheet, to the last digit.

use std::fmt;

/// The number of digits that a spreadsheet keeps of a number: IEEE 754 doubles have 15 that survive being written and read.
const DIGITS: u32 = 15;

/// The largest number of digits after the decimal point.
const MOST_DECIMALS: u32 = 24;

/// A decimal number: an integer and the number of its digits after the decimal point.
#[derive(Clone, Copy, Debug, Default)]
pub struct Decimal {
    digits: i128,
    decimals: u32,
}

impl Decimal {
    /// Zero.
    pub const ZERO: Self = Self { digits: 0, decimals: 0 };

    /// One.
    pub const ONE: Self = Self { digits: 1, decimals: 0 };

    /// A whole number.
    pub fn whole(number: i64) -> Self {
        Self { digits: i128::from(number), decimals: 0 }
    }

    /// Reads `-12.340` or `1.5e-3`; `None` if it is not a number, or has too many digits.
    pub fn parse(text: &str) -> Option<Self> {
        let (mantissa, power) = match text.split_once(['e', 'E']) {
            Some((mantissa, power)) => (mantissa, power.parse::<i32>().ok()?),
            None => (text, 0),
        };
        let negative = mantissa.starts_with('-');
        let mantissa = mantissa.strip_prefix(['-', '+']).unwrap_or(mantissa);
        let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
        let is_number = !(whole.is_empty() && fraction.is_empty());
        let is_digits = whole.bytes().chain(fraction.bytes()).all(|b| b.is_ascii_digit());
        if !is_number || !is_digits || whole.len() + fraction.len() > 30 || power.abs() > 20 {
            return None;
        }
        let digits: i128 = format!("{whole}{fraction}").parse().ok()?;
        let decimals = i32::try_from(fraction.len()).ok()? - power;
        let digits = if negative { -digits } else { digits };
        if decimals >= 0 {
            let decimals = u32::try_from(decimals).ok().filter(|decimals| *decimals <= MOST_DECIMALS)?;
            return Some(Self { digits, decimals });
        }
        let factor = 10_i128.checked_pow(decimals.unsigned_abs())?;
        Some(Self { digits: digits.checked_mul(factor)?, decimals: 0 })
    }

    /// A number of a spreadsheet with the 15 digits that it has, without zeros at the end.
    pub fn from_f64(value: f64) -> Option<Self> {
        if !value.is_finite() {
            return None;
        }
        Self::parse(&format!("{value:.14e}")).map(Self::without_zeros)
    }

    /// The same number without zeros at the end of its fraction.
    #[must_use]
    pub fn without_zeros(mut self) -> Self {
        while self.decimals > 0 && self.digits % 10 == 0 {
            self.digits /= 10;
            self.decimals -= 1;
        }
        self
    }

    /// The number with at most 15 significant digits, rounded half away from zero.
    #[must_use]
    pub fn rounded(mut self) -> Self {
        let digits = self.digits.unsigned_abs().checked_ilog10().map_or(0, |power| power + 1);
        let cut = digits.saturating_sub(DIGITS).min(self.decimals);
        let step = 10_i128.pow(cut);
        let is_up = (self.digits % step).abs() * 2 >= step;
        // Half away from zero, in one step.
        self.digits = self.digits / step + if is_up { self.digits.signum() } else { 0 };
        self.decimals -= cut;
        self
    }

    /// The sum; `None` if it has too many digits.
    pub fn plus(self, other: Self) -> Option<Self> {
        let decimals = self.decimals.max(other.decimals);
        Some(Self { digits: self.digits_with(decimals)?.checked_add(other.digits_with(decimals)?)?, decimals })
    }

    /// The difference; `None` if it has too many digits.
    pub fn minus(self, other: Self) -> Option<Self> {
        self.plus(Self { digits: other.digits.checked_neg()?, ..other })
    }

    /// The product; `None` if it has too many digits.
    pub fn times(self, other: Self) -> Option<Self> {
        let (a, b) = (self.without_zeros(), other.without_zeros());
        Some(Self { digits: a.digits.checked_mul(b.digits)?, decimals: a.decimals + b.decimals })
    }

    /// The number in another unit, given the size of the old unit in the new one.
    pub fn scaled(self, factor: f64) -> Option<Self> {
        self.times(Self::from_f64(factor)?)
    }

    /// Whether it is zero.
    pub fn is_zero(self) -> bool {
        self.digits == 0
    }

    /// Whether it is less than zero.
    pub fn is_negative(self) -> bool {
        self.digits < 0
    }

    /// The whole number that it is.
    pub fn as_whole(self) -> Option<i64> {
        let own = self.without_zeros();
        if own.decimals == 0 { i64::try_from(own.digits).ok() } else { None }
    }

    /// The nearest floating-point number.
    pub fn as_f64(self) -> f64 {
        /// Up to here, integers are exact as floating-point numbers, and so are powers of ten with few digits.
        const EXACT: u128 = 1 << 53;
        if self.digits.unsigned_abs() < EXACT && self.decimals < 20 {
            // The quotient of two exact numbers is the nearest number.
            return self.digits as f64 / 10_u64.pow(self.decimals) as f64;
        }
        self.to_string().parse().unwrap_or(f64::NAN)
    }

    /// The integer with this many decimals.
    fn digits_with(self, decimals: u32) -> Option<i128> {
        self.digits.checked_mul(10_i128.checked_pow(decimals - self.decimals)?)
    }
}

impl PartialEq for Decimal {
    fn eq(&self, other: &Self) -> bool {
        let (a, b) = (self.without_zeros(), other.without_zeros());
        (a.digits, a.decimals) == (b.digits, b.decimals)
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let places = self.decimals as usize;
        let digits = format!("{:0>1$}", self.digits.unsigned_abs(), places + 1);
        let (whole, fraction) = digits.split_at(digits.len() - places);
        let sign = if self.digits < 0 { "-" } else { "" };
        if places == 0 { write!(f, "{sign}{whole}") } else { write!(f, "{sign}{whole}.{fraction}") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Decimal {
        Decimal::parse(text).unwrap_or_else(|| panic!("{text}"))
    }

    #[test]
    fn sums_and_products_are_exact() {
        let sum = (0..10).try_fold(Decimal::ZERO, |sum, _| sum.plus(read("0.1"))).unwrap();
        assert_eq!(sum, Decimal::ONE, "ten times 0.1, which no sum of floats gives");
        assert_eq!(read("1234.5").times(read("1.133")).unwrap().to_string(), "1398.6885");
        assert_eq!(read("0.1").minus(read("0.35")).unwrap().to_string(), "-0.25");
        assert_eq!(read("1.5e3").to_string(), "1500");
        assert_eq!(read("15e-4").to_string(), "0.0015");
        assert_eq!(read("620").scaled(0.001).unwrap().to_string(), "0.620");
        assert_eq!(read("2.00").as_whole(), Some(2));
        assert_eq!(read("2.01").as_whole(), None);
    }

    #[test]
    fn the_nearest_float_is_that_of_the_text() {
        for text in [
            "0",
            "0.1",
            "-12.340",
            "684.5",
            "9007199254740991",
            "0.0000000000000000001",
            "123456789012345678.5",
            "1e20",
        ] {
            let number = read(text);
            assert_eq!(number.as_f64().to_bits(), number.to_string().parse::<f64>().unwrap().to_bits(), "{text}");
        }
    }

    #[test]
    fn a_number_of_a_spreadsheet_has_fifteen_digits() {
        assert_eq!(Decimal::from_f64(0.1 + 0.2).unwrap().to_string(), "0.3");
        assert_eq!(Decimal::from_f64(1.0 / 3.0).unwrap().to_string(), "0.333333333333333");
        assert_eq!(Decimal::from_f64(1234.5).unwrap().to_string(), "1234.5");
        assert_eq!(Decimal::from_f64(2e6).unwrap().to_string(), "2000000");
        assert_eq!(read("0.12345678901234567").rounded().to_string(), "0.123456789012346");
        assert_eq!(read("-9.99999999999999951").rounded(), read("-10"));
        assert_eq!(read("1.000000000000004999").rounded().to_string(), "1.00000000000000", "rounded once");
        for bad in ["", ".", "-", "1e99", "1.2.3", "12a", "1234567890123456789012345678901"] {
            assert!(Decimal::parse(bad).is_none(), "{bad}");
        }
        assert!(Decimal::from_f64(f64::NAN).is_none() && Decimal::from_f64(1e300).is_none());
    }
}
