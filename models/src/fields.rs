//! The points that a place has taken in past fields, and what it may take next.
//!
//! Each past year gives one number for a place: the total of the car in that place, counted in order of the totals, the
//! largest first. The next year is taken as one more draw from the same normal distribution, so with `n` years, their mean
//! and their standard deviation `s`, it lies with the given probability within
//! `mean +- t s sqrt(1 + 1/n)`, `t` the quantile of Student's distribution with `n - 1` degrees of freedom. Source, from
//! memory: G. J. Hahn and W. Q. Meeker, Statistical Intervals, chapter 4 (prediction interval for one future observation
//! of a normal distribution); the quantile is that of the crate `statrs`.
//!
//! Validity: years of one contest under like rules, with no trend from year to year. Totals are used as they are: a
//! change in what the events are worth is not corrected for. A place is counted from the front whatever the size of the
//! field, so for a place near the end of it the sizes should be alike.
//!
//! On the seven Formula SAE Michigan fields of 2013 to 2019, tenth place of each year predicted from the six others lay in
//! the interval 4 times of 7 at 50 %, and 6 times of 7 at 80 %, 90 % and 95 % (the 2018 field is 80 points below the
//! mean of the others). Over eight places from first to fiftieth, 49 of 56 at 90 %. The tests count both.

use std::error::Error;
use std::fmt;

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The final table of one year.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// The year.
    pub year: i32,
    /// Place (from 1) and total points of each car. The order does not matter, and cars may be missing behind the place
    /// that is asked for, not before it.
    pub totals: Vec<(u32, f64)>,
}

/// The points that a place may take next year.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The mean over the years: the points to plan for.
    pub points: f64,
    /// The least that it may take, at the level asked for. Not cut at zero.
    pub low: f64,
    /// The most that it may take.
    pub high: f64,
    /// From year to year, of one year.
    pub standard_deviation: f64,
    /// The years used and the points that the place took in each, in order of the years.
    pub years: Vec<(i32, f64)>,
}

/// Why there is no forecast.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum FieldError {
    /// Fewer than two years.
    TooFewYears {
        /// How many there are.
        years: usize,
    },
    /// A year that comes twice.
    YearTwice {
        /// The year.
        year: i32,
    },
    /// A field that does not reach down to the place, or has a gap before it.
    NoSuchPlace {
        /// The year.
        year: i32,
        /// The place asked for.
        place: u32,
    },
    /// A total that is not a finite number.
    WrongTotal {
        /// The year.
        year: i32,
        /// The place with the wrong total.
        place: u32,
    },
    /// A level outside the range that an interval can have.
    WrongLevel {
        /// What was given.
        level: f64,
    },
}

impl fmt::Display for FieldError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewYears { years } => write!(f, "an interval needs at least two past years, not {years}"),
            Self::YearTwice { year } => write!(f, "the year {year} comes twice"),
            Self::NoSuchPlace { year, place } => {
                write!(f, "the field of {year} has no place {place}, or not all the places before it")
            }
            Self::WrongTotal { year, place } => write!(f, "the total of place {place} in {year} is not a number"),
            Self::WrongLevel { level } => write!(f, "the level must be from 0.01 to 0.9999, not {level}"),
        }
    }
}

impl Error for FieldError {}

/// The points needed for a place next year, with the interval that holds them with probability `level` (0.9, say).
///
/// # Errors
///
/// With fewer than two years, a year twice, a field without that place, totals that are no numbers, or a level that is
/// not between 0.01 and 0.9999.
pub fn points_for_place(fields: &[Field], place: u32, level: f64) -> Result<Forecast, FieldError> {
    if !(0.01..=0.9999).contains(&level) {
        return Err(FieldError::WrongLevel { level });
    }
    let mut years = Vec::with_capacity(fields.len());
    for field in fields {
        years.push((field.year, total_at(field, place)?));
    }
    years.sort_by_key(|year| year.0);
    if let Some(pair) = years.windows(2).find(|pair| pair[0].0 == pair[1].0) {
        return Err(FieldError::YearTwice { year: pair[0].0 });
    }
    if years.len() < 2 {
        return Err(FieldError::TooFewYears { years: years.len() });
    }
    // few enough years that the conversion is exact
    let count = years.len() as f64;
    let points = years.iter().map(|year| year.1 / count).sum::<f64>();
    let squares: f64 = years.iter().map(|year| (year.1 - points).powi(2)).sum();
    let standard_deviation = (squares / (count - 1.0)).sqrt();
    let reach = quantile(count - 1.0, level)? * standard_deviation * (1.0 + 1.0 / count).sqrt();
    if !reach.is_finite() {
        let (year, _) = years[0];
        return Err(FieldError::WrongTotal { year, place });
    }
    Ok(Forecast { points, low: points - reach, high: points + reach, standard_deviation, years })
}

fn total_at(field: &Field, place: u32) -> Result<f64, FieldError> {
    let year = field.year;
    let mut totals = Vec::with_capacity(field.totals.len());
    for &(place, total) in &field.totals {
        if !total.is_finite() {
            return Err(FieldError::WrongTotal { year, place });
        }
        totals.push(total);
    }
    let missing = FieldError::NoSuchPlace { year, place };
    let index = usize::try_from(place).ok().and_then(|place| place.checked_sub(1)).ok_or(missing.clone())?;
    // equal totals share a place and leave the next one free, so places are counted, not looked up
    let not_behind = field.totals.iter().filter(|row| row.0 <= place).count();
    if index >= totals.len() || not_behind <= index {
        return Err(missing);
    }
    totals.sort_by(|a, b| b.total_cmp(a));
    Ok(totals[index])
}

/// How many standard deviations to either side hold the level.
fn quantile(freedom: f64, level: f64) -> Result<f64, FieldError> {
    let student = StudentsT::new(0.0, 1.0, freedom).map_err(|_| FieldError::WrongLevel { level })?;
    Ok(student.inverse_cdf(0.5 + 0.5 * level))
}
