//! Links in a repository that lead out of it: who wrote the repository chose where.

use std::path::{Path, PathBuf};

use crate::Error;

/// Refuses to write at a path, or below it, that leads out of a repository by a link in it.
///
/// # Errors
/// The link. What the user's own links outside of a repository lead to is as if it were named directly.
pub fn refuse_link_out(path: &Path) -> Result<(), Error> {
    refuse(path, "write", "; nothing was written")
}

/// The same for reading a project at a path: it could be another one of this machine.
///
/// # Errors
/// The link.
pub(super) fn refuse_project_behind_link(path: &Path) -> Result<(), Error> {
    refuse(path, "open", "")
}

fn refuse(path: &Path, action: &str, end: &str) -> Result<(), Error> {
    let Some(link) = link_out(path) else { return Ok(()) };
    let cause = format!("{} is a link that leads out of the repository", link.display());
    let error = Error::new(format!("cannot {action} {}", path.display())).because(cause);
    Err(error.help(format!("if you trust the link, give the path that it leads to{end}")))
}

fn link_out(path: &Path) -> Option<PathBuf> {
    let path = std::path::absolute(path).ok()?;
    let mut reached = PathBuf::new();
    path.components().find_map(|component| {
        reached.push(component);
        let is_link = reached.symlink_metadata().is_ok_and(|found| found.is_symlink());
        (is_link && leads_out(&reached)).then(|| reached.clone())
    })
}

/// Whether a link is in a repository, and leads to somewhere else; one that leads nowhere counts as such.
fn leads_out(link: &Path) -> bool {
    let Some(holder) = link.parent().and_then(|parent| parent.canonicalize().ok()) else { return false };
    let Some(top) = holder.ancestors().find(|up| up.join(".git").symlink_metadata().is_ok()) else { return false };
    !link.canonicalize().is_ok_and(|real| real.starts_with(top))
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    #[test]
    fn only_links_of_a_repository_that_lead_out_of_it_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let at = |path: &str| folder.path().join(path);
        for path in ["team/.git", "team/docs", "elsewhere"] {
            std::fs::create_dir_all(at(path)).unwrap();
        }
        symlink(at("team"), at("own")).unwrap();
        symlink(at("elsewhere"), at("team/out")).unwrap();
        symlink("docs", at("team/inside")).unwrap();
        symlink("nowhere", at("team/broken")).unwrap();
        for path in ["team/page.html", "own/docs/page.html", "team/inside/page.html", "elsewhere/new/page.html"] {
            refuse_link_out(&at(path)).unwrap();
        }
        for path in ["team/out/page.html", "team/out", "own/out/deep/page.html", "team/docs/../out/a", "team/broken/a"]
        {
            assert!(refuse_link_out(&at(path)).is_err(), "{path}");
            assert!(refuse_project_behind_link(&at(path)).is_err(), "{path}");
        }
    }
}
