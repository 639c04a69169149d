//! `deck`: a talk about the car as one page for a browser.

use std::path::PathBuf;

use clap::{Args, ValueEnum, ValueHint};
use schema::settings::FILE;
use schema::settings::deck::Audience;
use trace::audit::Audit;
use trace::history::Past;
use trace::snapshot::{Source, short_id};
use trace::talk::decisions::by_points;
use trace::{Error, Project, Study};

use super::audit::season;
use super::points::no_goal;
use super::{Done, folded};
use crate::args::{Records, Shared};
use crate::output::deck::{self, DeckView};
use crate::output::flow::fitted;
use crate::output::points;
use crate::screen::{self, Ink, clean};

const AFTER_HELP: &str = "\
The slides: goal, how points are given, plan, why a part exists, what the car must do, what changes the points, budgets, what
money buys, three decisions (those that changed the most points), limits that changed, verification, risks, what we learned.
`--for` and `--minutes` choose what is in; what does not fit is omitted, and the report says so.
Words, order and slides of your own: `deck:` in tierod.yaml, see `tierod explain deck`.

Keys: arrows, page keys and space; Home and End; N notes, C clock, W a second window with the notes. Swipe on a phone.
Printed, each slide is a sheet with its notes.";

/// The arguments of `deck`.
#[derive(Args)]
#[command(after_help = AFTER_HELP, after_long_help = format!("{AFTER_HELP}\n\n{}", deck::limits()))]
pub(crate) struct Deck {
    #[command(flatten)]
    records: Records,
    /// The page to write, replaced if it is an earlier talk [default: print it]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    output: Option<PathBuf>,
    /// The minutes of the talk, from 1 to 120
    #[arg(long, value_name = "N", default_value_t = 10, value_parser = clap::value_parser!(u8).range(1..=120))]
    minutes: u8,
    /// The people that it is for
    #[arg(long = "for", value_name = "PEOPLE")]
    audience: Option<People>,
}

/// The audiences.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum People {
    /// Judges of the design: reasons, verification, what was traded
    Judges,
    /// Sponsors: what money buys
    Sponsors,
    /// People who are new: what the words mean, how a car is scored
    Newcomers,
}

impl People {
    fn audience(self) -> Audience {
        match self {
            Self::Judges => Audience::Judges,
            Self::Sponsors => Audience::Sponsors,
            Self::Newcomers => Audience::Newcomers,
        }
    }
}

impl Deck {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let project = self.records.project()?;
        let mut loaded = project.load()?;
        let day = self.records.day(&loaded);
        let pictures: Vec<String> =
            loaded.settings().deck.slides.iter().filter_map(|(_, slide)| slide.picture.clone()).collect();
        project.fetch_pictures(&mut loaded.snapshot, &pictures);
        let past = Past::for_audit(&project, &loaded, day);
        let study = project.study(loaded, day, past);
        let Some(goal) = study.goals().first() else { return Err(no_goal()) };
        let (photos, wrong) = deck::photos(&study.loaded.snapshot, &study.settings().deck);
        refuse(&study, &wrong)?;
        let season = season(&project, &study);
        let audit = Audit::new(&study, season.as_ref());
        let choices = by_points(&study);
        let broken = points::broken(&study);
        let view = DeckView {
            study: &study,
            audit: &audit,
            goal,
            choices: &choices,
            photos: &photos,
            minutes: usize::from(self.minutes),
            audience: self.audience.map(People::audience),
            source: source(&project, &study),
            caution: crate::output::broken::notes(&study).into_iter().next(),
        };
        let talk = deck::talk(&view);
        let page = deck::html(&view, &talk)?;
        let is_complete = study.goals().iter().all(|goal| goal.without_value.is_empty());
        let has_answer = is_complete && !broken.has_errors();
        match &self.output {
            Some(file) => {
                trace::git::write_own_file(file, page.as_bytes(), deck::MARK)?;
                let wrote = format!("\nwrote {}\n", clean(&file.to_string_lossy()));
                let report = |ink| broken.terminal(ink) + &deck::report(&view, &talk, ink) + &wrote;
                Ok(Done::answer(folded(shared, report), has_answer))
            }
            None => {
                let ink = Ink::stderr(shared);
                let report = broken.terminal(ink) + &deck::report(&view, &talk, ink);
                screen::print_beside(&fitted(&report, ink), shared);
                Ok(Done::answer(page, has_answer))
            }
        }
    }
}

/// The error if `deck` in the settings has problems, each with its line and column.
fn refuse(study: &Study, pictures: &[([String; 4], String)]) -> Result<(), Error> {
    let is_about_deck = |field: &str| field == "deck" || field.starts_with("deck.");
    let found = study.report().findings.iter().filter(|finding| {
        finding.path == FILE && finding.record.is_none() && finding.field.as_deref().is_some_and(is_about_deck)
    });
    let mut all: Vec<(String, String)> = found
        .map(|finding| {
            let place = format!("{FILE}:{}:{}", finding.spot.line, finding.spot.column);
            (format!("{place}: {}", finding.message), finding.help.clone())
        })
        .collect();
    all.extend(pictures.iter().map(|(route, message)| {
        let place = deck::place(&study.loaded.snapshot, route);
        (format!("{place}: {message}"), "use a `.png` or `.jpg` file of the repository".to_owned())
    }));
    let Some((_, help)) = all.first() else { return Ok(()) };
    let message = format!("{} under `deck` in {FILE}", screen::count(all.len(), "error"));
    let lines: Vec<String> = all.iter().map(|(line, _)| clean(line)).collect();
    Err(Error::new(message).because(lines.join("; ")).help(help.clone()))
}

/// The commit and the day that the talk shows.
fn source(project: &Project, study: &Study) -> String {
    let snapshot = &study.loaded.snapshot;
    let commit = project.last_commit(snapshot);
    let state = match (&snapshot.source, commit.as_deref().map(short_id)) {
        (Source::Revision { .. }, Some(id)) => format!("commit {id}"),
        (Source::Index, Some(id)) => format!("index on commit {id}"),
        (_, Some(id)) => format!("working tree on commit {id}"),
        (_, None) => "not committed".to_owned(),
    };
    let season = study.settings().season.map(|season| format!("season {season}, ")).unwrap_or_default();
    format!("{season}{}, {state}", study.day.long())
}
