//! `add`: a new record, from values on the command line or from the answers to questions.

mod dialogue;
mod given;

use std::io::{IsTerminal as _, Write as _};
use std::path::{Component, Path, PathBuf};

use clap::{Args, ValueHint};
use schema::edit::Value;
use schema::words::Id;
use schema::{Day, Kind, suggest};
use trace::edit::{Edits, Outcome, or_later};
use trace::new_record::{KeyProblem, NewRecord};
use trace::snapshot::{Request, State};
use trace::{Error, Project, Study};

use super::edits::{finish, stops_commit};
use super::keys::{self, Key};
use super::{Done, Format, folded};
use crate::args::{Shared, cwd, today};
use crate::output::{add, json};
use crate::screen::{Ink, clean};
use dialogue::Dialogue;

const AFTER_HELP: &str = "\
Examples:
  tierod add
  tierod add result front-mass of=front-upright-mass value='0.62 kg ± 0.01 kg' date=today evidence=test/scale.csv
  tierod add part brake-disc in=brakes count=4 amounts.mass='0.55 kg' amounts.mass.basis=drawn \\
      serves.stopping='It turns speed into heat.' verify.by=test verify.with='brake bench'

A key inside another one is written with a dot. A list has commas, or is written as in YAML: `[a, b]`. For a date, `today` \
works. `tierod explain KIND` lists the keys of a kind.

On a terminal, `add` asks for what is missing, one question per key, shows the record and its file, and writes it only \
after a `y`. Ctrl-C and Ctrl-D cancel; then nothing is written.
Records that name each other: give `--allow-unknown` for the first one.
The file is the one with most records of the kind about the same record, else of the same system, else of the kind.

Exit status: 2 if the record cannot be written, because a key is wrong or missing or names a record that does not exist; \
1 if it adds an error that stops a commit; otherwise 0.";

/// The arguments of `add`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct Add {
    /// The kind of record, as in `part` or `result`
    kind: Option<String>,
    /// The id of the new record, in kebab-case
    id: Option<String>,
    /// Its keys, each as `key=value`
    #[arg(value_name = "KEY=VALUE")]
    values: Vec<String>,
    /// The record file to add it to, relative to the project root
    #[arg(long, value_name = "PATH", value_hint = ValueHint::FilePath)]
    file: Option<PathBuf>,
    /// Show the change and write nothing
    #[arg(long)]
    dry_run: bool,
    /// Write names of records that do not exist yet
    #[arg(long)]
    allow_unknown: bool,
    /// The project root (folder with tierod.yaml) or a folder in it [default: search upwards from here]
    #[arg(long, value_name = "ROOT", value_hint = ValueHint::DirPath)]
    root: Option<PathBuf>,
    /// The date to use as today [default: `as-of` in the settings, otherwise today]
    #[arg(long, value_name = "DATE", value_parser = Day::parse)]
    on: Option<Day>,
    /// Output format; with `json` nothing is asked
    #[arg(long, value_name = "FORMAT", default_value = "terminal")]
    format: Format,
}

/// The state that a record is added to.
pub(super) struct Context<'s> {
    pub(super) study: &'s Study,
    /// Today, for `date=today`.
    pub(super) today: Day,
    /// Whether the record may name records that do not exist.
    pub(super) allow_unknown: bool,
}

impl Context<'_> {
    /// Whether a problem is no reason to refuse the record.
    fn allows(&self, problem: &KeyProblem) -> bool {
        self.allow_unknown && problem.is_unknown
    }
}

impl Add {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = Project::open(&Request { cwd: cwd()?, path: self.root.clone(), state: State::Worktree });
        let loaded = project.load()?;
        let day = loaded.day(self.on, today);
        let study = Study::without_history(loaded, day);
        let (today, allow_unknown) = (self.on.unwrap_or_else(today), self.allow_unknown);
        let context = Context { study: &study, today, allow_unknown };
        let asks = self.format == Format::Terminal && std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
        let mut dialogue = asks.then(Dialogue::new);

        let kind = self.kind(dialogue.as_mut())?;
        let id = self.id(&study, kind, dialogue.as_mut())?;
        let known = keys::of_kind(kind);
        let mut record = NewRecord { kind, id, keys: Vec::new() };
        for word in &self.values {
            given::add(&mut record, &known, word, context.today)?;
        }
        let mut asked = false;
        if let Some(dialogue) = &mut dialogue
            && (self.values.is_empty() || missing(&context, &record, self.named_file(&study)?)?.is_some())
        {
            asked = true;
            dialogue.keys(&context, &mut record, &known, self.values.is_empty())?;
        }
        let path = self.named_file(&study)?.unwrap_or_else(|| record.file(&study));
        let mut problems = record.draft(&study.loaded, &path)?.problems(&record.id);
        problems.retain(|problem| !context.allows(problem));
        refuse(&record, &known, &problems)?;
        let mut edits = Edits::new(project.load()?, day);
        edits.keep_right(&record.id);
        if self.allow_unknown {
            edits.allow_unknown();
        }
        edits.change(&path, record.change());
        let outcome = edits.outcome(&project)?;
        let dialogue = asked.then_some(dialogue).flatten();
        let writes = !self.dry_run && agrees(&outcome, dialogue, shared)?;
        let view = add::View { outcome: &outcome, id: &record.id, written: writes };
        let text = match self.format {
            // What was asked for consent was shown before.
            Format::Terminal if asked => add::closing(&view),
            Format::Terminal => folded(shared, |ink| add::terminal(&view, ink)),
            Format::Json => json::text(&add::json(&view)),
        };
        Ok(Done { errors: stops_commit(&outcome), ..finish(&project, &outcome, writes, text)? })
    }

    fn kind(&self, dialogue: Option<&mut Dialogue>) -> Result<Kind, Error> {
        let names = || Kind::ALL.iter().map(|kind| kind.singular());
        let list = || format!("the kinds are {}", suggest::any_of(names()));
        match (&self.kind, dialogue) {
            (Some(name), _) => keys::kind(name).ok_or_else(|| {
                let error = Error::new(format!("unknown kind of record `{}`", clean(name)));
                error.help(suggest::did_you_mean(name, names(), &list()))
            }),
            (None, Some(dialogue)) => dialogue.kind(),
            (None, None) => Err(Error::new("the kind and the id of the record are missing").because(list()).help(
                "give them, as in `tierod add part brake-disc in=brakes`; on a terminal `tierod add` asks for them",
            )),
        }
    }

    fn id(&self, study: &Study, kind: Kind, dialogue: Option<&mut Dialogue>) -> Result<String, Error> {
        match (&self.id, dialogue) {
            (Some(id), _) if id.contains('=') => {
                let error = Error::new(format!("the id of the {kind} is missing in front of `{}`", clean(id)));
                Err(error.help(format!("give it behind the kind, as in `tierod add {kind} NEW-ID {}`", clean(id))))
            }
            (Some(id), _) => valid_id(id).map(|()| id.clone()),
            (None, Some(dialogue)) => dialogue.id(study, kind),
            (None, None) => Err(Error::new(format!("the id of the {kind} is missing"))
                .help(format!("give it behind the kind, as in `tierod add {kind} front-upright`"))),
        }
    }

    /// The file that was named, relative to the project root.
    fn named_file(&self, study: &Study) -> Result<Option<String>, Error> {
        let Some(file) = &self.file else { return Ok(None) };
        let shown = || clean(&file.to_string_lossy());
        let relative = match (file.is_absolute(), &study.loaded.snapshot.folder) {
            (true, Some(root)) => file.strip_prefix(root).unwrap_or(file).to_owned(),
            _ => file.clone(),
        };
        let plain = |step: Component<'_>| match step {
            Component::Normal(step) => step.to_str().map(str::to_owned),
            _ => None,
        };
        let steps = Path::new(&relative).components().filter(|step| *step != Component::CurDir).map(plain);
        match steps.collect::<Option<Vec<String>>>() {
            Some(steps) if !steps.is_empty() => Ok(Some(steps.join("/"))),
            _ => Err(Error::new(format!("{} is not a path in the project root", shown()))
                .help("give a path relative to the project root, as in `--file parts/brakes.yaml`")),
        }
    }
}

/// Whether the record is to be written: without a dialogue, what was typed is enough.
fn agrees(outcome: &Outcome, dialogue: Option<Dialogue>, shared: &Shared) -> Result<bool, Error> {
    let Some(mut dialogue) = dialogue else { return Ok(true) };
    let text = add::proposal(outcome, Ink::stderr(shared));
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
    dialogue.agrees()
}

/// Refuses what is no id.
fn valid_id(id: &str) -> Result<(), Error> {
    Id::new(id).map(|_| ()).map_err(|_| {
        let error = Error::new(format!("`{}` is not an id", clean(id)));
        match schema::words::to_kebab_case(id) {
            Some(near) => {
                error.help(format!("did you mean `{near}`? An id has lower-case letters, digits and hyphens"))
            }
            None => error.help("use lower-case letters, digits and hyphens, as in `front-upright`"),
        }
    })
}

/// The required keys that a record lacks, if it lacks some and nothing else is wrong with it.
fn missing(context: &Context<'_>, record: &NewRecord, file: Option<String>) -> Result<Option<Vec<KeyProblem>>, Error> {
    let path = file.unwrap_or_else(|| record.file(context.study));
    let mut problems = record.draft(&context.study.loaded, &path)?.problems(&record.id);
    problems.retain(|problem| !context.allows(problem));
    let all_missing = !problems.is_empty() && problems.iter().all(|problem| problem.is_missing);
    Ok(all_missing.then_some(problems))
}

/// How to fix a problem, with the way out for a record that comes later.
fn help_for(problem: &KeyProblem) -> String {
    if problem.is_unknown { or_later(&problem.help) } else { problem.help.clone() }
}

/// Refuses a record with wrong or missing keys: what is wrong comes first, then all missing keys with what they mean.
fn refuse(record: &NewRecord, known: &[Key], problems: &[KeyProblem]) -> Result<(), Error> {
    let about = |text: &str| clean(text);
    if let Some(first) = problems.iter().find(|problem| !problem.is_missing) {
        let others: Vec<String> = problems
            .iter()
            .filter(|other| !other.is_missing && *other != first)
            .map(|other| about(&other.message))
            .collect();
        let place = if first.route.is_empty() { String::new() } else { format!("{}: ", first.route.join(".")) };
        let error =
            Error::new(format!("{} was not written: {place}{}", record.id, first.message)).help(help_for(first));
        return Err(if others.is_empty() { error } else { error.because(format!("also: {}", others.join("; "))) });
    }
    if problems.is_empty() {
        return Ok(());
    }
    let mut listed = Vec::new();
    for problem in problems {
        let name = problem.route.join(".");
        // Where one of several keys is required, the reader says it best.
        let meaning = known.iter().find(|key| key.name() == name && key.is_required()).map(Key::meaning);
        listed.push(format!("`{name}`: {}", meaning.unwrap_or(&problem.help).trim_end_matches('.')));
    }
    let names: Vec<String> = problems.iter().map(|problem| format!("`{}`", problem.route.join("."))).collect();
    let verb = if names.len() == 1 { "is" } else { "are" };
    Err(Error::new(format!("{} of the {} {} {verb} missing", names.join(", "), record.kind, record.id))
        .because(listed.join("; "))
        .help("add them as `key=value`; on a terminal `tierod add` asks for them"))
}

/// A value as it is typed, in the form that its key has.
pub(super) fn typed(key: Option<&Key>, text: &str, today: Day) -> Value {
    given::value(key, text, today)
}
