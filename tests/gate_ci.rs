//! The recipes for CI: what they build and where, what they may do, what they renew, and `init --ci`.

#![cfg(unix)]

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::ci_recipes::{recipe, step, stub, yaml};
use crate::git_hooks::{TIEROD, parts, write_hook};
use crate::support::{Answer, SETTINGS, Sandbox};

/// A folder for the PATH, with programs that a test writes.
fn bin(sandbox: &Sandbox) -> PathBuf {
    sandbox.outside().join("bin")
}

/// Runs shell lines as a forge does, with the folder of programs first on the PATH.
fn run(sandbox: &Sandbox, shell: &[&str], lines: &str, variables: &[(&str, &str)]) -> Answer {
    let mut command = sandbox.command(shell[0], &sandbox.path());
    command.args(&shell[1..]).arg(lines);
    command.env("PATH", format!("{}:{}", bin(sandbox).display(), std::env::var("PATH").unwrap()));
    command.env("RUNNER_TEMP", sandbox.outside()).env("GITHUB_STEP_SUMMARY", sandbox.outside().join("step-summary.md"));
    Answer::from_output(&command.envs(variables.iter().copied()).output().unwrap())
}

const WORKFLOW: &[&str] = &["bash", "-e", "-c"];
/// The second forge runs its lines with these options.
const PIPELINE: &[&str] = &["bash", "-e", "-o", "pipefail", "-c"];

/// Some lines of a job of the second forge.
fn lines(job: &str, key: &str) -> String {
    let job = &yaml(&recipe("gitlab-ci.yml"))[job];
    let lines: Vec<&str> = job[key].as_array().unwrap().iter().map(|line| line.as_str().unwrap()).collect();
    lines.join("\n")
}

/// The lines of a step of any job of the workflow.
fn step_of(job: &str, name: &str) -> String {
    let workflow = yaml(&recipe("github-workflow.yml"));
    let steps = workflow["jobs"][job]["steps"].as_array().unwrap();
    let step = steps.iter().find(|step| step["name"] == name).unwrap();
    step["run"].as_str().unwrap().to_owned()
}

fn read(path: PathBuf) -> String {
    std::fs::read_to_string(path).unwrap_or_default()
}

/// A `cargo` that writes down where it was started and with what, and installs a `tierod` that prints its path.
fn cargo(sandbox: &Sandbox) {
    let script = format!(
        "#!/bin/sh\npwd -P >>'{0}/cargo'\necho \"$*\" >>'{0}/cargo'\n\
         while [ $# -gt 0 ]; do case $1 in --root) to=$2/bin ;; --target-dir) to=$2/release ;; esac; shift; done\n\
         mkdir -p \"$to\"\nprintf '#!/bin/sh\\necho \"built: $0 $*\"\\n' >\"$to/tierod\"\nchmod +x \"$to/tierod\"\n",
        sandbox.outside().display()
    );
    write_hook(&bin(sandbox).join("cargo"), &script);
}

/// A change must not decide what is built or run: the checkout has a program where the recipes once looked for one, and
/// files that cargo and rustup read from the folder they are started in.
#[test]
fn nothing_of_the_checkout_decides_what_is_built() {
    let tierod = "if command -v tierod >/dev/null; then tierod check; fi\n";
    let put = step("Put tierod on the PATH").replace("$GITHUB_PATH", "$RUNNER_TEMP/path");
    let workflow = format!("{}\n{put}\nPATH=$(cat \"$RUNNER_TEMP/path\"):$PATH\n{tierod}", step("Build tierod"));
    let pipeline = format!("{}\n{tierod}", lines("tierod", "before_script"));
    for (shell, lines) in [(WORKFLOW, workflow), (PIPELINE, pipeline)] {
        let sandbox = Sandbox::new();
        cargo(&sandbox);
        for planted in [".tierod-built/bin/tierod", "bin/tierod", "target/release/tierod", ".cargo/bin/tierod"] {
            write_hook(&sandbox.path_of(planted), "#!/bin/sh\necho planted\n");
        }
        sandbox.write("rust-toolchain.toml", "[toolchain]\nchannel = \"planted\"\n");
        sandbox.write(".cargo/config.toml", "[build]\nrustc-wrapper = \"planted\"\n");
        let variables = [("TIEROD_REPOSITORY", "file:///tierod"), ("TIEROD_REV", "abc")];
        let answer = run(&sandbox, shell, &lines, &variables).ended(0);
        assert!(answer.out.starts_with("built: ") && !answer.out.contains("planted"), "{}", answer.out);
        let checkout = sandbox.path().canonicalize().unwrap();
        let noted = read(sandbox.outside().join("cargo"));
        let (folder, args) = noted.trim_end().split_once('\n').unwrap();
        assert!(!Path::new(folder).starts_with(&checkout), "built in the checkout: {folder}");
        assert!(args.starts_with("install --locked --git file:///tierod --rev abc --root /"), "{args}");
        let built = answer.out.split_whitespace().nth(1).unwrap();
        assert!(!Path::new(built).canonicalize().unwrap().starts_with(&checkout), "{built}");
    }
    // An image that contains the program builds nothing.
    let sandbox = Sandbox::new();
    cargo(&sandbox);
    stub(&sandbox, 0);
    let answer = run(&sandbox, PIPELINE, &(lines("tierod", "before_script") + "\ntierod check"), &[]).ended(0);
    assert_eq!((answer.out.as_str(), read(sandbox.outside().join("cargo")).as_str()), ("check\n", ""));
    for name in ["github-workflow.yml", "gitlab-ci.yml"] {
        let text = read(recipe(name));
        assert!(!text.contains(".tierod-built") && !text.contains("./tierod"), "{name}");
    }
    assert_eq!(yaml(&recipe("gitlab-ci.yml"))["tierod"]["cache"], Value::Null, "a cache is in the checkout");
}

/// No permission at the top, and in each job only those that a step uses.
#[test]
fn no_permission_is_asked_for_that_is_not_used() {
    let workflow = yaml(&recipe("github-workflow.yml"));
    assert_eq!(workflow["permissions"], serde_json::json!({}));
    assert!(workflow["on"].get("pull_request_target").is_none(), "it would run with the rights of the target");
    let jobs = workflow["jobs"].as_object().unwrap();
    let mut asked = Vec::new();
    for (name, job) in jobs {
        let steps = serde_json::to_string(&job["steps"]).unwrap();
        let uses = |permission: &str| match permission {
            "contents: read" => steps.contains("actions/checkout@"),
            "pull-requests: write" => steps.contains("gh api") && steps.contains("--method POST"),
            "security-events: write" | "actions: read" => steps.contains("upload-sarif@"),
            _ => false,
        };
        for (permission, level) in job["permissions"].as_object().unwrap() {
            let permission = format!("{permission}: {}", level.as_str().unwrap());
            assert!(uses(&permission), "{name} does not use {permission}");
            asked.push(format!("{name} {permission}"));
        }
        // What may write runs nothing of the change, and not for a fork.
        if steps.contains("gh api") || steps.contains("upload-sarif") {
            assert!(!steps.contains("tierod delta") && !steps.contains("tierod check"), "{name}");
            let guard = job["if"].as_str().unwrap();
            assert!(guard.contains("head.repo.full_name == github.repository"), "{name}: {guard}");
        }
        if steps.contains("actions/checkout@") {
            let checkout = job["steps"].as_array().unwrap().iter().find(|step| step["uses"] == "actions/checkout@v4");
            assert_eq!(checkout.unwrap()["with"]["persist-credentials"], false, "{name}");
        }
    }
    assert_eq!(asked.len(), 5, "{asked:?}");
    // An expression inside of shell lines would let a title or a branch name run commands.
    for job in jobs.values() {
        for run in job["steps"].as_array().unwrap().iter().filter_map(|step| step["run"].as_str()) {
            assert!(!run.contains("${{"), "{run}");
        }
    }
    let pipeline = yaml(&recipe("gitlab-ci.yml"));
    let note = serde_json::to_string(&pipeline["tierod-note"]).unwrap();
    assert!(!serde_json::to_string(&pipeline["tierod"]).unwrap().contains("TOKEN"));
    assert!(note.contains("$CI_MERGE_REQUEST_SOURCE_PROJECT_ID == $CI_PROJECT_ID"), "{note}");
    assert_eq!(pipeline["tierod-note"]["variables"]["GIT_STRATEGY"], "none");
}

/// The audit is kept, and there is a run without a change.
#[test]
fn the_audit_is_kept_and_time_is_checked() {
    let workflow = yaml(&recipe("github-workflow.yml"));
    assert!(workflow["on"]["schedule"][0]["cron"].as_str().unwrap().ends_with(" * * 1"), "weekly");
    let pipeline = &yaml(&recipe("gitlab-ci.yml"))["tierod"];
    assert_eq!(pipeline["artifacts"]["paths"], serde_json::json!(["summary.md", "audit.html"]));
    let rules = serde_json::to_string(&pipeline["rules"]).unwrap();
    assert!(rules.contains(r#"$CI_PIPELINE_SOURCE == \"schedule\""#), "{rules}");
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-19", "first");
    std::fs::create_dir_all(bin(&sandbox)).unwrap();
    std::os::unix::fs::symlink(TIEROD, bin(&sandbox).join("tierod")).unwrap();
    run(&sandbox, WORKFLOW, &step("Write the audit"), &[]).ended(0);
    assert!(read(sandbox.outside().join("tierod/audit.html")).starts_with("<!doctype html>"));
    let variables = [("TIEROD_ROOT", "."), ("CI", "true"), ("GITLAB_CI", "true")];
    run(&sandbox, PIPELINE, &lines("tierod", "script"), &variables).ended(0);
    assert!(read(sandbox.path_of("audit.html")).starts_with("<!doctype html>"));
    std::fs::remove_file(sandbox.path_of("audit.html")).unwrap();
    let script = recipe("tierod-ci.sh");
    run(&sandbox, &["sh"], script.to_str().unwrap(), &[("TIEROD_AUDIT", "audit.html")]).ended(0);
    assert!(read(sandbox.path_of("audit.html")).starts_with("<!doctype html>"));
}

/// The scheduled run of each recipe: what was due since last week, and nothing else.
#[test]
fn a_scheduled_run_shows_what_time_has_broken() {
    let script = recipe("tierod-ci.sh");
    let runs = [
        (WORKFLOW, step("What time has broken"), "tierod/summary.md"),
        (PIPELINE, lines("tierod", "script"), "work/summary.md"),
        (&["bash", "-c"][..], format!("sh '{}' week", script.display()), "work/summary.md"),
    ];
    for (shell, lines, summary) in runs {
        let sandbox = Sandbox::repository();
        let day = |text: &str| {
            let output = sandbox.command("date", &sandbox.path()).args(["-u", "-d", text, "+%F"]).output().unwrap();
            String::from_utf8(output.stdout).unwrap().trim().to_owned()
        };
        std::fs::create_dir_all(bin(&sandbox)).unwrap();
        std::os::unix::fs::symlink(TIEROD, bin(&sandbox).join("tierod")).unwrap();
        let write = |level: &str, parts: &[(&str, &str)]| {
            sandbox.small_root("");
            sandbox.write("tierod.yaml", format!("{SETTINGS}levels: {{verification-overdue: {level}}}\n"));
            let chain = read(sandbox.path_of("chain.yaml"));
            sandbox.write("chain.yaml", chain.replace("due: 2027-06-01", "due: 2999-01-01"));
            let mut text = "parts:\n".to_owned();
            for (id, due) in parts {
                text +=
                    &format!("  {id}:\n    in: suspension\n    serves: {{circle-time: It takes the load of {id}.}}\n");
                text += &format!("    verify: {{by: inspection, with: 'gauge: error: x', due: {}}}\n", day(due));
            }
            sandbox.write("parts.yaml", text);
        };
        let run = || {
            let _ = std::fs::remove_file(sandbox.outside().join(summary));
            let variables = [("CI_PIPELINE_SOURCE", "schedule"), ("TIEROD_ROOT", ".")];
            let code = run(&sandbox, shell, &lines, &variables).code;
            (code, read(sandbox.outside().join(summary)))
        };
        write("error", &[("old", "20 days ago"), ("since", "2 days ago"), ("ahead", "30 days")]);
        let (code, said) = run();
        assert_eq!(code, 1, "{said}");
        assert!(said.contains(&format!("### What time has broken since {}", day("7 days ago"))), "{said}");
        assert_eq!(said.matches("verification-overdue").count(), 1, "{said}");
        assert!(said.contains("since") && !said.contains("of old"), "{said}");
        write("warning", &[("old", "20 days ago"), ("since", "2 days ago")]);
        let (code, said) = run();
        assert_eq!((code, said.matches("[verification-overdue]").count()), (0, 1), "{said}");
        write("error", &[("old", "20 days ago")]);
        let (code, said) = run();
        assert!(code == 0 && said.contains("\nnothing\n"), "{said}");
        // With no finding a week ago, everything of today is new.
        write("error", &[("since", "2 days ago")]);
        let (code, said) = run();
        assert!(code == 1 && said.contains("[verification-overdue]"), "{said}");
        std::fs::remove_file(sandbox.path_of("tierod.yaml")).unwrap();
        assert_ne!(run().0, 0, "it could not do its work");
    }
}

fn has_jq(sandbox: &Sandbox) -> bool {
    let there = sandbox.command("jq", &sandbox.path()).arg("--version").output().is_ok();
    if !there {
        println!("skipped: there is no jq");
    }
    there
}

/// The request's own comment is found among others, also among those that copy its first line, and renewed.
#[test]
fn one_comment_is_renewed() {
    let lines = step_of("comment", "Renew the comment");
    let sandbox = Sandbox::new();
    if !has_jq(&sandbox) {
        return;
    }
    // Lists what is in a file, and writes down what it is asked to change.
    let gh = "#!/bin/sh\nquery=; method=GET\nfor word; do\n  case $last in --jq) query=$word ;; --method) method=$word ;; \
              esac; last=$word\ndone\nif [ $method = GET ]; then jq -r \"$query\" <comments.json; exit; fi\n\
              [ ! -e refuse ] || exit 1\necho \"$*\" >>asked; cp comment.md body.md\n";
    write_hook(&bin(&sandbox).join("gh"), gh);
    let variables = [("GITHUB_REPOSITORY", "team/car"), ("REQUEST", "7"), ("GH_TOKEN", "x")];
    let mark = "<!-- tierod renews this comment -->";
    // Without a comparison there is nothing to write.
    run(&sandbox, WORKFLOW, &lines, &variables).ended(0);
    assert!(!sandbox.path_of("asked").exists());
    sandbox.write("tierod/summary.md", "### 1 new error\n");
    let comment =
        |id: u32, login: &str, body: &str| serde_json::json!({"id": id, "user": {"login": login}, "body": body});
    let others = [comment(1, "someone", mark), comment(2, "github-actions[bot]", "another tool")];
    sandbox.write("comments.json", serde_json::json!(others).to_string());
    run(&sandbox, WORKFLOW, &lines, &variables).ended(0);
    let asked = read(sandbox.path_of("asked"));
    assert_eq!(asked, "api --silent --method POST repos/team/car/issues/7/comments --field body=@comment.md\n");
    assert_eq!(read(sandbox.path_of("body.md")), format!("{mark}\n### 1 new error\n"));
    // The second time.
    let own = comment(3, "github-actions[bot]", &read(sandbox.path_of("body.md")));
    let all = [others[0].clone(), others[1].clone(), own, comment(4, "github-actions[bot]", mark)];
    sandbox.write("comments.json", serde_json::json!(all).to_string());
    sandbox.write("tierod/summary.md", format!("{}\n", "ü".repeat(99)).repeat(2000));
    run(&sandbox, WORKFLOW, &lines, &variables).ended(0);
    let asked = read(sandbox.path_of("asked"));
    assert!(asked.ends_with("--method PATCH repos/team/car/issues/comments/3 --field body=@comment.md\n"), "{asked}");
    assert_eq!(asked.lines().count(), 2, "{asked}");
    let body = read(sandbox.path_of("body.md"));
    assert!(body.chars().count() < 65_536 && body.ends_with("is in the summary of the job.**\n"));
    // A token that cannot write fails nothing.
    sandbox.write("refuse", "");
    let said = run(&sandbox, WORKFLOW, &lines, &variables).ended(0).out;
    assert!(said.contains("::notice::the comment could not be written"), "{said}");
}

/// The same for the note of the second forge, whose lists have pages.
#[test]
fn one_note_is_renewed() {
    let lines = lines("tierod-note", "script");
    let sandbox = Sandbox::new();
    if !has_jq(&sandbox) {
        return;
    }
    let curl = "#!/bin/sh\nfor url; do :; done\ncase $url in\n*/user) echo '{\"id\": 9}' ;;\n\
                *page=*) cat \"page${url##*page=}.json\" 2>/dev/null || echo '[]' ;;\n\
                *) echo \"$*\" >>asked; cp note.md body.md ;;\nesac\n";
    write_hook(&bin(&sandbox).join("curl"), curl);
    let variables = [
        ("CI_API_V4_URL", "https://forge/api/v4"),
        ("CI_PROJECT_ID", "5"),
        ("CI_MERGE_REQUEST_IID", "7"),
        ("TIEROD_NOTE_TOKEN", "secret"),
    ];
    let mark = "<!-- tierod renews this note -->";
    run(&sandbox, PIPELINE, &lines, &variables).ended(0);
    assert!(!sandbox.path_of("asked").exists());
    sandbox.write("summary.md", "### 1 new error\n");
    let note = |id: u32, author: u32, body: &str| serde_json::json!({"id": id, "author": {"id": author}, "body": body});
    sandbox.write("page1.json", serde_json::json!([note(1, 8, mark), note(2, 9, "by hand")]).to_string());
    run(&sandbox, PIPELINE, &lines, &variables).ended(0);
    let url = "https://forge/api/v4/projects/5/merge_requests/7/notes";
    let asked = read(sandbox.path_of("asked"));
    assert!(asked.contains("--request POST") && asked.ends_with(&format!("body@note.md {url}\n")), "{asked}");
    assert_eq!(read(sandbox.path_of("body.md")), format!("{mark}\n### 1 new error\n"));
    sandbox.write("page2.json", serde_json::json!([note(3, 9, &format!("{mark}\nolder\\n \"text\""))]).to_string());
    run(&sandbox, PIPELINE, &lines, &variables).ended(0);
    let asked = read(sandbox.path_of("asked"));
    assert!(asked.ends_with(&format!("body@note.md {url}/3\n")) && asked.contains("--request PUT"), "{asked}");
    assert_eq!(asked.lines().count(), 2, "{asked}");
}

/// A repository on a branch that adds four errors, while main went on.
fn branched() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("car/");
    sandbox.write("car/old.yaml", "parts:\n  old: {in: nowhere, serves: {circle-time: It holds the hub.}}\n");
    sandbox.commit_on("2027-03-19", "with an old error");
    sandbox.git(&["checkout", "-qb", "feature"]);
    let bad = parts(&["one", "two", "three", "four"]).replace("suspension", "nowhere");
    sandbox.write("car/bad.yaml", bad);
    sandbox.commit_on("2027-03-19", "four errors");
    sandbox.git(&["checkout", "-q", "main"]);
    std::fs::remove_file(sandbox.path_of("car/old.yaml")).unwrap();
    sandbox.commit_on("2027-03-19", "fixed in main");
    sandbox.git(&["checkout", "-q", "feature"]);
    sandbox
}

/// The hooks of the pre-commit framework, with the variables that it sets (its documentation: `--from-ref`, `--to-ref`).
#[test]
fn the_frameworks_hook_for_ci_compares_with_from_ref() {
    let sandbox = branched();
    let script = recipe("pre-commit-delta.sh");
    let hook = |variables: &[(&str, &str)]| {
        let mut command = sandbox.command("sh", &sandbox.path());
        command.arg(&script).args([TIEROD, "car"]).env("PRE_COMMIT", "1");
        Answer::from_output(&command.envs(variables.iter().copied()).output().unwrap())
    };
    // `run --all-files` with the hook for commits: nothing is staged.
    sandbox.tierod(&["check", "--staged", "--", "car"]).ended(0);
    let from = ("PRE_COMMIT_FROM_REF", "main");
    for variables in [&[from, ("PRE_COMMIT_TO_REF", "HEAD")][..], &[from], &[], &[("PRE_COMMIT_FROM_REF", "")]] {
        let out = hook(variables).ended(1).out;
        assert_eq!(out.lines().filter(|line| line.starts_with("car/bad.yaml:")).count(), out.lines().count(), "{out}");
        assert!(out.lines().count() >= 4 && !out.contains("old.yaml"), "not what main fixed since: {out}");
    }
    // What is pushed counts, not the working tree.
    std::fs::remove_file(sandbox.path_of("car/bad.yaml")).unwrap();
    hook(&[from, ("PRE_COMMIT_TO_REF", "feature")]).ended(1);
    hook(&[("PRE_COMMIT_FROM_REF", "feature"), ("PRE_COMMIT_TO_REF", "feature")]).ended(0);
    let lost = hook(&[("PRE_COMMIT_FROM_REF", "nowhere")]).ended(2).err;
    assert!(lost.contains("git fetch --unshallow"), "{lost}");
}

/// The hooks that build tierod do it in the clone that the framework made, whatever the repository contains.
#[test]
fn the_frameworks_hooks_build_outside_of_the_repository() {
    let sandbox = Sandbox::new();
    cargo(&sandbox);
    let clone = sandbox.outside().join("clone");
    std::fs::create_dir_all(clone.join("templates/ci")).unwrap();
    for name in ["pre-commit-hook.sh", "pre-commit-delta.sh"] {
        std::fs::copy(recipe(name), clone.join("templates/ci").join(name)).unwrap();
    }
    sandbox.write("rust-toolchain.toml", "[toolchain]\nchannel = \"planted\"\n");
    write_hook(&sandbox.path_of("target/release/tierod"), "#!/bin/sh\necho planted\n");
    let hook = clone.join("templates/ci/pre-commit-hook.sh");
    let other = sandbox.outside().join("other");
    let folder = clone.canonicalize().unwrap();
    for (target, built) in [("", "clone/target"), ("target", "clone/target"), (other.to_str().unwrap(), "other")] {
        for (args, runs) in [("car", "check --staged car\n"), ("--delta car", "delta --root car --format lines\n")] {
            let _ = std::fs::remove_file(sandbox.outside().join("cargo"));
            let lines = format!("'{}' {args}", hook.display());
            let answer = run(&sandbox, &["sh", "-c"], &lines, &[("CARGO_TARGET_DIR", target)]).ended(0);
            let program = sandbox.outside().canonicalize().unwrap().join(built).join("release/tierod");
            let shown = answer.out.replace(sandbox.outside().to_str().unwrap(), "");
            let program =
                program.display().to_string().replace(sandbox.outside().canonicalize().unwrap().to_str().unwrap(), "");
            assert_eq!(shown, format!("built: {program} {runs}"));
            assert!(read(sandbox.outside().join("cargo")).starts_with(&format!("{}\nbuild ", folder.display())));
        }
    }
}

/// `init --ci` writes the recipe that fits the remote, filled in, and overwrites nothing.
#[test]
fn init_writes_the_recipe_of_the_forge() {
    let sandbox = Sandbox::new();
    sandbox.git(&["init", "-q", "-b", "trunk"]);
    let asks = sandbox.tierod(&["init", "--ci"]).ended(2).err;
    assert!(asks.contains("no remote yet") && asks.contains("`--ci gitlab`"), "{asks}");
    assert!(!sandbox.path_of("tierod.yaml").exists(), "nothing was written");
    sandbox.git(&["remote", "add", "origin", "git@github.com:team/car.git"]);
    let root = "Team's \"$car\"";
    let said = sandbox.tierod(&["init", root, "--ci"]).ended(0).out;
    assert!(said.contains("wrote .github/workflows/tierod.yml\n") && said.contains("tierod.yaml"), "{said}");
    assert!(said.contains("set TIEROD_REPOSITORY and TIEROD_REV"), "{said}");
    let workflow = yaml(&sandbox.path_of(".github/workflows/tierod.yml"));
    assert_eq!(workflow["jobs"]["records"]["defaults"]["run"]["working-directory"], root);
    assert_eq!(workflow["on"]["push"]["branches"], serde_json::json!(["trunk"]));
    assert_eq!(workflow["jobs"].as_object().unwrap().len(), 3);
    // A project that exists gets only the recipe, and an existing file is not changed.
    let refused = sandbox.tierod(&["init", root, "--ci"]).ended(2).err;
    assert!(refused.contains("already exists"), "{refused}");
    sandbox.git(&["remote", "set-url", "origin", "https://gitlab.example.org/team/car.git"]);
    let said = sandbox.tierod_in(&sandbox.path_of(root), &["init", "--ci"]).ended(0).out;
    assert!(said.contains(".gitlab-ci.yml\n") && !said.contains("car.yaml"), "{said}");
    let pipeline = yaml(&sandbox.path_of(".gitlab-ci.yml"));
    assert_eq!(pipeline["tierod"]["variables"]["TIEROD_ROOT"], root.replace('$', "$$"));
    let said = sandbox.tierod(&["init", root, "--ci", "gitlab"]).ended(0).out;
    assert!(said.contains("add `include: .gitlab/tierod.yml` to .gitlab-ci.yml"), "{said}");
    // A forge that is not clear is asked for.
    sandbox.git(&["remote", "add", "upstream", "git@github.com:team/car.git"]);
    let asks = sandbox.tierod(&["init", root, "--ci"]).ended(2).err;
    assert!(asks.contains("not clear from the remotes") && asks.contains("--ci github"), "{asks}");
    let said = sandbox.tierod(&["init", root, "--ci", "shell"]).ended(0).out;
    assert!(said.contains("wrote tierod-ci.sh") && said.contains("TIEROD_ROOT"), "{said}");
    assert_eq!(read(sandbox.path_of("tierod-ci.sh")), read(recipe("tierod-ci.sh")));
    // Without a repository.
    let sandbox = Sandbox::new();
    let refused = sandbox.tierod(&["init", "--ci", "github"]).ended(2).err;
    assert!(refused.contains("git init"), "{refused}");
    sandbox.tierod(&["init", "--season", "2028"]).ended(0);
}
