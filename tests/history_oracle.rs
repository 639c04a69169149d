//! The history checks against an oracle over git's own ancestry, in another language: `tests/history_oracle.py`.

use crate::support::Sandbox;

/// The number of random histories; more of them, and others: `tests/history_oracle.py TIEROD COUNT FIRST`.
const HISTORIES: &str = "300";

#[test]
fn random_histories_have_no_wrong_finding_and_lack_none() {
    let sandbox = Sandbox::new();
    let script = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/history_oracle.py");
    let mut command = sandbox.command("python3", &sandbox.path());
    let output = command.arg(script).args([env!("CARGO_BIN_EXE_tierod"), HISTORIES]).output();
    let Ok(output) = output else {
        println!("skipped: python3 is missing");
        return;
    };
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    // The histories have enough of everything to compare.
    let counts: Vec<(u32, &str)> = said
        .trim()
        .split([':', ','])
        .skip(1)
        .filter_map(|part| part.trim().split_once(' '))
        .map(|(count, name)| (count.parse().unwrap(), name))
        .collect();
    for name in [
        "notes",
        "planted",
        "rewritten-result",
        "stale-analysis",
        "stale-result",
        "target-after-result",
        "unrecorded-revision",
    ] {
        let count = counts.iter().find(|(_, own)| *own == name).map_or(0, |(count, _)| *count);
        assert!(count >= 20, "{name}: {said}");
    }
}
