//! End-to-end tests: they run the binary, each in its own sandbox. One test binary, one module per subject.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test fails by panicking, and prints what it measured or skipped"
)]

mod audit;
mod audit_over_time;
mod audit_season;
mod audit_start;
mod budgets;
mod check_staged;
mod checks;
mod ci_recipes;
mod commands;
mod deck;
mod delta_changes;
mod delta_git;
mod delta_markdown;
mod delta_properties;
mod drawings;
mod example_car;
mod example_season;
mod formats;
mod gate_base;
mod gate_ci;
mod gate_conflicts;
mod gate_hidden;
mod gate_history;
mod gate_history_stale;
mod gate_history_story;
mod gate_matrix;
#[cfg(unix)]
mod gate_merges;
mod gate_messages;
mod gate_names;
mod gate_new;
mod gate_records;
mod gate_screen;
mod gate_since;
mod gate_uncovered;
mod git_hooks;
mod git_hooks_elsewhere;
mod git_ignore;
mod git_shapes;
mod git_troubles;
mod history;
mod history_cache;
mod history_merges;
mod history_oracle;
mod history_order;
mod hook_install;
mod hostile;
mod hostile_config;
mod hostile_files;
mod hostile_git;
mod hostile_history;
mod hostile_size;
mod hostile_tables;
mod hostile_templates;
mod hostile_text;
mod hostile_work;
mod json_answers;
mod json_schema;
#[cfg(unix)]
mod limits;
mod models;
mod models_cache;
mod numbers_audit;
mod numbers_audit_targets;
mod numbers_decisions;
mod numbers_fix;
mod numbers_intervals;
mod numbers_models;
mod numbers_places;
mod numbers_results;
mod numbers_rows;
mod numbers_scores;
mod numbers_units;
mod numbers_verdicts;
mod page;
mod page_lists;
mod page_meeting;
mod page_size;
mod page_unknown;
mod page_watch;
mod pictures;
mod points;
mod readme;
mod records_add;
mod records_complete;
mod records_edit;
mod records_evidence;
mod records_evidence_more;
mod records_example;
mod records_export;
mod records_import;
mod records_import_again;
mod records_import_hostile;
mod records_import_new;
mod records_rename;
mod records_stress;
mod reference_graphs;
mod remarks;
mod renamed;
mod scores;
mod stress_work;
mod summary;
mod support;
#[cfg(unix)]
mod terminal;
mod units;
mod values;
mod values_json;
mod yaml_cases;
#[path = "../schema/tests/reader/suite.rs"]
mod yaml_suite;

/// The tests in a file without a `mod` line would never run.
#[test]
fn no_test_file_is_forgotten() {
    let here = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests");
    let named = std::fs::read_to_string(here.join("main.rs")).unwrap();
    for entry in std::fs::read_dir(&here).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if let Some(stem) = name.strip_suffix(".rs").filter(|stem| *stem != "main") {
            assert!(named.contains(&format!("\nmod {stem};\n")), "tests/{name} is not in tests/main.rs");
        }
    }
}
