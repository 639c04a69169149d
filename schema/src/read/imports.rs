//! Problems of `imports` that can be read: such an entry is not used.

use foldhash::HashSet;

use crate::quantity::{Quantity, Unit};
use crate::settings::Settings;
use crate::settings::imports::{Import, OrColumn};
use crate::words::shorten;

/// A route of keys below `imports`, a message and a fix.
type Wrong = (Vec<String>, String, String);

/// Takes the entries with a problem out of the settings, and returns what is wrong with them.
pub(super) fn take_wrong(settings: &mut Settings) -> Vec<Wrong> {
    let mut all = Vec::new();
    for (name, import) in settings.imports.iter() {
        let wrong = wrong(import).into_iter().map(|(route, message, help)| {
            let start = ["imports", name.as_str()].map(str::to_owned);
            (start.into_iter().chain(route).collect(), message, help)
        });
        all.extend(wrong);
    }
    let wrong_names: HashSet<&str> =
        all.iter().filter_map(|(route, ..): &Wrong| route.get(1)).map(String::as_str).collect();
    settings.imports.retain(|name, _| !wrong_names.contains(name.as_str()));
    all
}

fn wrong(import: &Import) -> Vec<Wrong> {
    let mut all: Vec<Wrong> = Vec::new();
    let route = |keys: &[&str]| keys.iter().map(|key| (*key).to_owned()).collect::<Vec<String>>();
    let is_settings = import.into.rsplit('/').next() == Some(crate::settings::FILE);
    let is_hostile = import.into.chars().any(char::is_control);
    if !import.into.ends_with(".yaml") && !import.into.ends_with(".yml") || is_settings || is_hostile {
        let message = format!("`{}` is not the name of a record file", shorten(&import.into));
        all.push((route(&["into"]), message, "end it with `.yaml`, for example `parts/{in}.yaml`".to_owned()));
    }
    for (name, amount) in import.parts.columns() {
        if let Err(error) = Unit::parse(&amount.unit) {
            let (message, help) = error.split_once(": ").unwrap_or((&error, "use a unit, for example `kg`"));
            all.push((route(&["parts", "amounts", name.as_str(), "unit"]), message.to_owned(), help.to_owned()));
        }
        for margin in &amount.margins {
            let bad = match margin {
                OrColumn::Always(margin) => Some(margin).filter(|margin| !is_margin(margin)),
                OrColumn::Column { names, .. } => names.iter().map(|(_, m)| m).find(|margin| !is_margin(margin)),
            };
            if let Some(margin) = bad {
                let message = format!("the margin `{}` is not from 0 % to 500 %", shorten(margin.text()));
                let help = "use what is added, with `%`, for example `10 %`".to_owned();
                all.push((route(&["parts", "amounts", name.as_str(), "margins"]), message, help));
            }
        }
    }
    all
}

fn is_margin(margin: &Quantity) -> bool {
    margin.unit().to_string() == "%" && (0.0..=500.0).contains(&margin.value()) && margin.uncertainty().is_none()
}
