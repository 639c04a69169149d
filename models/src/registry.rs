//! The types that describe a model as data, and the binding of inputs by name. The models are in `catalogue.rs`.

use crate::catalogue::MODELS;
use crate::error::ModelError;
use crate::stress::StressField;

/// A model.
#[derive(Debug, Clone, Copy)]
pub struct Model {
    /// The name, in kebab-case.
    pub name: &'static str,
    /// What it calculates, in one sentence.
    pub summary: &'static str,
    /// The source of the physics or the formula.
    pub source: &'static str,
    /// The equations, what they leave out, and how exact they are.
    pub explained: Explained,
    /// The inputs that can be bound.
    pub inputs: &'static [Input],
    /// The values that `run` returns, in the same order; the main value is the first.
    pub outputs: &'static [Output],
    /// The calculation. It ignores unknown names; [`Model::check_and_run`] rejects them.
    pub run: fn(&Bound<'_>) -> Result<Vec<f64>, ModelError>,
    /// The derivatives of all outputs by one input, by its name, if the model states them; otherwise they are differences of
    /// two runs.
    pub slopes: Option<Slopes>,
}

/// The derivatives of all outputs of a model by one input, by its name; `None` if it states none by this input.
pub type Slopes = fn(&Bound<'_>, &str) -> Option<Vec<f64>>;

/// The equations of a model for its user, as short lines of text.
#[derive(Debug, Clone, Copy)]
pub struct Explained {
    /// What is calculated.
    pub equations: &'static [&'static str],
    /// What is not modelled.
    pub omitted: &'static [&'static str],
    /// How exact the numbers are, and what the inputs must be like for that.
    pub accuracy: &'static [&'static str],
}

/// An input of a model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// The name, in kebab-case.
    pub name: &'static str,
    /// A number, a table or a list.
    pub kind: Kind,
    /// The unit of the number, or of each entry of a list; empty for a table, whose columns have units, for a file and for a
    /// text.
    pub unit: &'static str,
    /// The default value, if it is a fixed number.
    pub default: Option<f64>,
    /// Whether it is required. Inputs of which exactly one is required are not marked.
    pub required: bool,
    /// What it means, and the default if that is not a fixed number.
    pub meaning: &'static str,
}

/// The kind of an input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// One number.
    Number,
    /// Rows of two numbers.
    Table {
        /// The two columns.
        columns: [Column; 2],
    },
    /// A list of numbers.
    List,
    /// The path of a stress file.
    StressFile,
    /// A text, such as the name of a field of the stress file.
    Text,
    /// A unit of the stress file: one with the dimension of the unit of the input.
    Unit,
}

/// A column of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// The name, in kebab-case.
    pub name: &'static str,
    /// The unit, as the text of an SI unit.
    pub unit: &'static str,
}

/// A value that a model calculates.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Output {
    /// The name, in kebab-case.
    pub name: &'static str,
    /// The unit, as the text of an SI unit.
    pub unit: &'static str,
    /// What it means.
    pub meaning: &'static str,
}

/// Values for the inputs of a model, by name, in SI. If a name is bound twice, the later value is used.
#[derive(Debug, Clone, Default)]
pub struct Bound<'a> {
    values: Vec<(&'a str, Value<'a>)>,
}

#[derive(Debug, Clone, Copy)]
enum Value<'a> {
    Number(f64),
    Table(&'a [(f64, f64)]),
    List(&'a [f64]),
    Field(&'a StressField),
}

impl<'a> Bound<'a> {
    /// No inputs bound.
    pub fn new() -> Self {
        Self::default()
    }

    /// Binds a number.
    pub fn set_number(&mut self, name: &'a str, value: f64) -> &mut Self {
        self.set(name, Value::Number(value))
    }

    /// Binds the rows of a table.
    pub fn set_table(&mut self, name: &'a str, rows: &'a [(f64, f64)]) -> &mut Self {
        self.set(name, Value::Table(rows))
    }

    /// Binds a list.
    pub fn set_list(&mut self, name: &'a str, entries: &'a [f64]) -> &mut Self {
        self.set(name, Value::List(entries))
    }

    /// Binds what was read of a stress file.
    pub fn set_field(&mut self, name: &'a str, field: &'a StressField) -> &mut Self {
        self.set(name, Value::Field(field))
    }

    /// The number bound to a name.
    pub fn number(&self, name: &str) -> Option<f64> {
        match self.get(name) {
            Some(Value::Number(value)) => Some(value),
            _ => None,
        }
    }

    /// The table bound to a name.
    pub fn table(&self, name: &str) -> Option<&'a [(f64, f64)]> {
        match self.get(name) {
            Some(Value::Table(rows)) => Some(rows),
            _ => None,
        }
    }

    /// The list bound to a name.
    pub fn list(&self, name: &str) -> Option<&'a [f64]> {
        match self.get(name) {
            Some(Value::List(entries)) => Some(entries),
            _ => None,
        }
    }

    /// The stress field bound to a name.
    pub fn field(&self, name: &str) -> Option<&'a StressField> {
        match self.get(name) {
            Some(Value::Field(field)) => Some(field),
            _ => None,
        }
    }

    fn set(&mut self, name: &'a str, value: Value<'a>) -> &mut Self {
        match self.values.iter_mut().find(|(known, _)| *known == name) {
            Some(known) => known.1 = value,
            None => self.values.push((name, value)),
        }
        self
    }

    fn get(&self, name: &str) -> Option<Value<'a>> {
        self.values.iter().find(|(known, _)| *known == name).map(|(_, value)| *value)
    }

    pub(crate) fn required(&self, input: &'static str) -> Result<f64, ModelError> {
        self.number(input).ok_or(ModelError::Missing { input, hint: "the model requires it" })
    }

    pub(crate) fn number_or(&self, input: &str, default: f64) -> f64 {
        self.number(input).unwrap_or(default)
    }
}

impl Model {
    /// The input with a name.
    pub fn input(&self, name: &str) -> Option<&'static Input> {
        self.inputs.iter().find(|input| input.name == name)
    }

    /// Runs the model if it has all the bound inputs, each with the bound kind.
    ///
    /// # Errors
    ///
    /// [`ModelError::Unknown`], and the errors of the model.
    pub fn check_and_run(&self, bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
        for (name, value) in &bound.values {
            let fits = self.input(name).is_some_and(|input| {
                matches!(
                    (input.kind, value),
                    (Kind::Number, Value::Number(_))
                        | (Kind::Table { .. }, Value::Table(_))
                        | (Kind::List, Value::List(_))
                        | (Kind::StressFile, Value::Field(_))
                )
            });
            if !fits {
                return Err(ModelError::Unknown { model: self.name, input: (*name).to_owned() });
            }
        }
        (self.run)(bound)
    }
}

/// The model with a name.
pub fn find(name: &str) -> Option<&'static Model> {
    MODELS.iter().find(|model| model.name == name)
}
