//! Texts of slides: short phrases, whole sentences, quantities.

use schema::quantity::Unit;
use trace::talk::count::MOST_WORDS_OF_PHRASE;

use crate::output::pictures::typeset as typeset_units;
use crate::screen::clean;

/// A text of a record, as it is shown: on one line, with typeset units.
pub(super) fn typeset(text: &str) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    typeset_units(&clean(&words.join(" ")))
}

/// A title without the detail after its first comma: what follows has a number, as in `Single cylinder, 450 cm3`.
pub(super) fn brief(title: &str) -> String {
    let is_detail = |rest: &&str| rest.contains(|c: char| c.is_ascii_digit());
    let own = title.split_once(", ").filter(|(_, rest)| is_detail(rest)).map_or(title, |(own, _)| own);
    typeset(own)
}

/// Words that no phrase ends with.
const JOINING: [&str; 14] = ["a", "an", "and", "at", "by", "for", "from", "in", "of", "on", "or", "the", "to", "with"];

/// The text with at most this many words.
pub(super) fn short(text: &str, most: usize) -> String {
    let mut words = text.split(' ');
    let mut kept: Vec<&str> = words.by_ref().take(most).collect();
    if words.next().is_none() {
        return kept.join(" ");
    }
    while kept.len() > 1 && kept.last().is_some_and(|last| JOINING.contains(last)) {
        kept.pop();
    }
    format!("{}…", kept.join(" ").trim_end_matches([',', ';', ':', '.']))
}

/// A phrase with a title before or in it: the title is cut so that all has at most twelve words.
pub(super) fn phrase(before: &str, title: &str, after: &str) -> String {
    let count = trace::talk::count::words;
    let most = MOST_WORDS_OF_PHRASE.saturating_sub(count(before) + count(after)).max(1);
    format!("{before}{}{after}", short(title, most))
}

/// A phrase that ends with a title: with the first of these beginnings that leaves room for all words of the title, otherwise
/// with the last one and the title cut.
pub(super) fn first_that_fits(beginnings: &[&str], title: &str) -> String {
    let count = trace::talk::count::words;
    let fits = |before: &&&str| count(before) + count(title) <= MOST_WORDS_OF_PHRASE;
    let before = beginnings.iter().find(fits).or(beginnings.last()).copied().unwrap_or_default();
    phrase(before, title, "")
}

/// A text as a sentence that ends.
pub(super) fn sentence(text: &str) -> String {
    let text = typeset(text);
    if text.is_empty() || text.ends_with(['.', '!', '?', ':', '…']) { text } else { format!("{text}.") }
}

/// The paragraphs of notes, which empty lines separate.
pub(super) fn paragraphs(notes: &str) -> Vec<String> {
    let mut all: Vec<String> = vec![String::new()];
    for line in notes.lines() {
        match all.last_mut() {
            Some(last) if !line.trim().is_empty() => {
                if !last.is_empty() {
                    last.push(' ');
                }
                last.push_str(&typeset(line));
            }
            _ => all.push(String::new()),
        }
    }
    all.retain(|text| !text.is_empty());
    all
}

/// A value as people read it.
pub(super) fn quantity(si: f64, uncertainty: f64, unit: &Unit) -> String {
    typeset_units(&unit.show(si, uncertainty))
}

/// Points without decimals, as in `653 points`.
pub(super) fn points(points: f64) -> String {
    let rounded = schema::number::fixed(points, 0);
    let noun = if rounded == "1" || rounded == "-1" { "point" } else { "points" };
    typeset_units(&format!("{rounded} {noun}"))
}

/// Points with one decimal.
pub(super) fn tenths(points: f64) -> String {
    typeset_units(&schema::number::fixed(points, 1))
}

/// Points with one decimal and their sign.
pub(super) fn signed(points: f64) -> String {
    typeset_units(&schema::number::signed(points, 1))
}

/// A list of texts for a sentence: `a, b and c`.
pub(super) fn list(all: &[String]) -> String {
    match all.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} and {last}", rest.join(", ")),
    }
}

/// The texts of the `text` elements of an SVG that is ours.
pub(super) fn of_svg(svg: &str) -> Vec<String> {
    let mut all = Vec::new();
    // Both shapes have the same texts.
    let first = svg.split_once("</svg>").map_or(svg, |(first, _)| first);
    for rest in first.split("<text").skip(1) {
        let inside =
            rest.split_once('>').and_then(|(_, rest)| rest.split_once("</text>")).map_or("", |(inside, _)| inside);
        let mut text = String::new();
        let mut is_tag = false;
        for c in inside.chars() {
            match c {
                '<' => is_tag = true,
                '>' => {
                    is_tag = false;
                    text.push(' ');
                }
                c if !is_tag => text.push(c),
                _ => {}
            }
        }
        let text = text
            .replace("&lt;", "<")
            .replace("&gt;", ">")
            .replace("&quot;", "\"")
            .replace("&#39;", "'")
            .replace("&amp;", "&");
        all.push(text);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn phrases_have_at_most_twelve_words() {
        assert_eq!(short("a b c", 3), "a b c");
        assert_eq!(short("x y, c", 2), "x y…");
        assert_eq!(short("Grip of the tyre on the rig", 5), "Grip of the tyre…", "no phrase ends with `on`");
        assert_eq!(brief("Single cylinder, 450 cm3"), "Single cylinder");
        assert_eq!(brief("Front wing, rear wing and floor"), "Front wing, rear wing and floor");
        let long = "one two three four five six seven eight nine ten eleven twelve thirteen";
        let own = phrase("Why: ", long, ", and more");
        assert_eq!(own, "Why: one two three four five six seven eight nine…, and more");
        assert_eq!(trace::talk::count::words(&own), MOST_WORDS_OF_PHRASE);
    }

    #[test]
    fn a_title_keeps_its_words_if_a_shorter_beginning_leaves_room() {
        let own = |title: &str| first_that_fits(&["What changes the points: ", "Most points: ", ""], title);
        assert_eq!(own("Grip of the tyre"), "What changes the points: Grip of the tyre");
        let grip = "Peak side grip of the tyre on the test rig";
        assert_eq!(own(grip), format!("Most points: {grip}"));
        let twelve = "one two three four five six seven eight nine ten eleven twelve";
        assert_eq!(own(twelve), twelve);
        assert_eq!(own(&format!("{twelve} thirteen")), format!("{twelve}…"));
    }

    #[test]
    fn texts_end_and_are_split() {
        assert_eq!(sentence("It holds the\n  wheel"), "It holds the wheel.");
        assert_eq!(sentence("Does it?"), "Does it?");
        assert_eq!(paragraphs("a\nb\n\nc\n"), ["a b", "c"]);
        assert_eq!(list(&["a", "b", "c"].map(str::to_owned)), "a, b and c");
        assert_eq!(
            of_svg("<svg><text x='1'>a <tspan>b</tspan></text></svg><svg><text>5 &lt; 6</text></svg>"),
            ["a  b "]
        );
    }
}
