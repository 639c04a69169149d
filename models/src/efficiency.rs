//! The numbers that efficiency events score.
//!
//! The rule books differ in form, so each form is its own model; their factors are inputs.
//!
//! - FS-Rules 2025 v1.1, D7.9: `EF = T^2 E`, smaller is better ([`Efficiency`]). The score is a ratio of such factors,
//!   so any unit serves as long as the best car's factor is in the same one.
//! - Formula SAE Rules 2024, D.13, the form from memory: the time per lap and the CO2 per lap, each as the best car's over
//!   this car's, multiplied; greater is better ([`EfficiencyCo2`]). 2.31 kg per litre of petrol is the rules' figure,
//!   0.65 kg per kWh of electricity is from memory.

use crate::error::{ModelError, must};

/// What was used up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Used {
    /// J.
    Energy(f64),
    /// m^3.
    Fuel(f64),
}

impl Used {
    /// In a common measure, given how much of it a joule and a cubic metre of fuel are.
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
    /// Of the endurance run, s.
    pub time: f64,
    /// In it.
    pub used: Used,
    /// Energy in a volume of fuel, J/m^3; read only with fuel. 32 MJ per litre is petrol's lower heating value, and any
    /// value gives the same score.
    pub energy_per_volume: f64,
}

impl Default for Efficiency {
    /// Time and energy are left as NaN, which the model refuses.
    fn default() -> Self {
        Self { time: f64::NAN, used: Used::Energy(f64::NAN), energy_per_volume: 3.2e10 }
    }
}

impl Efficiency {
    /// The factor, s^2*J.
    ///
    /// # Errors
    ///
    /// For inputs that are not above zero.
    pub fn run(&self) -> Result<f64, ModelError> {
        let time = must::be_positive("time", self.time)?;
        let per_volume = must::be_positive("energy-per-volume", self.energy_per_volume)?;
        must::be_computable(time * time * self.used.times(1.0, per_volume)?)
    }
}

/// Time and CO2 against the best ones of the field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EfficiencyCo2 {
    /// Of the endurance run, s.
    pub time: f64,
    /// In it.
    pub used: Used,
    /// Laps in it.
    pub laps: f64,
    /// The shortest time of a car that is scored, s.
    pub best_time: f64,
    /// Laps in that; `laps` where not given.
    pub best_time_laps: Option<f64>,
    /// The least CO2 of a car that is scored, kg.
    pub best_co2: f64,
    /// Laps in that; `laps` where not given.
    pub best_co2_laps: Option<f64>,
    /// kg/m^3 of fuel.
    pub co2_per_volume: f64,
    /// kg/J of electricity.
    pub co2_per_energy: f64,
}

impl Default for EfficiencyCo2 {
    /// The times, what was used and the best CO2 are left as NaN, which the model refuses.
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

/// What [`EfficiencyCo2`] finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Emission {
    /// The efficiency factor, 1.
    pub factor: f64,
    /// kg.
    pub co2: f64,
}

impl EfficiencyCo2 {
    /// The factor, and the CO2 behind it.
    ///
    /// # Errors
    ///
    /// For inputs that are not above zero.
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
