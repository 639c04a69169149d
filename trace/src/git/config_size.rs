//! The size of a repository's configuration, with the files that it includes, and of other files that libgit2 and each
//! command of git read as a whole.

use std::path::{Path, PathBuf};

use foldhash::HashMap;

use super::alternates;
use super::environment::{Environment, Locals, discover};
use super::error::GitError;
use super::regular::{self, path_of};

/// The largest size in bytes: that of ten thousand branches.
const MOST: u64 = 1 << 20;

/// What a file counts at least each time it is included: to open it takes git longer than to read it.
const LEAST: u64 = 256;

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
    let common = regular::small_linked(&own.join("commondir")).map(|text| own.join(path_of(text.trim_ascii())));
    let common = common.unwrap_or_else(|| own.clone());
    let branch = regular::small_text(&own.join("HEAD"));
    let branch = branch.as_deref().and_then(|text| text.strip_prefix("ref:")).map(|name| common.join(name.trim()));
    let objects = alternates::all(&common.join("objects"));
    let objects = objects.iter().map(|objects| objects.join(alternates::FILE));
    let small = [own.join("HEAD"), own.join("commondir")].into_iter().chain(branch).chain(objects);
    let small = small.map(|file| (file, MOST));
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
    texts: HashMap<PathBuf, Vec<u8>>,
}

impl Sizes {
    /// Counts a file as often as it is included; `None` if it is too much.
    fn take(&mut self, file: &Path, depth: usize) -> Option<()> {
        if !self.texts.contains_key(file) {
            // Git follows a link here. For a pipe or a device `waiting` has an error.
            let read = file.canonicalize().map(|real| regular::read(&real, MOST));
            let text = match read {
                Ok(Ok(bytes)) => bytes,
                Ok(Err(regular::NotRead::TooLarge(_))) => return None,
                _ => Vec::new(),
            };
            self.texts.insert(file.to_owned(), text);
        }
        let text = self.texts.get(file)?;
        self.left = self.left.checked_sub((text.len() as u64).max(LEAST))?;
        let includes = if depth > 0 { included(text) } else { Vec::new() };
        for path in includes {
            let path = match (path.strip_prefix(b"~/"), std::env::var_os("HOME")) {
                (Some(rest), Some(home)) => PathBuf::from(home).join(path_of(rest)),
                _ => file.parent()?.join(path_of(&path)),
            };
            self.take(&path, depth - 1)?;
        }
        Some(())
    }
}

/// The paths that a configuration file includes, whatever their conditions are.
fn included(text: &[u8]) -> Vec<Vec<u8>> {
    let mut rest = Rest(text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text));
    let (mut found, mut is_include) = (Vec::new(), false);
    while let Some(first) = rest.first() {
        match first {
            b'#' | b';' => drop(rest.until(b"\n")),
            b'[' => is_include = rest.header(),
            _ => {
                let key = rest.until(b"=\n");
                if rest.0.first() == Some(&b'=') {
                    let value = rest.value();
                    found.extend((is_include && key.trim_ascii().eq_ignore_ascii_case(b"path")).then_some(value));
                }
            }
        }
    }
    found
}

/// What is left of a configuration file.
struct Rest<'t>(&'t [u8]);

impl<'t> Rest<'t> {
    /// The next sign that is not a space.
    fn first(&mut self) -> Option<u8> {
        self.0 = self.0.trim_ascii_start();
        self.0.first().copied()
    }

    fn next(&mut self) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(*first)
    }

    /// What is before the first of these signs.
    fn until(&mut self, signs: &[u8]) -> &'t [u8] {
        let end = self.0.iter().position(|byte| signs.contains(byte)).unwrap_or(self.0.len());
        let (before, rest) = self.0.split_at(end);
        self.0 = rest;
        before
    }

    /// Reads the name of a section, to the first bracket outside of quotes; whether it is one that includes.
    fn header(&mut self) -> bool {
        self.next();
        self.first();
        let length = self.0.iter().take_while(|byte| byte.is_ascii_alphanumeric()).count();
        let name = &self.0[..length];
        let mut is_quoted = false;
        while let Some(sign) = self.next() {
            match sign {
                b'"' => is_quoted = !is_quoted,
                b'\\' if is_quoted => drop(self.next()),
                b']' if !is_quoted => break,
                b'\n' => break,
                _ => {}
            }
        }
        [b"include".as_slice(), b"includeif"].iter().any(|own| name.eq_ignore_ascii_case(own))
    }

    /// Reads a value to the end of its line, without its quotes and the comment behind it.
    fn value(&mut self) -> Vec<u8> {
        self.next();
        let (mut text, mut is_quoted) = (Vec::new(), false);
        while let Some(sign) = self.next() {
            match sign {
                b'\n' => break,
                b'"' => is_quoted = !is_quoted,
                b'\\' => match self.next() {
                    Some(b'\n') | None => {}
                    Some(b'\r') if self.0.first() == Some(&b'\n') => drop(self.next()),
                    Some(b't') => text.push(b'\t'),
                    Some(b'b') => text.push(8),
                    Some(b'n') => text.push(b'\n'),
                    Some(sign) => text.push(sign),
                },
                b'#' | b';' if !is_quoted => drop(self.until(b"\n")),
                sign => text.push(sign),
            }
        }
        text.trim_ascii().to_vec()
    }
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
        let text = "\u{feff}[include]path = first]\n[core]\n\tpath = no\n[Include] path = a # one\n[includeIf \"gitdir:x]/\"]\nPATH=\"b ;c\"\n; path = no\n path = d\\\n/e\n[x \
                    \"include\"]\npath = no\n; \\\n[core] [include]\r\npath = e\\tf]\r\n";
        assert_eq!(included(text.as_bytes()), ["first]", "a", "b ;c", "d/e", "e\tf]"].map(str::as_bytes));
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
        std::fs::write(git.join("more"), "").unwrap();
        assert_eq!(checked(&"[include]\npath = more\n".repeat(3_000)), Ok(()));
        assert_eq!(checked(&"[include]\npath = more\n".repeat(5_000)), too_large, "an empty one, too");
        assert_eq!(checked("[include]\npath = config\npath = missing\n"), Ok(()), "a circle ends");
        assert_eq!(checked(&"[include]\npath = config\n".repeat(20)), too_large, "this one hardly");
    }
}
