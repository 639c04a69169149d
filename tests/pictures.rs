//! The pictures on the audit page of the example season: with a caption that has the numbers of the JSON output, and a
//! text alternative.

use serde_json::Value;

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
    assert!(mass.contains("when 95 % of the car was on record"), "{mass}");
    for svg in page.split("<svg ").skip(1) {
        assert!(
            svg.contains("role=\"img\"") && svg.contains("<title ") && svg.contains("<desc "),
            "a text alternative"
        );
    }
}
