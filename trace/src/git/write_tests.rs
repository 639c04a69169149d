//! Writing files: whole or not at all, and nothing but what was read.

use std::os::unix::fs::{MetadataExt, PermissionsExt, symlink};

use super::*;

fn new(path: &str, before: Option<&str>, after: &str) -> NewFile {
    let bytes = |text: &str| -> Arc<[u8]> { text.as_bytes().into() };
    NewFile { path: path.to_owned(), before: before.map(bytes), after: bytes(after) }
}

/// All files below a folder, with their text.
fn files(root: &Path) -> Vec<(String, String)> {
    let entries = walkdir::WalkDir::new(root).sort_by_file_name().into_iter().map(Result::unwrap);
    let files = entries.filter(|entry| entry.file_type().is_file());
    let name = |path: &Path| path.strip_prefix(root).unwrap().to_str().unwrap().to_owned();
    files.map(|entry| (name(entry.path()), fs::read_to_string(entry.path()).unwrap())).collect()
}

fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a.yaml"), "a\r\n").unwrap();
    fs::create_dir(folder.path().join("sub")).unwrap();
    fs::write(folder.path().join("sub/b.yaml"), "b").unwrap();
    folder
}

#[track_caller]
fn assert_refused(root: &Path, all: &[NewFile], cause: &str) {
    let before = files(root);
    let error = write(root, all).unwrap_err();
    assert!(error.to_string().contains(cause), "{error}");
    assert_eq!(files(root), before, "nothing is changed, and nothing is left");
}

#[test]
fn several_files_are_written_with_their_permissions() {
    let folder = folder();
    let root = folder.path();
    fs::set_permissions(root.join("a.yaml"), fs::Permissions::from_mode(0o640)).unwrap();
    let all = [new("a.yaml", Some("a\r\n"), "A\r\n"), new("sub/b.yaml", Some("b"), "B"), new("x/y/c.yaml", None, "c")];
    write(root, &all).unwrap();
    let text = |path: &str, text: &str| (path.to_owned(), text.to_owned());
    assert_eq!(files(root), [text("a.yaml", "A\r\n"), text("sub/b.yaml", "B"), text("x/y/c.yaml", "c")]);
    let found = root.join("a.yaml").metadata().unwrap();
    assert_eq!((found.mode() & 0o777, found.nlink()), (0o640, 1));
    assert_eq!(root.join("x/y/c.yaml").metadata().unwrap().nlink(), 1);
}

#[test]
fn what_is_not_what_was_read_is_not_written() {
    let folder = folder();
    let root = folder.path();
    let good = || new("a.yaml", Some("a\r\n"), "A");
    assert_refused(root, &[good(), new("sub/b.yaml", Some("other"), "B")], "changed meanwhile");
    assert_refused(root, &[good(), new("sub/b.yaml", None, "B")], "changed meanwhile");
    assert_refused(root, &[new("new/c.yaml", None, "c"), new("gone.yaml", Some("x"), "B")], "changed meanwhile");
    assert!(!root.join("new").exists());
    assert_refused(root, &[good(), new("../out.yaml", None, "B")], "not a path in the project");
    assert_refused(root, &[good(), new("sub", None, "B")], "not a regular file");

    symlink("a.yaml", root.join("link.yaml")).unwrap();
    assert_refused(root, &[new("link.yaml", Some("a\r\n"), "B")], "it is a link");
    symlink("sub", root.join("linked")).unwrap();
    assert_refused(root, &[new("linked/b.yaml", Some("b"), "B")], "a link is on its path");
    assert_refused(root, &[new("linked/new.yaml", None, "B")], "a link is on its path");

    fs::hard_link(root.join("a.yaml"), root.join("sub/same.yaml")).unwrap();
    assert_refused(root, &[good()], "hard links");
    fs::remove_file(root.join("sub/same.yaml")).unwrap();
    fs::set_permissions(root.join("a.yaml"), fs::Permissions::from_mode(0o444)).unwrap();
    assert_refused(root, &[new("sub/b.yaml", Some("b"), "B"), good()], "read-only");
}

/// A file that changes after all are written beside, while others are renamed already.
#[test]
fn files_that_were_renamed_are_restored() {
    let folder = folder();
    let root = folder.path();
    let (a, b) = (new("a.yaml", Some("a\r\n"), "A"), new("sub/b.yaml", Some("b"), "B"));
    let all = [&a, &b].map(|file| prepare(root, file, &mut Vec::new()).unwrap());
    all[0].put_in_place().unwrap();
    fs::write(root.join("sub/b.yaml"), "by someone else").unwrap();
    assert!(all[1].put_in_place().unwrap_err().to_string().contains("changed meanwhile"));
    all[0].restore().unwrap();
    discard(all.into(), &[]);
    let text = |path: &str, text: &str| (path.to_owned(), text.to_owned());
    assert_eq!(files(root), [text("a.yaml", "a\r\n"), text("sub/b.yaml", "by someone else")]);

    // What someone else changes after the rename is not restored over it.
    let again = prepare(root, &a, &mut Vec::new()).unwrap();
    again.put_in_place().unwrap();
    fs::write(root.join("a.yaml"), "newer").unwrap();
    assert_eq!(again.restore(), Err("a.yaml"));
    assert_eq!(fs::read_to_string(root.join("a.yaml")).unwrap(), "newer");
}

/// A new file does not replace one that someone else has made since.
#[test]
fn a_new_file_replaces_nothing() {
    let folder = folder();
    let root = folder.path();
    let file = new("c.yaml", None, "c");
    let prepared = prepare(root, &file, &mut Vec::new()).unwrap();
    fs::write(root.join("c.yaml"), "theirs").unwrap();
    assert!(prepared.put_in_place().is_err());
    assert_eq!(fs::read_to_string(root.join("c.yaml")).unwrap(), "theirs");
}

#[test]
fn what_a_run_left_long_ago_is_removed() {
    let folder = folder();
    let root = folder.path();
    let names =
        [".a.yaml.0123456789abcdef.tierod-new", ".a.yaml.0123456789abcdee.tierod-new", ".a.yaml.mine.tierod-new"];
    let old = SystemTime::now() - 2 * ABANDONED;
    for (name, age) in names.into_iter().zip([Some(old), None, Some(old)]) {
        let file = File::create(root.join(name)).unwrap();
        if let Some(age) = age {
            file.set_modified(age).unwrap();
        }
    }
    write(root, &[new("a.yaml", Some("a\r\n"), "A")]).unwrap();
    assert_eq!(names.map(|name| root.join(name).exists()), [false, true, true]);
}
