//! Points: the steps of the waterfall, its caption, and the end of the curve.

use super::super::waterfall::Waterfall;
use super::super::{Name, over_time, waterfall};
use super::places::{assert_linear, axis_below, of_class, wide};
use super::{drawings, samples};

#[test]
fn steps_of_the_waterfall_begin_where_the_last_one_ends() {
    let mut input = samples::waterfall(6, "Event", 1.0);
    input.events.iter_mut().for_each(|event| event.scored = None);
    let elements = wide(&waterfall::picture("k", &input).svg);
    let totals: Vec<f64> = of_class(&elements, "rect", "total").map(|rect| rect.number("x") + 2.5).collect();
    let axis = axis_below(&elements);
    let mut pairs = axis.clone();
    pairs.extend([(input.plan, totals[0]), (input.predicted.unwrap(), totals[1])]);
    assert_linear(&pairs);
    let per_point = (axis[1].1 - axis[0].1) / (axis[1].0 - axis[0].0);
    let steps = elements
        .iter()
        .filter(|element| element.tag == "rect" && (element.has_class("main") || element.has_class("bad-edge")));
    // The first two are the keys.
    let widths: Vec<(bool, f64)> = steps.skip(2).map(|rect| (rect.has_class("main"), rect.number("width"))).collect();
    let mut expected: Vec<f64> =
        input.events.iter().map(|event| event.predicted.unwrap() - event.plan.unwrap()).collect();
    expected.sort_by(|a, b| b.abs().total_cmp(&a.abs()));
    assert_eq!(widths.len(), expected.len());
    for ((gains, width), step) in widths.iter().zip(&expected) {
        assert_eq!(*gains, *step >= 0.0, "a gain and a loss look different");
        assert!((width - (step.abs() * per_point).max(1.0)).abs() < 0.25, "{step} points are {width} wide");
    }
    let signed: f64 = widths.iter().map(|(gains, width)| if *gains { *width } else { -width }).sum();
    assert!((signed - (totals[1] - totals[0])).abs() < 1.8, "the steps lead from the plan to the prediction");
}

#[test]
fn the_caption_of_the_waterfall_states_the_difference() {
    let event = |title: &str, plan: f64, predicted: f64, scored: Option<f64>| waterfall::EventSteps {
        name: Name::record(title, title),
        plan: Some(plan),
        predicted: Some(predicted),
        interval: None,
        scored,
    };
    let mut input = Waterfall {
        goal: "Place 8".into(),
        plan: 300.0,
        predicted: Some(290.5),
        interval: None,
        needed: None,
        events: vec![event("Endurance", 250.0, 239.0, None), event("Skidpad", 50.0, 51.5, None)],
        ..Waterfall::default()
    };
    let caption = |input: &Waterfall| waterfall::picture("k", input).caption;
    assert_eq!(caption(&input), "290.5 points predicted, 9.5 below the plan of 300.0: Endurance −11.0, Skidpad +1.5");
    input.events[0].scored = Some(245.0);
    assert_eq!(
        caption(&input),
        "296.5 points expected with the scores so far, 6.0 above the prediction of 290.5: Endurance +6.0"
    );
    input.events[1].scored = Some(45.5);
    assert_eq!(caption(&input), "290.5 points scored, equal to the prediction of 290.5: Endurance +6.0, Skidpad −6.0");
    input.predicted = None;
    assert_eq!(caption(&input), "300.0 points are planned");
}

/// 652.45 and 620.36 are shown as 652.5 and 620.4: a reader subtracts 32.1, not 32.09 as 32.0 or from other digits.
#[test]
fn a_caption_subtracts_the_numbers_that_it_shows() {
    let mut input = samples::over_time(4, "Points", 1.0);
    let against = input.against.as_mut().unwrap();
    against.steps = vec![(samples::day(0), 652.46)];
    for (value, difference) in [(620.44, "32.1"), (620.36, "32.1"), (620.34, "32.2")] {
        input.moments[3].value = value;
        let caption = over_time::picture("k", &input).caption;
        let space = "\u{202f}";
        assert!(caption.contains(&format!(", {difference}{space}pts below the 652.5{space}pts")), "{value}: {caption}");
    }
    let mut input = samples::waterfall(1, "Event", 1.0);
    (input.plan, input.predicted, input.needed) = (652.46, Some(620.44), None);
    let event = &mut input.events[0];
    (event.plan, event.predicted, event.scored) = (Some(652.46), Some(620.44), None);
    let picture = waterfall::picture("k", &input);
    assert!(picture.caption.contains(", 32.1 below the plan of 652.5: "), "{}", picture.caption);
    assert!(picture.caption.contains(" −32.1"), "{}", picture.caption);
    for row in &picture.table.rows {
        assert_eq!(row.cells[5], "−32.1", "{row:?}");
    }
}

/// The number beside a bar is the one in the table: 52.1 to 60.3 is +8.2, though 52.14 to 60.26 is 8.12.
#[test]
fn bars_of_the_waterfall_have_the_numbers_of_the_table() {
    let mut input = samples::waterfall(2, "Event", 1.0);
    input.needed = None;
    for (event, (plan, predicted, scored)) in
        input.events.iter_mut().zip([(49.96, 52.14, 60.26), (100.04, 100.06, 95.54)])
    {
        (event.plan, event.predicted, event.scored) = (Some(plan), Some(predicted), Some(scored));
    }
    let picture = waterfall::picture("k", &input);
    for elements in drawings(&picture.svg) {
        let numbers: Vec<&str> =
            elements.iter().map(|own| own.text.as_str()).filter(|text| text.starts_with(['+', '−'])).collect();
        assert_eq!(numbers, ["+2.1", "+0.1", "+8.2", "−4.6"]);
    }
    let differences: Vec<&str> = picture.table.rows[..2].iter().map(|row| row.cells[6].as_str()).collect();
    assert_eq!(differences, ["+8.2", "−4.6"]);
}

/// What was scored is not covered by the number at the end of the curve, and has its own.
#[test]
fn the_end_of_a_curve_leaves_the_score_free() {
    for score in [689.7, 660.0, 640.0] {
        let mut input = samples::over_time(60, "Points", 1.0);
        input.moments[59].value = 668.9;
        input.reached = Some(("scored".into(), score));
        for elements in drawings(&over_time::picture("k", &input).svg) {
            let diamond = of_class(&elements, "polygon", "result").last().unwrap().points();
            let (left, top, bottom) = (diamond[3].0, diamond[0].1, diamond[2].1);
            let text = |words: &str| {
                let own = elements.iter().find(|own| own.tag == "text" && own.text.starts_with(words));
                own.unwrap_or_else(|| panic!("{words} is missing with {score}"))
            };
            text(&super::super::points(Some(score)));
            let last = text("668.9");
            let (right, y) = (last.number("x"), last.number("y"));
            assert!(right <= left || y - 10.0 >= bottom || y + 3.0 <= top, "{score}: {last:?} covers {diamond:?}");
        }
    }
    assert!(waterfall::BAND.contains(&schema::number::percent(trace::values::LEVEL, 0)));
}
