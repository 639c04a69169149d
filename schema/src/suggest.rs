//! "Did you mean": the nearest name, when one is near enough to be worth saying.

/// The candidate nearest to `word` (Damerau-Levenshtein), if it is within a third of the word's length.
///
/// Ties go to the candidate that comes first, so the answer is the same in every run.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // Comparing takes the product of the lengths; what is longer than any id is no slip of the pen.
    if word.len() > 80 {
        return None;
    }
    let reach = (word.chars().count() / 3).clamp(1, 4);
    let folded = word.to_lowercase();
    let mut best: Option<(usize, &str)> = None;
    for candidate in candidates {
        if candidate.len().abs_diff(word.len()) > reach + 2 {
            continue;
        }
        let distance = strsim::osa_distance(&folded, &candidate.to_lowercase());
        if distance <= reach && best.is_none_or(|(least, _)| distance < least) {
            best = Some((distance, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

/// "did you mean `x`?", or what to do instead.
pub fn did_you_mean<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>, otherwise: &str) -> String {
    match nearest(word, candidates) {
        Some(name) => format!("did you mean `{name}`?"),
        None => otherwise.to_owned(),
    }
}

/// Names in a row, for a message: "a, b or c".
pub fn any_of<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let names: Vec<&str> = names.into_iter().collect();
    match names.split_last() {
        None => String::new(),
        Some((last, [])) => (*last).to_owned(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_near_name_is_found_and_a_far_one_is_not() {
        assert_eq!(nearest("masss", ["cost", "mass"]), Some("mass"));
        assert_eq!(nearest("car-mas", ["car-mass", "car-cost"]), Some("car-mass"));
        assert_eq!(nearest("upright", ["engine", "gearbox"]), None);
        assert_eq!(nearest("abc", ["abd", "abe"]), Some("abd"), "the first of two equals");
    }

    #[test]
    fn names_in_a_row() {
        assert_eq!(any_of([]), "");
        assert_eq!(any_of(["a"]), "a");
        assert_eq!(any_of(["a", "b", "c"]), "a, b or c");
    }
}
