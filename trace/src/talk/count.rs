//! What is too much on a slide, and what to cut: words, numbers, time and abbreviations. Pure functions of texts.

use foldhash::{HashMap, HashSet};
use schema::quantity::Unit;

/// The most words of a phrase. Common practice, no source.
pub const MOST_WORDS_OF_PHRASE: usize = 12;
/// The most words that a slide shows, without numbers: its phrase, and what is written in its picture. Common practice, no
/// source.
pub const MOST_WORDS_OF_SLIDE: usize = 60;
/// The most numbers in a phrase: what people keep in mind at once is about four (Cowan, The magical number 4 in short-term
/// memory, Behavioral and Brain Sciences 24, 2001, 87 to 114; not checked against the source).
pub const MOST_NUMBERS_OF_PHRASE: usize = 4;
/// The most numbers that a slide shows, with those of its picture. Common practice, no source.
pub const MOST_NUMBERS_OF_SLIDE: usize = 40;
/// The words a minute that listeners can follow who do not know the subject: the mean of lectures to students with another
/// first language (Tauroza and Allison, Speech rates in British English, Applied Linguistics 11, 1990, 90 to 105; not
/// checked against the source).
pub const WORDS_A_MINUTE: usize = 140;
/// The most minutes for one slide. Common practice, no source.
pub const MOST_MINUTES_OF_SLIDE: usize = 2;

/// The texts of a slide.
#[derive(Clone, Debug, Default)]
pub struct SlideTexts {
    /// The id of the slide.
    pub id: String,
    /// The phrase.
    pub phrase: String,
    /// What is written in the picture.
    pub picture: Vec<String>,
    /// What is said.
    pub notes: Vec<String>,
}

/// A place on a slide.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SlidePart {
    /// The phrase.
    Phrase,
    /// The phrase and the picture together.
    Slide,
    /// The notes.
    Notes,
    /// The picture.
    Picture,
}

impl SlidePart {
    /// The word in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Phrase => "phrase",
            Self::Slide => "phrase and picture",
            Self::Notes => "notes",
            Self::Picture => "picture",
        }
    }
}

/// What there is too much of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TooMuch {
    /// Words: how many there are, and how many there may be.
    Words(usize, usize),
    /// Numbers: how many there are, and how many there may be.
    Numbers(usize, usize),
    /// An abbreviation that is spelled out nowhere.
    Abbreviation(String),
}

/// What is too much at a place of the talk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// The number of the slide, from 1.
    pub slide: usize,
    /// The id of the slide.
    pub id: String,
    /// Where on it.
    pub place: SlidePart,
    /// What it is.
    pub what: TooMuch,
}

impl Remark {
    /// What is wrong and what to do, as in `15 words, at most 12: cut 3`.
    pub fn text(&self) -> String {
        match &self.what {
            TooMuch::Words(found, most) => format!("{found} words, at most {most}: cut {}", found - most),
            TooMuch::Numbers(found, most) => format!("{found} numbers, at most {most}: cut {}", found - most),
            TooMuch::Abbreviation(name) => {
                format!("`{name}` is never spelled out: write it in full, or add it to `deck: abbreviations:`")
            }
        }
    }
}

/// What is between the spaces of a text. The narrow space that groups the digits of a number is none.
fn split(text: &str) -> impl Iterator<Item = &str> {
    text.split(|c: char| c.is_whitespace() && c != GROUPS).flat_map(|word| {
        // It is also between a number and its unit.
        let unit = word.rsplit_once(GROUPS).filter(|(_, unit)| !unit.starts_with(|c: char| c.is_ascii_digit()));
        let (number, unit) = unit.map_or((word, None), |(number, unit)| (number, Some(unit)));
        std::iter::once(number).chain(unit)
    })
}

/// The narrow space that does not break (ISO 80000-1, 7.3.1).
const GROUPS: char = '\u{202f}';

/// What there is too much of, by the number found and the most.
type Kind = fn(usize, usize) -> TooMuch;

/// The words of a text: what is between spaces and has a letter or a digit.
pub fn words(text: &str) -> usize {
    split(text).filter(|word| word.chars().any(char::is_alphanumeric)).count()
}

/// The words of a text that are no numbers.
fn words_without_numbers(text: &str) -> usize {
    split(text).filter(|word| word.chars().any(char::is_alphabetic)).count()
}

/// The words that a slide shows, without numbers.
pub fn words_of_slide(slide: &SlideTexts) -> usize {
    std::iter::once(&slide.phrase).chain(&slide.picture).map(|text| words_without_numbers(text)).sum()
}

/// The words that are spoken for a text: a number is one word for each of its digits, as in `684.5`, which has five as
/// `six hundred eighty-four point five` and counts as four.
pub fn spoken_words(text: &str) -> usize {
    let spoken = |word: &str| {
        let digits = word.chars().filter(char::is_ascii_digit).count();
        if word.chars().any(char::is_alphanumeric) { digits.max(1) } else { 0 }
    };
    split(text).map(spoken).sum()
}

/// The numbers of a text: `684.5`, `2,650` and `2026-12-11` are one each, `m2` and `T9` have none.
pub fn numbers(text: &str) -> usize {
    let chars: Vec<char> = text.chars().collect();
    let (mut found, mut at) = (0, 0);
    while let Some(c) = chars.get(at) {
        if !c.is_ascii_digit() {
            at += 1;
            continue;
        }
        let is_name = at.checked_sub(1).and_then(|before| chars.get(before)).is_some_and(|c| c.is_alphabetic());
        found += usize::from(!is_name);
        // Marks and narrow spaces between two digits belong to the number.
        let joins = |c: char| matches!(c, '.' | ',' | '-' | ':' | '\u{2009}' | '\u{202f}' | '\u{a0}');
        let digit = |at: usize| chars.get(at).is_some_and(char::is_ascii_digit);
        while digit(at) || (chars.get(at).is_some_and(|c| joins(*c)) && digit(at + 1)) {
            at += 1;
        }
    }
    found
}

/// The most characters of an abbreviation.
const LONGEST_ABBREVIATION: usize = 12;

fn is_of_abbreviation(c: char) -> bool {
    c.is_uppercase() || c.is_ascii_digit()
}

/// The abbreviations of a text: two capital letters or more and nothing else except digits and an `s` at the end, if they
/// are not a unit or a currency.
pub fn abbreviations(text: &str) -> impl Iterator<Item = &str> {
    let tokens = text.split(|c: char| !c.is_alphanumeric());
    tokens.map(|token| token.strip_suffix('s').unwrap_or(token)).filter(|token| {
        let capitals = token.chars().filter(|c| c.is_uppercase()).count();
        let is_short = token.chars().all(is_of_abbreviation) && token.chars().count() <= LONGEST_ABBREVIATION;
        capitals >= 2 && is_short && Unit::parse(token).is_err()
    })
}

/// Whether a text spells an abbreviation out, as in `centre of gravity (CG)` or `CG (centre of gravity)`.
pub fn spells_out(text: &str, name: &str) -> bool {
    let initials = |words: &str| -> Vec<char> {
        let split = words.split(|c: char| !c.is_alphanumeric());
        split.filter_map(|word| word.chars().next()).flat_map(char::to_uppercase).collect()
    };
    let letters: Vec<char> = name.chars().filter(|c| c.is_alphabetic()).collect();
    // The letters in their order; small words between them may have none.
    let fits = |words: &[char]| {
        let mut left = words.iter();
        letters.iter().all(|letter| left.any(|own| own == letter))
    };
    let after = text.match_indices(&format!("({name})")).any(|(at, _)| {
        let before = initials(&text[..at]);
        let near = before.len().saturating_sub(2 * letters.len());
        fits(&before[near..])
    });
    let before = text.match_indices(&format!("{name} (")).any(|(at, found)| {
        let rest = &text[at + found.len()..];
        rest.split_once(')').is_some_and(|(inside, _)| fits(&initials(inside)))
    });
    after || before
}

/// The texts that may spell an abbreviation out, by the abbreviation: it is in brackets, or before one.
fn may_spell_out<'t>(texts: impl Iterator<Item = &'t str>) -> HashMap<&'t str, Vec<&'t str>> {
    let mut all: HashMap<&str, Vec<&str>> = HashMap::default();
    for text in texts {
        let mut names: HashSet<&str> = HashSet::default();
        for (at, _) in text.match_indices('(') {
            let rest = &text[at + 1..];
            let inside = &rest[..rest.find(|c| !is_of_abbreviation(c)).unwrap_or(rest.len())];
            names.extend(rest[inside.len()..].starts_with(')').then_some(inside));
            let before = text[..at].strip_suffix(' ').unwrap_or_default();
            // It can be the end of a longer word.
            let ends = before.char_indices().rev().take(LONGEST_ABBREVIATION);
            names.extend(ends.take_while(|(_, c)| is_of_abbreviation(*c)).map(|(start, _)| &before[start..]));
        }
        names.into_iter().for_each(|name| all.entry(name).or_default().push(text));
    }
    all
}

/// The words that are spoken on a slide: its phrase and its notes.
pub fn spoken(slide: &SlideTexts) -> usize {
    std::iter::once(&slide.phrase).chain(&slide.notes).map(|text| spoken_words(text)).sum()
}

/// What is too much on the slides of a talk, in their order. `known`: the abbreviations that the settings spell out.
pub fn remarks(slides: &[SlideTexts], known: &[&str]) -> Vec<Remark> {
    let mut all = Vec::new();
    let mut seen: HashSet<&str> = HashSet::default();
    let known: HashSet<&str> = known.iter().copied().collect();
    let texts = slides.iter().flat_map(|slide| slide.notes.iter().chain(&slide.picture).chain([&slide.phrase]));
    let spelled = may_spell_out(texts.map(String::as_str));
    let is_spelled_out =
        |name: &str| spelled.get(name).is_some_and(|texts| texts.iter().any(|text| spells_out(text, name)));
    for (at, slide) in slides.iter().enumerate() {
        let mut add =
            |place: SlidePart, what: TooMuch| all.push(Remark { slide: at + 1, id: slide.id.clone(), place, what });
        let shown = || std::iter::once(&slide.phrase).chain(&slide.picture);
        let counts: [(SlidePart, usize, usize, Kind); 5] = [
            (SlidePart::Phrase, words(&slide.phrase), MOST_WORDS_OF_PHRASE, TooMuch::Words),
            (SlidePart::Slide, words_of_slide(slide), MOST_WORDS_OF_SLIDE, TooMuch::Words),
            (SlidePart::Notes, spoken(slide), WORDS_A_MINUTE * MOST_MINUTES_OF_SLIDE, TooMuch::Words),
            (SlidePart::Phrase, numbers(&slide.phrase), MOST_NUMBERS_OF_PHRASE, TooMuch::Numbers),
            (SlidePart::Slide, shown().map(|text| numbers(text)).sum(), MOST_NUMBERS_OF_SLIDE, TooMuch::Numbers),
        ];
        for (place, found, most, what) in counts {
            if found > most {
                add(place, what(found, most));
            }
        }
        let places = [
            (SlidePart::Phrase, std::slice::from_ref(&slide.phrase)),
            (SlidePart::Picture, &slide.picture[..]),
            (SlidePart::Notes, &slide.notes[..]),
        ];
        for (place, own) in places {
            for name in own.iter().flat_map(|text| abbreviations(text)) {
                if seen.insert(name) && !known.contains(name) && !is_spelled_out(name) {
                    add(place, TooMuch::Abbreviation(name.to_owned()));
                }
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_what_is_between_spaces() {
        assert_eq!(words("Mass of the car: 200.6 of 205 kg"), 8);
        assert_eq!(words("684.5 ± 12 – really"), 3, "marks are not words");
        assert_eq!(words(""), 0);
        assert_eq!(words("18\u{202f}015\u{202f}EUR build"), 3, "a number in groups is one word");
        assert_eq!(spoken_words("We expect 684.5 points"), 2 + 4 + 1);
        assert_eq!(spoken_words("– ± –"), 0);
    }

    #[test]
    fn numbers_are_counted_once_each() {
        for (text, count) in [
            ("684.5 of 652.4 points", 2),
            ("2\u{202f}650 EUR, 2,650 EUR", 2),
            ("on 2026-12-11 at 14:30", 2),
            ("the T9 has 1.2 m2", 1),
            ("30 or 40.", 2),
            ("nothing", 0),
            ("3.", 1),
        ] {
            assert_eq!(numbers(text), count, "{text}");
        }
    }

    #[test]
    fn abbreviations_are_found_and_units_are_not() {
        let found = |text: &'static str| abbreviations(text).collect::<Vec<_>>();
        assert_eq!(found("The CG, two ECUs and FEM2 of the T9 in kN, MPa, EUR and kW"), ["CG", "ECU", "FEM2"]);
        assert!(spells_out("the centre of gravity (CG) is low", "CG"));
        assert!(spells_out("CG (centre of gravity)", "CG"));
        assert!(!spells_out("it is (CG)", "CG") && !spells_out("CG", "CG") && !spells_out("low centre (CG)", "CG"));
        assert!(!spells_out("CG (see page 3)", "CG"));
        assert!(spells_out("finite element method (FEM)", "FEM"));
    }

    fn slide(phrase: &str, picture: &[&str], notes: &str) -> SlideTexts {
        let picture = picture.iter().map(|text| (*text).to_owned()).collect();
        SlideTexts { id: "plan".to_owned(), phrase: phrase.to_owned(), picture, notes: vec![notes.to_owned()] }
    }

    #[test]
    fn what_is_too_much_is_reported_with_its_place() {
        let texts = |slides: &[SlideTexts], known: &[&str]| -> Vec<String> {
            let line = |own: Remark| format!("{} {} {}: {}", own.slide, own.id, own.place.word(), own.text());
            remarks(slides, known).into_iter().map(line).collect()
        };
        let good = slide("one two three four five six seven eight nine ten eleven twelve", &["1", "2"], "Say this.");
        assert!(texts(std::slice::from_ref(&good), &[]).is_empty(), "twelve words are allowed");
        let long = slide("a b c d e f g h i j k l m n", &[], "");
        assert_eq!(texts(&[good, long], &[]), ["2 plan phrase: 14 words, at most 12: cut 2"]);
        let numbers = slide("1 2 3 4 5", &[], "");
        assert_eq!(texts(&[numbers], &[]), ["1 plan phrase: 5 numbers, at most 4: cut 1"]);
        let busy = slide("x", &["1 2 3 4 5 6 7 8 9 10"; 5], "");
        assert_eq!(texts(&[busy], &[]), ["1 plan phrase and picture: 50 numbers, at most 40: cut 10"]);
        let wordy = slide("x", &["a b c d e f g h i j"; 6], "");
        assert_eq!(texts(&[wordy], &[]), ["1 plan phrase and picture: 61 words, at most 60: cut 1"]);
        let spoken = slide("x", &[], &"word ".repeat(280));
        assert_eq!(texts(&[spoken], &[]), ["1 plan notes: 281 words, at most 280: cut 1"]);
        let short = slide("The CG is low", &[], "The CG is low.");
        let said = "`CG` is never spelled out: write it in full, or add it to `deck: abbreviations:`";
        assert_eq!(
            texts(std::slice::from_ref(&short), &[]),
            [format!("1 plan phrase: {said}")],
            "once, where it is first"
        );
        assert!(texts(std::slice::from_ref(&short), &["CG"]).is_empty(), "the settings spell it out");
        let later = slide("x", &[], "The centre of gravity (CG) is low.");
        assert!(texts(&[short, later], &[]).is_empty(), "it is spelled out on another slide");
    }
}
