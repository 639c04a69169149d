//! Repeated readings of one quantity: what they give, and how uncertain their mean is (JCGM 100:2008, 4.2, 4.3 and G.4).
//!
//! - The standard uncertainty of the mean of `n` readings is `s / sqrt(n)` (4.2.3), with `n - 1` degrees of freedom. One reading
//!   has none of its own.
//! - The uncertainty of the instrument is added in quadrature (5.1.2). It counts as exactly known.
//! - The expanded uncertainty is that times Student's factor for 95.45 % and the effective degrees of freedom of
//!   Welch-Satterthwaite (G.4.1), not rounded. For many readings the factor is 2, and for few it is larger.
//! - The percentile `p` of sorted readings is at the position `1 + p * (n - 1)`, interpolated linearly between its neighbours:
//!   the least is 0 %, the largest is 100 %, and the median is 50 %.
//!
//! Validity: independent readings of the same quantity. Readings that drift, or that are taken from one signal at a high rate,
//! are not independent, and their mean is less certain.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The probability that the factor 2 has for the normal distribution.
const LEVEL: f64 = 0.954_499_736_103_641_6;

/// The mean of readings and their scatter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample {
    /// The number of readings.
    pub count: usize,
    /// The arithmetic mean.
    pub mean: f64,
    /// The experimental standard deviation (n - 1); `None` for one reading.
    pub deviation: Option<f64>,
}

/// A sum that keeps the digits that each addition drops (Neumaier).
fn sum(numbers: impl Iterator<Item = f64>) -> f64 {
    let (mut sum, mut dropped) = (0.0_f64, 0.0_f64);
    for number in numbers {
        let next = sum + number;
        dropped += if sum.abs() >= number.abs() { (sum - next) + number } else { (number - next) + sum };
        sum = next;
    }
    sum + dropped
}

impl Sample {
    /// The mean and the scatter in two passes; `None` without readings, or if a number is too large.
    pub fn new(readings: &[f64]) -> Option<Self> {
        let (count, first) = (readings.len(), *readings.first()?);
        let n = count as f64;
        // From the first reading on, so that a large common part does not take the digits.
        let mean = first + sum(readings.iter().map(|reading| reading - first)) / n;
        let squares = sum(readings.iter().map(|reading| (reading - mean).powi(2)));
        let rest = sum(readings.iter().map(|reading| reading - mean));
        let variance = ((squares - rest * rest / n) / (n - 1.0)).max(0.0);
        let deviation = (count > 1).then(|| variance.sqrt());
        let is_finite = mean.is_finite() && deviation.is_none_or(f64::is_finite);
        is_finite.then_some(Self { count, mean, deviation })
    }

    /// The standard uncertainty of the mean; `None` for one reading.
    pub fn of_mean(&self) -> Option<f64> {
        self.deviation.map(|deviation| deviation / (self.count as f64).sqrt())
    }
}

/// The uncertainty of a number that was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Combined {
    /// The combined standard uncertainty.
    pub standard: f64,
    /// Student's factor for 95.45 %.
    pub coverage: f64,
    /// Its product: the expanded uncertainty.
    pub expanded: f64,
}

/// The uncertainty of the scatter of the readings, with its degrees of freedom, and that of the instrument together.
pub fn combined(scatter: Option<(f64, f64)>, instrument: f64) -> Combined {
    let (scatter, freedom) = scatter.unwrap_or((0.0, f64::INFINITY));
    let standard = scatter.hypot(instrument);
    // (u_c / u_A)^4 times the degrees of freedom of u_A.
    let effective = if scatter > 0.0 { (standard / scatter).powi(4) * freedom } else { f64::INFINITY };
    let coverage = coverage(effective);
    Combined { standard, coverage, expanded: coverage * standard }
}

/// Student's factor for 95.45 %: 2 for the normal distribution.
pub fn coverage(freedom: f64) -> f64 {
    if freedom.is_nan() {
        return 2.0;
    }
    // The expansion of Student's quantile around the normal one, 2: to eight digits from here on.
    if freedom > 200.0 {
        return 2.0 + 10.0 / (4.0 * freedom) + 294.0 / (96.0 * freedom * freedom);
    }
    StudentsT::new(0.0, 1.0, freedom).map_or(2.0, |student| student.inverse_cdf(0.5 + LEVEL / 2.0))
}

/// The percentile of readings, from 0 to 1; `None` without readings.
pub fn percentile(readings: &[f64], share: f64) -> Option<f64> {
    let mut sorted = readings.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let position = share.clamp(0.0, 1.0) * last as f64;
    let below = (position.floor() as usize).min(last);
    let (low, high) = (sorted[below], sorted[(below + 1).min(last)]);
    let part = position - below as f64;
    // Not `low + part * (high - low)`, which can overflow.
    Some(if part == 0.0 { low } else { low * (1.0 - part) + high * part })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, expected: f64, digits: i32) {
        assert!((found / expected - 1.0).abs() < 10_f64.powi(-digits), "{found}, expected {expected}");
    }

    /// NIST Statistical Reference Datasets, univariate: the certified mean and standard deviation.
    #[test]
    fn nist_strd_univariate() {
        let one = Sample::new(&[10_000_001.0, 10_000_003.0, 10_000_002.0]).unwrap();
        assert_eq!((one.mean, one.deviation), (10_000_002.0, Some(1.0)), "NumAcc1");
        for (name, middle) in [("NumAcc2", 1.2), ("NumAcc3", 1_000_000.2), ("NumAcc4", 10_000_000.2)] {
            // The data have one decimal: it is what a file has.
            let number = |by: f64| format!("{:.1}", middle + by).parse::<f64>().unwrap();
            let pairs = (0..500).flat_map(|_| [number(-0.1), number(0.1)]);
            let all: Vec<f64> = std::iter::once(middle).chain(pairs).collect();
            let found = Sample::new(&all).unwrap();
            assert_eq!(found.count, 1001);
            near(found.mean, middle, 14);
            near(found.deviation.unwrap(), 0.1, 8);
            assert!(found.of_mean().is_some(), "{name}");
        }
    }

    /// JCGM 100:2008, 4.4.3: twenty temperatures. Printed: 100.145, 1.489 and 0.333.
    #[test]
    fn twenty_temperatures_of_the_gum() {
        let readings = [
            96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95,
            101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
        ];
        let found = Sample::new(&readings).unwrap();
        near(found.mean, 100.145, 12);
        near(found.deviation.unwrap(), 1.488_844_483_1, 9);
        near(found.of_mean().unwrap(), 0.332_915_747_2, 9);
        assert_eq!(Sample::new(&[]), None);
        assert_eq!(Sample::new(&[4.2]), Some(Sample { count: 1, mean: 4.2, deviation: None }));
        assert_eq!(Sample::new(&[1e308, -1e308]), None);
    }

    /// JCGM 100:2008, table G.2, for p = 95.45 %.
    #[test]
    fn the_factor_of_few_readings() {
        for (freedom, factor) in
            [(1.0, 13.97), (2.0, 4.53), (3.0, 3.31), (4.0, 2.87), (5.0, 2.65), (9.0, 2.32), (19.0, 2.14), (50.0, 2.05)]
        {
            assert!((coverage(freedom) - factor).abs() < 0.005, "{freedom}: {}", coverage(freedom));
        }
        assert!((coverage(1e6) - 2.0).abs() < 1e-5);
        assert!((coverage(200.0) - coverage(200.000_001)).abs() < 1e-5, "the same on both sides");
        assert_eq!((coverage(f64::INFINITY), coverage(f64::NAN)), (2.0, 2.0));
        // Welch-Satterthwaite, G.4.1: u_A = 3 with 4 degrees of freedom and u_B = 4: (5/3)^4 * 4 = 30.9.
        let found = combined(Some((3.0, 4.0)), 4.0);
        near(found.standard, 5.0, 14);
        near(found.coverage, coverage(4.0 * 625.0 / 81.0), 14);
        assert_eq!(combined(None, 0.5), Combined { standard: 0.5, coverage: 2.0, expanded: 1.0 });
        assert_eq!(combined(Some((0.0, 4.0)), 0.0).expanded, 0.0);
    }

    /// JCGM GUM-5:2026, the rope: six readings, and four half-widths of rectangular distributions. Printed: 9.9.
    #[test]
    fn the_rope() {
        let readings = [10_006.0, 10_007.0, 10_005.0, 10_008.0, 10_003.0, 10_005.0];
        let found = Sample::new(&readings).unwrap();
        near(found.of_mean().unwrap(), 0.714_920, 5);
        let instrument = [6.8_f64, 8.2, 8.7, 10.2].iter().map(|half| half * half / 3.0).sum::<f64>().sqrt();
        let combined = combined(found.of_mean().map(|own| (own, 5.0)), instrument);
        near(combined.standard, 9.912_002, 6);
        assert!((combined.coverage - 2.0).abs() < 1e-4);
    }

    #[test]
    fn percentiles_interpolate() {
        let readings = [30.0, 10.0, 20.0, 40.0];
        for (share, expected) in [(0.0, 10.0), (0.25, 17.5), (0.5, 25.0), (0.95, 38.5), (1.0, 40.0)] {
            assert!((percentile(&readings, share).unwrap() - expected).abs() < 1e-12, "{share}");
        }
        assert_eq!((percentile(&[], 0.5), percentile(&[3.0], 0.95)), (None, Some(3.0)));
    }
}
