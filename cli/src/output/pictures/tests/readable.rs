//! What a reader needs: no words are cut, every sign is explained, and a caption is true on paper too.

use super::super::targets::{Instead, Reading, TargetRow, Targets};
use super::super::{Numbers, STYLE, budget, frontier, loops, over_time, stress, target, targets, typeset, waterfall};
use super::places::{axis_below, of_class, wide};
use super::{Element, check_shape, drawings, samples};

fn texts(elements: &[Element]) -> Vec<&str> {
    elements.iter().filter(|own| own.tag == "text").map(|own| own.text.as_str()).collect()
}

#[test]
fn the_words_of_a_stress_picture_are_whole() {
    let mut input = samples::stress(3, "Rack mount, four fifths of the height and half of the width at its end", 1.0);
    input.iterations[1].mass = "0.357 kg".into();
    for elements in drawings(&stress::picture("k", &input).svg) {
        let all = texts(&elements).join(" ");
        for words in
            ["at its end 1", "0.357\u{202f}kg", "height: share of the volume", "stress in % of the allowable stress"]
        {
            assert!(all.contains(words) && !all.contains('…'), "{words}: {all}");
        }
    }
}

fn row(title: &str, margin: Option<f64>, instead: Option<(&str, &str)>) -> TargetRow {
    let instead = instead.map(|(margin, why)| Instead { margin: margin.into(), why: why.into() });
    TargetRow {
        name: super::super::Name::record(title, title),
        limit: "at most 105".into(),
        estimate: Some(Reading { text: "100".into(), margin, instead, interval: None }),
        outcome: "at risk".into(),
        is_bad: true,
        ..TargetRow::default()
    }
}

#[test]
fn a_target_without_a_bar_has_the_reason() {
    let coolant = row("Coolant temperature", None, Some(("+5 degC", "no percentage of °C")));
    let empty = TargetRow { estimate: None, ..row("Noise", None, None) };
    let input = Targets { targets: vec![row("Mass", Some(0.02), None), coolant.clone(), empty], ..Targets::default() };
    let picture = targets::picture("k", &input);
    assert!(picture.caption.ends_with("; not drawn: Noise (no value)"), "{}", picture.caption);
    for elements in drawings(&picture.svg) {
        let texts = texts(&elements);
        for words in ["Coolant temperature", "+5\u{202f}°C", "no percentage of °C"] {
            assert!(texts.contains(&words), "{words}: {texts:?}");
        }
    }
    assert!(targets::small("k", &coolant).unwrap().contains("no percentage of °C"));
    let many = (0..5).map(|_| row("Noise", None, None)).chain([coolant]).collect();
    let many = Targets { targets: many, ..Targets::default() };
    let caption = targets::picture("k", &many).caption;
    assert!(caption.ends_with(", Noise (no limit to compare) and 2 more"), "{caption}");
}

#[test]
fn the_scale_of_targets_has_its_ends_and_is_explained() {
    for elements in drawings(&targets::picture("k", &samples::targets(9, "Target", 1.0)).svg) {
        let texts = texts(&elements);
        for words in ["−30\u{202f}%", "−10", "−2", "limit", "+2", "+10", "+30\u{202f}%"] {
            assert!(texts.contains(&words), "{words}: {texts:?}");
        }
        assert!(texts.join(" ").contains("margin (scale not linear)"), "{texts:?}");
    }
}

/// The table of a picture is folded, and what is folded is not printed.
#[test]
fn a_caption_promises_no_table_on_paper() {
    let figure = loops::picture("k", &samples::loops(46, "Target")).figure(Numbers::Folded, true);
    assert!(figure.contains("24 of 46 are drawn<span class=\"on-screen\">, the table has all</span>"), "{figure}");
    let print = &STYLE[STYLE.rfind("@media print").unwrap()..];
    assert!(print.contains(".on-screen { display: none; }"), "{print}");
    assert!(print.contains(".picture { break-before: avoid; }"), "a picture is on the sheet of its heading");
}

#[test]
fn a_budget_explains_its_strip() {
    let mut input = samples::budget(6, "Section", 0.5);
    input.value = Some(input.limit - 5.0);
    for elements in drawings(&budget::picture("k", &input).svg) {
        let texts = texts(&elements);
        let reserve = typeset("reserve 1.500 kg");
        for words in ["section", "part", "section over its limit"] {
            assert!(texts.contains(&words), "{words}: {texts:?}");
        }
        let dots = of_class(&elements, "path", "dots").count();
        assert_eq!(dots, 2, "{texts:?}");
        assert!(texts.contains(&reserve.as_str()), "{texts:?}");
    }
}

/// The mass of nine sections on a phone: the last block is narrower than its number.
#[test]
fn the_last_section_has_a_number() {
    let mut input = samples::budget(9, "Section with a long name", 1.0);
    let sizes = [53.08, 47.78, 24.62, 22.16, 18.79, 12.31, 9.26, 8.26, 4.64];
    for (section, size) in input.sections.iter_mut().zip(sizes) {
        (section.limit, section.value, section.is_over) = (size + 0.5, Some(size), false);
    }
    (input.limit, input.value, input.reserve) = (205.0, Some(200.9), 3.0);
    for elements in drawings(&budget::picture("k", &input).svg) {
        let texts = texts(&elements);
        assert_eq!(texts.iter().filter(|text| **text == "9").count(), 2, "below its block, and in the list: {texts:?}");
        assert!(!texts.contains(&"last") && texts.contains(&typeset("reserve 3.00 kg").as_str()), "{texts:?}");
    }
}

#[test]
fn a_table_has_no_empty_column() {
    let mut input = samples::budget(3, "Section", 1.0);
    assert!(budget::picture("k", &input).table.html(false).contains(">growth included<"));
    input.growth = None;
    input.sections.iter_mut().for_each(|section| section.growth = None);
    let html = budget::picture("k", &input).table.html(false);
    assert!(!html.contains("growth included") && html.contains(">uncertainty<"), "{html}");
    let row = html.split("<tr>").nth(2).unwrap();
    assert_eq!(row.matches("<td").count(), 4, "{row}");
}

/// An interval as long as the steps is whole; one that is much longer has arrows.
#[test]
fn the_axis_of_the_waterfall_has_room_for_a_short_interval() {
    let mut input = samples::waterfall(1, "Event", 1.0);
    let event = &mut input.events[0];
    (event.plan, event.predicted, event.scored) = (Some(60.0), Some(83.1), None);
    (input.plan, input.predicted, input.needed) = (60.0, Some(83.1), None);
    for (interval, is_whole) in [((73.9, 92.4), true), ((13.9, 152.4), false)] {
        input.interval = Some(interval);
        let elements = wide(&waterfall::picture("k", &input).svg);
        let tips = of_class(&elements, "polyline", "tip");
        assert_eq!(tips.filter(|tip| tip.points()[0].0 == tip.points()[1].0).count() == 2, is_whole, "{interval:?}");
        let steps = of_class(&elements, "rect", "main").last().unwrap().number("width");
        assert!(steps > 150.0, "the steps are not small: {steps}");
    }
    assert!(axis_below(&wide(&waterfall::picture("k", &input).svg)).len() > 2);
}

#[test]
fn the_band_of_the_place_looks_the_same_everywhere() {
    let mut input = samples::waterfall(3, "Event", 1.0);
    let plan = input.plan;
    input.needed.as_mut().unwrap().interval = (plan - 5.0, plan + 5.0);
    let pictures =
        [waterfall::picture("k", &input).svg, over_time::picture("k", &samples::over_time(9, "Points", 1.0)).svg];
    for elements in pictures.iter().flat_map(|svg| drawings(svg)) {
        assert_eq!(of_class(&elements, "rect", "veil").count(), 2, "in the keys and in the picture");
    }
}

#[test]
fn months_have_even_names() {
    const MONTHS: [&str; 12] = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
    for days in [40, 100, 200, 270, 400, 700, 2000] {
        let mut input = samples::loops(3, "Target");
        input.season = Some((samples::day(0), samples::day(days)));
        for elements in drawings(&loops::picture("k", &input).svg) {
            let named = texts(&elements).into_iter().filter_map(|text| MONTHS.iter().position(|own| *own == text));
            let named: Vec<usize> = named.collect();
            let steps: Vec<usize> = named.windows(2).map(|pair| (pair[1] + 12 - pair[0]) % 12).collect();
            assert!(!named.is_empty() && steps.windows(2).all(|pair| pair[0] == pair[1]), "{days}: {named:?}");
        }
    }
}

#[test]
fn the_words_of_a_frontier_name_both_values() {
    let mut input = samples::frontier(5, "Engine", 1.0);
    let picture = frontier::picture("k", &input);
    assert!(picture.caption.contains(" in points and mass"), "{}", picture.caption);
    input.alternatives.truncate(2);
    (input.alternatives[0].across, input.alternatives[0].up) = (190.0, 700.0);
    let caption = frontier::picture("k", &input).caption;
    assert!(caption.contains(" is best in points and mass, ") && !caption.contains("in both"), "{caption}");
    assert!(caption.contains(" is beaten in points and mass by another one"), "{caption}");
}

fn one(at_least: Option<f64>, at_most: Option<f64>, values: [Option<(f64, f64)>; 2]) -> target::OneTarget {
    let reading = |own: Option<(f64, f64)>| {
        own.map(|(value, by)| Reading { text: format!("{value} ± {by} degC"), ..Reading::default() })
    };
    let [estimate, result] = values;
    target::OneTarget {
        row: TargetRow {
            estimate: reading(estimate),
            result: reading(result),
            ..row("Coolant temperature", None, None)
        },
        unit: "degC".into(),
        at_least,
        at_most,
        estimate,
        result,
    }
}

#[test]
fn one_target_is_on_a_linear_scale_in_its_unit() {
    let picture = target::picture("k", &one(None, Some(105.0), [Some((100.0, 8.0)), Some((107.0, 0.5))]));
    assert_eq!(
        picture.caption.replace('\u{202f}', "_").replace('\u{a0}', " "),
        "Limit at most 105, shaded where it is met; estimate (100_±_8)_°C, result (107_±_0.5)_°C, with intervals of about 95 %"
    );
    assert_eq!(picture.table.rows.len(), 3);
    let exact = target::picture("k", &one(None, Some(105.0), [Some((100.0, 0.0)), None])).caption;
    assert!(!exact.contains("uncertainty"), "{exact}");
    let all = drawings(&picture.svg);
    check_shape("one target", &all[0], &all);
    let elements = &all[0];
    let mut pairs = axis_below(elements);
    let of = |tag, class| of_class(elements, tag, class).next().unwrap();
    let limit = of("line", "limit").number("x1");
    pairs.extend([(100.0, of("circle", "estimate").number("cx")), (105.0, limit)]);
    pairs.push((107.0, of("polygon", "missed").points()[0].0));
    pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
    super::places::assert_linear(&pairs);
    let met = of("rect", "allowed");
    assert!((met.number("x") + met.number("width") - limit).abs() < 0.2, "what meets it is left of the limit");
    assert!(texts(elements).iter().any(|text| text.ends_with("\u{202f}°C")), "{elements:?}");
}

#[test]
fn one_target_holds_for_any_numbers() {
    let ends = [None, Some(0.0), Some(-1e300), Some(1e300), Some(f64::NAN), Some(5.0)];
    for (at_least, at_most) in ends.iter().flat_map(|a| ends.map(|b| (*a, b))) {
        for value in [None, Some((5.0, 0.0)), Some((f64::INFINITY, 1.0)), Some((-2.0, f64::INFINITY))] {
            let picture = target::picture("k", &one(at_least, at_most, [value, None]));
            assert!(!picture.caption.is_empty());
            let all = drawings(&picture.svg);
            all.iter().for_each(|shape| check_shape("one target", shape, &all));
            assert!(!picture.svg.contains("=\"NaN") && !picture.svg.contains("=\"inf"), "{}", picture.svg);
        }
    }
    assert!(target::picture("k", &one(None, None, [Some((5.0, 0.0)), None])).is_empty(), "no limit to compare");
    assert_eq!(target::picture("k", &one(None, Some(1.0), [None, None])).caption, "Limit at most 105, no value yet");
}
