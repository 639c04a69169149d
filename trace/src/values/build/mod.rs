//! From records to the nodes of the value graph.
//!
//! [`builder`] holds the unfinished graph and what every rule needs; each other file adds the rules of one kind of value.

mod amounts;
mod analyses;
mod builder;
mod declare;
mod driven;
mod events;
mod no_numbers;
mod order;
mod past;
mod sheets;
mod stress;
mod targets;
mod times;
mod units;

use std::sync::{Arc, OnceLock};

pub(crate) use self::amounts::growth;
use self::builder::Builder;
use super::{Measured, Values};
use crate::graph::Graph;

/// Builds and evaluates the value graph of all records.
pub(super) fn build(graph: &Arc<Graph>, measured: Measured) -> Values {
    let mut builder = Builder::new(graph, measured);
    // All nodes first, so that any of them can name any other.
    builder.declare();
    builder.report_unread_numbers();
    builder.amounts();
    builder.events_and_goals();
    builder.targets();
    builder.analyses();
    builder.past_standings();
    builder.sort();
    builder.report_driven();
    builder.report_clashes();
    builder.report_too_uncertain();
    let mut state = builder.network.evaluate();
    builder.report_model_errors(&state);
    builder.report_impossible_times(&mut state);
    builder.report_no_numbers(&mut state);
    builder.report_more();
    let Builder {
        network,
        keys,
        by_key,
        amounts,
        amount_numbers,
        origins,
        problems,
        cyclic,
        past,
        measured_totals,
        measured_by_parts,
        ..
    } = builder;
    let (partials, partials_without_constants) = (OnceLock::new(), OnceLock::new());
    let (gradients, bends) = (OnceLock::new(), OnceLock::new());
    let graph = Arc::clone(graph);
    Values {
        graph,
        measured,
        network,
        state,
        keys,
        problems,
        cyclic,
        past,
        amounts,
        amount_numbers,
        by_key,
        origins,
        measured_totals,
        measured_by_parts,
        measured_by_target: OnceLock::new(),
        outputs: OnceLock::new(),
        partials,
        partials_without_constants,
        gradients,
        bends,
        goals: OnceLock::new(),
        factors_in_car: OnceLock::new(),
        superseded: OnceLock::new(),
        set_problems: OnceLock::new(),
        is_cyclic: OnceLock::new(),
        unknown_bases: OnceLock::new(),
        half_digits: OnceLock::new(),
    }
}
