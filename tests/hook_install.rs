//! `hook install` and `hook remove`: the hook stops broken commits, and other hooks are not changed.

#![cfg(unix)]

use std::path::Path;

use crate::git_hooks::{parts, write_hook};
use crate::support::{Answer, Sandbox};

/// Runs `git commit`, which may fail.
fn try_commit(sandbox: &Sandbox, folder: &Path, message: &str) -> Answer {
    let output = sandbox.command("git", folder).args(["commit", "-qm", message]).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Answer { code: output.status.code().unwrap(), out: text(&output.stdout), err: text(&output.stderr) }
}

/// A part in an unknown system: an error at any stage.
const BROKEN: &str = "parts:\n  bracket: {in: nowhere, serves: {circle-time: It holds the sensor.}}\n";

/// A repository with a clean project root and a first commit from before any hook.
fn repository_with(root: &str) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root(root);
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "first"]);
    sandbox
}

/// Fails unless the hook stops a broken commit with the place of the finding, and accepts a clean one.
#[track_caller]
fn assert_hook_works(sandbox: &Sandbox, folder: &Path, prefix: &str) {
    let file = format!("{prefix}bracket.yaml");
    let before = sandbox.git_in(folder, &["rev-parse", "HEAD"]);
    std::fs::write(folder.join(&file), BROKEN).unwrap();
    sandbox.git_in(folder, &["add", "."]);
    let stopped = try_commit(sandbox, folder, "broken");
    assert_eq!(stopped.code, 1, "{}{}", stopped.out, stopped.err);
    let said = stopped.out + &stopped.err;
    assert!(said.contains(&format!("{file}:2")), "no place is named:\n{said}");
    assert_eq!(sandbox.git_in(folder, &["rev-parse", "HEAD"]), before, "the commit was made all the same");
    // Fixed in the working tree, but not staged: still stopped.
    std::fs::write(folder.join(&file), parts(&["bracket"])).unwrap();
    assert_eq!(try_commit(sandbox, folder, "fixed but not staged").code, 1);
    sandbox.git_in(folder, &["add", "."]);
    let made = try_commit(sandbox, folder, "fixed");
    assert_eq!(made.code, 0, "{}{}", made.out, made.err);
}

#[test]
fn an_installed_hook_stops_broken_commits() {
    for prefix in ["", "car/", "Team's \"Fahrwerk\" $HOME `ü`/"] {
        let sandbox = repository_with(prefix);
        let root = format!("./{prefix}");
        let said = sandbox.tierod(&["hook", "install", &root]).ended(0);
        assert!(said.out.contains(".git/hooks/pre-commit"), "{}", said.out);
        let again = sandbox.tierod(&["hook", "install", &root]).ended(0);
        assert!(again.out.contains("already installed"), "{}", again.out);
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        let said = sandbox.tierod(&["hook", "remove", &root]).ended(0);
        assert!(said.out.starts_with("removed "), "{}", said.out);
        assert!(!sandbox.path_of(".git/hooks/pre-commit").exists());
        let said = sandbox.tierod(&["hook", "remove", &root]).ended(0);
        assert!(said.out.contains("nothing to remove"), "{}", said.out);
    }
}

/// `core.hooksPath`: a relative path starts at the top of the working tree.
#[test]
fn a_custom_hooks_folder() {
    for (absolute, prefix) in [(false, ""), (false, "car/"), (true, ""), (true, "car/")] {
        let sandbox = repository_with(prefix);
        let outside = sandbox.outside().join("our hooks");
        let value = if absolute { outside.to_str().unwrap() } else { ".our hooks" };
        sandbox.git(&["config", "core.hooksPath", value]);
        // From a subfolder, where git would resolve a relative path from the wrong folder.
        sandbox.tierod_in(&sandbox.path_of(prefix), &["hook", "install"]).ended(0);
        let folder = if absolute { outside.clone() } else { sandbox.path_of(".our hooks") };
        assert!(folder.join("pre-commit").is_file(), "hooksPath = {value}");
        assert!(!sandbox.path_of(".git/hooks/pre-commit").exists());
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        sandbox.tierod_in(&sandbox.path_of(prefix), &["hook", "remove"]).ended(0);
        assert!(!folder.join("pre-commit").exists());
    }
}

#[test]
fn a_hook_installed_from_a_linked_worktree() {
    for prefix in ["", "car/"] {
        let sandbox = repository_with(prefix);
        let linked = sandbox.outside().join("linked");
        sandbox.git(&["worktree", "add", "-q", linked.to_str().unwrap()]);
        sandbox.tierod_in(&linked.join(prefix), &["hook", "install"]).ended(0);
        assert!(sandbox.path_of(".git/hooks/pre-commit").is_file(), "hooks are shared by all working trees");
        assert_hook_works(&sandbox, &linked, prefix);
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        let again = sandbox.tierod_in(&sandbox.path_of(prefix), &["hook", "install"]).ended(0);
        assert!(again.out.contains("already installed"), "{}", again.out);
    }
}

/// The command in a fix: the text after its last colon.
fn named_command(answer: &Answer) -> &str {
    let cure = answer.err.lines().find(|line| line.contains("  fix  ")).unwrap();
    &cure[cure.find(": ").unwrap() + 2..]
}

/// An existing hook of the team is not changed, and the line that the message shows works in it.
#[test]
fn an_existing_hook_is_not_changed() {
    for prefix in ["", "it's ours/"] {
        let sandbox = repository_with(prefix);
        let hook = sandbox.path_of(".git/hooks/pre-commit");
        let foreign = "#!/bin/sh\n# ours \u{fc}\necho formatted\n";
        write_hook(&hook, foreign);
        let refused = sandbox.tierod_in(&sandbox.path_of(prefix), &["hook", "install"]).ended(2);
        assert!(refused.err.contains("was not changed"), "{}", refused.err);
        sandbox.tierod_in(&sandbox.path_of(prefix), &["hook", "remove"]).ended(2);
        assert_eq!(std::fs::read_to_string(&hook).unwrap(), foreign);
        write_hook(&hook, &foreign.replace("\n#", &format!("\n{}\n#", named_command(&refused))));
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        // The line does not stop a branch without the project root.
        sandbox.git(&["checkout", "-q", "--orphan", "pages"]);
        sandbox.git(&["rm", "-rqf", "."]);
        sandbox.write("index.html", "<p>");
        sandbox.git(&["add", "."]);
        let made = try_commit(&sandbox, &sandbox.path(), "pages");
        assert_eq!((made.code, made.err.trim()), (0, "formatted"), "{}", made.out);
    }
}

/// Two project roots in one repository: the second install shows the line to add, and the line works.
#[test]
fn a_second_project_root() {
    let sandbox = repository_with("one/");
    sandbox.small_root("two/");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "two"]);
    sandbox.tierod(&["hook", "install", "one"]).ended(0);
    let refused = sandbox.tierod(&["hook", "install", "two"]).ended(2);
    assert!(refused.err.contains("for another project root"), "{}", refused.err);
    let hook = sandbox.path_of(".git/hooks/pre-commit");
    let own = std::fs::read_to_string(&hook).unwrap();
    write_hook(&hook, &own.replacen('\n', &format!("\n{}\n", named_command(&refused)), 1));
    assert_hook_works(&sandbox, &sandbox.path(), "one/");
    assert_hook_works(&sandbox, &sandbox.path(), "two/");
    let changed = std::fs::read(&hook).unwrap();
    let said = sandbox.tierod(&["hook", "remove", "one"]).ended(2);
    assert!(said.err.contains("was edited after tierod wrote it"), "{}", said.err);
    assert_eq!(std::fs::read(&hook).unwrap(), changed, "a changed hook is not removed");
}

/// A link in the place of the hook, even a dangling one, is not changed.
#[test]
fn a_link_in_the_place_of_the_hook_is_not_changed() {
    let sandbox = repository_with("");
    let hook = sandbox.path_of(".git/hooks/pre-commit");
    std::fs::create_dir_all(hook.parent().unwrap()).unwrap();
    std::os::unix::fs::symlink("../../not-there", &hook).unwrap();
    sandbox.tierod(&["hook", "install"]).ended(2);
    assert_eq!(std::fs::read_link(&hook).unwrap(), Path::new("../../not-there"));
    assert!(!sandbox.path_of("not-there").exists());
}

#[test]
fn a_branch_without_the_project_root_is_not_stopped() {
    for prefix in ["", "car/"] {
        let sandbox = repository_with(prefix);
        sandbox.tierod(&["hook", "install", &format!("./{prefix}")]).ended(0);
        sandbox.git(&["checkout", "-q", "--orphan", "pages"]);
        sandbox.git(&["rm", "-rqf", "."]);
        sandbox.write("index.html", "<p>");
        sandbox.git(&["add", "."]);
        let made = try_commit(&sandbox, &sandbox.path(), "pages");
        assert_eq!(made.code, 0, "{}{}", made.out, made.err);
        // A commit that removes the project root is not stopped either.
        sandbox.git(&["checkout", "-q", "main"]);
        sandbox.git(&["rm", "-rqf", "."]);
        sandbox.write("README", "moved\n");
        sandbox.git(&["add", "."]);
        let made = try_commit(&sandbox, &sandbox.path(), "taken out");
        assert_eq!(made.code, 0, "{}{}", made.out, made.err);
    }
}

#[test]
fn where_no_hook_can_be() {
    // No repository.
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let said = sandbox.tierod(&["hook", "install"]).ended(2);
    assert!(said.err.contains("git init"), "{}", said.err);
    sandbox.git(&["init", "-q"]);
    sandbox.tierod(&["hook", "install"]).ended(0);
    // Hooks that are switched off.
    let sandbox = repository_with("");
    sandbox.git(&["config", "core.hooksPath", "/dev/null"]);
    let said = sandbox.tierod(&["hook", "install"]).ended(2);
    assert!(said.err.contains("core.hooksPath"), "{}", said.err);
    // No project root.
    let sandbox = Sandbox::repository();
    let said = sandbox.tierod(&["hook", "install"]).ended(2);
    assert!(said.err.contains("tierod init"), "{}", said.err);
}
