//! What a dimension is called (ISO 80000-1 and its parts), where it has a name that engineers use.

use super::{Dimension, Unit};

/// A unit of each dimension, and the name of the quantity.
const NAMES: [(&str, &str); 16] = [
    ("kg", "mass"),
    ("s", "time"),
    ("m", "length"),
    ("m^2", "area"),
    ("l", "volume"),
    ("m/s", "speed"),
    ("m/s^2", "acceleration"),
    ("N", "force"),
    // Radians are 1, so that a stiffness in N*m/deg is one of these too.
    ("N*m", "moment or energy"),
    ("N/m", "stiffness"),
    ("Pa", "pressure"),
    ("W", "power"),
    ("K", "temperature"),
    ("V", "voltage"),
    ("A", "current"),
    ("pts", "points"),
];

impl Dimension {
    /// The name of the quantity: `mass`, `time`, ...; `ratio` for a plain number, `cost` for money, else `other`.
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
    fn every_name_belongs_to_a_unit_of_its_own() {
        for (unit, name) in NAMES {
            let dimension = Unit::parse(unit).unwrap().dimension();
            assert_eq!(dimension.quantity_name(), name, "{unit}");
        }
        assert_eq!(Unit::parse("kN/mm").unwrap().dimension().quantity_name(), "stiffness");
        assert_eq!(Unit::parse("%").unwrap().dimension().quantity_name(), "ratio");
    }
}
