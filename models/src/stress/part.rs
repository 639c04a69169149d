//! The numbers of the model `stress-field`: a field compared with an allowable stress.

use super::StressField;
use crate::error::{ModelError, must};

/// A part whose stress is compared with an allowable one.
#[derive(Clone, Copy, Debug)]
pub struct StressPart<'a> {
    /// What was read of its file.
    pub field: &'a StressField,
    /// The allowable stress, Pa.
    pub allowable: f64,
    /// The share of it below which a volume counts as idle.
    pub little: f64,
    /// The density, kg/m^3.
    pub density: Option<f64>,
}

impl StressPart<'_> {
    /// The default of `little`.
    pub const LITTLE: f64 = 0.2;

    /// The outputs that need the density.
    pub const OF_DENSITY: [&'static str; 2] = ["mass", "idle-mass"];

    /// Safety, peak safety, idle share, volume, mass and idle mass; the last two are NaN without a density.
    ///
    /// # Errors
    /// A number outside of its range.
    pub fn run(&self) -> Result<[f64; 6], ModelError> {
        let allowable = must::be_positive("allowable", self.allowable)?;
        let fine = self.little > 0.0 && self.little < 1.0;
        let little = must::check("little", self.little, fine, "above 0 and below 1 (100 %)")?;
        let density =
            self.density.map(|density| must::be_positive("density", density)).transpose()?.unwrap_or(f64::NAN);
        let field = self.field;
        let idle = field.share_below(little * allowable);
        let mass = density * field.volume();
        let safety = must::be_computable(allowable / field.percentile())?;
        let peak_safety = must::be_computable(allowable / field.peak())?;
        Ok([safety, peak_safety, idle, field.volume(), mass, idle * mass])
    }

    /// The derivatives of these numbers by `allowable`, `little` or `density`; `None` by anything else.
    pub fn slopes(&self, input: &str) -> Option<Vec<f64>> {
        let [safety, peak_safety, _, _, mass, idle_mass] = self.run().ok()?;
        let of_stress = self.field.slope_of_share(self.little * self.allowable);
        let slopes = match input {
            "allowable" => {
                let of_idle = of_stress * self.little;
                [safety / self.allowable, peak_safety / self.allowable, of_idle, 0.0, 0.0, of_idle * mass]
            }
            "little" => {
                let of_idle = of_stress * self.allowable;
                [0.0, 0.0, of_idle, 0.0, 0.0, of_idle * mass]
            }
            "density" => {
                let density = self.density?;
                [0.0, 0.0, 0.0, 0.0, mass / density, idle_mass / density]
            }
            _ => return None,
        };
        Some(slopes.to_vec())
    }
}
