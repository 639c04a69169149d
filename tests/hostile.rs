//! Files that were written by mistake or to do harm: each is reported quickly, in little memory, with a place.

#![allow(clippy::print_stdout, reason = "a test prints what it measured or skipped")]

use std::fs;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::path::Path;
use std::time::Instant;

use serde_json::Value;

use crate::support::{Answer, SETTINGS, Sandbox, copy_program};

/// The answer of a command, with its time and memory.
pub(crate) struct Run {
    pub(crate) answer: Answer,
    seconds: f64,
    /// The peak of the resident memory in KiB, if `/usr/bin/time` is installed.
    pub(crate) peak: Option<u64>,
}

/// The limit of the address space: 400 MB are enough for every command. Without `MALLOC_ARENA_MAX`, glibc reserves up to
/// 128 MB of addresses for each thread that calls it, which is not memory.
const LIMIT: &str = "ulimit -v 400000; exec \"$@\"";

/// Seconds. An optimized build needs less than one; a busy machine and a debug build may need more.
const LONGEST: f64 = if cfg!(debug_assertions) { 60.0 } else { 5.0 };

/// Runs tierod with little memory; it must neither panic nor crash nor take long.
#[track_caller]
pub(crate) fn run(sandbox: &Sandbox, args: &[&str]) -> Run {
    measure(sandbox, LIMIT, env!("CARGO_BIN_EXE_tierod"), args)
}

#[track_caller]
fn measure(sandbox: &Sandbox, script: &str, binary: &str, args: &[&str]) -> Run {
    let note = sandbox.outside().join("time");
    let mut command = sandbox.command("sh", &sandbox.path());
    command.args(["-c", script, "sh"]).env("MALLOC_ARENA_MAX", "1");
    let timed = Path::new("/usr/bin/time").exists();
    if timed {
        command.args(["/usr/bin/time", "-q", "-f", "%M", "-o"]).arg(&note);
    }
    let start = Instant::now();
    let output = command.arg(binary).args(args).output().unwrap();
    let seconds = start.elapsed().as_secs_f64();
    let peak = fs::read_to_string(&note).ok().filter(|_| timed).and_then(|text| text.trim().parse().ok());
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let code = output.status.code().unwrap_or(-1);
    let answer = Answer { code, out: text(&output.stdout), err: text(&output.stderr) };
    let test = std::thread::current().name().unwrap_or("").to_owned();
    println!("{test}: tierod {} -> {code}, {seconds:.2} s, {} MiB", args.join(" "), peak.unwrap_or(0) / 1024);
    let err = answer.err.get(..2000).unwrap_or(&answer.err);
    assert!((0..=2).contains(&code), "{args:?} ended with {code}: {err}");
    assert!(!answer.err.contains("panicked"), "{err}");
    assert!(seconds < LONGEST, "{args:?} took {seconds} s");
    Run { answer, seconds, peak }
}

/// The findings of `check` in a file, with the status asserted.
#[track_caller]
pub(crate) fn findings(sandbox: &Sandbox, path: &str, code: i32) -> Vec<Value> {
    let run = run(sandbox, &["check", "--format", "json"]);
    assert_eq!(run.answer.code, code, "{}", run.answer.err.get(..2000).unwrap_or(&run.answer.err));
    assert!(run.seconds < LONGEST && run.peak.is_none_or(|peak| peak < 400_000));
    let report = run.answer.json();
    report["findings"].as_array().unwrap().iter().filter(|finding| finding["path"] == path).cloned().collect()
}

/// A root with a good chain and one bad file, which must be reported as unreadable at a place, with a word in the message.
#[track_caller]
fn unreadable(what: &str, content: impl AsRef<[u8]>, place: (u64, u64), word: &str) {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("bad.yaml", content);
    assert_unreadable(&sandbox, what, place, word);
}

#[track_caller]
fn assert_unreadable(sandbox: &Sandbox, what: &str, place: (u64, u64), word: &str) {
    let found = findings(sandbox, "bad.yaml", 1);
    assert_eq!(found.len(), 1, "{what}: {found:#?}");
    let finding = &found[0];
    let message = finding["message"].as_str().unwrap();
    assert_eq!(finding["check"], "unreadable-file", "{what}: {finding}");
    assert!(message.contains(word), "{what}: {message:?} lacks {word:?}");
    assert!(!finding["help"].as_str().unwrap().is_empty());
    assert_eq!((finding["line"].as_u64().unwrap(), finding["column"].as_u64().unwrap()), place, "{what}: {message}");
}

#[test]
fn alias_bombs() {
    let mut bomb = String::from("a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n");
    for level in 1..30 {
        let before = format!("*a{}", level - 1);
        bomb.push_str(&format!("a{level}: &a{level} [{}]\n", vec![before; 10].join(", ")));
    }
    // An alias in the sixth line expands to more than a million values.
    unreadable("lists of lists", bomb, (6, 45), "1,000,000");

    let ids: Vec<String> = (0..50_000).map(|number| format!("i{number}")).collect();
    let mut lists = format!("analyses:\n  a: {{informs: &a [{}]}}\n", ids.join(", "));
    (0..1000).for_each(|number| lists.push_str(&format!("  b{number}: {{informs: *a}}\n")));
    unreadable("one list a thousand times", lists, (21, 18), "1,000,000");

    let mut texts = format!("systems:\n  a: {{in: car, notes: &n {}}}\n", "long ".repeat(600_000));
    (0..1000).for_each(|number| texts.push_str(&format!("  b{number}: {{in: car, notes: *n}}\n")));
    unreadable("one text a thousand times", texts, (12, 24), "1,000,000");
}

#[test]
fn long_globs() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let glob = |part: &str, number: usize| format!("- \"{}{number}b\"\n", part.repeat(490));
    let globs: String = (0..999).map(|number| glob("**/[a-z]", number)).collect();
    sandbox.write("tierod.yaml", format!("{SETTINGS}ignore:\n{globs}"));
    let found = findings(&sandbox, "tierod.yaml", 1);
    let long = |finding: &&Value| finding["message"].as_str().unwrap().contains("has more than 300 characters");
    let lines: Vec<u64> = found.iter().filter(long).map(|finding| finding["line"].as_u64().unwrap()).collect();
    let first = SETTINGS.lines().count() as u64 + 2;
    assert_eq!(lines, (first..first + 999).collect::<Vec<_>>());

    let globs: String = (0..999).map(|number| format!("- \"{}{number}b\"\n", "**/[a-z]".repeat(30))).collect();
    sandbox.write("tierod.yaml", format!("{SETTINGS}ignore:\n{globs}"));
    let found = findings(&sandbox, "tierod.yaml", 1);
    let [one] = &found[..] else { panic!("{found:?}") };
    assert!(one["message"].as_str().unwrap().contains("more than 20,000 characters"), "{one}");
    // 82 have 242 or 243 characters each.
    assert_eq!(one["line"], first + 82);
}

#[test]
fn aliases_in_moderation_are_read() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("alias.yaml", "systems:\n  brakes: &b {in: car, lead: brake lead}\n  wheels: *b\n");
    assert_eq!(findings(&sandbox, "alias.yaml", 0), [Value::Null; 0]);
}

#[test]
fn deep_nesting() {
    unreadable("[", format!("parts: {}", "[".repeat(20_000)), (1, 263), "64 levels");
    unreadable("{", format!("parts: {}", "{a: ".repeat(20_000)), (1, 260), "64 levels");
    unreadable("-", format!("parts:\n  {}", "- ".repeat(20_000)), (2, 129), "64 levels");
    unreadable("?", format!("parts:\n  {}", "? ".repeat(20_000)), (2, 129), "64 levels");
    // Brackets in quotes do not count as closing ones.
    unreadable("hidden", format!("parts: {}", "[\"]\", ".repeat(100_000)), (1, 1538), "64 levels");
    unreadable("hidden by comments", format!("parts:\n{}", " [ # ]\n".repeat(100_000)), (257, 2), "64 levels");

    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let notes = "[{".repeat(10_000);
    sandbox.write("quoted.yaml", format!("systems:\n  brakes: {{in: car, lead: brake lead, notes: \"{notes}\"}}\n"));
    assert_eq!(findings(&sandbox, "quoted.yaml", 0), [Value::Null; 0]);
}

#[test]
fn files_of_a_hundred_megabytes() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    fs::File::create(sandbox.path_of("bad.yaml")).unwrap().set_len(100 << 20).unwrap();
    assert_unreadable(&sandbox, "sparse", (1, 1), "100.0 MiB");
    let line = "# a comment that goes on and on, as comments do, until the line has seventy-two\n";
    unreadable("real content", line.repeat((100 << 20) / line.len()), (1, 1), "MiB");
}

#[test]
fn bytes_that_are_not_text() {
    unreadable("NUL", "parts:\n  a\0b: {in: car}\n", (2, 4), "NUL");
    unreadable("not UTF-8", b"parts:\n  \xc3\xa9\xff: {in: car}\n", (2, 4), "UTF-8");
    unreadable("cut character", b"parts:\r  a: \xc3", (2, 6), "UTF-8");
    let utf16 = |order: fn(u16) -> [u8; 2]| "\u{feff}parts:\n".encode_utf16().flat_map(order).collect::<Vec<u8>>();
    unreadable("UTF-16, little end first", utf16(u16::to_le_bytes), (1, 1), "UTF-16");
    unreadable("UTF-16, big end first", utf16(u16::to_be_bytes), (1, 1), "UTF-16");
    let unmarked: Vec<u8> = "parts:\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    unreadable("UTF-16 without a mark", unmarked, (1, 2), "NUL");
}

#[test]
fn a_byte_order_mark_is_skipped() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    sandbox.write("mark.yaml", "\u{feff}systems:\r\n  brakes: {in: car, lead: brake lead, titel: B}\r\n");
    let found = findings(&sandbox, "mark.yaml", 1);
    assert_eq!(found.len(), 1);
    assert_eq!((found[0]["line"].as_u64(), found[0]["column"].as_u64()), (Some(2), Some(39)), "{}", found[0]);
}

#[test]
fn entries_that_are_not_files() {
    let made = |make: &dyn Fn(&Sandbox)| {
        let sandbox = Sandbox::new();
        sandbox.small_root("");
        make(&sandbox);
        sandbox
    };
    let loop_file = made(&|sandbox| symlink("bad.yaml", sandbox.path_of("bad.yaml")).unwrap());
    assert_unreadable(&loop_file, "a link to itself", (1, 1), "");
    let dangling = made(&|sandbox| symlink("absent.yaml", sandbox.path_of("bad.yaml")).unwrap());
    assert_unreadable(&dangling, "a link to nothing", (1, 1), "");
    let fifo = made(&|sandbox| {
        assert!(sandbox.command("mkfifo", &sandbox.path()).arg("bad.yaml").status().unwrap().success());
    });
    assert_unreadable(&fifo, "a pipe", (1, 1), "");
    let socket = made(&|sandbox| drop(std::os::unix::net::UnixListener::bind(sandbox.path_of("bad.yaml")).unwrap()));
    assert_unreadable(&socket, "a socket", (1, 1), "");

    // A folder with such a name is a folder, and a link to a parent folder does not cause an endless loop.
    let folder = made(&|sandbox| sandbox.write("bad.yaml/inside.yaml", "part: {}\n"));
    assert_eq!(findings(&folder, "bad.yaml/inside.yaml", 1).len(), 1);
    let circle = made(&|sandbox| {
        fs::create_dir(sandbox.path_of("sub")).unwrap();
        symlink("..", sandbox.path_of("sub/up")).unwrap();
        symlink("sub", sandbox.path_of("again")).unwrap();
    });
    let report = run(&circle, &["check", "--format", "json"]).answer.ended(0).json();
    assert_eq!(report["summary"]["records"], 5, "no record is read twice");
}

/// Runs tierod as a user without special permissions; `None` if that is not possible here.
fn as_other_user(sandbox: &Sandbox, args: &[&str]) -> Option<Run> {
    let binary = sandbox.outside().join("tierod");
    copy_program(&binary);
    let id = sandbox.command("id", &sandbox.path()).arg("-u").output().unwrap().stdout;
    let script = if id.starts_with(b"0\n") {
        let open = |path: &Path| fs::set_permissions(path, fs::Permissions::from_mode(0o777)).unwrap();
        [sandbox.outside(), &sandbox.path(), &binary].into_iter().for_each(open);
        let there = sandbox.command("setpriv", &sandbox.path()).arg("--version").output();
        if there.is_err() {
            println!("skipped: running as root, and setpriv is not there");
            return None;
        }
        "ulimit -v 400000; exec setpriv --reuid=65534 --regid=65534 --clear-groups \"$@\""
    } else {
        LIMIT
    };
    Some(measure(sandbox, script, binary.to_str().unwrap(), args))
}

#[test]
fn files_without_read_permission() {
    let locked = |path: &str| {
        let sandbox = Sandbox::new();
        sandbox.small_root("");
        sandbox.write("closed/inside.yaml", "parts: {}\n");
        sandbox.write("bad.yaml", "parts: {}\n");
        fs::set_permissions(sandbox.path_of(path), fs::Permissions::from_mode(0o000)).unwrap();
        let run = as_other_user(&sandbox, &["check", "--format", "json"]);
        fs::set_permissions(sandbox.path_of(path), fs::Permissions::from_mode(0o700)).unwrap();
        run
    };
    for (path, expected) in [("bad.yaml", "bad.yaml"), ("closed", "closed")] {
        let Some(run) = locked(path) else { return };
        let report = run.answer.ended(1).json();
        let here: Vec<&Value> =
            report["findings"].as_array().unwrap().iter().filter(|f| f["level"] == "error").collect();
        assert_eq!(here.len(), 1, "{path}: {report:#}");
        assert_eq!(here[0]["check"], "unreadable-file", "{path}");
        assert_eq!(here[0]["path"], expected, "{path}");
    }
    if let Some(run) = locked("tierod.yaml") {
        let answer = run.answer;
        assert!(answer.code > 0, "settings that may not be read: {}", answer.out);
        assert!(
            answer.out.contains("tierod.yaml") || answer.err.contains("tierod.yaml"),
            "{}{}",
            answer.out,
            answer.err
        );
    }
}

#[test]
fn long_keys_ids_and_texts() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let long = "a".repeat(1 << 20);
    sandbox.write("key.yaml", format!("parts:\n  hub:\n    in: suspension\n    ? {long}\n    : 1\n"));
    sandbox.write("quantity.yaml", format!("targets:\n  q:\n    of: car\n    at-most: {}\n", "9".repeat(1 << 20)));
    sandbox.write("reason.yaml", format!("goals:\n  g: {{place: 1, lead: x, reason: {}}}\n", "why ".repeat(7 << 18)));
    sandbox.write("id.yaml", format!("systems:\n  ? {long}\n  : {{in: car, lead: x}}\n"));
    let keys: String = (0..10_000).map(|number| format!("    k{number}: x\n")).collect();
    sandbox.write("keys.yaml", format!("parts:\n  many:\n    in: suspension\n{keys}"));
    let serves: String = (0..10_000).map(|number| format!("      k{number}: Because it is so.\n")).collect();
    sandbox.write("serves.yaml", format!("parts:\n  rim:\n    in: suspension\n    serves:\n{serves}"));
    let run = run(&sandbox, &["check", "--format", "json"]);
    let report = run.answer.ended(1).json();
    let at = |path: &str, check: &str| {
        let here = |finding: &&Value| finding["path"] == path && finding["check"] == check;
        let mut places: Vec<(u64, u64)> = report["findings"]
            .as_array()
            .unwrap()
            .iter()
            .filter(here)
            .map(|finding| (finding["line"].as_u64().unwrap(), finding["column"].as_u64().unwrap()))
            .collect();
        places.sort_unstable();
        places
    };
    assert_eq!(at("key.yaml", "unknown-key"), [(4, 7)]);
    assert_eq!(at("quantity.yaml", "bad-value"), [(4, 14)]);
    assert_eq!(at("id.yaml", "bad-value"), [(2, 5)]);
    assert_eq!(at("reason.yaml", "bad-value"), [(2, 34)]);
    assert_eq!(at("keys.yaml", "unknown-key").first(), Some(&(4, 5)));
    let broken = at("serves.yaml", "unknown-reference");
    assert_eq!((broken.len(), broken[0], broken[9_999]), (10_000, (5, 7), (10_004, 7)));
    for finding in report["findings"].as_array().unwrap() {
        let length = finding["message"].as_str().unwrap().len();
        assert!(length < 2000, "{} has {length} bytes", finding["check"]);
    }
}

#[test]
fn hostile_titles() {
    let sandbox = Sandbox::new();
    sandbox.small_root("");
    let title = "\\e[2J\\e]0;owned\\a\\x9b31m\\u202e\\u2066\\r\\b<script>alert(1)</script>\\u200f\\u061c";
    sandbox.write(
        "title.yaml",
        format!("systems:\n  brakes: {{in: car, lead: \"{title}\", title: \"{title}\"}}\ntargets:\n  t:\n    of: brakes\n    title: \"{title}\"\n    at-most: 1 s\n    total: \"{title}\"\n    serves: {{circle-time: \"{title}\", \"{title}\": x}}\n"),
    );
    let raw = fs::read_to_string(sandbox.path_of("chain.yaml")).unwrap();
    sandbox.write("chain.yaml", raw.replace("top-ten: {", "top-ten: {title: \"a\\e[31m\\u202eb\", "));
    sandbox.write("\u{1b}[31m.yaml", "part: {}\n");
    for args in [
        &["check"][..],
        &["check", "--color", "always"],
        &["why", "t"],
        &["why", "circle-time"],
        &["graph"],
        &["graph", "--format", "dot"],
        &["why", "\u{1b}[2J"],
        &["explain", "\u{1b}[2J"],
    ] {
        let run = run(&sandbox, args);
        for text in [&run.answer.out, &run.answer.err] {
            // Only the tool's own colours may be there.
            let mut rest = text.as_str();
            while let Some(at) = rest.find('\u{1b}') {
                let end = rest[at..].find('m').map_or(rest.len(), |end| at + end);
                let ours = args.contains(&"always") && rest[at + 1..end].chars().all(|c| "[;0123456789".contains(c));
                let own = ours && rest[at + 1..].starts_with('[');
                assert!(own, "{args:?} writes an escape code: {:?}", &rest[at..end]);
                rest = &rest[end..];
            }
            let hostile = |c: char| {
                (c.is_control() && !"\n\u{1b}".contains(c))
                    || ('\u{202a}'..='\u{202e}').contains(&c)
                    || ('\u{2066}'..='\u{2069}').contains(&c)
            };
            assert!(!text.contains(hostile), "{args:?} writes {:?} raw", text.chars().find(|c| hostile(*c)));
        }
    }
    // JSON writes control characters as escapes.
    let json = run(&sandbox, &["check", "--format", "json"]).answer;
    assert!(!json.out.contains('\u{1b}'));
    json.json();
}

#[test]
fn roots_without_records() {
    let empty = Sandbox::new();
    empty.write("tierod.yaml", "");
    assert_eq!(findings(&empty, "tierod.yaml", 0), [Value::Null; 0]);
}

#[test]
fn a_root_without_a_readable_file() {
    let broken = Sandbox::new();
    broken.write("tierod.yaml", SETTINGS);
    broken.write("a.yaml", "parts: [");
    broken.write("b.yaml", b"\xff");
    // Each is an error with a place, which is more helpful than a failure.
    let run = run(&broken, &["check"]);
    assert_eq!(run.answer.code, 1, "{}{}", run.answer.out, run.answer.err);
    let report = format!("{}{}", run.answer.out, run.answer.err);
    assert!(report.contains("a.yaml"), "{report}");
}

#[test]
fn invalid_settings() {
    for (what, content, line, column) in [
        ("broken", &b"season: [2027\n"[..], 2, 1),
        ("bytes", b"season: \xff\n", 1, 9),
        ("a list", b"- a\n", 1, 1),
        ("a key twice", b"season: 2027\nseason: 2028\n", 2, 1),
        ("a tag", b"season: !x 2027\n", 1, 9),
        ("a word", b"season: soon\n", 1, 9),
    ] {
        let sandbox = Sandbox::new();
        sandbox.small_root("");
        sandbox.write("tierod.yaml", content);
        let run = run(&sandbox, &["check", "--format", "json"]);
        let report = run.answer.ended(1).json();
        let here: Vec<&Value> =
            report["findings"].as_array().unwrap().iter().filter(|finding| finding["path"] == "tierod.yaml").collect();
        assert_eq!(here.len(), 1, "{what}: {here:#?}");
        assert_eq!(
            (here[0]["line"].as_u64(), here[0]["column"].as_u64()),
            (Some(line), Some(column)),
            "{what}: {}",
            here[0]
        );
    }
    let huge = Sandbox::new();
    huge.small_root("");
    fs::File::create(huge.path_of("tierod.yaml")).unwrap().set_len(100 << 20).unwrap();
    assert_eq!(findings(&huge, "tierod.yaml", 1).len(), 1);

    // A folder of that name does not make a project root; a link does, and is followed or reported.
    let folder = Sandbox::new();
    folder.write("tierod.yaml/x.yaml", "parts: {}\n");
    let answer = run(&folder, &["check"]).answer;
    assert!(
        answer.code > 0 && format!("{}{}", answer.out, answer.err).contains("tierod.yaml"),
        "{}{}",
        answer.out,
        answer.err
    );
    let link = Sandbox::new();
    link.small_root("");
    fs::rename(link.path_of("tierod.yaml"), link.outside().join("elsewhere.yaml")).unwrap();
    symlink("../elsewhere.yaml", link.path_of("tierod.yaml")).unwrap();
    let answer = run(&link, &["check"]).answer;
    assert!(
        answer.code == 0 || format!("{}{}", answer.out, answer.err).contains("tierod.yaml"),
        "{}{}",
        answer.out,
        answer.err
    );
}
