//! One file an output format.

pub(crate) mod dot;
pub(crate) mod json;
pub(crate) mod numbers;
pub(crate) mod points;
pub(crate) mod table;
pub(crate) mod terminal;
pub(crate) mod tree;
pub(crate) mod values;
pub(crate) mod weigh;
pub(crate) mod worth;

use std::path::{Component, Path};

use trace::Loaded;
use trace::snapshot::Source;

/// The path of a file as one would type it here: relative to the current folder where it is on disk,
/// else to the repository's top.
fn shown(loaded: &Loaded, path: &str) -> String {
    let at_top = format!("{}{path}", loaded.snapshot.prefix);
    let (Source::Worktree, Some(folder), Ok(cwd)) =
        (&loaded.snapshot.source, &loaded.snapshot.folder, std::env::current_dir())
    else {
        return at_top;
    };
    let cwd = cwd.canonicalize().unwrap_or(cwd);
    relative(&cwd, &folder.join(path))
}

fn relative(from: &Path, to: &Path) -> String {
    let (from, to): (Vec<Component<'_>>, Vec<Component<'_>>) = (from.components().collect(), to.components().collect());
    let shared = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    let up = from.len() - shared;
    let mut steps: Vec<String> = vec!["..".to_owned(); up];
    steps.extend(to[shared..].iter().map(|step| step.as_os_str().to_string_lossy().into_owned()));
    steps.join("/")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_told_from_where_one_stands() {
        let path = |from: &str, to: &str| relative(Path::new(from), Path::new(to));
        assert_eq!(path("/a", "/a/b/c.yaml"), "b/c.yaml");
        assert_eq!(path("/a/x", "/a/b/c.yaml"), "../b/c.yaml");
    }
}
