//! Names in the help of a message. A project can have very many of them, so that only the first ones are listed and compared.

use schema::suggest;

/// The number of names in a list.
const MOST_LISTED: usize = 100;

/// The number of names among which a similar one is searched.
pub(super) const MOST_COMPARED: usize = 200;

/// The number of unknown names of one kind for which a similar one is searched.
pub(super) const MOST_SUGGESTIONS: usize = 300;

/// A list of names for a message: "a, b or c".
pub(super) fn any_of<'a>(names: impl IntoIterator<Item = &'a str>) -> String {
    let mut names = names.into_iter();
    let first: Vec<&str> = names.by_ref().take(MOST_LISTED).collect();
    if names.next().is_some() { format!("{} or another one", first.join(", ")) } else { suggest::any_of(first) }
}

/// "did you mean `x`?", or the other help if no name is near.
pub(super) fn did_you_mean<'a>(word: &str, names: impl IntoIterator<Item = &'a str>, otherwise: &str) -> String {
    suggest::did_you_mean(word, names.into_iter().take(MOST_COMPARED), otherwise)
}

/// How many more similar names are searched.
pub(super) struct Suggestions(usize);

impl Default for Suggestions {
    fn default() -> Self {
        Self(MOST_SUGGESTIONS)
    }
}

impl Suggestions {
    /// Whether one more may be searched.
    pub(super) fn take(&mut self) -> bool {
        let left = self.0.checked_sub(1);
        self.0 = left.unwrap_or(0);
        left.is_some()
    }

    /// The same as [`did_you_mean`], as long as one may be searched.
    pub(super) fn did_you_mean<'a>(
        &mut self,
        word: &str,
        names: impl IntoIterator<Item = &'a str>,
        otherwise: &str,
    ) -> String {
        if self.take() { did_you_mean(word, names, otherwise) } else { otherwise.to_owned() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_first_names_are_listed_and_compared() {
        assert_eq!(any_of(["a", "b", "c"]), "a, b or c");
        let names: Vec<String> = (0..=MOST_LISTED).map(|at| format!("name-{at}")).collect();
        assert!(any_of(names.iter().map(String::as_str)).ends_with(", name-99 or another one"));
        let mut suggestions = Suggestions::default();
        for _ in 0..MOST_SUGGESTIONS {
            assert_eq!(suggestions.did_you_mean("masss", ["mass"], "none"), "did you mean `mass`?");
        }
        assert_eq!(suggestions.did_you_mean("masss", ["mass"], "none"), "none");
    }
}
