//! `page`: the car as it is now, as one HTML file.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use clap::{Args, ValueHint};
use schema::Day;
use trace::audit::{Audit, Season};
use trace::git::Watched;
use trace::history::Past;
use trace::{Error, Project, Study};

use super::Done;
use crate::args::{Records, Shared, today};
use crate::guard;
use crate::output::page::{self, PageView};
use crate::screen::{clean, count, print_error};

const AFTER_HELP: &str = "\
The page needs no network and no other file. It begins with the chance to reach the goal; press any name for the place of \
that record, or add its id to the address, as in `page.html#front-upright`.

A file that `page` wrote before is replaced; any other file of that name, and a link, is not. To keep the page out of \
commits, add its name to `.gitignore`.

With `--watch` the page is written again whenever a file of the project is saved or a commit is made, until Ctrl-C; a page \
that is open in a browser renews itself.

With the same records and `--on DATE` the file has the same bytes.";

/// How often a project that is watched is looked at.
const INTERVAL: Duration = Duration::from_millis(250);

/// The arguments of `page`.
#[derive(Args)]
#[command(after_help = AFTER_HELP)]
pub(crate) struct Page {
    /// The file to write, ending in .html [default: page.html in the current folder]
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, default_value = "page.html", hide_default_value = true)]
    output: PathBuf,
    /// Write it again whenever a file of the project is saved, until Ctrl-C
    #[arg(long, conflicts_with_all = ["rev", "staged"])]
    watch: bool,
    #[command(flatten)]
    records: Records,
}

/// A page, and what it was made from.
struct Made {
    html: String,
    records: usize,
    /// The files of the working tree, and their state when they were read.
    files: Option<(Watched, u64)>,
    /// Today, on which the page depends.
    today: Day,
}

impl Made {
    /// Whether the next page may be another one.
    fn is_old(&self) -> bool {
        self.files.as_ref().is_some_and(|(files, state)| files.state() != *state) || self.today != today()
    }
}

impl Page {
    pub(super) fn run(&self, shared: &Shared) -> Result<Done, Error> {
        let ending = self.output.extension().and_then(|ending| ending.to_str()).map(str::to_lowercase);
        if !matches!(ending.as_deref(), Some("html" | "htm")) {
            let error = Error::new(format!("{} does not end in .html", self.shown()));
            return Err(error.help("name the file as in `page.html`"));
        }
        if self.watch {
            return self.watch(shared);
        }
        let made = self.make(None, false)?;
        self.write(&made)?;
        Ok(self.report(&made).into())
    }

    fn shown(&self) -> String {
        clean(&self.output.to_string_lossy())
    }

    fn report(&self, made: &Made) -> String {
        let size = made.html.len().div_ceil(1000);
        format!("wrote {}: {}, {size} kB\n", self.shown(), count(made.records, "record"))
    }

    /// Reads the project and makes the page. `known` are the files of the page before.
    fn make(&self, known: Option<&Watched>, renews: bool) -> Result<Made, Error> {
        let project = self.records.project()?;
        let load = || Ok::<_, Error>(project.load()?.with_all_stress_files(&project));
        let (loaded, files) = if renews { Watched::read_with(known, load)? } else { (load()?, None) };
        let day = self.records.day(&loaded);
        let past = Past::for_audit(&project, &loaded, day);
        let study = project.study(loaded, day, past);
        let html = html(&project, &study, renews)?;
        Ok(Made { html, records: study.loaded.entries.len(), files, today: today() })
    }

    /// Writes the page; whether it is another one than before.
    fn write(&self, made: &Made) -> Result<bool, Error> {
        let written = trace::git::write_own_file(&self.output, made.html.as_bytes(), page::MARK.as_bytes());
        // The next state of a watched project is as hostile as the first.
        trace::git::end_writing();
        written
    }

    /// Writes the page again and again until the process is asked to end. What cannot be read at a moment, as a file that
    /// is half saved, is reported and does not end it.
    fn watch(&self, shared: &Shared) -> Result<Done, Error> {
        let ended = Arc::new(AtomicBool::new(false));
        for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
            let failed = |error| Error::new("cannot wait for the end of `--watch`").because(error);
            signal_hook::flag::register(signal, Arc::clone(&ended)).map_err(failed)?;
        }
        let mut made = self.make(None, true)?;
        self.write(&made)?;
        notice(&format!("{}watching the project; Ctrl-C ends it\n", self.report(&made)));
        while !ended.load(Ordering::Relaxed) {
            std::thread::sleep(INTERVAL);
            // Looking for changes is work, too, and goes on for hours.
            guard::count_again();
            if !made.is_old() {
                continue;
            }
            let known = made.files.as_ref().map(|(files, _)| files);
            let state = known.map(Watched::state);
            match self.make(known, true) {
                Ok(next) => made = next,
                Err(error) => {
                    print_error(&error, shared);
                    // Until the next change, the same would be reported again and again.
                    made.files = made.files.take().map(|(files, _)| files).zip(state);
                    made.today = today();
                    continue;
                }
            }
            match self.write(&made) {
                Ok(true) => notice(&self.report(&made)),
                Ok(false) => {}
                Err(error) => print_error(&error, shared),
            }
        }
        // The page that stays does not wait for another one.
        guard::count_again();
        if let Ok(last) = self.make(None, false) {
            self.write(&last)?;
        }
        Ok(String::new().into())
    }
}

/// Prints a line of progress; without a place for it, there is none.
fn notice(text: &str) {
    let _ = std::io::Write::write_all(&mut std::io::stderr(), text.as_bytes());
}

/// The page of a study.
fn html(project: &Project, study: &Study, renews: bool) -> Result<String, Error> {
    let history = study.past().available();
    let season = history.map(|history| Season::from_history(project, &study.graph, history, &mut |_, _| {}));
    let audit = Audit::new(study, season.as_ref());
    let snapshot = &study.loaded.snapshot;
    page::html(&PageView {
        study,
        audit: &audit,
        season: season.as_ref(),
        commit: project.last_commit(snapshot),
        commit_day: project.last_commit_day(snapshot),
        off: project.switched_off(study),
        changed_since: trace::audit::older_than_a_change(study).into_iter().map(|(record, _)| record).collect(),
        renews,
        branches_left: page::MOST_BRANCHES.into(),
        entries_left: page::MOST_ENTRIES.into(),
        links_left: page::MOST_LINKS.into(),
    })
}
