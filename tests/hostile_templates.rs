//! A team's template is bounded in memory, time and output whatever it does, and in CI the template of a change is not used.

#![cfg(unix)]

use std::time::{Duration, Instant};

use crate::support::{Answer, Sandbox};

/// The most memory of the command and of what it starts, in KiB.
const MEMORY: u64 = 500 << 10;

fn repository() -> Sandbox {
    let sandbox = Sandbox::repository();
    sandbox.small_root("");
    sandbox.commit_on("2027-03-01", "one");
    sandbox.write("more.yaml", "parts:\n  more: {title: /merge, in: suspension}\n");
    sandbox
}

/// Runs a command under GNU time or alone; returns the answer, and the largest memory of a process in KiB if it is known.
fn measured(sandbox: &Sandbox, args: &[&str]) -> (Answer, Option<u64>) {
    let tierod = env!("CARGO_BIN_EXE_tierod");
    let file = sandbox.outside().join("memory");
    let mut command = sandbox.command("/usr/bin/time", &sandbox.path());
    command.args(["-q", "-f", "%M", "-o"]).arg(&file).arg(tierod).args(args);
    match command.output() {
        Ok(output) => {
            let memory = std::fs::read_to_string(&file).ok().and_then(|text| text.trim().parse().ok());
            (Answer::from_output(&output), memory)
        }
        Err(_) => (sandbox.tierod(args), None),
    }
}

#[test]
fn no_template_takes_much_memory_or_time() {
    let double =
        "{% set n = namespace(s='xxxxxxxx') %}{% for i in range(60) %}{% set n.s = n.s ~ n.s %}{% endfor %}{{ n.s }}";
    let lists = "{% set n = namespace(s=[1]) %}{% for i in range(60) %}{% set n.s = [n.s, n.s] %}{% endfor %}{{ n.s }}";
    let deep = "{% set n = namespace(s=[1]) %}{% for i in range(99999) %}{% set n.s = [n.s] %}{% endfor %}{{ n.s }}";
    let forever = "{% for a in range(99999) %}{% for b in range(99999) %}{{ a }}{% endfor %}{% endfor %}";
    let repeated = |text: &str, times: usize| format!("{{{{ {}1 }}}}", text.repeat(times));
    let hostile: [String; 14] = [
        r#"{{ "%2000000000d"|format(1) }}"#.to_owned(),
        r#"{{ range(100000)|list|join("x" * 100000) }}"#.to_owned(),
        r#"{{ "x" * 2000000000 }}"#.to_owned(),
        double.to_owned(),
        lists.to_owned(),
        deep.to_owned(),
        forever.to_owned(),
        repeated("not ", 200_000),
        repeated("-", 300_000),
        repeated("1+", 200_000),
        repeated("(", 20_000),
        format!("{{{{ a{} }}}}", ".a".repeat(200_000)),
        format!("{{{{ 1{} }}}}", "|abs".repeat(200_000)),
        "x".repeat(50_000_000),
    ];
    let sandbox = repository();
    for (name, args) in [
        ("delta.md", &["delta", "HEAD", "--format", "markdown"][..]),
        ("audit.md", &["audit", "--format", "markdown"]),
        ("audit.html", &["audit", "--format", "html"]),
    ] {
        for template in &hostile {
            sandbox.write(&format!("templates/{name}"), template);
            let start = Instant::now();
            let (answer, memory) = measured(&sandbox, args);
            let (took, begin) = (start.elapsed(), &template[..template.len().min(60)]);
            assert_eq!((answer.code, answer.out.as_str()), (2, ""), "{name}: {begin}: {}", answer.err);
            assert!(answer.err.contains(&format!("the template templates/{name}")), "{begin}: {}", answer.err);
            // The limit is three seconds; other tests run at the same time.
            assert!(took < Duration::from_secs(12), "{name}: {begin}: {took:?}");
            assert!(memory.is_none_or(|memory| memory < MEMORY), "{name}: {begin}: {memory:?} KiB");
        }
        sandbox.write(&format!("templates/{name}"), "fine: {{ 1 + 1 }}\n");
        assert_eq!(sandbox.tierod(args).out, "fine: 2\n", "{name}");
    }
}

/// The template of a change would replace the summary of that change.
#[test]
fn in_ci_the_template_of_the_base_is_used() {
    let sandbox = repository();
    let summary = |ci: &str| {
        let mut command = sandbox.command(env!("CARGO_BIN_EXE_tierod"), &sandbox.path());
        command.args(["delta", "HEAD", "--format", "markdown"]).env("CI", ci);
        Answer::from_output(&command.output().unwrap())
    };
    sandbox.write("templates/delta.md", "/merge\n\nAll is well.\n");
    assert_eq!(summary("").out, "/merge\n\nAll is well.\n");
    let shipped = summary("true").out;
    assert!(!shipped.contains("All is well") && !shipped.lines().any(|line| line.starts_with('/')), "{shipped}");
    // The base's own template is used, also where the change removes it.
    sandbox.write("templates/delta.md", "of the base: {% for finding in new %}\n{{ finding.message }}\n{% endfor %}");
    sandbox.commit_on("2027-03-02", "two");
    sandbox.write("templates/delta.md", "of the change");
    sandbox.write("again.yaml", "parts:\n  again: {title: /merge, in: suspension}\n");
    let of_base = summary("true").ended(1).out;
    assert!(of_base.starts_with("of the base"), "{of_base}");
    assert!(of_base.contains("\\/merge serves nothing"), "a title begins no line with a command: {of_base}");
    std::fs::remove_file(sandbox.path_of("templates/delta.md")).unwrap();
    assert_eq!(summary("true").out, of_base);
}
