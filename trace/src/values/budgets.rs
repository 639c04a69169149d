//! Budgets: what is available under a limit, what is allocated to its shares, which shares are over, and which have room.
//!
//! A budget is a target with an upper limit that has a `total`, or that other targets are a `share-of`. The value of a
//! share is the value of its target; if that is a total, the growth allowance in it is known too. A total that was
//! measured counts in place of its parts in everything around it.

use foldhash::{HashMap, HashMapExt as _};
use schema::Quantity;
use schema::quantity::Dimension;
use schema::records::Target;
use schema::words::CAR;

use super::currency::in_currency;
use super::{Gradients, Values};
use crate::ids::{NodeId, RecordId};

/// A difference of one part in 10^9 is ignored.
const SLACK: f64 = 1e-9;

/// A limit with its shares. Numbers are in SI, money is in the team's currency.
#[derive(Clone, Debug)]
pub struct Budget {
    /// The target.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// The amount of parts that it adds up, if it is one.
    pub amount: Option<String>,
    /// The upper limit.
    pub limit: f64,
    /// The reserve, which is not allocated.
    pub reserve: f64,
    /// Whether the reserve has the dimension of the limit; otherwise it is ignored.
    pub reserve_fits: bool,
    /// The value, if there is one; a total includes growth.
    pub value: Option<f64>,
    /// The expanded uncertainty (k = 2) of the value.
    pub uncertainty: f64,
    /// How far the value may be above the limit because of rounding.
    pub tolerance: f64,
    /// How far the sum of the shares may be above the limit because of rounding.
    pub allocated_tolerance: f64,
    /// The growth allowance in the value, if it is a total.
    pub growth: Option<f64>,
    /// What the value has more than the parts, if it was measured.
    pub not_in_parts: Option<f64>,
    /// The target that it is a share of.
    pub share_of: Option<RecordId>,
    /// Its shares, least room first.
    pub shares: Vec<Share>,
    /// The sum of its shares' limits.
    pub allocated: f64,
    /// The amount of parts that are in no share.
    pub outside: f64,
    /// The systems of these parts, each with its amount.
    pub without_share: Vec<(RecordId, f64)>,
    /// Shares that are ignored because their unit does not match or they have no upper limit.
    pub misfits: Vec<RecordId>,
}

/// A share of a budget.
#[derive(Clone, Debug)]
pub struct Share {
    /// The target.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// The upper limit, in SI.
    pub limit: f64,
    /// The value, if there is one.
    pub value: Option<f64>,
    /// The expanded uncertainty (k = 2) of the value.
    pub uncertainty: f64,
    /// How far the value may be above the limit because of rounding.
    pub tolerance: f64,
    /// The growth allowance in the value, if it is a total.
    pub growth: Option<f64>,
    /// What the value has more than the parts, if it was measured.
    pub not_in_parts: Option<f64>,
    /// Whether the target, or a part of its subject, is safety-critical.
    pub safety_critical: bool,
}

impl Share {
    /// The limit minus the value; negative if it is over.
    pub fn room(&self) -> Option<f64> {
        self.value.map(|value| self.limit - value)
    }

    /// How far it is over its limit.
    pub fn over(&self) -> Option<f64> {
        over(self.value, self.limit, self.tolerance)
    }
}

impl Budget {
    /// What is available for the shares: the limit minus the reserve.
    pub fn available(&self) -> f64 {
        self.limit - self.reserve
    }

    /// What is not allocated to a share; negative if it is over-allocated.
    pub fn unallocated(&self) -> f64 {
        self.available() - self.allocated
    }

    /// How much more is allocated to the shares than is available.
    pub fn over_allocated(&self) -> Option<f64> {
        over((!self.shares.is_empty()).then_some(self.allocated), self.available(), self.allocated_tolerance)
    }

    /// How far the total is over its limit.
    pub fn over(&self) -> Option<f64> {
        over(self.value, self.limit, self.tolerance)
    }

    /// Whether it is over-allocated, or a share is over its limit.
    pub fn has_gap(&self) -> bool {
        self.over_allocated().is_some() || self.shares.iter().any(|share| share.over().is_some())
    }

    /// The unallocated amount that parts outside of any share use: a transfer leaves it unchanged.
    pub(super) fn left_to_others(&self) -> f64 {
        self.outside.min(self.unallocated()).max(0.0)
    }
}

fn over(value: Option<f64>, limit: f64, tolerance: f64) -> Option<f64> {
    value.filter(|value| *value > limit + tolerance.max(SLACK * limit.abs())).map(|value| value - limit)
}

/// The subject of a target: a record, or the car for `None`.
pub(super) type Owner = Option<RecordId>;

impl Values {
    /// Every budget, in the order of the records.
    pub fn budgets(&self, gradients: &Gradients) -> Vec<Budget> {
        let loaded = &*self.graph.loaded;
        let mut shares_of: HashMap<RecordId, Vec<RecordId>> = HashMap::new();
        for (index, _, target) in loaded.targets() {
            let budget = target.share_of.as_ref().and_then(|id| loaded.find(id.as_str()));
            if let Some(budget) = budget.filter(|budget| *budget != index) {
                shares_of.entry(budget).or_default().push(index);
            }
        }
        let mut budgets: Vec<Budget> = loaded
            .targets()
            .filter(|(index, _, target)| target.total.is_some() || shares_of.contains_key(index))
            .filter_map(|(index, _, target)| self.budget(index, target, gradients, shares_of.get(&index)))
            .collect();
        self.fill_from_parts(&mut budgets);
        for budget in &mut budgets {
            // Least room first; shares without a value come last.
            let room = |share: &Share| share.room().unwrap_or(f64::INFINITY);
            budget.shares.sort_by(|a, b| room(a).total_cmp(&room(b)).then(a.index.cmp(&b.index)));
        }
        budgets
    }

    pub(super) fn target(&self, index: RecordId) -> Option<&Target> {
        self.graph.loaded.target(index)
    }

    /// A quantity in SI, if it has this dimension in the team's currency.
    fn in_dimension(&self, quantity: &Quantity, dimension: Dimension) -> Option<f64> {
        let (unit, si, _) = in_currency(&self.graph.loaded.settings().rates, quantity);
        (unit.dimension() == dimension).then_some(si)
    }

    fn budget(
        &self,
        index: RecordId,
        target: &Target,
        gradients: &Gradients,
        shares: Option<&Vec<RecordId>>,
    ) -> Option<Budget> {
        let node = self.record_node(index)?;
        let dimension = self.dimension(node);
        let limit = self.in_dimension(upper_limit(target)?, dimension)?;
        let (mut own, mut misfits) = (Vec::new(), Vec::new());
        for &share in shares.into_iter().flatten() {
            match self.share(share, dimension, gradients) {
                Some(share) => own.push(share),
                None => misfits.push(share),
            }
        }
        let reserve = target.reserve.as_ref().and_then(|reserve| self.in_dimension(reserve, dimension));
        let value = self.value(node);
        let allocated = own.iter().fold(0.0, |sum, share| sum + share.limit);
        let written = own.iter().filter_map(|share| upper_limit(self.target(share.index)?));
        let written = written.chain(upper_limit(target)).chain(&target.reserve);
        let allocated_tolerance = match allocated > limit - reserve.unwrap_or(0.0) {
            true => self.tolerance_of_sum(allocated, self.unit(node), written),
            false => 0.0,
        };
        let amounts = || own.iter().filter_map(|share| self.target(share.index)?.total.as_ref());
        let amount = target.total.as_ref().or_else(|| amounts().next()).map(ToString::to_string);
        Some(Budget {
            index,
            node,
            amount,
            limit,
            reserve: reserve.unwrap_or(0.0),
            reserve_fits: target.reserve.is_none() || reserve.is_some(),
            value,
            uncertainty: gradients.uncertainty(&self.network, node),
            tolerance: self.tolerance_over(index, target, node, limit),
            allocated_tolerance,
            growth: None,
            not_in_parts: self.not_in_parts(node),
            share_of: target.share_of.as_ref().and_then(|id| self.graph.loaded.find(id.as_str())),
            allocated,
            shares: own,
            outside: 0.0,
            without_share: Vec::new(),
            misfits,
        })
    }

    fn share(&self, index: RecordId, dimension: Dimension, gradients: &Gradients) -> Option<Share> {
        let target = self.target(index)?;
        let node = self.record_node(index)?;
        let limit = self.in_dimension(upper_limit(target)?, dimension)?;
        let uncertainty = gradients.uncertainty(&self.network, node);
        let safety_critical = target.safety_critical;
        let tolerance = self.tolerance_over(index, target, node, limit);
        Some(Share {
            index,
            node,
            limit,
            value: self.value(node),
            uncertainty,
            tolerance,
            growth: None,
            not_in_parts: self.not_in_parts(node),
            safety_critical,
        })
    }

    /// The tolerance of a value that is above its limit; only then it is needed.
    fn tolerance_over(&self, index: RecordId, target: &Target, node: NodeId, limit: f64) -> f64 {
        let value = self.value(node).filter(|value| *value > limit);
        value.map_or(0.0, |value| self.tolerance(index, target, node, value))
    }

    pub(super) fn owner(&self, index: RecordId) -> Option<Owner> {
        let of = self.target(index)?.of.as_ref()?.as_str();
        if of == CAR { Some(None) } else { self.graph.loaded.find(of).map(Some) }
    }
}

/// The upper limit of a target, as in its record.
pub(super) fn upper_limit(target: &Target) -> Option<&Quantity> {
    target.at_most.as_ref().or_else(|| target.between.as_ref()?.get(1))
}
