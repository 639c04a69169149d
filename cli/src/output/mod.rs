//! One file per output format.

pub(crate) mod add;
pub(crate) mod audit;
mod branches;
pub(crate) mod broken;
pub(crate) mod budget;
pub(crate) mod check;
pub(crate) mod compare;
pub(crate) mod confined;
pub(crate) mod csv;
mod decided;
pub(crate) mod deck;
pub(crate) mod delta;
pub(crate) mod dot;
pub(crate) mod edit;
pub(crate) mod editors;
pub(crate) mod evidence;
pub(crate) mod flow;
pub(crate) mod github;
pub(crate) mod gitlab;
pub(crate) mod grid;
pub(crate) mod grids;
pub(crate) mod history;
pub(crate) mod import;
pub(crate) mod json;
pub(crate) mod lines;
pub(crate) mod listed;
pub(crate) mod numbers;
pub(crate) mod page;
pub(crate) mod pictures;
pub(crate) mod points;
pub(crate) mod sarif;
pub(crate) mod shapes;
pub(crate) mod sheet;
mod shown_status;
pub(crate) mod spark;
mod stress;
pub(crate) mod table;
pub(crate) mod template;
pub(crate) mod terminal;
pub(crate) mod tree;
mod uri;
pub(crate) mod values;
pub(crate) mod workbook;
pub(crate) mod worth;

use std::path::{Component, Path};

use trace::Loaded;
use trace::snapshot::Source;

/// Shows paths as a user would type them: relative to the current folder if the file is on disk, otherwise to the top of
/// the repository.
pub(crate) struct Paths(String);

impl Paths {
    /// Finds the current folder once.
    pub(crate) fn new(loaded: &Loaded) -> Self {
        let snapshot = &loaded.snapshot;
        match (&snapshot.source, &snapshot.folder, std::env::current_dir()) {
            (Source::Worktree, Some(folder), Ok(cwd)) => {
                let steps = relative(&cwd.canonicalize().unwrap_or(cwd), folder);
                Self(if steps.is_empty() { steps } else { steps + "/" })
            }
            _ => Self(snapshot.prefix.clone()),
        }
    }

    /// The path of a file in the project root.
    pub(crate) fn shown(&self, path: &str) -> String {
        format!("{}{path}", self.0)
    }
}

fn relative(from: &Path, to: &Path) -> String {
    let (from, to): (Vec<Component<'_>>, Vec<Component<'_>>) = (from.components().collect(), to.components().collect());
    let shared = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    let up = from.len() - shared;
    let mut steps: Vec<String> = vec!["..".to_owned(); up];
    steps.extend(to[shared..].iter().map(|step| step.as_os_str().to_string_lossy().into_owned()));
    steps.join("/")
}

/// The warning before numbers if there were read errors, for outputs that do not list them.
pub(crate) fn incomplete(loaded: &Loaded) -> Option<String> {
    incomplete_numbers(loaded).map(|text| text + "; `tierod check` lists the errors")
}

/// The warning before numbers if there were read errors.
pub(crate) fn incomplete_numbers(loaded: &Loaded) -> Option<String> {
    let unread = loaded.unread();
    let errors = crate::screen::count(unread, "read error");
    (unread > 0).then(|| format!("incomplete: {errors}, so data may be missing from the numbers"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_relative_to_the_current_folder() {
        let path = |from: &str, to: &str| relative(Path::new(from), Path::new(to));
        assert_eq!(path("/a", "/a/b/c.yaml"), "b/c.yaml");
        assert_eq!(path("/a/x", "/a/b/c.yaml"), "../b/c.yaml");
    }
}
