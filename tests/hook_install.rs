//! `hook install` and `hook remove`: the hook stops what is broken, and nobody else's hook is touched.

#![cfg(unix)]

use std::path::Path;

use crate::git_hooks::{parts, write_hook};
use crate::support::{Answer, Sandbox};

/// Runs `git commit`, whatever comes of it.
fn try_commit(sandbox: &Sandbox, folder: &Path, message: &str) -> Answer {
    let output = sandbox.command("git", folder).args(["commit", "-qm", message]).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    Answer { code: output.status.code().unwrap(), out: text(&output.stdout), err: text(&output.stderr) }
}

/// A part in a system that there is none of: an error at any stage.
const BROKEN: &str = "parts:\n  bracket: {in: nowhere, serves: {circle-time: It holds the sensor.}}\n";

/// A repository with a clean data root, its first commit made before any hook.
fn repository_with(root: &str) -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root(root);
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "first"]);
    sandbox
}

/// The hook stops a broken commit by place and lets a clean one through.
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
    // Mended in the work tree, but not staged: still stopped.
    std::fs::write(folder.join(&file), parts(&["bracket"])).unwrap();
    assert_eq!(try_commit(sandbox, folder, "mended but not staged").code, 1);
    sandbox.git_in(folder, &["add", "."]);
    let made = try_commit(sandbox, folder, "mended");
    assert_eq!(made.code, 0, "{}{}", made.out, made.err);
}

#[test]
fn an_installed_hook_stops_what_is_broken() {
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
        assert!(!sandbox.at(".git/hooks/pre-commit").exists());
        let said = sandbox.tierod(&["hook", "remove", &root]).ended(0);
        assert!(said.out.contains("nothing to remove"), "{}", said.out);
    }
}

/// `core.hooksPath`: a relative one counts from the top of the work tree.
#[test]
fn a_hooks_folder_of_the_teams_own() {
    for (absolute, prefix) in [(false, ""), (false, "car/"), (true, ""), (true, "car/")] {
        let sandbox = repository_with(prefix);
        let outside = sandbox.outside().join("our hooks");
        let value = if absolute { outside.to_str().unwrap() } else { ".our hooks" };
        sandbox.git(&["config", "core.hooksPath", value]);
        // From below the top, where git would count a relative path from a wrong folder.
        sandbox.tierod_in(&sandbox.at(prefix), &["hook", "install"]).ended(0);
        let folder = if absolute { outside.clone() } else { sandbox.at(".our hooks") };
        assert!(folder.join("pre-commit").is_file(), "hooksPath = {value}");
        assert!(!sandbox.at(".git/hooks/pre-commit").exists());
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        sandbox.tierod_in(&sandbox.at(prefix), &["hook", "remove"]).ended(0);
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
        assert!(sandbox.at(".git/hooks/pre-commit").is_file(), "hooks are shared by all work trees");
        assert_hook_works(&sandbox, &linked, prefix);
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        let again = sandbox.tierod_in(&sandbox.at(prefix), &["hook", "install"]).ended(0);
        assert!(again.out.contains("already installed"), "{}", again.out);
    }
}

/// The command that a cure names: what stands behind its last colon.
fn named_command(answer: &Answer) -> &str {
    let cure = answer.err.lines().find(|line| line.contains("  fix  ")).unwrap();
    &cure[cure.find(": ").unwrap() + 2..]
}

/// A hook of the team's own stays byte for byte, and the line that it is told to add does what it says.
#[test]
fn a_foreign_hook_is_left_alone() {
    for prefix in ["", "it's ours/"] {
        let sandbox = repository_with(prefix);
        let hook = sandbox.at(".git/hooks/pre-commit");
        let foreign = "#!/bin/sh\n# ours \u{fc}\necho formatted\n";
        write_hook(&hook, foreign);
        let refused = sandbox.tierod_in(&sandbox.at(prefix), &["hook", "install"]).ended(2);
        assert!(refused.err.contains("was not changed"), "{}", refused.err);
        sandbox.tierod_in(&sandbox.at(prefix), &["hook", "remove"]).ended(2);
        assert_eq!(std::fs::read_to_string(&hook).unwrap(), foreign);
        write_hook(&hook, &foreign.replace("\n#", &format!("\n{}\n#", named_command(&refused))));
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        // Nor does the line stop a branch without the data root.
        sandbox.git(&["checkout", "-q", "--orphan", "pages"]);
        sandbox.git(&["rm", "-rqf", "."]);
        sandbox.write("index.html", "<p>");
        sandbox.git(&["add", "."]);
        let made = try_commit(&sandbox, &sandbox.path(), "pages");
        assert_eq!((made.code, made.err.trim()), (0, "formatted"), "{}", made.out);
    }
}

/// Two data roots in one repository: the second install says which line to add, and the line works.
#[test]
fn a_second_data_root() {
    let sandbox = repository_with("one/");
    sandbox.small_root("two/");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "two"]);
    sandbox.tierod(&["hook", "install", "one"]).ended(0);
    let refused = sandbox.tierod(&["hook", "install", "two"]).ended(2);
    assert!(refused.err.contains("for another project root"), "{}", refused.err);
    let hook = sandbox.at(".git/hooks/pre-commit");
    let own = std::fs::read_to_string(&hook).unwrap();
    write_hook(&hook, &own.replacen('\n', &format!("\n{}\n", named_command(&refused)), 1));
    assert_hook_works(&sandbox, &sandbox.path(), "one/");
    assert_hook_works(&sandbox, &sandbox.path(), "two/");
    let changed = std::fs::read(&hook).unwrap();
    let said = sandbox.tierod(&["hook", "remove", "one"]).ended(2);
    assert!(said.err.contains("was edited after tierod wrote it"), "{}", said.err);
    assert_eq!(std::fs::read(&hook).unwrap(), changed, "a changed hook is not removed");
}

/// A link in the hook's place, even one that leads nowhere, is somebody's own.
#[test]
fn a_link_in_the_hooks_place_is_left_alone() {
    let sandbox = repository_with("");
    let hook = sandbox.at(".git/hooks/pre-commit");
    std::fs::create_dir_all(hook.parent().unwrap()).unwrap();
    std::os::unix::fs::symlink("../../not-there", &hook).unwrap();
    sandbox.tierod(&["hook", "install"]).ended(2);
    assert_eq!(std::fs::read_link(&hook).unwrap(), Path::new("../../not-there"));
    assert!(!sandbox.at("not-there").exists());
}

#[test]
fn a_branch_without_the_data_root_is_not_stopped() {
    for prefix in ["", "car/"] {
        let sandbox = repository_with(prefix);
        sandbox.tierod(&["hook", "install", &format!("./{prefix}")]).ended(0);
        sandbox.git(&["checkout", "-q", "--orphan", "pages"]);
        sandbox.git(&["rm", "-rqf", "."]);
        sandbox.write("index.html", "<p>");
        sandbox.git(&["add", "."]);
        let made = try_commit(&sandbox, &sandbox.path(), "pages");
        assert_eq!(made.code, 0, "{}{}", made.out, made.err);
        // Nor one that takes the data root out.
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
    // Hooks switched off.
    let sandbox = repository_with("");
    sandbox.git(&["config", "core.hooksPath", "/dev/null"]);
    let said = sandbox.tierod(&["hook", "install"]).ended(2);
    assert!(said.err.contains("core.hooksPath"), "{}", said.err);
    // No data root.
    let sandbox = Sandbox::repository();
    let said = sandbox.tierod(&["hook", "install"]).ended(2);
    assert!(said.err.contains("tierod init"), "{}", said.err);
}
