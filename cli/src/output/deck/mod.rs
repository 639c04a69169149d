//! The talk of `deck`: its slides with what is said, one HTML file, and what is too much on them.

mod budgets;
mod car;
mod chain;
mod decisions;
mod drawn;
mod goal;
mod html;
mod learned;
mod photo;
mod report;
mod text;
mod verification;

use std::collections::HashMap;

use schema::settings::deck::{Audience, Deck};
use trace::audit::Audit;
use trace::talk::count::{self, Remark, SlideTexts};
use trace::talk::decisions::Choice;
use trace::talk::fit::{Candidate, NoTime, ends, fit};
use trace::talk::wanted;
use trace::values::GoalPoints;
use trace::{RecordId, Study};

pub(crate) use html::{MARK, html};
pub(crate) use photo::{Photo, photos, place};
pub(crate) use report::{limits, report};

use super::pictures::Picture;

/// What a talk is made from.
pub(crate) struct DeckView<'t> {
    pub(crate) study: &'t Study,
    pub(crate) audit: &'t Audit,
    /// The first goal.
    pub(crate) goal: &'t GoalPoints,
    /// The decisions with a choice, those that changed the most points first.
    pub(crate) choices: &'t [Choice],
    /// The pictures of the team, by the id of their slide.
    pub(crate) photos: &'t [(String, Photo)],
    pub(crate) minutes: usize,
    pub(crate) audience: Option<Audience>,
    /// The state that it shows: commit and day.
    pub(crate) source: String,
    /// What is wrong under its numbers, in one line.
    pub(crate) caution: Option<String>,
}

/// What a slide shows below its phrase.
pub(crate) enum Visual {
    /// Nothing.
    None,
    /// A picture that is drawn from numbers.
    Drawn(Picture),
    /// A picture of the team.
    Photo(Photo),
    /// Records from a part up to the goal.
    Chain(Vec<chain::ChainStep>),
    /// What changed, with the value before and after.
    Changes(Vec<verification::Change>),
}

impl Visual {
    /// The texts that people read in it.
    fn texts(&self) -> Vec<String> {
        match self {
            Self::None | Self::Photo(_) => Vec::new(),
            Self::Drawn(picture) => text::of_svg(&picture.svg),
            Self::Chain(steps) => steps.iter().map(|step| format!("{} {}", step.kind, step.title)).collect(),
            Self::Changes(all) => all.iter().map(|own| format!("{} {} {}", own.what, own.from, own.to)).collect(),
        }
    }
}

/// A slide.
pub(crate) struct Slide {
    /// Its id, which is its address in the page.
    pub(crate) id: String,
    pub(crate) phrase: String,
    pub(crate) visual: Visual,
    /// What is said, by paragraphs.
    pub(crate) notes: Vec<String>,
    /// When it ends, in seconds from the start.
    pub(crate) end: u32,
    /// Abbreviations that are first used on it, with what they mean.
    pub(crate) abbreviations: Vec<(String, String)>,
}

impl Slide {
    fn new(phrase: String, visual: Visual, notes: Vec<String>) -> Self {
        Self { id: String::new(), phrase, visual, notes, end: 0, abbreviations: Vec::new() }
    }

    fn texts(&self) -> SlideTexts {
        SlideTexts {
            id: self.id.clone(),
            phrase: self.phrase.clone(),
            picture: self.visual.texts(),
            notes: self.notes.clone(),
        }
    }
}

/// Why a slide is not in the talk.
pub(crate) enum Why {
    /// There is nothing to show.
    Nothing(String),
    /// It does not fit into the time.
    NoTime(NoTime),
}

/// A talk.
pub(crate) struct Talk {
    pub(crate) slides: Vec<Slide>,
    /// The slides that are not in it.
    pub(crate) left_out: Vec<(String, Why)>,
    /// What is too much on the slides.
    pub(crate) remarks: Vec<Remark>,
    /// The words that are spoken.
    pub(crate) words: usize,
}

impl DeckView<'_> {
    fn deck(&self) -> &Deck {
        &self.study.settings().deck
    }

    fn id(&self, index: RecordId) -> &str {
        self.study.loaded.record(index).id.as_str()
    }

    fn title(&self, index: RecordId) -> String {
        text::typeset(self.study.loaded.record(index).name())
    }

    /// The title without what comes after its first comma, if that is a detail.
    fn brief(&self, index: RecordId) -> String {
        text::brief(self.study.loaded.record(index).name())
    }

    /// A slide that the tool has, or why it has none.
    fn made(&self, id: &str) -> Result<Slide, String> {
        match id {
            "goal" => goal::goal(self),
            "scored" => goal::scored(self),
            "plan" => goal::plan(self),
            "chain" => chain::chain(self),
            "car" => car::car(self),
            "levers" => car::levers(self),
            "risk" => car::risk(self),
            "money" => budgets::money(self),
            "traded" => verification::traded(self),
            "verification" => verification::verification(self),
            "learned" => learned::learned(self),
            _ => match self.study.loaded.find(id) {
                Some(index) if self.study.loaded.decision(index).is_some() => decisions::decision(self, index),
                Some(index) if self.study.loaded.target(index).is_some() => budgets::budget(self, index),
                _ => Err("no such slide".to_owned()),
            },
        }
    }

    /// A slide with the words and the picture of the settings.
    fn slide(&self, id: &str) -> Result<Slide, String> {
        let own = self.deck().slides.get(id);
        let is_own = !Deck::is_usual(id) && self.study.loaded.find(id).is_none();
        let mut slide = match own.and_then(|own| own.phrase.as_ref()) {
            Some(phrase) if is_own => Slide::new(text::typeset(phrase), Visual::None, Vec::new()),
            _ => self.made(id)?,
        };
        id.clone_into(&mut slide.id);
        if let Some(own) = own {
            if let Some(phrase) = &own.phrase {
                slide.phrase = text::typeset(phrase);
            }
            if let Some(notes) = &own.notes {
                slide.notes = text::paragraphs(notes);
            }
            if let Some((_, photo)) = self.photos.iter().find(|(of, _)| of == id) {
                slide.visual = Visual::Photo(photo.clone());
            }
        }
        Ok(slide)
    }

    /// The budgets of the car, which no other budget contains.
    fn budgets(&self) -> Vec<&str> {
        let own = self.study.budgets().iter().filter(|budget| budget.share_of.is_none() && !budget.shares.is_empty());
        own.map(|budget| self.id(budget.index)).collect()
    }
}

/// Makes the talk: the slides that are wanted, have something to show, and fit into the time.
pub(crate) fn talk(view: &DeckView<'_>) -> Talk {
    let with_points = view.choices.iter().filter(|choice| choice.moved.is_some());
    let decisions: Vec<&str> = with_points.map(|choice| view.id(choice.index)).collect();
    let (mut made, mut left_out) = (Vec::new(), Vec::new());
    for own in wanted(view.deck(), view.audience, &decisions, &view.budgets()) {
        match view.slide(&own.id) {
            Ok(slide) => made.push((own.goes, slide)),
            Err(why) => left_out.push((own.id, Why::Nothing(why))),
        }
    }
    let candidate = |(goes, slide): &(u8, Slide)| Candidate { goes: *goes, words: count::spoken(&slide.texts()) };
    let candidates: Vec<Candidate> = made.iter().map(candidate).collect();
    let (mut slides, mut words) = (Vec::new(), Vec::new());
    for (((_, slide), candidate), why) in made.into_iter().zip(&candidates).zip(fit(&candidates, view.minutes)) {
        match why {
            None => {
                slides.push(slide);
                words.push(candidate.words);
            }
            Some(why) => left_out.push((slide.id, Why::NoTime(why))),
        }
    }
    for (slide, end) in slides.iter_mut().zip(ends(&words, view.minutes)) {
        slide.end = end;
    }
    let known = || view.deck().abbreviations.iter();
    let texts: Vec<SlideTexts> = slides.iter().map(Slide::texts).collect();
    let first = first_used(&texts);
    for (name, meaning) in known() {
        if let Some(slide) = first.get(name.as_str()).and_then(|at| slides.get_mut(*at)) {
            slide.abbreviations.push((name.clone(), meaning.clone()));
        }
    }
    let known: Vec<&str> = known().map(|(name, _)| name.as_str()).collect();
    Talk { remarks: count::remarks(&texts, &known), words: words.iter().sum(), slides, left_out }
}

/// The slide on which each abbreviation is first used.
fn first_used(slides: &[SlideTexts]) -> HashMap<&str, usize> {
    let mut first: HashMap<&str, usize> = HashMap::new();
    for (at, texts) in slides.iter().enumerate() {
        for text in std::iter::once(&texts.phrase).chain(&texts.picture).chain(&texts.notes) {
            for name in count::abbreviations(text) {
                first.entry(name).or_insert(at);
            }
        }
    }
    first
}
