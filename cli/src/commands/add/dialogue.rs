//! The questions of `add` on a terminal: one per key, each with what the schema says of it. Every answer is checked at
//! once. The end of the input cancels, and nothing is written before the last question.

use std::io::{BufRead, Read as _, Write};

use schema::{Kind, suggest};
use trace::graph::ids_for;
use trace::new_record::NewRecord;
use trace::{Error, Study};

use super::{Context, Key, given, help_for, typed, valid_id};
use crate::commands::keys;
use crate::screen::clean;

/// The longest answer, in bytes.
const LONGEST: u64 = 64 << 10;
/// The number of names that `?` lists.
const MOST_LISTED: usize = 60;

/// A dialogue: questions go to stderr, answers come from stdin.
pub(super) struct Dialogue {
    input: Box<dyn BufRead>,
    output: Box<dyn Write>,
}

/// What an answer means.
enum Answer {
    /// Nothing: the key is left out.
    Skip,
    /// No more questions.
    Finish,
    /// A text.
    Text(String),
}

impl Dialogue {
    pub(super) fn new() -> Self {
        Self { input: Box::new(std::io::BufReader::new(std::io::stdin())), output: Box::new(std::io::stderr()) }
    }

    fn say(&mut self, text: &str) {
        let _ = writeln!(self.output, "{}", clean(text));
    }

    /// Asks until there is a line. At the end of the input the dialogue is cancelled.
    fn ask(&mut self, prompt: &str) -> Result<String, Error> {
        let _ = write!(self.output, "{}> ", clean(prompt));
        let _ = self.output.flush();
        let mut line = Vec::new();
        let read = (&mut self.input).take(LONGEST).read_until(b'\n', &mut line);
        if !read.is_ok_and(|read| read > 0) {
            let _ = writeln!(self.output);
            return Err(Error::new("cancelled").help("nothing was written; run `tierod add` to begin again"));
        }
        // What a terminal sends for an arrow key is no part of a text.
        Ok(String::from_utf8_lossy(&line).chars().filter(|c| !c.is_control()).collect::<String>().trim().to_owned())
    }

    pub(super) fn kind(&mut self) -> Result<Kind, Error> {
        let names = || Kind::ALL.iter().map(|kind| kind.singular());
        self.say(&format!("kind of record: {}", names().collect::<Vec<_>>().join(", ")));
        loop {
            let name = self.ask("kind")?;
            match keys::kind(&name) {
                Some(kind) => return Ok(kind),
                None => self.say(&suggest::did_you_mean(&name, names(), "answer with one of the words above")),
            }
        }
    }

    pub(super) fn id(&mut self, study: &Study, kind: Kind) -> Result<String, Error> {
        self.say(&format!("id of the new {kind}: lower-case letters, digits and hyphens, as in `front-upright`"));
        loop {
            let id = self.ask("id")?;
            match (valid_id(&id), study.loaded.find(&id)) {
                (Err(error), _) => self.say(&error.help.unwrap_or(error.message)),
                (Ok(()), Some(other)) => {
                    let other = study.loaded.kind(other);
                    self.say(&format!(
                        "`{id}` already exists: {}; ids are unique over all kinds",
                        other.with_article()
                    ));
                }
                (Ok(()), None) => return Ok(id),
            }
        }
    }

    /// Asks for the keys that are not set: those that are required and, with `also_optional`, all others.
    pub(super) fn keys(
        &mut self,
        context: &Context<'_>,
        record: &mut NewRecord,
        known: &[Key],
        also_optional: bool,
    ) -> Result<(), Error> {
        self.say("");
        self.say("Enter leaves an optional key out, `?` lists what fits, `.` ends the optional keys, Ctrl-C cancels");
        let is_open = |record: &NewRecord, key: &Key| record.keys.iter().all(|(own, _)| own != key.name());
        for key in known.iter().filter(|key| key.is_required()) {
            if is_open(record, key) {
                self.key(context, record, key, true)?;
            }
        }
        // The links and the verification are what a record needs most often.
        let first = ["title", "serves", "verify"];
        let optional = || known.iter().filter(|key| !key.is_required() && key.name() != "formerly");
        let ordered = first
            .iter()
            .flat_map(|name| optional().filter(move |key| key.name() == *name))
            .chain(optional().filter(|key| !first.contains(&key.name())));
        if also_optional {
            for key in ordered {
                if is_open(record, key) && !self.key(context, record, key, false)? {
                    break;
                }
            }
        }
        // Keys of which one is required, such as the limit of a target.
        while let Some(missing) = super::missing(context, record, None)?.and_then(|all| all.into_iter().next()) {
            let name = missing.route.first().cloned().unwrap_or_default();
            self.say(&format!("{} | {}", missing.message, missing.help));
            let asked = self.ask("key")?;
            let asked = if asked.is_empty() { name } else { asked };
            match known.iter().find(|key| key.name() == asked) {
                Some(key) => {
                    self.key(context, record, key, true)?;
                }
                None => self.say(&suggest::did_you_mean(
                    &asked,
                    known.iter().map(Key::name),
                    "answer with the name of a key",
                )),
            }
        }
        Ok(())
    }

    /// Asks for one key; false if no more optional keys are wanted.
    fn key(&mut self, context: &Context<'_>, record: &mut NewRecord, key: &Key, required: bool) -> Result<bool, Error> {
        let need = if required { "required" } else { "optional" };
        self.say("");
        self.say(&format!("{} ({need}): {}", key.name(), key.meaning()));
        if key.has_simple_form() || !key.has_map_form() {
            return self.value(context, record, &[key.name()], Some(key), required);
        }
        self.map(context, record, key, required)
    }

    /// Asks for what is in the map of a key.
    fn map(&mut self, context: &Context<'_>, record: &mut NewRecord, key: &Key, required: bool) -> Result<bool, Error> {
        if key.has_names() {
            return self.names(context, record, key);
        }
        self.below(context, record, key, required)
    }

    /// Asks for a value until it is one; false if no more optional keys are wanted.
    fn value(
        &mut self,
        context: &Context<'_>,
        record: &mut NewRecord,
        route: &[&str],
        key: Option<&Key>,
        required: bool,
    ) -> Result<bool, Error> {
        let prompt = route.join(".");
        // The keys of a map are asked for one by one, if that is wanted.
        let map =
            key.filter(|key| route.len() == 1 && key.has_map_form() && (key.has_names() || !key.below().is_empty()));
        for (at, form) in key.map(Key::forms).unwrap_or_default().iter().enumerate() {
            let opens = if map.is_some() && form.starts_with("a map") { "; `{` asks for them" } else { "" };
            self.say(&format!("  {}{form}{opens}", if at == 0 { "" } else { "or " }));
        }
        loop {
            let text = match self.answer(&prompt, required)? {
                Answer::Skip => return Ok(true),
                Answer::Finish => return Ok(false),
                Answer::Text(text) => text,
            };
            if text == "?" {
                self.list(context, record.kind, route, key);
                continue;
            }
            if let Some(key) = map.filter(|_| text == "{") {
                return self.map(context, record, key, required);
            }
            let mut tried = record.clone();
            let is_reason = matches!(route, ["serves", _]);
            let value = if is_reason { given::reason(&text) } else { typed(key, &text, context.today) };
            let set = tried.set(route, value);
            let wrong = set.err().map(|error| error.message).or(self.wrong(context, &tried, route)?);
            match wrong {
                Some(wrong) => self.say(&wrong),
                None => {
                    *record = tried;
                    return Ok(true);
                }
            }
        }
    }

    fn answer(&mut self, prompt: &str, required: bool) -> Result<Answer, Error> {
        loop {
            let text = self.ask(prompt)?;
            match text.as_str() {
                "" if required => self.say("this key is required"),
                "" => return Ok(Answer::Skip),
                "." if !required => return Ok(Answer::Finish),
                _ => return Ok(Answer::Text(text)),
            }
        }
    }

    /// What is wrong with the value at a route, and how to fix it.
    fn wrong(&self, context: &Context<'_>, tried: &NewRecord, route: &[&str]) -> Result<Option<String>, Error> {
        let draft = tried.draft(&context.study.loaded, &tried.file(context.study))?;
        let is_here = |own: &[String]| own.iter().zip(route).all(|(own, asked)| own == asked) && !own.is_empty();
        let problems = draft.problems(&tried.id);
        // Of the keys of one map, the others come later.
        let mut wrong = problems.iter().filter(|problem| !problem.is_missing && !context.allows(problem));
        let found = wrong.find(|problem| is_here(&problem.route));
        Ok(found.map(|problem| format!("{} | {}", problem.message, help_for(problem))))
    }

    /// Asks for the names of a map, and for the value of each.
    fn names(&mut self, context: &Context<'_>, record: &mut NewRecord, key: &Key) -> Result<bool, Error> {
        let top = key.name();
        let growth = context.study.settings().growth.keys().map(ToString::to_string).collect::<Vec<_>>();
        let (what, value) = match top {
            "serves" => ("id", "reason in one sentence"),
            "amounts" => ("amount", "amount of one piece, as in `0.62 kg`"),
            _ => ("name", "value"),
        };
        if top == "amounts" && !growth.is_empty() {
            self.say(&format!("  with growth in the settings: {}", growth.join(", ")));
        }
        loop {
            let name = match self.answer(&format!("{top}, {what} (Enter: done)"), false)? {
                Answer::Skip => return Ok(true),
                Answer::Finish => return Ok(false),
                Answer::Text(name) => name,
            };
            let ids = ids_for(&context.study.loaded, record.kind, top);
            if name == "?" {
                self.list(context, record.kind, &[top], Some(key));
                continue;
            }
            if name.starts_with('{') {
                record.set(&[top], typed(Some(key), &name, context.today))?;
                return Ok(true);
            }
            if let Some(ids) = ids.filter(|ids| !context.allow_unknown && !ids.contains(&name.as_str())) {
                let near = suggest::did_you_mean(&name, ids, "`?` lists the ids that fit");
                self.say(&format!("no such record: `{name}` | {near}"));
                continue;
            }
            if let Err(error) = valid_id(&name) {
                self.say(&error.help.unwrap_or(error.message));
                continue;
            }
            self.say(&format!("  {value}"));
            self.value(context, record, &[top, &name], None, true)?;
            let basis = key.below().iter().find(|below| below.name() == "basis").filter(|_| top == "amounts");
            if let Some(basis) = basis.filter(|_| growth.contains(&name)) {
                let settings = context.study.settings();
                let all = settings.growth.get(&name).map(|all| all.keys().map(ToString::to_string).collect::<Vec<_>>());
                self.say(&format!("  basis: {} (Enter: the first)", all.unwrap_or_default().join(", ")));
                self.value(context, record, &[top, &name, "basis"], Some(basis), false)?;
            }
        }
    }

    /// Asks for the keys of a map: the first decides whether there is one. Of a score sheet and a formula, the sheet is
    /// asked for first, and a formula only without one.
    fn below(
        &mut self,
        context: &Context<'_>,
        record: &mut NewRecord,
        key: &Key,
        required: bool,
    ) -> Result<bool, Error> {
        let mut all: Vec<&Key> = key.below().iter().collect();
        all.sort_by_key(|below| below.name() != "use");
        let firsts = if all.iter().any(|below| below.name() == "use") { 2 } else { 1 };
        let is_set = |record: &NewRecord| record.keys.iter().any(|(own, _)| own == key.name());
        for (at, below) in all.into_iter().enumerate() {
            if at > 0 && at < firsts && is_set(record) {
                continue;
            }
            self.say(&format!("  {}: {}", below.name(), below.meaning()));
            let route = [key.name(), below.name()];
            if !self.value(context, record, &route, Some(below), required && firsts == 1 && at == 0)? {
                return Ok(at > 0);
            }
            if at + 1 >= firsts && !is_set(record) {
                return Ok(true);
            }
        }
        Ok(true)
    }

    /// Lists what fits a key.
    fn list(&mut self, context: &Context<'_>, kind: Kind, route: &[&str], key: Option<&Key>) {
        let loaded = &context.study.loaded;
        let words = key.map(Key::words).unwrap_or_default();
        if !words.is_empty() {
            self.say(&format!("  {}", words.join(", ")));
        }
        let ids = match route {
            [top] => ids_for(loaded, kind, top).unwrap_or_default(),
            _ => Vec::new(),
        };
        for id in ids.iter().take(MOST_LISTED) {
            let title = loaded.find(id).and_then(|index| loaded.record(index).body.common().title());
            self.say(&format!("  {id}  {}", title.unwrap_or_default()));
        }
        if let Some(more) = ids.len().checked_sub(MOST_LISTED).filter(|more| *more > 0) {
            self.say(&format!("  and {more} more: type a part of the id"));
        }
        if ids.is_empty() && words.is_empty() {
            self.say(&format!("  `tierod explain {}` shows its forms", route.last().unwrap_or(&"")));
        }
    }

    /// Asks whether to write.
    pub(super) fn agrees(&mut self) -> Result<bool, Error> {
        loop {
            match self.ask("write it? y or n")?.as_str() {
                "y" | "yes" => return Ok(true),
                "n" | "no" => return Err(Error::new("cancelled").help("nothing was written")),
                _ => {}
            }
        }
    }
}
