//! The output of `page`: the car as it is now, as one HTML file that loads nothing. One file per section.

mod answer;
mod budgets;
mod changes;
mod decisions;
mod drawn;
mod due;
mod facts;
mod open;
mod points;
mod predictions;
mod recent;
mod records;
mod risk;
pub(super) mod script;
mod squeeze;
mod stress;
mod tree;
mod worth;

use std::borrow::Cow;
use std::cell::Cell;
use std::collections::{HashMap, HashSet};

use schema::Kind;
use serde_json::{Value, json};
use trace::audit::{Audit, Season};
use trace::finding::OffCheck;
use trace::git::OffSince;
use trace::snapshot::{Source, short_id};
use trace::values::{GoalPoints, Values};
use trace::{Error, NodeId, RecordId, Study};

use super::check::off_text;
use super::pictures::typeset::typeset_all;
use super::template::{Escape, Shipped};
use crate::screen::count;
use records::Places;

/// A template of the page, behind what they share.
macro_rules! with_macros {
    ($file:literal) => {
        concat!(include_str!("../../../../templates/page-macros.html"), include_str!($file))
    };
}

/// The start of every page: a file that does not begin with it is not replaced.
pub(crate) const MARK: &str = "<!doctype html>\n<!-- written by tierod page -->\n";

/// The script of the page; it is the only one that the page may run.
const SCRIPT: &str =
    concat!(include_str!("../../../../templates/sort.js"), include_str!("../../../../templates/page.js"));

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
    /// The records with a result that is older than a change of them.
    pub(crate) changed_since: HashSet<RecordId>,
    /// Whether a newer page replaces it while it is open.
    pub(crate) renews: bool,
    /// How many branches may still be drawn, in all records together: their number can grow with records times links.
    pub(crate) branches_left: Cell<usize>,
    /// How many entries the lists of links in the places of all records may still have.
    pub(crate) entries_left: Cell<usize>,
    /// How many links may still be followed to count the records below others.
    pub(crate) links_left: Cell<usize>,
}

/// The most branches of a page; one with long texts counts more than once.
pub(crate) const MOST_BRANCHES: usize = 150_000;

/// The most entries of lists of links, other than branches.
pub(crate) const MOST_ENTRIES: usize = 150_000;

/// The most links that are followed to count the records below others.
pub(crate) const MOST_LINKS: usize = 3_000_000;

/// What a value is worth: the values without results, and the points per SI unit of each.
struct Worths<'t> {
    values: &'t Values,
    goal: GoalPoints,
    sensitivities: Vec<f64>,
    /// The chance of the goal for these values, and what 1 % more of the values with the most points adds to it; `None` if it
    /// is not known, or after the contest.
    chance: Option<(f64, HashMap<NodeId, f64>)>,
}

/// The templates of the page. The list of records and their places are rendered a few at a time, so that the data of all of
/// them is never in memory at once.
const TEMPLATES: [(&str, &str); 3] = [
    (PAGE, with_macros!("../../../../templates/page.html")),
    (ROWS, with_macros!("../../../../templates/page-row.html")),
    (PLACES, with_macros!("../../../../templates/page-place.html")),
];

const PAGE: &str = "page.html";
const ROWS: &str = "page-row.html";
const PLACES: &str = "page-place.html";

/// Where the list of records and their places are in the page.
const MARKS: [&str; 2] = ["<!-- rows -->", "<!-- places -->"];

/// How many rows are rendered at once.
const ROWS_AT_ONCE: usize = 1_000;

/// How many places are rendered at once, and after how many branches no more is added to them.
const PLACES_AT_ONCE: (usize, usize) = (50, 10_000);

/// The page.
pub(crate) fn html(view: &PageView<'_>) -> Result<String, Error> {
    use std::hash::{DefaultHasher, Hasher as _};
    let templates = Shipped::new(Escape::Html, &TEMPLATES)?;
    let worths = view.worths();
    let mut places = Places::new(view, worths.as_ref());
    let shown = places.with_place();
    let loaded = &view.study.loaded;
    let mut has_place = vec![false; loaded.entries.len()];
    for index in &shown {
        has_place[*index] = true;
    }
    let mut without: HashSet<&str> = HashSet::new();
    without.extend(loaded.record_ids().filter(|index| !has_place[*index]).map(|index| view.id(index)));
    let render = |name: &str, all: Vec<Value>| {
        let mut context = json!({"places": all});
        typeset_all(&mut context, AS_TYPED);
        templates.render(name, &context).map(|html| squeeze::squeeze(&html, &without))
    };

    let all: Vec<RecordId> = loaded.record_ids().collect();
    let mut rows = String::new();
    for some in all.chunks(ROWS_AT_ONCE) {
        rows += &render(ROWS, some.iter().map(|index| places.row(*index)).collect())?;
    }
    let mut articles = String::new();
    let mut batch = Vec::new();
    let mut before = view.branches_left.get();
    for index in shown {
        batch.push(places.place(index));
        if batch.len() == PLACES_AT_ONCE.0 || before - view.branches_left.get() > PLACES_AT_ONCE.1 {
            articles += &render(PLACES, std::mem::take(&mut batch))?;
            before = view.branches_left.get();
        }
    }
    articles += &render(PLACES, batch)?;

    let mut context = context(view, &places, worths.as_ref(), without.len());
    // A page that renews itself asks the file on disk whether it is still this one.
    let mut hasher = DefaultHasher::new();
    for text in [&context.to_string(), &rows, &articles] {
        hasher.write(text.as_bytes());
    }
    context["stamp"] = json!(format!("{:016x}", hasher.finish()));
    let page = templates.render(PAGE, &context)?;
    drop(context);
    let missing = || Error::new(format!("the template {PAGE} has no place for records"));
    let (head, rest) = page.split_once(MARKS[0]).ok_or_else(missing)?;
    let (middle, end) = rest.rsplit_once(MARKS[1]).ok_or_else(missing)?;
    let [head, middle, end] = [head, middle, end].map(|html| squeeze::squeeze(html, &without));
    drop(page);
    Ok([MARK, &head, &rows, &middle, &articles, &end].concat())
}

/// The data of the page, but for its records.
fn context(view: &PageView<'_>, places: &Places<'_, '_>, worths: Option<&Worths<'_>>, without_place: usize) -> Value {
    let study = view.study;
    let limits = changes::limits(view);
    let script = script::lean(SCRIPT);
    let mut context = json!({
        "season": study.settings().season,
        "day": study.day.long(),
        "stage": study.stage.word(),
        "source": view.source(),
        "renews": view.renews,
        "script_hash": script::hash(&script),
        "script": script,
        "style": script::lean_style(concat!(include_str!("../../../../templates/pictures.css"), include_str!("../../../../templates/page.css"))),
        "history": study.past().reason(),
        "records": study.loaded.entries.len(),
        "off": off_text(study.past(), &view.off),
        "broken": answer::broken(view),
        "counts": answer::counts(view),
        "goals": answer::goals(view),
        "scores": answer::scores(view, worths),
        "open": open::section(view),
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
        "decisions": decisions::section(view, worths, places),
        "amounts": study.values().amounts(),
        "estimated": worths.and_then(|own| Some(schema::number::fixed(own.goal.predicted?, 1))),
        "worth": worth::section(view, worths),
        "limits_sentence": changes::limits_sentence(&limits),
        "limits": limits,
        "recent": recent::section(view),
        "predictions": predictions::section(view),
        "chain_picture": drawn::chain(view),
        "without_place": without_place,
    });
    typeset_all(&mut context, AS_TYPED);
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
    "up",
    "below",
    "risk_picture",
    "periods_picture",
    "verification_picture",
    "chain_picture",
];

impl<'t> PageView<'t> {
    fn id(&self, index: RecordId) -> &'t str {
        self.study.loaded.record(index).id.as_str()
    }

    fn title(&self, index: RecordId) -> &'t str {
        let name = self.study.loaded.record(index).name();
        // There must be something to press.
        if name.trim().is_empty() { self.id(index) } else { name }
    }

    /// The title of a record; of a result, a revision or a waiver without one, what it is about.
    fn words(&self, index: RecordId) -> Cow<'t, str> {
        let loaded = &self.study.loaded;
        let record = loaded.record(index);
        let word = match loaded.kind(index) {
            Kind::Result => "Result",
            Kind::Revision => "Revision",
            Kind::Waiver => "Waiver",
            Kind::Goal
            | Kind::Event
            | Kind::Target
            | Kind::Requirement
            | Kind::System
            | Kind::Part
            | Kind::Analysis
            | Kind::Decision => return self.title(index).into(),
        };
        let waived = loaded.waiver(index).and_then(|waiver| waiver.of.as_ref());
        let about = record.about().or(waived).and_then(|about| loaded.find(about.as_str()));
        match about.filter(|_| self.title(index) == record.id.as_str()) {
            Some(about) => format!("{word}: {}", self.title(about)).into(),
            None => self.title(index).into(),
        }
    }

    /// A record to press: its id and its title.
    fn link(&self, index: RecordId) -> Value {
        json!({"id": self.id(index), "title": self.words(index)})
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
        let commit = self.commit.as_deref().map(short_id);
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
        let goal = values.goals().first()?.clone();
        let sensitivities = values.worth_of_all(goal.node);
        let chance = worth::chances(self, values, &goal, &sensitivities);
        Some(Worths { values, goal, sensitivities, chance })
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
