//! `differs-from-evidence`: a number that was typed, and that is not what its evidence file gives.

use schema::words::shorten;

use super::{About, Check, Group, Reporter, Study, Warning};
use crate::evidence::shown;

pub(super) static CHECK: Check = Check {
    name: "differs-from-evidence",
    group: Group::Verification,
    about: About::Records,
    levels: [Warning; 5],
    reports: "A number under `typed` that differs from what the named column of its evidence file gives, by more than half of its \
              last digit as typed, or that has another dimension.",
    why: "A number that was copied by hand can be a typing error, or the file can have changed since.",
    fix: "Correct the number, or remove `typed`: then the number of the file is used, with its uncertainty.",
    bad_example: "\
targets:
  lap-length: {of: car, at-most: 110 m}
results:     # lap.csv has one row, with a length of 100
  measured-lap:
    of: lap-length
    date: 2027-03-01
    value: {typed: 101 m, from: lap.csv, column: length, unit: m}",
    good_example: "\
targets:
  lap-length: {of: car, at-most: 110 m}
results:     # lap.csv has one row, with a length of 100
  measured-lap:
    of: lap-length
    date: 2027-03-01
    value: {typed: 100 m, from: lap.csv, column: length, unit: m}",
    run,
};

fn run(study: &Study, reporter: &mut Reporter) {
    let loaded = &study.loaded;
    for own in &loaded.readings {
        let (Some(typed), Ok(taken)) = (&own.reading.typed, &own.taken) else { continue };
        let read = &taken.quantity;
        let fits = read.unit().dimension() == typed.unit().dimension();
        if fits && (read.si() - typed.si()).abs() <= typed.half_of_last_digit() * (1.0 + 1e-9) {
            continue;
        }
        let name = match &own.route[..] {
            [first, name, _, to, ..] if first == "alternatives" => {
                format!("{}, alternative {name}, {to}", loaded.record(own.record).name())
            }
            _ => loaded.record(own.record).name().to_owned(),
        };
        let message = format!(
            "{name}: {typed} was typed, but {} gives {read} ({})",
            shorten(&own.reading.from),
            shown(&own.reading, taken)
        );
        let route: Vec<&str> = own.route.iter().map(String::as_str).chain(["typed"]).collect();
        reporter.report(own.record, &route, message, "correct `typed`, or remove it to use the number of the file");
    }
}
