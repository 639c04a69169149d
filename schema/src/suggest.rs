//! "Did you mean": the most similar name, if one is similar enough.

/// The candidate with the smallest edit distance to `word` (optimal string alignment), if the distance is at most a third
/// of the word's length. A word of one letter is near only to itself, in either case.
///
/// Of equally near candidates the first one is returned, so the result is the same in every run.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // A comparison takes time in the product of the lengths, and a word longer than any id is not a typing error.
    if word.len() > 80 {
        return None;
    }
    // Any other letter is one edit away from a single one.
    let reach = match word.chars().count() {
        1 => 0,
        length => (length / 3).clamp(1, 4),
    };
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

/// "did you mean `x`?", or the other help if no candidate is near.
pub fn did_you_mean<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>, otherwise: &str) -> String {
    match nearest(word, candidates) {
        Some(name) => format!("did you mean `{name}`?"),
        None => otherwise.to_owned(),
    }
}

/// A list of names for a message: "a, b or c".
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
        assert_eq!(nearest("abc", ["abd", "abe"]), Some("abd"), "the first of two that are equally near");
        assert_eq!(
            (nearest("x", ["N", "s"]), nearest("n", ["s", "N"])),
            (None, Some("N")),
            "one letter is near to any"
        );
    }

    #[test]
    fn lists_of_names() {
        assert_eq!(any_of([]), "");
        assert_eq!(any_of(["a"]), "a");
        assert_eq!(any_of(["a", "b", "c"]), "a, b or c");
    }
}
