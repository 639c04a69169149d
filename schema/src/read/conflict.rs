//! Conflict markers that a merge left in a file.

use memchr::memmem;

use super::Spot;
use super::problems::{Problem, ProblemKind};

/// A line that a merge adds around and between the two sides of a conflict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Marker {
    /// `<<<<<<< HEAD`
    Ours,
    /// `||||||| base`, only with both sides and their base
    Base,
    /// `=======`
    Between,
    /// `>>>>>>> branch`
    Theirs,
}

/// The characters of a marker; a repository can have longer ones.
const LENGTH: usize = 7;

impl Marker {
    fn of_line(line: &str) -> Option<Self> {
        let first = line.chars().next()?;
        let rest = line.trim_start_matches(first);
        let ends = rest.is_empty() || rest.starts_with([' ', '\t']);
        if !ends || line.len() - rest.len() < LENGTH {
            return None;
        }
        match first {
            '<' => Some(Self::Ours),
            '|' => Some(Self::Base),
            '>' => Some(Self::Theirs),
            // A longer row is a line under a heading.
            '=' if line.trim_ascii_end().len() == LENGTH => Some(Self::Between),
            _ => None,
        }
    }
}

/// All markers with the number of their line, from 0.
fn markers(text: &str) -> impl Iterator<Item = (usize, Marker)> + '_ {
    // A line ends with LF, CR LF or CR, as in YAML.
    let text_lines = text.split('\n').flat_map(|line| line.strip_suffix('\r').unwrap_or(line).split('\r'));
    text_lines.enumerate().filter_map(|(number, line)| Some((number, Marker::of_line(line)?)))
}

/// Whether a text has a whole conflict: both sides with all lines around them, in their order.
///
/// Only such a text is a conflict if it can be read, because a text can have one of these lines for other reasons.
pub(super) fn is_whole(text: &str) -> bool {
    if memmem::find(text.as_bytes(), b"<<<<<<<").is_none() {
        return false;
    }
    let order = [Marker::Ours, Marker::Between, Marker::Theirs];
    let mut next = 0;
    for (_, marker) in markers(text) {
        if order.get(next) == Some(&marker) {
            next += 1;
        }
    }
    next == order.len()
}

/// The problem of a file that cannot be read and has a marker; `None` without one.
pub(super) fn problem(text: &str) -> Option<Problem> {
    let (line, _) = markers(text).next()?;
    let message = "the file has the conflict markers of an unfinished merge";
    let help = "keep what is right of both sides, and remove the lines that begin with `<<<<<<<`, `|||||||`, `=======` \
                and `>>>>>>>`";
    Some(Problem::new(ProblemKind::Conflict, Some(Spot::new(line + 1, 0)), message, help))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(text: &str) -> Option<u32> {
        problem(text).map(|problem| problem.spot.unwrap().line)
    }

    #[test]
    fn the_first_marker_is_found() {
        assert_eq!(line("a\n<<<<<<< HEAD\nb\n=======\nc\n>>>>>>> branch\n"), Some(2));
        assert_eq!(line("a\r\nb\r\n=======\r\n"), Some(3));
        assert_eq!(line("a\rb\r||||||| 1234\r"), Some(3));
        assert_eq!(line(">>>>>>>>>> a longer marker"), Some(1));
        for text in ["", "a", "  <<<<<<< HEAD", "<<<<<< HEAD", "<<<<<<<HEAD", "==========", "======= x", "#======="] {
            assert_eq!(line(text), None, "{text:?}");
        }
    }

    #[test]
    fn a_whole_conflict_has_its_lines_in_order() {
        assert!(is_whole("<<<<<<< HEAD\nb\n||||||| base\n=======\nc\n>>>>>>> branch\n"));
        assert!(is_whole("<<<<<<<\r\n=======\r\n>>>>>>>"));
        assert!(!is_whole("<<<<<<< HEAD\nb\n=======\nc\n"));
        assert!(!is_whole(">>>>>>> HEAD\nb\n=======\nc\n<<<<<<< branch\n"));
        assert!(!is_whole("x <<<<<<< HEAD\n=======\n>>>>>>> branch\n"));
    }
}
