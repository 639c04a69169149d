//! Stress files: what an analysis with the model `stress-field` names, and what was read of it.
//!
//! What is read is a pure function of the bytes of the file, the name of the field and two units (see `fields.rs`). It is read
//! once per state of the records, when it is first needed: the file of an analysis that another one supersedes only by `why`.

mod fields;
mod iterations;

#[cfg(test)]
pub(crate) use fields::Field;
pub(crate) use fields::{SharedFields, StressFields};
pub use iterations::{CAUTION, Iteration, Iterations, Numbers, of_analysis, of_part};

use schema::records::{Analysis, Expression};
use schema::words::shorten;
use schema::{Quantity, suggest};

/// The name of the model.
pub const MODEL: &str = "stress-field";

/// The input that names the file.
pub const FILE: &str = "file";

/// The input that names the field.
const FIELD: &str = "stress";

/// The endings that a stress file may have.
const ENDINGS: [&str; 3] = [".vtu", ".vtk", ".csv"];

/// The inputs without which there is no answer, even if no target needs one.
const REQUIRED: [&str; 5] = [FILE, FIELD, "stress-unit", "length-unit", "allowable"];

/// Whether a file of this name can be a stress file.
pub fn is_stress_file(path: &str) -> bool {
    ENDINGS.iter().any(|ending| path.ends_with(ending))
}

/// Whether an analysis reads a stress file.
pub fn has_stress(analysis: &Analysis) -> bool {
    analysis.model.as_ref().is_some_and(|model| model.as_str() == MODEL)
}

/// The stress file of an analysis, if it is named as one.
pub fn file_of(analysis: &Analysis) -> Option<&str> {
    let file = analysis.given.get(FILE).filter(|_| has_stress(analysis)).map(Expression::text);
    file.filter(|file| is_stress_file(file))
}

/// The field that an analysis names in its stress file; empty if it names none.
fn field_of(analysis: &Analysis) -> &str {
    analysis.given.get(FIELD).map_or("", Expression::text).trim()
}

/// Whether an input of an analysis is a text, not a value: the file, the field and the units of a stress file.
pub(crate) fn is_text(analysis: &Analysis, name: &str) -> bool {
    let input = || models::find(MODEL).and_then(|model| model.input(name));
    let is_text = |kind| matches!(kind, models::Kind::StressFile | models::Kind::Text | models::Kind::Unit);
    has_stress(analysis) && input().is_some_and(|input| is_text(input.kind))
}

/// A missing or wrong input.
#[derive(Debug)]
pub(crate) struct WrongInput {
    /// The input; `None` if it is missing.
    pub(crate) input: Option<&'static str>,
    /// What is wrong.
    pub(crate) message: String,
    /// How to fix it.
    pub(crate) help: String,
}

/// What to read: the file, the field and the units.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FieldAsk {
    file: String,
    stress: String,
    stress_unit: f64,
    length_unit: f64,
}

/// What an analysis names.
///
/// # Errors
/// All inputs that are missing or wrong.
pub(crate) fn ask(analysis: &Analysis) -> Result<FieldAsk, Vec<WrongInput>> {
    let mut wrong = Vec::new();
    let text = |name: &str| analysis.given.get(name).map_or("", Expression::text).trim();
    for name in REQUIRED.into_iter().filter(|name| text(name).is_empty()) {
        let help = match name {
            "stress-unit" => "add the unit of the stress in the file, as in `stress-unit: MPa`; it is never guessed",
            "length-unit" => {
                "add the unit of the coordinates in the file, as in `length-unit: mm`; it is never guessed"
            }
            "allowable" => "add the allowable stress of the material, as in `allowable: 250 MPa`",
            FILE => "add the results of the analysis, as in `file: stress/bracket.vtu`",
            _ => "add the name of the field or column, as in `stress: von Mises`",
        };
        let message = format!("the model `{MODEL}` needs `{name}`");
        wrong.push(WrongInput { input: None, message, help: help.to_owned() });
    }
    let file = text(FILE);
    if !file.is_empty() && !is_stress_file(file) {
        let message = format!("expected a stress file for `{FILE}`, found `{}`", shorten(file));
        let help = format!("name a file that ends in {}", suggest::any_of(ENDINGS));
        wrong.push(WrongInput { input: Some(FILE), message, help });
    }
    let mut unit = |name: &'static str, like: &str| -> f64 {
        let text = text(name);
        if text.is_empty() {
            return f64::NAN;
        }
        let of = |text: &str| Quantity::parse(&format!("1 {text}")).ok();
        let found =
            of(text).filter(|unit| of(like).is_some_and(|like| like.unit().dimension() == unit.unit().dimension()));
        let Some(found) = found else {
            let message = format!("expected a unit like `{like}` for `{name}`, found `{}`", shorten(text));
            wrong.push(WrongInput {
                input: Some(name),
                message,
                help: "write only the unit, without a number".to_owned(),
            });
            return f64::NAN;
        };
        found.si()
    };
    let (stress_unit, length_unit) = (unit("stress-unit", "MPa"), unit("length-unit", "mm"));
    if wrong.is_empty() {
        Ok(FieldAsk { file: file.to_owned(), stress: field_of(analysis).to_owned(), stress_unit, length_unit })
    } else {
        Err(wrong)
    }
}
