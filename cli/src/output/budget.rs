//! The report of `budget`: shares with a bar each, those over first, then what would close the gap.

use std::fmt::Write as _;

use schema::Day;
use schema::quantity::Unit;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::RecordId;
use trace::values::{Budget, Move, Share, Transfer, Values};

use super::table::{Paint, Table, faint, plain, strong};
use super::values::{number, upper_limit_json};
use crate::screen::{Ink, clean, count};

/// Said wherever mass may be taken away.
const CAUTION: &str = "a limit says nothing of what a part must bear: loads and methods come first, the contest's rules \
     and local codes stand above it, and a qualified person decides; no limit goes below the value of its share, \
     and no part is asked to lose anything";

/// What `budget` tells.
pub(crate) struct Report<'r> {
    pub(crate) values: &'r Values,
    pub(crate) budgets: &'r [Budget],
    pub(crate) wanted: &'r dyn Fn(&Budget) -> bool,
    pub(crate) day: Day,
}

impl Report<'_> {
    fn id(&self, index: RecordId) -> &str {
        self.values.graph.loaded.record(index).id.as_str()
    }

    fn wanted(&self) -> impl Iterator<Item = &Budget> {
        self.budgets.iter().filter(|budget| (self.wanted)(budget))
    }

    /// Is the budget that another is a share of shown too?
    fn shows(&self, outer: Option<RecordId>) -> bool {
        outer.is_some_and(|outer| self.wanted().any(|budget| budget.index == outer))
    }

    /// What is told of a budget that is no share of another holds for all budgets in it.
    fn transfer(&self, budget: &Budget) -> Option<Transfer> {
        let outermost = budget.share_of.is_none_or(|outer| !self.budgets.iter().any(|other| other.index == outer));
        (outermost && !budget.shares.is_empty()).then(|| self.values.transfer(self.budgets, budget))
    }
}

/// Ten cells filled to the part of the limit that is used; the bar is the limit, and what is over stands behind it.
fn bar(share: f64) -> String {
    const CELLS: usize = 10;
    const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    let eighths = |part: f64| (part.clamp(0.0, 1.0) * 8.0 * CELLS as f64).round() as usize;
    // A hair short of the limit is not full, and a hair over it is over.
    let filled = if share < 1.0 { eighths(share).min(8 * CELLS - 1) } else { 8 * CELLS };
    let mut text = "█".repeat(filled / 8);
    text.push_str(EIGHTHS[filled % 8]);
    let used = filled / 8 + usize::from(filled % 8 > 0);
    text.push_str(&" ".repeat(CELLS - used));
    text.push('│');
    if share > 1.0 + 1e-9 {
        let beyond = eighths((share - 1.0).min(0.3)).max(1);
        text.push_str(&"█".repeat(beyond / 8));
        text.push_str(EIGHTHS[beyond % 8]);
    }
    text
}

/// How a share or a budget stands, painted.
fn paint(over: bool) -> Paint {
    if over { Paint::Level(Level::Warning) } else { Paint::Plain }
}

/// Numbers of one budget: in its unit, with as many decimals each as tell a hundred-thousandth of it apart.
struct Scale<'u> {
    unit: &'u Unit,
    places: usize,
    far: bool,
}

impl<'u> Scale<'u> {
    fn new(unit: &'u Unit, limit: f64) -> Self {
        let size = unit.from_si(limit).abs();
        let places = if size > 0.0 { (5 - size.log10().ceil() as i32).clamp(0, 7) as usize } else { 2 };
        Self { unit, places, far: size != 0.0 && !(1e-4..1e12).contains(&size) }
    }

    fn number(&self, si: f64) -> String {
        // Far outside of what a table is for, digits would fill the screen or be all noughts.
        if self.far && si != 0.0 {
            return format!("{:.3e}", self.unit.from_si(si));
        }
        let text = format!("{:.*}", self.places, self.unit.from_si(si));
        // Minus nothing is nothing.
        if text.trim_start_matches('-').bytes().all(|b| matches!(b, b'0' | b'.')) {
            return text.trim_start_matches('-').to_owned();
        }
        text
    }

    fn spread(&self, uncertainty: f64) -> String {
        if uncertainty > 0.0 {
            format!("± {:.*}", self.places, uncertainty / self.unit.factor())
        } else {
            String::new()
        }
    }

    /// A number in a sentence: with its unit, without zeros behind.
    fn text(&self, si: f64) -> String {
        let text = self.number(si);
        let text = if text.contains('.') && !text.contains('e') {
            text.trim_end_matches('0').trim_end_matches('.')
        } else {
            &text
        };
        let name = self.unit.to_string();
        format!("{text}{}{name}", if name.is_empty() { "" } else { " " })
    }
}

/// A row of a table of budgets.
struct Line<'l> {
    id: &'l str,
    value: Option<f64>,
    uncertainty: f64,
    growth: Option<f64>,
    limit: f64,
    over: bool,
}

impl<'l> Line<'l> {
    fn share(id: &'l str, share: &Share) -> Self {
        let Share { value, uncertainty, growth, limit, .. } = *share;
        Self { id, value, uncertainty, growth, limit, over: share.over().is_some() }
    }

    fn whole(id: &'l str, budget: &Budget) -> Self {
        let Budget { value, uncertainty, growth, limit, .. } = *budget;
        Self { id, value, uncertainty, growth, limit, over: budget.over().is_some() }
    }

    fn cells(&self, scale: &Scale<'_>) -> Vec<(String, Paint)> {
        let shown = |si: Option<f64>| si.map(|si| scale.number(si)).unwrap_or_default();
        let used = self.value.map(|value| value / self.limit).filter(|used| used.is_finite());
        vec![
            strong(self.id),
            plain(if self.value.is_some() { shown(self.value) } else { "none".to_owned() }),
            faint(scale.spread(self.uncertainty)),
            faint(shown(self.growth)),
            plain(scale.number(self.limit)),
            (shown(self.value.map(|value| self.limit - value)), paint(self.over)),
            (used.map(bar).unwrap_or_default(), paint(self.over)),
            (if self.over { "over" } else { "" }.to_owned(), paint(self.over)),
        ]
    }
}

fn table(head: &str, unit: &Unit) -> Table {
    let name = unit.to_string();
    let value = if name.is_empty() { "value".to_owned() } else { format!("value, {name}") };
    let numbers = [(value.as_str(), true), ("", true), ("growth in it", true), ("limit", true), ("room", true)];
    let mut heads = vec![(head, false)];
    heads.extend(numbers);
    heads.extend([("", false), ("", false)]);
    Table::new(&heads)
}

/// For people.
pub(crate) fn terminal(report: &Report<'_>, ink: Ink) -> String {
    let mut out = String::new();
    let mut lone = Vec::new();
    for budget in report.wanted() {
        if !budget.shares.is_empty() || !budget.misfits.is_empty() {
            one(&mut out, report, budget, ink);
        } else if !report.shows(budget.share_of) {
            lone.push(budget);
        }
    }
    for budget in lone {
        let scale = Scale::new(report.values.unit(budget.node), budget.limit);
        let mut table = table("not shared out", scale.unit);
        table.row(Line::whole(report.id(budget.index), budget).cells(&scale));
        gap(&mut out);
        out.push_str(&table.text(ink));
    }
    if out.is_empty() {
        out.push_str("no budget yet: give a target a `total`, and others a `share-of` it\n");
    }
    out
}

fn gap(out: &mut String) {
    if !out.is_empty() {
        out.push('\n');
    }
}

fn one(out: &mut String, report: &Report<'_>, budget: &Budget, ink: Ink) {
    let values = report.values;
    let scale = Scale::new(values.unit(budget.node), budget.limit);
    gap(out);
    let title = values.graph.loaded.record(budget.index).body.common().title().unwrap_or_default();
    let _ = writeln!(out, "{}\n", format!("{}  {}", ink.strong(report.id(budget.index)), clean(title)).trim_end());
    let mut table = table("share", scale.unit);
    for share in &budget.shares {
        table.row(Line::share(report.id(share.index), share).cells(&scale));
    }
    table.row(Line::whole("the whole", budget).cells(&scale));
    out.push_str(&table.text(ink));
    out.push('\n');
    let less = match budget.reserve {
        0.0 => String::new(),
        reserve => format!(" ({} less {} in reserve)", scale.text(budget.limit), scale.text(reserve)),
    };
    let unallocated = budget.unallocated();
    let rest = match budget.over_allocated() {
        Some(by) => format!("{} more than there is", scale.text(by)),
        None => format!("{} left to give", scale.text(unallocated.max(0.0))),
    };
    let to_give = format!(
        "{} to give{less}, {} given to {}, {rest}",
        scale.text(budget.available()),
        scale.text(budget.allocated),
        count(budget.shares.len(), "share"),
    );
    ink.block(out, "", 0, &to_give);
    if let Some(value) = budget.value.filter(|value| *value <= budget.limit && *value > budget.available()) {
        ink.block(out, "", 0, &format!("{} of the reserve is used", scale.text(value - budget.available())));
    }
    if budget.outside > 0.0 {
        let ids: Vec<&str> = budget.without_share.iter().map(|(index, _)| report.id(*index)).collect();
        let who = if ids.is_empty() { "parts of its own, in no system".to_owned() } else { ids.join(", ") };
        ink.block(out, "", 0, &format!("{} lies outside of any share: {who}", scale.text(budget.outside)));
    }
    if !budget.misfits.is_empty() {
        let ids: Vec<&str> = budget.misfits.iter().map(|index| report.id(*index)).collect();
        let why = "not counted, since the unit is another or there is no upper limit";
        ink.block(out, "", 0, &format!("{why}: {}", ids.join(", ")));
    }
    if !budget.reserve_fits {
        ink.block(out, "", 0, "the reserve is not counted, since its unit is another");
    }
    match (report.transfer(budget), budget.share_of) {
        (Some(transfer), _) => closing(out, report, &scale, &transfer, ink),
        (None, Some(outer)) if !report.shows(Some(outer)) && has_gap(budget) => {
            let text = format!("what would close the gap is told with {}, which it is a share of", report.id(outer));
            ink.block(out, "", 0, &text);
        }
        _ => {}
    }
}

fn has_gap(budget: &Budget) -> bool {
    budget.over_allocated().is_some() || budget.shares.iter().any(|share| share.over().is_some())
}

fn closing(out: &mut String, report: &Report<'_>, scale: &Scale<'_>, transfer: &Transfer, ink: Ink) {
    match transfer {
        Transfer::None => return,
        Transfer::Unsolved => {
            ink.block(out, "", 0, "no transfer was found that closes the gap");
            return;
        }
        Transfer::Shortfall { by, growth } => {
            let mut text =
                format!("no transfer closes the gap: the shares need {} more than there is to give", scale.text(*by));
            if let Some((index, growth)) = growth {
                let id = report.id(*index);
                let _ = write!(text, "; {id} has the largest growth allowance left, {}", scale.text(*growth));
            }
            out.push('\n');
            ink.block(out, "", 0, &text);
        }
        Transfer::Moves(moves) => moved(out, report, scale, moves, ink),
    }
    if is_mass(scale.unit) {
        out.push('\n');
        ink.block(out, "care", 4, CAUTION);
    }
}

fn moved(out: &mut String, report: &Report<'_>, scale: &Scale<'_>, moves: &[Move], ink: Ink) {
    out.push('\n');
    ink.block(out, "", 0, "the least change of limits that would close the gap");
    let mut table =
        Table::new(&[("", false), ("limit", true), ("", false), ("then", true), ("change", true), ("", false)]);
    for step in moves {
        let by = step.to_si - step.from_si;
        let sign = if by > 0.0 { "+" } else { "" };
        let safety = if step.safety_critical { "safety-critical" } else { "" };
        table.row(vec![
            strong(report.id(step.index)),
            plain(&step.from),
            faint("→"),
            plain(&step.to),
            plain(format!("{sign}{}", scale.number(by))),
            faint(safety),
        ]);
    }
    out.push_str(&table.text(ink));
    out.push('\n');
    ink.block(out, "", 0, "when it is agreed, change these limits and record");
    out.push_str("revisions:\n");
    for step in moves {
        let (id, record) = step.revision(report.values, report.day);
        let _ = writeln!(out, "  {id}: {}", clean(&record));
    }
}

fn is_mass(unit: &Unit) -> bool {
    Unit::parse("kg").is_ok_and(|kg| kg.dimension() == unit.dimension())
}

/// For programs: numbers are in the unit of the budget.
pub(crate) fn json(report: &Report<'_>) -> Value {
    let all: Vec<Value> = report.wanted().map(|budget| one_as_json(report, budget)).collect();
    json!({"version": 1, "budgets": all})
}

fn one_as_json(report: &Report<'_>, budget: &Budget) -> Value {
    let unit = report.values.unit(budget.node);
    let shown = |si: f64| number(Some(unit.from_si(si)));
    let optional = |si: Option<f64>| si.map_or(Value::Null, shown);
    let spread = |value: Option<f64>, u: f64| value.map_or(Value::Null, |_| number(Some(u / unit.factor())));
    let ids = |all: &[RecordId]| all.iter().map(|index| report.id(*index).to_owned()).collect::<Vec<_>>();
    let about = |index: RecordId| report.values.graph.loaded.record(index).about().map(ToString::to_string);
    let share = |share: &Share| {
        json!({
            "id": report.id(share.index),
            "of": about(share.index),
            "limit": upper_limit_json(share.limit, unit),
            "value": optional(share.value),
            "uncertainty": spread(share.value, share.uncertainty),
            "growth": optional(share.growth),
            "room": optional(share.room()),
            "over": optional(share.over()),
            "safety_critical": share.safety_critical,
        })
    };
    let transfer = report.transfer(budget).map(|transfer| match transfer {
        Transfer::None => json!({"closes": true, "changes": []}),
        Transfer::Unsolved => json!({"closes": null, "changes": []}),
        Transfer::Shortfall { by, growth } => json!({
            "closes": false,
            "changes": [],
            "shortfall": shown(by),
            "largest_growth": growth.map(|(index, growth)| json!({"id": report.id(index), "growth": shown(growth)})),
        }),
        Transfer::Moves(moves) => json!({
            "closes": true,
            "changes": moves.iter().map(|step| change(report, step, unit)).collect::<Vec<_>>(),
        }),
    });
    let without = |(index, si): &(RecordId, f64)| json!({"id": report.id(*index), "value": shown(*si)});
    let without_share: Vec<Value> = budget.without_share.iter().map(without).collect();
    json!({
        "id": report.id(budget.index),
        "of": about(budget.index),
        "amount": budget.amount,
        "unit": unit.to_string(),
        "limit": upper_limit_json(budget.limit, unit),
        "reserve": optional(budget.reserve_fits.then_some(budget.reserve)),
        "value": optional(budget.value),
        "uncertainty": spread(budget.value, budget.uncertainty),
        "growth": optional(budget.growth),
        "room": optional(budget.value.map(|value| budget.limit - value)),
        "over": optional(budget.over()),
        "share_of": budget.share_of.map(|index| report.id(index)),
        "shares": budget.shares.iter().map(share).collect::<Vec<_>>(),
        "allocated": shown(budget.allocated),
        "unallocated": shown(budget.unallocated()),
        "outside": shown(budget.outside),
        "without_share": without_share,
        "not_counted": ids(&budget.misfits),
        "transfer": transfer,
        "caution": is_mass(unit).then_some(CAUTION),
    })
}

fn change(report: &Report<'_>, step: &Move, unit: &Unit) -> Value {
    let (id, record) = step.revision(report.values, report.day);
    json!({
        "id": report.id(step.index),
        "from": upper_limit_json(step.from_si, unit),
        "to": upper_limit_json(step.to_si, unit),
        "change": number(Some(unit.from_si(step.to_si - step.from_si))),
        "safety_critical": step.safety_critical,
        "revision": format!("revisions: {{{id}: {record}}}"),
    })
}
