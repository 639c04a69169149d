//! Output from templates: those that ship with the tool, or those of the project with the same name.

use std::fmt::Write as _;

use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment, Output, State, UndefinedBehavior, Value};
use trace::Error;
use trace::snapshot::{Content, TEMPLATES};

use super::confined;
use crate::screen::clean;

/// The largest number of steps of a team's template: it ends an endless loop soon. A template that ships with the tool has no
/// loop but over the data, which is bounded.
pub(super) const FUEL: u64 = 10_000_000;

/// The format whose special characters are escaped.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Escape {
    Markdown,
    Html,
}

impl Escape {
    /// Its name.
    pub(super) fn word(self) -> &'static str {
        match self {
            Self::Markdown => "markdown",
            Self::Html => "html",
        }
    }

    /// The format with this name.
    pub(super) fn from_word(word: &str) -> Option<Self> {
        [Self::Markdown, Self::Html].into_iter().find(|escape| escape.word() == word)
    }
}

/// Renders a template; `own` is the template of the project with the same name, in the state that is shown.
pub(crate) fn render(
    name: &'static str,
    shipped: &str,
    own: Option<&Content>,
    escape: Escape,
    context: &serde_json::Value,
) -> Result<String, Error> {
    let unreadable = || Error::new(format!("cannot read the template {TEMPLATES}/{name}"));
    let source = match own {
        Some(Ok(bytes)) => Some(std::str::from_utf8(bytes).map_err(|error| unreadable().because(error))?),
        Some(Err(problem)) => return Err(unreadable().because(&problem.message).help(problem.help.clone())),
        None => None,
    };
    let wrong = |detail: String| {
        let command = name.split('.').next().unwrap_or(name);
        let help = format!("`tierod {command} --context` prints the data for the template");
        Error::new(format!("cannot render the template {TEMPLATES}/{name}")).because(detail).help(help)
    };
    match source {
        Some(source) => confined::render(name, source, escape, context)?.map_err(wrong),
        None => rendered(name, shipped.to_owned(), escape, None, context).map_err(wrong),
    }
}

/// Templates that ship with the tool and that no team can replace.
pub(crate) struct Shipped(Environment<'static>);

impl Shipped {
    /// These templates, each with its name.
    pub(crate) fn new(escape: Escape, templates: &[(&'static str, &'static str)]) -> Result<Self, Error> {
        let mut environment = environment(escape, None);
        for (name, source) in templates {
            environment.add_template(name, source).map_err(|error| Self::failed(name, &error))?;
        }
        Ok(Self(environment))
    }

    /// Renders one of them.
    pub(crate) fn render(&self, name: &str, context: &serde_json::Value) -> Result<String, Error> {
        let template = self.0.get_template(name);
        let page = template.and_then(|template| template.render(Value::from(Serde(context))));
        page.map_err(|error| Self::failed(name, &error))
    }

    fn failed(name: &str, error: &minijinja::Error) -> Error {
        Error::new(format!("cannot render the template {name}")).because(detail(error))
    }
}

/// An error of the template engine as text, with its causes.
fn detail(error: &minijinja::Error) -> String {
    let mut detail = error.to_string();
    let mut source = std::error::Error::source(error);
    while let Some(cause) = source {
        let _ = write!(detail, ": {cause}");
        source = cause.source();
    }
    detail
}

/// Renders a template with at most this many steps; an error is text.
pub(super) fn rendered(
    name: &str,
    source: String,
    escape: Escape,
    fuel: Option<u64>,
    context: &serde_json::Value,
) -> Result<String, String> {
    let mut environment = environment(escape, fuel);
    environment.add_template_owned(name.to_owned(), source).map_err(|error| detail(&error))?;
    let page = environment.get_template(name).and_then(|template| template.render(Value::from(Serde(context))));
    page.map_err(|error| detail(&error))
}

/// What all templates have: the escaping, the filters, and the steps that they may take.
fn environment(escape: Escape, fuel: Option<u64>) -> Environment<'static> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_fuel(fuel);
    if let Ok(syntax) =
        SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).keep_trailing_newline(true).build()
    {
        environment.set_syntax(syntax);
    }
    match escape {
        Escape::Markdown => {
            environment.set_auto_escape_callback(|_| AutoEscape::Custom("markdown".into()));
            environment.set_formatter(markdown);
        }
        Escape::Html => {
            environment.set_auto_escape_callback(|_| AutoEscape::Html);
            environment.set_formatter(|out, state, value| {
                if value.is_none() {
                    return Ok(());
                }
                // Control characters, and marks that change the direction of writing, are not part of any text.
                match value.as_str().filter(|_| !value.is_safe()) {
                    Some(text) => minijinja::escape_formatter(out, state, &Value::from(clean(text))),
                    None => minijinja::escape_formatter(out, state, value),
                }
            });
        }
    }
    environment.add_filter("code", code);
    environment.add_filter(
        "prose",
        match escape {
            Escape::Markdown => prose,
            Escape::Html => prose_in_html,
        },
    );
    environment
}

/// A text as code, in which no character is special; as escaped text if it could end the code or the cell around it.
fn code(text: &str) -> Value {
    let text = clean(text);
    let safe = !text.is_empty() && text.trim() == text && !text.contains(['`', '|']);
    Value::from_safe_string(if safe { format!("`{text}`") } else { escaped(&text) })
}

fn markdown(out: &mut Output<'_>, _: &mut State<'_, '_>, value: &Value) -> Result<(), minijinja::Error> {
    if value.is_safe() || value.is_number() {
        return out.write_str(&value.to_string()).map_err(minijinja::Error::from);
    }
    if value.is_none() {
        return Ok(());
    }
    out.write_str(&escaped(&value.to_string())).map_err(minijinja::Error::from)
}

/// Words with code between backquotes, as messages have it.
fn prose(text: &str) -> Value {
    let pieces: Vec<&str> = text.split('`').collect();
    if pieces.len().is_multiple_of(2) {
        return Value::from_safe_string(escaped(text));
    }
    let piece = |(at, piece): (usize, &&str)| if at % 2 == 1 { code(piece).to_string() } else { escaped(piece) };
    Value::from_safe_string(pieces.iter().enumerate().map(piece).collect())
}

/// The same for a page.
fn prose_in_html(text: &str) -> Value {
    let escaped = |text: &str| minijinja::HtmlEscape(&clean(text)).to_string();
    let pieces: Vec<&str> = text.split('`').collect();
    if pieces.len().is_multiple_of(2) {
        return Value::from_safe_string(escaped(text));
    }
    let piece = |(at, piece): (usize, &&str)| match at % 2 {
        1 => format!("<code>{}</code>", escaped(piece)),
        _ => escaped(piece),
    };
    Value::from_safe_string(pieces.iter().enumerate().map(piece).collect())
}

/// A text that Markdown shows unchanged: in CommonMark every ASCII punctuation can be escaped by a backslash
/// (section 2.4), and a zero-width space prevents that a forge notifies people by name.
pub(crate) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 8);
    let text = clean(text);
    // A list item begins with one of these marks, before a space and after digits only.
    let begins = text.trim_start().trim_start_matches(|c: char| c.is_ascii_digit());
    let mut list = begins.starts_with(['-', '+', '.', ')']) && begins[1..].starts_with([' ', '\t']);
    let mut chars = text.chars().peekable();
    let mut last = [' '; 3];
    while let Some(c) = chars.next() {
        let next = chars.peek().copied();
        match c {
            '@' => out.push_str("@&#8203;"),
            // Forges create links from `#1`, `!1`, `&1`, `$1`, `%1`, `~1` and `GH-1`, of `www.` and of `://`, whether escaped
            // or not, and note them where they lead to.
            '#' | '!' | '&' | '$' | '%' | '~' if next.is_some_and(|next| next.is_ascii_digit()) => {
                out.push('\\');
                out.push(c);
                out.push_str("&#8203;");
            }
            '-' if last[1..] == ['g', 'h']
                && !last[0].is_alphanumeric()
                && next.is_some_and(|next| next.is_ascii_digit()) =>
            {
                out.push_str("-&#8203;");
            }
            ':' if next == Some('/') => out.push_str(r"\:&#8203;"),
            '.' if last == ['w', 'w', 'w'] => out.push_str("&#8203;."),
            // A line that begins with a slash and a word is a command to the bots of a forge.
            '/' if out.is_empty() && next.is_some_and(char::is_alphabetic) => out.push_str("\\/"),
            // These have no meaning within a line, as in `a - b. c, d's e; f`.
            ',' | ';' | '\'' | '%' | '?' | '"' | '/' | '=' | '^' => out.push(c),
            '-' | '.' | '+' | ')' if list => {
                list = false;
                out.push('\\');
                out.push(c);
            }
            '-' | '.' | '+' | '(' | ')' => out.push(c),
            c if c.is_ascii_punctuation() => {
                out.push('\\');
                out.push(c);
            }
            c => out.push(c),
        }
        last = [last[1], last[2], c.to_ascii_lowercase()];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markdown_shows_hostile_text_as_it_is() {
        assert_eq!(escaped("<b>|`x`*y* [a](b)\n@team"), r"\<b\>\|\`x\`\*y\* \[a\](b) @&#8203;team");
        assert_eq!(escaped("- 4.25 s - 2 s"), r"\- 4.25 s - 2 s");
        assert_eq!(escaped("-0.5 kg (less)"), "-0.5 kg (less)");
        assert_eq!(escaped("1. one. two"), r"1\. one. two");
        assert_eq!(escaped("/merge a/b"), r"\/merge a/b");
        assert_eq!(prose("run `tierod check`, <b>").to_string(), r"run `tierod check`, \<b\>");
        assert_eq!(prose("add `verify: {by: test}`").to_string(), "add `verify: {by: test}`");
        assert_eq!(prose("`a|b`").to_string(), r"a\|b", "a cell of a table ends at a bar, even in code");
        assert_eq!(
            escaped("fixes #1, !2 at https://x.y, WWW.x.y"),
            r"fixes \#&#8203;1, \!&#8203;2 at https\:&#8203;//x.y, WWW&#8203;.x.y"
        );
        assert_eq!(
            escaped("GH-1, Gh-2, high-3, &2 $3 %4 ~5, a & b, 5 %"),
            r"GH-&#8203;1, Gh-&#8203;2, high-3, \&&#8203;2 \$&#8203;3 \%&#8203;4 \~&#8203;5, a \& b, 5 %"
        );
        assert_eq!(prose("`<b>` and `").to_string(), r"\`\<b\>\` and \`");
        assert_eq!(prose("`a``b`<i>`").to_string(), r"\`a\`\`b\`\<i\>\`");
    }

    #[test]
    fn a_page_shows_what_is_between_backquotes_as_code() {
        let page = |text: &str| prose_in_html(text).to_string();
        assert_eq!(page("run `tierod check`, <b>"), "run <code>tierod check</code>, &lt;b&gt;");
        assert_eq!(page("add `<i>`"), "add <code>&lt;i&gt;</code>");
        assert_eq!(page("`<b>` and `"), "`&lt;b&gt;` and `");
    }
}
