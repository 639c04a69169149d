//! The pictures on the audit page of the example season: with a caption that has the numbers of the JSON output, and a
//! text alternative.

use serde_json::Value;

use crate::page::{page, place, text};
use crate::support::Sandbox;

#[test]
fn captions_have_the_numbers_of_the_audit() {
    let sandbox = Sandbox::new();
    sandbox.tierod(&["example", "car"]).ended(0);
    let audit = |format: &str| sandbox.tierod_in(&sandbox.path_of("car"), &["audit", "--format", format]);
    let (page, json): (String, Value) = (audit("html").out, audit("json").json());
    let goal = &json["goals"][0];
    let captions: Vec<&str> =
        page.split("<figcaption>").skip(1).map(|rest| rest.split("</figcaption>").next().unwrap()).collect();
    let (scored, predicted) = (goal["scored"].as_f64().unwrap(), goal["predicted"].as_f64().unwrap());
    let points = format!("{scored:.1} points scored, ");
    let waterfall = captions.iter().find(|caption| caption.starts_with(&points)).expect("a waterfall of the points");
    assert!(waterfall.contains(&format!("the prediction of {predicted:.1}")), "{waterfall}");
    let mass = captions.iter().find(|caption| caption.starts_with("Mass of the car: ")).expect("a curve of the mass");
    assert!(mass.contains("when 95 % of the car was recorded"), "{mass}");
    for svg in page.split("<svg ").skip(1) {
        let named = svg.split("aria-labelledby=\"").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
        let is_there = |id: &str| ["title", "desc"].iter().any(|tag| page.contains(&format!("<{tag} id=\"{id}\">")));
        assert!(svg.contains("role=\"img\"") && named.split(' ').all(is_there), "a text alternative: {named}");
    }
}

/// A target that is at risk has a picture in its place on the page; one that is met has the numbers alone.
#[test]
fn a_target_at_risk_has_a_picture_in_its_place() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let target = |id: &str, estimate: &str| {
        format!(
            "  {id}: {{title: Coolant, of: car, at-most: 105 degC, estimate: {estimate}, lead: x, serves: {{top: It is needed.}}}}\n"
        )
    };
    let all = target("cold", "60 degC ± 8 degC") + &target("hot", "100 degC ± 8 degC");
    sandbox.write("goal.yaml", format!("goals:\n  top: {{points: 60 pts, reason: x, lead: x}}\ntargets:\n{all}"));
    let page = page(&sandbox);
    assert!(place(&page, "hot").contains("<figure"), "{}", place(&page, "hot"));
    assert!(text(place(&page, "hot")).contains("shaded where it is met; estimate"), "{}", text(place(&page, "hot")));
    assert!(!place(&page, "cold").contains("<figure"), "{}", place(&page, "cold"));
}
