//! The same page in fewer bytes: without the quotes, entities and end tags that HTML does not need, and with the lines of a
//! picture as paths. What a browser makes of it is the same, but for those lines. Names of records without a place lead
//! nowhere.

use std::collections::HashSet;

/// End tags that a parser adds itself, before the next such element and at the end of their parent.
const IMPLIED: [&str; 9] = ["li", "td", "th", "tr", "thead", "tbody", "dt", "dd", "option"];
/// Those of them after which a line break would become part of a cell, so that an empty one is not empty.
const OF_TABLES: [&str; 5] = ["td", "th", "tr", "thead", "tbody"];

/// A page with quoted attributes, as the template writes it. `without` are the ids of the records that have no place.
pub(super) fn squeeze(html: &str, without: &HashSet<&str>) -> String {
    let mut out = Output { html: String::with_capacity(html.len()), lines: None, after_cell: false, without };
    let mut rest = html;
    while let Some(start) = rest.find('<') {
        let (text, tag) = rest.split_at(start);
        out.text(text);
        let end = tag_end(tag);
        let (tag, after) = tag.split_at(end);
        rest = after;
        out.tag(tag);
        // The content of these is no HTML.
        for raw in ["script", "style"] {
            if tag.strip_prefix('<').is_some_and(|tag| tag.starts_with(raw)) {
                let end = rest.find(&format!("</{raw}")).unwrap_or(rest.len());
                out.html.push_str(&rest[..end]);
                rest = &rest[end..];
            }
        }
    }
    out.text(rest);
    out.end_lines();
    out.html
}

/// Where a tag that begins the text ends: behind its `>`, which may not be in a value.
fn tag_end(tag: &str) -> usize {
    let mut in_value = false;
    for (at, byte) in tag.bytes().enumerate() {
        match byte {
            b'"' => in_value = !in_value,
            b'>' if !in_value => return at + 1,
            _ => {}
        }
    }
    tag.len()
}

struct Output<'w> {
    without: &'w HashSet<&'w str>,
    html: String,
    /// Lines that follow each other, as one path with their class.
    lines: Option<(String, String)>,
    /// Whether the last tag was the end of a part of a table.
    after_cell: bool,
}

impl Output<'_> {
    fn text(&mut self, text: &str) {
        let is_of_table = self.after_cell && text.trim().is_empty();
        if !text.is_empty() && !is_of_table {
            self.end_lines();
            self.html.push_str(&plain(text));
        }
    }

    fn tag(&mut self, tag: &str) {
        if tag.starts_with("<!") {
            self.html.push_str(tag);
            return;
        }
        let end_of = tag.strip_prefix("</").and_then(|tag| tag.strip_suffix('>'));
        self.after_cell = end_of.is_some_and(|name| OF_TABLES.contains(&name));
        if let Some(name) = end_of {
            if !IMPLIED.contains(&name) {
                self.end_lines();
                self.html.push_str(tag);
            }
            return;
        }
        let inner = tag.trim_start_matches('<').trim_end_matches('>');
        let (inner, closed) = inner.strip_suffix('/').map_or((inner, false), |inner| (inner, true));
        let (name, attributes) = inner.split_once(' ').unwrap_or((inner, ""));
        let attributes = attributes_of(attributes);
        if name == "line"
            && let [("x1", Some(x1)), ("y1", Some(y1)), ("x2", Some(x2)), ("y2", Some(y2)), ("class", Some(class))] =
                attributes[..]
        {
            self.line([x1, y1, x2, y2], class);
            return;
        }
        self.end_lines();
        self.html.push('<');
        self.html.push_str(name);
        let mut bare = false;
        for (name, value) in attributes {
            let leads_nowhere = |value: &str| {
                value.strip_prefix('#').is_some_and(|id| !self.without.is_empty() && self.without.contains(id))
            };
            bare = match value {
                Some(value) if name == "href" && leads_nowhere(value) => bare,
                Some("") if name == "class" => bare,
                Some(value) => self.attribute(name, value),
                None => self.attribute(name, ""),
            };
        }
        self.html.push_str(match (closed, bare) {
            (true, true) => " />",
            (true, false) => "/>",
            (false, _) => ">",
        });
    }

    /// Adds an attribute; whether what follows could be taken for a part of it.
    fn attribute(&mut self, name: &str, value: &str) -> bool {
        let value = plain(value);
        self.html.push(' ');
        self.html.push_str(name);
        let safe = |byte: u8| byte.is_ascii_alphanumeric() || b"-_.,:;#%+()".contains(&byte);
        if value.is_empty() {
            return false;
        }
        self.html.push('=');
        let bare = value.bytes().all(safe);
        let quote = if bare { "" } else { "\"" };
        for part in [quote, &value, quote] {
            self.html.push_str(part);
        }
        bare
    }

    fn line(&mut self, [x1, y1, x2, y2]: [&str; 4], class: &str) {
        if self.lines.as_ref().is_some_and(|(own, _)| own != class) {
            self.end_lines();
        }
        let (_, path) = self.lines.get_or_insert_with(|| (class.to_owned(), String::new()));
        let to = match (x1 == x2, y1 == y2) {
            (_, true) => format!("H{x2}"),
            (true, false) => format!("V{y2}"),
            (false, false) => format!("L{x2} {y2}"),
        };
        path.push_str(&format!("M{x1} {y1}{to}"));
    }

    fn end_lines(&mut self) {
        let Some((class, path)) = self.lines.take() else { return };
        self.html.push_str("<path");
        self.attribute("d", &path);
        let bare = self.attribute("class", &class);
        self.html.push_str(if bare { " />" } else { "/>" });
    }
}

/// The attributes of a tag: names, and values as they are written.
fn attributes_of(mut rest: &str) -> Vec<(&str, Option<&str>)> {
    let mut all = Vec::new();
    loop {
        rest = rest.trim_start();
        if rest.is_empty() {
            return all;
        }
        let end = rest.find([' ', '=']).unwrap_or(rest.len());
        let (name, after) = rest.split_at(end);
        let value = after.strip_prefix("=\"").and_then(|value| value.split_once('"'));
        rest = value.map_or(after.trim_start_matches('='), |(_, after)| after);
        all.push((name, value.map(|(value, _)| value)));
    }
}

/// Text, in which a slash means nothing, neither between tags nor between double quotes.
fn plain(text: &str) -> String {
    text.replace("&#x2f;", "/")
}

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    fn squeeze(html: &str) -> String {
        super::squeeze(html, &HashSet::new())
    }

    #[test]
    fn names_of_records_without_a_place_lead_nowhere() {
        let page = "<li><a href=\"#hub\">Hub</a> <a href=\"#hub-2\">Hub</a> <a href=\"#_records\">all</a>";
        let expected = "<li><a>Hub</a> <a href=#hub-2>Hub</a> <a href=#_records>all</a>";
        assert_eq!(super::squeeze(page, &HashSet::from(["hub"])), expected);
    }

    #[test]
    fn what_a_parser_adds_itself_is_left_out() {
        let all = [
            ("<p class=\"n\">a &amp; b</p>", "<p class=n>a &amp; b</p>"),
            ("<a href=\"#hub\">Hub</a>", "<a href=#hub>Hub</a>"),
            ("<ul><li>a</li><li>b</li></ul>", "<ul><li>a<li>b</ul>"),
            ("<td class=\"\">1&#x2f;s</td><td>it&#x27;s</td>", "<td>1/s<td>it&#x27;s"),
            ("<details open><summary>x</summary></details>", "<details open><summary>x</summary></details>"),
            (
                "<table><thead><tr><th>a</th></tr></thead><tbody>\n<tr><td>1</td></tr>\n</tbody></table>b",
                "<table><thead><tr><th>a<tbody>\n<tr><td>1</table>b",
            ),
            ("<option value=\"\">all</option>", "<option value>all"),
            ("<!doctype html>\n<!-- mark -->\n<p>", "<!doctype html>\n<!-- mark -->\n<p>"),
        ];
        for (from, to) in all {
            assert_eq!(squeeze(from), to);
        }
    }

    #[test]
    fn values_that_need_quotes_keep_them() {
        for text in ["a b", "a=b", "a&gt;b", "a`b", "a&#x27;b", "a/", "é", "&quot;"] {
            let tag = format!("<p title=\"{text}\">");
            assert_eq!(squeeze(&tag), tag);
        }
        assert_eq!(squeeze("<p title=\"a > b\" class=\"x\">c"), "<p title=\"a > b\" class=x>c");
        assert_eq!(squeeze("<circle r=\"1\"/><circle r=\"a b\"/>"), "<circle r=1 /><circle r=\"a b\"/>");
    }

    #[test]
    fn scripts_and_styles_stay_as_they_are() {
        let page = "<style>a{content:\"</li>\"}</style><script data-stamp=\"1\">if (a<b) \"&#x2f;</li>\"</script>";
        assert_eq!(squeeze(page), page.replace("\"1\"", "1"));
    }

    #[test]
    fn lines_of_one_class_are_one_path() {
        let line = |class: &str, x2: u8, y2: u8| {
            format!("<line x1=\"1\" y1=\"2\" x2=\"{x2}\" y2=\"{y2}\" class=\"{class}\"/>")
        };
        let page = format!("<g>{}{}{}{}</g>", line("a", 3, 2), line("a", 1, 4), line("b", 5, 6), line("a", 3, 2));
        let expected =
            "<g><path d=\"M1 2H3M1 2V4\" class=a /><path d=\"M1 2L5 6\" class=b /><path d=\"M1 2H3\" class=a /></g>";
        assert_eq!(squeeze(&page), expected);
    }
}
