//! Where the numbers of a record are read: file, column, rows, scatter and uncertainty.

use schema::number::significant;
use serde_json::{Value, json};
use trace::evidence::shown;
use trace::{RecordId, Study};

use super::values::number;

/// One or two lines per number: where it is read, and its uncertainty.
pub(crate) fn lines(study: &Study, index: RecordId) -> Vec<String> {
    let mut lines = Vec::new();
    for own in study.readings_behind(index) {
        let reading = &own.reading;
        let name = match &own.route[..] {
            [first, name, ..] if first == "amounts" => format!("{name}: "),
            [first, name] if first == "finds" => format!("{name}: "),
            [first, name, _, to, ..] if first == "alternatives" => format!("{name}, {to}: "),
            _ => String::new(),
        };
        let taken = match &own.taken {
            Ok(taken) => taken,
            Err(unread) => {
                lines.push(format!("{name}not read from {}: {}", reading.from, unread.message));
                continue;
            }
        };
        let typed = match &reading.typed {
            Some(typed) => format!("{typed} typed; "),
            None => String::new(),
        };
        lines.push(format!("{name}{typed}{} from {}: {}", taken.quantity, reading.from, shown(reading, taken)));
        let unit = taken.quantity.unit();
        let part =
            |text: &str, size: Option<f64>| size.map(|size| format!("{text} {}", unit.after(&significant(size, 3))));
        let parts = [
            part("s", taken.deviation),
            part("u(mean)", taken.of_mean),
            part("u(instrument)", taken.instrument),
            taken.coverage.map(|factor| format!("k {}", significant(factor, 3))),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        if !parts.is_empty() {
            lines.push(format!("  {}", parts.join(", ")));
        }
    }
    lines
}

/// The same numbers.
pub(crate) fn json(study: &Study, index: RecordId) -> Vec<Value> {
    let all = study.readings_behind(index).into_iter();
    let one = |own: &trace::evidence::ReadNumber| {
        let (reading, taken) = (&own.reading, own.taken.as_ref().ok());
        let size = |of: fn(&trace::evidence::Taken) -> Option<f64>| number(taken.and_then(of));
        json!({
            "record": study.loaded.record(own.record).id,
            "key": own.route.join("."),
            "file": reading.from,
            "column": reading.column,
            "take": reading.take.map(|take| take.to_string()),
            "rows": taken.map(|taken| taken.rows),
            "of": taken.map(|taken| taken.of),
            "value": size(|taken| Some(taken.quantity.value())),
            "unit": taken.map(|taken| taken.quantity.unit().to_string()),
            "uncertainty": size(|taken| taken.quantity.uncertainty()),
            "deviation": size(|taken| taken.deviation),
            "of_mean": size(|taken| taken.of_mean),
            "instrument": size(|taken| taken.instrument),
            "coverage": size(|taken| taken.coverage),
            "typed": reading.typed.as_ref().map(ToString::to_string),
            "problem": own.taken.as_ref().err().map(|unread| &unread.message),
        })
    };
    all.map(one).collect()
}
