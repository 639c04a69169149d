//! The points of a place in past contests, and a forecast for the next contest.
//!
//! Each past year gives one number for a place: the total of the car in that place, with the largest total first. The next
//! year is assumed to be one more sample of the same normal distribution. With `n` years, their mean and their standard
//! deviation `s`, it is within `mean +- t s sqrt(1 + 1/n)` with the given probability, where `t` is the quantile of
//! Student's distribution with `n - 1` degrees of freedom. This prediction interval for one future observation of a normal
//! distribution is a standard textbook result; the quantile is from the crate `statrs`.
//!
//! Validity: years of one contest with similar rules, without a trend from year to year. Totals are not corrected for
//! changes of the maximum points of events. Places are counted from the first, so for a place near the last the number of
//! teams should be similar in all years.
//!
//! In the seven Formula SAE Michigan contests of 2013 to 2019, the tenth place of each year, predicted from the six others,
//! was in the interval 4 times of 7 at 50 %, and 6 times of 7 at 80 %, 90 % and 95 % (the total of 2018 is 80 points below
//! the mean of the others). For eight places from the first to the fiftieth it was 49 times of 56 at 90 %. Tests check both
//! results.

use std::error::Error;
use std::fmt;

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The final table of one year.
#[derive(Debug, Clone, PartialEq)]
pub struct PastContest {
    /// The year.
    pub year: i32,
    /// Place (from 1) and total points of each car, in any order. Cars after the requested place may be missing, cars before
    /// it may not.
    pub totals: Vec<(u32, f64)>,
}

/// The forecast of the points of a place for next year.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The mean over the years: the points to plan for.
    pub points: f64,
    /// The lower end of the interval. It can be negative.
    pub low: f64,
    /// The upper end of the interval.
    pub high: f64,
    /// The standard deviation between years.
    pub standard_deviation: f64,
    /// The years and the points of the place in each, sorted by year.
    pub years: Vec<(i32, f64)>,
}

/// Why there is no forecast.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum StandingsError {
    /// Fewer than two years.
    TooFewYears {
        /// The number of years.
        years: usize,
    },
    /// A year appears twice.
    YearTwice {
        /// The year.
        year: i32,
    },
    /// A year without the place, or with a gap before it.
    NoSuchPlace {
        /// The year.
        year: i32,
        /// The requested place.
        place: u32,
    },
    /// A total that is not a finite number.
    WrongTotal {
        /// The year.
        year: i32,
        /// The place with the invalid total.
        place: u32,
    },
    /// A level outside the valid range.
    WrongLevel {
        /// The level.
        level: f64,
    },
}

impl fmt::Display for StandingsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewYears { years } => write!(f, "the forecast needs at least two past years, found {years}"),
            Self::YearTwice { year } => write!(f, "the year {year} appears twice"),
            Self::NoSuchPlace { year, place } => {
                write!(f, "the results of {year} do not contain place {place} and all places before it")
            }
            Self::WrongTotal { year, place } => write!(f, "the total of place {place} in {year} is not a number"),
            Self::WrongLevel { level } => write!(f, "the level must be from 0.01 to 0.9999, not {level}"),
        }
    }
}

impl Error for StandingsError {}

/// The points needed for a place next year, with the interval that contains them with probability `level` (for example 0.9).
///
/// # Errors
///
/// If there are fewer than two years, a duplicate year, a year without that place, a total that is not a finite number, or a
/// level that is not between 0.01 and 0.9999.
pub fn points_for_place(contests: &[PastContest], place: u32, level: f64) -> Result<Forecast, StandingsError> {
    if !(0.01..=0.9999).contains(&level) {
        return Err(StandingsError::WrongLevel { level });
    }
    let mut years = Vec::with_capacity(contests.len());
    for contest in contests {
        years.push((contest.year, total_of_place(contest, place)?));
    }
    years.sort_by_key(|year| year.0);
    if let Some(pair) = years.windows(2).find(|pair| pair[0].0 == pair[1].0) {
        return Err(StandingsError::YearTwice { year: pair[0].0 });
    }
    if years.len() < 2 {
        return Err(StandingsError::TooFewYears { years: years.len() });
    }
    // There are few years, so the conversion is exact.
    let count = years.len() as f64;
    let points = years.iter().map(|year| year.1 / count).sum::<f64>();
    let squares: f64 = years.iter().map(|year| (year.1 - points).powi(2)).sum();
    let standard_deviation = (squares / (count - 1.0)).sqrt();
    let half_width = quantile(count - 1.0, level)? * standard_deviation * (1.0 + 1.0 / count).sqrt();
    if !half_width.is_finite() {
        let (year, _) = years[0];
        return Err(StandingsError::WrongTotal { year, place });
    }
    Ok(Forecast { points, low: points - half_width, high: points + half_width, standard_deviation, years })
}

fn total_of_place(contest: &PastContest, place: u32) -> Result<f64, StandingsError> {
    let year = contest.year;
    let mut totals = Vec::with_capacity(contest.totals.len());
    for &(place, total) in &contest.totals {
        if !total.is_finite() {
            return Err(StandingsError::WrongTotal { year, place });
        }
        totals.push(total);
    }
    let missing = StandingsError::NoSuchPlace { year, place };
    let index = usize::try_from(place).ok().and_then(|place| place.checked_sub(1)).ok_or(missing.clone())?;
    // Equal totals share a place and the next place is not used, so places are counted, not looked up.
    let not_behind = contest.totals.iter().filter(|row| row.0 <= place).count();
    if index >= totals.len() || not_behind <= index {
        return Err(missing);
    }
    totals.sort_by(|a, b| b.total_cmp(a));
    Ok(totals[index])
}

/// The number of standard deviations on each side of the mean for a level.
fn quantile(freedom: f64, level: f64) -> Result<f64, StandingsError> {
    let student = StudentsT::new(0.0, 1.0, freedom).map_err(|_| StandingsError::WrongLevel { level })?;
    Ok(student.inverse_cdf(0.5 + 0.5 * level))
}
