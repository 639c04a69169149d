//! The hash by which a browser knows the script of the page: no other script runs, whatever a record says.

use sha2::{Digest as _, Sha256};

/// A script or a style as it is sent: without indentation and without the lines that are only a comment.
pub(super) fn lean(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut in_comment = false;
    for line in text.lines().map(str::trim) {
        in_comment |= line.starts_with("/*");
        if !in_comment && !line.is_empty() && !line.starts_with("//") {
            out.push_str(line);
            out.push('\n');
        }
        in_comment &= !line.ends_with("*/");
    }
    out
}

/// A style as it is sent: also without the spaces that separate nothing. The one before a colon can separate two selectors.
pub(super) fn lean_style(text: &str) -> String {
    let pairs = [
        (" {", "{"),
        ("{ ", "{"),
        (" }", "}"),
        ("; ", ";"),
        (", ", ","),
        (": ", ":"),
        (" > ", ">"),
        (";\n", ";"),
        ("{\n", "{"),
        ("}\n", "}"),
        (";}", "}"),
    ];
    pairs.iter().fold(lean(text), |style, (from, to)| style.replace(from, to))
}

/// The SHA-256 of a script in base64, as the content security policy takes it.
pub(in crate::output) fn hash(script: &str) -> String {
    base64(&Sha256::digest(script.as_bytes()))
}

/// Base64 with padding (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let byte = |at: usize| u32::from(chunk.get(at).copied().unwrap_or(0));
        let all = byte(0) << 16 | byte(1) << 8 | byte(2);
        for place in 0..4 {
            let digit = (all >> (18 - 6 * place) & 63) as usize;
            out.push(if place <= chunk.len() { char::from(DIGITS[digit]) } else { '=' });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10.
    #[test]
    fn base64_of_the_standard() {
        let all = ["", "f", "fo", "foo", "foob", "fooba", "foobar"].map(|text| base64(text.as_bytes()));
        assert_eq!(all, ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"]);
    }

    #[test]
    fn comments_of_the_sources_are_not_sent() {
        let source = "/* About\n   it. */\na {\n  b: c; /* d */\n}\n\n  // why\nlet e = \"// f\"; // g\n";
        assert_eq!(lean(source), "a {\nb: c; /* d */\n}\nlet e = \"// f\"; // g\n");
    }

    #[test]
    fn spaces_that_separate_nothing_are_not_sent() {
        let style = "a :is(b, i) > c { d: e f; g: h; }\nj::after {\n  content: \" / \";\n}\n";
        assert_eq!(lean_style(style), "a :is(b,i)>c{d:e f;g:h}j::after{content:\" / \"}");
    }

    #[test]
    fn nothing_in_the_script_ends_it() {
        let script = super::super::SCRIPT.to_lowercase();
        assert!(!script.contains("</script") && !script.contains("<!--"));
    }
}
