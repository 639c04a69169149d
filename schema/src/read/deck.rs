//! Problems of `deck` that can be read: what has one is not used.

use foldhash::HashSet;

use crate::settings::Settings;
use crate::settings::deck::{Deck, LONGEST_ALT, LONGEST_NOTES, LONGEST_PHRASE, MOST_SLIDES, SLIDES};
use crate::words::{Id, shorten};

/// A route of keys, a message and a fix.
type Wrong = (Vec<String>, String, String);

/// The endings of pictures that are shown. An SVG can have scripts in it.
const ENDINGS: [&str; 3] = [".png", ".jpg", ".jpeg"];

/// Takes what has a problem out of the settings, and returns what is wrong.
pub(super) fn take_wrong(settings: &mut Settings) -> Vec<Wrong> {
    let all = wrong(&settings.deck);
    let wrong_names: HashSet<&str> = all.iter().filter_map(|(route, ..)| route.get(2)).map(String::as_str).collect();
    settings.deck.slides.retain(|name, _| !wrong_names.contains(name.as_str()));
    settings.deck.abbreviations.retain(|name, _| !wrong_names.contains(name.as_str()));
    settings.deck.order.truncate(MOST_SLIDES);
    settings.deck.drop.truncate(MOST_SLIDES);
    all
}

fn wrong(deck: &Deck) -> Vec<Wrong> {
    let mut all: Vec<Wrong> = Vec::new();
    let mut add = |route: &[&str], message: String, help: &str| {
        let route = std::iter::once("deck").chain(route.iter().copied()).map(str::to_owned).collect();
        all.push((route, message, help.to_owned()));
    };
    for (name, list) in [("order", &deck.order), ("drop", &deck.drop)] {
        if list.len() > MOST_SLIDES {
            let message = format!("{} slides under `{name}`; the limit is {MOST_SLIDES}", list.len());
            add(&[name], message, "remove some of them");
        }
        let mut seen = HashSet::default();
        for id in list {
            if !seen.insert(id) {
                add(&[name, id.as_str()], format!("the slide `{id}` appears twice"), "keep one of them");
            }
        }
    }
    let dropped: HashSet<&Id> = deck.drop.iter().collect();
    if let Some(id) = deck.order.iter().find(|id| dropped.contains(id)) {
        let message = format!("the slide `{id}` is under `order` and under `drop`");
        add(&["drop", id.as_str()], message, "keep one of them");
    }
    if deck.slides.len() > MOST_SLIDES {
        let message = format!("{} slides; the limit is {MOST_SLIDES}", deck.slides.len());
        add(&["slides"], message, "remove some of them");
    }
    for (id, slide) in deck.slides.iter() {
        let id = id.as_str();
        if matches!(id, "budgets" | "decisions") {
            let message = format!("`{id}` is a group of slides");
            add(&["slides", id], message, "use the id of the record, as in `engine`");
        }
        let texts = [
            ("phrase", &slide.phrase, LONGEST_PHRASE),
            ("notes", &slide.notes, LONGEST_NOTES),
            ("alt", &slide.alt, LONGEST_ALT),
        ];
        for (key, text, most) in texts {
            let Some(text) = text else { continue };
            let length = text.chars().count();
            if text.trim().is_empty() {
                add(&["slides", id, key], format!("the {key} is empty"), "write it, or remove the key");
            } else if length > most {
                let message = format!("the {key} has {length} characters; the limit is {most}");
                add(&["slides", id, key], message, "use fewer words");
            }
        }
        if let Some(picture) = &slide.picture {
            let shown = shorten(picture);
            let lower = picture.to_ascii_lowercase();
            if !ENDINGS.iter().any(|ending| lower.ends_with(ending)) || picture.chars().any(char::is_control) {
                let message = format!("`{shown}` is not a picture that can be shown");
                add(
                    &["slides", id, "picture"],
                    message,
                    "use a `.png` or `.jpg` file; a drawing can be exported to one",
                );
            } else if picture.starts_with('/') || picture.contains('\\') || picture.split('/').any(|step| step == "..")
            {
                let message = format!("`{shown}` is not a path in the project");
                add(&["slides", id, "picture"], message, "use a path below the project root");
            }
            if slide.alt.is_none() {
                let message = "the picture has no `alt`".to_owned();
                add(&["slides", id, "picture"], message, "add `alt:` with what the picture shows");
            }
        } else if slide.alt.is_some() {
            add(&["slides", id, "alt"], "`alt` without a picture".to_owned(), "add `picture:`, or remove this line");
        }
    }
    for (name, meaning) in deck.abbreviations.iter() {
        if name.chars().count() > 12 || meaning.chars().count() > 80 || meaning.trim().is_empty() {
            let message = format!("`{}` has no short meaning", shorten(name));
            add(&["abbreviations", name], message, "write it as in `CG: centre of gravity`");
        }
    }
    all
}

impl Deck {
    /// The names under `order`, `drop` and `slides`, each with the keys that lead to it.
    pub fn names(&self) -> impl Iterator<Item = ([&'static str; 2], &Id)> {
        let order = self.order.iter().map(|id| (["deck", "order"], id));
        let drop = self.drop.iter().map(|id| (["deck", "drop"], id));
        order.chain(drop).chain(self.slides.keys().map(|id| (["deck", "slides"], id)))
    }

    /// Whether a name is a slide that every project has, or a group of slides.
    pub fn is_usual(name: &str) -> bool {
        SLIDES.contains(&name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> (Settings, Vec<String>) {
        let (settings, problems) = crate::read::settings(text.as_bytes());
        let line = |problem: crate::read::Problem| format!("{}: {}", problem.route.join("."), problem.message);
        (settings, problems.into_iter().map(line).collect())
    }

    #[test]
    fn what_cannot_be_shown_is_reported_and_not_used() {
        for (deck, found) in [
            (
                "slides: {us: {phrase: x, picture: us.svg, alt: us}}",
                "deck.slides.us.picture: `us.svg` is not a picture",
            ),
            (
                "slides: {us: {phrase: x, picture: ../us.png, alt: us}}",
                "deck.slides.us.picture: `../us.png` is not a path",
            ),
            ("slides: {us: {phrase: x, picture: /us.png, alt: us}}", "deck.slides.us.picture: `/us.png` is not a path"),
            ("slides: {us: {phrase: x, picture: us.png}}", "deck.slides.us.picture: the picture has no `alt`"),
            ("slides: {us: {phrase: x, alt: us}}", "deck.slides.us.alt: `alt` without a picture"),
            ("slides: {us: {phrase: ''}}", "deck.slides.us.phrase: the phrase is empty"),
            ("slides: {decisions: {phrase: x}}", "deck.slides.decisions: `decisions` is a group"),
        ] {
            let (settings, problems) = read(&format!("deck: {{{deck}}}"));
            assert!(problems.len() == 1 && problems[0].starts_with(found), "{deck}: {problems:?}");
            assert!(settings.deck.slides.is_empty(), "{deck}: it is not used");
        }
        for (deck, found) in [
            ("order: [goal, plan, goal]", "deck.order.goal: the slide `goal` appears twice"),
            ("order: [goal], drop: [goal]", "deck.drop.goal: the slide `goal` is under `order` and under `drop`"),
            ("abbreviations: {CG: ''}", "deck.abbreviations.CG: `CG` has no short meaning"),
            ("slides: {us: {phrase: x, for: [friends]}}", "deck.slides.us.for.friends: `friends` is not"),
            ("slides: {us: {words: x}}", "deck.slides.us.words: unknown key `words`"),
        ] {
            let (_, problems) = read(&format!("deck: {{{deck}}}"));
            assert!(problems.len() == 1 && problems[0].starts_with(found), "{deck}: {problems:?}");
        }
        let long = "x".repeat(LONGEST_PHRASE + 1);
        let (_, problems) = read(&format!("deck: {{slides: {{us: {{phrase: {long}}}}}}}"));
        assert_eq!(problems, ["deck.slides.us.phrase: the phrase has 201 characters; the limit is 200"]);
    }

    #[test]
    fn a_deck_is_read() {
        let (settings, problems) = read(
            "deck:\n  order: [goal, us]\n  drop: [levers]\n  slides:\n    us: {phrase: This is us, picture: a/us.JPG, alt: The team, for: [sponsors]}\n  abbreviations: {CG: centre of gravity}\n",
        );
        assert!(problems.is_empty(), "{problems:?}");
        let names: Vec<String> = settings.deck.names().map(|(keys, id)| format!("{}.{id}", keys.join("."))).collect();
        assert_eq!(names, ["deck.order.goal", "deck.order.us", "deck.drop.levers", "deck.slides.us"]);
        assert!(read("deck:\n").1.is_empty(), "an empty value is an empty map");
    }
}
