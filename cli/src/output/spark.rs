//! A line of small bars: a value over time.

/// Bars of eight heights.
const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Numbers as bars on a scale; a gap where there is none.
pub(crate) fn blocks(numbers: &[Option<f64>], low: f64, high: f64) -> String {
    let block = |number: &Option<f64>| {
        let Some(number) = number.filter(|number| number.is_finite()) else { return ' ' };
        let part = if high > low { (number - low) / (high - low) } else { 0.5 };
        BLOCKS[((part * 7.0).round().clamp(0.0, 7.0)) as usize]
    };
    numbers.iter().map(block).collect()
}

/// The same from the least number to the most; what does not move lies just below the middle.
pub(crate) fn line(values: &[Option<f64>]) -> String {
    let known = values.iter().flatten().copied().filter(|value| value.is_finite());
    let (low, high) = known.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if high > low { blocks(values, low, high) } else { blocks(values, low - 3.0, low + 4.0) }
}

/// How many values share a bar, so that all of them fit the room.
pub(crate) fn values_a_bar(values: usize, room: usize) -> usize {
    values.div_ceil(room.max(1)).max(1)
}

/// The last known value of each bar.
pub(crate) fn last_of_each(values: &[Option<f64>], values_a_bar: usize) -> Vec<Option<f64>> {
    values.chunks(values_a_bar).map(|slot| slot.iter().rev().copied().flatten().next()).collect()
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

    #[test]
    fn a_bar_shows_the_last_of_its_values() {
        assert_eq!((values_a_bar(107, 52), values_a_bar(52, 52), values_a_bar(0, 0)), (3, 1, 1));
        let values = [Some(1.0), None, Some(2.0), Some(8.0), None];
        assert_eq!(last_of_each(&values, 2), [Some(1.0), Some(8.0), None]);
    }
}
