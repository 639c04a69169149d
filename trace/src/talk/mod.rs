//! A talk about the car: which slides it has, what fits into its time, and what is too much on a slide.
//!
//! The rules are here; what a slide says and shows is written by the command line.

pub mod count;
pub mod decisions;
pub mod fit;
pub mod names;
pub mod picture;

use schema::settings::deck::{Audience, Deck};

/// A slide of the usual order, with what it is worth to keep: of two slides, the one with the larger number goes first if
/// the time is short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Usual {
    /// The id of the slide, or of a group of slides.
    pub id: &'static str,
    /// How soon it goes if the time is short; zero never goes before another one.
    pub goes: u8,
}

const fn usual(id: &'static str, goes: u8) -> Usual {
    Usual { id, goes }
}

/// For people who do not know the car.
const EVERYONE: &[Usual] = &[
    usual("goal", 0),
    usual("scored", 5),
    usual("plan", 1),
    usual("chain", 8),
    usual("car", 3),
    usual("budgets", 4),
    usual("decisions", 6),
    usual("verification", 2),
    usual("risk", 9),
    usual("learned", 7),
];

/// For judges: reasons, verification, what was traded.
const JUDGES: &[Usual] = &[
    usual("goal", 0),
    usual("plan", 1),
    usual("car", 5),
    usual("levers", 6),
    usual("budgets", 8),
    usual("decisions", 3),
    usual("traded", 4),
    usual("verification", 2),
    usual("risk", 9),
    usual("learned", 7),
];

/// For sponsors: what money buys.
const SPONSORS: &[Usual] = &[
    usual("goal", 0),
    usual("scored", 4),
    usual("plan", 2),
    usual("money", 1),
    usual("car", 7),
    usual("decisions", 5),
    usual("verification", 6),
    usual("learned", 3),
];

/// For people who are new: what the words mean, how a car is scored.
const NEWCOMERS: &[Usual] = &[
    usual("goal", 0),
    usual("scored", 1),
    usual("chain", 2),
    usual("plan", 3),
    usual("car", 4),
    usual("budgets", 7),
    usual("decisions", 6),
    usual("verification", 5),
    usual("learned", 8),
];

/// The usual slides for an audience, in the order in which they are shown.
pub fn usual_slides(audience: Option<Audience>) -> &'static [Usual] {
    match audience {
        None => EVERYONE,
        Some(Audience::Judges) => JUDGES,
        Some(Audience::Sponsors) => SPONSORS,
        Some(Audience::Newcomers) => NEWCOMERS,
    }
}

/// The largest number of decisions in a talk, unless the settings name more.
pub const MOST_DECISIONS: usize = 3;
/// The largest number of budgets in a talk, unless the settings name more.
pub const MOST_BUDGETS: usize = 2;

/// A slide that is to be made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// The id of the slide: a usual one, a decision, a budget, or one of the team.
    pub id: String,
    /// How soon it goes if the time is short.
    pub goes: u8,
}

/// The slides of a talk in their order, before the time is looked at: those that the settings name first, then the usual
/// ones of the audience, then the team's own. `decisions` and `budgets` are the records that these groups have.
pub fn wanted(deck: &Deck, audience: Option<Audience>, decisions: &[&str], budgets: &[&str]) -> Vec<Wanted> {
    let usual = usual_slides(audience);
    let is_for = |id: &str| {
        let people = deck.slides.get(id).map(|slide| slide.r#for.as_slice()).unwrap_or_default();
        people.is_empty() || audience.is_some_and(|audience| people.contains(&audience))
    };
    let named = |id: &str| deck.order.iter().any(|own| own.as_str() == id);
    let mut all: Vec<Wanted> = Vec::new();
    let mut add = |id: &str, goes: u8| {
        let is_dropped = deck.drop.iter().any(|own| own.as_str() == id);
        if !is_dropped && is_for(id) && all.iter().all(|known| known.id != id) {
            all.push(Wanted { id: id.to_owned(), goes });
        }
    };
    let dropped = |id: &&&str| !deck.drop.iter().any(|own| own.as_str() == **id);
    let goes = |id: &str| usual.iter().find(|usual| usual.id == id).map_or(0, |usual| usual.goes);
    let mut add_group = |id: &str, goes: u8| {
        let (members, most) = match id {
            "decisions" => (decisions, MOST_DECISIONS),
            "budgets" => (budgets, MOST_BUDGETS),
            _ => return add(id, goes),
        };
        if deck.drop.iter().any(|own| own.as_str() == id) {
            return;
        }
        // Those that are named on their own count, too.
        let elsewhere = members.iter().filter(|member| named(member)).count();
        let others = members.iter().filter(dropped).filter(|member| !named(member));
        for (at, member) in others.take(most.saturating_sub(elsewhere)).enumerate() {
            // The later ones of a group go before the first one does.
            add(member, goes.saturating_add(u8::try_from(at * 4).unwrap_or(u8::MAX)));
        }
    };
    for id in &deck.order {
        let id = id.as_str();
        add_group(id, goes(id));
    }
    for usual in usual {
        add_group(usual.id, usual.goes);
    }
    for (id, slide) in deck.slides.iter() {
        let is_own = slide.phrase.is_some() && !Deck::is_usual(id.as_str());
        let is_record = decisions.contains(&id.as_str()) || budgets.contains(&id.as_str());
        if is_own && !is_record {
            add_group(id.as_str(), 0);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn deck(text: &str) -> Deck {
        let (settings, problems) = schema::read::settings(format!("deck: {text}").as_bytes());
        assert!(problems.is_empty(), "{problems:?}");
        settings.deck
    }

    fn ids(deck: &Deck, audience: Option<Audience>) -> Vec<String> {
        let all = wanted(deck, audience, &["engine", "tyre", "aero", "frame"], &["car-mass", "car-cost"]);
        all.into_iter().map(|wanted| wanted.id).collect()
    }

    #[test]
    fn each_audience_has_its_slides() {
        let everyone = ids(&deck("{}"), None);
        assert_eq!(
            everyone,
            [
                "goal",
                "scored",
                "plan",
                "chain",
                "car",
                "car-mass",
                "car-cost",
                "engine",
                "tyre",
                "aero",
                "verification",
                "risk",
                "learned"
            ]
        );
        let of = |audience| ids(&deck("{}"), Some(audience));
        assert!(of(Audience::Judges).contains(&"traded".to_owned()) && !everyone.contains(&"traded".to_owned()));
        assert!(of(Audience::Sponsors).contains(&"money".to_owned()) && !everyone.contains(&"money".to_owned()));
        assert!(of(Audience::Newcomers).starts_with(&["goal", "scored", "chain"].map(str::to_owned)));
        for audience in [None, Some(Audience::Judges), Some(Audience::Sponsors), Some(Audience::Newcomers)] {
            let usual = usual_slides(audience);
            assert!(usual.iter().all(|slide| Deck::is_usual(slide.id)));
            assert!(usual.iter().filter(|slide| slide.goes == 0).map(|slide| slide.id).eq(["goal"]));
        }
    }

    #[test]
    fn settings_come_first_and_drop() {
        let own = deck(
            "{order: [plan, frame, us, goal], drop: [chain, tyre, budgets], slides: {us: {phrase: us}, end: {phrase: x}}}",
        );
        assert_eq!(
            ids(&own, None),
            [
                "plan",
                "frame",
                "us",
                "goal",
                "scored",
                "car",
                "engine",
                "aero",
                "verification",
                "risk",
                "learned",
                "end"
            ],
            "a decision that is named counts among the three"
        );
        let sponsors = deck("{slides: {us: {phrase: us, for: [sponsors]}, goal: {for: [judges]}}}");
        assert!(ids(&sponsors, Some(Audience::Sponsors)).contains(&"us".to_owned()));
        assert!(!ids(&sponsors, Some(Audience::Judges)).contains(&"us".to_owned()));
        assert!(!ids(&sponsors, Some(Audience::Sponsors)).contains(&"goal".to_owned()));
        let reworded = deck("{slides: {frame: {phrase: x}}}");
        assert!(!ids(&reworded, None).contains(&"frame".to_owned()), "other words alone add no decision");
    }
}
