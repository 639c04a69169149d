//! What `deck` prints: the slides with their words, what was omitted for the time, and what to cut.

use trace::talk::count::WORDS_A_MINUTE;
use trace::talk::fit::{NoTime, SLIDES_IN_TEN_MINUTES};

use super::{DeckView, Talk, Why};
use crate::output::table::{Table, plain, strong};
use crate::screen::{Ink, clean, count};

/// The width of the labels.
const LABELS: usize = 10;

/// Minutes and seconds.
pub(super) fn clock(seconds: u32) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// The report.
pub(crate) fn report(view: &DeckView<'_>, talk: &Talk, ink: Ink) -> String {
    let mut out = String::new();
    let mut table = Table::new(&[("slide", true), ("", false), ("until", true), ("phrase", false)]);
    for (at, slide) in talk.slides.iter().enumerate() {
        table.row(vec![
            plain((at + 1).to_string()),
            strong(clean(&slide.id)),
            plain(clock(slide.end)),
            plain(clean(&slide.phrase)),
        ]);
    }
    out.push_str(&table.text(ink));
    out.push('\n');
    let minutes = count(view.minutes, "minute");
    let slides = count(talk.slides.len(), "slide");
    let pace = talk.words.div_ceil(view.minutes.max(1));
    let text = format!("{slides} in {minutes}, {} words, {pace} words a minute (at most {WORDS_A_MINUTE})", talk.words);
    ink.block(&mut out, "talk", LABELS, &text);
    for (id, why) in &talk.left_out {
        let why = match why {
            Why::Nothing(why) => why.clone(),
            Why::NoTime(NoTime::Slides(most)) => format!("no time: at most {} in {minutes}", count(*most, "slide")),
            Why::NoTime(NoTime::Words(most)) => format!("no time: at most {most} words can be spoken in {minutes}"),
        };
        ink.block(&mut out, "omitted", LABELS, &format!("{}: {}", clean(id), clean(&why)));
    }
    if talk.remarks.is_empty() {
        ink.block(&mut out, "cut", LABELS, "nothing");
    }
    for remark in &talk.remarks {
        let text = format!("slide {} ({}), {}: {}", remark.slide, remark.id, remark.place.word(), remark.text());
        ink.block(&mut out, "cut", LABELS, &clean(&text));
    }
    out
}

/// Where the limits come from, for the help of the command.
pub(crate) fn limits() -> String {
    use trace::talk::count::{
        MOST_MINUTES_OF_SLIDE, MOST_NUMBERS_OF_PHRASE, MOST_NUMBERS_OF_SLIDE, MOST_WORDS_OF_PHRASE, MOST_WORDS_OF_SLIDE,
    };
    format!(
        "Limits that are counted:\n  \
         {WORDS_A_MINUTE} words a minute; a number is one word per digit (mean of lectures to students with another first \
         language: Tauroza and Allison 1990, not checked against the source)\n  \
         {MOST_NUMBERS_OF_PHRASE} numbers in a phrase (what people keep in mind at once: Cowan 2001, not checked against \
         the source)\n  \
         common practice, no source: {SLIDES_IN_TEN_MINUTES} slides in 10 minutes, {MOST_WORDS_OF_PHRASE} words in a \
         phrase, {MOST_WORDS_OF_SLIDE} words and {MOST_NUMBERS_OF_SLIDE} numbers on a slide with its picture, \
         {MOST_MINUTES_OF_SLIDE} minutes of words on one slide"
    )
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_clock_has_minutes_and_seconds() {
        assert_eq!([0, 59, 60, 605].map(super::clock), ["0:00", "0:59", "1:00", "10:05"]);
    }
}
