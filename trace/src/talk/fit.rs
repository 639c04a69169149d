//! Which slides fit into the time of a talk.

use super::count::WORDS_A_MINUTE;

/// The most slides in ten minutes. Common practice, no source.
pub const SLIDES_IN_TEN_MINUTES: usize = 12;

/// A slide that could be shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// How soon it goes if the time is short; zero never goes before another one.
    pub goes: u8,
    /// The words that are spoken on it.
    pub words: usize,
}

/// Why a slide is not shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoTime {
    /// There are more slides than the time allows: the number of slides that it allows.
    Slides(usize),
    /// There are more words than can be spoken: the words that can be.
    Words(usize),
}

/// The most slides in this many minutes; at least one.
pub fn most_slides(minutes: usize) -> usize {
    (minutes * SLIDES_IN_TEN_MINUTES / 10).max(1)
}

/// The most words in this many minutes.
pub fn most_words(minutes: usize) -> usize {
    minutes * WORDS_A_MINUTE
}

/// Which slides fit: for each in its order, `None` if it is shown, or why not. The slides that go first are those with
/// the largest number; of equal ones the last.
pub fn fit(all: &[Candidate], minutes: usize) -> Vec<Option<NoTime>> {
    let mut why: Vec<Option<NoTime>> = vec![None; all.len()];
    loop {
        let kept = || all.iter().enumerate().filter(|(at, _)| why[*at].is_none());
        let (slides, words) = kept().fold((0, 0), |(slides, words), (_, own)| (slides + 1, words + own.words));
        let reason = if slides > most_slides(minutes) {
            NoTime::Slides(most_slides(minutes))
        } else if words > most_words(minutes) {
            NoTime::Words(most_words(minutes))
        } else {
            return why;
        };
        // The last slide stays, whatever it is: what is too much on it is reported.
        let goes = kept().max_by_key(|(at, own)| (own.goes, *at)).filter(|_| slides > 1);
        match goes.map(|(at, _)| at) {
            Some(at) => why[at] = Some(reason),
            None => return why,
        }
    }
}

/// When each slide ends, in seconds from the start: each has a share of the time by the words that are spoken on it, and
/// every slide has ten seconds to be looked at.
pub fn ends(words: &[usize], minutes: usize) -> Vec<u32> {
    /// The words that could be spoken while a new slide is looked at.
    const LOOK: usize = WORDS_A_MINUTE / 6;
    let total: usize = words.iter().map(|words| words + LOOK).sum();
    let mut sum = 0;
    let share = |sum: usize| (minutes * 60 * sum) / total.max(1);
    let end = |words: &usize| {
        sum += words + LOOK;
        u32::try_from(share(sum)).unwrap_or(u32::MAX)
    };
    words.iter().map(end).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slides(all: &[(u8, usize)]) -> Vec<Candidate> {
        all.iter().map(|(goes, words)| Candidate { goes: *goes, words: *words }).collect()
    }

    #[test]
    fn twelve_slides_in_ten_minutes() {
        assert_eq!([1, 3, 5, 10, 20].map(most_slides), [1, 3, 6, 12, 24]);
        let many: Vec<Candidate> = (0..14).map(|goes| Candidate { goes, words: 10 }).collect();
        let why = fit(&many, 10);
        assert!(why[..12].iter().all(Option::is_none));
        assert_eq!(why[12..], [Some(NoTime::Slides(12)); 2]);
    }

    #[test]
    fn what_goes_first_goes_first() {
        let why = fit(&slides(&[(0, 100), (9, 100), (1, 100), (9, 100)]), 2);
        assert_eq!(why, [None, Some(NoTime::Slides(2)), None, Some(NoTime::Slides(2))]);
        // 280 words in two minutes.
        let why = fit(&slides(&[(0, 200), (1, 81)]), 2);
        assert_eq!(why, [None, Some(NoTime::Words(280))]);
        assert_eq!(fit(&slides(&[(0, 200), (1, 80)]), 2), [None, None], "exactly the words that can be spoken");
        assert_eq!(fit(&slides(&[(0, 900)]), 1), [None], "one slide is always shown");
        assert!(fit(&[], 10).is_empty());
    }

    #[test]
    fn the_time_is_shared_by_words() {
        assert_eq!(ends(&[100, 100], 10), [300, 600]);
        let ends = ends(&[10, 190, 40], 5);
        assert!(ends[0] < 60 && ends[1] > 200 && ends[2] == 300, "{ends:?}");
    }
}
