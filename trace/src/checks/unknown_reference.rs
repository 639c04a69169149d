//! `unknown-reference`: a name that does not exist, or that belongs to the wrong kind of record.

use schema::records::Body;
use schema::{renamed, suggest};

use super::{ALWAYS_ERROR, Check, FileId, Group, Reporter, Study, all, can_be_waived};

pub(super) static CHECK: Check = Check {
    name: "unknown-reference",
    group: Group::Structure,
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
    let graph = &study.graph;
    for broken in &graph.broken {
        let (message, help) = (broken.message.clone(), broken.help.clone());
        let route: Vec<&str> = broken.route.iter().map(String::as_str).collect();
        if broken.is_key {
            reporter.report_key(broken.from, &route, message, help);
        } else {
            reporter.report(broken.from, &route, message, help);
        }
    }
    reporter.report_value_problems(crate::values::ValueProblemKind::Reference, study);
    for (index, record) in graph.loaded.records() {
        match &record.body {
            Body::Waiver(waiver) => {
                let Some(check) = waiver.check.as_ref().map(schema::Id::as_str) else { continue };
                if super::find(check).is_none() {
                    let (message, help) = unknown_check(check);
                    reporter.report(index, &["check"], message, help);
                } else if !can_be_waived(check) {
                    let help = "mend the finding, and remove the waiver";
                    reporter.report(index, &["check"], format!("findings of `{check}` cannot be waived"), help);
                }
            }
            Body::Decision(decision) => {
                for (name, alternative) in decision.alternatives.iter() {
                    for to in alternative.sets.keys() {
                        let (id, amount) = to.parts();
                        // A record that there is none of is told with all other names.
                        let known = graph.loaded.find(id).is_some() || id == schema::words::CAR;
                        let Some(amount) = amount.filter(|_| known) else { continue };
                        if study.values().named(to.as_str()).is_none() {
                            let amounts = study.values().amounts().iter().map(AsRef::as_ref);
                            let help = suggest::did_you_mean(amount, amounts, "name an amount that the record has");
                            let route = ["alternatives", name.as_str(), "sets", to.as_str()];
                            reporter.report_key(index, &route, format!("`{id}` has no amount `{amount}`"), help);
                        }
                    }
                }
            }
            Body::Part(part) => {
                for (name, amount) in part.amounts.iter() {
                    let (Some(basis), Some(bases)) = (&amount.basis, graph.loaded.settings().growth.get(name.as_str()))
                    else {
                        continue;
                    };
                    if bases.get(basis.as_str()).is_none() {
                        let known = || bases.keys().map(schema::Id::as_str);
                        let otherwise = format!("the settings list {}", suggest::any_of(known()));
                        let help = suggest::did_you_mean(basis.as_str(), known(), &otherwise);
                        let route = ["amounts", name.as_str(), "basis"];
                        reporter.report(index, &route, format!("`{basis}` is no basis under `growth.{name}`"), help);
                    }
                }
            }
            _ => {}
        }
    }
    for (check, _) in graph.loaded.settings().levels.iter() {
        let name = check.as_str();
        let problem = match super::find(name) {
            None => Some(unknown_check(name)),
            Some(check) if check.group == Group::Reading => {
                let help = "remove the line: what cannot be read is an error at every stage".to_owned();
                Some((format!("the level of `{name}` cannot be set"), help))
            }
            Some(_) => None,
        };
        if let Some((message, help)) = problem {
            reporter.report_in_file(FileId::new(0), None, ["levels", name], message, help);
        }
    }
}

/// What is wrong with the name of a check, and what to do.
fn unknown_check(name: &str) -> (String, String) {
    match renamed::notice(renamed::Use::Check, name) {
        Some((message, new)) => (message, format!("use `{new}`")),
        None => {
            let names = all().iter().map(|check| check.name);
            let help = suggest::did_you_mean(name, names, "`tierod explain` lists the checks");
            (format!("there is no check `{name}`"), help)
        }
    }
}
