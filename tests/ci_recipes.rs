//! The recipes for CI under `templates/ci`: their shell lines are run as the forges run them, with a `tierod` stub
//! that ends with a given status, and with the real one in a repository with a change. tests/pre-commit.sh checks the
//! YAML files against the forges' schemas, and runs the hooks with their framework.

use std::path::{Path, PathBuf};

use serde_json::Value;

use crate::support::{CHAIN, Sandbox};

pub(crate) fn recipe(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates/ci").canonicalize().unwrap().join(name)
}

pub(crate) fn yaml(path: &Path) -> Value {
    serde_yaml::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// The steps of the workflow of the large forge.
fn steps() -> Vec<Value> {
    yaml(&recipe("github-workflow.yml"))["jobs"]["records"]["steps"].as_array().unwrap().clone()
}

/// The shell lines of a step, by its name.
pub(crate) fn step(name: &str) -> String {
    let step = steps().into_iter().find(|step| step["name"] == name);
    step.unwrap_or_else(|| panic!("no step {name}"))["run"].as_str().unwrap().to_owned()
}

/// The shell lines of the other forge's job, run one after another in one shell.
fn script() -> String {
    let job = &yaml(&recipe("gitlab-ci.yml"))["tierod"];
    let lines: Vec<&str> = job["script"].as_array().unwrap().iter().map(|line| line.as_str().unwrap()).collect();
    lines.join("\n")
}

/// The result of a recipe: its status, its output, and the files that it wrote.
struct Left {
    code: i32,
    out: String,
    summary: Option<String>,
    step_summary: Option<String>,
    quality: Option<String>,
}

/// Runs shell lines or a script in a sandbox as a CI does.
fn run(sandbox: &Sandbox, program: &str, args: &[&str], tierod: &Path, variables: &[(&str, &str)]) -> Left {
    let outside = sandbox.outside();
    let mut command = sandbox.command(program, &sandbox.path());
    let path = std::env::var("PATH").unwrap();
    command.args(args).env("PATH", format!("{}:{path}", tierod.parent().unwrap().display()));
    command.env("GITHUB_STEP_SUMMARY", outside.join("step-summary.md")).env("RUNNER_TEMP", outside);
    command.envs(variables.iter().copied());
    let output = command.output().unwrap();
    let read = |path: PathBuf| std::fs::read_to_string(path).ok();
    Left {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        summary: read(sandbox.path_of("summary.md")),
        step_summary: read(outside.join("step-summary.md")),
        quality: read(sandbox.path_of("gl-code-quality-report.json")),
    }
}

/// A `tierod` that prints its arguments and ends with a status.
pub(crate) fn stub(sandbox: &Sandbox, status: i32) -> PathBuf {
    let path = sandbox.outside().join("bin/tierod");
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    // Another process writes it: a file that is open for writing in this one may stay open in another test's child, and
    // then it cannot be run.
    let lines = r#"printf '#!/bin/sh\necho "$@"\nexit %s\n' "$0" >"$1" && chmod +x "$1""#;
    let written = sandbox.command("sh", sandbox.outside()).args(["-c", lines, &status.to_string()]).arg(&path).status();
    assert!(written.unwrap().success());
    path
}

const MARKDOWN: &str = "delta --base auto --format markdown\n";

/// Each recipe ends with the status of the comparison and keeps its output. It also prints the annotations that
/// the forge shows next to the change, if there is a forge.
#[test]
fn recipes_end_with_the_status_of_the_comparison() {
    let shell = recipe("tierod-ci.sh");
    let (shell, compare, script) = (shell.to_str().unwrap(), step("Compare with the base"), script());
    for status in [0, 1, 2] {
        let done = status < 2;
        let expected = |line: &str| if done { format!("{line}\n") } else { String::new() };

        // A plain CI.
        let sandbox = Sandbox::new();
        let left = run(&sandbox, "sh", &[shell], &stub(&sandbox, status), &[]);
        assert_eq!((left.code, left.out), (status, expected("delta --base auto --format lines")));
        assert_eq!((left.summary.as_deref(), left.step_summary, left.quality), (Some(MARKDOWN), None, None));

        // The large forge, by the script ...
        let sandbox = Sandbox::new();
        let left = run(&sandbox, "sh", &[shell], &stub(&sandbox, status), &[("GITHUB_ACTIONS", "true")]);
        assert_eq!((left.code, left.out), (status, expected("delta --base auto --format github")));
        assert_eq!(left.step_summary.as_deref(), done.then_some(MARKDOWN));

        // ... and by the workflow, whose shell is `bash -e {0}` (the forge's documentation, from memory).
        let sandbox = Sandbox::new();
        let left = run(&sandbox, "bash", &["-e", "-c", &compare], &stub(&sandbox, status), &[]);
        assert_eq!((left.code, left.out), (status, expected("delta --base auto --format github")));
        assert_eq!(left.step_summary.as_deref(), Some(MARKDOWN));

        // The other forge, by the script and by its job.
        for args in [&[shell][..], &["-e", "-c", &script]] {
            let sandbox = Sandbox::new();
            let variables = [("GITLAB_CI", "true"), ("TIEROD_ROOT", ".")];
            let left = run(&sandbox, "sh", args, &stub(&sandbox, status), &variables);
            assert_eq!((left.code, left.out), (status, expected("delta --base auto --format lines")), "{args:?}");
            assert_eq!(left.summary.as_deref(), Some(MARKDOWN));
            assert_eq!(left.quality.as_deref(), done.then_some("check --format gitlab\n"));
        }
    }
}

#[test]
fn the_shell_recipe_reads_its_settings_from_the_environment() {
    let sandbox = Sandbox::new();
    std::fs::create_dir_all(sandbox.path_of("the car")).unwrap();
    let shell = recipe("tierod-ci.sh");
    let variables = [("TIEROD_BASE", "v1 x"), ("TIEROD_ROOT", "the car"), ("TIEROD_SUMMARY", "summary.md")];
    let left = run(&sandbox, "sh", &[shell.to_str().unwrap()], &stub(&sandbox, 0), &variables);
    assert_eq!((left.code, left.out.as_str()), (0, "delta --base v1 x --format lines\n"));
    assert_eq!(
        std::fs::read_to_string(sandbox.path_of("summary.md")).unwrap(),
        "delta --base v1 x --format markdown\n"
    );
    let left = run(&sandbox, "sh", &[shell.to_str().unwrap()], &stub(&sandbox, 0), &[("TIEROD_ROOT", "nowhere")]);
    assert_eq!(left.code, 2);
}

/// A comparison needs the complete history, and a step can run only after tierod is built.
#[test]
fn recipes_fetch_everything_that_the_comparison_needs() {
    let steps = steps();
    assert_eq!(steps[0]["with"]["fetch-depth"], 0);
    let order = ["Build tierod", "Put tierod on the PATH", "Compare with the base", "Write all findings as SARIF"];
    let at = |name: &str| steps.iter().position(|step| step["name"] == name).unwrap();
    assert!(order.windows(2).all(|two| at(two[0]) < at(two[1])));
    let job = &yaml(&recipe("gitlab-ci.yml"))["tierod"];
    assert_eq!(job["variables"]["GIT_DEPTH"], "0");
    assert_eq!(job["artifacts"]["reports"]["codequality"], "gl-code-quality-report.json");
    assert_eq!(job["artifacts"]["when"], "always", "a job that fails has a summary too");
}

/// The step that writes SARIF passes with any findings: only the comparison decides.
#[test]
fn the_sarif_step_writes_a_log_and_decides_nothing() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let lines = step("Write all findings as SARIF");
    let tierod = Path::new(env!("CARGO_BIN_EXE_tierod"));
    for (records, results) in [("", 0), ("parts:\n  x: {in: nowhere}\n", 1)] {
        sandbox.write("more.yaml", records);
        let left = run(&sandbox, "bash", &["-e", "-c", &lines], tierod, &[]);
        assert_eq!(left.code, 0);
        let log = std::fs::read_to_string(sandbox.outside().join("tierod.sarif")).unwrap();
        let log: Value = serde_json::from_str(&log).unwrap();
        assert_eq!(!log["runs"][0]["results"].as_array().unwrap().is_empty(), results > 0);
    }
    std::fs::remove_file(sandbox.path_of("tierod.yaml")).unwrap();
    assert_ne!(run(&sandbox, "bash", &["-e", "-c", &lines], tierod, &[]).code, 0, "it could not do its work");
}

/// Every recipe on a branch of a real repository: a change without new findings passes although the base has an
/// error; one with a new error fails and shows it.
#[test]
fn recipes_fail_only_on_new_errors() {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.write("old.yaml", "parts:\n  old: {in: suspention, serves: {circle-time: It holds the hub.}}\n");
    sandbox.git(&["add", "."]);
    sandbox.git(&["commit", "-q", "-m", "Start with an error"]);
    sandbox.git(&["checkout", "-q", "-b", "change"]);
    let shell = recipe("tierod-ci.sh");
    let (shell, compare, script) = (shell.to_str().unwrap(), step("Compare with the base"), script());
    let tierod = Path::new(env!("CARGO_BIN_EXE_tierod"));
    type Run<'r> = (&'r str, &'r [&'r str], &'r [(&'r str, &'r str)]);
    let all: [Run<'_>; 4] = [
        ("sh", &[shell], &[]),
        ("sh", &[shell], &[("CI", "true"), ("GITHUB_ACTIONS", "true")]),
        ("bash", &["-e", "-c", &compare], &[("CI", "true"), ("GITHUB_ACTIONS", "true")]),
        ("sh", &["-e", "-c", &script], &[("CI", "true"), ("GITLAB_CI", "true"), ("TIEROD_ROOT", ".")]),
    ];
    for (file, records, code) in [
        ("chain.yaml", CHAIN.replace("It holds the wheel.", "It carries the wheel."), 0),
        ("new.yaml", "parts:\n  new: {in: suspension, serves: {circle-tim: It holds the hub.}}\n".to_owned(), 1),
    ] {
        sandbox.write(file, records);
        sandbox.git(&["add", file]);
        sandbox.git(&["commit", "-q", "-m", "Change"]);
        for (program, args, variables) in all {
            let left = run(&sandbox, program, args, tierod, variables);
            assert_eq!(left.code, code, "{file} {args:?}: {}", left.out);
            assert_eq!(left.out.contains("new.yaml"), code == 1, "{args:?}: {}", left.out);
            let summary = left.step_summary.or(left.summary).unwrap();
            assert_eq!(summary.contains("new.yaml"), code == 1, "{args:?}: {summary}");
            for file in ["summary.md", "gl-code-quality-report.json", "../step-summary.md"] {
                let _ = std::fs::remove_file(sandbox.path_of(file));
            }
        }
    }
}

/// The scripts are POSIX shell: a strict shell parses them, if one is installed.
#[test]
fn scripts_are_read_by_a_posix_shell() {
    let sandbox = Sandbox::new();
    sandbox.write("broken.sh", "if true\n");
    for name in ["tierod-ci.sh", "pre-commit-hook.sh", "pre-commit-delta.sh"] {
        for shell in ["sh", "dash", "busybox"] {
            let reads = |path: &Path| {
                let mut command = sandbox.command(shell, &sandbox.path());
                if shell == "busybox" {
                    command.arg("sh");
                }
                command.arg("-n").arg(path).output().ok().map(|output| output.status.success())
            };
            let read = reads(&recipe(name));
            assert!(read != Some(false) && (shell != "sh" || read == Some(true)), "{shell} {name}");
            assert_ne!(reads(&sandbox.path_of("broken.sh")), Some(true), "{shell} accepts anything");
        }
    }
}

/// The hooks check everything that is staged, whichever files changed, and their entries exist and can be run.
#[test]
fn hooks_check_everything_that_is_staged() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let hooks = yaml(&top.join(".pre-commit-hooks.yaml"));
    let hooks = hooks.as_array().unwrap();
    let ids: Vec<&str> = hooks.iter().map(|hook| hook["id"].as_str().unwrap()).collect();
    assert_eq!(ids, ["tierod-check", "tierod-check-system", "tierod-delta", "tierod-delta-system"]);
    for hook in hooks {
        assert_eq!((&hook["always_run"], &hook["pass_filenames"]), (&Value::Bool(true), &Value::Bool(false)));
        assert_eq!(hook["require_serial"], true);
        let first =
            if hook["name"] == "tierod check" { ["pre-commit", "pre-merge-commit"] } else { ["pre-push", "manual"] };
        assert_eq!(hook["stages"].as_array().unwrap()[..2], first, "{}", hook["id"]);
        let entry = hook["entry"].as_str().unwrap();
        if hook["language"] == "system" {
            assert_eq!(entry, "tierod check --staged");
            continue;
        }
        let script = top.join(entry.split(' ').next().unwrap());
        assert!(script.is_file(), "{entry}");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            assert_ne!(std::fs::metadata(script).unwrap().permissions().mode() & 0o100, 0, "{entry}");
        }
    }
    let entry = top.join(hooks[0]["entry"].as_str().unwrap());
    assert!(std::fs::read_to_string(&entry).unwrap().contains("check --staged"));
}

/// In a workflow `${{` begins an expression, also in the name of a folder.
#[test]
fn a_folder_is_no_expression_of_a_workflow() {
    let sandbox = Sandbox::repository();
    let folder = sandbox.path_of("x ${{ github.token }}");
    std::fs::create_dir(&folder).unwrap();
    sandbox.tierod_in(&folder, &["init", "--season", "2028"]).ended(0);
    sandbox.tierod_in(&folder, &["init", "--ci", "github"]).ended(0);
    let workflow = std::fs::read_to_string(sandbox.path_of(".github/workflows/tierod.yml")).unwrap();
    assert!(workflow.contains("x ${{ '${{' }} github.token }}"), "{workflow}");
    assert!(!workflow.contains("${{ github.token }}\""), "{workflow}");
}
