//! Times and peak memory of `check` on roots of 1,000, 10,000 and 100,000 records, in one run with the bounds.
//!
//! `cargo bench --bench roots` prints the tables; `-- 1000 10000` names the sizes. All times are those of whole
//! processes; the median counts. Nothing here can fail for being slow.
//!
//! - The floor reads and parses the same bytes once, on one core, and does nothing with them.
//! - Cold: the cache folder (`tierod` in git's folder) is removed before each run.
//! - Warm: the same command has run before on the same files.
//! - Cores: a process is limited to one core or to two; where that is not possible, all runs use all cores.

#![allow(clippy::unwrap_used, clippy::print_stdout, reason = "a benchmark prints, and stops when it cannot run")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

/// The allocator of the tool, so that the floor is measured with the same one.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// Records per file, as in a team's repository.
const PER_FILE: usize = 10;

const TIEROD: &str = env!("CARGO_BIN_EXE_tierod");

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
    if !limit_to(2) {
        println!("processes cannot be limited to some cores here: all runs use all cores");
    }
    println!(
        "{:>8}  {:22} {:>5} {:>10} {:>9} {:>9} {:>9}",
        "records", "command", "cores", "median", "to floor", "to warm", "peak"
    );
    let example = example();
    let all: Vec<(usize, Vec<Row>)> = sizes.into_iter().map(|size| (size, measure(size))).collect();
    print_bounds(&example, &all);
}

/// The floor: every record file read and parsed once, and nothing done with it.
fn floor(root: &Path) {
    let mut records = 0;
    for entry in record_files(root) {
        let text = std::fs::read_to_string(entry).unwrap();
        let file: schema::records::RecordFile = serde_yaml::from_str(&text).unwrap();
        records += file.into_records().len();
    }
    assert!(records > 0);
}

fn record_files(root: &Path) -> Vec<PathBuf> {
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

/// Writes a root of `size` records: a goal, events, car targets, systems with targets, and parts of 380 bytes each.
fn write_root(root: &Path, size: usize) {
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
    commit_all(root);
}

/// Makes the folder a repository with one commit of all files.
fn commit_all(root: &Path) {
    for args in [
        &["init", "-q"][..],
        &["add", "."],
        &["-c", "user.name=t", "-c", "user.email=t@example.org", "commit", "-qm", "all"],
    ] {
        assert!(Command::new("git").arg("-C").arg(root).args(args).status().unwrap().success());
    }
}

/// One command that is measured.
struct Row {
    name: &'static str,
    command: Vec<String>,
    cores: usize,
    cold: bool,
    /// Seconds of each run.
    times: Vec<f64>,
    /// Peak memory in KiB, if GNU time is installed.
    peak: Option<u32>,
}

impl Row {
    fn new(name: &'static str, cores: usize, command: &[&str]) -> Self {
        let command = command.iter().map(|&word| word.to_owned()).collect();
        Self { name, command, cores, cold: name.ends_with("cold"), times: Vec::new(), peak: None }
    }

    fn median(&self) -> f64 {
        let mut times = self.times.clone();
        times.sort_by(f64::total_cmp);
        times[times.len() / 2]
    }

    fn megabytes(&self) -> Option<f64> {
        self.peak.map(|kib| f64::from(kib) * 1024.0 / 1e6)
    }
}

fn measure(size: usize) -> Vec<Row> {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    write_root(root, size);
    // In the working tree and the index, one part is heavier than in the commit.
    let edited = root.join("system-0/0/file-0.yaml");
    let text = std::fs::read_to_string(&edited).unwrap().replacen("0.62 kg", "0.64 kg", 1);
    std::fs::write(&edited, text).unwrap();
    assert!(Command::new("git").arg("-C").arg(root).args(["add", "."]).status().unwrap().success());
    let me = std::env::current_exe().unwrap();
    let path = root.to_str().unwrap();
    let mut rows = vec![Row::new("floor", 1, &[me.to_str().unwrap(), "--floor", path])];
    for cores in [2, 1] {
        rows.extend([
            Row::new("check, cold", cores, &[TIEROD, "check", path]),
            Row::new("check, warm", cores, &[TIEROD, "check", path]),
            Row::new("check --staged, warm", cores, &[TIEROD, "check", "--staged", path]),
            Row::new("check --rev HEAD, warm", cores, &[TIEROD, "check", "--rev", "HEAD", path]),
            Row::new("delta HEAD, warm", cores, &[TIEROD, "delta", "HEAD", "--root", path]),
        ]);
    }
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/bench/script.py");
    let has_script =
        Command::new("python3").args(["-c", "import yaml, networkx; yaml.CSafeLoader"]).stderr(Stdio::null()).status();
    if size <= 10_000 && has_script.is_ok_and(|status| status.success()) {
        rows.push(Row::new("a team's script", 1, &["python3", script, path]));
    }
    run_all(&mut rows, root, if size > 20_000 { 5 } else { 11 });
    print_rows(&size.to_string(), &rows);
    rows
}

/// `check` of the example car, in a repository of its own.
fn example() -> Vec<Row> {
    let folder = tempfile::tempdir().unwrap();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("../example-car");
    assert!(Command::new("cp").arg("-R").arg(source).arg(folder.path().join("car")).status().unwrap().success());
    commit_all(folder.path());
    let car = folder.path().join("car");
    let car = car.to_str().unwrap();
    let mut rows = Vec::new();
    for cores in [2, 1] {
        rows.push(Row::new("check, cold", cores, &[TIEROD, "check", car]));
        rows.push(Row::new("check, warm", cores, &[TIEROD, "check", car]));
    }
    run_all(&mut rows, folder.path(), 21);
    print_rows("example", &rows);
    rows
}

/// Runs all commands in turn, and each once more for its peak memory.
fn run_all(rows: &mut [Row], root: &Path, rounds: usize) {
    let remove_cache = || drop(std::fs::remove_dir_all(root.join(".git/tierod")));
    for round in 0..=rounds {
        for row in rows.iter_mut().filter(|row| row.cold) {
            remove_cache();
            row.take(round == rounds);
        }
        for row in rows.iter_mut().filter(|row| !row.cold) {
            let slow = row.name == "a team's script";
            if slow && (3..rounds).contains(&round) {
                continue;
            }
            if !slow && row.name != "floor" {
                run(&row.command, row.cores, false);
            }
            row.take(round == rounds);
        }
    }
}

impl Row {
    /// Runs the command and keeps its time, or its peak memory.
    fn take(&mut self, peak: bool) {
        let (seconds, kib) = run(&self.command, self.cores, peak);
        if peak {
            self.peak = kib;
        } else {
            self.times.push(seconds);
        }
    }
}

/// Limits the processes that follow, and this one, to so many cores.
#[cfg(target_os = "linux")]
fn limit_to(cores: usize) -> bool {
    use rustix::thread::{CpuSet, sched_setaffinity};
    let mut set = CpuSet::new();
    (0..cores).for_each(|core| set.set(core));
    sched_setaffinity(None, &set).is_ok()
}

#[cfg(not(target_os = "linux"))]
fn limit_to(_cores: usize) -> bool {
    false
}

/// One run: seconds, and the peak memory in KiB if it is asked for and GNU time is installed.
fn run(command: &[String], cores: usize, peak: bool) -> (f64, Option<u32>) {
    limit_to(cores);
    let mut line: Vec<&str> = Vec::new();
    if peak {
        if !Path::new("/usr/bin/time").exists() {
            return (0.0, None);
        }
        line.extend(["/usr/bin/time", "-f", "%M"]);
    }
    line.extend(command.iter().map(String::as_str));
    let start = Instant::now();
    let output = Command::new(line[0]).args(&line[1..]).stdout(Stdio::null()).stderr(Stdio::piped()).output().unwrap();
    let seconds = start.elapsed().as_secs_f64();
    let error = String::from_utf8_lossy(&output.stderr);
    // Status 1 is a report with errors.
    assert!(output.status.code().is_some_and(|code| code < 2), "{command:?}: {error}");
    (seconds, error.lines().last().and_then(|line| line.trim().parse().ok()))
}

/// The row with a name on a number of cores.
fn find<'a>(rows: &'a [Row], name: &str, cores: usize) -> Option<&'a Row> {
    rows.iter().find(|row| row.name == name && row.cores == cores)
}

fn print_rows(label: &str, rows: &[Row]) {
    for row in rows {
        let ratio = |to: Option<&Row>| {
            to.map_or_else(|| "-".to_owned(), |other| format!("{:.2}x", row.median() / other.median()))
        };
        let peak = row.megabytes().map_or_else(|| "?".to_owned(), |number| format!("{number:.0} MB"));
        println!(
            "{label:>8}  {:22} {:>5} {:>7.1} ms {:>9} {:>9} {peak:>9}",
            row.name,
            row.cores,
            row.median() * 1e3,
            ratio(find(rows, "floor", 1)),
            ratio(find(rows, "check, warm", row.cores)),
        );
    }
}

/// The bounds of the design (on two cores), next to what was measured.
fn print_bounds(example: &[Row], all: &[(usize, Vec<Row>)]) {
    println!("\n{:56} {:>9} {:>9}", "bound, on two cores", "measured", "at most");
    let line = |name: String, measured: Option<f64>, most: f64, unit: &str| {
        if let Some(measured) = measured {
            let mark = if measured <= most { "" } else { "  missed" };
            println!("{name:56} {measured:>9.2} {most:>9.2} {unit}{mark}");
        }
    };
    let ratio = |rows: &[Row], one: &str, (to, cores): (&str, usize)| {
        Some(find(rows, one, 2)?.median() / find(rows, to, cores)?.median())
    };
    for (size, rows) in all {
        line(format!("{size} records: cold / floor"), ratio(rows, "check, cold", ("floor", 1)), 1.0, "");
        line(format!("{size} records: warm / floor"), ratio(rows, "check, warm", ("floor", 1)), 0.5, "");
        let staged = ratio(rows, "check --staged, warm", ("check, warm", 2));
        line(format!("{size} records: --staged warm / check warm"), staged, 1.2, "");
        if *size == 10_000 {
            let peaks = ["check, cold", "check, warm"].map(|name| find(rows, name, 2).and_then(Row::megabytes));
            line(format!("{size} records: peak memory"), peaks.into_iter().flatten().reduce(f64::max), 100.0, "MB");
        }
    }
    // A fifth more per record counts as linear: tables grow in steps, and caches of the processor are passed.
    if let [.., (fewer, before), (more, after)] = all {
        for name in ["check, cold", "check, warm"] {
            let times = find(before, name, 2).zip(find(after, name, 2)).map(|(a, b)| b.median() / a.median());
            let grown = times.map(|times| times * *fewer as f64 / *more as f64);
            line(format!("{name}: time per record, {more} to {fewer} records"), grown, 1.2, "");
        }
        let peaks = find(before, "check, cold", 2).zip(find(after, "check, cold", 2));
        let peaks = peaks.and_then(|(a, b)| Some(b.megabytes()? / a.megabytes()?));
        let grown = peaks.map(|times| times * *fewer as f64 / *more as f64);
        line(format!("memory per record, {more} to {fewer} records"), grown, 1.2, "");
    }
    line("example: check, cold".to_owned(), find(example, "check, cold", 2).map(|row| row.median() * 1e3), 20.0, "ms");
    line("example: check, warm".to_owned(), find(example, "check, warm", 2).map(|row| row.median() * 1e3), 20.0, "ms");
}
