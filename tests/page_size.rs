//! The size of the page, and records with names of what is on it.

use std::collections::BTreeSet;

use crate::page::{attributes, page, place, text};
use crate::support::{SETTINGS, Sandbox};

/// A car with this many records: systems, targets with reasons and plans, parts with two amounts.
fn generated(records: usize) -> String {
    use std::fmt::Write as _;
    let mut all = String::from(
        "goals:\n  top: {title: Finish among the first eight, points: 60 pts, reason: It keeps the workshop., lead: team lead}\n\
         events:\n  run:\n    title: Acceleration over 75 m\n    plan: 70 pts\n    lead: test lead\n    serves: {top: It is what is scored.}\n    \
         reads: {time: run-time}\n    score: {formula: 100 * 3.5 / time * unit, given: {unit: 1 s}, }\n\
         targets:\n  run-time: {title: Time over 75 m, of: car, at-most: 4.3 s, formula: 4 * one + car-mass / kilo, given: {one: 1 s, kilo: 1000 kg/s}, \
         lead: test lead, serves: {run: It scores.}, verify: {by: test, with: timing gates, due: 2027-05-01}}\n  \
         car-mass: {title: Mass of the car, of: car, at-most: 205 kg, total: mass, lead: chief engineer, serves: {run-time: A kilogram costs 1 ms.}}\n",
    );
    let systems = 9;
    let targets = (records - 4 - systems) / 3;
    let parts = records - 4 - systems - targets;
    for target in 0..targets {
        let _ = writeln!(
            all,
            "  target-{target}: {{title: Stiffness of the joint number {target}, of: sys-{}, at-least: 3 kN/mm, estimate: 3.2 kN/mm ± 0.1 kN/mm, \
             serves: {{run-time: A soft joint number {target} loses grip in every corner of the course.}}, verify: {{by: test, with: rig, due: 2027-06-01}}}}",
            target % systems
        );
    }
    all.push_str("systems:\n");
    for system in 0..systems {
        let _ = writeln!(all, "  sys-{system}: {{title: System number {system}, in: car, lead: lead {system}}}");
    }
    all.push_str("parts:\n");
    for part in 0..parts {
        let _ = writeln!(
            all,
            "  part-{part}: {{title: Bracket number {part}, in: sys-{}, count: 2, amounts: {{mass: {{value: 0.02 kg, basis: weighed}}, cost: 3 EUR}}, \
             serves: {{target-{}: It holds joint {part} where the load comes in., car-mass: Every gram counts.}}}}",
            part % systems,
            part % targets
        );
    }
    all
}

#[test]
fn large_cars_have_pages_that_a_browser_can_open() {
    for (records, most) in [(450, 1_500_000), (3_000, 9_000_000)] {
        let sandbox = Sandbox::new();
        sandbox.write("tierod.yaml", SETTINGS);
        sandbox.write("car.yaml", generated(records));
        let page = page(&sandbox);
        assert_eq!(page.matches("<article class=\"place\"").count(), records);
        println!("{records} records: {} kB", page.len() / 1000);
        assert!(page.len() < most, "{records} records: {}", page.len());
        assert!(text(place(&page, "part-0")).contains("Finish among the first eight"));
    }
}

/// The records that a page with too many of them leads to, and those that have a place.
fn led_to(page: &str) -> (BTreeSet<&str>, BTreeSet<&str>) {
    let links = attributes(page, "href").into_iter().filter_map(|to| to.strip_prefix('#'));
    let places = page.split("<article class=\"place\" id=\"").skip(1).filter_map(|rest| rest.split('"').next());
    (links.filter(|id| !id.starts_with('_')).collect(), places.collect())
}

#[test]
fn a_page_has_a_bounded_number_of_places() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let parts: String = (0..40_000).map(|part| format!("  p{part}: {{in: suspension}}\n")).collect();
    sandbox.write("parts.yaml", format!("parts:\n{parts}  last: {{in: suspension, safety-critical: true}}\n"));
    let page = page(&sandbox);
    let (links, places) = led_to(&page);
    assert_eq!(places.len(), 10_000);
    for id in ["top-ten", "skidpad", "suspension", "last", "p0"] {
        assert!(places.contains(id), "{id}");
    }
    let dead: Vec<_> = links.difference(&places).collect();
    assert!(dead.is_empty(), "{} names lead nowhere: {:?}", dead.len(), dead.first());
    let list = page.split("<section id=\"_records\"").nth(1).unwrap().split("</section>").next().unwrap();
    let all = list.matches("<tr>").count() - 1;
    assert!(all > 40_000 && list.contains("<td>p39999<td>part<td>"), "{all}");
    let sentence = format!("{} of {all} records have no place on this page: `tierod why ID` shows one", all - 10_000);
    assert!(text(list).contains(&sentence.replace('`', "")), "{}", &text(list)[..900]);
    assert!(text(place(&page, "suspension")).contains("more: tierod why suspension"));
    let chain = page.split("<section id=\"_chain\"").nth(1).unwrap().split("</section>").next().unwrap();
    assert!(chain.contains("; 10000 of them are listed, `tierod graph` lists all"));
}

/// Targets in one ring: everything is below each of them.
#[test]
fn records_below_each_other_are_counted_up_to_a_number() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let ring = |size: usize| {
        let target = |at: usize| {
            format!("  t{at}: {{of: car, at-most: 1 kg, lead: x, serves: {{t{}: It is needed.}}}}\n", (at + 1) % size)
        };
        sandbox.write("ring.yaml", format!("targets:\n{}", (0..size).map(target).collect::<String>()));
        page(&sandbox)
    };
    assert!(text(place(&ring(1_000), "t999")).contains("Everything below999 records"));
    let page = ring(3_500);
    assert!(text(place(&page, "t0")).contains("Everything below3499 records"));
    assert!(text(place(&page, "t3499")).contains("Everything belowmore than 100 records"));
    assert!(place(&page, "t3499").matches("<li>").count() < 100);
}

#[test]
fn lists_of_links_are_bounded() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let parts: String = (0..1_200).map(|part| format!("  p{part}: {{in: suspension}}\n")).collect();
    let ids: Vec<String> = (0..1_100).map(|part| format!("p{part}")).collect();
    sandbox.write("parts.yaml", format!("parts:\n{parts}analyses:\n  wide: {{informs: [{}]}}\n", ids.join(", ")));
    let page = page(&sandbox);
    assert!(text(place(&page, "wide")).contains("p999and 100 more: tierod why wide"), "{}", text(place(&page, "wide")));
    let system = text(place(&page, "suspension"));
    let (_, more) = system.split_once("and ").unwrap();
    let more: usize = more.split(' ').next().unwrap().parse().unwrap();
    assert!((200..210).contains(&more) && system.contains("more: tierod why suspension"), "{more}");
}

/// The bound holds for 450 records; those of the example's season have a history, stress files and results.
#[test]
fn the_page_of_a_whole_season_is_small() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let said = sandbox.tierod(&["page", "car"]).ended(0).out;
    let size = std::fs::metadata(sandbox.path_of("page.html")).unwrap().len();
    assert!(said.contains(": 455 records, ") && said.contains(&format!(", {} kB", size.div_ceil(1000))), "{said}");
    assert!(size < 1_460_000, "{size}");
    let page = std::fs::read_to_string(sandbox.path_of("page.html")).unwrap();
    assert!(page.contains("<th scope=col class=n>room") && !page.contains("growth included"), "no empty column");
    assert!(!page.contains("+0.0<") && page.contains("<td class=n>0.0<"), "one form of a difference of zero");
    let audit = sandbox.tierod_in(&sandbox.path_of("car"), &["audit", "--format", "html"]).out;
    assert!(!audit.contains("+0.0<") && audit.contains(">0.0<"), "one form of a difference of zero in the audit");
    // What is long is folded, with the number of what is in it.
    let folds = |html: &str| {
        let all = html.split("<summary>").skip(1).map(|rest| rest.split("</summary>").next().unwrap().to_owned());
        all.collect::<Vec<String>>()
    };
    for (html, fold) in [
        (&audit, "72 targets met"),
        (&page, "alternatives (3)"),
        (&page, "Mass of the brakes: 11 parts"),
        (&page, "Mass of the powertrain with fluids: the largest 12 of 17 parts"),
    ] {
        assert!(folds(html).iter().any(|own| own == fold), "{fold}");
    }
    assert!(page.contains("<td>5 smaller parts<"), "the row of the others");
    let lesson = audit.split("<li>results of area are on average ").nth(1).unwrap().split("</li>").next().unwrap();
    assert!(lesson.ends_with("below the estimates whose basis is analysis (5 pairs): check the method"), "{lesson}");
    // Records have their titles there.
    let missed = "<li>missed; set the limit again from the measured value: Time over 75 m (accel-time); Lap time on the \
                  autocross course (autocross-time); ";
    assert!(audit.replace('\u{202f}', " ").contains(missed), "{missed}");
    assert!(!audit.contains("k = 2") && audit.contains("each line is an interval of about 95 %."), "plain words");
    // The same two sentences relate limit, shares, reserve and room, in the terminal and on the page.
    let budget = sandbox.tierod_in(&sandbox.path_of("car"), &["budget", "mass"]).ended(0).out;
    let shown = text(&page).replace('\u{202f}', " ");
    for line in [
        "limit 205 kg: 202 kg for the limits of 9 shares, 3 kg reserve, 0 kg unallocated",
        "room 6.6 kg: limit minus value; 3.6 kg of it before the reserve is used",
    ] {
        assert!(budget.contains(&format!("  {line}\n")) && shown.contains(line), "{line}\n{budget}");
    }
    // What is counted is named where targets and periods are near each other.
    for words in [
        "3 targets missed, 1 at risk, 2 uncertain;",
        "42 of 46 periods at risk are resolved; the other 4 periods: 1 missed, ",
    ] {
        assert!(shown.contains(words), "{words}");
    }
    assert!(shown.contains("“Find” takes a status, too: missed, at risk, due, overdue, unproven"));
}

/// What is part of the page has no id that a record can have, so that every record has its place.
#[test]
fn records_may_be_called_as_what_is_on_the_page() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let page = page(&sandbox);
    let place = |id: &&str| page.contains(&format!("<article class=\"place\" id=\"{id}\">"));
    for id in attributes(&page, "id").iter().filter(|id| !place(id)) {
        assert!(id.starts_with('_') || id.contains("--"), "{id}");
    }
    let ids = [
        "overview",
        "list",
        "places",
        "filter",
        "find",
        "search",
        "count",
        "every",
        "answer-h",
        "records",
        "constructor",
    ];
    let parts: String = ids.iter().map(|id| format!("  {id}: {{in: suspension}}\n")).collect();
    sandbox.write("names.yaml", format!("parts:\n{parts}"));
    let page = self::page(&sandbox);
    for id in ids {
        assert_eq!(page.matches(&format!(" id=\"{id}\"")).count(), 1, "{id}");
        assert!(self::place(&page, id).contains("<h2>"), "{id}");
    }
}
