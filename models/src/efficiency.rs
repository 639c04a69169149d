//! The factors that efficiency events score.
//!
//! The formulas of the rule books differ, so each has its own model; their constants are inputs.
//!
//! - FS-Rules 2025 v1.1, D7.10: `EF = T^2 E`, smaller is better ([`Efficiency`]). The score depends on ratios of such
//!   factors only, so any unit can be used if the factor of the best car has the same unit.
//! - Formula SAE Rules 2024, D.13.4: the time per lap and the CO2 per lap, each as the value of the best car divided by that
//!   of this car, multiplied; larger is better ([`EfficiencyCo2`]). D.13.4.1 sets 2.31 kg per litre of petrol and 0.65 kg
//!   per kWh of electric energy.

use crate::error::{ModelError, must};

/// What the car used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Used {
    /// Energy, J.
    Energy(f64),
    /// Volume of fuel, m^3.
    Fuel(f64),
}

impl Used {
    /// Converts to a common quantity with a factor per joule or per cubic metre of fuel.
    fn times(self, per_energy: f64, per_volume: f64) -> Result<f64, ModelError> {
        match self {
            Self::Energy(energy) => Ok(must::be_positive("energy", energy)? * per_energy),
            Self::Fuel(volume) => Ok(must::be_positive("fuel", volume)? * per_volume),
        }
    }
}

/// Time squared times energy.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Efficiency {
    /// Time of the endurance run, s.
    pub time: f64,
    /// What was used in it.
    pub used: Used,
    /// Energy per volume of fuel, J/m^3; used only with fuel. The default of 32 MJ per litre is about the lower heating
    /// value of petrol; the score does not depend on it.
    pub energy_per_volume: f64,
}

impl Default for Efficiency {
    /// Time and energy are NaN, which the model rejects.
    fn default() -> Self {
        Self { time: f64::NAN, used: Used::Energy(f64::NAN), energy_per_volume: 3.2e10 }
    }
}

impl Efficiency {
    /// The factor, s^2*J.
    ///
    /// # Errors
    ///
    /// If an input is not above zero.
    pub fn run(&self) -> Result<f64, ModelError> {
        let time = must::be_positive("time", self.time)?;
        let per_volume = must::be_positive("energy-per-volume", self.energy_per_volume)?;
        must::be_computable(time * time * self.used.times(1.0, per_volume)?)
    }
}

/// Time and CO2 relative to the best ones of the contest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EfficiencyCo2 {
    /// Time of the endurance run, s.
    pub time: f64,
    /// What was used in it.
    pub used: Used,
    /// Number of laps in it.
    pub laps: f64,
    /// The shortest time of an eligible car, s.
    pub best_time: f64,
    /// Number of laps for that; `laps` by default.
    pub best_time_laps: Option<f64>,
    /// The smallest CO2 mass of an eligible car, kg.
    pub best_co2: f64,
    /// Number of laps for that; `laps` by default.
    pub best_co2_laps: Option<f64>,
    /// CO2 per volume of fuel, kg/m^3.
    pub co2_per_volume: f64,
    /// CO2 per electric energy, kg/J.
    pub co2_per_energy: f64,
}

impl Default for EfficiencyCo2 {
    /// The times, what was used and the best CO2 are NaN, which the model rejects.
    fn default() -> Self {
        Self {
            time: f64::NAN,
            used: Used::Energy(f64::NAN),
            laps: 1.0,
            best_time: f64::NAN,
            best_time_laps: None,
            best_co2: f64::NAN,
            best_co2_laps: None,
            co2_per_volume: 2310.0,
            co2_per_energy: 0.65 / 3.6e6,
        }
    }
}

/// The result of [`EfficiencyCo2`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Emission {
    /// The efficiency factor, 1.
    pub factor: f64,
    /// CO2 mass, kg.
    pub co2: f64,
}

impl EfficiencyCo2 {
    /// The factor, and the CO2 mass.
    ///
    /// # Errors
    ///
    /// If an input is not above zero.
    pub fn run(&self) -> Result<Emission, ModelError> {
        let time = must::be_positive("time", self.time)?;
        let per_volume = must::be_positive("co2-per-volume", self.co2_per_volume)?;
        let per_energy = must::be_positive("co2-per-energy", self.co2_per_energy)?;
        let laps = must::be_positive("laps", self.laps)?;
        let time_laps = must::be_positive("best-time-laps", self.best_time_laps.unwrap_or(laps))?;
        let co2_laps = must::be_positive("best-co2-laps", self.best_co2_laps.unwrap_or(laps))?;
        let best_time = must::be_positive("best-time", self.best_time)?;
        let best_co2 = must::be_positive("best-co2", self.best_co2)?;
        let co2 = must::be_computable(self.used.times(per_energy, per_volume)?)?;
        let factor = best_time / time * (laps / time_laps) * (best_co2 / co2) * (laps / co2_laps);
        Ok(Emission { factor: must::be_computable(factor)?, co2 })
    }
}
