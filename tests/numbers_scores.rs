//! Score sheets against vectors calculated with exact fractions, and the traps of three rule books.
//!
//! Sources: Formula SAE Rules 2024 V1.0 (D.9 to D.13), Formula SAE Rules 2021 (D.13.5), FS-Rules 2025 v1.1 (D4 to D8, S2,
//! IN12.1) and FS-Rules 2026 v1.0 (D9, D10). The formulas of the price are fitted to official results of Formula SAE.

use std::fmt::Write as _;

use crate::support::Sandbox;
use crate::values_json::Read;

/// A sheet's event, what it reads, what it is given, and the points.
type Vector = (&'static str, &'static str, &'static str, f64);

/// Runs of the dynamic events: Tmin 4.0, 5.0, 50 (80 in the FS-Rules) and 1400 s.
const RUNS: [Vector; 61] = [
    ("sae-2024.acceleration", "time: 4.0 s", "best: 4.0 s", 100.0),
    ("sae-2024.acceleration", "time: 4.4 s", "best: 4.0 s", 73.954_545_454_545_45),
    ("sae-2024.acceleration", "time: 5.012 s", "best: 4.0 s", 42.151_237_031_125_3),
    ("sae-2024.acceleration", "time: 6.0 s", "best: 4.0 s", 4.5),
    ("sae-2024.acceleration", "time: 6.001 s", "best: 4.0 s", 4.5),
    ("sae-2024.skidpad", "time: 5.0 s", "best: 5.0 s", 75.0),
    ("sae-2024.skidpad", "time: 5.3 s", "best: 5.0 s", 53.152_070_725_050_436),
    ("sae-2024.skidpad", "time: 6.0 s", "best: 5.0 s", 14.313_271_604_938_272),
    ("sae-2024.skidpad", "time: 6.25 s", "best: 5.0 s", 3.5),
    ("sae-2024.skidpad", "time: 6.251 s", "best: 5.0 s", 3.5),
    ("sae-2024.autocross", "time: 50 s", "best: 50 s", 125.0),
    ("sae-2024.autocross", "time: 55 s", "best: 50 s", 90.287_878_787_878_78),
    ("sae-2024.autocross", "time: 70 s", "best: 50 s", 15.904_761_904_761_905),
    ("sae-2024.autocross", "time: 72.5 s", "best: 50 s", 6.5),
    ("sae-2024.autocross", "time: 72.6 s", "best: 50 s", 6.5),
    // 25 points for laps are added to the time score of the vectors.
    ("sae-2024.endurance", "time: 1400 s", "best: 1400 s", 250.0 + 25.0),
    ("sae-2024.endurance", "time: 1500 s", "best: 1400 s", 196.296_296_296_296_3 + 25.0),
    ("sae-2024.endurance", "time: 2000 s", "best: 1400 s", 8.333_333_333_333_334 + 25.0),
    ("sae-2024.endurance", "time: 2030 s", "best: 1400 s", 25.0),
    ("sae-2024.endurance", "time: 2031 s", "best: 1400 s", 25.0),
    ("fs-rules-2025.acceleration", "time: 4.0 s", "best: 4.0 s", 50.0),
    ("fs-rules-2025.acceleration", "time: 4.4 s", "best: 4.0 s", 37.045_454_545_454_55),
    ("fs-rules-2025.acceleration", "time: 6.0 s", "best: 4.0 s", 2.5),
    ("fs-rules-2025.acceleration", "time: 6.5 s", "best: 4.0 s", 2.5),
    ("fs-rules-2025.skidpad", "time: 5.0 s", "best: 5.0 s", 50.0),
    ("fs-rules-2025.skidpad", "time: 5.3 s", "best: 5.0 s", 35.485_641_390_767_77),
    ("fs-rules-2025.skidpad", "time: 6.25 s", "best: 5.0 s", 2.5),
    ("fs-rules-2025.skidpad", "time: 7 s", "best: 5.0 s", 2.5),
    ("fs-rules-2025.autocross", "time: 80 s", "best: 80 s", 100.0),
    ("fs-rules-2025.autocross", "time: 88 s", "best: 80 s", 56.818_181_818_181_82),
    ("fs-rules-2025.autocross", "time: 100 s", "best: 80 s", 5.0),
    ("fs-rules-2025.autocross", "time: 110 s", "best: 80 s", 5.0),
    ("fs-rules-2025.endurance", "time: 1400 s", "best: 1400 s", 250.0),
    ("fs-rules-2025.endurance", "time: 1500 s", "best: 1400 s", 189.954_954_954_954_96),
    ("fs-rules-2025.endurance", "time: 1866.2 s", "best: 1400 s", 25.0),
    ("fs-rules-2025.endurance", "time: 1900 s", "best: 1400 s", 25.0),
    ("fs-rules-2026.acceleration", "time: 4.0 s", "best: 4.0 s", 50.0),
    ("fs-rules-2026.acceleration", "time: 4.4 s", "best: 4.0 s", 37.397_959_183_673_47),
    ("fs-rules-2026.acceleration", "time: 6.8 s", "best: 4.0 s", 2.5),
    ("fs-rules-2026.acceleration", "time: 7 s", "best: 4.0 s", 2.5),
    ("fs-rules-2026.skidpad", "time: 5.3 s", "best: 5.0 s", 35.110_204_081_632_65),
    ("fs-rules-2026.skidpad", "time: 6.75 s", "best: 5.0 s", 2.5),
    ("fs-rules-2026.skidpad", "time: 7 s", "best: 5.0 s", 2.5),
    ("fs-rules-2026.autocross", "time: 88 s", "best: 80 s", 60.625),
    ("fs-rules-2026.autocross", "time: 112 s", "best: 80 s", 10.0),
    ("fs-rules-2026.autocross", "time: 113 s", "best: 80 s", 10.0),
    ("fs-rules-2026.endurance", "time: 1500 s", "best: 1400 s", 190.306_122_448_979_58),
    ("fs-rules-2026.endurance", "time: 2100 s", "best: 1400 s", 25.0),
    ("fs-rules-2026.endurance", "time: 2200 s", "best: 1400 s", 25.0),
    // Penalties.
    ("sae-2024.skidpad", "right: 5.1 s, left: 5.3 s, cones: 2", "best: 5.0 s", 43.555_887_551_552_9),
    ("sae-2024.endurance", "time: 1450 s, cones: 6, off-course: 1", "best: 1400 s", 205.428_100_164_942_26 + 25.0),
    ("sae-2024.autocross", "time: 51.2 s, cones: 2, off-course: 1", "best: 50 s", 6.5),
    ("sae-2024.acceleration", "time: 4.1 s, cones: 1", "best: 4.0 s", 4.5),
    // The best corrected run counts, not the best one on the clock.
    ("sae-2024.acceleration", "time: 4.30 s, cones: 1, time-2: 4.55 s", "best: 4.0 s", 65.368_131_868_131_87),
    ("fs-rules-2025.acceleration", "time: 4.30 s, cones: 1, time-2: 4.55 s", "best: 4.0 s", 32.774_725_274_725_27),
    ("fs-rules-2026.acceleration", "time: 4.30 s, cones: 1, time-2: 4.55 s", "best: 4.0 s", 33.172_034_438_775_51),
    // A violation of an electric car deletes the best run: 4.40 counts.
    ("sae-2024.acceleration", "time: 4.30 s, time-2: 4.40 s, violations: 1", "best: 4.0 s", 73.954_545_454_545_45),
    ("fs-rules-2026.acceleration", "time: 4.40 s, time-2: 4.30 s, violations: 1", "best: 4.0 s", 37.397_959_183_673_47),
    // The own car is the fastest, and the car that was has the points of one that is slower.
    ("sae-2024.acceleration", "time: 3.9 s", "best: 4.0 s", 100.0),
    ("sae-2024.acceleration", "time: 4.0 s", "best: 3.9 s", 92.8375),
    ("fs-rules-2026.acceleration", "time: 4.0 s", "best: 3.9 s", 46.583_880_100_363_615),
];

/// Efficiency of Formula SAE: best time 1400 s, least CO2 2.5 l of petrol, both in 22 laps of 1 km; best factor 0.875.
const IC: &str =
    "best: 0.875, best-time: 1400 s, best-time-laps: 22, best-co2: 5.775 kg, best-co2-laps: 22, lap-length: 1 km";
/// The same for electric cars: 1400 s, 4 kWh, and the factor of the car with 4 kWh.
const EV: &str = "best: 0.965517241379310344, best-time: 1400 s, best-co2: 2.6 kg, lap-length: 1 km";
/// The best car of the FS-Rules: 1400 s and 3.0 kg.
const FS: &str = "best: '(1400 s)^2 * 3 kg'";

const EFFICIENCY: [Vector; 36] = [
    ("sae-2024.efficiency-ic", "time: 1400 s, laps: 22, fuel: 4 l", IC, 56.413_894_581_953_86),
    ("sae-2024.efficiency-ic", "time: 1600 s, laps: 22, fuel: 2.5 l", IC, 100.0),
    ("sae-2024.efficiency-ic", "time: 1500 s, laps: 22, e85: 4 l", IC, 89.829_908_735_789_23),
    ("sae-2024.efficiency-ic", "time: 1050 s, laps: 15, fuel: 2.9 l", IC, 40.607_876_016_988_43),
    ("sae-2024.efficiency-ic", "time: 1500 s, laps: 22, fuel: 5.72 l", IC, 18.568_150_366_983_726),
    ("sae-2024.efficiency-ic", "time: 1500 s, laps: 22, fuel: 5.73 l", IC, 0.0),
    ("sae-2024.efficiency-ic", "time: 2031 s, laps: 22, fuel: 3 l", IC, 0.0),
    ("sae-2024.efficiency-ic", "time: 2100 s, laps: 22, fuel: 1 l", IC, 0.0),
    ("sae-2021.efficiency-ic", "time: 1400 s, laps: 22, fuel: 4 l", IC, 78.979_452_414_735_4),
    ("sae-2021.efficiency-ic", "time: 1600 s, laps: 22, fuel: 2.5 l", IC, 100.0),
    ("sae-2021.efficiency-ic", "time: 1500 s, laps: 22, e85: 4 l", IC, 96.246_330_788_345_6),
    ("sae-2021.efficiency-ic", "time: 1050 s, laps: 15, fuel: 2.9 l", IC, 66.496_750_573_685_77),
    ("sae-2021.efficiency-ic", "time: 1500 s, laps: 22, fuel: 5.72 l", IC, 39.828_682_537_180_09),
    ("sae-2021.efficiency-ic", "time: 1500 s, laps: 22, fuel: 5.73 l", IC, 0.0),
    ("sae-2021.efficiency-ic", "time: 2031 s, laps: 22, fuel: 3 l", IC, 0.0),
    // The factors of the vectors through the sheet that is given a factor.
    ("sae-2024.efficiency", "factor: 0.625", "best: 0.875, least: 0.30142271521581865", 56.413_894_581_953_86),
    (
        "sae-2024.efficiency",
        "factor: 0.5343402678825876",
        "best: 0.875, least: 0.30142271521581865",
        40.607_876_016_988_43,
    ),
    (
        "sae-2024.efficiency",
        "factor: 0.40792540792540793",
        "best: 0.875, least: 0.30142271521581865",
        18.568_150_366_983_726,
    ),
    ("sae-2024.efficiency-ev", "time: 1450 s, laps: 22, energy: 4 kWh", EV, 100.0),
    ("sae-2024.efficiency-ev", "time: 1400 s, laps: 22, energy: 5 kWh", EV, 70.358_705_161_854_77),
    ("sae-2024.efficiency-ev", "time: 1500 s, laps: 22, energy: 6.776 kWh", EV, 25.760_668_805_288_226),
    ("fs-rules-2025.efficiency-cv", "time: 1400 s, fuel: 3 kg", FS, 75.0),
    ("fs-rules-2025.efficiency-cv", "time: 1500 s, fuel: 3.1 kg", FS, 47.066_326_530_612_244),
    ("fs-rules-2025.efficiency-cv", "time: 1450 s, e85: 4.64 kg", FS, 53.367_346_938_775_51),
    ("fs-rules-2025.efficiency-cv", "time: 1600 s, fuel: 3.4453125 kg", FS, 0.0),
    // The literal formula gives -105.6 here, and in 2026 it rises again to 3.1.
    ("fs-rules-2025.efficiency-cv", "time: 1800 s, fuel: 4 kg", FS, 0.0),
    ("fs-rules-2026.efficiency-cv", "time: 1400 s, fuel: 3 kg", FS, 75.0),
    ("fs-rules-2026.efficiency-cv", "time: 1500 s, fuel: 3.1 kg", FS, 49.667_293_575_593_504),
    ("fs-rules-2026.efficiency-cv", "time: 1450 s, e85: 4.64 kg", FS, 54.927_252_533_666_525),
    ("fs-rules-2026.efficiency-cv", "time: 1600 s, fuel: 3.4453125 kg", FS, 18.75),
    ("fs-rules-2026.efficiency-cv", "time: 1750 s, fuel: 3.84 kg", FS, 0.0),
    ("fs-rules-2026.efficiency-cv", "time: 1800 s, fuel: 4 kg", FS, 0.0),
    ("fs-rules-2026.efficiency", "factor: '(1800 s)^2 * 4 kg'", FS, 0.0),
    // 5.2 kWh drawn and 0.8 recovered count as 4.48 kWh.
    (
        "fs-rules-2025.efficiency-ev",
        "time: 1400 s, energy: 5.2 kWh, recovered: 0.8 kWh",
        "best: '(1400 s)^2 * 4.48 kWh'",
        75.0,
    ),
    (
        "fs-rules-2025.efficiency-ev",
        "time: 1400 s, energy: 5.2 kWh, recovered: 0.8 kWh",
        "best: '(1400 s)^2 * 4 kWh'",
        57.0,
    ),
    (
        "fs-rules-2026.efficiency-ev",
        "time: 1400 s, energy: 5.2 kWh, recovered: 0.8 kWh",
        "best: '(1400 s)^2 * 4 kWh'",
        58.08,
    ),
];

const OTHERS: [Vector; 44] = [
    ("fs-rules-2025.dv-skidpad", "rank: 1", "teams: 20", 75.0),
    ("fs-rules-2025.dv-acceleration", "rank: 5", "teams: 20", 60.0),
    ("fs-rules-2026.dv-skidpad", "rank: 20", "teams: 20", 3.75),
    ("fs-rules-2025.dc-skidpad", "time: 9 s", "best: 8 s", 48.083_333_333_333_336),
    ("fs-rules-2025.dc-skidpad", "time: 12 s", "best: 8 s", 3.75),
    ("fs-rules-2025.dc-acceleration", "time: 6 s", "best: 5 s", 51.25),
    ("fs-rules-2025.dc-acceleration", "time: 10 s", "best: 5 s", 3.75),
    ("fs-rules-2026.dc-skidpad", "time: 9 s", "best: 8 s", 51.825_573_979_591_84),
    ("fs-rules-2026.dc-skidpad", "time: 13.6 s", "best: 8 s", 3.75),
    ("fs-rules-2026.dc-acceleration", "time: 6 s", "best: 5 s", 54.024),
    ("fs-rules-2026.dc-acceleration", "time: 11.25 s", "best: 5 s", 3.75),
    ("fs-rules-2025.dc-autocross", "time: 50 s, time-2: 60 s", "best: 50 s, lap-length: 480 m", 100.0),
    ("fs-rules-2025.dc-autocross", "time: 60 s, time-2: 52 s", "best: 50 s, lap-length: 480 m", 82.0),
    ("fs-rules-2026.dc-autocross", "time: none, time-2: 56 s", "best: 50 s, lap-length: 480 m", 46.0),
    ("fs-rules-2025.dc-autocross", "time: none, time-2: none", "best: 50 s, lap-length: 480 m", 0.0),
    ("fs-rules-2025.dc-trackdrive", "time: 200 s", "best: 200 s", 200.0),
    ("fs-rules-2025.dc-trackdrive", "time: 250 s", "best: 200 s", 140.0),
    ("fs-rules-2026.dc-trackdrive", "time: 400 s", "best: 200 s", 50.0),
    ("fs-rules-2025.dc-trackdrive", "time: none, laps: 6", "best: 200 s", 30.0),
    ("fs-rules-2025.business-plan", "judged: 80 pts", "best: 80 pts", 70.0),
    ("fs-rules-2025.business-plan", "judged: 62 pts", "best: 80 pts", 54.25),
    ("fs-rules-2026.business-plan", "judged: 0 pts", "best: 80 pts", 0.0),
    ("fs-rules-2026.business-plan", "judged: 92 pts, finalist: 73 pts", "best: 80 pts", 73.0),
    ("fs-rules-2025.deductions", "weight-off: 5.0 kg", "", 0.0),
    ("fs-rules-2025.deductions", "weight-off: 5.1 kg", "", -20.0),
    ("fs-rules-2026.deductions", "weight-off: 6.0 kg", "", -20.0),
    ("fs-rules-2025.deductions", "weight-off: 6.2 kg", "", -40.0),
    ("fs-rules-2026.deductions", "weight-off: 8.5 kg", "", -80.0),
    ("fs-rules-2025.deductions", "instructions: 1, protests: 1, late-documents: 2", "", -70.0),
    ("sae-2024.deductions", "late-days: 3, late-days-2: 9, extra-persons: 1", "", -100.0),
    // Items added for 200 and removed for 80 change the cost by +190, and items of 150 reported as 90 by +120.
    (
        "sae-inferred.price-2023",
        "cost: 15000 USD, added: 200 USD, removed: 80 USD",
        PRICE,
        30.0 * (30_000.0 - 15_190.0) / 20_000.0,
    ),
    (
        "sae-inferred.price-2023",
        "cost: 15000 USD, table: 150 USD, reported: 90 USD",
        PRICE,
        30.0 * (30_000.0 - 15_120.0) / 20_000.0,
    ),
    ("sae-inferred.price-2023", "cost: 15000 USD, table: 90 USD, reported: 150 USD", PRICE, 22.5),
    ("sae-inferred.price-2009", "cost: 10000 USD", PRICE, 40.0),
    ("sae-inferred.price-2009", "cost: 15000 USD", PRICE, 20.0),
    ("sae-inferred.price-2009", "cost: 30000 USD", PRICE, 0.0),
    ("sae-inferred.price-2023", "cost: 10000 USD", PRICE, 30.0),
    ("sae-inferred.price-2023", "cost: 15000 USD", PRICE, 22.5),
    ("sae-inferred.price-2023", "cost: 30000 USD", PRICE, 0.0),
    ("sae-inferred.price-2022", "cost: 15000 USD", PRICE, 30.0),
    // Breaches found after the event: 0.3 s each in the acceleration, 1 s with advantage.
    ("fs-rules-2025.acceleration", "time: 4.1 s, breaches: 1", "best: 4.0 s", 37.045_454_545_454_55),
    ("fs-rules-2026.acceleration", "time: 3.4 s, advantages: 1", "best: 4.0 s", 37.397_959_183_673_47),
    ("fs-rules-2025.autocross", "time: 76 s, cones: 1, off-course: 1", "best: 80 s", 56.818_181_818_181_82),
    ("fs-rules-2025.skidpad", "right: 5.0 s, left: 5.2 s, cones: 1", "best: 5.0 s", 35.485_641_390_767_77),
];

const PRICE: &str = "lowest: 10000 USD, highest: 30000 USD";

/// No time, no start, no finish, or all runs deleted: nothing, and not the points of the slowest time.
const NOTHING: [Vector; 21] = [
    ("sae-2024.acceleration", "time: none", "best: 4.0 s", 0.0),
    ("sae-2024.acceleration", "time: 4.2 s, off-course: 1", "best: 4.0 s", 0.0),
    ("sae-2024.acceleration", "time: 4.2 s, time-2: 4.3 s, violations: 2", "best: 4.0 s", 0.0),
    ("sae-2024.skidpad", "time: none", "best: 5.0 s", 0.0),
    ("sae-2024.autocross", "time: none", "best: 50 s", 0.0),
    ("sae-2024.efficiency-ic", "time: none, fuel: 2 l", IC, 0.0),
    ("fs-rules-2025.acceleration", "time: none", "best: 4.0 s", 0.0),
    ("fs-rules-2025.skidpad", "time: 5.1 s, off-course: 1", "best: 5.0 s", 0.0),
    ("fs-rules-2025.autocross", "time: none", "best: 80 s", 0.0),
    ("fs-rules-2025.endurance", "time: none", "best: 1400 s", 0.0),
    ("fs-rules-2025.efficiency-cv", "time: none, fuel: 3 kg", FS, 0.0),
    ("fs-rules-2025.dv-skidpad", "rank: none", "teams: 20", 0.0),
    ("fs-rules-2026.acceleration", "time: none", "best: 4.0 s", 0.0),
    ("fs-rules-2026.endurance", "time: none", "best: 1400 s", 0.0),
    ("fs-rules-2026.efficiency-cv", "time: none, fuel: 3 kg", FS, 0.0),
    // Too slow for efficiency in 2025, and too much fuel: 1.333 x 1400 s, 15 kg per 100 km.
    (
        "fs-rules-2025.efficiency-cv",
        "time: 1867 s, fuel: 1 kg",
        "best: '(1400 s)^2 * 3 kg', finisher-time: 1400 s",
        0.0,
    ),
    ("fs-rules-2025.efficiency-cv", "time: 1400 s, fuel: 3.31 kg", "best: '(1400 s)^2 * 3 kg', distance: 22 km", 0.0),
    // Without a table, the laps of a car that does not finish are worth nothing.
    ("sae-2024.endurance", "time: none, laps: 6", "best: 1400 s", 0.0),
    // The table of the organizer of Michigan 2025, with 10 laps.
    ("sae-2024.endurance", "time: none, laps: 6", TABLE, 15.0),
    ("sae-2024.endurance", "time: none", TABLE, 0.0),
    ("sae-2024.endurance", "time: 1400 s, laps: 6", TABLE, 275.0),
];

const TABLE: &str = "best: 1400 s, lap-points: '3, 5, 7, 9, 12, 15, 18, 21, 24, 25'";

#[track_caller]
fn all(vectors: &[Vector]) {
    let mut records = String::from("events:\n");
    for (number, (sheet, reads, given, _)) in vectors.iter().enumerate() {
        writeln!(records, "  run-{number}: {{reads: {{{reads}}}, score: {{use: {sheet}, given: {{{given}}}}}}}")
            .unwrap();
    }
    let read = Read::new(&records);
    let mut wrong = Vec::new();
    for (number, vector) in vectors.iter().enumerate() {
        let found = read.number(&format!("run-{number}"));
        if (found - vector.3).abs() > 1e-9 {
            wrong.push(format!("{found} instead of {vector:?}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn vectors_of_runs() {
    all(&RUNS);
}

#[test]
fn vectors_of_efficiency() {
    all(&EFFICIENCY);
}

#[test]
fn vectors_of_other_events() {
    all(&OTHERS);
}

#[test]
fn nothing_without_a_time_or_a_finish() {
    all(&NOTHING);
}

/// A season with times that `best` does not reach scores what the events give, and not more.
#[test]
fn nobody_scores_more_than_the_event_gives() {
    let read = Read::new(
        "
goals: {goal: {points: 600 pts}}
events:
  acceleration: {serves: {goal: a}, reads: {time: 3.4 s}, score: {use: sae-2024.acceleration, given: {best: 4.0 s}}}
  skidpad: {serves: {goal: a}, reads: {time: 1 s}, score: {use: sae-2024.skidpad, given: {best: 5.0 s}}}
  autocross: {serves: {goal: a}, reads: {time: 5 s}, score: {use: sae-2024.autocross, given: {best: 50 s}}}
  endurance: {serves: {goal: a}, reads: {time: 140 s}, score: {use: sae-2024.endurance, given: {best: 1400 s}}}
  efficiency: {serves: {goal: a}, reads: {factor: 2}, score: {use: sae-2024.efficiency, given: {best: 0.9, least: 0.2}}}
  own: {most: 40 pts, reads: {time: 1 s}, score: {formula: 40 pts * best / time, given: {best: 2 s}}}
  scaled: {most: 80 pts, reads: {time: 3 s}, score: {use: fs-rules-2026.acceleration, given: {best: 4.0 s}}}
",
    );
    for (id, points) in [
        ("acceleration", 100.0),
        ("skidpad", 75.0),
        ("autocross", 125.0),
        ("endurance", 275.0),
        ("efficiency", 100.0),
        ("own", 40.0),
        ("scaled", 80.0),
        ("goal", 675.0),
    ] {
        assert!((read.number(id) - points).abs() < 1e-9, "{id}: {}", read.number(id));
    }
}

/// The car that is fastest or uses least lowers the factors of the others: its points are those of the whole field.
#[test]
fn the_own_car_counts_as_one_of_the_field() {
    // Car A (1400 s, 4 l) is the fastest, and car B (1600 s, 2.5 l) uses least: each with a field that does not contain it.
    // Without A, the least time is 1500 s, and the factor of B is 1500/1600.
    let without_a =
        "best: 0.9375, best-time: 1500 s, best-co2: 5.775 kg, best-time-laps: 22, best-co2-laps: 22, lap-length: 1 km";
    // Without B, the least CO2 is 4 l of E85, and the best factor is that of C: 1400/1500.
    let without_b = "best: 0.93333333333333333, best-time: 1400 s, best-co2: 6.6 kg, best-time-laps: 22, best-co2-laps: 22, lap-length: 1 km";
    all(&[
        ("sae-2024.efficiency-ic", "time: 1400 s, laps: 22, fuel: 4 l", without_a, 56.413_894_581_953_86),
        ("sae-2024.efficiency-ic", "time: 1600 s, laps: 22, fuel: 2.5 l", without_b, 100.0),
        ("sae-2021.efficiency-ic", "time: 1400 s, laps: 22, fuel: 4 l", without_a, 78.979_452_414_735_4),
        // 1200 s and 3 kg are better than the best of the others.
        ("fs-rules-2025.efficiency-cv", "time: 1200 s, fuel: 3 kg", FS, 75.0),
        ("fs-rules-2025.business-plan", "judged: 90 pts", "best: 80 pts", 70.0),
        ("sae-inferred.price-2022", "cost: 9000 USD", PRICE, 40.0),
    ]);
}

/// The time that the plan needs is found where the most points begin.
#[test]
fn the_time_for_the_most_points() {
    let read = Read::new(
        "
goals: {goal: {points: 100 pts}}
targets: {run: {of: car, at-most: 5 s, estimate: 4.3 s}}
events:
  sprint: {plan: 100 pts, serves: {goal: a}, reads: {time: run}, score: {use: sae-2024.acceleration, given: {best: 4.0 s}}}
",
    );
    let points = read.sandbox.tierod(&["points", "--format", "json"]).ended(0).json();
    let event = &points["events"][0];
    let needed = event["needed_value"].as_f64().unwrap();
    assert!((needed - 4.0).abs() < 1e-6, "{event}");
    assert_eq!((event["most"].as_f64(), event["unit"].as_str()), (Some(100.0), Some("s")));
}

/// Points without a finish of an event with a formula of its own, and of one with a sheet.
#[test]
fn points_without_a_finish() {
    let read = Read::new(
        "
events:
  a: {reads: {time: none}, score: {formula: 100 pts * best / time, given: {best: 4 s}}}
  b: {reads: {time: none, laps: 3}, score: {formula: 100 pts * best / time, given: {best: 4 s}, no-finish: 5 pts * laps + 1 pts}}
  c: {reads: {time: none}, score: {use: sae-2024.endurance, given: {best: 1400 s}, no-finish: 12 pts ± 6 pts}}
  d: {reads: {time: none, laps: 5.5}, score: {use: sae-2024.endurance, given: {best: 1400 s, lap-points: '2, 4, 6, 8, 12, 14, 16, 18, 20, 25'}}}
  e: {reads: {time: none, laps: 12}, score: {use: sae-2024.endurance, given: {best: 1400 s, lap-points: '2, 4, 6, 8, 12, 14, 16, 18, 20, 25'}}}
  f: {reads: {time: none, laps: 3}, score: {use: sae-2024.endurance, given: {best: 1400 s, lap-points: 2 pts * laps}}}
",
    );
    for (id, points) in [("a", 0.0), ("b", 16.0), ("c", 12.0), ("d", 13.0), ("e", 25.0), ("f", 6.0)] {
        assert!((read.number(id) - points).abs() < 1e-9, "{id}: {}", read.number(id));
    }
    assert!((read.uncertainty("c") - 6.0).abs() < 1e-9);
}

/// Points that no car can score are errors at every stage, with the key that has them.
#[test]
fn impossible_points() {
    let read = Read::new(
        "
goals:
  podium: {points: 1200 pts}
events:
  sprint: {plan: 400 pts, serves: {podium: a}, reads: {time: 4.4 s}, score: {use: fs-rules-2026.acceleration, given: {best: 4.0 s}}}
  cost: {most: 100 pts, plan: 60 pts, expect: 720 pts, serves: {podium: a}}
  design: {most: 150 pts, plan: 700 pts, serves: {podium: a}, expect: 100 pts}
  circle: {plan: 30 pts, serves: {podium: a}, reads: {time: 3.4 s}, score: {formula: 50 pts * best / time, given: {best: 4.0 s}}}
  fine: {most: 75 pts, plan: 75 pts, expect: 75 pts, serves: {podium: a}}
  scored: {most: 75 pts, expect: 60 pts, serves: {podium: a}}
results:
  jury: {of: scored, value: 82 pts, date: 2027-03-01}
",
    );
    let check = "impossible-points";
    let found = |record: &str, field: &str, message: &str| {
        let finding = read.reports(check, record, message, "");
        assert_eq!((finding["level"].as_str(), finding["field"].as_str()), (Some("error"), Some(field)), "{finding}");
    };
    found("sprint", "plan", "400.0 points are planned, but the event gives at most 50.0");
    found("cost", "expect", "720.0 points are expected, but the event gives at most 100.0");
    found("design", "plan", "700.0 points are planned");
    found("circle", "score.given.best", "58.8 points are predicted, but the best car has 50.0");
    found("jury", "value", "the result is 82.0 points");
    read.reports(check, "podium", "the plans total 1265.0 points, but the contest gives at most 1000.0", "");
    found("podium", "points", "the goal is 1200.0 points, but the contest gives at most 1000.0");
    let note =
        read.reports(check, "podium", "impossible points of circle cannot be found without `most`", "most: N pts");
    assert_eq!(note["level"], "note");
    read.reports_nothing(&[check], "fine");
    assert!((read.number("cost") - 100.0).abs() < 1e-9, "nobody scores more than the event gives");
    read.sandbox.tierod(&["check"]).ended(1);
}

/// A team may use an id that is also a name inside of a sheet.
#[test]
fn ids_of_records_win_over_names_of_a_sheet() {
    let read = Read::new(
        "
targets:
  run: {of: car, at-most: 5 s, estimate: 4.4 s}
  fastest: {of: car, at-most: 5 s, estimate: 4.0 s}
  slowest: {of: car, at-most: 9 s, estimate: 8.0 s}
events:
  a: {reads: {time: run}, score: {use: sae-2024.acceleration, given: {best: fastest}}}
  b: {reads: {time: run * 1}, score: {use: sae-2024.acceleration, given: {best: fastest + 0 s}}}
  c: {reads: {time: 4.4 s}, score: {use: sae-2024.acceleration, given: {best: 4.0 s, span: floor * 95.5 / 4.5}}}
",
    );
    for id in ["a", "b", "c"] {
        assert!((read.number(id) - 73.954_545_454_545_45).abs() < 1e-9, "{id}: {}", read.number(id));
    }
    read.reports_nothing(&["unknown-reference", "value-cycle"], "c");
}

/// Mistakes that would change the points unnoticed: an optional input with a typing error, a wrong unit, a missing input.
#[test]
fn mistakes_in_the_inputs_of_a_sheet() {
    let read = Read::new(
        "
events:
  a: {reads: {time: 4.2 s, cone: 1}, score: {use: sae-2024.acceleration, given: {best: 4 s}}}
  b: {reads: {time: 4.2 s}, score: {use: sae-2024.acceleration, given: {best: 4 s, slowst: 6 s}}}
  c: {reads: {time: 4.2 m}, score: {use: sae-2024.acceleration, given: {best: 4 s}}}
  d: {reads: {cones: 1}, score: {use: sae-2024.skidpad, given: {best: 4 s}}}
  e: {reads: {time: 4.2 s}, score: {use: sae-2024.acceleration, given: {best: 4 kg}}}
  f: {reads: {time: none, laps: 2}, score: {use: sae-2024.endurance, given: {best: 1400 s, lap-points: '2, 4, s'}}}
  g: {reads: {time: 1400 s}, score: {use: sae-2024.efficiency-ev, given: {best: 1, best-time: 1400 s, best-co2: 1 kg, lap-length: 1 km}}}
  fine: {reads: {time: others}, score: {use: sae-2024.acceleration, given: {best: others * 0.99, others: 4.2 s}}}
",
    );
    for (id, check, message, help) in [
        ("a", "unknown-reference", "score sheet `sae-2024.acceleration` has no input `cone`", "did you mean `cones`?"),
        ("b", "unknown-reference", "has no input `slowst`", "did you mean `slowest`?"),
        ("c", "unit-mismatch", "`4.2 m` is a length, and a time is expected here", ""),
        ("d", "unknown-reference", "needs `time`", "`reads`, or `right`"),
        ("e", "unit-mismatch", "`4 kg` is a mass, and a time is expected here", "give it in `s`"),
        ("f", "bad-value", "expected a list of points, found `s` in it", "`2, 4, 6`"),
        ("g", "unknown-reference", "needs `co2`", "or `energy`"),
    ] {
        assert!(read.get(id)["value"].is_null(), "{}", read.get(id));
        read.reports(check, id, message, help);
    }
    read.reports_nothing(&["unknown-reference", "unit-mismatch", "bad-value"], "fine");
    assert!(read.number("fine") > 90.0, "{}", read.number("fine"));
}

/// `explain` lists what each event of a sheet reads and is given, and every sheet is in the document about scores.
#[test]
fn sheets_are_explained() {
    let sandbox = Sandbox::new();
    let docs = sandbox.tierod(&["explain", "sae-2024.endurance"]).ended(0).out;
    for text in ["most", "cones hit", "(default 0)", "(required)", "lap-points", "no-finish", "D.12", "20 s"] {
        assert!(docs.contains(text), "{text}:\n{docs}");
    }
    let json = sandbox.tierod(&["explain", "sae-2024.endurance", "--format", "json"]).ended(0).json();
    assert_eq!(json["reads"], serde_json::json!(["time"]));
    assert_eq!(json["given"], serde_json::json!(["best"]));
    assert!(json["inputs"].as_array().unwrap().len() > 5);
    let whole = sandbox.tierod(&["explain", "fs-rules-2025"]).ended(0).out;
    assert!(whole.contains("fs-rules-2025.dc-trackdrive") && whole.contains("left to judges"), "{whole}");
    let scoring = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/scoring.md")).unwrap();
    for sheet in ["sae-2024", "sae-2021", "sae-inferred", "fs-rules-2025", "fs-rules-2026"] {
        let answer = sandbox.tierod(&["explain", sheet, "--format", "json"]).ended(0).json();
        let events = answer["events"].as_array().unwrap();
        assert!(!events.is_empty());
        for event in events.iter().map(|event| event.as_str().unwrap()) {
            let (sheet, event) = event.split_once('.').unwrap();
            let section = scoring.split(&format!("\n## `{sheet}`")).nth(1).unwrap().split("\n## ").next().unwrap();
            assert!(section.contains(&format!("`{event}`")), "docs/scoring.md lacks {sheet}.{event}");
        }
    }
}
