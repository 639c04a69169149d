//! Stress files that other programs wrote, and the same files damaged in thousands of ways.
//!
//! `tests/stress/independent.py` wrote the files with VTK 9 and meshio 5, and printed the numbers: volumes and shares by the
//! shape functions of VTK with 12 points of Gauss in each direction.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]

use std::path::PathBuf;
use std::time::{Duration, Instant};

use models::stress::{Ask, StressField, read};

/// The file, its field, and in the units of the file: the volume, the stress that 99.9 % of it does not exceed, the share of
/// it below 40, and the highest stress.
const FILES: [(&str, &str, f64, f64, f64, f64); 10] = [
    ("hex8-appended-raw.vtu", "von Mises", 3402.1875, 110.283864, 0.344648942, 122.032782),
    ("hex20-wedge15-appended-base64-zlib.vtu", "S", 3402.5, 110.120586, 0.374197364, 122.032782),
    ("tet10-binary-zlib.vtu", "stress<9>", 3402.5, 110.010048, 0.372852499, 122.032782),
    ("mixed-ascii.vtu", "vM 32", 3400.75, 110.120796, 0.286950113, 122.032784),
    ("pyramid13-binary-big-endian.vtu", "S", 3402.5, 110.214216, 0.377421904, 122.032782),
    ("wedge15-ascii-5.1.vtk", "S", 3402.5, 89.8743318, 0.269876316, 89.8743318),
    ("hex20-binary-4.2.vtk", "von Mises", 3402.5, 110.082836, 0.373309983, 122.032782),
    ("meshio-tet10-zlib.vtu", "S", 3402.5, 110.010048, 0.372852499, 122.032782),
    ("meshio-hex8-plain.vtu", "vM", 3402.1875, 110.283864, 0.344648942, 122.032782),
    ("meshio-wedge-binary-5.1.vtk", "vM", 3401.94444, 110.161432, 0.336781596, 122.032782),
];

fn bytes(file: &str) -> Vec<u8> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../tests/stress/files");
    std::fs::read(folder.join(file)).unwrap_or_else(|error| panic!("{file}: {error}"))
}

fn ask(stress: &str) -> Ask<'_> {
    Ask { stress, stress_unit: 1.0, length_unit: 1.0 }
}

#[track_caller]
fn close(what: &str, found: f64, expected: f64, within: f64) {
    let off = (found / expected - 1.0).abs();
    assert!(off <= within, "{what}: {found}, expected {expected}, off by {off:.2e}");
}

#[test]
fn ten_files_of_other_programs_have_the_numbers_of_an_independent_reader() {
    for (file, name, volume, percentile, share, peak) in FILES {
        let field = read(&bytes(file), ask(name)).unwrap_or_else(|error| panic!("{file}: {error}"));
        close(&format!("{file}, volume"), field.volume(), volume, 1e-8);
        close(&format!("{file}, peak"), field.peak(), peak, 1e-7);
        // The reader has 1,728 points in each element.
        close(&format!("{file}, 99.9 %"), field.percentile(), percentile, 1e-2);
        let off = (field.share_below(40.0) - share).abs();
        assert!(off < 1e-2, "{file}, share below 40: {} for {share}", field.share_below(40.0));
    }
}

#[test]
fn a_field_is_the_same_after_it_was_numbers() {
    for (file, name, ..) in FILES {
        let field = read(&bytes(file), ask(name)).unwrap();
        let numbers = field.to_numbers();
        assert_eq!(StressField::from_numbers(&numbers).as_ref(), Some(&field), "{file}");
        assert_eq!(StressField::from_numbers(&numbers[..numbers.len() - 1]), None);
        assert_eq!(StressField::from_numbers(&[]), None);
        let mut wrong = numbers;
        wrong[5] = f64::NAN;
        assert_eq!(StressField::from_numbers(&wrong), None);
    }
}

/// A small generator, so that the same files are tried each time.
struct Random(u64);

impl Random {
    fn below(&mut self, most: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % most.max(1)
    }
}

/// Damages a file: bytes, numbers in its text, cuts, and parts of it twice.
fn damage(original: &[u8], random: &mut Random) -> Vec<u8> {
    let mut bytes = original.to_vec();
    for _ in 0..=random.below(4) {
        if bytes.is_empty() {
            break;
        }
        let at = random.below(bytes.len());
        match random.below(8) {
            0 => bytes[at] = random.below(256) as u8,
            1 => bytes[at] ^= 1 << random.below(8),
            2 => bytes.truncate(at),
            3 => {
                let end = (at + random.below(200)).min(bytes.len());
                bytes.drain(at..end);
            }
            4 => {
                let end = (at + random.below(200)).min(bytes.len());
                let part = bytes[at..end].to_vec();
                let to = random.below(bytes.len());
                bytes.splice(to..to, part);
            }
            5 => {
                let texts = ["99999999999", "-1", "18446744073709551615", "nan", "0", "1e308", "\"", "<", "=", "\0"];
                bytes.splice(at..at, texts[random.below(texts.len())].bytes());
            }
            // A number of the header, where most of what is claimed is.
            6 => {
                let digits: Vec<usize> = (0..bytes.len().min(4000)).filter(|at| bytes[*at].is_ascii_digit()).collect();
                if let Some(at) = digits.get(random.below(digits.len())) {
                    bytes[*at] = b'0' + random.below(10) as u8;
                }
            }
            _ => {
                let end = (at + 1 + random.below(8)).min(bytes.len());
                bytes[at..end].fill(if random.below(2) == 0 { 0xff } else { 0 });
            }
        }
    }
    bytes
}

/// Neither a panic, nor a long time, nor much memory, and an error has a text.
#[test]
fn damaged_files_are_refused_or_read_but_nothing_breaks() {
    const EACH: usize = 2500;
    let mut random = Random(2027);
    let (mut read_anyway, mut refused) = (0, 0);
    for (file, name, ..) in FILES {
        let original = bytes(file);
        for number in 0..EACH {
            let damaged = damage(&original, &mut random);
            let begin = Instant::now();
            match read(&damaged, ask(name)) {
                Ok(field) => {
                    read_anyway += 1;
                    assert!(field.volume() > 0.0 && field.peak() > 0.0, "{file}, {number}");
                    assert!(field.percentile() <= field.peak() && (0.0..=1.0).contains(&field.share_below(40.0)));
                }
                Err(error) => {
                    refused += 1;
                    assert!(!error.message.is_empty() && !error.help.is_empty(), "{file}, {number}");
                    assert!(error.message.len() < 400, "{file}, {number}: {error}");
                }
            }
            assert!(begin.elapsed() < Duration::from_secs(5), "{file}, {number}");
        }
    }
    assert!(refused > 10 * EACH / 4 && read_anyway > 100, "{refused} refused, {read_anyway} read");
    // The most memory that the process ever had.
    if let Ok(status) = std::fs::read_to_string("/proc/self/status") {
        let most = status
            .lines()
            .find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse::<u64>().ok());
        assert!(most.unwrap() < 300_000, "{most:?} kB");
    }
}
