//! Addresses of lines of files at the forge that the CI belongs to, from the variables of its environment.
//!
//! | forge | variables | address |
//! | --- | --- | --- |
//! | GitHub Actions | `GITHUB_SERVER_URL`, `GITHUB_REPOSITORY`, `GITHUB_SHA` | `blob/COMMIT/FILE#L1` |
//! | Gitea and Forgejo Actions | the same, and `GITEA_ACTIONS` or `FORGEJO_ACTIONS` | `src/commit/COMMIT/FILE#L1` |
//! | GitLab CI | `CI_PROJECT_URL`, `CI_COMMIT_SHA` | `-/blob/COMMIT/FILE#L1` |
//! | Bitbucket Pipelines | `BITBUCKET_GIT_HTTP_ORIGIN`, `BITBUCKET_COMMIT` | `src/COMMIT/FILE#lines-1` |
//!
//! The forges document these variables. The configuration of the repository is never asked: it belongs to the change.

use super::super::uri::uri;

use trace::Loaded;
use trace::snapshot::Source;

/// The longest address: browsers and forges take at least this much.
const LONGEST: usize = 1000;

/// Where the files of a commit can be read.
pub(crate) struct Links {
    /// The address up to the path of the file, with a slash at its end.
    files: String,
    /// What is between the path and the number of the line.
    line: &'static str,
}

impl Links {
    /// The addresses for a state, if the environment is that of a forge's CI; the index has no commit.
    pub(crate) fn of(loaded: &Loaded) -> Option<Self> {
        let set = |name: &str| std::env::var(name).ok().filter(|value| !value.is_empty());
        match &loaded.snapshot.source {
            Source::Worktree => Self::from(set, None),
            Source::Revision { commit, .. } => Self::from(set, Some(commit)),
            Source::Index | Source::Nothing => None,
        }
    }

    /// `commit`: of the state; without one, the commit that CI runs for.
    fn from(set: impl Fn(&str) -> Option<String>, commit: Option<&str>) -> Option<Self> {
        let commit_of = |name: &str| {
            let commit = commit.map(str::to_owned).or_else(|| set(name))?;
            let is_id = matches!(commit.len(), 40 | 64) && commit.bytes().all(|byte| byte.is_ascii_hexdigit());
            is_id.then_some(commit)
        };
        let (repository, folder, line, commit) =
            if let (Some(server), Some(name)) = (set("GITHUB_SERVER_URL"), set("GITHUB_REPOSITORY")) {
                let is_true = |name: &str| set(name).is_some_and(|value| value == "true");
                let other = is_true("GITEA_ACTIONS") || is_true("FORGEJO_ACTIONS");
                let folder = if other { "src/commit" } else { "blob" };
                (format!("{}/{name}", server.trim_end_matches('/')), folder, "#L", commit_of("GITHUB_SHA")?)
            } else if let Some(project) = set("CI_PROJECT_URL") {
                (project, "-/blob", "#L", commit_of("CI_COMMIT_SHA")?)
            } else {
                (set("BITBUCKET_GIT_HTTP_ORIGIN")?, "src", "#lines-", commit_of("BITBUCKET_COMMIT")?)
            };
        let repository = address(repository.trim_end_matches('/'))?;
        Some(Self { files: format!("{repository}/{folder}/{commit}/"), line })
    }

    /// The address of a line; none if it is longer than browsers take.
    pub(crate) fn line(&self, path: &str, line: u64) -> Option<String> {
        let address = format!("{}{}{}{line}", self.files, uri(path), self.line);
        (address.len() <= LONGEST).then_some(address)
    }
}

/// An address of the web without anything that Markdown or HTML could read as more than that.
fn address(text: &str) -> Option<String> {
    let (scheme, rest) = text.split_once("://").filter(|(scheme, _)| matches!(*scheme, "https" | "http"))?;
    let (host, path) = rest.split_once('/')?;
    let of_host = |c: char| c.is_ascii_alphanumeric() || ".-:[]".contains(c);
    let is_host = host.starts_with(|c: char| c.is_ascii_alphanumeric() || c == '[') && host.chars().all(of_host);
    let is_path = !path.is_empty() && path.split('/').all(|step| !matches!(step, "" | "." | ".."));
    // Brackets of an address of six groups would end the text of a link.
    (is_host && is_path && !host.contains(['[', ']'])).then(|| format!("{scheme}://{host}/{}", uri(path)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ID: &str = "0123456789abcdef0123456789abcdef01234567";

    fn line(set: &[(&str, &str)], commit: Option<&str>, path: &str) -> Option<String> {
        let find = |name: &str| set.iter().find(|(key, _)| *key == name).map(|(_, value)| (*value).to_owned());
        Links::from(find, commit)?.line(path, 12)
    }

    #[test]
    fn each_forge_has_its_addresses() {
        let first =
            [("GITHUB_SERVER_URL", "https://git.example"), ("GITHUB_REPOSITORY", "team/car"), ("GITHUB_SHA", ID)];
        let shown = |end: &str| Some(format!("https://git.example/team/car/{end}"));
        assert_eq!(line(&first, None, "a/b.yaml"), shown(&format!("blob/{ID}/a/b.yaml#L12")));
        let other = [&first[..], &[("GITEA_ACTIONS", "true")]].concat();
        assert_eq!(line(&other, None, "b.yaml"), shown(&format!("src/commit/{ID}/b.yaml#L12")));
        let second = [("CI_PROJECT_URL", "https://git.example/team/car"), ("CI_COMMIT_SHA", ID)];
        assert_eq!(line(&second, None, "b.yaml"), shown(&format!("-/blob/{ID}/b.yaml#L12")));
        let third = [("BITBUCKET_GIT_HTTP_ORIGIN", "http://git.example/team/car"), ("BITBUCKET_COMMIT", ID)];
        let address = format!("http://git.example/team/car/src/{ID}/b.yaml#lines-12");
        assert_eq!(line(&third, None, "b.yaml"), Some(address));
        // The commit of the state, if it has one.
        let own = "f".repeat(64);
        assert_eq!(line(&first, Some(&own), "b.yaml"), shown(&format!("blob/{own}/b.yaml#L12")));
        assert_eq!(line(&[], Some(&own), "b.yaml"), None);
    }

    #[test]
    fn hostile_paths_and_variables_are_not_addresses() {
        let with = |server: &str, name: &str, id: &str, path: &str| {
            line(&[("GITHUB_SERVER_URL", server), ("GITHUB_REPOSITORY", name), ("GITHUB_SHA", id)], None, path)
        };
        let shown = with("https://git.example:8443", "team/c ar", ID, "a) [b](c)<>#?%\"\n|`é.yaml").unwrap();
        let expected = "a%29%20%5Bb%5D%28c%29%3C%3E%23%3F%25%22%0A%7C%60%C3%A9.yaml#L12";
        assert_eq!(shown, format!("https://git.example:8443/team/c%20ar/blob/{ID}/{expected}"));
        for (server, name, id) in [
            ("javascript:alert(1)//", "team/car", ID),
            ("https://git.example/x)", "../car", ID),
            ("https://us er@git.example", "team/car", ID),
            ("https://git.example", "team//car", ID),
            ("https://git.example", "team/car", "main"),
            ("https://git.example", "team/car", ""),
            ("", "team/car", ID),
        ] {
            assert_eq!(with(server, name, id, "b.yaml"), None, "{server} {name} {id}");
        }
        assert_eq!(with("https://git.example", "team/car", ID, &"a".repeat(2000)), None);
    }
}
