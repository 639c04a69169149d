//! The most points that events and goals give.

use schema::quantity::Dimension;
use schema::records::Event;
use schema::sheet::MOST;

use super::{Key, Values};
use crate::ids::{NodeId, RecordId};
use crate::sheets;

/// The most points of the contest of a goal.
#[derive(Clone, Debug, Default)]
pub struct Available {
    /// The total of the contest, according to the score sheets of the events.
    pub total: Option<f64>,
    /// The events with a formula or expected points and without `most`.
    pub without: Vec<RecordId>,
    /// Whether an event has `most`.
    pub some: bool,
}

impl Values {
    /// The most points that an event gives, according to its record or its score sheet.
    pub fn most(&self, index: RecordId) -> Option<f64> {
        let event = self.graph.loaded.event(index)?;
        let sheet = event.score.as_ref().and_then(|score| sheets::find(score.r#use.as_deref()?));
        if event.most.is_none() && sheet.is_none() {
            return None;
        }
        self.value(self.node(&Key::Local(index, MOST.into()))?)
    }

    /// The most points of the contest of a goal, and the events of which they are not known.
    pub fn available(&self, goal: NodeId) -> Available {
        let loaded = &self.graph.loaded;
        let mut available = Available::default();
        for node in &self.network.nodes[goal].inputs {
            let Key::Record(index) = self.keys[*node] else { continue };
            let Some(event) = loaded.event(index) else { continue };
            if self.most(index).is_some() {
                available.some = true;
            } else if event.expect.is_some() || event.score.is_some() {
                available.without.push(index);
            }
            let sheet = event.score.as_ref().and_then(|score| sheets::sheet_of(score.r#use.as_deref()?));
            let total = sheet.and_then(|sheet| sheet.total.as_ref()).map(schema::Quantity::si);
            available.total = available.total.or(total);
        }
        available
    }

    /// The points of an event with a formula of its own for which the first input is as good as the `best` that the formula
    /// is given, if that is a value of the same dimension: the best car has the most points.
    pub fn points_of_best(&self, index: RecordId, event: &Event) -> Option<f64> {
        let score = event.score.as_ref().filter(|score| score.formula.is_some())?;
        score.given.get("best")?;
        let read = self.node(&Key::Local(index, event.reads.keys().next()?.as_str().into()))?;
        let best = self.node(&Key::Local(index, "best".into()))?;
        let (node, value) = (self.record_node(index)?, self.value(best)?);
        let same = self.dimension(read) == self.dimension(best) && self.dimension(node) == Dimension::points();
        let points = same.then(|| self.network.value_if(&self.state, &[(read, value)], node))?;
        Some(points).filter(|points| !points.is_nan())
    }
}
