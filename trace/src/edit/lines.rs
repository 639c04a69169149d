//! The lines that differ between two texts.

/// Lines that are next to each other and differ.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangedLines {
    /// The line of the first one in the new text, from 1; if there is none, that of the line after them.
    pub line: usize,
    /// The lines before, without their line breaks.
    pub before: Vec<String>,
    /// The lines after.
    pub after: Vec<String>,
}

/// The lines with their line breaks, so that another line break is a difference.
fn lines_of(text: &str) -> Vec<&str> {
    text.split_inclusive('\n').collect()
}

/// The differences of two texts: the fewest lines, or all between the first and the last one that differ if these are many.
pub(super) fn changed(before: &str, after: &str) -> Vec<ChangedLines> {
    let (old, new) = (lines_of(before), lines_of(after));
    let first = old.iter().zip(&new).take_while(|(old, new)| old == new).count();
    let rest = old.len().min(new.len()) - first;
    let last = old.iter().rev().zip(new.iter().rev()).take(rest).take_while(|(old, new)| old == new).count();
    let (old, new) = (&old[first..old.len() - last], &new[first..new.len() - last]);
    let mut all: Vec<ChangedLines> = Vec::new();
    // The positions behind the last equal line.
    let (mut at, mut new_at) = (0, 0);
    let clean = |lines: &[&str]| lines.iter().map(|line| line.trim_end_matches(['\r', '\n']).to_owned()).collect();
    for (equal, new_equal) in equal_lines(old, new).into_iter().chain([(old.len(), new.len())]) {
        if equal > at || new_equal > new_at {
            let (before, after) = (clean(&old[at..equal]), clean(&new[new_at..new_equal]));
            all.push(ChangedLines { line: first + new_at + 1, before, after });
        }
        (at, new_at) = (equal + 1, new_equal + 1);
    }
    all
}

/// Pairs of equal lines, in order: the most there are (E. W. Myers, An O(ND) difference algorithm, 1986).
fn equal_lines(old: &[&str], new: &[&str]) -> Vec<(usize, usize)> {
    /// With more differences than this, no equal lines are looked for.
    const MOST: usize = 2000;
    let (n, m) = (old.len() as isize, new.len() as isize);
    let most = (n + m).min(MOST as isize);
    let offset = most + 1;
    let mut furthest = vec![0_isize; (2 * offset + 1) as usize];
    let at = |k: isize| (k + offset) as usize;
    let mut steps: Vec<Vec<isize>> = Vec::new();
    let mut found = None;
    'search: for d in 0..=most {
        steps.push(furthest[at(-d - 1)..=at(d + 1)].to_vec());
        for k in (-d..=d).step_by(2) {
            let down = k == -d || (k != d && furthest[at(k - 1)] < furthest[at(k + 1)]);
            let mut x = if down { furthest[at(k + 1)] } else { furthest[at(k - 1)] + 1 };
            let mut y = x - k;
            while x < n && y < m && x >= 0 && y >= 0 && old[x as usize] == new[y as usize] {
                (x, y) = (x + 1, y + 1);
            }
            furthest[at(k)] = x;
            if x >= n && y >= m {
                found = Some(d);
                break 'search;
            }
        }
    }
    let Some(last) = found else { return Vec::new() };
    let mut pairs = Vec::new();
    let (mut x, mut y) = (n, m);
    for d in (0..=last).rev() {
        let known = &steps[d as usize];
        let get = |k: isize| known[(k + d + 1) as usize];
        let k = x - y;
        let down = k == -d || (k != d && get(k - 1) < get(k + 1));
        let before = if down { k + 1 } else { k - 1 };
        let start = if d == 0 { (0, 0) } else { (get(before), get(before) - before) };
        let stop = match (d, down) {
            (0, _) => start,
            (_, true) => (start.0, start.1 + 1),
            (_, false) => (start.0 + 1, start.1),
        };
        while x > stop.0 && y > stop.1 {
            (x, y) = (x - 1, y - 1);
            pairs.push((x as usize, y as usize));
        }
        (x, y) = start;
    }
    pairs.reverse();
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn changed_added_and_removed_lines() {
        let show = |before: &str, after: &str| -> Vec<(usize, String, String)> {
            let all = changed(before, after);
            all.into_iter().map(|one| (one.line, one.before.join("|"), one.after.join("|"))).collect()
        };
        let text = |a: usize, b: &str, c: &str| (a, b.to_owned(), c.to_owned());
        assert_eq!(show("a\nb\nc\nd\n", "a\nB\nc\nd\ne\n"), [text(2, "b", "B"), text(5, "", "e")]);
        assert_eq!(show("a\nb\nc\n", "a\nc\n"), [text(2, "b", "")]);
        assert_eq!(show("", "a\n"), [text(1, "", "a")]);
        assert_eq!(show("a\n", "a\n"), []);
        assert_eq!(show("a", "a\nb"), [text(1, "a", "a|b")]);
    }

    proptest! {
        #[test]
        fn the_changes_make_the_new_text(old in "([abc]\n){0,12}", new in "([abc]\n){0,12}") {
            let mut lines: Vec<String> = old.lines().map(str::to_owned).collect();
            for one in changed(&old, &new) {
                let at = one.line - 1;
                let replaced: Vec<String> = lines.splice(at..at + one.before.len(), one.after).collect();
                prop_assert_eq!(replaced, one.before);
            }
            prop_assert_eq!(lines, new.lines().map(str::to_owned).collect::<Vec<_>>());
        }
    }
}
