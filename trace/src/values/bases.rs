//! Bases of estimates that are not under `growth` in the settings.

use std::cell::OnceCell;

use foldhash::HashSet;

use super::names::{Suggestions, any_of};
use crate::ids::RecordId;
use crate::load::Loaded;

/// A basis of an alternative that is not in the settings: the decision, the route, the message and the help.
pub(crate) type UnknownBasis = (RecordId, Vec<String>, String, String);

/// The bases in the alternatives of some decisions that are not in the settings.
pub(crate) fn unknown_bases_of_alternatives(
    loaded: &Loaded,
    decisions: impl Iterator<Item = RecordId>,
) -> Vec<UnknownBasis> {
    let growth = &loaded.settings().growth;
    let mut found = Vec::new();
    let mut suggestions = Suggestions::default();
    let route = |keys: &[&str]| keys.iter().map(|key| (*key).to_owned()).collect();
    let known = || growth.iter().flat_map(|(_, bases)| bases.keys().map(schema::Id::as_str));
    let all: OnceCell<HashSet<&str>> = OnceCell::new();
    let alternatives = decisions.filter_map(|index| Some((index, loaded.decision(index)?)));
    let alternatives =
        alternatives.flat_map(|(index, decision)| decision.alternatives.iter().map(move |own| (index, own)));
    for (index, (name, alternative)) in alternatives {
        let is_known = |basis: &schema::Id| all.get_or_init(|| known().collect()).contains(basis.as_str());
        if let Some(basis) = alternative.basis.as_ref().filter(|basis| !growth.is_empty() && !is_known(basis)) {
            let help = suggestions.did_you_mean(basis.as_str(), known(), "use one from `growth` in the settings");
            let route = route(&["alternatives", name.as_str(), "basis"]);
            found.push((index, route, format!("unknown basis `{basis}`"), help));
        }
        for (to, setting) in alternative.sets.iter() {
            let bases = to.parts().1.and_then(|amount| growth.get(amount));
            let (Some(basis), Some(bases)) = (&setting.basis, bases) else { continue };
            if bases.get(basis.as_str()).is_none() {
                let known = || bases.keys().map(schema::Id::as_str);
                let list = format!("use one from `growth` in the settings: {}", any_of(known()));
                let help = suggestions.did_you_mean(basis.as_str(), known(), &list);
                let route = route(&["alternatives", name.as_str(), "sets", to.as_str(), "basis"]);
                found.push((index, route, format!("unknown basis `{basis}` for `{to}`"), help));
            }
        }
    }
    found
}

/// The amounts of parts whose basis is not in the settings: the part, the name of the amount, the message and the help.
pub(crate) fn unknown_bases(loaded: &Loaded) -> impl Iterator<Item = (RecordId, &str, String, String)> {
    let growth = &loaded.settings().growth;
    let amounts = loaded.parts().flat_map(|(part, _, body)| body.amounts.iter().map(move |of| (part, of)));
    let mut suggestions = Suggestions::default();
    amounts.filter_map(move |(part, (name, amount))| {
        let (basis, bases) = (amount.basis.as_ref()?, growth.get(name.as_str())?);
        if bases.get(basis.as_str()).is_some() {
            return None;
        }
        let known = || bases.keys().map(schema::Id::as_str);
        let list = format!("use one from `growth.{name}` in the settings: {}", any_of(known()));
        let help = suggestions.did_you_mean(basis.as_str(), known(), &list);
        Some((part, name.as_str(), format!("unknown basis `{basis}` for `{name}`"), help))
    })
}
