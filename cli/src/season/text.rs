//! Records as lines of text: their positions, and the rest of the file without one.

use std::ops::Range;

/// The indentation of a line; `None` for a blank line.
fn indent(line: &str) -> Option<usize> {
    let text = line.trim_start_matches(' ');
    (!text.trim_end().is_empty()).then_some(line.len() - text.len())
}

/// The position of each line, and the line with its newline.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut at = 0;
    text.split_inclusive('\n').map(move |line| {
        at += line.len();
        (at - line.len(), line)
    })
}

/// From the line `<key>:` at this indentation to the next one that is indented no further; blank lines at the end are not included.
fn block(text: &str, key: &str, depth: usize) -> Option<Range<usize>> {
    let opens = |line: &str| {
        indent(line) == Some(depth) && line[depth..].strip_prefix(key).is_some_and(|rest| rest.starts_with(':'))
    };
    let mut inside = lines(text).skip_while(|(_, line)| !opens(line));
    let (start, first) = inside.next()?;
    let mut end = start + first.len();
    for (at, line) in inside {
        match indent(line) {
            Some(found) if found <= depth => break,
            Some(_) => end = at + line.len(),
            None => {}
        }
    }
    Some(start..end)
}

/// The position of a record in a record file.
pub(super) fn record(text: &str, id: &str) -> Option<Range<usize>> {
    block(text, id, 2)
}

/// The record without one of its keys.
pub(super) fn without_key(record: &str, key: &str) -> Option<String> {
    let range = block(record, key, 4)?;
    Some([&record[..range.start], &record[range.end..]].concat())
}

/// The file without a range of it, and without kinds that have no record left; `None` if only comments are left.
pub(super) fn without(text: &str, range: &Range<usize>) -> Option<String> {
    let rest = [&text[..range.start], &text[range.end..]].concat();
    let kept: Vec<&str> = rest.split_inclusive('\n').collect();
    let mut out = String::new();
    let mut records = false;
    for (at, line) in kept.iter().enumerate() {
        let kind = indent(line) == Some(0) && !line.starts_with('#');
        let next = kept[at + 1..].iter().find_map(|line| indent(line).filter(|_| !line.starts_with('#')));
        if kind && next.is_none_or(|next| next == 0) {
            continue;
        }
        let blank = indent(line).is_none();
        if blank && (out.is_empty() || out.ends_with("\n\n")) {
            continue;
        }
        records |= kind;
        out.push_str(line);
    }
    records.then(|| out.trim_end().to_owned() + "\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    const FILE: &str = "# Hubs\n\ntargets:\n  mass:\n    of: car\n    serves:\n      a: b\n\n  cost: {of: car}\n\nparts:\n  hub:\n    in: car\n";

    #[test]
    fn a_record_is_removed_completely() {
        let range = record(FILE, "mass").unwrap();
        assert_eq!(&FILE[range.clone()], "  mass:\n    of: car\n    serves:\n      a: b\n");
        let left = "# Hubs\n\ntargets:\n\n  cost: {of: car}\n\nparts:\n  hub:\n    in: car\n";
        assert_eq!(without(FILE, &range).unwrap(), left);
        let range = record(FILE, "hub").unwrap();
        let left = without(FILE, &range).unwrap();
        assert!(left.ends_with("  cost: {of: car}\n"), "the empty kind is gone: {left}");
        assert_eq!(record(FILE, "mas"), None);
    }

    #[test]
    fn a_file_without_records_is_none() {
        let text = "# Hubs\nparts:\n  hub: {in: car}\n";
        assert_eq!(without(text, &record(text, "hub").unwrap()), None);
    }

    #[test]
    fn a_key_is_removed_with_its_content() {
        let record = "  mass:\n    of: car\n    serves:\n      a: b\n    lead: x\n";
        assert_eq!(without_key(record, "serves").unwrap(), "  mass:\n    of: car\n    lead: x\n");
        assert_eq!(without_key(record, "at-most"), None);
    }
}
