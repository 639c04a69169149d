//! Budgets: what a limit has to give, what its shares take, who is over, who has room, and the least change of
//! limits that would close the gap.
//!
//! A budget is a target with an upper limit that has a `total`, or that others take a `share-of`. A share's value
//! is its target's; where that is a roll-up, the growth allowance in it is known too.

use foldhash::{HashMap, HashMapExt as _};
use schema::Quantity;
use schema::quantity::Dimension;
use schema::records::Target;
use schema::words::CAR;

use super::{Gradients, Values, build};
use crate::ids::{NodeId, RecordId};

/// A part in 10^9 is no difference.
const SLACK: f64 = 1e-9;

/// A limit with what is taken of it; numbers are in SI, money in the team's currency.
#[derive(Clone, Debug)]
pub struct Budget {
    /// The target.
    pub index: RecordId,
    /// Its node.
    pub node: NodeId,
    /// What adds up, where it is an amount of parts.
    pub amount: Option<String>,
    /// The upper limit.
    pub limit: f64,
    /// What is held back from the limit.
    pub reserve: f64,
    /// Has the reserve the dimension of the limit? One that has not is not counted.
    pub reserve_fits: bool,
    /// The value, if there is one: a roll-up is with growth.
    pub value: Option<f64>,
    /// The expanded uncertainty (k = 2) of the value.
    pub uncertainty: f64,
    /// How much of the value is growth allowance, where it is a roll-up.
    pub growth: Option<f64>,
    /// The target it is itself a share of.
    pub share_of: Option<RecordId>,
    /// Its shares, those with the least room first.
    pub shares: Vec<Share>,
    /// The sum of its shares' limits.
    pub allocated: f64,
    /// What parts take that lie in no share.
    pub outside: f64,
    /// The systems of these parts, and how much of it each.
    pub without_share: Vec<(RecordId, f64)>,
    /// Shares that cannot be counted, since they are in another unit or have no upper limit.
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
    /// How much of the value is growth allowance, where it is a roll-up.
    pub growth: Option<f64>,
    /// Is the target safety-critical, or a part of what it is about?
    pub safety_critical: bool,
}

impl Share {
    /// What is left of the limit; below zero when it is over.
    pub fn room(&self) -> Option<f64> {
        self.value.map(|value| self.limit - value)
    }

    /// How far it is over its limit.
    pub fn over(&self) -> Option<f64> {
        over(self.value, self.limit)
    }
}

impl Budget {
    /// What there is for the shares: the limit less the reserve.
    pub fn available(&self) -> f64 {
        self.limit - self.reserve
    }

    /// What no share has yet; below zero when more is given than there is.
    pub fn unallocated(&self) -> f64 {
        self.available() - self.allocated
    }

    /// How much more is given to the shares than there is.
    pub fn over_allocated(&self) -> Option<f64> {
        over((!self.shares.is_empty()).then_some(self.allocated), self.available())
    }

    /// How far the whole is over its limit.
    pub fn over(&self) -> Option<f64> {
        over(self.value, self.limit)
    }

    /// What parts outside of any share use of what no share has: a transfer leaves it to them.
    pub(super) fn left_to_others(&self) -> f64 {
        self.outside.min(self.unallocated()).max(0.0)
    }
}

fn over(value: Option<f64>, limit: f64) -> Option<f64> {
    value.filter(|value| *value > limit + SLACK * limit.abs()).map(|value| value - limit)
}

/// What a target is about: the car where it is none.
pub(super) type Owner = Option<RecordId>;

impl Values {
    /// Every budget, in the order of the records.
    pub fn budgets(&self, gradients: &Gradients) -> Vec<Budget> {
        let loaded = &*self.graph.loaded;
        let mut shares_of: HashMap<RecordId, Vec<RecordId>> = HashMap::new();
        for (index, _, target) in loaded.targets() {
            let whole = target.share_of.as_ref().and_then(|id| loaded.find(id.as_str()));
            if let Some(whole) = whole.filter(|whole| *whole != index) {
                shares_of.entry(whole).or_default().push(index);
            }
        }
        let mut budgets: Vec<Budget> = loaded
            .targets()
            .filter(|(index, _, target)| target.total.is_some() || shares_of.contains_key(index))
            .filter_map(|(index, _, target)| self.budget(index, target, gradients, shares_of.get(&index)))
            .collect();
        self.fill_from_parts(&mut budgets);
        for budget in &mut budgets {
            // The least room first; who has no value comes last.
            let room = |share: &Share| share.room().unwrap_or(f64::INFINITY);
            budget.shares.sort_by(|a, b| room(a).total_cmp(&room(b)).then(a.index.cmp(&b.index)));
        }
        budgets
    }

    pub(super) fn target(&self, index: RecordId) -> Option<&Target> {
        self.graph.loaded.target(index)
    }

    /// A quantity in SI, where it has this dimension once its money is the team's.
    fn fitting(&self, quantity: &Quantity, dimension: Dimension) -> Option<f64> {
        let (unit, si, _) = build::in_currency(&self.graph.loaded.settings().rates, quantity);
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
        let limit = self.fitting(upper(target)?, dimension)?;
        let (mut own, mut misfits) = (Vec::new(), Vec::new());
        for &share in shares.into_iter().flatten() {
            match self.share(share, dimension, gradients) {
                Some(share) => own.push(share),
                None => misfits.push(share),
            }
        }
        let reserve = target.reserve.as_ref().and_then(|reserve| self.fitting(reserve, dimension));
        let amounts = || own.iter().filter_map(|share| self.target(share.index)?.total.as_ref());
        let amount = target.total.as_ref().or_else(|| amounts().next()).map(ToString::to_string);
        Some(Budget {
            index,
            node,
            amount,
            limit,
            reserve: reserve.unwrap_or(0.0),
            reserve_fits: target.reserve.is_none() || reserve.is_some(),
            value: self.value(node),
            uncertainty: gradients.uncertainty(&self.network, node),
            growth: None,
            share_of: target.share_of.as_ref().and_then(|id| self.graph.loaded.find(id.as_str())),
            allocated: own.iter().fold(0.0, |sum, share| sum + share.limit),
            shares: own,
            outside: 0.0,
            without_share: Vec::new(),
            misfits,
        })
    }

    fn share(&self, index: RecordId, dimension: Dimension, gradients: &Gradients) -> Option<Share> {
        let target = self.target(index)?;
        let node = self.record_node(index)?;
        let limit = self.fitting(upper(target)?, dimension)?;
        let uncertainty = gradients.uncertainty(&self.network, node);
        let safety_critical = target.safety_critical;
        Some(Share { index, node, limit, value: self.value(node), uncertainty, growth: None, safety_critical })
    }

    pub(super) fn owner(&self, index: RecordId) -> Option<Owner> {
        let of = self.target(index)?.of.as_ref()?.as_str();
        if of == CAR { Some(None) } else { self.graph.loaded.find(of).map(Some) }
    }
}

/// The upper limit of a target, as it is written.
pub(super) fn upper(target: &Target) -> Option<&Quantity> {
    target.at_most.as_ref().or_else(|| target.between.as_ref()?.get(1))
}
