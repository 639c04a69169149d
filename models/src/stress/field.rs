//! The distribution of volume over stress, and what follows from it.

use super::error::StressError;

/// The share of the volume with a stress up to the one that `safety` is about.
const PERCENTILE: f64 = 0.999;

/// What rounding may change a stress or a share by.
const ROUNDING: f64 = 1e-9;

/// The volume with a stress from `low` to `high`, both present.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bin {
    low: f64,
    high: f64,
    volume: f64,
}

/// The distribution of volume over stress of one file: in the units of the file as it is read, then in SI.
///
/// Stresses are sorted into bins of 0.2 % of the stress; each bin has the lowest and the highest stress that is in it, so
/// that a part with one stress everywhere has exactly this stress.
#[derive(Clone, Debug, PartialEq)]
pub struct StressField {
    bins: Vec<Bin>,
    volume: f64,
    peak: f64,
    elements: usize,
}

/// The volume in one bin of a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share {
    /// Where the bin begins, as a share of the allowable stress.
    pub from: f64,
    /// Where it ends; `None` for the bin of all that is above the allowable stress.
    pub to: Option<f64>,
    /// The share of the volume in it.
    pub share: f64,
}

impl StressField {
    /// The volume, m^3.
    pub fn volume(&self) -> f64 {
        self.volume
    }

    /// The highest stress of the file, Pa.
    pub fn peak(&self) -> f64 {
        self.peak
    }

    /// The number of elements, or of rows of a table.
    pub fn elements(&self) -> usize {
        self.elements
    }

    /// The lowest stress that at least this share of the volume does not exceed, Pa.
    pub fn stress_at(&self, share: f64) -> f64 {
        let wanted = (share - ROUNDING).clamp(0.0, 1.0) * self.volume;
        let mut below = 0.0;
        for bin in &self.bins {
            if below + bin.volume >= wanted {
                let within = ((wanted - below) / bin.volume).clamp(0.0, 1.0);
                return (bin.low + within * (bin.high - bin.low)).min(self.peak);
            }
            below += bin.volume;
        }
        self.peak
    }

    /// The share of the volume with a lower stress, Pa.
    pub fn share_below(&self, stress: f64) -> f64 {
        let stress = stress * (1.0 - ROUNDING);
        let part = |bin: &Bin| {
            if bin.high < stress {
                bin.volume
            } else if bin.low < stress {
                bin.volume * (stress - bin.low) / (bin.high - bin.low)
            } else {
                0.0
            }
        };
        let below: f64 = self.bins.iter().take_while(|bin| bin.low < stress).map(part).sum();
        (below / self.volume).clamp(0.0, 1.0)
    }

    /// The stress that `safety` is about: 99.9 % of the volume does not exceed it.
    pub fn percentile(&self) -> f64 {
        self.stress_at(PERCENTILE)
    }

    /// The distribution on a fixed scale: bins of the same width from 0 to the allowable stress, Pa, and one for all above.
    pub fn distribution(&self, allowable: f64, bins: usize) -> Vec<Share> {
        let bins = bins.max(1);
        let edge = |at: usize| at as f64 / bins as f64;
        let mut shares: Vec<Share> = Vec::with_capacity(bins + 1);
        let mut below = 0.0;
        for at in 0..bins {
            // The allowable stress itself is not above the allowable stress.
            let reach = if at + 1 == bins { allowable * (1.0 + 2.0 * ROUNDING) } else { allowable * edge(at + 1) };
            let up_to = self.share_below(reach).max(below);
            shares.push(Share { from: edge(at), to: Some(edge(at + 1)), share: up_to - below });
            below = up_to;
        }
        let above = 1.0 - below;
        shares.push(Share { from: 1.0, to: None, share: if above > ROUNDING { above } else { 0.0 } });
        shares
    }

    /// The same field in SI: one unit of stress of the file in Pa, one of length in m.
    ///
    /// # Errors
    /// Numbers that are too large or too small.
    pub fn in_units(&self, stress_unit: f64, length_unit: f64) -> Result<Self, StressError> {
        let volume_unit = length_unit.powi(3);
        let (volume, peak) = (self.volume * volume_unit, self.peak * stress_unit);
        check_size(volume, peak)?;
        let scaled = |bin: &Bin| Bin {
            low: bin.low * stress_unit,
            high: bin.high * stress_unit,
            volume: bin.volume * volume_unit,
        };
        Ok(Self { bins: self.bins.iter().map(scaled).collect(), volume, peak, elements: self.elements })
    }

    /// The field as numbers, from which [`StressField::from_numbers`] makes it again: for a cache.
    pub fn to_numbers(&self) -> Vec<f64> {
        let bins = self.bins.iter().flat_map(|bin| [bin.low, bin.high, bin.volume]);
        [self.volume, self.peak, self.elements as f64].into_iter().chain(bins).collect()
    }

    /// A field from its numbers; `None` if they are not those of a field.
    pub fn from_numbers(numbers: &[f64]) -> Option<Self> {
        let (&[volume, peak, elements], bins) = numbers.split_first_chunk::<3>()?;
        let (bins, rest) = bins.as_chunks::<3>();
        let bins: Vec<Bin> =
            bins.iter().map(|[low, high, volume]| Bin { low: *low, high: *high, volume: *volume }).collect();
        let is_bin = |bin: &Bin| bin.low >= 0.0 && bin.low <= bin.high && bin.high.is_finite() && bin.volume > 0.0;
        let is_field = rest.is_empty()
            && !bins.is_empty()
            && bins.iter().all(is_bin)
            && bins.is_sorted_by(|a, b| a.high <= b.low)
            && [volume, peak].into_iter().all(f64::is_normal)
            && elements >= 1.0;
        is_field.then_some(Self { bins, volume, peak, elements: elements as usize })
    }

    /// The derivative of the idle share by the stress below which a volume is idle: over 5 % to both sides, since a mesh has
    /// steps.
    pub(crate) fn slope_of_share(&self, stress: f64) -> f64 {
        const REACH: f64 = 0.05;
        let (low, high) = (stress * (1.0 - REACH), stress * (1.0 + REACH));
        (self.share_below(high) - self.share_below(low)) / (high - low)
    }
}

fn check_size(volume: f64, peak: f64) -> Result<(), StressError> {
    if volume.is_normal() && peak.is_normal() {
        return Ok(());
    }
    Err(StressError::new("the volume or the stress is too large or too small", "check the units"))
}

/// Sorts volumes into bins by their stress.
pub(super) struct Histogram {
    /// The number of the bin of each range of stresses, from 1; 0 for none.
    numbers: Vec<u32>,
    bins: Vec<Bin>,
}

/// The bits of a number that its bin depends on: sign, exponent, and the first nine of the fraction.
const BIN_BITS: u32 = 1 + 11 + 9;

impl Histogram {
    pub(super) fn new() -> Self {
        Self { numbers: vec![0; 1 << (BIN_BITS - 1)], bins: Vec::new() }
    }

    /// Adds a volume, which is not negative, with a stress that is finite and not negative.
    pub(super) fn add(&mut self, stress: f64, volume: f64) {
        if volume > 0.0 {
            self.merge(Bin { low: stress, high: stress, volume });
        }
    }

    /// Adds the bins of another one.
    pub(super) fn add_all(&mut self, other: &Bins) {
        other.0.iter().for_each(|bin| self.merge(*bin));
    }

    fn merge(&mut self, added: Bin) {
        let key = (added.low.abs().to_bits() >> (64 - BIN_BITS)) as usize;
        let Some(number) = self.numbers.get_mut(key) else { return };
        match (*number as usize).checked_sub(1).and_then(|at| self.bins.get_mut(at)) {
            Some(bin) => {
                bin.low = bin.low.min(added.low);
                bin.high = bin.high.max(added.high);
                bin.volume += added.volume;
            }
            None => {
                self.bins.push(added);
                *number = self.bins.len() as u32;
            }
        }
    }

    /// The bins, in the order of their first volumes.
    pub(super) fn bins(self) -> Bins {
        Bins(self.bins)
    }

    /// The field, in the units of the file.
    pub(super) fn field(mut self, peak: f64, elements: usize) -> Result<StressField, StressError> {
        self.bins.sort_by(|a, b| a.low.total_cmp(&b.low));
        if peak == 0.0 {
            return Err(StressError::new("the stress is zero everywhere", "check the loads, and the field"));
        }
        let volume = self.bins.iter().map(|bin| bin.volume).sum();
        check_size(volume, peak)?;
        Ok(StressField { bins: self.bins, volume, peak, elements })
    }
}

/// The bins of a part of a mesh.
pub(super) struct Bins(Vec<Bin>);
