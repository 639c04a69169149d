//! `init --ci`: the recipe for the CI of the forge that the repository is published on.

use std::path::{Path, PathBuf};

use clap::ValueEnum;
use trace::Error;
use trace::git::Remotes;

/// The forge whose CI checks each change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Forge {
    /// The one in the URL of the remote
    Auto,
    /// A workflow of GitHub Actions
    Github,
    /// A pipeline of GitLab CI
    Gitlab,
    /// A shell script for any other CI
    Shell,
}

/// A recipe, filled in for a project.
pub(super) struct Recipe {
    /// The file from the top of the repository.
    pub(super) path: &'static str,
    pub(super) content: String,
    /// The top of the repository.
    pub(super) top: PathBuf,
    /// Whether the file is a program.
    pub(super) program: bool,
    /// What to do next.
    pub(super) next: String,
}

const WORKFLOW: &str = include_str!("../../../../templates/ci/github-workflow.yml");
const PIPELINE: &str = include_str!("../../../../templates/ci/gitlab-ci.yml");
const SCRIPT: &str = include_str!("../../../../templates/ci/tierod-ci.sh");

/// The two settings that only the team knows.
const SET: &str = "set TIEROD_REPOSITORY and TIEROD_REV in it, and commit it";

impl Recipe {
    /// The recipe for a project root that may not exist yet.
    pub(super) fn new(forge: Forge, root: &Path, cwd: &Path) -> Result<Self, Error> {
        let there = root.ancestors().find(|up| up.is_dir()).unwrap_or(cwd);
        let remotes = Remotes::of(there, cwd)?.ok_or_else(|| {
            let error = Error::new("the project is not in a git repository, so CI cannot check it");
            error.help("run `git init` first")
        })?;
        let forge = if forge == Forge::Auto { forge_of(&remotes.urls)? } else { forge };
        let root = below(root, there, &remotes.top)?;
        let quoted = |text: &str| serde_json::Value::from(text).to_string();
        let top = remotes.top;
        Ok(match forge {
            Forge::Github => {
                let branch = remotes.default_branch.unwrap_or_else(|| "main".to_owned());
                // In a workflow this begins an expression, also in quotes.
                let root = root.replace("${{", "${{ '${{' }}");
                let content = WORKFLOW
                    .replace("branches: [main]", &format!("branches: [{}]", quoted(&branch)))
                    .replace("working-directory: .\n", &format!("working-directory: {}\n", quoted(&root)));
                let path = ".github/workflows/tierod.yml";
                Self { path, content, top, program: false, next: SET.to_owned() }
            }
            Forge::Gitlab => {
                // A dollar sign begins a variable there.
                let root = quoted(&root.replace('$', "$$"));
                let content = PIPELINE.replace("TIEROD_ROOT: .\n", &format!("TIEROD_ROOT: {root}\n"));
                let schedule = "add a weekly pipeline schedule to see what time has broken";
                if top.join(".gitlab-ci.yml").symlink_metadata().is_ok() {
                    let path = ".gitlab/tierod.yml";
                    let include = format!("add `include: {path}` to .gitlab-ci.yml; {SET}; {schedule}");
                    Self { path, content, top, program: false, next: include }
                } else {
                    let next = format!("{SET}; {schedule}");
                    Self { path: ".gitlab-ci.yml", content, top, program: false, next }
                }
            }
            Forge::Shell | Forge::Auto => {
                let root = if root == "." { String::new() } else { format!("set TIEROD_ROOT={root} in your CI; ") };
                let next =
                    format!("{root}let your CI run it for each change, and once a week with the argument `week`");
                Self { path: "tierod-ci.sh", content: SCRIPT.to_owned(), top, program: true, next }
            }
        })
    }
}

/// The project root from the top of the repository.
fn below(root: &Path, there: &Path, top: &Path) -> Result<String, Error> {
    let real = |path: &Path| path.canonicalize().unwrap_or_else(|_| path.to_owned());
    let full = root.strip_prefix(there).map_or_else(|_| real(root), |rest| real(there).join(rest));
    let below = full.strip_prefix(real(top));
    let below = below.map_err(|_| Error::new("the project root is not in the working tree of the repository"))?;
    let parts = below.components().map(|part| part.as_os_str().to_str());
    let parts: Option<Vec<&str>> = parts.filter(|part| *part != Some(".")).collect();
    let parts = parts.ok_or_else(|| Error::new("the path of the project root is not UTF-8"))?;
    Ok(if parts.is_empty() { ".".to_owned() } else { parts.join("/") })
}

/// The forge that the remotes are on.
fn forge_of(urls: &[String]) -> Result<Forge, Error> {
    let mut found: Vec<Forge> = Vec::new();
    for host in urls.iter().filter_map(|url| host(url)) {
        for (name, forge) in [("github", Forge::Github), ("gitlab", Forge::Gitlab)] {
            if host.contains(name) && !found.contains(&forge) {
                found.push(forge);
            }
        }
    }
    if let [forge] = found[..] {
        return Ok(forge);
    }
    let cause = match urls {
        [] => "no remote yet".to_owned(),
        // A URL is not shown: a file outside of the repository can be in the place of the one that has it.
        _ => "the URLs of the remotes, which `git remote --verbose` lists, are on no known forge, or on several"
            .to_owned(),
    };
    let help = "name the forge: `--ci github`, `--ci gitlab`, or `--ci shell` for a script that any CI can run";
    Err(Error::new("the forge is not clear from the remotes").because(cause).help(help))
}

/// The host of a URL: `https://HOST/path`, `ssh://user@HOST:port/path`, `user@HOST:path`.
fn host(url: &str) -> Option<String> {
    let place = match url.split_once("://") {
        Some((_, rest)) => rest.split('/').next()?,
        // A path has no colon before its first slash.
        None => url.split('/').next()?.split_once(':')?.0,
    };
    let host = place.rsplit('@').next()?.split(':').next()?;
    (!host.is_empty()).then(|| host.to_lowercase())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_forge_is_read_from_the_host_only() {
        for (urls, forge) in [
            (&["https://github.com/team/gitlab-car.git"][..], Some(Forge::Github)),
            (&["git@gitlab.example.org:github/car.git"], Some(Forge::Gitlab)),
            (&["ssh://git@GitLab.uni.example:2222/team/car"], Some(Forge::Gitlab)),
            (&["https://token:x@github.example.com/a", "git@github.com:b/a"], Some(Forge::Github)),
            (&["git@github.com:a/b", "git@gitlab.com:a/b"], None),
            (&["https://git.example.org/github/car.git"], None),
            (&["/srv/github/car.git", "file:///srv/gitlab", "../github"], None),
            (&[], None),
        ] {
            let urls: Vec<String> = urls.iter().map(|url| (*url).to_owned()).collect();
            assert_eq!(forge_of(&urls).ok(), forge, "{urls:?}");
        }
    }

    #[test]
    fn recipes_contain_what_is_filled_in() {
        assert_eq!(WORKFLOW.matches("branches: [main]").count(), 1);
        assert_eq!(WORKFLOW.matches("working-directory: .\n").count(), 1);
        assert_eq!(PIPELINE.matches("TIEROD_ROOT: .\n").count(), 1);
    }
}
