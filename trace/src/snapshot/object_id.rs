//! The ids that git gives to contents.

use crate::hex::hex;

/// The object id that git gives these bytes, by the hash function whose ids have this number of digits.
pub(crate) fn blob_id(bytes: &[u8], digits: usize) -> String {
    let head = format!("blob {}\0", bytes.len());
    if digits == 64 {
        digits_of::<sha2::Sha256>(&[head.as_bytes(), bytes])
    } else {
        digits_of::<sha1::Sha1>(&[head.as_bytes(), bytes])
    }
}

fn digits_of<D: sha2::Digest>(parts: &[&[u8]]) -> String {
    let mut hash = D::new();
    parts.iter().for_each(|part| hash.update(part));
    hex(&hash.finalize())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The ids by `git hash-object` of an empty file (both hashes), and of the example in the book Pro Git, chapter 10.2.
    #[test]
    fn objects_are_named_as_git_names_them() {
        assert_eq!(blob_id(b"", 40), "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391");
        assert_eq!(blob_id(b"test content\n", 40), "d670460b4b4aece5915caf5c68d12f560a9fe3e4");
        assert_eq!(blob_id(b"", 64), "473a0f4c3be8a93681a267e3b1e9a7dcda1185436fe141f7749120a303721813");
    }
}
