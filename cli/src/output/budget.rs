//! The output of `budget`: the shares with a bar each, those over their limit first, and the limit changes that would
//! close the gap.

use std::fmt::Write as _;

use schema::Day;
use schema::number;
use schema::quantity::Unit;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::RecordId;
use trace::values::{Budget, NewLimit, Share, Transfer, Values};

use super::broken::Broken;
use super::table::{Paint, Table, faint, plain, strong};
use super::values::{number as json_number, upper_limit_json};
use crate::screen::{Ink, clean, count};

/// Printed wherever mass could be reduced.
const CAUTION: &str = "a limit does not show what loads a part must carry: check load cases and calculation methods first; \
     contest rules and local regulations take precedence; a qualified person decides; no new limit is below the value \
     of its share, so no part has to become lighter";

/// What `budget` shows.
pub(crate) struct ShownBudgets<'r> {
    pub(crate) values: &'r Values,
    pub(crate) budgets: &'r [Budget],
    pub(crate) wanted: &'r dyn Fn(&Budget) -> bool,
    pub(crate) day: Day,
}

impl ShownBudgets<'_> {
    fn id(&self, index: RecordId) -> &str {
        self.values.graph.loaded.record(index).id.as_str()
    }

    fn wanted(&self) -> impl Iterator<Item = &Budget> {
        self.budgets.iter().filter(|budget| (self.wanted)(budget))
    }

    /// Whether the budget that another one is a share of is shown, too.
    fn shows(&self, outer: Option<RecordId>) -> bool {
        outer.and_then(|outer| find(self.budgets, outer)).is_some_and(self.wanted)
    }

    /// What is broken under the budgets that are shown.
    pub(crate) fn broken(&self) -> Broken<'_> {
        let budgets: Vec<&Budget> = self.wanted().collect();
        Broken::under_budgets(self.values, &budgets).without_missing()
    }

    /// The limit changes for a budget that is not a share of another one: they cover all budgets in it.
    fn transfer(&self, budget: &Budget) -> Option<Transfer> {
        let outermost = budget.share_of.is_none_or(|outer| find(self.budgets, outer).is_none());
        (outermost && !budget.shares.is_empty()).then(|| self.values.transfer(self.budgets, budget))
    }
}

/// A budget among all of them.
pub(crate) fn find(budgets: &[Budget], index: RecordId) -> Option<&Budget> {
    // They are in the order of the records.
    budgets.binary_search_by_key(&index, |budget| budget.index).ok().and_then(|at| budgets.get(at))
}

/// Ten cells, filled by the used part of the limit; the line marks the limit, and the excess comes after it.
fn bar(share: f64) -> String {
    const CELLS: usize = 10;
    const EIGHTHS: [&str; 8] = ["", "▏", "▎", "▍", "▌", "▋", "▊", "▉"];
    let eighths = |part: f64| (part.clamp(0.0, 1.0) * 8.0 * CELLS as f64).round() as usize;
    // Slightly below the limit is not full, and slightly above it is over.
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

/// The paint of a share or a budget.
fn paint(over: bool) -> Paint {
    if over { Paint::Level(Level::Warning) } else { Paint::Plain }
}

/// The numbers of one budget: in its unit, all with the decimals that show a hundred-thousandth of its limit.
pub(crate) struct Scale<'u> {
    unit: &'u Unit,
    places: usize,
    far: bool,
}

impl<'u> Scale<'u> {
    /// The scale of a budget with this limit, in SI.
    pub(crate) fn new(unit: &'u Unit, limit: f64) -> Self {
        let size = unit.from_si(limit).abs();
        let places = if size > 0.0 { (5 - size.log10().ceil() as i32).clamp(0, 7) as usize } else { 2 };
        Self { unit, places, far: size != 0.0 && !(1e-4..1e12).contains(&size) }
    }

    /// A number without its unit.
    pub(crate) fn number(&self, si: f64) -> String {
        // Very large and very small numbers would fill the screen or be all zeros.
        if self.far && si != 0.0 {
            return format!("{:.3e}", self.unit.from_si(si));
        }
        number::fixed(self.unit.from_si(si), self.places)
    }

    fn spread(&self, uncertainty: f64) -> String {
        if uncertainty > 0.0 {
            format!("± {:.*}", self.places, uncertainty / self.unit.factor())
        } else {
            String::new()
        }
    }

    /// A number in a sentence: with its unit, without zeros at the end.
    pub(crate) fn text(&self, si: f64) -> String {
        let text = self.number(si);
        let exponent = text.contains('e');
        self.unit.after(if exponent { &text } else { number::without_zeros(&text) })
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
        // Beyond the limit by rounding is not over it.
        let used = used.map(|used| if self.over { used } else { used.min(1.0) });
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
    let numbers = [(value.as_str(), true), ("", true), ("growth included", true), ("limit", true), ("room", true)];
    let mut heads = vec![(head, false)];
    heads.extend(numbers);
    heads.extend([("", false), ("", false)]);
    Table::new(&heads).drawn(&[6]).spare(&[6])
}

/// The text for the terminal.
pub(crate) fn terminal(report: &ShownBudgets<'_>, ink: Ink) -> String {
    let mut out = String::new();
    let mut lone = Vec::new();
    for budget in report.wanted() {
        if !budget.shares.is_empty() || !budget.misfits.is_empty() {
            with_shares(&mut out, report, budget, ink);
        } else if !report.shows(budget.share_of) {
            lone.push(budget);
        }
    }
    for budget in lone {
        let scale = Scale::new(report.values.unit(budget.node), budget.limit);
        let mut table = table("budgets without shares", scale.unit);
        table.row(Line::whole(report.id(budget.index), budget).cells(&scale));
        empty_line(&mut out);
        out.push_str(&table.text(ink));
        not_in_parts(&mut out, report, &scale, [(budget.index, budget.value, budget.not_in_parts)].into_iter(), ink);
    }
    if out.is_empty() {
        out.push_str("no budget yet: add `total` to a target, and `share-of` to the targets that are its shares\n");
    }
    out
}

fn empty_line(out: &mut String) {
    if !out.is_empty() {
        out.push('\n');
    }
}

fn with_shares(out: &mut String, report: &ShownBudgets<'_>, budget: &Budget, ink: Ink) {
    let values = report.values;
    let scale = Scale::new(values.unit(budget.node), budget.limit);
    empty_line(out);
    let title = values.graph.loaded.record(budget.index).body.common().title().unwrap_or_default();
    let _ = writeln!(out, "{}\n", format!("{}  {}", ink.strong(report.id(budget.index)), clean(title)).trim_end());
    let mut table = table("share", scale.unit);
    for share in &budget.shares {
        table.row(Line::share(report.id(share.index), share).cells(&scale));
    }
    table.row(Line::whole("total", budget).cells(&scale));
    out.push_str(&table.text(ink));
    out.push('\n');
    let measured = budget.shares.iter().map(|share| (share.index, share.value, share.not_in_parts));
    not_in_parts(out, report, &scale, measured.chain([(budget.index, budget.value, budget.not_in_parts)]), ink);
    for text in split_of_limit(budget, &scale).into_iter().chain(about_room(budget, &scale)) {
        ink.block(out, "", 0, &text);
    }
    if budget.outside > 0.0 {
        let ids: Vec<&str> = budget.without_share.iter().map(|(index, _)| report.id(*index)).collect();
        let who = if ids.is_empty() { "parts that are in no system".to_owned() } else { ids.join(", ") };
        ink.block(out, "", 0, &format!("{} is not in any share: {who}", scale.text(budget.outside)));
    }
    if !budget.misfits.is_empty() {
        let ids: Vec<&str> = budget.misfits.iter().map(|index| report.id(*index)).collect();
        let why = "not counted (the unit does not match, or there is no upper limit)";
        ink.block(out, "", 0, &format!("{why}: {}", ids.join(", ")));
    }
    if !budget.reserve_fits {
        ink.block(out, "", 0, "the reserve is not counted: its unit does not match");
    }
    match (report.transfer(budget), budget.share_of) {
        (Some(transfer), _) => closing(out, report, &scale, &transfer, ink),
        (None, Some(outer)) if !report.shows(Some(outer)) && budget.has_gap() => {
            let text = format!(
                "limit changes that would close the gap: see {}, of which this budget is a share",
                report.id(outer)
            );
            ink.block(out, "", 0, &text);
        }
        _ => {}
    }
}

/// What the limit of a budget is divided into: the limits of its shares, the reserve, and the rest; `None` for one without
/// shares and reserve.
pub(crate) fn split_of_limit(budget: &Budget, scale: &Scale<'_>) -> Option<String> {
    let mut parts = Vec::new();
    if !budget.shares.is_empty() {
        let of = if budget.shares.len() == 1 { "the limit" } else { "the limits" };
        parts.push(format!("{} for {of} of {}", scale.text(budget.allocated), count(budget.shares.len(), "share")));
    }
    if budget.reserve != 0.0 {
        parts.push(format!("{} reserve", scale.text(budget.reserve)));
    }
    if parts.is_empty() {
        return None;
    }
    parts.push(match budget.over_allocated() {
        Some(by) => format!("over-allocated by {}", scale.text(by)),
        None => format!("{} unallocated", scale.text(budget.unallocated().max(0.0))),
    });
    Some(format!("limit {}: {}", scale.text(budget.limit), parts.join(", ")))
}

/// How much room a budget has, which is what its value now leaves of the limit, and how much of that is reserve; `None` for
/// one without a reserve or a value, or over its limit.
pub(crate) fn about_room(budget: &Budget, scale: &Scale<'_>) -> Option<String> {
    let value = budget.value.filter(|value| budget.reserve > 0.0 && *value <= budget.limit)?;
    let (room, before) = (scale.text(budget.limit - value), budget.available() - value);
    Some(if before < 0.0 {
        format!("room {room}: limit minus value; {} of the reserve is used", scale.text(-before))
    } else {
        format!("room {room}: limit minus value; {} of it before the reserve is used", scale.text(before))
    })
}

/// What measured totals have more, or less, than their parts.
fn not_in_parts(
    out: &mut String,
    report: &ShownBudgets<'_>,
    scale: &Scale<'_>,
    measured: impl Iterator<Item = (RecordId, Option<f64>, Option<f64>)>,
    ink: Ink,
) {
    for (index, value, more) in measured {
        if let (Some(value), Some(more)) = (value, more.filter(|more| *more != 0.0)) {
            let (id, sign) = (report.id(index), if more > 0.0 { "+" } else { "" });
            let (value, parts) = (scale.text(value), scale.text(value - more));
            let text = format!(
                "{id}: {value} measured, its parts total {parts}; not in the parts: {sign}{}",
                scale.text(more)
            );
            ink.block(out, "", 0, &text);
        }
    }
}

fn closing(out: &mut String, report: &ShownBudgets<'_>, scale: &Scale<'_>, transfer: &Transfer, ink: Ink) {
    match transfer {
        Transfer::None => return,
        Transfer::Unsolved => {
            ink.block(out, "", 0, "no limit changes were found that close the gap");
            return;
        }
        Transfer::Shortfall { by, growth } => {
            let mut text =
                format!("no limit changes close the gap: the shares need {} more than is available", scale.text(*by));
            if let Some((index, growth)) = growth {
                let id = report.id(*index);
                let _ = write!(text, "; {id} has the largest remaining growth allowance, {}", scale.text(*growth));
            }
            out.push('\n');
            ink.block(out, "", 0, &text);
        }
        Transfer::NewLimits(moves) => limit_changes(out, report, scale, moves, ink),
    }
    if is_mass(scale.unit) {
        out.push('\n');
        ink.block(out, "caution", 7, CAUTION);
    }
}

fn limit_changes(out: &mut String, report: &ShownBudgets<'_>, scale: &Scale<'_>, moves: &[NewLimit], ink: Ink) {
    out.push('\n');
    ink.block(out, "", 0, "the smallest limit changes that close the gap");
    let mut table =
        Table::new(&[("", false), ("limit", true), ("", false), ("new limit", true), ("change", true), ("", false)]);
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
    ink.block(out, "", 0, "after you agree on them, change these limits and add");
    out.push_str("revisions:\n");
    for step in moves {
        let (id, record) = step.revision(report.values, report.day);
        let _ = writeln!(out, "  {id}: {}", clean(&record));
    }
}

fn is_mass(unit: &Unit) -> bool {
    Unit::parse("kg").is_ok_and(|kg| kg.dimension() == unit.dimension())
}

/// The JSON answer: numbers are in the unit of the budget.
pub(crate) fn json(report: &ShownBudgets<'_>, broken: &Broken<'_>) -> Value {
    let all: Vec<Value> = report.wanted().map(|budget| budget_json(report, budget)).collect();
    json!({"version": 1, "broken": broken.json(), "budgets": all})
}

fn budget_json(report: &ShownBudgets<'_>, budget: &Budget) -> Value {
    let unit = report.values.unit(budget.node);
    let shown = |si: f64| json_number(Some(unit.from_si(si)));
    let optional = |si: Option<f64>| si.map_or(Value::Null, shown);
    let uncertainty = |value: Option<f64>, u: f64| value.map_or(Value::Null, |_| json_number(Some(u / unit.factor())));
    let ids = |all: &[RecordId]| all.iter().map(|index| report.id(*index).to_owned()).collect::<Vec<_>>();
    let about = |index: RecordId| report.values.graph.loaded.record(index).about().map(ToString::to_string);
    let share = |share: &Share| {
        json!({
            "id": report.id(share.index),
            "of": about(share.index),
            "limit": upper_limit_json(share.limit, unit),
            "value": optional(share.value),
            "uncertainty": uncertainty(share.value, share.uncertainty),
            "growth": optional(share.growth),
            "not_in_parts": optional(share.not_in_parts),
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
        Transfer::NewLimits(moves) => json!({
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
        "uncertainty": uncertainty(budget.value, budget.uncertainty),
        "growth": optional(budget.growth),
        "not_in_parts": optional(budget.not_in_parts),
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

fn change(report: &ShownBudgets<'_>, step: &NewLimit, unit: &Unit) -> Value {
    let (id, record) = step.revision(report.values, report.day);
    json!({
        "id": report.id(step.index),
        "from": upper_limit_json(step.from_si, unit),
        "to": upper_limit_json(step.to_si, unit),
        "change": json_number(Some(unit.from_si(step.to_si - step.from_si))),
        "safety_critical": step.safety_critical,
        "revision": format!("revisions: {{{id}: {record}}}"),
    })
}
