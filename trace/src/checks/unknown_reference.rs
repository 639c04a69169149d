//! `unknown-reference`: a name that does not exist, or that belongs to the wrong kind of record.

use schema::{renamed, suggest};

use super::{ALWAYS_ERROR, About, Check, FileId, Group, Reporter, Study, all, can_be_waived, shared};
use crate::values::bases::{unknown_bases, unknown_bases_of_alternatives};
use crate::values::{SetProblemKind, ValueProblemKind};

pub(super) static CHECK: Check = Check {
    name: "unknown-reference",
    group: Group::Structure,
    about: About::Records,
    levels: ALWAYS_ERROR,
    reports: "A reference to a record, check, basis or file that does not exist or is of the wrong kind.",
    why: "A link to a name that does not exist carries no reason, no budget and no points.",
    fix: "Use the suggested name, add the record, or remove the link.",
    bad_example: "\
parts:
  front-upright: {in: suspention}",
    good_example: "\
parts:
  front-upright: {in: suspension}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    for broken in &study.graph.broken {
        let (message, help) = (broken.message.clone(), broken.help.clone());
        let route: Vec<&str> = broken.route.iter().map(String::as_str).collect();
        if broken.is_key {
            reporter.report_key(broken.from, &route, message, help);
        } else {
            reporter.report(broken.from, &route, message, help);
        }
        reporter.unresolved(broken.missing.as_deref());
    }
    reporter.report_value_problems(ValueProblemKind::Reference, study);
    report_waivers(study, reporter);
    report_alternatives(study, reporter);
    report_bases(study, reporter);
    report_levels(study, reporter);
    report_slides(study, reporter);
}

/// Reports waivers of a check that does not exist, or whose findings cannot be waived.
fn report_waivers(study: &Study, reporter: &mut Reporter) {
    for (index, _, waiver) in study.loaded.waivers() {
        let Some(check) = waiver.check.as_ref().map(schema::Id::as_str) else { continue };
        if super::find(check).is_none() {
            let (message, help) = unknown_check(check);
            reporter.report(index, &["check"], message, help);
        } else if !can_be_waived(check) {
            let help = "fix the finding and remove the waiver";
            reporter.report(index, &["check"], format!("findings of `{check}` cannot be waived"), help);
        }
    }
}

/// Reports names that an alternative cannot set, because the record has no such amount or input.
fn report_alternatives(study: &Study, reporter: &mut Reporter) {
    for (index, route, problem) in shared::set_problems(study, SetProblemKind::Name) {
        reporter.report_key(index, &route, problem.message, problem.help);
        reporter.unresolved(problem.is_amount_of_parts.then_some(""));
    }
}

/// Reports amounts of parts whose basis is not in the settings.
fn report_bases(study: &Study, reporter: &mut Reporter) {
    for (part, name, message, help) in unknown_bases(&study.loaded) {
        reporter.report(part, &["amounts", name, "basis"], message, help);
    }
    report_bases_of_alternatives(study, reporter);
}

/// Reports amounts that an alternative sets with a basis that is not in the settings, and bases of alternatives that are
/// not listed for any amount.
fn report_bases_of_alternatives(study: &Study, reporter: &mut Reporter) {
    let decisions = study.loaded.decisions().map(|(index, ..)| index);
    for (index, route, message, help) in unknown_bases_of_alternatives(&study.loaded, decisions) {
        let route: Vec<&str> = route.iter().map(String::as_str).collect();
        reporter.report(index, &route, message, help);
    }
}

/// Reports levels in the settings for a check that does not exist, or whose level cannot be changed.
fn report_levels(study: &Study, reporter: &mut Reporter) {
    for (check, _) in study.settings().levels.iter() {
        let name = check.as_str();
        let problem = match super::find(name) {
            None => Some(unknown_check(name)),
            Some(check) if check.group == Group::Reading => {
                let help =
                    "remove this line: files and records that cannot be read are errors at every stage".to_owned();
                Some((format!("the level of `{name}` cannot be changed"), help))
            }
            Some(_) => None,
        };
        if let Some((message, help)) = problem {
            reporter.report_in_file(FileId::new(0), None, ["levels", name], message, help);
        }
    }
}

/// Reports slides in the settings that do not exist.
fn report_slides(study: &Study, reporter: &mut Reporter) {
    for wrong in crate::talk::names::wrong(&study.loaded) {
        let route = wrong.route.each_ref().map(String::as_str);
        reporter.report_in_file(FileId::new(0), None, route, wrong.message, wrong.help);
    }
}

/// The message and the help for the name of a check that does not exist.
fn unknown_check(name: &str) -> (String, String) {
    match renamed::notice(renamed::Use::Check, name) {
        Some((message, new)) => (message, format!("use `{new}`")),
        None => {
            let names = all().iter().map(|check| check.name);
            let help = suggest::did_you_mean(name, names, "run `tierod explain` to list the checks");
            (format!("unknown check `{name}`"), help)
        }
    }
}
