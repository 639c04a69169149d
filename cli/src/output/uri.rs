//! Paths as parts of addresses.

use std::fmt::Write as _;

/// A path as a relative reference of RFC 3986: all characters except unreserved ones and `/` are percent-encoded, so
/// that a first step with a colon is not read as a scheme.
pub(super) fn uri(path: &str) -> String {
    let mut out = String::with_capacity(path.len());
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}
