//! Fixed samples of normal distributions, and what a weighted sample says: mean, spread, and quantiles.
//!
//! The points are a lattice: each coordinate runs through the same equally probable values of a normal distribution, in
//! another order. So the same inputs give the same bytes, and a mean is as exact as with many times as many random draws.

use std::sync::LazyLock;

use models::normal;

/// The number of points. It is a prime, so that each coordinate is a permutation.
pub(super) const POINTS: usize = 4093;

/// Found by search: the coordinates of up to 16 dimensions are correlated by less than 0.022, neighbours by less than 0.0072.
const MULTIPLIER: usize = 1567;

/// The share of outcomes outside of an interval.
const OUTSIDE: f64 = 0.05;

/// The probability of one single outcome, as at a cap, that is more than that of a point.
const MANY: f64 = 0.005;

/// Equally probable values of the standard normal distribution, in ascending order, with a variance of one.
static NORMAL: LazyLock<Vec<f64>> = LazyLock::new(|| {
    // The upper half mirrors the lower one, and the middle is zero.
    let lower: Vec<f64> = (0..POINTS / 2).map(|at| normal::quantile((at as f64 + 0.5) / POINTS as f64)).collect();
    let upper = lower.iter().rev().map(|value| -value);
    let values: Vec<f64> = lower.iter().copied().chain([0.0]).chain(upper).collect();
    let scale = (values.iter().map(|value| value * value).sum::<f64>() / POINTS as f64).sqrt();
    values.into_iter().map(|value| value / scale).collect()
});

/// The coordinates of the points, one dimension after the other.
#[derive(Clone, Debug)]
pub(super) struct Lattice {
    multiplier: usize,
    dimension: usize,
}

impl Lattice {
    pub(super) fn new() -> Self {
        Self { multiplier: 1, dimension: 0 }
    }

    /// The ranks of all points in the next dimension.
    fn ranks(&mut self) -> impl Iterator<Item = usize> + use<> {
        self.dimension += 1;
        // Another start in each dimension, so that no point has its lowest value in all of them.
        let golden = (self.dimension as f64 * 0.618_033_988_75).fract();
        let (start, step) = ((golden * POINTS as f64) as usize, self.multiplier);
        self.multiplier = self.multiplier * MULTIPLIER % POINTS;
        (0..POINTS).map(move |point| (point * step + start) % POINTS)
    }

    /// A standard normal value for each point.
    pub(super) fn normal(&mut self) -> Vec<f64> {
        self.ranks().map(|rank| NORMAL[rank]).collect()
    }

    /// Whether each point has an outcome of this probability. The weights are multiplied so that the outcome has exactly
    /// this probability.
    pub(super) fn outcome(&mut self, probability: f64, weights: &mut [f64]) -> Vec<bool> {
        let is_in = |rank: usize| rank as f64 + 0.5 < probability * POINTS as f64;
        let outcomes: Vec<bool> = self.ranks().map(is_in).collect();
        let count = outcomes.iter().filter(|outcome| **outcome).count() as f64;
        let share = count / POINTS as f64;
        for (weight, outcome) in weights.iter_mut().zip(&outcomes) {
            *weight *= if *outcome { probability / share } else { (1.0 - probability) / (1.0 - share) };
        }
        outcomes
    }
}

/// The lower triangular factor of a covariance matrix, of which the lower triangle is enough, row by row; a value that depends on those before it adds no
/// dimension (Cholesky; standard textbook result).
pub(super) fn factor(covariance: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let mut rows: Vec<Vec<f64>> = Vec::with_capacity(covariance.len());
    for (at, own) in covariance.iter().enumerate() {
        let mut row: Vec<f64> = Vec::with_capacity(at + 1);
        for (other, &covariance) in own.iter().enumerate().take(at) {
            let known: f64 = row.iter().zip(&rows[other]).map(|(a, b)| a * b).sum();
            let pivot = rows[other][other];
            row.push(if pivot > 0.0 { (covariance - known) / pivot } else { 0.0 });
        }
        let left = own[at] - row.iter().map(|a| a * a).sum::<f64>();
        row.push(if left > 1e-12 * own[at] { left.sqrt() } else { 0.0 });
        rows.push(row);
    }
    rows
}

/// Sorts outcomes by value, in the order of `f64::total_cmp`.
///
/// Numbers of 64 bits are sorted several times faster than outcomes. So each value gives a number with the same order, whose
/// lowest bits are replaced with the position of the outcome; what differs only there is put in order afterwards, in one pass
/// over what is nearly sorted.
fn sort(outcomes: &mut Vec<(f64, f64, f64)>) {
    const POSITION: u64 = (1 << 12) - 1;
    if outcomes.len() as u64 <= POSITION + 1 {
        let in_order = |value: f64| {
            let bits = value.to_bits();
            if value.is_sign_negative() { !bits } else { bits | 1 << 63 }
        };
        let packed = |(at, outcome): (usize, &(f64, f64, f64))| in_order(outcome.0) & !POSITION | at as u64;
        let mut keys: Vec<u64> = outcomes.iter().enumerate().map(packed).collect();
        keys.sort_unstable();
        *outcomes = keys.into_iter().map(|key| outcomes[(key & POSITION) as usize]).collect();
    }
    outcomes.sort_by(|a, b| a.0.total_cmp(&b.0));
}

/// The outcomes of a value, each with its probability.
#[derive(Debug)]
pub(super) struct Sample {
    /// The outcomes in ascending order, with the probability of each and of all up to it.
    outcomes: Vec<(f64, f64, f64)>,
}

impl Sample {
    /// A sample of these values; `None` if half of it has no value.
    pub(super) fn new(values: &[f64], weights: &[f64]) -> Option<Self> {
        let known = values.iter().zip(weights).filter(|(value, _)| value.is_finite());
        let mut outcomes: Vec<(f64, f64, f64)> = known.map(|(value, weight)| (*value, *weight, 0.0)).collect();
        let (all, known) = (weights.iter().sum::<f64>(), outcomes.iter().map(|(_, weight, _)| weight).sum::<f64>());
        if outcomes.is_empty() || known < 0.5 * all {
            return None;
        }
        sort(&mut outcomes);
        let mut sum = 0.0;
        for (_, weight, up_to) in &mut outcomes {
            *weight /= known;
            sum += *weight;
            *up_to = sum;
        }
        Some(Self { outcomes })
    }

    pub(super) fn mean(&self) -> f64 {
        self.outcomes.iter().map(|(value, weight, _)| weight * value).sum()
    }

    pub(super) fn standard_deviation(&self) -> f64 {
        let mean = self.mean();
        self.outcomes.iter().map(|(value, weight, _)| weight * (value - mean).powi(2)).sum::<f64>().sqrt()
    }

    /// The smallest outcome that is not exceeded with this probability.
    fn quantile(&self, probability: f64) -> f64 {
        let at = self.outcomes.partition_point(|(.., up_to)| *up_to < probability - 1e-12);
        self.outcomes.get(at).or(self.outcomes.last()).map_or(f64::NAN, |(value, ..)| *value)
    }

    /// The probability of less, and of more.
    fn beyond(&self, value: f64) -> (f64, f64) {
        let sum = |outcomes: &[(f64, f64, f64)]| outcomes.iter().map(|(_, weight, _)| weight).sum::<f64>();
        let less = self.outcomes.partition_point(|(outcome, ..)| *outcome < value);
        let up_to = self.outcomes.partition_point(|(outcome, ..)| *outcome <= value);
        (sum(&self.outcomes[..less]), sum(&self.outcomes[up_to..]))
    }

    /// The central 95 % of the outcomes: 2.5 % are less, and 2.5 % are more. An end that is itself the outcome of more than
    /// 2.5 % (a cap, a floor, no finish) has less than that beyond it; then more may be beyond the other end.
    pub(super) fn interval(&self) -> (f64, f64) {
        let (low, high) = (self.quantile(0.5 * OUTSIDE), self.quantile(1.0 - 0.5 * OUTSIDE));
        let ((less, above_low), (below_high, more)) = (self.beyond(low), self.beyond(high));
        let is_many = |beyond: f64| 1.0 - beyond > MANY;
        let left = if is_many(below_high + more) { self.quantile(OUTSIDE - more) } else { low };
        let right = if is_many(less + above_low) { self.quantile(1.0 - OUTSIDE + less) } else { high };
        // Many at both ends: nothing may be left out.
        if left >= right { (low, high) } else { (left, right) }
    }

    /// The probability of at least this value.
    pub(super) fn at_least(&self, value: f64) -> f64 {
        let less = self.outcomes.partition_point(|(outcome, ..)| *outcome < value);
        let up_to = |at: usize| self.outcomes.get(at).map_or(0.0, |(.., up_to)| *up_to);
        let all = self.outcomes.last().map_or(0.0, |(.., up_to)| *up_to);
        all - less.checked_sub(1).map_or(0.0, up_to)
    }

    /// The mean of a function of the outcome.
    pub(super) fn mean_of(&self, of: impl Fn(f64) -> f64) -> f64 {
        self.outcomes.iter().map(|(value, weight, _)| weight * of(*value)).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outcomes_are_sorted_as_numbers() {
        let almost = f64::from_bits(2.0_f64.to_bits() + 1);
        let values = [0.0, almost, -1.5, 3.0, -0.0, f64::MIN_POSITIVE, -1e300, 1e300, 2.0, -almost, -2.0];
        // As many as fit into whole numbers with their positions, and more.
        for count in [values.len(), POINTS, 2 * POINTS] {
            // The probability of each says which value it belongs to.
            let given = values.iter().enumerate().cycle().take(count);
            let mut outcomes: Vec<_> = given.map(|(at, value)| (*value, at as f64, 0.0)).collect();
            let mut expected = outcomes.clone();
            expected.sort_by(|a, b| a.0.total_cmp(&b.0));
            sort(&mut outcomes);
            assert_eq!(outcomes, expected);
        }
    }

    #[test]
    fn coordinates_are_nearly_independent() {
        let mut lattice = Lattice::new();
        let all: Vec<Vec<f64>> = (0..16).map(|_| lattice.normal()).collect();
        for (at, one) in all.iter().enumerate() {
            let mean = |of: &dyn Fn(usize) -> f64| (0..POINTS).map(of).sum::<f64>() / POINTS as f64;
            assert!(mean(&|point| one[point]).abs() < 1e-12);
            assert!((mean(&|point| one[point].powi(2)) - 1.0).abs() < 1e-12);
            for (distance, other) in all[at + 1..].iter().enumerate() {
                let correlation = mean(&|point| one[point] * other[point]);
                let most = if distance < 5 { 0.0072 } else { 0.022 };
                assert!(correlation.abs() < most, "{at}, {distance} apart: {correlation}");
            }
        }
    }

    #[test]
    fn a_factor_multiplies_to_its_matrix() {
        // The third value is the sum of the others.
        let covariance = vec![vec![4.0, 1.0, 5.0], vec![1.0, 9.0, 10.0], vec![5.0, 10.0, 15.0]];
        let rows = factor(&covariance);
        for (at, row) in rows.iter().enumerate() {
            for (other, column) in rows.iter().enumerate().take(at + 1) {
                let product: f64 = row.iter().zip(column).map(|(a, b)| a * b).sum();
                assert!((product - covariance[at][other]).abs() < 1e-12);
            }
        }
        assert!(rows[2][2].abs() < 1e-5);
    }

    #[test]
    fn a_probability_is_the_share_of_the_outcomes_that_are_enough() {
        let values = [3.0, 1.0, 2.0, 2.0, 5.0];
        let sample = Sample::new(&values, &[1.0, 2.0, 3.0, 1.0, 1.0]).unwrap();
        for least in [0.0, 1.0, 1.5, 2.0, 2.5, 3.0, 5.0, 5.5] {
            let share = sample.mean_of(|outcome| f64::from(u8::from(outcome >= least)));
            assert!((sample.at_least(least) - share).abs() < 1e-12, "{least}");
        }
    }

    #[test]
    fn an_interval_holds_95_percent() {
        let values: Vec<f64> = (1..=1000).map(f64::from).collect();
        let sample = Sample::new(&values, &[1.0; 1000]).unwrap();
        assert_eq!(sample.interval(), (25.0, 975.0));
        // Three of ten are 1000 at a cap: all that is outside is below.
        let capped: Vec<f64> = values.iter().map(|value| value.min(700.0)).collect();
        assert_eq!(Sample::new(&capped, &[1.0; 1000]).unwrap().interval(), (50.0, 700.0));
        let floored: Vec<f64> = values.iter().map(|value| value.max(300.0)).collect();
        assert_eq!(Sample::new(&floored, &[1.0; 1000]).unwrap().interval(), (300.0, 950.0));
        // Half at each end: both belong to it.
        let ends: Vec<f64> = values.iter().map(|value| if *value > 500.0 { 1.0 } else { 0.0 }).collect();
        assert_eq!(Sample::new(&ends, &[1.0; 1000]).unwrap().interval(), (0.0, 1.0));
        assert!(Sample::new(&[f64::NAN, f64::NAN, 1.0], &[1.0; 3]).is_none());
    }
}
