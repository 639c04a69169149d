//! From records to the nodes of the value graph.
//!
//! [`builder`] holds the unfinished graph and what every rule needs; each other file adds the rules of one kind of value.

mod amounts;
mod analyses;
mod builder;
mod declare;
mod events;
mod order;
mod targets;

use std::sync::{Arc, Mutex, OnceLock};

pub(crate) use self::amounts::growth;
use self::builder::Builder;
use super::{Measured, Values};
use crate::graph::Graph;

/// Builds and evaluates the value graph of all records.
pub(super) fn build(graph: &Arc<Graph>, measured: Measured) -> Values {
    let mut builder = Builder::new(graph, measured);
    // All nodes first, so that any of them can name any other.
    builder.declare();
    builder.amounts();
    builder.events_and_goals();
    builder.targets();
    builder.analyses();
    builder.sort();
    let state = builder.network.evaluate();
    builder.report_model_errors(&state);
    let Builder { network, keys, by_key, amounts, origins, problems, .. } = builder;
    let (partials, gradients, bends) = (OnceLock::new(), OnceLock::new(), OnceLock::new());
    let spreads = Mutex::default();
    let graph = Arc::clone(graph);
    Values { graph, network, state, keys, problems, amounts, by_key, origins, partials, gradients, bends, spreads }
}
