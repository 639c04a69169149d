//! Whole-process times of `check` on roots of 1,000, 10,000 and 100,000 records, as ratios to the floor
//! (reading and parsing the same bytes once) and to the script that a team would write.
//!
//! `cargo bench --bench roots` prints the table; `-- 1000 10000` names the sizes. Runs are taken in turn,
//! on one core where `taskset` is there; the median counts. Nothing here can fail for being slow.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a benchmark prints, and stops when it cannot run")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

/// The floor has what the tool has.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Records a file, as in a team's repository.
const PER_FILE: usize = 10;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).filter(|arg| arg != "--bench").collect();
    if let [mode, root] = &args[..]
        && mode == "--floor"
    {
        floor(Path::new(root));
        return;
    }
    let sizes: Vec<usize> = args.iter().filter_map(|arg| arg.parse().ok()).collect();
    let sizes = if sizes.is_empty() { vec![1_000, 10_000, 100_000] } else { sizes };
    println!("{:>8}  {:22} {:>9} {:>9} {:>9} {:>9}", "records", "command", "median", "to floor", "to check", "peak");
    for size in sizes {
        measure(size);
    }
}

/// The floor: every record file read and parsed once, and nothing done with it.
fn floor(root: &Path) {
    let mut records = 0;
    for entry in walkdir(root) {
        let text = std::fs::read_to_string(entry).unwrap();
        let file: schema::records::RecordFile = serde_yaml::from_str(&text).unwrap();
        records += file.into_records().len();
    }
    assert!(records > 0);
}

fn walkdir(root: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    let mut folders = vec![root.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let entry = entry.unwrap();
            let name = entry.file_name().into_string().unwrap();
            if entry.file_type().unwrap().is_dir() && name != ".git" {
                folders.push(entry.path());
            } else if name.ends_with(".yaml") && name != "tierod.yaml" {
                files.push(entry.path());
            }
        }
    }
    files
}

/// A root of so many records: a goal, events, car targets, systems with targets, and parts of 380 bytes each.
fn make(root: &Path, size: usize) {
    std::fs::write(root.join("tierod.yaml"), "season: 2027\nas-of: 2027-03-19\nstages: {build: 2027-04-30}\n").unwrap();
    let mut top =
        String::from("goals:\n  goal: {place: 8, reason: The workshop depends on it., lead: team lead}\nevents:\n");
    for event in 0..8 {
        let _ = writeln!(
            top,
            "  event-{event}: {{plan: 60 pts, lead: lead, serves: {{goal: Points number {event} of eight.}}}}"
        );
    }
    top.push_str("systems:\n");
    for system in 0..10 {
        let _ = writeln!(top, "  system-{system}: {{in: car, lead: lead of system {system}}}");
    }
    top.push_str("targets:\n");
    for target in 0..40 {
        let _ = writeln!(
            top,
            "  car-{target}: {{of: car, at-most: 5 s, lead: lead, serves: {{event-{}: It is what is timed there.}}, verify: {{by: test, with: gates, due: 2027-06-01}}}}",
            target % 8
        );
    }
    std::fs::write(root.join("top.yaml"), top).unwrap();
    let rest = size.saturating_sub(59);
    for (file, first) in (0..rest).step_by(PER_FILE).enumerate() {
        let folder = root.join(format!("system-{}/{}", file % 10, file / 1000));
        std::fs::create_dir_all(&folder).unwrap();
        let numbers = first..(first + PER_FILE).min(rest);
        let (mut targets, mut parts) = (String::from("targets:\n"), String::from("parts:\n"));
        for number in numbers {
            if number % PER_FILE == 0 {
                let _ = writeln!(
                    targets,
                    "  target-{number}:\n    title: Stiffness of corner {number} against camber\n    of: system-{}\n    at-least: 2.4 kN*m/deg\n    estimate: 2.6 kN*m/deg ± 0.2 kN*m/deg\n    serves:\n      car-{}: A third of the camber budget, which leaves 0.3 deg under 1.3 gn in the circle.\n    verify: {{by: test, with: compliance rig, due: 2027-05-20}}",
                    file % 10,
                    number % 40
                );
            } else {
                let _ = writeln!(
                    parts,
                    "  part-{number}:\n    title: Machined bracket number {number}, left and right\n    in: system-{}\n    count: 2\n    amounts:\n      mass: {{value: 0.62 kg ± 0.02 kg, basis: calculated}}\n      cost: 140 EUR\n    serves:\n      target-{}: It carries a third of the side force, and deflects no more than 0.1 mm at 3 kN.\n    verify: {{by: inspection, with: bench scale and gauge, due: 2027-05-01}}\n    notes: Second version after the test of November.",
                    file % 10,
                    number - number % PER_FILE
                );
            }
        }
        let content = if parts.len() > 8 { targets + &parts } else { targets };
        std::fs::write(folder.join(format!("file-{file}.yaml")), content).unwrap();
    }
    for args in [
        &["init", "-q"][..],
        &["add", "."],
        &["-c", "user.name=t", "-c", "user.email=t@example.org", "commit", "-qm", "all"],
    ] {
        let done = Command::new("git").arg("-C").arg(root).args(args).status().unwrap();
        assert!(done.success());
    }
}

fn measure(size: usize) {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    make(root, size);
    // One part is heavier than in the commit, staged and in the work tree.
    let edited = root.join("system-0/0/file-0.yaml");
    let text = std::fs::read_to_string(&edited).unwrap().replacen("0.62 kg", "0.64 kg", 1);
    std::fs::write(&edited, text).unwrap();
    assert!(Command::new("git").arg("-C").arg(root).args(["add", "."]).status().unwrap().success());
    let tierod = env!("CARGO_BIN_EXE_tierod");
    let me = std::env::current_exe().unwrap();
    let path = root.to_str().unwrap();
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/bench/script.py");
    let mut commands = vec![
        ("floor", vec![me.to_str().unwrap(), "--floor", path]),
        ("check", vec![tierod, "check", path]),
        ("check --staged", vec![tierod, "check", "--staged", path]),
        ("check --rev HEAD", vec![tierod, "check", "--rev", "HEAD", path]),
        ("delta HEAD", vec![tierod, "delta", "HEAD", "--root", path]),
        ("delta --staged", vec![tierod, "delta", "HEAD", "--staged", "--root", path]),
    ];
    let has_script =
        Command::new("python3").args(["-c", "import yaml, networkx; yaml.CSafeLoader"]).stderr(Stdio::null()).status();
    if size <= 10_000 && has_script.is_ok_and(|status| status.success()) {
        commands.push(("the team's script", vec!["python3", script, path]));
    }
    let rounds = if size > 20_000 { 5 } else { 11 };
    let mut times = vec![Vec::new(); commands.len()];
    for _ in 0..rounds {
        for (number, (name, command)) in commands.iter().enumerate() {
            if *name == "the team's script" && times[number].len() >= 3 {
                continue;
            }
            let (seconds, _) = run(command, false);
            times[number].push(seconds);
        }
    }
    let median = |times: &[f64]| {
        let mut times = times.to_vec();
        times.sort_by(f64::total_cmp);
        times[times.len() / 2]
    };
    let floor = median(&times[0]);
    let times_of_check = times[1].clone();
    for ((name, command), times) in commands.iter().zip(&times) {
        let peak =
            run(command, true).1.map_or_else(|| "?".to_owned(), |kib| format!("{:.0} MB", f64::from(kib) / 1000.0));
        let seconds = median(times);
        let to_check = seconds / median(&times_of_check);
        println!("{size:>8}  {name:22} {:>6.1} ms {:>8.2}x {to_check:>8.2}x {peak:>9}", seconds * 1e3, seconds / floor);
    }
}

/// One run: seconds, and the peak memory in KiB where GNU time is there to tell.
fn run(command: &[&str], peak: bool) -> (f64, Option<u32>) {
    let mut line: Vec<&str> = Vec::new();
    if Path::new("/usr/bin/taskset").exists() {
        line.extend(["/usr/bin/taskset", "-c", "0"]);
    }
    if peak {
        if !Path::new("/usr/bin/time").exists() {
            return (0.0, None);
        }
        line.extend(["/usr/bin/time", "-f", "%M"]);
    }
    line.extend(command);
    let start = Instant::now();
    let output = Command::new(line[0]).args(&line[1..]).stdout(Stdio::null()).stderr(Stdio::piped()).output().unwrap();
    let seconds = start.elapsed().as_secs_f64();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {said}");
    (seconds, said.lines().last().and_then(|line| line.trim().parse().ok()))
}
