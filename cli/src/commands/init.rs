//! `init`: a starter project, and the recipe for its CI.

mod ci;

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;
use jiff::ToSpan as _;
use minijinja::{Environment, UndefinedBehavior, context};
use schema::settings;
use trace::Error;
use trace::git::{Beside, Project, Rights, begin_writing, refuse_link_out};
use trace::snapshot::{Request, State};

use self::ci::{Forge, Recipe};
use super::schema::{Which, text};
use super::{Done, Shared};
use crate::args::{cwd, today};
use crate::screen::clean;

/// The arguments of `init`.
#[derive(Args)]
pub(crate) struct Init {
    /// The folder; created if missing
    #[arg(default_value = ".")]
    folder: PathBuf,
    /// The year of the contest [default: the year of the next summer]
    #[arg(long, value_parser = clap::value_parser!(i16).range(1900..=2200))]
    season: Option<i16>,
    /// Also write the file for the CI of the forge; only this file if the project exists
    #[arg(long, value_name = "FORGE", num_args = 0..=1, default_missing_value = "auto")]
    ci: Option<Forge>,
}

/// Starter files: the path in the project root, and the template.
const STARTERS: [(&str, &str); 3] = [
    (settings::FILE, include_str!("../../../templates/init/tierod.yaml")),
    ("goal-and-events.yaml", include_str!("../../../templates/init/goal-and-events.yaml")),
    ("car.yaml", include_str!("../../../templates/init/car.yaml")),
];

impl Init {
    pub(super) fn run(&self, _: &Shared) -> Result<Done, Error> {
        let cwd = cwd()?;
        let folder = cwd.join(&self.folder);
        refuse_link_out(&folder)?;
        let recipe = self.ci.map(|forge| Recipe::new(forge, &folder, &cwd)).transpose()?;
        let request = Request { cwd: cwd.clone(), path: Some(folder.clone()), state: State::Worktree };
        // What is already in a repository was written before the tool was used.
        let since = Project::open(&request).has_commits().then(|| today().to_string());
        let mut files = Vec::new();
        let exists = folder.join(settings::FILE).symlink_metadata().is_ok();
        if recipe.is_none() || !exists {
            for (path, template) in STARTERS {
                files.push((path, self.fill(template, since.as_deref())?));
            }
            files.push(("tierod.schema.json", text(Which::Records)));
            files.push(("tierod-settings.schema.json", text(Which::Settings)));
        }

        let taken: Vec<&str> = files
            .iter()
            .filter(|(path, _)| folder.join(path).symlink_metadata().is_ok())
            .map(|(path, _)| *path)
            .collect();
        if !taken.is_empty() {
            let error = Error::new(format!("{} already contains {}", self.folder.display(), taken.join(", ")));
            return Err(error.help("nothing was written; give another folder, or continue with these files"));
        }
        if let Some(recipe) = &recipe
            && recipe.top.join(recipe.path).symlink_metadata().is_ok()
        {
            let error = Error::new(format!("{} already exists", recipe.top.join(recipe.path).display()));
            return Err(error.help("nothing was written; remove or rename this file, and run it again"));
        }
        let mut out = String::new();
        // All are written beside their places first, so that a full disk leaves none half-written or missing.
        let mut new = Vec::new();
        for (path, content) in &files {
            new.push(Ready::write(&folder, path, content, Rights::Usual)?);
        }
        if let Some(recipe) = &recipe {
            let rights = if recipe.program { Rights::Program } else { Rights::Usual };
            new.push(Ready::write(&recipe.top, recipe.path, &recipe.content, rights)?);
        }
        for file in new {
            file.put_in_place()?;
        }
        for (path, _) in &files {
            let shown = if self.folder.as_os_str() == "." { PathBuf::from(path) } else { self.folder.join(path) };
            out.push_str(&format!("wrote {}\n", clean(&shown.display().to_string())));
        }
        if let Some(recipe) = &recipe {
            let path = recipe.top.join(recipe.path);
            let shown = path.strip_prefix(&cwd).unwrap_or(&path).display().to_string();
            out.push_str(&format!("wrote {}\n", clean(&shown)));
        }
        if let Some(since) = since.filter(|_| !files.is_empty()) {
            out.push_str(&format!(
                "\nthis repository has commits: the history checks start after {since} (`history: since` in {})\n",
                settings::FILE
            ));
        }
        if !files.is_empty() {
            out.push_str("\nnext: write your goal in goal-and-events.yaml, run `tierod check` and `tierod hook install`, and commit\n");
        }
        if let Some(recipe) = &recipe {
            out.push_str(&format!("\nfor {}: {}\n", recipe.path, recipe.next));
        }
        Ok(out.into())
    }

    fn fill(&self, template: &str, since: Option<&str>) -> Result<String, Error> {
        let fail = |error: minijinja::Error| Error::new("cannot create a starter file").because(error);
        let now = today().date();
        // A contest is in summer; in autumn a team works on the car for the next one.
        let season = self.season.unwrap_or(if now.month() > 8 { now.year() + 1 } else { now.year() });
        let soon = now.saturating_add(90.days());
        let mut environment = Environment::new();
        environment.set_undefined_behavior(UndefinedBehavior::Strict);
        let values = context! { season => season, before => season - 1, due => soon.to_string(), since };
        // The template engine removes the last newline.
        environment.render_str(template, values).map(|text| text + "\n").map_err(fail)
    }
}

/// A file that is written, but not in its place yet.
struct Ready {
    path: PathBuf,
    new: Beside,
}

impl Ready {
    /// Writes the file beside its place below a folder, and creates the folders of its path. A link among them is not followed: it
    /// may lead out of the repository.
    fn write(folder: &Path, path: &str, content: &str, rights: Rights) -> Result<Self, Error> {
        let path = folder.join(path);
        let mut between = path.ancestors().skip(1).take_while(|up| *up != folder);
        if let Some(link) = between.find(|up| up.symlink_metadata().is_ok_and(|found| found.is_symlink())) {
            let error = not_written(&path).because(format!("{} is a symbolic link", link.display()));
            return Err(error.help("nothing was written; replace the link by a folder"));
        }
        begin_writing();
        let new = fs::create_dir_all(path.parent().unwrap_or(&path))
            .and_then(|()| Beside::create_again(&path)?.fill(content.as_bytes(), rights));
        match new {
            Ok(new) => Ok(Self { path, new }),
            Err(error) => Err(not_written(&path).because(error)),
        }
    }

    fn put_in_place(self) -> Result<(), Error> {
        self.new.replace().map_err(|error| not_written(&self.path).because(error))
    }
}

fn not_written(path: &Path) -> Error {
    Error::new(format!("{} cannot be written", path.display()))
}
