//! Text that is folded to the width of a terminal: painted pieces, with a stem before the first line and one before the
//! others.

use super::table::Paint;
use crate::screen::{Ink, clean, width};

/// The narrowest text after a stem.
const NARROWEST: usize = 16;

/// Adds pieces of text, two spaces apart, folded at spaces. Without a terminal lines have the width of prose; a longer
/// word is broken only on a terminal, so that what is in a file can be searched.
pub(crate) fn flow(out: &mut String, ink: Ink, [first, rest]: [&str; 2], pieces: &[(String, Paint)]) {
    let room = |stem: &str| ink.columns().saturating_sub(width(stem)).max(NARROWEST);
    let mut lines: Vec<Vec<(String, Paint)>> = vec![Vec::new()];
    let mut used = 0;
    let mut stem = first;
    for (text, paint) in pieces {
        let text = clean(text);
        let mut gap = 2;
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            for part in parts(word, if ink.is_terminal() { room(rest) } else { usize::MAX }) {
                let wide = width(part);
                if used > 0 && used + gap + wide > room(stem) {
                    lines.push(Vec::new());
                    (used, stem) = (0, rest);
                }
                let Some(line) = lines.last_mut() else { continue };
                let gap_now = if used > 0 { gap } else { 0 };
                match line.last_mut().filter(|(_, own)| own == paint && gap_now < 2) {
                    Some((run, _)) => {
                        run.push_str(&" ".repeat(gap_now));
                        run.push_str(part);
                    }
                    None => {
                        if gap_now > 0 {
                            line.push((" ".repeat(gap_now), Paint::Plain));
                        }
                        line.push((part.to_owned(), *paint));
                    }
                }
                used += gap_now + wide;
                gap = 1;
            }
        }
    }
    for (number, line) in lines.into_iter().enumerate() {
        out.push_str(if number == 0 { first } else { rest });
        for (text, paint) in line {
            out.push_str(&paint.on(&text, ink));
        }
        // A stem without text has no spaces at its end.
        out.truncate(out.trim_end_matches(' ').len());
        out.push('\n');
    }
}

/// A word in parts that are not wider than the room.
fn parts(word: &str, room: usize) -> Vec<&str> {
    if width(word) <= room {
        return vec![word];
    }
    let mut parts = Vec::new();
    let (mut start, mut used) = (0, 0);
    for (at, c) in word.char_indices() {
        let wide = width(c.encode_utf8(&mut [0; 4]));
        if used > 0 && used + wide > room {
            parts.push(&word[start..at]);
            (start, used) = (at, 0);
        }
        used += wide;
    }
    parts.push(&word[start..]);
    parts
}

/// A text whose lines fit the terminal: a longer one is folded at spaces, two columns further to the right than it begins. In
/// a file or a pipe it stays as it is, so that what is in it can be searched and copied.
pub(crate) fn fitted(text: &str, ink: Ink) -> String {
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let words = line.trim_start_matches(' ');
        let indent = line.len() - words.len();
        if width_of_painted(line) <= ink.room() {
            out.push_str(line);
            continue;
        }
        out.push_str(&line[..indent]);
        let mut used = indent;
        for (number, word) in words.split_inclusive(' ').enumerate() {
            let wide = width_of_painted(word.trim_end());
            if number > 0 && used + wide > ink.room() {
                out.truncate(out.trim_end_matches(' ').len());
                out.push('\n');
                out.push_str(&" ".repeat(indent + 2));
                used = indent + 2;
                // The spaces between two columns.
                if wide == 0 {
                    continue;
                }
            }
            out.push_str(word);
            used += width_of_painted(word);
        }
    }
    out
}

/// The width of a text on a terminal, without the sequences that colour it.
fn width_of_painted(text: &str) -> usize {
    let mut parts = text.split("\u{1b}[");
    let first = parts.next().map_or(0, width);
    first + parts.map(|part| part.split_once('m').map_or(0, |(_, rest)| width(rest))).sum::<usize>()
}

/// A text on one line that is not wider than the room: its end is replaced by `…`.
pub(crate) fn cut(text: &str, room: usize) -> String {
    if width(text) <= room {
        return text.to_owned();
    }
    let mut short = String::new();
    let mut used = 1;
    for c in text.chars() {
        used += width(c.encode_utf8(&mut [0; 4]));
        if used > room {
            break;
        }
        short.push(c);
    }
    format!("{}…", short.trim_end())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(room: usize, stems: [&str; 2], pieces: &[&str]) -> String {
        let mut out = String::new();
        let pieces: Vec<_> = pieces.iter().map(|piece| ((*piece).to_owned(), Paint::Plain)).collect();
        flow(&mut out, Ink::plain(room), stems, &pieces);
        out
    }

    #[test]
    fn lines_are_folded_after_their_stem() {
        assert_eq!(text(80, ["├─ ", "│  "], &["hub", "Front hub"]), "├─ hub  Front hub\n");
        assert_eq!(
            text(24, ["├─ ", "│    "], &["front-hub", "Front hub, machined"]),
            "├─ front-hub  Front hub,\n│    machined\n"
        );
        let wide = text(40, ["", "  "], &["漢字".repeat(30).as_str()]);
        assert!(wide.lines().all(|line| width(line) <= 40) && wide.lines().count() == 4, "{wide}");
        assert_eq!(text(40, ["", "  "], &[]), "\n");
    }

    #[test]
    fn a_whole_text_is_fitted() {
        let text =
            "short\n  a line that is too long for it,  in two columns\n  \u{1b}[1ma bold\u{1b}[0m one of 22 columns\n";
        let folded = "short\n  a line that is too\n    long for it,  in\n    two columns\n  \u{1b}[1ma bold\u{1b}[0m one of 22\n    columns\n";
        assert_eq!(fitted(text, Ink::plain(22)), folded);
        assert_eq!(fitted("a-single-long-word\n", Ink::plain(5)), "a-single-long-word\n");
    }

    #[test]
    fn a_cut_text_has_its_width() {
        assert_eq!((cut("Front hub", 9).as_str(), cut("Front hub", 7).as_str()), ("Front hub", "Front…"));
        assert_eq!(width(&cut("漢字漢字", 6)), 5);
    }
}
