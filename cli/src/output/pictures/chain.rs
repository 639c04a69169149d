//! The whole chain as a list that can be folded, from the goals down to the parts; and the car with its systems, each with
//! its parts again as links. It works without script.

use std::fmt::Write as _;

use super::svg::escaped;
use super::typeset::typeset;
use super::{Name, Picture, PictureTable};
use crate::screen::count;

/// The records under the goals, and the systems under the car.
#[derive(Clone, Debug, Default)]
pub(crate) struct Chain {
    /// The records; each is drawn once.
    pub(crate) nodes: Vec<ChainNode>,
    /// The positions of the goals, of the car, and of what is neither below them.
    pub(crate) roots: Vec<usize>,
    /// How many records are only notes on others, and in no chain.
    pub(crate) notes: usize,
}

/// A record of the chain.
#[derive(Clone, Debug, Default)]
pub(crate) struct ChainNode {
    /// The record.
    pub(crate) name: Name,
    /// Its kind in a word.
    pub(crate) kind: String,
    /// Its status in a word: `met`, `at risk`; empty without one.
    pub(crate) status: String,
    /// The mark of the status.
    pub(crate) mark: Mark,
    /// Its value as text.
    pub(crate) value: String,
    /// What it serves besides the record above it: ids.
    pub(crate) also: Vec<String>,
    /// The positions of the records below it.
    pub(crate) below: Vec<usize>,
    /// The positions of the parts of a system: their own place is below what they serve.
    pub(crate) parts: Vec<usize>,
    /// What a check reports about its path to a goal: `serves nothing`; empty if nothing.
    pub(crate) fault: String,
}

/// The mark of a status: a shape, so that it is seen without colours.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) enum Mark {
    /// No status.
    #[default]
    None,
    /// Met, passed, on target.
    Good,
    /// Missed, failed, at risk.
    Bad,
    /// Uncertain, or without a value.
    Unknown,
}

impl Mark {
    fn symbol(self) -> &'static str {
        match self {
            Self::None => "",
            Self::Good => "✓",
            Self::Bad => "✗",
            Self::Unknown => "?",
        }
    }

    fn class(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Good => "good",
            Self::Bad => "bad",
            Self::Unknown => "unknown",
        }
    }
}

/// Deeper records are in one list at this depth: no browser opens elements without an end, and no car has such a chain.
const DEEPEST: usize = 40;
/// The most records that are listed; and the most others that a record names as served.
const MOST_LISTED: usize = 10_000;
const MOST_ALSO: usize = 20;
/// The levels that are open at first.
const OPEN: usize = 2;

/// The list. With `links`, every record leads to `#id`.
pub(crate) fn picture(input: &Chain, links: bool) -> Picture {
    let mut list = List {
        input,
        links,
        drawn: vec![false; input.nodes.len()],
        left: MOST_LISTED,
        bad: vec![0; input.nodes.len()],
        out: String::new(),
        table: PictureTable::default(),
    };
    let heads = [("record", false), ("kind", false), ("status", false), ("value", true), ("serves", false)];
    list.table = PictureTable::new("All records of the chain", &heads);
    if input.nodes.is_empty() || input.roots.is_empty() {
        return Picture::sentence("No goal is recorded yet");
    }
    list.count();
    let records = input.nodes.iter().filter(|node| node.name.id.is_some()).count();
    let marked = |mark: Mark| input.nodes.iter().filter(|node| node.mark == mark).count();
    let systems = input.nodes.iter().filter(|node| node.kind == schema::Kind::System.singular()).count();
    let faults = input.nodes.iter().filter(|node| !node.fault.is_empty()).count();
    let caption = [
        match input.notes {
            0 => count(records, "record"),
            notes => {
                format!("{records} of {} (revisions and waivers are in no chain)", count(records + notes, "record"))
            }
        },
        if systems > 0 { format!(", {} of them under the car", count(systems, "system")) } else { String::new() },
        format!(
            ": {} good, {} missed or at risk, {} uncertain or without a value",
            marked(Mark::Good),
            marked(Mark::Bad),
            marked(Mark::Unknown)
        ),
        match faults {
            0 => "; every record that needs it has a path to a goal".to_owned(),
            faults => format!("; {} without a path to a goal", count(faults, "record")),
        },
        if input.nodes.len() > MOST_LISTED {
            format!("; {MOST_LISTED} of them are listed, `tierod graph` lists all")
        } else {
            String::new()
        },
    ]
    .concat();
    list.out.push_str("<div class=\"chain\">");
    list.level(&input.roots, 0);
    list.out.push_str("</div>");
    Picture { svg: list.out, caption, table: list.table }
}

struct List<'c> {
    input: &'c Chain,
    links: bool,
    drawn: Vec<bool>,
    /// How many records may still be listed.
    left: usize,
    /// The number of bad marks below each record.
    bad: Vec<usize>,
    out: String,
    table: PictureTable,
}

impl List<'_> {
    /// Counts the bad marks below each record, each record once and without recursion.
    fn count(&mut self) {
        let nodes = &self.input.nodes;
        let mut above: Vec<Option<usize>> = vec![None; nodes.len()];
        let (mut order, mut seen) = (Vec::new(), vec![false; nodes.len()]);
        let mut queue: Vec<usize> = self.input.roots.clone();
        while let Some(at) = queue.pop() {
            if at >= nodes.len() || std::mem::replace(&mut seen[at], true) {
                continue;
            }
            order.push(at);
            for &below in nodes[at].below.iter().filter(|below| **below < nodes.len() && !seen[**below]) {
                above[below] = Some(at);
                queue.push(below);
            }
        }
        for at in order.into_iter().rev() {
            if let Some(above) = above[at] {
                self.bad[above] += self.bad[at] + usize::from(nodes[at].mark == Mark::Bad);
            }
        }
    }

    fn level(&mut self, all: &[usize], depth: usize) {
        self.out.push_str("<ul>");
        // Deep chains are flat from here on, in the order in which they would be nested.
        let mut rest: Vec<usize> = all.iter().rev().copied().collect();
        while let Some(at) = rest.pop() {
            if at >= self.drawn.len() || std::mem::replace(&mut self.drawn[at], true) {
                continue;
            }
            if self.left == 0 {
                break;
            }
            self.left -= 1;
            let input = self.input;
            let node = &input.nodes[at];
            let has_below = node.below.iter().any(|below| self.drawn.get(*below) == Some(&false));
            self.out.push_str("<li>");
            match (has_below, depth < DEEPEST) {
                (true, true) => {
                    // The record stays outside of what is pressed to unfold, since it is a link.
                    self.line(at);
                    let open = if depth < OPEN { " open" } else { "" };
                    let _ = write!(self.out, "<details{open}><summary>{} below</summary>", node.below.len());
                    self.level(&node.below, depth + 1);
                    self.out.push_str("</details>");
                    self.parts(&node.parts);
                }
                (has_below, _) => {
                    self.line(at);
                    if has_below {
                        rest.extend(node.below.iter().rev());
                    }
                    self.parts(&node.parts);
                }
            }
            self.out.push_str("</li>");
        }
        self.out.push_str("</ul>");
    }

    /// The parts of a system, folded.
    fn parts(&mut self, parts: &[usize]) {
        let input = self.input;
        let parts: Vec<&ChainNode> = parts.iter().filter_map(|at| input.nodes.get(*at)).collect();
        if parts.is_empty() {
            return;
        }
        let _ = write!(self.out, "<details><summary>{}</summary><ul>", count(parts.len(), "part"));
        for part in parts.into_iter().take(MOST_LISTED) {
            self.out.push_str("<li>");
            self.title(part);
            self.out.push_str("</li>");
        }
        self.out.push_str("</ul></details>");
    }

    /// The mark of a record, and its title, which leads to it.
    fn title(&mut self, node: &ChainNode) {
        if node.mark != Mark::None {
            let (class, symbol, status) = (node.mark.class(), node.mark.symbol(), escaped(&node.status));
            let _ =
                write!(self.out, "<span class=\"mark {class}\" role=\"img\" aria-label=\"{status}\">{symbol}</span> ");
        }
        let title = escaped(&node.name.title);
        match node.name.id.as_deref().filter(|_| self.links) {
            Some(id) => drop(write!(self.out, "<a href=\"#{}\">{title}</a>", escaped(id))),
            None => self.out.push_str(&title),
        }
    }

    fn line(&mut self, at: usize) {
        let node = &self.input.nodes[at];
        let value = typeset(&node.value);
        self.title(node);
        let more = [node.fault.as_str(), node.kind.as_str(), node.status.as_str(), value.as_str()];
        let mut more: Vec<String> = more.into_iter().filter(|text| !text.is_empty()).map(escaped).collect();
        if self.bad[at] > 0 {
            more.push(format!("{} missed or at risk below", self.bad[at]));
        }
        let also = also(&node.also);
        if !also.is_empty() {
            more.push(format!("also serves {}", escaped(&also)));
        }
        let _ = write!(self.out, " <span class=\"more\">{}</span>", more.join(" · "));
        self.table.row(&node.name, [node.kind.clone(), node.status.clone(), value, also]);
    }
}

/// The others that a record serves, as text.
fn also(all: &[String]) -> String {
    match all.get(..MOST_ALSO) {
        Some(first) if all.len() > MOST_ALSO => format!("{} and {} more", first.join(", "), all.len() - MOST_ALSO),
        _ => all.join(", "),
    }
}
