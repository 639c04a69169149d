//! Stress files: what an analysis with the model `stress-field` names, and what was read of it.
//!
//! What is read is a pure function of the bytes of the file, the name of the field and two units. It is read once per state
//! of the records, when it is first needed: the file of an analysis that another one supersedes only by `why`.

mod iterations;

pub use iterations::{CAUTION, Iteration, Iterations, Numbers, of_analysis, of_part};

use std::sync::{Arc, Mutex};

use foldhash::HashMap;
use models::stress::{Ask, StressError, StressField};
use schema::records::{Analysis, Expression};
use schema::words::shorten;
use schema::{Quantity, suggest};
use sha2::{Digest as _, Sha256};

use crate::load::Loaded;

/// The name of the model.
pub const MODEL: &str = "stress-field";

/// The input that names the file.
pub const FILE: &str = "file";

/// The endings that a stress file may have.
const ENDINGS: [&str; 3] = [".vtu", ".vtk", ".csv"];

/// The inputs without which there is no answer, even if no target needs one.
const REQUIRED: [&str; 5] = [FILE, "stress", "stress-unit", "length-unit", "allowable"];

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
        Ok(FieldAsk { file: file.to_owned(), stress: text("stress").to_owned(), stress_unit, length_unit })
    } else {
        Err(wrong)
    }
}

/// A field, or why it cannot be read.
pub(crate) type Field = Result<Arc<StressField>, StressError>;

/// What was asked of a file, by its path or by the hash of its bytes.
type FieldKey<F> = (F, String, [u64; 2]);

/// The fields that a project has read, by the hash of the bytes: states of its history with the same file share them.
#[derive(Debug, Default)]
pub(crate) struct SharedFields(Mutex<HashMap<FieldKey<[u8; 32]>, Field>>);

/// The fields of one state.
#[derive(Debug, Default)]
pub(crate) struct StressFields {
    by_path: Mutex<HashMap<FieldKey<String>, Field>>,
    shared: Arc<SharedFields>,
}

impl StressFields {
    /// The fields of a state of a project.
    pub(crate) fn of(shared: &Arc<SharedFields>) -> Self {
        Self { by_path: Mutex::default(), shared: Arc::clone(shared) }
    }
}

impl SharedFields {
    fn read(&self, bytes: &[u8], ask: &FieldAsk) -> Field {
        let units = [ask.stress_unit.to_bits(), ask.length_unit.to_bits()];
        let key = (Sha256::digest(bytes).into(), ask.stress.clone(), units);
        if let Some(known) = self.0.lock().ok().and_then(|known| known.get(&key).cloned()) {
            return known;
        }
        let ask = Ask { stress: &ask.stress, stress_unit: ask.stress_unit, length_unit: ask.length_unit };
        let field = models::stress::read(bytes, ask).map(Arc::new);
        if let Ok(mut known) = self.0.lock() {
            known.insert(key, field.clone());
        }
        field
    }
}

impl Loaded {
    /// The field that an analysis asks for; `None` if the file is absent, which is reported with all other names of files.
    pub(crate) fn stress_field(&self, ask: &FieldAsk) -> Option<Field> {
        let content = self.table(&ask.file)?;
        let key = (ask.file.clone(), ask.stress.clone(), [ask.stress_unit.to_bits(), ask.length_unit.to_bits()]);
        let Ok(mut known) = self.stress_fields.by_path.lock() else { return None };
        let read = || match content {
            Ok(bytes) => self.stress_fields.shared.read(bytes, ask),
            Err(problem) => Err(StressError { message: problem.message.clone(), help: problem.help.clone() }),
        };
        Some(known.entry(key).or_insert_with(read).clone())
    }
}
