//! The output of `delta` as Markdown, from the template of the project if it has one.

use serde_json::{Value, json};
use trace::Error;

use super::document::MOST_ROWS;
use super::{DeltaView, context};
use crate::output::pictures::typeset::typeset_all;
use crate::output::template::{self, Escape};

/// The largest number of characters of the summary: the comments of forges have at most 65,536.
const LARGEST: usize = 60_000;

/// The numbers of rows of a group, and of characters of a text, in the order in which they are tried until the summary is
/// small enough.
const SIZES: [(usize, usize); 6] = [(MOST_ROWS, 400), (10, 400), (5, 300), (5, 100), (2, 100), (1, 40)];

/// What is typed, searched for or followed, which no typesetting may change.
const AS_TYPED: &[&str] = &[
    "id", "ids", "record", "records", "path", "link", "key", "add", "from", "to", "help", "settings", "check",
    "revision", "affects", "waiver",
];

/// The comparison for a pull request, or the summary of a CI job.
pub(crate) fn markdown(view: &DeltaView<'_>) -> Result<String, Error> {
    let own = view.loaded()[usize::from(!view.template_of_base)].snapshot.template("delta.md");
    let context = context(view);
    let render = |context: &Value| {
        template::render("delta.md", include_str!("../../../../templates/delta.md"), own, Escape::Markdown, context)
    };
    // A template of the team decides itself what it shows.
    if own.is_some() {
        return render(&context);
    }
    let mut context = context;
    typeset_all(&mut context, AS_TYPED);
    let mut text = String::new();
    for (rows, characters) in SIZES {
        let mut context = context.clone();
        context["shown"]["most"] = json!(rows);
        shorten(&mut context, characters);
        text = render(&context)?;
        if text.chars().count() < LARGEST {
            break;
        }
    }
    Ok(text)
}

/// Cuts every text but addresses to a number of characters.
fn shorten(value: &mut Value, most: usize) {
    match value {
        Value::String(text) => {
            if let Some((end, _)) = text.char_indices().nth(most) {
                text.truncate(end);
                text.push('…');
            }
        }
        Value::Array(list) => list.iter_mut().for_each(|value| shorten(value, most)),
        Value::Object(keys) => {
            keys.iter_mut().filter(|(key, _)| *key != "link").for_each(|(_, value)| shorten(value, most));
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_cut_between_characters() {
        let mut value = json!({"a": ["ééééé", "abcd"], "link": "https://git.example", "b": {"c": null, "d": 12345}});
        shorten(&mut value, 4);
        assert_eq!(value, json!({"a": ["éééé…", "abcd"], "link": "https://git.example", "b": {"c": null, "d": 12345}}));
    }
}
