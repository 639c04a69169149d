//! The output of `page`: the car as it is now, as one HTML file that loads nothing. One file per section.

mod answer;
mod budgets;
mod changes;
mod decisions;
mod drawn;
mod due;
mod facts;
mod points;
mod predictions;
mod records;
mod risk;
pub(super) mod script;
mod squeeze;
mod stress;
mod tree;
mod worth;

use std::cell::Cell;

use serde_json::{Value, json};
use trace::audit::{Audit, Season};
use trace::finding::OffCheck;
use trace::git::OffSince;
use trace::snapshot::Source;
use trace::values::{GoalPoints, Values};
use trace::{Error, RecordId, Study};

use super::check::off_text;
use super::pictures::typeset::typeset_all;
use super::template::{self, Escape};
use crate::screen::count;

/// The start of every page: a file that does not begin with it is not replaced.
pub(crate) const MARK: &str = "<!doctype html>\n<!-- written by tierod page -->\n";

/// The script of the page; it is the only one that the page may run.
const SCRIPT: &str = include_str!("../../../../templates/page.js");

/// What the page shows.
pub(crate) struct PageView<'t> {
    pub(crate) study: &'t Study,
    pub(crate) audit: &'t Audit,
    pub(crate) season: Option<&'t Season>,
    /// The last commit, and its day.
    pub(crate) commit: Option<String>,
    pub(crate) commit_day: Option<schema::Day>,
    /// The checks that the settings switch off.
    pub(crate) off: Vec<(&'t OffCheck, OffSince)>,
    /// Whether a newer page replaces it while it is open.
    pub(crate) renews: bool,
    /// How many branches may still be drawn, in all records together: their number can grow with records times links.
    pub(crate) branches_left: Cell<usize>,
}

/// The most branches of a page; one with long texts counts more than once.
pub(crate) const MOST_BRANCHES: usize = 150_000;

/// What a value is worth: the values without results, and the points per SI unit of each.
struct Worths<'t> {
    values: &'t Values,
    goal: GoalPoints,
    sensitivities: Vec<f64>,
}

/// The page.
pub(crate) fn html(view: &PageView<'_>) -> Result<String, Error> {
    let shipped = include_str!("../../../../templates/page.html");
    let context = context(view);
    let page = template::render_shipped("page.html", shipped, Escape::Html, &context)?;
    Ok(MARK.to_owned() + &squeeze::squeeze(&page))
}

/// The data of the page.
fn context(view: &PageView<'_>) -> Value {
    let study = view.study;
    let worths = view.worths();
    let limits = changes::limits(view);
    let mut context = json!({
        "season": study.settings().season,
        "day": study.day.long(),
        "stage": study.stage.word(),
        "source": view.source(),
        "renews": view.renews,
        "script": SCRIPT,
        "script_hash": script::hash(SCRIPT),
        "style": concat!(include_str!("../../../../templates/pictures.css"), include_str!("../../../../templates/page.css")),
        "history": study.past().reason(),
        "records": study.loaded.entries.len(),
        "off": off_text(study.past(), &view.off),
        "broken": answer::broken(view),
        "counts": answer::counts(view),
        "goals": answer::goals(view),
        "points": points::section(view),
        "risk": risk::section(view),
        "longest": risk::longest(view),
        "risk_picture": drawn::at_risk(view),
        "periods_picture": drawn::periods_at_risk(view),
        "verification_picture": drawn::verification(view),
        "due": due::section(view),
        "unproven": due::unproven(view),
        "outdated": due::outdated(view),
        "if_met": risk::if_met(view),
        "safety_critical": view.audit.safety_critical,
        "budgets": budgets::section(view),
        "decisions": decisions::section(view, worths.as_ref()),
        "amounts": study.values().amounts(),
        "estimated": worths.as_ref().and_then(|own| Some(format!("{:.1}", own.goal.predicted?))),
        "worth": worth::section(view, worths.as_ref()),
        "limits_sentence": changes::limits_sentence(&limits),
        "limits": limits,
        "recent": changes::recent(view),
        "predictions": predictions::section(view),
        "chain_picture": drawn::chain(view),
        "places": records::all(view, worths.as_ref()),
    });
    typeset_all(&mut context, AS_TYPED);
    // A page that renews itself asks the file on disk whether it is still this one.
    context["stamp"] = json!(fingerprint(&context));
    context
}

/// What is typed or looked for, which no typesetting may change: ids, titles, files, formulas; and pictures.
const AS_TYPED: &[&str] = &[
    "id",
    "title",
    "script",
    "script_hash",
    "style",
    "file",
    "evidence",
    "commit",
    "check",
    "code",
    "picture",
    "lead",
    "class",
    "kind",
    "reads",
    "risk_picture",
    "periods_picture",
    "verification_picture",
    "chain_picture",
];

/// A short text that is another one if the data is.
fn fingerprint(context: &Value) -> String {
    use std::hash::{DefaultHasher, Hash as _, Hasher as _};
    let mut hasher = DefaultHasher::new();
    context.to_string().hash(&mut hasher);
    format!("{:016x}", hasher.finish())
}

impl<'t> PageView<'t> {
    fn id(&self, index: RecordId) -> &'t str {
        self.study.loaded.record(index).id.as_str()
    }

    fn title(&self, index: RecordId) -> &'t str {
        let name = self.study.loaded.record(index).name();
        // There must be something to press.
        if name.trim().is_empty() { self.id(index) } else { name }
    }

    /// A record to press: its id and its title.
    fn link(&self, index: RecordId) -> Value {
        json!({"id": self.id(index), "title": self.title(index)})
    }

    /// A record by its id, which may not exist: then only the text is shown.
    fn named(&self, id: &str) -> Value {
        match self.study.loaded.find(id) {
            Some(index) => self.link(index),
            None => json!({"id": Value::Null, "title": id}),
        }
    }

    /// What the records are: the commit, or the working tree on top of one.
    fn source(&self) -> String {
        let commit = self.commit.as_deref().map(|commit| commit.get(..10).unwrap_or(commit));
        let day = self.commit_day.map(|day| format!(" of {day}")).unwrap_or_default();
        match (&self.study.loaded.snapshot.source, commit) {
            (Source::Revision { .. }, Some(commit)) => format!("commit {commit}{day}"),
            (Source::Index, Some(commit)) => format!("index (staged) after commit {commit}{day}"),
            (Source::Worktree, Some(commit)) => format!("working tree after commit {commit}{day}"),
            (Source::Index, None) => "index (staged), no commit yet".to_owned(),
            (Source::Worktree, None) => "working tree, no commit".to_owned(),
            (Source::Revision { .. } | Source::Nothing, _) => "no commit".to_owned(),
        }
    }

    fn worths(&self) -> Option<Worths<'t>> {
        let values = self.study.values_on_paper();
        let goal = values.goals().into_iter().next()?;
        let sensitivities = values.worth_of_all(goal.node);
        Some(Worths { values, goal, sensitivities })
    }
}

/// A short text for a number of days from today.
fn in_days(days: i32) -> String {
    match days {
        0 => "today".to_owned(),
        1.. => format!("in {}", count(days.unsigned_abs() as usize, "day")),
        _ => format!("{} ago", count(days.unsigned_abs() as usize, "day")),
    }
}
