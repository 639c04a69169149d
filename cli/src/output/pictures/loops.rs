//! The loops of a season as a timeline: when a target was at risk, what was done, and how it ended.

use schema::Day;

use super::rows::{RowText, Rows};
use super::scale::Days;
use super::svg::{Canvas, Fill, Key, Pattern, Shape};
use super::{Name, Picture, PictureTable, not_drawn};

/// The largest number of periods that are drawn: the picture is on one sheet of paper.
const MOST: usize = 24;

/// The loops of a season.
#[derive(Clone, Debug, Default)]
pub(crate) struct Loops {
    /// One for each period at risk.
    pub(crate) loops: Vec<Loop>,
    /// The first and the last day of the season; `None` without a history.
    pub(crate) season: Option<(Day, Day)>,
}

/// A time at which a target was at risk.
#[derive(Clone, Debug)]
pub(crate) struct Loop {
    /// The target.
    pub(crate) name: Name,
    /// The first day at risk.
    pub(crate) since: Day,
    /// The day on which it ended; `None` if it goes on.
    pub(crate) until: Option<Day>,
    /// How it ended: `met`, `revised`, `unresolved`.
    pub(crate) end: String,
    /// Whether the end resolved it.
    pub(crate) is_resolved: bool,
    /// What was done, by day.
    pub(crate) steps: Vec<LoopStep>,
    /// How many later steps are not in the list.
    pub(crate) more: usize,
}

/// What was done about a target.
#[derive(Clone, Debug)]
pub(crate) struct LoopStep {
    /// The day.
    pub(crate) day: Day,
    /// Its kind.
    pub(crate) kind: StepKind,
    /// The record.
    pub(crate) name: Name,
}

/// The kind of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum StepKind {
    /// An analysis that finds the value, or a value that changed.
    Analysis,
    /// A decision.
    Decision,
    /// A revision of the limit.
    Revision,
    /// A result.
    Result,
}

impl StepKind {
    fn word(self) -> &'static str {
        match self {
            Self::Analysis => "analysis",
            Self::Decision => "decision",
            Self::Revision => "revision",
            Self::Result => "result",
        }
    }

    fn key(self) -> Key {
        match self {
            Self::Analysis => Key::Ring("estimate"),
            Self::Decision => Key::Square("total"),
            Self::Revision => Key::Diamond("revised"),
            Self::Result => Key::Diamond("result"),
        }
    }
}

impl Loop {
    /// Its length in days until a day.
    fn days(&self, last: Day) -> i32 {
        self.since.days_until(self.until.unwrap_or(last)).max(0)
    }
}

/// How many periods ended in each way that is not a resolution: `; the other 2 periods: 1 missed, 1 unresolved`.
fn ends(loops: &[&Loop]) -> String {
    let mut counts: Vec<(&str, usize)> = Vec::new();
    for one in loops.iter().filter(|one| !one.is_resolved) {
        match counts.iter_mut().find(|(end, _)| *end == one.end) {
            Some((_, count)) => *count += 1,
            None => counts.push((&one.end, 1)),
        }
    }
    let texts: Vec<String> = counts.iter().map(|(end, count)| format!("{count} {end}")).collect();
    let all: usize = counts.iter().map(|(_, count)| count).sum();
    match (all, &texts[..]) {
        (0, _) => String::new(),
        (1, _) => format!("; the other period: {}", counts[0].0),
        _ => format!("; the other {all} periods: {}", texts.join(", ")),
    }
}

/// Draws the timeline: what goes on first, the longest first.
pub(crate) fn picture(key: &str, input: &Loops) -> Picture {
    let Some((first, last)) = input.season else {
        return Picture::sentence("Periods at risk need the git history");
    };
    if input.loops.is_empty() {
        return Picture::sentence("No target was at risk at any commit");
    }
    let mut loops: Vec<&Loop> = input.loops.iter().collect();
    loops.sort_by_key(|one| (one.is_resolved, -one.days(last)));
    let shown = loops.len().min(MOST);
    let resolved = loops.iter().filter(|one| one.is_resolved).count();
    let others = ends(&loops);
    let longest = loops.iter().max_by_key(|one| one.days(last));
    let longest = longest.map(|one| format!("; the longest: {}, {} days, {}", one.name.title, one.days(last), one.end));
    let caption = format!(
        "{} of {} periods at risk are resolved{others}{}{}",
        resolved,
        loops.len(),
        longest.unwrap_or_default(),
        not_drawn(loops.len(), MOST)
    );
    let alt = format!("Timeline of the periods in which targets were at risk. {caption}");
    let table = table(&loops, last);
    Picture::drawn(key, "Targets at risk, and what was done", caption, alt, table, |canvas, shape| {
        draw(canvas, shape, &loops[..shown], (first, last));
    })
}

fn table(loops: &[&Loop], last: Day) -> PictureTable {
    let heads = [
        ("target", false),
        ("at risk from", false),
        ("to", false),
        ("days", true),
        ("end", false),
        ("what was done", false),
    ];
    let mut table = PictureTable::new("Periods at risk", &heads);
    for one in loops {
        let steps = one.steps.iter().map(|step| format!("{} {} ({})", step.kind.word(), step.name.title, step.day));
        let steps: Vec<String> = steps.chain((one.more > 0).then(|| format!("{} more", one.more))).collect();
        let until = one.until.map(|day| day.to_string()).unwrap_or_default();
        table.row(
            &one.name,
            [one.since.to_string(), until, one.days(last).to_string(), one.end.clone(), steps.join(", ")],
        );
    }
    table
}

const RESOLVED: Fill = Fill::Class("resolved");
const OTHER: Fill = Fill::Pattern(Pattern::Cross, "bad-edge");

fn draw(canvas: &mut Canvas, shape: Shape, loops: &[&Loop], (first, last): (Day, Day)) {
    let mut keys = vec![(Key::Area(RESOLVED), "at risk, then resolved"), (Key::Area(OTHER), "not resolved")];
    let all = [StepKind::Analysis, StepKind::Decision, StepKind::Revision, StepKind::Result];
    let used = |kind: &StepKind| loops.iter().any(|one| one.steps.iter().any(|step| step.kind == *kind));
    keys.extend(all.into_iter().filter(used).map(|kind| (kind.key(), kind.word())));
    let top = canvas.keys(0.0, &keys);
    let texts = loops.iter().map(|one| RowText {
        class: if one.is_resolved { "" } else { "b" },
        name: &one.name.title,
        number: one.end.clone(),
    });
    let layout = Rows::new(shape, top, Rows::plot_beside_words(shape), texts);
    let bottom = layout.bottom() + 4.0;
    let x = Days::new(first, last, layout.plot);
    x.months_below(canvas, bottom);
    for (at, one) in loops.iter().enumerate() {
        let (bar, middle) = (layout.bar(at), layout.middle(at));
        layout.label(canvas, at);
        canvas.line((layout.plot.0, middle), (layout.plot.1, middle), "grid");
        let (from, to) = (x.position(one.since), x.position(one.until.unwrap_or(last)));
        let fill = if one.is_resolved { RESOLVED } else { OTHER };
        canvas.span((from, to.max(from + 2.0)), bar + 2.0, Rows::BAR - 4.0, fill);
        for step in one.steps.iter().filter(|step| x.contains(step.day)) {
            let at = (x.position(step.day), middle);
            match step.kind {
                StepKind::Analysis => canvas.circle(at, 4.5, "estimate"),
                StepKind::Decision => canvas.rect((at.0 - 3.5, middle - 3.5), (7.0, 7.0), Fill::Class("total")),
                StepKind::Revision => canvas.diamond(at, "revised"),
                StepKind::Result => canvas.diamond(at, "result"),
            }
        }
    }
}
