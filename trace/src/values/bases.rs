//! Bases of estimates that are not under `growth` in the settings.

use schema::suggest;

use crate::ids::RecordId;
use crate::load::Loaded;

/// The bases in the alternatives of a decision that are not in the settings: the route, the message and the help.
pub(crate) fn unknown_bases_of_alternatives(loaded: &Loaded, index: RecordId) -> Vec<(Vec<String>, String, String)> {
    let growth = &loaded.settings().growth;
    let mut found = Vec::new();
    let route = |keys: &[&str]| keys.iter().map(|key| (*key).to_owned()).collect();
    for (name, alternative) in loaded.decision(index).into_iter().flat_map(|decision| decision.alternatives.iter()) {
        let is_known = |basis: &schema::Id| growth.iter().any(|(_, bases)| bases.get(basis.as_str()).is_some());
        if let Some(basis) = alternative.basis.as_ref().filter(|basis| !growth.is_empty() && !is_known(basis)) {
            let known = || growth.iter().flat_map(|(_, bases)| bases.keys().map(schema::Id::as_str));
            let help = suggest::did_you_mean(basis.as_str(), known(), "use one from `growth` in the settings");
            found.push((route(&["alternatives", name.as_str(), "basis"]), format!("unknown basis `{basis}`"), help));
        }
        for (to, setting) in alternative.sets.iter() {
            let bases = to.parts().1.and_then(|amount| growth.get(amount));
            let (Some(basis), Some(bases)) = (&setting.basis, bases) else { continue };
            if bases.get(basis.as_str()).is_none() {
                let known = || bases.keys().map(schema::Id::as_str);
                let list = format!("use one from `growth` in the settings: {}", suggest::any_of(known()));
                let help = suggest::did_you_mean(basis.as_str(), known(), &list);
                let route = route(&["alternatives", name.as_str(), "sets", to.as_str(), "basis"]);
                found.push((route, format!("unknown basis `{basis}` for `{to}`"), help));
            }
        }
    }
    found
}

/// The amounts of parts whose basis is not in the settings: the part, the name of the amount, the message and the help.
pub(crate) fn unknown_bases(loaded: &Loaded) -> impl Iterator<Item = (RecordId, &str, String, String)> {
    let growth = &loaded.settings().growth;
    let amounts = loaded.parts().flat_map(|(part, _, body)| body.amounts.iter().map(move |of| (part, of)));
    amounts.filter_map(|(part, (name, amount))| {
        let (basis, bases) = (amount.basis.as_ref()?, growth.get(name.as_str())?);
        if bases.get(basis.as_str()).is_some() {
            return None;
        }
        let known = || bases.keys().map(schema::Id::as_str);
        let list = format!("use one from `growth.{name}` in the settings: {}", suggest::any_of(known()));
        let help = suggest::did_you_mean(basis.as_str(), known(), &list);
        Some((part, name.as_str(), format!("unknown basis `{basis}` for `{name}`"), help))
    })
}
