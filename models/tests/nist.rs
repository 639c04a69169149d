//! The Statistical Reference Datasets of NIST, univariate summary statistics: readings and certified values.
//!
//! The readings are the files of the crate statrs 0.13.0 (MIT), folder `data/nist`, which are NIST's, one number a line. The
//! certified means and standard deviations are those of NIST's pages.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use models::readings::Sample;

fn sample(text: &str) -> Sample {
    let readings: Vec<f64> = text.split_whitespace().map(|word| word.parse().unwrap()).collect();
    Sample::new(&readings).unwrap()
}

#[track_caller]
fn agrees(found: f64, certified: f64) {
    // Eight digits: readings such as 10000000.1 are themselves rounded, which moves the ninth.
    assert!((found - certified).abs() <= 1e-8 * certified.abs(), "{found}, certified {certified}");
}

#[test]
fn certified_means_and_deviations() {
    for (text, count, mean, deviation) in [
        (include_str!("nist/lew.txt"), 200, -177.435, 277.332168044316),
        (include_str!("nist/lottery.txt"), 218, 518.958715596330, 291.699727470969),
        (include_str!("nist/mavro.txt"), 50, 2.001856, 0.000429123454003053),
        (include_str!("nist/michaelso.txt"), 100, 299.8524, 0.0790105478190518),
        (include_str!("nist/numacc1.txt"), 3, 10_000_002.0, 1.0),
        (include_str!("nist/numacc2.txt"), 1001, 1.2, 0.1),
        (include_str!("nist/numacc3.txt"), 1001, 1_000_000.2, 0.1),
        (include_str!("nist/numacc4.txt"), 1001, 10_000_000.2, 0.1),
    ] {
        let sample = sample(text);
        assert_eq!(sample.count, count);
        agrees(sample.mean, mean);
        agrees(sample.deviation.unwrap(), deviation);
    }
}
