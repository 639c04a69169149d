//! Names of dimensions: the quantities of ISO 80000 that engineers name.

use super::{Dimension, Unit};

/// A unit of each named dimension, and the name of the quantity.
const NAMES: [(&str, &str); 16] = [
    ("kg", "mass"),
    ("s", "time"),
    ("m", "length"),
    ("m^2", "area"),
    ("l", "volume"),
    ("m/s", "speed"),
    ("m/s^2", "acceleration"),
    ("N", "force"),
    // Radians have the dimension 1, so a torsional stiffness in N*m/deg is one of these too.
    ("N*m", "moment or energy"),
    ("N/m", "stiffness"),
    ("Pa", "pressure"),
    ("W", "power"),
    ("K", "temperature"),
    ("V", "voltage"),
    ("A", "current"),
    ("pts", "points"),
];

/// More names, for messages and lists; the review of a season groups these values as `other`.
const MORE: [(&str, &str); 7] = [
    ("ohm", "resistance"),
    ("C", "charge"),
    ("F", "capacitance"),
    ("H", "inductance"),
    ("Hz", "frequency or shaft speed"),
    ("dB", "level"),
    ("kg/m^3", "density"),
];

impl Dimension {
    /// The name of the quantity for a message: also those that [`Dimension::quantity_name`] calls `other`.
    pub fn name_in_text(&self) -> &'static str {
        let named = |unit: &str| Unit::parse(unit).is_ok_and(|unit| unit.dimension() == *self);
        match self.quantity_name() {
            "other" => MORE.iter().find(|(unit, _)| named(unit)).map_or("other", |(_, name)| name),
            name => name,
        }
    }

    /// The name of the quantity: `mass`, `time`, ...; `ratio` for a number without unit, `cost` for money, otherwise `other`.
    pub fn quantity_name(&self) -> &'static str {
        if self.is_one() {
            return "ratio";
        }
        if self.currency().is_some() {
            return "cost";
        }
        let named = |unit: &str| Unit::parse(unit).is_ok_and(|unit| unit.dimension() == *self);
        NAMES.iter().find(|(unit, _)| named(unit)).map_or("other", |(_, name)| name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_unit_has_its_own_name() {
        for (unit, name) in NAMES {
            let dimension = Unit::parse(unit).unwrap().dimension();
            assert_eq!(dimension.quantity_name(), name, "{unit}");
        }
        assert_eq!(Unit::parse("kN/mm").unwrap().dimension().quantity_name(), "stiffness");
        assert_eq!(Unit::parse("%").unwrap().dimension().quantity_name(), "ratio");
    }
}
