//! The secret of the user with which cache files are signed.
//!
//! A cache is in git's folder, which may have been copied from a stranger. So its checksums have a key that is kept outside of
//! all repositories: in the user's own folder for the state of programs, readable by the user only. Without a place for it
//! there is no cache.

use std::fs;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use sha2::{Digest as _, Sha256};

use super::beside::Beside;
use super::regular;

/// The number of bytes of the secret.
const LENGTH: usize = 32;
/// The name of the file.
const NAME: &str = "key";

/// A key for checksums: HMAC (RFC 2104) with SHA-256, after the block of each of both hashes.
#[derive(Clone)]
pub(super) struct Key {
    inner: Sha256,
    outer: Sha256,
}

impl Key {
    /// The key of the user, made when it is first needed; `None` if none can be kept.
    pub(super) fn of_user() -> Option<&'static Self> {
        static KEY: OnceLock<Option<Key>> = OnceLock::new();
        KEY.get_or_init(|| {
            if cfg!(test) {
                return Some(Key::new(&[7; LENGTH]));
            }
            Some(Key::new(&secret(&folder(|name| std::env::var_os(name).map(PathBuf::from))?)?))
        })
        .as_ref()
    }

    /// A key for tests.
    #[cfg(test)]
    pub(super) fn of_test(number: u8) -> Self {
        Self::new(&[number; LENGTH])
    }

    fn new(secret: &[u8; LENGTH]) -> Self {
        const BLOCK: usize = 64;
        let after = |pad: u8| {
            let mut block = [pad; BLOCK];
            block.iter_mut().zip(secret).for_each(|(byte, own)| *byte ^= own);
            Sha256::new_with_prefix(block)
        };
        Self { inner: after(0x36), outer: after(0x5c) }
    }

    /// The checksum of parts, one after the other.
    pub(super) fn checksum(&self, parts: &[&[u8]]) -> [u8; 32] {
        let mut inner = self.inner.clone();
        parts.iter().for_each(|part| inner.update(part));
        self.outer.clone().chain_update(inner.finalize()).finalize().into()
    }
}

/// The folder for the state of this program, by the variables of the environment; a relative path counts as not set.
fn folder(variable: impl Fn(&str) -> Option<PathBuf>) -> Option<PathBuf> {
    let of = |name: &str| variable(name).filter(|path| path.is_absolute());
    let home = || {
        if cfg!(windows) {
            return of("LOCALAPPDATA");
        }
        let below = if cfg!(target_os = "macos") { "Library/Application Support" } else { ".local/state" };
        Some(of("HOME")?.join(below))
    };
    Some(of("XDG_STATE_HOME").or_else(home)?.join("tierod"))
}

/// The secret in a folder; made if it is missing or not only the user's own.
fn secret(folder: &Path) -> Option<[u8; LENGTH]> {
    let path = folder.join(NAME);
    if is_plain_folder(folder)
        && let Some(known) = read(&path)
    {
        return Some(known);
    }
    // Nothing is made in the folder of somebody else, as with `sudo`.
    let there = folder.ancestors().find_map(|up| fs::metadata(up).ok())?;
    if !is_own(&there) {
        return None;
    }
    create(folder, &path).ok()?;
    // Another process may have been first.
    read(&path)
}

fn read(path: &Path) -> Option<[u8; LENGTH]> {
    let (mut file, size) = regular::open_up_to(path, LENGTH as u64).ok()?;
    if size != LENGTH as u64 || !is_private(&file.metadata().ok()?) {
        return None;
    }
    let mut secret = [0; LENGTH];
    file.read_exact(&mut secret).ok()?;
    Some(secret)
}

/// Writes a new secret beside the file, and renames it.
fn create(folder: &Path, path: &Path) -> io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.recursive(true).create(folder)?;
    if !is_plain_folder(folder) {
        return Err(io::ErrorKind::NotADirectory.into());
    }
    let mut secret = [0; LENGTH];
    getrandom::fill(&mut secret).map_err(|_| io::Error::other("no random numbers"))?;
    let name = format!("{NAME}.{}.new", std::process::id());
    let beside = Beside::create_private(path, name)?.fill_without_sync(&secret)?;
    match beside.add() {
        // Another process may have made one meanwhile.
        Err(_) if read(path).is_none() => beside.replace(),
        _ => Ok(()),
    }
}

fn is_plain_folder(folder: &Path) -> bool {
    fs::symlink_metadata(folder).is_ok_and(|found| found.is_dir() && is_own(&found))
}

/// Whether a file or a folder belongs to the user of this process.
fn is_own(found: &fs::Metadata) -> bool {
    #[cfg(unix)]
    {
        std::os::unix::fs::MetadataExt::uid(found) == rustix::process::geteuid().as_raw()
    }
    #[cfg(not(unix))]
    {
        let _ = found;
        true
    }
}

/// Whether only the user can read and write it.
fn is_private(found: &fs::Metadata) -> bool {
    #[cfg(unix)]
    {
        is_own(found) && std::os::unix::fs::MetadataExt::mode(found) & 0o077 == 0
    }
    #[cfg(not(unix))]
    {
        is_own(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hex::hex;

    /// RFC 4231, test cases 1 and 2.
    #[test]
    fn checksums_are_those_of_the_standard() {
        let key = |bytes: &[u8]| {
            let mut secret = [0; LENGTH];
            secret[..bytes.len()].copy_from_slice(bytes);
            Key::new(&secret)
        };
        assert_eq!(
            hex(&key(&[0x0b; 20]).checksum(&[b"Hi ", b"There"])),
            "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"
        );
        assert_eq!(
            hex(&key(b"Jefe").checksum(&[b"what do ya want for nothing?"])),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }

    #[test]
    fn the_folder_follows_from_the_environment() {
        let at = |set: &[(&str, &str)]| {
            folder(|name| set.iter().find(|(key, _)| *key == name).map(|(_, value)| PathBuf::from(value)))
        };
        let path = |text: &str| Some(PathBuf::from(text));
        assert_eq!(at(&[]), None);
        assert_eq!(at(&[("HOME", ""), ("XDG_STATE_HOME", "state")]), None);
        assert_eq!(at(&[("HOME", "/h"), ("XDG_STATE_HOME", "/s")]), path("/s/tierod"));
        if cfg!(target_os = "linux") {
            assert_eq!(at(&[("HOME", "/h"), ("XDG_STATE_HOME", "state")]), path("/h/.local/state/tierod"));
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_secret_is_made_once_and_is_private() {
        use std::os::unix::fs::{PermissionsExt as _, symlink};
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("a/tierod");
        let path = folder.join(NAME);
        let first = secret(&folder).unwrap();
        assert_ne!(first, [0; LENGTH]);
        assert_eq!(secret(&folder), Some(first));
        assert_eq!(path.metadata().unwrap().permissions().mode() & 0o777, 0o600);
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1, "nothing else is left");
        // One that others can read, a link, and one of another length are replaced.
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        let second = secret(&folder).unwrap();
        assert_ne!(second, first);
        let other = home.path().join("other");
        fs::write(&other, [1; LENGTH]).unwrap();
        fs::remove_file(&path).unwrap();
        symlink(&other, &path).unwrap();
        let third = secret(&folder).unwrap();
        assert!(third != second && third != [1; LENGTH]);
        assert_eq!(fs::read(&other).unwrap(), [1; LENGTH]);
        fs::write(&path, [1; 10]).unwrap();
        assert_ne!(secret(&folder), Some(third));
        // A folder behind a link, and one that cannot be made.
        symlink(&folder, home.path().join("link")).unwrap();
        assert_eq!(secret(&home.path().join("link")), None);
        assert_eq!(secret(&other.join("tierod")), None);
    }
}
