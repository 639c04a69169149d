//! Numbers are drawn at the right places: positions are proportional to them.

use super::super::{
    Name, budget, chain, estimates, frontier, loops, over_time, stress, targets, terminal, tornado, typeset,
    verification,
};
use super::{Element, drawings, samples};
use crate::screen::Ink;

pub(super) fn wide(svg: &str) -> Vec<Element> {
    drawings(svg).swap_remove(0)
}

pub(super) fn of_class<'e>(elements: &'e [Element], tag: &'e str, class: &'e str) -> impl Iterator<Item = &'e Element> {
    elements.iter().filter(move |element| element.tag == tag && element.has_class(class))
}

/// The straight line through pairs of numbers and positions, which all of them must be on.
pub(super) fn assert_linear(pairs: &[(f64, f64)]) {
    let (first, last) = (pairs[0], pairs[pairs.len() - 1]);
    let slope = (last.1 - first.1) / (last.0 - first.0);
    assert!(slope.is_finite() && slope != 0.0, "{pairs:?}");
    for (value, position) in pairs {
        let expected = first.1 + slope * (value - first.0);
        assert!((position - expected).abs() < 0.25, "{value} is at {position}, and {expected} is its place: {pairs:?}");
    }
}

/// The positions of the grid lines with the numbers below them.
pub(super) fn axis_below(elements: &[Element]) -> Vec<(f64, f64)> {
    let number = |text: &str| {
        text.replace('−', "-").replace(typeset::NARROW, " ").split(' ').next().and_then(|n| n.parse().ok())
    };
    let lines: Vec<f64> = elements
        .iter()
        .filter(|element| element.tag == "line" && element.get("x1") == element.get("x2"))
        .map(|line| line.number("x1"))
        .collect();
    let labels = elements.iter().filter(|element| element.tag == "text" && element.has_class("m"));
    labels
        .filter_map(|label| {
            let x = label.number("x");
            let line = lines.iter().copied().find(|line| (line - x).abs() < 0.2)?;
            Some((number(&label.text)?, line))
        })
        .collect()
}

/// In the narrow shape, names are between the bars.
#[test]
fn no_upright_line_crosses_a_word_on_a_phone() {
    const OF_ROWS: [&str; 5] = ["waterfall", "tornado", "targets", "budget", "estimates"];
    let all = samples::all(9, "The name of what has a bar of its own", 1.0).into_iter();
    for (name, picture) in all.filter(|(name, _)| OF_ROWS.contains(name)) {
        for elements in drawings(&picture.svg).into_iter().skip(1) {
            let texts: Vec<&Element> = elements.iter().filter(|element| element.tag == "text").collect();
            let upright = |line: &&Element| line.tag == "line" && line.get("x1") == line.get("x2");
            for line in elements.iter().filter(upright) {
                let [x, top, _, bottom] = line.bounds().unwrap();
                let crossed = texts.iter().find(|text| {
                    let own = text.bounds().unwrap();
                    own[0] < x && x < own[2] && own[1] < bottom && top < own[3]
                });
                assert!(crossed.is_none(), "{name}: {line:?} crosses {crossed:?}");
            }
        }
    }
}

#[test]
fn better_is_to_the_right_for_every_target() {
    let input = samples::targets(9, "Target", 1.0);
    let elements = wide(&targets::picture("k", &input).svg);
    let limit = of_class(&elements, "line", "limit").next().unwrap().number("x1");
    let marks: Vec<f64> = of_class(&elements, "circle", "estimate").skip(1).map(|circle| circle.number("cx")).collect();
    assert_eq!(marks.len(), 9);
    for (at, target) in input.targets.iter().enumerate() {
        let margin = target.estimate.as_ref().unwrap().margin.unwrap();
        assert_eq!(marks[at] > limit, margin > 0.0, "{margin} is at {} and the limit at {limit}", marks[at]);
    }
    let mut sorted: Vec<(f64, f64)> = input
        .targets
        .iter()
        .zip(&marks)
        .map(|(target, x)| (target.estimate.as_ref().unwrap().margin.unwrap(), *x))
        .collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert!(sorted.is_sorted_by(|a, b| a.1 <= b.1), "a larger margin is not further left: {sorted:?}");
    let small = targets::small("k", &input.targets[0]).unwrap();
    assert!(drawings(&small)[0].iter().any(|element| element.has_class("limit")));
    assert_eq!(targets::small("k", &targets::TargetRow::default()), None, "nothing to compare");
}

#[test]
fn a_curve_is_on_the_scale_of_its_own_range() {
    let input = samples::over_time(60, "Points", 1.0);
    let elements = wide(&over_time::picture("k", &input).svg);
    let curve = of_class(&elements, "polyline", "curve").next().unwrap().points();
    assert_eq!(curve.len(), 60);
    let pairs: Vec<(f64, f64)> = input.moments.iter().zip(&curve).map(|(moment, (_, y))| (moment.value, *y)).collect();
    let mut by_value = pairs.clone();
    by_value.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert_linear(&by_value);
    let days: Vec<(f64, f64)> = curve.iter().enumerate().map(|(at, (x, _))| (at as f64, *x)).collect();
    assert_linear(&days);
    let around = of_class(&elements, "polygon", "around").next().unwrap().points();
    assert_eq!(around.len(), 120, "the interval is above and below every moment");
    let top = around.iter().map(|point| point.1).fold(f64::INFINITY, f64::min);
    assert!(top < pairs.iter().map(|pair| pair.1).fold(f64::INFINITY, f64::min));
    let goal = of_class(&elements, "polyline", "goal").next().unwrap().points();
    assert_eq!(goal.len(), 4, "the line steps where its value changes");
}

#[test]
fn a_curve_of_one_commit_is_a_sentence() {
    let picture = over_time::picture("k", &samples::over_time(1, "Points", 1.0));
    assert!(picture.is_empty());
    assert_eq!(picture.caption, format!("Points: {} on 2026-09-21, the only day with a value", typeset("600.0 pts")));
    let none = over_time::picture("k", &samples::over_time(0, "Points", 1.0));
    assert_eq!(none.caption, "Points: no value is recorded yet");
}

#[test]
fn the_effects_of_a_tornado_are_to_scale() {
    let input = samples::tornado(6, "Value", 1.0);
    let elements = wide(&tornado::picture("k", &input).svg);
    let axis = axis_below(&elements);
    assert_linear(&axis);
    let per_point = (axis[1].1 - axis[0].1) / (axis[1].0 - axis[0].0);
    let widths = |class: &'static str| -> Vec<f64> {
        of_class(&elements, "rect", class).skip(1).map(|rect| rect.number("width")).collect()
    };
    for (bar, (lower, higher)) in input.bars.iter().zip(widths("main-edge").iter().zip(widths("main"))) {
        assert!(
            (lower - bar.lower.abs() * per_point).abs() < 0.25 && (higher - bar.higher.abs() * per_point).abs() < 0.25
        );
    }
}

#[test]
fn sections_of_a_budget_differ_by_their_room() {
    let input = samples::budget(6, "Section", 1.0);
    let elements = wide(&budget::picture("k", &input).svg);
    let axis = axis_below(&elements);
    assert_linear(&axis);
    let per_unit = (axis[1].1 - axis[0].1) / (axis[1].0 - axis[0].0);
    let mut rooms: Vec<f64> = input.sections.iter().map(|section| section.limit - section.value.unwrap()).collect();
    rooms.sort_by(f64::total_cmp);
    // The keys come first, and the bars of the rooms are as high as bars of rows.
    let bars = elements.iter().filter(|element| {
        element.tag == "rect"
            && element.get("height") == Some("14")
            && (element.has_class("main") || element.has_class("bad-edge"))
    });
    let widths: Vec<f64> = bars.map(|bar| bar.number("width")).collect();
    assert_eq!(widths.len(), rooms.len());
    for (width, room) in widths.iter().zip(&rooms) {
        assert!((width - room.abs() * per_unit).abs() < 0.25, "{room} kg of room is {width} wide");
    }
    let frame = of_class(&elements, "rect", "frame").next().unwrap();
    let (top, frame) = (frame.number("y"), frame.number("width"));
    let blocks = elements.iter().filter(|own| own.tag == "rect" && own.get("height") == Some("22"));
    let cells: f64 = blocks.filter(|own| own.number("y") == top).map(|rect| rect.number("width")).sum();
    let share = input.value.unwrap() / input.limit.max(input.value.unwrap());
    assert!((cells / frame - share).abs() < 0.005, "the sections are to scale: {cells} of {frame}");
}

/// A block without room for its name has a number, and the list below has its name; nothing is cut.
#[test]
fn every_section_of_a_budget_has_its_name() {
    for shape in [0, 1] {
        let mut input = samples::budget(9, "Section with a rather long name", 1.0);
        let sizes = [52.0, 47.0, 25.0, 21.0, 19.0, 12.0, 9.0, 8.0, 5.0];
        for (section, size) in input.sections.iter_mut().zip(sizes) {
            (section.limit, section.value, section.is_over) = (size + 0.5, Some(size), size == 21.0);
        }
        (input.limit, input.value) = (205.0, Some(198.0));
        let svg = budget::picture("k", &input).svg;
        let elements = drawings(&svg).swap_remove(shape);
        let rooms = elements.iter().position(|own| own.text.starts_with("room of each")).unwrap();
        let strip: Vec<&str> = elements[..rooms].iter().map(|own| own.text.as_str()).collect();
        let names = input.sections.iter().map(|section| section.name.title.as_str());
        for name in names {
            assert!(strip.iter().any(|text| text.starts_with(name)), "{name} in {strip:?}");
        }
        let numbers: Vec<&&str> = strip.iter().filter(|text| text.parse::<usize>().is_ok()).collect();
        assert!(
            numbers.len() >= 8 && numbers.len().is_multiple_of(2),
            "each number is below its block and in the list: {strip:?}"
        );
    }
    // Blocks too narrow for a number are one entry.
    let svg = budget::picture("k", &samples::budget(200, "Section", 1.0)).svg;
    assert!(drawings(&svg)[1].iter().any(|own| own.text.ends_with(" others")), "{svg}");
}

/// A name that is longer than its line goes on in the next one, on a desk and on a phone.
#[test]
fn no_name_of_a_row_is_cut() {
    let long = "Engine with intake and exhaust and cooling and fuel system";
    for (kind, picture) in samples::all(9, long, 1.0) {
        if !["waterfall", "targets", "budget", "estimates", "loops", "bars"].contains(&kind) {
            continue;
        }
        for elements in drawings(&picture.svg) {
            let texts = || elements.iter().filter(|own| own.tag == "text").map(|own| own.text.as_str());
            assert!(texts().all(|text| !text.contains('…')), "{kind}: {:?}", texts().collect::<Vec<_>>());
            let all = texts().collect::<Vec<_>>().join(" ");
            assert!(
                all.contains("cooling") && (all.contains("system 8") || all.contains("system, 8")),
                "{kind}: {all}"
            );
        }
    }
    let mut input = samples::loops(1, "Tread temperature after the first two autocross gates");
    input.loops[0].end = "limit changed without a revision".into();
    for elements in drawings(&loops::picture("k", &input).svg) {
        assert!(elements.iter().all(|own| !own.text.contains('…')), "{elements:?}");
    }
}

/// Two curves that end close to each other: the number of the upper one is above it, that of the lower one below.
#[test]
fn the_numbers_of_both_verification_curves_are_on_their_sides() {
    let mut input = samples::verification(186, "Part");
    for (at, planned) in input.planned.iter_mut().enumerate() {
        planned.due = Some(samples::day(at));
        planned.result = Some(samples::day(at + 1));
        planned.outcome = (at < 179).then_some(verification::Outcome::Passed);
    }
    input.today = Some(samples::day(200));
    for elements in drawings(&verification::picture("k", &input).svg) {
        let text = |words: &str| elements.iter().find(|own| own.text == words).unwrap().number("y");
        let end =
            |class: &'static str| of_class(&elements, "polyline", class).next().unwrap().points().pop().unwrap().1;
        assert!(text("186 due") < end("goal") && end("curve") + 10.0 < text("179 passed"), "{elements:?}");
    }
}

/// Where a place is aimed at, the bars are of its chance, and the points are next to it.
#[test]
fn a_tornado_of_a_chance_has_percent_and_points() {
    let mut input = samples::tornado(2, "Grip", 0.5);
    input.chance = Some(("place 8".to_owned(), "79 %".to_owned()));
    for bar in &mut input.bars {
        bar.points = Some(7.6);
    }
    (input.bars[0].lower, input.bars[0].higher) = (-2.5, 2.5);
    let picture = tornado::picture("k", &input);
    let space = "\u{202f}";
    let caption = format!("adds to the chance of place 8, 79{space}% by the estimates alone: ");
    assert!(picture.caption.contains(&caption), "{}", picture.caption);
    assert!(picture.caption.contains(&format!(": +2.5{space}%, +7.6 points")), "{}", picture.caption);
    let elements = wide(&picture.svg);
    let texts: Vec<&str> = elements.iter().filter(|own| own.tag == "text").map(|own| own.text.as_str()).collect();
    assert!(texts.contains(&"+7.6 points") && texts.contains(&format!("+2.5{space}%").as_str()), "{texts:?}");
}

#[test]
fn a_tornado_names_record_quantity_and_step_in_full() {
    let mut input = samples::tornado(3, "Endurance, 20 laps with a driver change: best time", 1.0);
    (input.bars[1].lower, input.bars[1].higher) = (9.5, -9.5);
    let picture = tornado::picture("k", &input);
    for elements in drawings(&picture.svg) {
        let texts: Vec<&str> = elements.iter().filter(|own| own.tag == "text").map(|own| own.text.as_str()).collect();
        let all = texts.join(" ");
        for bar in &input.bars {
            assert!(all.contains(&bar.name.title), "{} in {all}", bar.name.title);
        }
        assert!(!all.contains('…'), "{all}");
        let space = "\u{202f}";
        assert!(all.contains("+9.5") && all.contains(&format!("202.4{space}kg → 200.4{space}kg")), "{all}");
    }
    let name = &input.bars[1].name.title;
    assert!(picture.caption.contains(&format!("most: {name}, 202.4")), "{}", picture.caption);
}

#[test]
fn verification_counts_step_by_step() {
    let input = samples::verification(60, "Part");
    let picture = verification::picture("k", &input);
    let elements = wide(&picture.svg);
    let passed = of_class(&elements, "polyline", "curve").next().unwrap().points();
    let zero = passed[0].1;
    // What failed or is uncertain closes nothing.
    let count = 15;
    let due = of_class(&elements, "polyline", "goal").next().unwrap().points();
    let dated = input.planned.iter().filter(|planned| planned.due.is_some()).count();
    let (up, down) = (zero - passed.last().unwrap().1, zero - due.last().unwrap().1);
    assert!((up / down - count as f64 / dated as f64).abs() < 0.01, "{up} for {count}, {down} for {dated}");
    let late = input
        .planned
        .iter()
        .filter(|own| own.outcome.is_none() && own.due.is_some_and(|due| due < samples::day(180)))
        .count();
    assert!(
        picture.caption.starts_with(&format!(
            "{count} of 60 verifications passed, 5 failed, 5 uncertain, 35 without a result; {late} due before "
        )),
        "{}",
        picture.caption
    );
    let outcomes: Vec<&str> = picture.table.rows.iter().map(|row| row.cells[4].as_str()).collect();
    for (word, number) in [("passed", 15), ("failed", 5), ("uncertain", 5), ("no result, overdue", late)] {
        assert_eq!(outcomes.iter().filter(|own| **own == word).count(), number, "{word}");
    }
}

#[test]
fn a_loop_is_as_long_as_it_lasted() {
    let input = samples::loops(8, "Target");
    let elements = wide(&loops::picture("k", &input).svg);
    let bars: Vec<&Element> = elements
        .iter()
        .filter(|element| element.tag == "rect" && (element.has_class("resolved") || element.has_class("bad-edge")))
        .skip(2)
        .collect();
    assert_eq!(bars.len(), 8);
    let per_day = (535.0 - 250.0) / 300.0;
    let mut days: Vec<(bool, f64)> = input
        .loops
        .iter()
        .map(|own| (own.is_resolved, f64::from(own.since.days_until(own.until.unwrap_or(samples::day(300))))))
        .collect();
    days.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
    for (bar, (resolved, days)) in bars.iter().zip(days) {
        assert_eq!(bar.has_class("resolved"), resolved, "what is not resolved comes first");
        assert!((bar.number("width") - days * per_day).abs() < 0.25, "{days} days are {} wide", bar.number("width"));
    }
    assert_eq!(
        loops::picture("k", &loops::Loops { season: input.season, loops: Vec::new() }).caption,
        "No target was at risk at any commit"
    );
    assert_eq!(loops::picture("k", &loops::Loops::default()).caption, "Periods at risk need the git history");
}

#[test]
fn a_result_above_its_estimate_is_to_the_right() {
    let input = samples::estimates(3, "Mass", 1.0);
    let picture = estimates::picture("k", &input);
    let elements = wide(&picture.svg);
    let zero = of_class(&elements, "line", "limit").next().unwrap().number("x1");
    let mut pairs = axis_below(&elements);
    let means: Vec<f64> = of_class(&elements, "rect", "total").skip(1).map(|rect| rect.number("x") + 1.5).collect();
    pairs.extend(input.groups.iter().map(|group| group.bias * 100.0).zip(means).filter(|(bias, _)| *bias != 0.0));
    pairs.push((0.0, zero));
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert_linear(&pairs);
    let inside = input.groups.iter().flat_map(|group| &group.pairs).filter(|pair| pair.inside == Some(true)).count();
    let known = input.groups.iter().flat_map(|group| &group.pairs).filter(|pair| pair.inside.is_some()).count();
    assert!(picture.caption.starts_with(&format!("{inside} of {known} results are inside")), "{}", picture.caption);
}

#[test]
fn the_car_has_its_systems_and_each_its_parts_again() {
    let mut input = samples::chain(4, "Part");
    for node in &mut input.nodes {
        node.below.clear();
    }
    let car = chain::ChainNode { name: Name::plain("The car"), below: vec![1], ..Default::default() };
    input.nodes.push(car);
    input.nodes[0].below = vec![2, 3];
    input.nodes[1].kind = "system".into();
    input.nodes[1].parts = vec![2, 3];
    input.nodes[3].fault = "serves nothing".into();
    input.roots = vec![0, 4];
    let picture = chain::picture(&input, true);
    let (before, car) = picture.svg.split_once("The car").unwrap();
    assert!(before.contains("<li>") && car.contains("<summary>1 below</summary>") && car.contains("<summary>2 parts"));
    for at in [2, 3] {
        let id = input.nodes[at].name.id.as_deref().unwrap();
        let link = format!("href=\"#{id}\"");
        assert_eq!((before.matches(&link).count(), car.matches(&link).count()), (1, 1), "{id}");
    }
    assert_eq!(picture.svg.matches("serves nothing").count(), 1);
    assert!(picture.caption.starts_with("4 records, 1 system of them under the car: "), "{}", picture.caption);
    assert!(picture.caption.ends_with("; 1 record without a path to a goal"), "{}", picture.caption);
    input.nodes[3].fault.clear();
    let caption = chain::picture(&input, true).caption;
    assert!(caption.ends_with("; every record that needs it has a path to a goal"), "{caption}");
}

#[test]
fn the_chain_has_every_record_once() {
    for count in [1, 13, 1000] {
        let picture = chain::picture(&samples::chain(count, "Part"), true);
        assert_eq!(picture.svg.matches("<li>").count(), count);
        assert_eq!(picture.table.rows.len(), count);
        for tag in ["ul", "li", "details", "summary"] {
            let (opened, closed) =
                (picture.svg.matches(&format!("<{tag}")).count(), picture.svg.matches(&format!("</{tag}>")).count());
            assert_eq!(opened, closed, "{tag}");
        }
    }
    // A chain without an end, and one deeper than any browser opens.
    let mut deep = samples::chain(5000, "Part");
    for (at, node) in deep.nodes.iter_mut().enumerate() {
        node.below = vec![(at + 1) % 5000];
    }
    let picture = chain::picture(&deep, false);
    assert_eq!(picture.svg.matches("<li>").count(), 5000);
    assert!(picture.svg.matches("<details").count() <= 41);
    let mut lost = samples::chain(3, "Part");
    lost.roots = vec![7, 0];
    lost.nodes[0].below = vec![9, 1];
    assert_eq!(chain::picture(&lost, false).svg.matches("<li>").count(), 2, "a place that is not there is nothing");
}

#[test]
fn the_stress_of_all_iterations_has_one_scale() {
    let input = samples::stress(3, "Upright", 1.0);
    let picture = stress::picture("k", &input);
    let elements = wide(&picture.svg);
    let bars: Vec<&Element> = elements.iter().filter(|element| element.tag == "rect").skip(3).collect();
    assert_eq!(bars.len(), 33);
    let pairs =
        input.iterations.iter().flat_map(|own| &own.bins).zip(&bars).map(|(bin, bar)| (bin.2, bar.number("height")));
    let mut pairs: Vec<(f64, f64)> = pairs.filter(|(_, height)| *height > 1.0).collect();
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    assert_linear(&pairs);
    assert!(picture.caption.contains(&input.caution), "the caution is next to it");
}

#[test]
fn the_frontier_is_what_none_beats() {
    let point = |title: &str, across: f64, up: f64| frontier::Alternative {
        name: Name::plain(title),
        across,
        up,
        interval: Some((up - 9.0, up + 9.0)),
        chosen: title == "b",
    };
    let mut input = samples::frontier(0, "Engine", 1.0);
    input.alternatives =
        vec![point("a", 210.0, 620.0), point("b", 205.0, 618.0), point("c", 212.0, 615.0), point("d", f64::NAN, 700.0)];
    let names: Vec<&str> = input.frontier().iter().map(|own| own.name.title.as_str()).collect();
    assert_eq!(names, ["b", "a"], "lighter, and more points; c is beaten by both");
    let picture = frontier::picture("k", &input);
    assert_eq!(
        picture.caption,
        "Engine: 2 of 3 alternatives are not beaten by another one in points and mass: b, a; the chosen one, b, is one of them"
    );
    let elements = wide(&picture.svg);
    assert!(elements.iter().any(|own| own.text == "not beaten in points and mass"));
    let line = of_class(&elements, "polyline", "goal").next().unwrap().points();
    assert_eq!(line.len(), 3, "two alternatives and the corner between them");
    let circle = of_class(&elements, "circle", "point").nth(1).unwrap();
    assert_eq!((line[2].0, line[2].1), (circle.number("cx") - 4.0, circle.number("cy")), "the line leads to a");
    for own in of_class(&elements, "line", "interval") {
        assert!(line.iter().all(|(x, _)| (x - own.number("x1")).abs() > 3.0), "it covers no interval: {own:?}");
    }
}

/// An interval that goes on beyond the edge has an arrow there, and a frontier of one alternative has no line to explain.
#[test]
fn an_interval_beyond_the_edge_has_an_arrow() {
    let mut input = samples::frontier(2, "Engine", 1.0);
    for (own, (across, up)) in input.alternatives.iter_mut().zip([(200.0, 620.0), (210.0, 600.0)]) {
        (own.across, own.up, own.interval) = (across, up, Some((up - 200.0, up + 1.0)));
    }
    for elements in drawings(&frontier::picture("k", &input).svg) {
        assert_eq!(of_class(&elements, "polyline", "tip").count(), 2, "one for each lower end");
        assert!(elements.iter().all(|own| !own.text.starts_with("not beaten")));
    }
}

#[test]
fn bars_in_the_terminal_have_a_side() {
    let mut input = samples::waterfall(3, "Event", 1.0);
    input.events.iter_mut().for_each(|event| event.scored = None);
    for (event, step) in input.events.iter_mut().zip([4.0, -2.0, 0.0]) {
        event.predicted = event.plan.map(|plan| plan + step);
    }
    let text = terminal::waterfall(&input, 60, Ink::plain(60));
    assert!(text.starts_with("points: prediction minus plan\n"), "{text}");
    let lines: Vec<&str> = text.lines().skip(1).collect();
    let side =
        |line: &str| line.split_once('│').map(|(left, right)| (left.matches('█').count(), right.matches('█').count()));
    assert_eq!(lines.iter().map(|line| side(line).unwrap()).collect::<Vec<_>>(), [(0, 20), (10, 0), (0, 0)], "{text}");
    assert!(lines[0].contains("+4.0") && lines[1].contains("-2.0"), "{text}");
}
