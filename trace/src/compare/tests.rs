//! Deltas of small graphs.
