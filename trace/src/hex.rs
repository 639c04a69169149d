//! Bytes as hexadecimal digits.

/// Two digits for each byte.
pub(crate) fn hex(bytes: &[u8]) -> String {
    // Of thousands of ids: no text for each byte.
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let digits = bytes.iter().flat_map(|byte| [byte >> 4, byte & 15]);
    digits.map(|digit| char::from(DIGITS[usize::from(digit)])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_byte_has_two_digits() {
        assert_eq!(hex(&[0, 0x0a, 0xf0, 0xff]), "000af0ff");
        assert_eq!(hex(&[]), "");
    }
}
