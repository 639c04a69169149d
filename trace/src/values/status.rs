//! The status of a target: met, missed or uncertain by a result, on target or at risk by an estimate, or without a value.
//!
//! A result decides only if the whole interval of its expanded uncertainty (k = 2) is on one side of the limit: JCGM
//! 106:2012, 8.3, guarded acceptance and guarded rejection with a guard band of that width. So a target that is met
//! conforms with a probability of at least 97.7 %, and one that is missed does not, with the same probability.

use schema::Quantity;
use schema::records::Target;
use statrs::function::erf::erfc;

use super::currency::in_currency;
use super::{Origin, Values};
use crate::ids::{NodeId, RecordId};

/// The status of a target.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Status {
    /// A result meets it, including its uncertainty.
    Met,
    /// A result does not meet it, and neither does any other value inside its uncertainty.
    Missed,
    /// The limit is inside the uncertainty of the result.
    Uncertain,
    /// An estimate meets it, including its uncertainty.
    OnTarget,
    /// The estimate, with its uncertainty, does not meet it.
    AtRisk,
    /// It has no value.
    NoValue,
}

impl Status {
    /// All of them.
    pub const ALL: [Self; 6] = [Self::Met, Self::Missed, Self::Uncertain, Self::OnTarget, Self::AtRisk, Self::NoValue];

    /// The status of a word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|status| status.word() == word)
    }

    /// Whether the target has a value that may not meet it: missed, at risk or uncertain.
    pub fn is_short(self) -> bool {
        match self {
            Self::Missed | Self::Uncertain | Self::AtRisk => true,
            Self::Met | Self::OnTarget | Self::NoValue => false,
        }
    }

    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::Missed => "missed",
            Self::Uncertain => "uncertain",
            Self::OnTarget => "on target",
            Self::AtRisk => "at risk",
            Self::NoValue => "no value",
        }
    }
}

/// The limit of a target in SI.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The lower limit.
    pub at_least: Option<f64>,
    /// The upper limit.
    pub at_most: Option<f64>,
}

impl Limit {
    /// The limit of a target, without conversion of currencies.
    pub fn from_target(target: &Target) -> Self {
        Self::in_si(target, Quantity::si)
    }

    fn in_si(target: &Target, si: impl Fn(&Quantity) -> f64) -> Self {
        match target.between.as_deref() {
            Some([low, high]) => Self { at_least: Some(si(low)), at_most: Some(si(high)) },
            _ => Self { at_least: target.at_least.as_ref().map(&si), at_most: target.at_most.as_ref().map(&si) },
        }
    }

    /// Whether a value with this uncertainty meets it. A difference of one part in 10^9 is ignored.
    pub fn holds(&self, value: f64, uncertainty: f64) -> bool {
        let slack = 1e-9 * value.abs();
        self.at_least.is_none_or(|least| value - uncertainty >= least - slack)
            && self.at_most.is_none_or(|most| value + uncertainty <= most + slack)
    }

    /// Whether no value inside this uncertainty meets it. A value exactly at the end of the interval does not count.
    pub fn excludes(&self, value: f64, uncertainty: f64) -> bool {
        let slack = 1e-9 * value.abs();
        self.at_least.is_some_and(|least| value + uncertainty <= least + slack && value < least - slack)
            || self.at_most.is_some_and(|most| value - uncertainty >= most - slack && value > most + slack)
    }

    /// The status of a measured value with this uncertainty.
    pub fn measured(&self, value: f64, uncertainty: f64) -> Status {
        if self.holds(value, uncertainty) {
            Status::Met
        } else if self.excludes(value, uncertainty) {
            Status::Missed
        } else {
            Status::Uncertain
        }
    }

    /// The probability that the true value is within the limit, for a measured value with this expanded uncertainty
    /// (k = 2): that of a normal distribution without other knowledge of the value (JCGM 106:2012, 7.2).
    pub fn conformance(&self, value: f64, uncertainty: f64) -> f64 {
        let below = |end: f64| 0.5 * erfc((value - end) / (uncertainty / 2.0) / std::f64::consts::SQRT_2);
        self.at_most.map_or(1.0, below) - self.at_least.map_or(0.0, below)
    }

    /// The same limit with both ends further out.
    pub(super) fn widened(&self, by: f64) -> Self {
        Self { at_least: self.at_least.map(|least| least - by), at_most: self.at_most.map(|most| most + by) }
    }

    /// Whether both ends of an interval meet it.
    pub fn holds_between(&self, low: f64, high: f64) -> bool {
        self.holds(0.5 * (low + high), 0.5 * (high - low))
    }

    /// How far a value is inside the limit: `value/limit - 1` for at-least, `1 - value/limit` for at-most, and the smaller
    /// of both between two limits; reversed for a negative limit. `None` for a limit of zero.
    pub fn margin(&self, value: f64) -> Option<f64> {
        let least = self.at_least.map(|least| (value / least - 1.0) * least.signum());
        let most = self.at_most.map(|most| (1.0 - value / most) * most.signum());
        let margin = match (least, most) {
            (Some(a), Some(b)) => a.min(b),
            (least, most) => least.or(most)?,
        };
        margin.is_finite().then_some(margin)
    }

    /// The end of a limit that has only one.
    pub fn only_end(&self) -> Option<f64> {
        match (self.at_least, self.at_most) {
            (Some(end), None) | (None, Some(end)) => Some(end),
            _ => None,
        }
    }

    /// How far a value is inside the nearer limit, in SI; negative outside.
    pub fn room(&self, value: f64) -> Option<f64> {
        match (self.at_least.map(|least| value - least), self.at_most.map(|most| most - value)) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (least, most) => least.or(most),
        }
    }
}

/// A target with its value and its status.
#[derive(Clone, Debug)]
pub struct TargetStatus {
    /// The target's record.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// Its limit, in SI.
    pub limit: Limit,
    /// Its value in SI, if it has one: the mean of its outcomes.
    pub value: Option<f64>,
    /// The expanded uncertainty (k = 2), in SI.
    pub uncertainty: f64,
    /// How far the value is inside the limit, as a ratio; `None` if zero of the unit is not zero in SI.
    pub margin: Option<f64>,
    /// The status.
    pub status: Status,
    /// The probability that the true value is within the limit; only for a result with an uncertainty.
    pub conformance: Option<f64>,
}

impl Values {
    /// The limit of a target in SI, its money in the team's currency.
    pub fn limit(&self, target: &Target) -> Limit {
        let rates = &self.graph.loaded.settings().rates;
        Limit::in_si(target, |quantity| in_currency(rates, quantity).1)
    }

    /// The status of every target, in the order of the records.
    pub fn target_statuses(&self) -> Vec<TargetStatus> {
        let targets = self.graph.loaded.targets();
        targets.filter_map(|(index, _, target)| self.target_status(index, target)).collect()
    }

    fn target_status(&self, index: RecordId, target: &Target) -> Option<TargetStatus> {
        let node = self.record_node(index)?;
        let limit = self.limit(target);
        let spread = self.spread(node);
        let value = spread.as_ref().map(|spread| spread.mean);
        let uncertainty = spread.as_ref().map_or(0.0, |spread| spread.uncertainty);
        let is_inside = spread.zip(value).is_some_and(|(spread, value)| {
            let holds = |limit: &Limit| limit.holds_between(spread.low, spread.high);
            holds(&limit) || holds(&limit.widened(self.tolerance(index, target, node, value)))
        });
        let status = match (value, self.origin(index)) {
            (None, _) => Status::NoValue,
            (Some(value), Origin::Result(_)) => limit.measured(value, uncertainty),
            (Some(_), _) if is_inside => Status::OnTarget,
            (Some(_), _) => Status::AtRisk,
        };
        // A ratio of temperatures in degrees Celsius differs from that in kelvins: neither is a margin.
        let margin = value.filter(|_| !self.unit(node).has_own_zero()).and_then(|value| limit.margin(value));
        let measured = value.filter(|_| uncertainty > 0.0 && matches!(self.origin(index), Origin::Result(_)));
        let conformance = measured.map(|value| limit.conformance(value, uncertainty));
        Some(TargetStatus { index, node, limit, value, uncertainty, margin, status, conformance })
    }
}
