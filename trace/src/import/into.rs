//! The files that an import may write: record files of the project, and nothing that another program reads.

use foldhash::HashSet;
use schema::Kind;
use schema::read::tree::Content;
use schema::words::shorten;

use crate::Error;
use crate::load::Loaded;

/// The names of YAML files at the project root that other programs read, without the ending.
const OF_OTHERS: [&str; 13] = [
    "_config",
    "action",
    "appveyor",
    "azure-pipelines",
    "bitbucket-pipelines",
    "buildspec",
    "cloudbuild",
    "codecov",
    "compose",
    "docker-compose",
    "mkdocs",
    "pnpm-lock",
    "pnpm-workspace",
];

/// Refuses a file that is not a record file of the project.
///
/// # Errors
/// The first such file, in the order of their paths.
pub(super) fn check(loaded: &Loaded, paths: &HashSet<&str>) -> Result<(), Error> {
    let is_record = loaded.snapshot.is_record();
    let mut paths: Vec<&str> = paths.iter().copied().collect();
    paths.sort_unstable();
    // A path that leads out of the project is refused where it is edited.
    paths.retain(|path| crate::snapshot::inside(path).as_deref() == Some(*path));
    let why = |path: &str| {
        if path.split('/').any(|step| step.starts_with('.')) {
            Some("names that begin with a dot belong to other programs".to_owned())
        } else if is_of_others(path) {
            Some("files with this name are read by other programs".to_owned())
        } else if !is_record(path) {
            Some("`ignore` in the settings names it, or it does not end in `.yaml`".to_owned())
        } else {
            None
        }
    };
    let mut foreign = paths.iter().find_map(|path| Some((*path, why(path)?)));
    if foreign.is_none() {
        let wanted: HashSet<&str> = paths.into_iter().collect();
        let mut files = loaded.snapshot.files.iter().filter(|file| wanted.contains(file.path.as_str()));
        foreign = files.find_map(|file| Some((file.path.as_str(), foreign_content(file.content.as_ref().ok()?)?)));
    }
    let Some((path, why)) = foreign else { return Ok(()) };
    let help = "write a record file below the project root under `into`, for example `parts/{in}.yaml`";
    Err(Error::new(format!("`{}` is not a record file", shorten(path))).because(why).help(help))
}

fn is_of_others(path: &str) -> bool {
    let stem = path.split('.').next().unwrap_or_default().to_ascii_lowercase();
    OF_OTHERS.contains(&stem.as_str())
}

/// What a file has that no record file has.
fn foreign_content(bytes: &[u8]) -> Option<String> {
    let tree = schema::read::places(bytes)?;
    let root = tree.root().filter(|root| !tree.is_null(*root))?;
    let keys = tree.entries(root);
    if keys.is_empty() && !matches!(tree.content(root), Content::Map(_)) {
        return Some("it does not have the kinds of records as keys".to_owned());
    }
    let mut names = keys.iter().filter_map(|[key, _]| tree.text(*key));
    let foreign = names.find(|key| Kind::from_plural(key).is_none())?;
    Some(format!("it has the key `{}`, which no record file has", shorten(foreign)))
}
