//! What the models have in common as data, and the binding of inputs by name. The models themselves are in
//! `catalogue.rs`.

use crate::catalogue::MODELS;
use crate::error::ModelError;

/// A model.
#[derive(Debug, Clone, Copy)]
pub struct Model {
    /// In kebab-case.
    pub name: &'static str,
    /// One sentence.
    pub summary: &'static str,
    /// Where the physics or the form comes from.
    pub source: &'static str,
    /// What may be bound.
    pub inputs: &'static [Input],
    /// What it finds, the main value first; as many as `run` gives.
    pub outputs: &'static [Output],
    /// The calculation. Reads what it knows and ignores other names: [`Model::check_and_run`] does not.
    pub run: fn(&Bound<'_>) -> Result<Vec<f64>, ModelError>,
}

/// An input of a model.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// In kebab-case.
    pub name: &'static str,
    /// What it is made of.
    pub kind: Kind,
    /// Of a number, or of each entry of a list; empty for a table, whose columns have their own.
    pub unit: &'static str,
    /// What holds when it is left out, where that is a fixed number.
    pub default: Option<f64>,
    /// Whether the model cannot do without it. One of several that exclude each other is not marked.
    pub required: bool,
    /// What it means, and what holds when it is left out.
    pub meaning: &'static str,
}

/// What an input is made of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// One number.
    Number,
    /// Rows of two numbers.
    Table {
        /// What they are.
        columns: [Column; 2],
    },
    /// Numbers in a row.
    List,
}

/// A column of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// In kebab-case.
    pub name: &'static str,
    /// As SI text.
    pub unit: &'static str,
}

/// A value that a model finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Output {
    /// In kebab-case.
    pub name: &'static str,
    /// As SI text.
    pub unit: &'static str,
    /// What it means.
    pub meaning: &'static str,
}

/// Values for the inputs of a model, by name, in SI. A name bound twice has the later value.
#[derive(Debug, Clone, Default)]
pub struct Bound<'a> {
    values: Vec<(&'a str, Value<'a>)>,
}

#[derive(Debug, Clone, Copy)]
enum Value<'a> {
    Number(f64),
    Table(&'a [(f64, f64)]),
    List(&'a [f64]),
}

impl<'a> Bound<'a> {
    /// Nothing bound.
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

    /// The number of that name.
    pub fn number(&self, name: &str) -> Option<f64> {
        match self.get(name) {
            Some(Value::Number(value)) => Some(value),
            _ => None,
        }
    }

    /// The table of that name.
    pub fn table(&self, name: &str) -> Option<&'a [(f64, f64)]> {
        match self.get(name) {
            Some(Value::Table(rows)) => Some(rows),
            _ => None,
        }
    }

    /// The list of that name.
    pub fn list(&self, name: &str) -> Option<&'a [f64]> {
        match self.get(name) {
            Some(Value::List(entries)) => Some(entries),
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

    pub(crate) fn needed(&self, input: &'static str) -> Result<f64, ModelError> {
        self.number(input).ok_or(ModelError::Missing { input, hint: "the model needs it" })
    }

    pub(crate) fn or(&self, input: &str, default: f64) -> f64 {
        self.number(input).unwrap_or(default)
    }
}

impl Model {
    /// The input of that name.
    pub fn input(&self, name: &str) -> Option<&'static Input> {
        self.inputs.iter().find(|input| input.name == name)
    }

    /// Runs the model, unless something is bound that it does not have, or has as another kind.
    ///
    /// # Errors
    ///
    /// [`ModelError::Unknown`], and those of the model.
    pub fn check_and_run(&self, bound: &Bound<'_>) -> Result<Vec<f64>, ModelError> {
        for (name, value) in &bound.values {
            let fits = self.input(name).is_some_and(|input| {
                matches!(
                    (input.kind, value),
                    (Kind::Number, Value::Number(_))
                        | (Kind::Table { .. }, Value::Table(_))
                        | (Kind::List, Value::List(_))
                )
            });
            if !fits {
                return Err(ModelError::Unknown { model: self.name, input: (*name).to_owned() });
            }
        }
        (self.run)(bound)
    }
}

/// The model of that name.
pub fn find(name: &str) -> Option<&'static Model> {
    MODELS.iter().find(|model| model.name == name)
}
