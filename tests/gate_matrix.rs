//! What stops a commit or a request, in a matrix of ways to commit, merge and push, against an oracle in another language:
//! `tests/gate_oracle.py`.

#![cfg(unix)]

use crate::support::Sandbox;

#[test]
fn every_way_to_change_a_project_is_judged_as_its_parents_say() {
    let sandbox = Sandbox::new();
    let script = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/gate_oracle.py");
    let mut command = sandbox.command("python3", &sandbox.path());
    let output = command.arg(script).arg(env!("CARGO_BIN_EXE_tierod")).output();
    let Ok(output) = output else {
        println!("skipped: python3 is missing");
        return;
    };
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success(), "{said}{}", String::from_utf8_lossy(&output.stderr));
    println!("{said}");
    // The cases have enough of everything to compare.
    for kind in ["better", "cases", "compared", "new", "stopped", "uncovered", "worse"] {
        let number = said
            .trim()
            .split([':', ','])
            .find_map(|part| part.trim().strip_suffix(kind)?.trim().parse::<u32>().ok())
            .unwrap_or(0);
        assert!(number >= 5, "{kind}: {said}");
    }
}
