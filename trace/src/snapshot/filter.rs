//! Which files are record files.

use std::cell::RefCell;

use foldhash::HashSet;
use globset::{Glob, GlobSet, GlobSetBuilder};
use schema::read::Problem;
use schema::{Settings, settings};

/// The largest number of globs: compiling some ten thousand takes seconds.
const MOST_GLOBS: usize = 1_000;

/// The most characters of a glob, and of all of them: compiled they take up to 400 bytes for each.
const LONGEST_GLOB: usize = 300;
const MOST_CHARACTERS: usize = 20_000;

/// Which files of a project are record files.
pub(crate) struct Filter {
    ignore: GlobSet,
    /// Paths come in their order: most are in folders of the one before.
    last: RefCell<Folders>,
}

/// The folders that a path is in.
#[derive(Default)]
struct Folders {
    path: String,
    /// From the outermost one, up to the first that is ignored: where its name ends, and whether it is ignored.
    known: Vec<(usize, bool)>,
}

impl Folders {
    /// Goes on to another path, with what is known about the folders that both are in.
    fn go_to(&mut self, path: &str) {
        let same = path.bytes().zip(self.path.bytes()).take_while(|(own, last)| own == last).count();
        self.known.truncate(self.known.partition_point(|(end, _)| *end < same));
        self.path.clear();
        self.path.push_str(path);
    }
}

impl Filter {
    /// The filter of the settings; a glob that cannot be read is reported and ignores nothing.
    pub(crate) fn new(settings: &Settings, problems: &mut Vec<Problem>) -> Self {
        let mut builder = GlobSetBuilder::new();
        let mut bad = |route: Vec<String>, message: &str, help: &str| {
            let mut problem = Problem::cannot_open(message, help);
            problem.kind = schema::read::ProblemKind::BadValue;
            problem.route = route;
            problem.spot = None;
            problems.push(problem);
        };
        let at = |glob: &str| vec!["ignore".to_owned(), glob.to_owned()];
        if settings.ignore.len() > MOST_GLOBS {
            let message =
                format!("`ignore` has {} entries, and the first {MOST_GLOBS} are used", settings.ignore.len());
            bad(vec!["ignore".to_owned()], &message, "name folders in place of files");
        }
        let mut characters = 0;
        for glob in settings.ignore.iter().take(MOST_GLOBS) {
            let length = glob.chars().count();
            if length > LONGEST_GLOB {
                let message = format!("`{}` has more than {LONGEST_GLOB} characters", schema::words::shorten(glob));
                bad(at(glob), &message, "name a folder in place of its files");
                continue;
            }
            characters += length;
            if characters > MOST_CHARACTERS {
                let message =
                    "the entries of `ignore` have more than 20,000 characters; this one and those below are not used";
                bad(at(glob), message, "name folders in place of files");
                break;
            }
            match Glob::new(glob) {
                Ok(glob) => {
                    builder.add(glob);
                }
                Err(error) => {
                    let message = format!("`{}` is not a glob", schema::words::shorten(glob));
                    bad(at(glob), &message, &error.kind().to_string());
                }
            }
        }
        let ignore = builder.build().unwrap_or_else(|_| GlobSet::empty());
        Self { ignore, last: RefCell::default() }
    }

    /// Whether this is a record file: it ends in `.yaml` or `.yml`; names that begin with a dot belong to other tools.
    pub(crate) fn is_record(&self, path: &str) -> bool {
        let yaml = path.ends_with(".yaml") || path.ends_with(".yml");
        yaml && path != settings::FILE
            && !path.split('/').any(|step| step.starts_with('.'))
            && (self.ignore.is_empty() || (!self.ignore.is_match(path) && !self.skips_folder_of(path)))
    }

    /// Whether one of the folders that a file is in is ignored.
    fn skips_folder_of(&self, path: &str) -> bool {
        let mut last = self.last.borrow_mut();
        last.go_to(path);
        path.match_indices('/').enumerate().any(|(at, (end, _))| match last.known.get(at) {
            Some((_, is_ignored)) => *is_ignored,
            None => {
                let is_ignored = self.skips_folder(&path[..end]);
                last.known.push((end, is_ignored));
                is_ignored
            }
        })
    }

    /// Whether a folder is ignored, with all that is in it.
    pub(crate) fn skips_folder(&self, path: &str) -> bool {
        !self.ignore.is_empty() && (self.ignore.is_match(path) || self.ignore.is_match(format!("{path}/")))
    }
}

/// The folders of other projects inside a project.
#[derive(Debug, Default)]
pub(crate) struct Nested(HashSet<Box<str>>);

impl Nested {
    /// Those among the paths of a project's files.
    pub(crate) fn among<'p>(paths: impl Iterator<Item = &'p str>) -> Self {
        Self::of(paths.filter_map(Self::folder))
    }

    /// Of these folders, each with its `/` at the end.
    pub(crate) fn of<'p>(folders: impl Iterator<Item = &'p str>) -> Self {
        Self(folders.map(Box::from).collect())
    }

    /// The folder of another project, with its `/`, if this path is that project's settings file.
    pub(crate) fn folder(path: &str) -> Option<&str> {
        path.strip_suffix(settings::FILE).filter(|folder| folder.ends_with('/'))
    }

    /// Adds a folder, with its `/`.
    pub(crate) fn add(&mut self, folder: &str) {
        self.0.insert(folder.into());
    }

    /// Whether a file, or a folder with its `/`, is in one of them.
    pub(crate) fn have(&self, path: &str) -> bool {
        !self.0.is_empty() && path.match_indices('/').any(|(end, _)| self.0.contains(&path[..=end]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_many_globs_are_reported() {
        let settings =
            Settings { ignore: (0..1_001).map(|number| format!("f{number}.yaml")).collect(), ..Settings::default() };
        let mut problems = Vec::new();
        let filter = Filter::new(&settings, &mut problems);
        assert_eq!(problems.len(), 1);
        assert!(!filter.is_record("f999.yaml") && filter.is_record("f1000.yaml"));
    }

    #[test]
    fn long_globs_are_reported() {
        let filter = |ignore: Vec<String>| {
            let mut problems = Vec::new();
            let filter = Filter::new(&Settings { ignore, ..Settings::default() }, &mut problems);
            (filter, problems.into_iter().map(|problem| problem.route[1].clone()).collect::<Vec<_>>())
        };
        let long = |length: usize| format!("{}.yaml", "é".repeat(length - 5));
        let (longest, reported) = filter(vec![long(300), long(301), "b.yaml".to_owned()]);
        assert_eq!(reported, [long(301)]);
        let is_record = [long(300), long(301), "b.yaml".to_owned()].map(|path| longest.is_record(&path));
        assert_eq!(is_record, [false, true, false]);

        let name = |number: usize| format!("{number:095}.yaml");
        let all: Vec<String> = (0..203).map(name).collect();
        assert_eq!(filter(all[..200].to_vec()).1, [""; 0]);
        let (many, reported) = filter(all);
        assert_eq!(reported, [name(200)]);
        assert_eq!([199, 200, 201].map(|number| many.is_record(&name(number))), [false, true, true]);
    }

    #[test]
    fn record_files_and_others() {
        let ignore = ["cad/**", "old", "["].map(str::to_owned).into();
        let settings = Settings { ignore, ..Settings::default() };
        let mut problems = Vec::new();
        let filter = Filter::new(&settings, &mut problems);
        assert_eq!(problems.len(), 1, "the broken glob is reported");
        for record in ["a.yaml", "b/c.yml", "cadet/x.yaml", "older/x.yaml", "b/old/x.yaml", "old-b/old/x.yaml"] {
            assert!(filter.is_record(record), "{record}");
        }
        for other in
            ["tierod.yaml", "a.yaml.txt", ".ci/x.yaml", "a/.b.yml", "cad/x.yaml", "cad/deep/x.yaml", "old/x.yaml"]
        {
            assert!(!filter.is_record(other), "{other}");
        }
    }
}
