//! `hook install` and `hook remove`: the hook stops broken commits, and other hooks are not changed.

#![cfg(unix)]

use std::path::Path;

use crate::git_hooks::{parts, write_hook};
use crate::support::{Answer, Sandbox, copy_program};

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
        assert!(!sandbox.path_of(".git/hooks/pre-merge-commit").exists());
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
        let hook = |action: &str| {
            let outside: &[&str] = if absolute { &["--outside"] } else { &[] };
            sandbox.tierod_in(&sandbox.path_of(prefix), &[&["hook", action], outside].concat()).ended(0);
        };
        hook("install");
        let folder = if absolute { outside.clone() } else { sandbox.path_of(".our hooks") };
        assert!(folder.join("pre-commit").is_file(), "hooksPath = {value}");
        assert!(!sandbox.path_of(".git/hooks/pre-commit").exists());
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        hook("remove");
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
    let fix = answer.err.lines().find(|line| line.contains("  fix  ")).unwrap();
    &fix[fix.find(": ").unwrap() + 2..]
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

/// Two project roots in one repository share the hooks.
#[test]
fn a_second_project_root() {
    let sandbox = repository_with("one/");
    sandbox.small_root("two/");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "two"]);
    sandbox.tierod(&["hook", "install", "one"]).ended(0);
    let both = sandbox.tierod(&["hook", "install", "two"]).ended(0);
    let hook = sandbox.path_of(".git/hooks/pre-merge-commit");
    assert!(both.out.contains("renewed ") && both.out.contains(&hook.display().to_string()), "{}", both.out);
    let again = sandbox.tierod(&["hook", "install", "one"]).ended(0);
    assert_eq!(again.out.matches("already installed").count(), 2, "{}", again.out);
    assert_hook_works(&sandbox, &sandbox.path(), "one/");
    assert_hook_works(&sandbox, &sandbox.path(), "two/");
    // Findings of both are in one answer.
    for prefix in ["one/", "two/"] {
        sandbox.write(&format!("{prefix}wing.yaml"), BROKEN.replace("bracket", "wing"));
    }
    sandbox.git(&["add", "."]);
    let stopped = try_commit(&sandbox, &sandbox.path(), "both broken");
    let said = stopped.out + &stopped.err;
    assert!(stopped.code == 1 && said.contains("one/wing.yaml") && said.contains("two/wing.yaml"), "{said}");
    sandbox.git(&["rm", "-qf", "one/wing.yaml", "two/wing.yaml"]);
    // Each is removed alone, and the last one with the hooks.
    let said = sandbox.tierod(&["hook", "remove", "one"]).ended(0).out;
    assert!(said.contains("which still checks two"), "{said}");
    for (prefix, code) in [("two/", 1), ("one/", 0)] {
        sandbox.write(&format!("{prefix}wing.yaml"), BROKEN.replace("bracket", "wing"));
        sandbox.git(&["add", "."]);
        assert_eq!(try_commit(&sandbox, &sandbox.path(), prefix).code, code, "{prefix}");
        sandbox.git(&["rm", "-qf", &format!("{prefix}wing.yaml")]);
    }
    sandbox.tierod(&["hook", "remove", "two"]).ended(0);
    assert!(!sandbox.path_of(".git/hooks/pre-commit").exists());
    assert!(!sandbox.path_of(".git/hooks/pre-merge-commit").exists());
}

/// A hook that was edited is not changed: the message shows the line for another project root.
#[test]
fn a_hook_that_was_edited_is_not_changed() {
    let sandbox = repository_with("one/");
    sandbox.small_root("two/");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "two"]);
    sandbox.tierod(&["hook", "install", "one"]).ended(0);
    let hook = sandbox.path_of(".git/hooks/pre-commit");
    let own = std::fs::read_to_string(&hook).unwrap();
    write_hook(&hook, &own.replacen("status=0\n", "status=0\necho formatted\n", 1));
    let refused = sandbox.tierod(&["hook", "install", "two"]).ended(2);
    assert!(refused.err.contains("was edited after tierod wrote it"), "{}", refused.err);
    let edited = std::fs::read_to_string(&hook).unwrap();
    write_hook(&hook, &edited.replacen('\n', &format!("\n{}\n", named_command(&refused)), 1));
    let said = sandbox.tierod(&["hook", "install", "two"]).ended(0).out;
    assert!(said.contains("it runs the check already") && said.contains("renewed "), "{said}");
    assert_hook_works(&sandbox, &sandbox.path(), "one/");
    assert_hook_works(&sandbox, &sandbox.path(), "two/");
    let changed = std::fs::read(&hook).unwrap();
    let said = sandbox.tierod(&["hook", "remove", "one"]).ended(2);
    assert!(said.err.contains("was edited after tierod wrote it"), "{}", said.err);
    assert_eq!(std::fs::read(&hook).unwrap(), changed, "a changed hook is not removed");
}

/// Runs a program at another path, without tierod on the PATH.
fn run_copy(sandbox: &Sandbox, copy: &Path, args: &[&str]) -> Answer {
    // Another test that starts a process at the same moment can still have the copy open for writing.
    for _ in 0..200 {
        match sandbox.command(copy, &sandbox.path()).args(args).output() {
            Err(error) if error.kind() == std::io::ErrorKind::ExecutableFileBusy => {
                std::thread::sleep(std::time::Duration::from_millis(20));
            }
            output => return Answer::from_output(&output.unwrap()),
        }
    }
    panic!("the copy stays open for writing");
}

/// The program moved: `hook install` renews the hooks in place, and until then the commit names what is missing.
#[test]
fn hooks_are_renewed_in_place() {
    for prefix in ["", "car/"] {
        let sandbox = repository_with(prefix);
        let root = format!("./{prefix}");
        let copy = sandbox.outside().join("old place/tierod");
        std::fs::create_dir(copy.parent().unwrap()).unwrap();
        copy_program(&copy);
        run_copy(&sandbox, &copy, &["hook", "install", &root]).ended(0);
        std::fs::remove_file(&copy).unwrap();
        sandbox.write(&format!("{prefix}new.yaml"), parts(&["new"]));
        sandbox.git(&["add", "."]);
        let stopped = try_commit(&sandbox, &sandbox.path(), "new");
        assert_eq!(stopped.code, 1);
        let said = format!("tierod is neither on the PATH nor at {}", copy.display());
        assert!(stopped.err.contains(&said), "{}", stopped.err);
        let renewed = sandbox.tierod(&["hook", "install", &root]).ended(0).out;
        assert_eq!(renewed.matches("renewed ").count(), 2, "{renewed}");
        assert_hook_works(&sandbox, &sandbox.path(), prefix);
        // Git ignores a hook that cannot be executed.
        let hook = sandbox.path_of(".git/hooks/pre-merge-commit");
        std::fs::set_permissions(&hook, std::os::unix::fs::PermissionsExt::from_mode(0o644)).unwrap();
        let renewed = sandbox.tierod(&["hook", "install", &root]).ended(0).out;
        assert_eq!((renewed.matches("renewed ").count(), renewed.matches("already installed").count()), (1, 1));
        assert!(sandbox.tierod(&["hook", "install", &root]).ended(0).out.matches("already installed").count() == 2);
    }
}

/// A hook as the first version wrote it is renewed, with the line that it showed for a second project root.
#[test]
fn a_hook_of_the_first_form_is_renewed() {
    let sandbox = repository_with("one/");
    sandbox.small_root("it's two/");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-qm", "two"]);
    write_hook(
        &sandbox.path_of(".git/hooks/pre-commit"),
        "#!/bin/sh\n! git cat-file -e ':0:it'\\''s two/tierod.yaml' 2>/dev/null || '/gone/tierod' check --staged -- \
         'it'\\''s two' || exit 1\n# Written by `tierod hook install`; `tierod hook remove` takes it away.\n\
         git cat-file -e ':0:one/tierod.yaml' 2>/dev/null || exit 0\nexec '/gone/tierod' check --staged -- 'one'\n",
    );
    let said = sandbox.tierod(&["hook", "install", "one"]).ended(0).out;
    assert!(said.contains("renewed ") && said.contains("wrote "), "{said}");
    assert_hook_works(&sandbox, &sandbox.path(), "one/");
    assert_hook_works(&sandbox, &sandbox.path(), "it's two/");
}

/// The program on the PATH takes precedence over the recorded one.
#[test]
fn a_hook_finds_the_program_on_the_path_first() {
    let sandbox = repository_with("");
    sandbox.tierod(&["hook", "install"]).ended(0);
    let bin = sandbox.outside().join("bin");
    write_hook(&bin.join("tierod"), "#!/bin/sh\necho \"of the path: $*\"\n");
    sandbox.write("new.yaml", BROKEN);
    sandbox.git(&["add", "."]);
    let mut command = sandbox.command("git", &sandbox.path());
    command.env("PATH", format!("{}:{}", bin.display(), std::env::var("PATH").unwrap()));
    let made = Answer::from_output(&command.args(["commit", "-qm", "new"]).output().unwrap()).ended(0);
    assert!(made.err.contains("of the path: check --staged -- ."), "{}", made.err);
}

/// A folder of hooks that others use, or that is committed, is installed into with a warning.
#[test]
fn a_warning_about_hooks_of_others() {
    let sandbox = repository_with("");
    let said = sandbox.tierod(&["hook", "install"]).ended(0).out;
    assert!(!said.contains("warning"), "{said}");
    let shared = sandbox.outside().join("hooks of all");
    sandbox.git(&["config", "core.hooksPath", shared.to_str().unwrap()]);
    // A stranger may have written that: it could be any folder of this machine.
    let error = sandbox.tierod(&["hook", "install"]).ended(2).err;
    assert!(error.contains("the hooks of this repository are outside of it") && !shared.exists(), "{error}");
    let said = sandbox.tierod(&["hook", "install", "--outside"]).ended(0).out;
    assert!(said.contains("warning: ") && said.contains("every repository that uses it runs these hooks"), "{said}");
    // Another repository with these hooks is not stopped.
    let other = sandbox.outside().join("other");
    sandbox.git_in(sandbox.outside(), &["init", "-q", other.to_str().unwrap()]);
    sandbox.git_in(&other, &["config", "core.hooksPath", shared.to_str().unwrap()]);
    sandbox.git_in(&other, &["commit", "-q", "--allow-empty", "-m", "other"]);
    // In the working tree: a warning unless git ignores it, even before it is tracked.
    sandbox.git(&["config", "core.hooksPath", ".hooks"]);
    for ignored in [true, false] {
        sandbox.write(".gitignore", if ignored { "/.hooks/\n" } else { "" });
        let said = sandbox.tierod(&["hook", "install"]).ended(0).out;
        assert_eq!(said.contains("the hooks are committed"), !ignored, "{said}");
        assert!(!said.contains("every repository"), "{said}");
    }
    // From a linked working tree, the folder in the repository is not unusual.
    sandbox.git(&["config", "--unset", "core.hooksPath"]);
    let linked = sandbox.outside().join("linked");
    sandbox.git(&["worktree", "add", "-q", linked.to_str().unwrap()]);
    let said = sandbox.tierod_in(&linked, &["hook", "install"]).ended(0).out;
    assert!(!said.contains("warning"), "{said}");
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
