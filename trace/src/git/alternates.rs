//! The folders of objects that a folder of objects names in `info/alternates`, as git and libgit2 read it.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};

use foldhash::HashSet;

use super::regular::{self, path_of};

/// How many of them name each other at most; git and libgit2 follow fewer.
const DEEPEST: usize = 8;

/// The file, in a folder of objects.
pub(super) const FILE: &str = "info/alternates";

/// A folder of objects, with those that it names, and that these name.
pub(super) fn all(objects: &Path) -> Vec<PathBuf> {
    let mut left = VecDeque::from([(objects.to_owned(), DEEPEST)]);
    let (mut found, mut known) = (Vec::new(), HashSet::default());
    // The nearest ones first, so that each is looked at with all that it names.
    while let Some((folder, depth)) = left.pop_front() {
        let Ok(real) = folder.canonicalize() else { continue };
        if depth > 0 && known.insert(real) {
            left.extend(named(&folder).into_iter().map(|path| (path, depth - 1)));
            found.push(folder);
        }
    }
    found
}

/// The folders that a folder of objects names itself.
pub(super) fn named(objects: &Path) -> Vec<PathBuf> {
    let text = regular::small_linked(&objects.join(FILE)).unwrap_or_default();
    let mut found: Vec<PathBuf> = of_git(&text).iter().map(|path| objects.join(path_of(path))).collect();
    // libgit2 has no quotes, ends lines in another way, and takes most relative paths from the folder of the process.
    for path in text.split(|byte| matches!(byte, b'\r' | b'\n')).filter(|line| !line.is_empty() && line[0] != b'#') {
        let relative = path_of(path);
        found.extend(if path[0] == b'.' { Some(objects.join(relative)) } else { std::path::absolute(relative).ok() });
    }
    found
}

/// The paths in the list, as git reads it.
fn of_git(mut text: &[u8]) -> Vec<Vec<u8>> {
    let mut found = Vec::new();
    while let Some(first) = text.first() {
        let line = text.iter().position(|byte| *byte == b'\n').unwrap_or(text.len());
        let quoted = if *first == b'"' { unquoted(&text[1..]) } else { None };
        let length = match quoted {
            Some((path, length)) => {
                found.push(path);
                length + 1
            }
            None => {
                found.extend((!matches!(first, b'#' | b'\n')).then(|| text[..line].to_vec()));
                line
            }
        };
        text = text.get(length + 1..).unwrap_or_default();
    }
    found
}

/// A text in the quotes of C, and how many bytes it takes with the quote at its end; `None` if it is not one.
fn unquoted(text: &[u8]) -> Option<(Vec<u8>, usize)> {
    let (mut out, mut at) = (Vec::new(), 0);
    loop {
        let byte = *text.get(at)?;
        at += 1;
        match byte {
            b'"' => return Some((out, at)),
            b'\\' => {
                let sign = *text.get(at)?;
                at += 1;
                out.push(match sign {
                    b'a' => 7,
                    b'b' => 8,
                    b't' => b'\t',
                    b'n' => b'\n',
                    b'v' => 11,
                    b'f' => 12,
                    b'r' => b'\r',
                    b'\\' | b'"' => sign,
                    b'0'..=b'3' => {
                        let digits = std::str::from_utf8(text.get(at - 1..at + 2)?).ok()?;
                        at += 2;
                        u8::from_str_radix(digits, 8).ok()?
                    }
                    _ => return None,
                });
            }
            _ => out.push(byte),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_list_is_read_as_git_does() {
        let text = b"# no\n../a \n\n\"../b\\t\\101\\\"\"\nc\"\n\"d\ne\"\n\"\\q\"\n\"f";
        let found: Vec<String> = of_git(text).into_iter().map(|path| String::from_utf8(path).unwrap()).collect();
        assert_eq!(found, ["../a ", "../b\tA\"", "c\"", "d\ne", "\"\\q\"", "\"f"]);
    }
}
