//! What is missing under a choice, in words: the page and the audit say it in the same way.

/// That a choice was made without a ranking by points, or without an analysis before it; `None` if it had both.
///
/// - `ranked`: alternatives that set a value and have points.
/// - `analyses`: those that inform the decision, and `later`: how many of them were added after the choice.
pub(crate) fn without_numbers(ranked: usize, analyses: usize, later: usize) -> Option<String> {
    let ranking = (ranked < 2).then_some("fewer than two alternatives have points");
    let analysis = match analyses {
        0 => Some("no analysis informs it"),
        all if all == later => Some("every analysis of it was added after the choice"),
        _ => None,
    };
    let words: Vec<&str> = ranking.into_iter().chain(analysis).collect();
    let what = match (ranking, analysis) {
        (None, None) => return None,
        (Some(_), Some(_)) => "numbers",
        (Some(_), None) => "a ranking by points",
        (None, Some(_)) => "an analysis",
    };
    Some(format!("decided without {what}: {}", words.join("; ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_missing_is_named() {
        let few = "fewer than two alternatives have points";
        let late = "every analysis of it was added after the choice";
        assert_eq!(without_numbers(2, 2, 1), None);
        assert_eq!(without_numbers(1, 1, 0).unwrap(), format!("decided without a ranking by points: {few}"));
        assert_eq!(without_numbers(2, 2, 2).unwrap(), format!("decided without an analysis: {late}"));
        let none = without_numbers(0, 0, 0).unwrap();
        assert_eq!(none, format!("decided without numbers: {few}; no analysis informs it"));
    }
}
