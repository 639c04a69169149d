//! `audit --brief`: one page for print, the same in every format.

use std::collections::HashMap;
use std::fmt::Write as _;

use schema::number;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::Error;
use trace::audit::{GoalScore, LimitRecord, PeriodEnd, Verdict};

use super::numbers::change;
use super::{AuditView, document, review};
use crate::output::check::{off_json, off_text};
use crate::output::csv;
use crate::output::grid::{Cell, Grid};
use crate::output::json::source;
use crate::output::pictures::typeset::typeset_all;
use crate::output::points::points_of;
use crate::output::table::{Paint, Table, plain, strong};
use crate::output::template::{self, Escape};
use crate::screen::{Ink, clean, count};

/// The periods at risk that the page has room for.
const PERIODS: usize = 10;
/// The limits that changed that the page has room for, those without a revision or after a result first.
const MOVES: usize = 10;
/// The unproven records that the page has room for; the other formats have all.
const UNPROVEN: usize = 40;

/// What is on the page, as text.
struct Page<'v> {
    goals: Vec<Value>,
    periods: Vec<[String; 5]>,
    moves: Vec<[String; 6]>,
    more_moves: usize,
    unproven: Vec<(String, Vec<&'v str>)>,
}

impl<'v> Page<'v> {
    fn of(view: &'v AuditView<'_>) -> Self {
        let audit = view.audit;
        let periods = audit.longest_at_risk(PERIODS).into_iter().map(|period| {
            let days = count(usize::try_from(period.days(audit.day)).unwrap_or(0), "day");
            let [id, title] = [view.id(period.index), view.title(period.index)].map(str::to_owned);
            [id, title, days, period.since.to_string(), AuditView::end_of(period)]
        });
        let mut moves: Vec<_> = audit.limit_moves.iter().collect();
        let more_moves = moves.len().saturating_sub(MOVES);
        if more_moves > 0 {
            // The sort is stable: the others stay in their order.
            moves.sort_by_key(|moved| !(moved.record == LimitRecord::Missing || moved.after_result));
            moves.truncate(MOVES);
        }
        let moves = moves.into_iter().map(|moved| {
            let day = moved.day.map(|day| day.to_string()).unwrap_or_default();
            let [limits, agreed] = [AuditView::limits_of_move(moved), view.agreed(moved)];
            let [id, title] = [view.id(moved.target), view.title(moved.target)].map(str::to_owned);
            [id, title, day, limits, agreed, view.reason_of_move(moved).to_owned()]
        });
        Self {
            goals: audit.goals.iter().map(|own| goal(view, own)).collect(),
            periods: periods.collect(),
            moves: moves.collect(),
            more_moves,
            unproven: unproven(view),
        }
    }
}

/// The place, the chance and the points of a goal, as text.
fn goal(view: &AuditView<'_>, goal: &GoalScore) -> Value {
    let points = |value: Option<f64>| value.map(|value| number::fixed(value, 1)).unwrap_or_default();
    let events: Vec<Value> = goal
        .events
        .iter()
        .map(|event| {
            let predicted = event.predicted.and(event.spread.as_ref()).map(points_of).unwrap_or_default();
            json!({"id": view.id(event.index), "title": view.title(event.index), "plan": points(event.plan),
                   "predicted": predicted, "scored": points(event.scored.map(|(points, _)| points)),
                   "vs_plan": change(event.plan, event.latest()), "cause": view.cause(event)})
        })
        .collect();
    let latest = goal.scored().or(goal.predicted);
    json!({
        "title": view.title(goal.index),
        "verdict": view.verdict(goal),
        "beside": view.beside(goal),
        "why": view.why_missed(goal),
        "about_rest": view.about_rest(goal),
        "plan": points(Some(goal.plan)),
        "predicted": goal.predicted.and(goal.spread.as_ref()).map(points_of).unwrap_or_default(),
        "scored": points(goal.scored()),
        "vs_plan": change(Some(goal.plan), latest),
        "raced": !goal.is_before_contest(),
        "reached": goal.reached(),
        "events": events,
    })
}

/// The unproven records, those of one kind that lack the same together: how many, what they lack, and their titles.
fn unproven<'v>(view: &'v AuditView<'_>) -> Vec<(String, Vec<&'v str>)> {
    let loaded = &view.study.loaded;
    let mut all: Vec<((schema::Kind, String), Vec<&str>)> = Vec::new();
    let mut known: HashMap<(schema::Kind, String), usize> = HashMap::new();
    for own in &view.audit.unproven {
        let of = (loaded.kind(own.index), view.lacks_in_short(own));
        let at = *known.entry(of.clone()).or_insert(all.len());
        match all.get_mut(at) {
            Some((_, titles)) => titles.push(view.title(own.index)),
            None => all.push((of, vec![view.title(own.index)])),
        }
    }
    // By kind; the worst are first in each.
    all.sort_by_key(|((kind, _), _)| *kind != schema::Kind::Part);
    all.sort_by_key(|((kind, _), _)| *kind == schema::Kind::Target);
    let text = |kind: schema::Kind, what: &str, number: usize| format!("{}, {what}", count(number, kind.singular()));
    all.into_iter().map(|((kind, what), ids)| (text(kind, &what, ids.len()), ids)).collect()
}

/// How many safety-critical records have no passed test.
fn counted(view: &AuditView<'_>) -> String {
    let (open, all) = (view.audit.unproven.len(), view.audit.safety_critical);
    if all == 0 {
        return "no record is marked as safety-critical".to_owned();
    }
    let all = count(all, "safety-critical record");
    format!("{open} of {all} without a passed test, demonstration or inspection")
}

/// The data of the template.
fn context(view: &AuditView<'_>) -> Value {
    let page = Page::of(view);
    let mut room = UNPROVEN;
    let unproven: Vec<Value> = page
        .unproven
        .into_iter()
        .map(|(what, mut titles)| {
            let more = titles.len().saturating_sub(room);
            titles.truncate(room);
            room -= titles.len();
            json!({"what": what, "titles": titles, "more": more})
        })
        .collect();
    json!({
        "season": view.study.settings().season,
        "day": view.audit.day.to_string(),
        "stage": view.study.stage.word(),
        "made_by": view.made_by(),
        "note": view.note,
        "no_goal": view.no_goal(),
        "goals": page.goals,
        "periods": page.periods,
        "number_of_periods": view.audit.at_risk_periods.len(),
        "has_history": view.season.is_some(),
        "moves": page.moves,
        "more_moves": page.more_moves,
        "unproven": unproven,
        "counted": counted(view),
        "targets": view.counts_of_all(),
        "off": off_text(view.study.past(), &view.off),
    })
}

/// The page for a browser and for print.
pub(crate) fn html(view: &AuditView<'_>) -> Result<String, Error> {
    /// What is typed or looked for, which no typesetting may change.
    const AS_TYPED: &[&str] = &["id", "title", "made_by", "day", "titles", "what"];
    let as_typed = context(view);
    let mut context = as_typed.clone();
    typeset_all(&mut context, AS_TYPED);
    for rows in ["periods", "moves"] {
        for (row, typed) in as_typed[rows].as_array().into_iter().flatten().enumerate() {
            // Id and title are first.
            for at in [0, 1] {
                context[rows][row][at] = typed[at].clone();
            }
        }
    }
    let shipped = include_str!("../../../../templates/audit-brief.html");
    template::render("audit-brief.html", shipped, None, Escape::Html, &context)
}

/// The page for a wiki or a forge.
pub(crate) fn markdown(view: &AuditView<'_>) -> Result<String, Error> {
    let shipped = include_str!("../../../../templates/audit-brief.md");
    template::render("audit-brief.md", shipped, None, Escape::Markdown, &context(view))
}

/// The JSON answer: version 1, stable.
pub(crate) fn json(view: &AuditView<'_>) -> Value {
    let audit = view.audit;
    let goals: Vec<Value> = audit
        .goals
        .iter()
        .map(|goal| {
            let mut own = document::goal(view, goal);
            own["verdict"] = json!(view.verdict(goal));
            own
        })
        .collect();
    let periods: Vec<Value> =
        audit.longest_at_risk(PERIODS).into_iter().map(|period| document::period(view, period)).collect();
    json!({
        "version": 1,
        "source": source(&view.study.loaded),
        "season": view.study.settings().season,
        "made": review::made(view),
        "day": audit.day.to_string(),
        "stage": view.study.stage.word(),
        "goals": goals,
        "longest_at_risk": periods,
        "at_risk_periods": audit.at_risk_periods.len(),
        "limit_moves": audit.limit_moves.iter().map(|own| review::limit_move(view, own)).collect::<Vec<_>>(),
        "safety_critical": audit.safety_critical,
        "unproven": audit.unproven.iter().map(|own| review::unproven(view, own)).collect::<Vec<_>>(),
        "off": off_json(&view.off),
    })
}

/// One row for a spreadsheet, of the first goal: a head, and the row.
pub(crate) fn csv(view: &AuditView<'_>) -> String {
    let (audit, made) = (view.audit, &view.made);
    let goal = audit.goals.first();
    let text = |text: Option<&str>| Cell::text(text.unwrap_or_default());
    let number = |number: Option<f64>| number.map_or(Cell::Empty, Cell::Number);
    let place = |place: Option<u32>| place.map_or(Cell::Empty, |place| Cell::Whole(place.into()));
    let whole = |number: usize| Cell::Whole(number as u64);
    let of_goal = |own: fn(&GoalScore) -> Option<f64>| number(goal.and_then(own));
    let longest = audit.longest_at_risk(1).first().copied();
    let unrecorded = audit.limit_moves.iter().filter(|moved| moved.record == LimitRecord::Missing).count();
    let verdicts = |words: &str| audit.targets.iter().filter(|own| own.verdict.outcome() == words).count();
    let off: Vec<&str> = view.off.iter().map(|(off, _)| off.check.name).collect();
    let unproven: Vec<&str> = audit.unproven.iter().map(|own| view.id(own.index)).collect();
    let cells: Vec<(&str, Cell)> = vec![
        ("team", text(made.team.as_deref())),
        ("car", text(made.car.as_deref())),
        ("season", view.study.settings().season.map_or(Cell::Empty, |year| Cell::Whole(year.into()))),
        ("day", Cell::Day(audit.day)),
        ("commit", text(made.commit.as_ref().map(|(commit, _)| commit.as_str()))),
        ("goal", text(goal.map(|goal| view.title(goal.index)))),
        ("place", place(goal.and_then(|goal| goal.place))),
        ("place_predicted", place(goal.and_then(|goal| goal.place_predicted))),
        ("place_reached", place(goal.and_then(|goal| goal.place_reached).map(|(place, _)| place))),
        ("reached", goal.and_then(GoalScore::reached).map_or(Cell::Empty, Cell::Flag)),
        ("chance", of_goal(|goal| goal.chance)),
        ("needed", of_goal(|goal| goal.needed.as_ref().ok().map(|needed| needed.points))),
        ("plan", of_goal(|goal| Some(goal.plan))),
        ("predicted", of_goal(|goal| goal.predicted)),
        ("predicted_low", of_goal(|goal| goal.predicted.and(goal.spread.as_ref()).map(|spread| spread.low))),
        ("predicted_high", of_goal(|goal| goal.predicted.and(goal.spread.as_ref()).map(|spread| spread.high))),
        ("scored", of_goal(GoalScore::scored)),
        ("targets", whole(audit.targets.len())),
        ("targets_met", whole(view.count(Verdict::Met))),
        ("targets_uncertain", whole(verdicts("uncertain"))),
        ("targets_missed", whole(verdicts("missed"))),
        ("at_risk_periods", whole(audit.at_risk_periods.len())),
        ("at_risk_unresolved", whole(audit.at_risk_periods.iter().filter(|period| period.end.is_none()).count())),
        ("longest_at_risk", text(longest.map(|period| view.id(period.index)))),
        ("longest_at_risk_days", number(longest.map(|period| f64::from(period.days(audit.day))))),
        ("limits_moved", whole(audit.limit_moves.len())),
        ("limits_without_revision", whole(unrecorded)),
        ("safety_critical", whole(audit.safety_critical)),
        ("unproven", whole(unproven.len())),
        ("unproven_ids", Cell::text(&unproven.join("; "))),
        ("checks_off", Cell::text(&off.join("; "))),
        ("targets_met_after_change", whole(view.count(Verdict::MetAfterChange))),
        ("targets_never_verified", whole(view.count(Verdict::NeverVerified))),
        ("targets_not_due", whole(view.count(Verdict::NotDue))),
    ];
    let mut cells: Vec<(String, Cell)> = cells.into_iter().map(|(head, cell)| (head.to_owned(), cell)).collect();
    let periods = audit.longest_at_risk(PERIODS);
    for at in 0..PERIODS {
        let own = periods.get(at);
        cells.push((format!("at_risk_{}", at + 1), text(own.map(|period| view.id(period.index)))));
        let days = own.map(|period| f64::from(period.days(audit.day)));
        cells.push((format!("at_risk_{}_days", at + 1), number(days)));
    }
    for event in goal.into_iter().flat_map(|goal| &goal.events) {
        let id = view.id(event.index);
        let scored = event.scored.map(|(points, _)| points);
        for (what, points) in [("plan", event.plan), ("predicted", event.predicted), ("scored", scored)] {
            cells.push((format!("{id}_{what}"), number(points)));
        }
    }
    let (heads, row) = cells.into_iter().unzip();
    csv::text(&Grid { heads, rows: vec![row] })
}

/// The text for the terminal.
pub(crate) fn terminal(view: &AuditView<'_>, ink: Ink) -> String {
    let page = Page::of(view);
    let mut out = String::new();
    ink.block(&mut out, "", 0, &view.made_by());
    if let Some(note) = &view.note {
        ink.block(&mut out, "", 0, note);
    }
    out.push('\n');
    if let Some(text) = view.no_goal() {
        ink.block(&mut out, "", 0, text);
        out.push('\n');
    }
    for own in &view.audit.goals {
        let _ = writeln!(out, "{}", ink.strong(&clean(view.title(own.index))));
        ink.block(&mut out, "", 0, &view.verdict(own));
        if let Some(text) = view.beside(own) {
            ink.block(&mut out, "", 0, &text);
        }
        if let Some(text) = view.why_missed(own) {
            ink.block(&mut out, "why:", 4, &text);
        }
        out.push('\n');
    }
    for own in page.goals.iter().filter(|own| own["events"].as_array().is_some_and(|all| !all.is_empty())) {
        let text = |value: &Value| plain(value.as_str().unwrap_or_default());
        let heads = [
            ("event", false),
            ("plan", true),
            ("predicted", true),
            ("scored", true),
            ("vs plan", true),
            ("cause", false),
        ];
        let mut table = Table::new(&heads);
        for event in own["events"].as_array().into_iter().flatten() {
            let cells = ["plan", "predicted", "scored", "vs_plan", "cause"].map(|key| text(&event[key]));
            table.row(std::iter::once(strong(event["id"].as_str().unwrap_or_default())).chain(cells).collect());
        }
        let cells = ["plan", "predicted", "scored", "vs_plan"].map(|key| text(&own[key]));
        table.row(std::iter::once(plain("total")).chain(cells).chain([plain("")]).collect());
        out.push_str(&table.text(ink));
        if let Some(text) = own["about_rest"].as_str() {
            ink.block(&mut out, "", 0, text);
        }
        out.push('\n');
    }
    ink.block(&mut out, "", 0, &view.counts_of_all());
    out.push('\n');
    if !page.periods.is_empty() {
        let of = view.audit.at_risk_periods.len();
        let head = format!("longest at risk ({} of {of})", page.periods.len());
        let mut table = Table::new(&[(&head, false), ("length", true), ("from", false), ("end", false)]);
        for (period, own) in page.periods.iter().zip(view.audit.longest_at_risk(PERIODS)) {
            let [_, _, days, since, end] = period.clone();
            let is_fine = own.end.is_some_and(|(_, end)| PeriodEnd::is_resolved(end));
            let paint = if is_fine { Paint::Plain } else { Paint::Level(Level::Warning) };
            table.row(vec![strong(view.title_and_id(own.index)), plain(days), plain(since), (end, paint)]);
        }
        out.push_str(&table.text(ink));
        out.push('\n');
    }
    super::terminal::limit_moves(&mut out, view, ink);
    ink.block(&mut out, "", 0, &counted(view));
    for (what, titles) in &page.unproven {
        ink.block(&mut out, "", 0, &format!("{what}: {}", titles.join("; ")));
    }
    out.push('\n');
    match off_text(view.study.past(), &view.off) {
        Some(text) => ink.block(&mut out, "", 0, &text),
        None => ink.block(&mut out, "", 0, "no check is switched off"),
    }
    out
}
