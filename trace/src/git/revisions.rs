//! Names of revisions, resolved without reading a commit that is too large: libgit2 and git read a commit as a whole, with
//! its message, whatever is asked about it.

use super::access::{Access, NamedCommit, Object, ObjectKind};
use super::error::GitError;
use super::objects::{Circle, Commit, is_object_id};

/// A step from a commit to another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum ParentStep {
    /// The first parent, a number of times: `~2`.
    Back(usize),
    /// The parent with this number: `^2`.
    Parent(usize),
}

/// The name of a reference or of an object, and the steps from there; `None` for everything else that git can name.
fn split(revision: &str) -> Option<(&str, Vec<ParentStep>)> {
    let end = revision.find(['~', '^']).unwrap_or(revision.len());
    let (name, mut rest) = revision.split_at(end);
    if name.is_empty() || name.starts_with('-') || name == "@" || name.contains("@{") || name.contains([':', '*', '?'])
    {
        return None;
    }
    let mut steps = Vec::new();
    while let Some(sign) = rest.chars().next() {
        let digits = rest[1..].find(|other: char| !other.is_ascii_digit()).map_or(rest.len(), |at| at + 1);
        let count = if digits == 1 { 1 } else { rest[1..digits].parse().ok()? };
        steps.push(match sign {
            '~' => ParentStep::Back(count),
            '^' => ParentStep::Parent(count),
            _ => return None,
        });
        rest = &rest[digits..];
    }
    Some((name, steps))
}

/// The commit of a revision. `ends_at`: whether the history is cut off after a commit.
///
/// # Errors
/// Those of the reader; a commit that is too large.
pub(super) fn resolve(
    access: &dyn Access,
    revision: &str,
    ends_at: &dyn Fn(&str) -> bool,
) -> Result<NamedCommit, GitError> {
    match by_steps(access, revision, ends_at) {
        Ok(Some(found)) => Ok(found),
        Err(error @ (GitError::LargeObject { .. } | GitError::DamagedObject { .. })) => Err(error),
        // The reader has more names, and its own errors.
        Ok(None) | Err(_) => access.resolve(revision),
    }
}

fn by_steps(
    access: &dyn Access,
    revision: &str,
    ends_at: &dyn Fn(&str) -> bool,
) -> Result<Option<NamedCommit>, GitError> {
    let Some((name, steps)) = split(revision) else { return Ok(None) };
    let Some(id) = access.named(name)? else { return Ok(None) };
    let Some((mut id, mut commit)) = peel(access, id)? else { return Ok(None) };
    let mut circle = Circle::default();
    for step in steps {
        let (number, times) = match step {
            ParentStep::Back(times) => (1, times),
            ParentStep::Parent(0) => continue,
            ParentStep::Parent(number) => (number, 1),
        };
        for _ in 0..times {
            let parent = commit.parents.get(number - 1).filter(|_| !ends_at(&id));
            let Some(parent) = parent.cloned() else { return Ok(None) };
            circle.next(&id)?;
            let Some(found) = peel(access, parent)? else { return Ok(None) };
            (id, commit) = found;
        }
    }
    let day = commit.day().ok_or_else(|| GitError::DamagedObject { object: id.clone() })?;
    Ok(Some(NamedCommit { id, day }))
}

/// The commit that an object is, or that a tag names.
fn peel(access: &dyn Access, mut id: String) -> Result<Option<(String, Commit)>, GitError> {
    /// Tags of tags.
    const DEEPEST: usize = 10;
    for _ in 0..DEEPEST {
        let Object { kind, bytes } = access.object(&id)?;
        match kind {
            ObjectKind::Commit => return Ok(Commit::parse(&bytes).map(|commit| (id, commit))),
            ObjectKind::Tag => {
                let first = bytes.split(|byte| *byte == b'\n').next().unwrap_or_default();
                let object = first.strip_prefix(b"object ").and_then(|object| std::str::from_utf8(object).ok());
                let Some(object) = object.filter(|object| is_object_id(object)) else { return Ok(None) };
                object.clone_into(&mut id);
            }
            ObjectKind::Tree | ObjectKind::Other => return Ok(None),
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_have_steps() {
        use ParentStep::{Back, Parent};
        let is = |text, name, steps: &[ParentStep]| assert_eq!(split(text), Some((name, steps.to_vec())), "{text}");
        is("HEAD", "HEAD", &[]);
        is("main~", "main", &[Back(1)]);
        is("v1.2^^2~12^0", "v1.2", &[Parent(1), Parent(2), Back(12), Parent(0)]);
        is("a/b-c", "a/b-c", &[]);
        for other in
            ["", "@", "HEAD@{1}", "HEAD^{tree}", "HEAD:a", ":/text", "~1", "HEAD~x", "-x", "HEAD~99999999999999999999"]
        {
            assert_eq!(split(other), None, "{other}");
        }
    }
}
