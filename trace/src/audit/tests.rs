//! Numbers of the audit, compared with ones calculated by hand.

use super::*;
use crate::values::Origin;

#[test]
fn the_allowance_covers_nine_of_ten_and_is_not_negative() {
    let errors: Vec<f64> = (1..=10).map(|n| f64::from(n) / 100.0).collect();
    // Calculated by hand: nine of these ten are at most 9 %.
    assert_eq!(allowance(&errors), Some(0.09));
    assert_eq!(allowance(&errors[..9]), None, "nine pairs do not bound a tenth");
    assert_eq!(allowance(&[-0.1; 12]), Some(0.0));
}

fn pair(estimate: f64, result: f64) -> Pair {
    Pair {
        source: EstimateOf::Target(RecordId::new(0)),
        quantity: "mass".to_owned(),
        basis: Origin::Formula.word().to_owned(),
        estimate,
        uncertainty: 0.05,
        result,
        unit: schema::quantity::Unit::parse("kg").unwrap(),
    }
}

#[test]
fn a_statement_about_the_season_needs_many_estimates_that_were_far_off() {
    let biased = |size: usize, result: f64| most_biased(&vec![pair(1.0, result); size]).map(|group| group.size);
    assert_eq!(biased(10, 1.06), Some(10));
    assert_eq!(biased(10, 0.94), Some(10));
    assert_eq!(biased(9, 1.06), None, "too few");
    assert_eq!(biased(10, 1.04), None, "not far");
}

#[test]
fn bias_and_spread_are_those_of_the_sample() {
    // Errors of 10 %, 0 and -4 %: mean 2 %, squares 64 + 4 + 36 over 2 = 52, its root 7.2111 %.
    let groups = groups(&[pair(1.0, 1.1), pair(2.0, 2.0), pair(5.0, 4.8)]);
    assert_eq!(groups.len(), 1);
    assert!((groups[0].bias - 0.02).abs() < 1e-12);
    assert!((groups[0].spread.unwrap() - 0.072_111_025_5).abs() < 1e-9);
    // Within 0.05: 2.0 is, 1.1 and 4.8 are not.
    assert_eq!((groups[0].inside, groups[0].with_interval), (1, 3));
}
