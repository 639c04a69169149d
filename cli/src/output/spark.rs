//! A line of small bars: how a value went.

/// Bars of eight heights, the smallest value the lowest; a gap where there is none.
pub(crate) fn line(values: &[Option<f64>]) -> String {
    const BARS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let known = || values.iter().flatten().copied().filter(|value| value.is_finite());
    let (low, high) = known().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    let bar = |value: Option<f64>| match value.filter(|value| value.is_finite()) {
        None => ' ',
        Some(_) if high <= low => BARS[3],
        Some(value) => BARS[((value - low) / (high - low) * 7.0).round() as usize % 8],
    };
    values.iter().map(|value| bar(*value)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_span_from_the_least_to_the_most() {
        assert_eq!(line(&[Some(1.0), None, Some(2.0), Some(8.0)]), "▁ ▂█");
        assert_eq!(line(&[Some(2.0), Some(2.0)]), "▄▄");
        assert_eq!(line(&[Some(f64::NAN)]), " ");
    }
}
