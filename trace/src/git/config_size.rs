//! The size of a repository's configuration, with the files that it includes, and of other files that libgit2 and each
//! command of git read as a whole.

use std::path::{Path, PathBuf};

use foldhash::HashMap;

use super::environment::{Environment, Locals, discover};
use super::error::GitError;
use super::regular;

/// The largest size in bytes: that of ten thousand branches.
const MOST: u64 = 1 << 20;

/// The largest size of a list of branches or files: that of a million of them.
const MOST_LISTED: u64 = 256 << 20;

/// How many files include each other at most, as in git.
const DEEPEST: usize = 10;

/// Checks the configuration of the repository that contains a folder, before it is read.
///
/// # Errors
/// It is too large.
pub(super) fn check(folder: &Path, locals: &Locals, environment: &Environment) -> Result<(), GitError> {
    let own = match (locals, environment.git_dir()) {
        (Locals::Whole(cwd), Some(dir)) => Some(cwd.join(dir)),
        (Locals::Whole(cwd), None) => discover(cwd).map(|found| found.git_dir),
        _ => discover(folder).map(|found| found.git_dir),
    };
    let Some(own) = own else { return Ok(()) };
    let common = regular::small_text(&own.join("commondir")).map(|text| own.join(text.trim()));
    let common = common.unwrap_or_else(|| own.clone());
    let branch = regular::small_text(&own.join("HEAD"));
    let branch = branch.as_deref().and_then(|text| text.strip_prefix("ref:")).map(|name| common.join(name.trim()));
    let small = [own.join("HEAD"), own.join("commondir"), common.join("objects/info/alternates")];
    let small = small.into_iter().chain(branch).map(|file| (file, MOST));
    let lists = [common.join("packed-refs"), common.join("shallow"), own.join("index")].map(|file| (file, MOST_LISTED));
    for (file, most) in small.chain(lists) {
        if file.metadata().is_ok_and(|found| found.is_file() && found.len() > most) {
            return Err(GitError::LargeFile { file, most });
        }
    }
    let mut sizes = Sizes { left: MOST, texts: HashMap::default() };
    for file in [common.join("config"), own.join("config.worktree")] {
        if sizes.take(&file, DEEPEST).is_none() {
            return Err(GitError::LargeConfiguration { file });
        }
    }
    Ok(())
}

struct Sizes {
    left: u64,
    /// The files that were read; an empty text for one that cannot be.
    texts: HashMap<PathBuf, String>,
}

impl Sizes {
    /// Counts a file as often as it is included; `None` if it is too much.
    fn take(&mut self, file: &Path, depth: usize) -> Option<()> {
        if !self.texts.contains_key(file) {
            // Git follows a link here. For a pipe or a device `waiting` has an error.
            let read = file.canonicalize().map(|real| regular::read(&real, MOST));
            let text = match read {
                Ok(Ok(bytes)) => String::from_utf8_lossy(&bytes).into_owned(),
                Ok(Err(regular::NotRead::TooLarge(_))) => return None,
                _ => String::new(),
            };
            self.texts.insert(file.to_owned(), text);
        }
        let text = self.texts.get(file)?;
        self.left = self.left.checked_sub(text.len() as u64)?;
        let includes = if depth > 0 { included(text) } else { Vec::new() };
        for path in includes {
            let path = match (path.strip_prefix("~/"), std::env::var_os("HOME")) {
                (Some(rest), Some(home)) => PathBuf::from(home).join(rest),
                _ => file.parent()?.join(path),
            };
            self.take(&path, depth - 1)?;
        }
        Some(())
    }
}

/// The paths that a configuration file includes, whatever their conditions are.
fn included(text: &str) -> Vec<String> {
    let text = text.replace("\\\r\n", "").replace("\\\n", "");
    let (mut found, mut is_include) = (Vec::new(), false);
    for line in text.lines() {
        let mut line = line.trim();
        if let Some(header) = line.strip_prefix('[') {
            let name = header.trim_start().split(|c: char| !c.is_ascii_alphanumeric()).next().unwrap_or("");
            is_include = ["include", "includeif"].iter().any(|own| name.eq_ignore_ascii_case(own));
            line = header.rsplit_once(']').map_or("", |(_, rest)| rest.trim());
        }
        if let Some((key, value)) = line.split_once('=').filter(|_| is_include)
            && key.trim().eq_ignore_ascii_case("path")
        {
            found.push(unquoted(value.trim()));
        }
    }
    found
}

/// A value without its quotes and the comment behind it.
fn unquoted(value: &str) -> String {
    let (mut text, mut is_quoted, mut signs) = (String::new(), false, value.chars());
    while let Some(sign) = signs.next() {
        match sign {
            '"' => is_quoted = !is_quoted,
            '\\' => text.extend(signs.next()),
            '#' | ';' if !is_quoted => break,
            sign => text.push(sign),
        }
    }
    text.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder with a repository, as far as it is looked for.
    fn repository() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let git = folder.path().join(".git");
        for path in ["objects/info", "refs/heads"] {
            std::fs::create_dir_all(git.join(path)).unwrap();
        }
        std::fs::write(git.join("HEAD"), "ref: refs/heads/main\n").unwrap();
        folder
    }

    #[test]
    fn includes_are_found() {
        let text = "[core]\n\tpath = no\n[Include] path = a # one\n[includeIf \"gitdir:x]/\"]\nPATH=\"b ;c\"\n; path = no\n path = d\\\n/e\n[x \
                    \"include\"]\npath = no\n";
        assert_eq!(included(text), ["a", "b ;c", "d/e"]);
    }

    #[test]
    fn files_of_git_have_a_limit() {
        let folder = repository();
        let git = folder.path().join(".git");
        let checked = || check(folder.path(), &Locals::Nothing, &Environment::default());
        for (name, most) in [
            ("commondir", MOST),
            ("objects/info/alternates", MOST),
            ("refs/heads/main", MOST),
            ("packed-refs", MOST_LISTED),
            ("index", MOST_LISTED),
        ] {
            let file = git.join(name);
            let sparse = std::fs::File::create(&file).unwrap();
            sparse.set_len(most).unwrap();
            assert_eq!(checked(), Ok(()), "{name}");
            sparse.set_len(most + 1).unwrap();
            assert_eq!(checked(), Err(GitError::LargeFile { file: file.clone(), most }), "{name}");
            std::fs::remove_file(file).unwrap();
        }
    }

    #[test]
    fn a_file_counts_as_often_as_it_is_included() {
        let folder = repository();
        let git = folder.path().join(".git");
        let checked = |config: &str| {
            std::fs::write(git.join("config"), config).unwrap();
            check(folder.path(), &Locals::Nothing, &Environment::default())
        };
        let too_large = Err(GitError::LargeConfiguration { file: git.join("config") });
        assert_eq!(checked(&"[a]\n".repeat(200_000)), Ok(()));
        assert_eq!(checked(&"[a]\n".repeat(300_000)), too_large);
        std::fs::write(git.join("more"), "[a]\n".repeat(10_000)).unwrap();
        assert_eq!(checked(&"[include]\npath = more\n".repeat(20)), Ok(()));
        assert_eq!(checked(&"[include]\npath = more\n".repeat(30)), too_large);
        assert_eq!(checked("[include]\npath = config\npath = missing\n"), Ok(()), "a circle ends");
        assert_eq!(checked(&"[include]\npath = config\n".repeat(20)), too_large, "this one hardly");
    }
}
