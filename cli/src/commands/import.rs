//! `import`: parts from a spreadsheet, and the entry of the settings that says how.

use std::path::{Path, PathBuf};

use clap::Args;
use schema::edit::Change;
use schema::settings::imports::Header;
use schema::words::{is_kebab_case, to_kebab_case};
use schema::{Day, settings, suggest};
use trace::edit::Edits;
use trace::git::read_spreadsheet;
use trace::snapshot::{Request, State};
use trace::{Error, Loaded, Project, import, spreadsheet};

use super::edits::finish;
use super::{Done, Format, folded};
use crate::args::{Shared, cwd, today};
use crate::output::import::{self as output, ImportView, ProposalView};
use crate::output::json;
use crate::screen::clean;

/// The arguments of `import`.
#[derive(Args)]
pub(crate) struct Import {
    /// The name of an entry under `imports:` in tierod.yaml, or a spreadsheet (.xlsx, .ods, .csv) for which to propose one
    #[arg(value_name = "NAME|FILE")]
    source: String,
    /// Show what would change without writing it
    #[arg(long)]
    dry_run: bool,
    /// Also add the systems that the sheet names and the records do not have
    #[arg(long)]
    with_systems: bool,
    /// Write the proposed entry into tierod.yaml under this name
    #[arg(long, value_name = "NAME")]
    save: Option<String>,
    /// The sheet of a workbook to propose an entry for [default: the first]
    #[arg(long, value_name = "SHEET")]
    sheet: Option<String>,
    /// The rows of the column names to propose an entry for, `3` or `3-4` [default: found]
    #[arg(long, value_name = "ROWS")]
    header: Option<Header>,
    /// The project root (folder with tierod.yaml) or a folder in it [default: search upwards from here]
    #[arg(long, value_name = "FOLDER")]
    root: Option<PathBuf>,
    /// The date to use as today [default: `as-of` in the settings, otherwise today]
    #[arg(long, value_name = "DATE", value_parser = Day::parse)]
    on: Option<Day>,
    /// Output format
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

impl Import {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = Project::open(&Request { cwd: cwd()?, path: self.root.clone(), state: State::Worktree });
        let loaded = project.load()?;
        let entry = loaded.settings().imports.get(&self.source).cloned();
        match entry {
            Some(_) if self.save.is_some() || self.sheet.is_some() || self.header.is_some() => {
                let message = format!("`{}` is an entry of the settings", clean(&self.source));
                Err(Error::new(message)
                    .help("use `--save`, `--sheet` and `--header` with a file, or change the entry in tierod.yaml"))
            }
            Some(entry) => self.import(&project, loaded, &entry, shared),
            None if is_file(&self.source) && self.with_systems => {
                let error = Error::new("`--with-systems` needs the name of an entry under `imports`");
                Err(error.help("add the entry with `--save NAME` first, then run `tierod import NAME --with-systems`"))
            }
            None if is_file(&self.source) => self.propose(&project, loaded, shared),
            None => Err(unknown(&loaded, &self.source)),
        }
    }

    fn import(
        &self,
        project: &Project,
        loaded: Loaded,
        entry: &settings::imports::Import,
        shared: &Shared,
    ) -> Result<Done, Error> {
        let bytes = project.spreadsheet(&loaded.snapshot, &entry.file)?;
        let named = |error: Error| Error { message: format!("{}: {}", entry.file, error.message), ..error };
        let table = spreadsheet::read(&bytes, import::given(entry)).map_err(named)?;
        let plan = import::plan(&loaded, entry, &table, self.with_systems).map_err(named)?;
        let day = loaded.day(self.on, today);
        let mut edits = Edits::new(loaded, day);
        plan.add_to(&mut edits);
        let outcome = edits.outcome(project)?;
        let written = !self.dry_run && !outcome.files.is_empty();
        let totals = plan.totals(&outcome.after.loaded)?;
        let view = ImportView { name: &self.source, entry, plan: &plan, outcome: &outcome, totals: &totals, written };
        let text = match self.format {
            Format::Terminal => folded(shared, |ink| output::terminal(&view, ink)),
            Format::Json => json::text(&output::json(&view)),
        };
        finish(project, &outcome, written, text)
    }

    fn propose(&self, project: &Project, loaded: Loaded, shared: &Shared) -> Result<Done, Error> {
        let path = Path::new(&self.source);
        let bytes = read_spreadsheet(path)?;
        let given = spreadsheet::Given { sheet: self.sheet.as_deref(), ..spreadsheet::Given::default() };
        let named = |error: Error| Error { message: format!("{}: {}", clean(&self.source), error.message), ..error };
        let table = spreadsheet::read(&bytes, given).map_err(named)?;
        let file = in_project(&loaded, path).unwrap_or_else(|| self.source.clone());
        let proposal = import::propose(&loaded, &file, &table, self.header).map_err(named)?;
        let stem = path.file_stem().and_then(|stem| to_kebab_case(&stem.to_string_lossy()));
        let name = self.save.clone().or(stem).unwrap_or_else(|| "bom".to_owned());
        if !is_kebab_case(&name) {
            let help =
                suggest::did_you_mean(&name, [], "use lower-case letters, digits and hyphens, for example `bom`");
            return Err(Error::new(format!("`{}` is not a name of an import", clean(&name))).help(help));
        }
        let mut saved = false;
        if self.save.is_some() {
            self.save(project, loaded, &name, &proposal, in_project_file(&file))?;
            saved = !self.dry_run;
        }
        let (text, systems) = (proposal.text(&name)?, proposal.systems_text()?);
        let (proposal, table, systems) = (&proposal, &table, systems.as_deref());
        let view = ProposalView { file: &file, name: &name, text: &text, systems, proposal, table, saved };
        Ok(match self.format {
            Format::Terminal => folded(shared, |ink| output::proposal_terminal(&view, ink)),
            Format::Json => json::text(&output::proposal_json(&view)),
        }
        .into())
    }

    /// Writes the entry into the settings.
    fn save(
        &self,
        project: &Project,
        loaded: Loaded,
        name: &str,
        proposal: &import::Proposal,
        is_inside: bool,
    ) -> Result<(), Error> {
        if proposal.is_incomplete {
            let message = "the proposal has keys that were not found out; nothing was written";
            let help = "run it without `--save`, complete the entry and put it into tierod.yaml by hand";
            return Err(Error::new(message).because(proposal.unknown.join("; ")).help(help));
        }
        if !is_inside {
            let help = "copy it below the project root, so that it can be imported again";
            return Err(Error::new("the spreadsheet is outside of the project; nothing was written").help(help));
        }
        let day = loaded.day(self.on, today);
        let mut edits = Edits::new(loaded, day);
        edits.change(settings::FILE, Change::add(["imports", name], proposal.entry.clone()));
        let outcome = edits.outcome(project)?;
        if self.dry_run { Ok(()) } else { outcome.write(project) }
    }
}

/// Whether an argument is a file and not the name of an entry.
fn is_file(source: &str) -> bool {
    !is_kebab_case(source) || Path::new(source).is_file()
}

/// The path of a file relative to the project root; `None` if it is outside of it.
fn in_project(loaded: &Loaded, path: &Path) -> Option<String> {
    let root = loaded.snapshot.folder.as_ref()?;
    let full = path.canonicalize().ok()?;
    let below = full.strip_prefix(root).ok()?;
    let steps: Option<Vec<&str>> = below.components().map(|step| step.as_os_str().to_str()).collect();
    Some(steps?.join("/"))
}

/// Whether the path of an entry is one below the project root.
fn in_project_file(file: &str) -> bool {
    !Path::new(file).is_absolute() && !file.split('/').any(|step| step == "..")
}

fn unknown(loaded: &Loaded, source: &str) -> Error {
    let is_own = |route: &[String]| matches!(route, [key, name, ..] if key == "imports" && name == source);
    let mut problems = loaded.problems.iter().map(|found| &found.problem);
    if let Some(problem) = problems.find(|problem| is_own(&problem.route)) {
        let message = format!("the entry `{}` in tierod.yaml cannot be used", clean(source));
        return Error::new(message).because(&problem.message).help(problem.help.clone());
    }
    let names = || loaded.settings().imports.keys().map(schema::Id::as_str);
    let otherwise = if names().next().is_none() {
        "run `tierod import FILE` to propose an entry".to_owned()
    } else {
        format!("the entries are {}", suggest::any_of(names()))
    };
    let message = format!("no entry `{}` under `imports` in tierod.yaml, and no such file", clean(source));
    Error::new(message).help(suggest::did_you_mean(source, names(), &otherwise))
}
