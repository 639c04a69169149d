//! The points of a place compared with published results and published quantiles.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a test fails by panicking")]

use std::collections::BTreeMap;
use std::path::Path;

use models::standings::{Forecast, Next, PastContest, StandingsError, points_for_place};

/// Totals of the first ten places of the Formula SAE Michigan contests, from the official results (the MIT-licensed
/// fsae-database, commit 024d620c; `official-fields-2013-2019.csv` of the reference tables).
const FIRST_TEN: [(i32, [f64; 10]); 7] = [
    (2013, [831.5, 820.7, 819.0, 817.9, 799.7, 756.5, 754.3, 737.9, 735.3, 730.7]),
    (2014, [876.6, 840.2, 834.3, 797.8, 788.3, 752.7, 727.1, 725.5, 725.4, 714.1]),
    (2015, [848.1, 844.8, 821.4, 760.5, 743.2, 731.8, 704.6, 704.6, 699.2, 689.2]),
    (2016, [921.7, 871.1, 838.6, 817.9, 763.2, 734.8, 723.4, 714.6, 687.2, 652.8]),
    (2017, [902.5, 861.8, 855.1, 842.7, 757.9, 729.7, 720.6, 712.4, 710.3, 697.1]),
    (2018, [840.9, 812.5, 790.3, 706.9, 688.5, 653.3, 652.6, 628.2, 601.6, 597.3]),
    (2019, [892.4, 885.1, 771.3, 762.0, 736.1, 716.7, 689.5, 682.4, 663.4, 660.8]),
];

fn typed_in() -> Vec<PastContest> {
    let contest = |(year, totals): &(i32, [f64; 10])| PastContest { year: *year, totals: (1..).zip(*totals).collect() };
    FIRST_TEN.iter().map(contest).collect()
}

/// The complete results, if the reference tables are available.
fn reference() -> Option<Vec<PastContest>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../shared/reference/official-fields-2013-2019.csv");
    let Ok(text) = std::fs::read_to_string(&path) else {
        assert!(std::env::var_os("CI").is_none(), "CI needs the reference contests at {}", path.display());
        return None;
    };
    let mut years: BTreeMap<i32, Vec<(u32, f64)>> = BTreeMap::new();
    for line in text.lines().skip(1) {
        let cells: Vec<&str> = line.split(',').collect();
        let row = (cells[1].parse().unwrap(), cells[2].parse().unwrap());
        years.entry(cells[0].parse().unwrap()).or_default().push(row);
    }
    Some(years.into_iter().map(|(year, totals)| PastContest { year, totals }).collect())
}

/// The forecast for the year after the last one.
fn next_year(contests: &[PastContest], place: u32, level: f64) -> Result<Forecast, StandingsError> {
    let year = contests.iter().map(|contest| contest.year).max().unwrap_or(0) + 1;
    points_for_place(contests, place, Next { year, most: Some(1000.0), level })
}

fn truth(contest: &PastContest, place: u32) -> f64 {
    let mut totals: Vec<f64> = contest.totals.iter().map(|row| row.1).collect();
    totals.sort_by(|a, b| b.total_cmp(a));
    totals[place as usize - 1]
}

/// How often the interval from the first years contained the next one, of how many, and the sum of the widths.
fn forward(contests: &[PastContest], place: u32, from: usize, level: f64) -> (usize, usize, f64) {
    let (mut hits, mut all, mut width) = (0, 0, 0.0);
    for known in from..contests.len() {
        let forecast = next_year(&contests[..known], place, level).unwrap();
        let truth = truth(&contests[known], place);
        hits += usize::from(forecast.low <= truth && truth <= forecast.high);
        all += 1;
        width += forecast.high - forecast.low;
    }
    (hits, all, width)
}

#[test]
fn forward_on_the_seven_contests_the_interval_holds() {
    // Five next years of the tenth place: 2018 is 80 points below the mean of the others.
    let (hits, all, _) = forward(&typed_in(), 10, 2, 0.9);
    assert_eq!((hits, all), (5, 5));
    let Some(contests) = reference() else { return };
    let places = [1, 3, 5, 8, 10, 20, 30, 50];
    let (mut hits, mut all) = (0, 0);
    for place in places {
        let own = forward(&contests, place, 2, 0.9);
        (hits, all) = (hits + own.0, all + own.1);
    }
    // At least 88 % for a stated 90 %; the mean of the years with Student's interval contains 30 of 40.
    assert_eq!(all, 40);
    assert!(hits * 100 >= 88 * all, "{hits} of {all}");
    assert_eq!(hits, 36);
}

/// Numbers between 0 and 1 (the generator `xorshift64*`, so that the fields are the same on every machine).
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A car's total: the mean of three numbers, so that middle totals are frequent.
    fn total(&mut self) -> f64 {
        1000.0 * (self.next() + self.next() + self.next()) / 3.0
    }
}

/// A contest whose field grows by a factor a year.
fn growing(random: &mut Random, cars: f64, growth: f64, years: i32) -> Vec<PastContest> {
    let contest = |year: i32| {
        let size = (cars * growth.powi(year)).round() as usize;
        let day = 40.0 * (random.next() + random.next() - 1.0);
        let mut totals: Vec<f64> = (0..size).map(|_| (random.total() + day).clamp(0.0, 1000.0)).collect();
        totals.sort_by(|a, b| b.total_cmp(a));
        PastContest { year: 2020 + year, totals: (1..).zip(totals).collect() }
    };
    (0..years).map(contest).collect()
}

/// The interval of the mean of the years with Student's quantile, without a trend.
fn without_trend(contests: &[PastContest], place: u32) -> (f64, f64) {
    let totals: Vec<f64> = contests.iter().map(|contest| truth(contest, place)).collect();
    let count = totals.len() as f64;
    let mean = totals.iter().sum::<f64>() / count;
    let deviation = (totals.iter().map(|total| (total - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
    // scipy.stats.t.ppf(0.95, n - 1) for three to seven years.
    let quantile = [2.919_986, 2.353_363, 2.131_847, 2.015_048, 1.943_180][totals.len() - 3];
    let reach = quantile * deviation * (1.0 + 1.0 / count).sqrt();
    ((mean - reach).max(0.0), (mean + reach).min(1000.0))
}

#[test]
fn forward_on_fields_that_grow_the_interval_holds_and_is_not_wide() {
    let mut random = Random(0x0005_EED0_F1E1_D500);
    let (mut ratio, mut honest) = (0.0, 0.0);
    let (mut inside, mut cases) = (0.0, 0.0);
    for growth in [1.0, 1.1, 1.2, 1.35] {
        for (place, cars) in [(5, 30.0), (10, 30.0), (20, 30.0), (10, 80.0)] {
            for years in [3, 5, 7] {
                let (mut hits, mut plain_hits, mut width, mut plain_width) = (0, 0, 0.0, 0.0);
                const TRIALS: usize = 200;
                for _ in 0..TRIALS {
                    let contests = growing(&mut random, cars, growth, years + 1);
                    let (known, next) = contests.split_at(years as usize);
                    let truth = truth(&next[0], place);
                    let forecast = next_year(known, place, 0.9).unwrap();
                    hits += usize::from(forecast.low <= truth && truth <= forecast.high);
                    width += forecast.high - forecast.low;
                    let (low, high) = without_trend(known, place);
                    plain_hits += usize::from(low <= truth && truth <= high);
                    plain_width += high - low;
                }
                let share = hits as f64 / TRIALS as f64;
                // 200 trials at 90 % have a standard deviation of 2 %.
                assert!(share >= 0.84, "growth {growth}, place {place}, {years} years: {share}");
                (inside, cases) = (inside + share, cases + 1.0);
                if plain_hits as f64 >= 0.88 * TRIALS as f64 {
                    (ratio, honest) = (ratio + width / plain_width, honest + 1.0);
                }
            }
        }
    }
    assert!(inside / cases >= 0.88, "{}", inside / cases);
    // Where the interval without a trend is honest, this one is at most 15 % wider.
    assert!(honest >= 5.0 && ratio / honest <= 1.15, "{}", ratio / honest);
}

#[test]
fn numbers_agree_with_matrices_and_scipy() {
    // From `standings_scipy.py` in this folder: expected value, low, high and slope.
    let tenth = typed_in();
    for (years, expected) in [
        (7, [623.003571, 538.463334, 707.543808, -13.606250]),
        (2, [719.633333, 594.221651, 845.045016, -1.844444]),
        (4, [660.783333, 567.003852, 754.562815, -14.366667]),
    ] {
        let forecast = next_year(&tenth[..years], 10, 0.9).unwrap();
        let largest = tenth[..years].iter().flat_map(|contest| &contest.totals).map(|row| row.1).fold(0.0, f64::max);
        let usual = models::standings::USUAL_DEVIATION * largest;
        assert!((usual - 0.05 * largest).abs() < 1e-12);
        let found = [forecast.points, forecast.low, forecast.high, forecast.slope];
        for (found, expected) in found.into_iter().zip(expected) {
            assert!((found - expected).abs() < 1e-4, "{years} years: {found} {expected}");
        }
        assert_eq!(forecast.years[0], (2013, 730.7));
        // Half of the probability is below the expected value, and 5 % below the interval.
        assert!((forecast.chance_at_most(forecast.points) - 0.5).abs() < 1e-12);
        assert!((forecast.chance_at_most(forecast.low) - 0.05).abs() < 1e-9);
    }
}

#[test]
fn a_small_year_is_skipped_and_named() {
    let mut contests = typed_in();
    contests[2].totals.truncate(6);
    let forecast = next_year(&contests, 10, 0.9).unwrap();
    assert_eq!((forecast.years.len(), forecast.too_small), (6, vec![2015]));
    // Its six places are still used for the sixth place.
    assert_eq!(next_year(&contests, 6, 0.9).unwrap().years.len(), 7);
}

#[test]
fn the_interval_ends_at_zero_and_at_the_most_points() {
    let contest = |year, total| PastContest { year, totals: vec![(1, total)] };
    let wild = [contest(2024, 10.0), contest(2025, 950.0)];
    let forecast = points_for_place(&wild, 1, Next { year: 2026, most: Some(1000.0), level: 0.9 }).unwrap();
    assert_eq!((forecast.low, forecast.high), (0.0, 1000.0));
}

#[test]
fn invalid_inputs_are_errors() {
    let contests = typed_in();
    assert_eq!(next_year(&[], 10, 0.9), Err(StandingsError::NoYears));
    assert_eq!(next_year(&contests, 11, 0.9), Err(StandingsError::TooFewCars { place: 11, most: 10 }));
    assert_eq!(next_year(&contests, 0, 0.9), Err(StandingsError::NoSuchPlace { year: 2013, place: 0 }));
    for level in [0.0, 1.0, -0.5, 1.5, f64::NAN, f64::INFINITY] {
        assert!(matches!(next_year(&contests, 1, level), Err(StandingsError::WrongLevel { .. })));
    }
    let twice = [contests[0].clone(), contests[0].clone()];
    assert_eq!(next_year(&twice, 1, 0.9), Err(StandingsError::YearTwice { year: 2013 }));
    let mut gap = contests.clone();
    gap[3].totals.remove(4);
    assert_eq!(next_year(&gap, 10, 0.9), Err(StandingsError::NoSuchPlace { year: 2016, place: 10 }));
    for total in [f64::NAN, f64::INFINITY, f64::MAX] {
        let mut wrong = contests.clone();
        wrong[0].totals[0].1 = total;
        wrong[1].totals[0].1 = -total;
        assert!(matches!(next_year(&wrong, 1, 0.9), Err(StandingsError::WrongTotal { .. })), "{total}");
    }
}

#[test]
fn after_a_shared_place_the_next_one_is_not_used() {
    let shared = |year| PastContest { year, totals: vec![(1, 300.0), (2, 200.0), (2, 200.0), (4, 100.0)] };
    let forecast = next_year(&[shared(1), shared(2)], 3, 0.9).unwrap();
    assert_eq!((forecast.points, forecast.years), (200.0, vec![(1, 200.0), (2, 200.0)]));
}

#[test]
fn one_year_gives_a_wide_interval() {
    let forecast = next_year(&typed_in()[..1], 10, 0.9).unwrap();
    assert!((forecast.points - 730.7).abs() < 1e-9);
    // SciPy: t.ppf(0.95, 1.5) = 3.965343; scale 0.05 * 831.5 * sqrt(1 + 1 + 1 / 4).
    assert!(forecast.high - forecast.low > 300.0 && forecast.high <= 1000.0, "{forecast:?}");
}
