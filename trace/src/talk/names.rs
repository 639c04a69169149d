//! The names of slides in the settings that no slide has.

use foldhash::HashSet;
use schema::settings::deck::{Deck, SLIDES};
use schema::suggest;

use crate::load::Loaded;

/// Something that is wrong with a name under `deck`.
pub struct WrongName {
    /// The keys that lead to it, from the top of the settings.
    pub route: [String; 3],
    /// What is wrong.
    pub message: String,
    /// How to fix it.
    pub help: String,
}

/// Whether a record is a slide of its own: a decision, or a target with a `total` or with shares.
fn is_record(loaded: &Loaded, shared: &HashSet<&str>, id: &str) -> bool {
    let Some(index) = loaded.find(id) else { return false };
    let is_budget = || loaded.target(index).is_some_and(|own| own.total.is_some() || shared.contains(id));
    loaded.decision(index).is_some() || is_budget()
}

/// The names under `deck` that are no slide, and slides of the team without a phrase.
pub fn wrong(loaded: &Loaded) -> Vec<WrongName> {
    let deck = &loaded.settings().deck;
    let shared = loaded.targets().filter_map(|(.., other)| other.share_of.as_ref()).map(|of| of.as_str()).collect();
    let mut all = Vec::new();
    for (keys, id) in deck.names() {
        let name = id.as_str();
        let is_known = Deck::is_usual(name) || is_record(loaded, &shared, name);
        let own = deck.slides.get(name);
        let (message, help) = match own {
            _ if is_known => continue,
            Some(own) if own.phrase.is_some() => continue,
            // It is reported once, where the slide is.
            Some(_) if keys[1] != "slides" => continue,
            Some(_) => (
                format!("the slide `{name}` has no phrase"),
                "add `phrase:`, or use the name of a slide that `tierod deck` has".to_owned(),
            ),
            None => {
                let decisions = loaded.decisions().map(|(_, record, _)| record.id.as_str());
                let names = SLIDES.into_iter().chain(deck.slides.keys().map(schema::Id::as_str)).chain(decisions);
                let otherwise = format!(
                    "use {}, the id of a decision or of a budget, or add the slide under `slides`",
                    SLIDES.join(", ")
                );
                (format!("unknown slide `{name}`"), suggest::did_you_mean(name, names, &otherwise))
            }
        };
        let route = [keys[0], keys[1], name].map(str::to_owned);
        all.push(WrongName { route, message, help });
    }
    all
}
