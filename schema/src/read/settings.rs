//! Problems of settings that can be read. A rate or growth allowance with a problem is not used: no number may depend on
//! it.

use super::problems::{Problem, ProblemKind};
use crate::number;
use crate::quantity::Quantity;
use crate::settings::{Settings, Stage};
use crate::words::{Day, shorten};

/// Reports problems of settings that can be read, and removes what has a problem.
pub(super) fn report(settings: &mut Settings, problems: &mut Vec<Problem>) {
    let mut wrong_entries = super::imports::take_wrong(settings);
    wrong_entries.extend(super::deck::take_wrong(settings));
    let mut bad = |route: &[&str], message: String, help: &str| {
        let mut problem = Problem::new(ProblemKind::BadValue, None, message, help);
        problem.route = route.iter().map(|s| (*s).to_owned()).collect();
        problems.push(problem);
    };
    if let Some(code) = &settings.currency
        && iso_currency::Currency::from_code(code).is_none()
    {
        bad(&["currency"], format!("unknown currency `{}`", shorten(code)), "use an ISO 4217 code, for example `EUR`");
    }
    if let Some(year) = settings.season.filter(|year| !(1900..=2200).contains(year)) {
        bad(
            &["season"],
            format!("the season `{year}` is not a year from 1900 to 2200"),
            "write the year of the contest",
        );
        settings.season = None;
    }
    let mut last: Option<(Stage, Day)> = None;
    for stage in Stage::ALL {
        let Some(end) = settings.stages.last_day(stage) else { continue };
        if let Some((earlier, day)) = last
            && end <= day
        {
            let message = format!("the {} stage ends on {end}, not after the {} stage", stage.word(), earlier.word());
            bad(&["stages", stage.word()], message, "stages follow one another: concept, design, build, test, contest");
        }
        last = Some((stage, end));
    }
    for (amount, bases) in settings.growth.iter_mut() {
        for (basis, growth) in bases.iter_mut() {
            let Some((message, help)) = growth_problem(growth) else { continue };
            bad(&["growth", amount.as_str(), basis.as_str()], message, &help);
            if let Ok(nothing) = Quantity::parse("0 %") {
                *growth = nothing;
            }
        }
    }
    let wrong: Vec<(String, String, String)> = settings
        .rates
        .iter()
        .filter_map(|(code, rate)| {
            let (message, help) = rate_problem(settings, code.as_str(), rate)?;
            Some((code.to_string(), message, help))
        })
        .collect();
    for (code, message, help) in &wrong {
        bad(&["rates", code], message.clone(), help);
    }
    for (route, message, help) in wrong_entries {
        bad(&route.iter().map(String::as_str).collect::<Vec<_>>(), message, &help);
    }
    settings.rates.retain(|code, _| wrong.iter().all(|(wrong, ..)| wrong != code.as_str()));
}

/// What is wrong with a growth allowance, and how to fix it.
fn growth_problem(growth: &Quantity) -> Option<(String, String)> {
    let (text, value) = (growth.text(), growth.value());
    if !growth.unit().dimension().is_one() {
        return Some((
            format!("the growth `{text}` is not a ratio"),
            "use a percentage, for example `10 %`".to_owned(),
        ));
    }
    let percent = growth.si() * 100.0;
    let in_percent = growth.unit().to_string() == "%";
    if !in_percent && value != 0.0 {
        // `20` is meant as 20 %, `0.2` too.
        let meant = if growth.unit().to_string().is_empty() && value.abs() >= 1.0 { value } else { percent };
        return Some((
            format!("the growth `{text}` has no `%`, and would be {} %", number::precise(percent)),
            format!("use `{} %`", number::precise(meant)),
        ));
    }
    if !(0.0..=100.0).contains(&percent) {
        let help = "use the allowance that is added, from `0 %` to `100 %`".to_owned();
        return Some((format!("the growth `{text}` is not from 0 % to 100 %"), help));
    }
    None
}

/// What is wrong with an exchange rate, and how to fix it.
fn rate_problem(settings: &Settings, code: &str, rate: &Quantity) -> Option<(String, String)> {
    let own = settings.currency.as_deref();
    if own == Some(code) {
        let message = format!("`{code}` is the currency of the team, which has no rate");
        return Some((message, format!("remove it; give the value of one unit of another currency in {code}")));
    }
    let form = || format!("give the value of 1 {code}, for example `{code}: 0.9 {}`", own.unwrap_or("EUR"));
    if !rate.unit().is_currency() {
        return Some((format!("the rate `{rate}` of {code} is not an amount of money"), form()));
    }
    if rate.value() <= 0.0 {
        return Some((format!("the rate `{rate}` of {code} is not more than zero"), form()));
    }
    // Follow the chain to its end.
    let mut chain = vec![code.to_owned()];
    let mut next = rate;
    loop {
        let to = next.unit().to_string();
        if let Some(start) = chain.iter().position(|known| *known == to) {
            let circle = format!("{} -> {to}", chain[start..].join(" -> "));
            let help = match own {
                Some(own) => format!("give one of these rates in {own}"),
                None => "remove one of these rates".to_owned(),
            };
            return Some((format!("the rate of {code} leads to a circle: {circle}"), help));
        }
        chain.push(to);
        let to = chain.last().map_or("", String::as_str);
        if own == Some(to) {
            return None;
        }
        match settings.rates.get(to) {
            Some(rate) if rate.unit().is_currency() => next = rate,
            _ => {
                let own = own.filter(|own| iso_currency::Currency::from_code(own).is_some())?;
                let message = format!("the rate of {code} ends in {to}, not in {own}, the currency of the team");
                return Some((message, format!("give the rate of {code} or of {to} in {own}")));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The settings that a text gives, and the routes, messages and fixes of its problems.
    fn read(text: &str) -> (Settings, Vec<[String; 3]>) {
        let (settings, problems) = crate::read::settings(text.as_bytes());
        let shown = |problem: Problem| [problem.route.join("."), problem.message, problem.help];
        (settings, problems.into_iter().map(shown).collect())
    }

    #[test]
    fn growth_is_a_percentage_from_0_to_100() {
        for (growth, word, fix) in [
            ("20", "would be 2000 %", "use `20 %`"),
            ("0.2", "would be 20 %", "use `20 %`"),
            ("1.2", "would be 120 %", "use `1.2 %`"),
            ("120 %", "not from 0 % to 100 %", "`100 %`"),
            ("-5 %", "not from 0 % to 100 %", "`0 %`"),
            ("2 kg", "not a ratio", "`10 %`"),
            ("200 ppm", "would be 0.02 %", "use `0.02 %`"),
        ] {
            let (settings, problems) = read(&format!("growth: {{mass: {{estimated: {growth}, weighed: 0 %}}}}"));
            let [[route, message, help]] = &problems[..] else { panic!("{growth}: {problems:?}") };
            assert_eq!(route, "growth.mass.estimated");
            assert!(message.contains(word) && help.contains(fix), "{growth}: {message} | {help}");
            let used = settings.growth.get("mass").unwrap().get("estimated").unwrap().si();
            assert_eq!(used, 0.0, "{growth}: it must not change a total");
        }
        let (settings, problems) = read("growth: {mass: {a: 0 %, b: 100 %, c: 12.5 %, d: 0}}");
        assert!(problems.is_empty(), "{problems:?}");
        assert_eq!(settings.growth.get("mass").unwrap().get("c").unwrap().si(), 0.125);
    }

    #[test]
    fn rates_lead_to_the_currency_of_the_team() {
        for (rates, route, word) in [
            ("{EUR: 2 EUR}", "rates.EUR", "currency of the team"),
            ("{USD: 0 EUR}", "rates.USD", "not more than zero"),
            ("{USD: -1 EUR}", "rates.USD", "not more than zero"),
            ("{USD: 0.92}", "rates.USD", "not an amount of money"),
            ("{USD: 0.92 kg}", "rates.USD", "not an amount of money"),
            ("{USD: 0.92 EUR^2}", "rates.USD", "not an amount of money"),
            ("{USD: 2 USD}", "rates.USD", "circle: USD -> USD"),
            ("{USD: 0.8 GBP}", "rates.USD", "ends in GBP, not in EUR"),
        ] {
            let (settings, problems) = read(&format!("currency: EUR\nrates: {rates}"));
            let [[found, message, help]] = &problems[..] else { panic!("{rates}: {problems:?}") };
            assert!(found == route && message.contains(word) && !help.is_empty(), "{rates}: {found} {message}");
            assert!(settings.rates.is_empty(), "{rates}: it must not change a cost");
        }
        let (settings, problems) =
            read("currency: EUR\nrates: {USD: 0.8 GBP, GBP: 1.25 USD, CHF: 0.9 USD, JPY: 0.006 EUR}");
        let routes: Vec<&str> = problems.iter().map(|[route, ..]| route.as_str()).collect();
        assert_eq!(routes, ["rates.USD", "rates.GBP", "rates.CHF"], "all that lead to the circle");
        assert_eq!(settings.rates.len(), 1);
        let (settings, problems) = read("currency: EUR\nrates: {GBP: 1.3 USD, USD: 0.9 €}");
        assert!(problems.is_empty() && settings.rates.len() == 2, "a chain: {problems:?}");
    }
}
