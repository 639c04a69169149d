//! Histories and changes in which one part is repeated very often: what a command does grows with what is there, not with its
//! square.

use crate::support::Sandbox;

/// Seconds on a processor in a build for tests; a few are needed.
const MOST: u32 = 10;

/// A history for `git fast-import`.
#[derive(Default)]
struct Stream {
    text: String,
    commits: usize,
}

impl Stream {
    fn new() -> Self {
        let mut stream = Self::default();
        stream.commit("main", &[], &[("tierod.yaml", Some("season: 2027\n"))]);
        stream
    }

    /// Adds a commit with changed and removed files, after the branch or after these commits; returns its mark.
    fn commit(&mut self, branch: &str, parents: &[usize], files: &[(&str, Option<&str>)]) -> usize {
        self.commits += 1;
        let time = 1_700_000_000 + 3600 * self.commits;
        self.text += &format!("commit refs/heads/{branch}\nmark :{}\n", self.commits);
        self.text += &format!("committer Team <team@example.org> {time} +0000\ndata 1\nx\n");
        for (at, parent) in parents.iter().enumerate() {
            self.text += &format!("{} :{parent}\n", if at == 0 { "from" } else { "merge" });
        }
        for (path, content) in files {
            self.text += &match content {
                Some(content) => format!("M 100644 inline {path}\ndata {}\n{content}\n", content.len()),
                None => format!("D {path}\n"),
            };
        }
        self.text += "\n";
        self.commits
    }

    fn repository(self) -> Sandbox {
        let sandbox = Sandbox::repository();
        let path = sandbox.outside().join("stream");
        std::fs::write(&path, self.text).unwrap();
        let stream = std::fs::File::open(path).unwrap();
        let import = sandbox.command("git", &sandbox.path()).args(["fast-import", "--quiet"]).stdin(stream).status();
        assert!(import.unwrap().success());
        sandbox.git(&["reset", "-q", "--hard", "main"]);
        sandbox
    }
}

pub(crate) fn repeated(number: usize, line: impl Fn(usize) -> String) -> String {
    (0..number).map(line).collect()
}

/// A number without digits: some names may have none.
fn letters(number: usize) -> String {
    format!("{number:05}").bytes().map(|digit| char::from(b'a' + digit - b'0')).collect()
}

#[test]
fn one_record_in_many_files() {
    let mut stream = Stream::new();
    let paths: Vec<String> = (0..40_000).map(|at| format!("d{}/f{at}.yaml", at / 1000)).collect();
    let all = |content: Option<&'static str>| paths.iter().map(|path| (path.as_str(), content)).collect::<Vec<_>>();
    stream.commit("main", &[], &all(Some("goals: {win: {title: x}}")));
    stream.commit("main", &[], &[all(None), vec![("goal.yaml", Some("goals: {other: {title: x}}"))]].concat());
    let sandbox = stream.repository();
    sandbox.within_seconds(MOST, &["check", "--on", "2024-01-01"]).ended(1);
}

#[test]
fn many_results_before_many_changes_of_a_part() {
    let (mut stream, targets) = (Stream::new(), 400);
    let part =
        |mass: usize| format!("systems: {{s: {{title: x}}}}\nparts: {{p: {{in: s, amounts: {{mass: {mass} kg}}}}}}\n");
    let about = repeated(targets, |at| format!("  t{at}: {{of: s, at-most: 5 s}}\n"));
    let results = repeated(targets, |at| format!("  r{at}: {{of: t{at}, value: 3 s, date: 2023-11-01}}\n"));
    let targets = format!("targets:\n{about}results:\n{results}");
    stream.commit("main", &[], &[("targets.yaml", Some(&targets)), ("part.yaml", Some(&part(1)))]);
    for mass in 2..1000 {
        stream.commit("main", &[], &[("part.yaml", Some(&part(mass)))]);
    }
    let sandbox = stream.repository();
    let answer = sandbox.within_seconds(MOST, &["check", "--on", "2024-01-01", "--format", "json"]).ended(1).json();
    let stale = answer["findings"].as_array().unwrap().iter().filter(|own| own["check"] == "stale-result").count();
    assert_eq!(stale, 400);
}

#[test]
fn a_target_that_many_commits_change() {
    let mut stream = Stream::new();
    let target = |at: usize| {
        let given = repeated(10, |name| format!("g{name}: {at} s, "));
        format!(
            "goals: {{win: {{title: x}}}}\nevents: {{e: {{most: 10 pts, plan: 5 pts, serves: {{win: x}}}}}}\ntargets:\n  t: \
             {{of: car, at-most: {at} s, estimate: 1 s, title: n{at}, given: {{{given}}}, serves: {{e: x}}}}\n"
        )
    };
    for at in 1..4000 {
        stream.commit("main", &[], &[("target.yaml", Some(&target(at)))]);
    }
    let sandbox = stream.repository();
    sandbox.within_seconds(MOST, &["page"]).ended(0);
}

#[test]
fn many_numbers_of_a_table_that_many_commits_change() {
    let mut stream = Stream::new();
    let system = "systems: {s: {title: x}}\n";
    let amounts = repeated(250, |at| {
        format!("      a{}: {{value: {{from: t.csv, column: x, unit: kg, take: mean}}, basis: weighed}}\n", letters(at))
    });
    let part = format!("{system}parts:\n  p:\n    in: s\n    amounts:\n{amounts}");
    stream.commit("main", &[], &[("part.yaml", Some(&part)), ("t.csv", Some("x\n1\n"))]);
    for at in 2..600 {
        stream.commit("main", &[], &[("t.csv", Some(&format!("x\n{at}\n")))]);
    }
    stream.commit("main", &[], &[("part.yaml", Some(system))]);
    let sandbox = stream.repository();
    sandbox.within_seconds(MOST, &["check", "--on", "2024-01-01"]).ended(1);
}

#[test]
fn many_findings_in_a_file_that_another_one_replaces() {
    let mut stream = Stream::new();
    let keys = |word: &str| repeated(20_000, |at| format!("{word}{at:05}: {{}}\n"));
    stream.commit("main", &[], &[("a.yaml", Some(&keys("kind")))]);
    stream.commit("main", &[], &[("a.yaml", None), ("b.yaml", Some(&keys("kjnd")))]);
    let sandbox = stream.repository();
    let answer = sandbox.within_seconds(MOST, &["delta", "HEAD~1", "--format", "json"]).ended(1).json();
    assert_eq!(answer["new"].as_array().unwrap().len(), 20_000);
}

/// Of many records that are alike, each is compared with those that have about the same place by id: all pairs do not fit into
/// the memory that a command may take.
#[test]
fn many_equal_parts_with_other_ids() {
    let (mut stream, number) = (Stream::new(), 4000);
    let all = |letter: char| {
        let parts = repeated(number, |at| format!("  {letter}{at:05}: {{count: 2, in: s, title: x}}\n"));
        format!("systems: {{s: {{title: x}}}}\nparts:\n{parts}")
    };
    stream.commit("main", &[], &[("parts.yaml", Some(&all('p')))]);
    stream.commit("main", &[], &[("parts.yaml", Some(&all('q')))]);
    let sandbox = stream.repository();
    let answer = sandbox.within_seconds(MOST, &["delta", "HEAD~1", "--format", "json"]).json();
    let likely = answer["renamed"].as_array().unwrap();
    assert_eq!(likely.len(), number);
    for pair in likely {
        assert_eq!(pair["from"].as_str().unwrap()[1..], pair["to"].as_str().unwrap()[1..], "{pair}");
    }
}

#[test]
fn only_so_many_names_of_amounts_are_added_up() {
    let mut stream = Stream::new();
    let parts = repeated(1200, |at| format!("  p{at}: {{in: s, amounts: {{m{}: 1 kg}}}}\n", letters(at)));
    let text = format!("systems: {{s: {{title: x}}}}\nparts:\n{parts}");
    stream.commit("main", &[], &[("parts.yaml", Some(&text))]);
    let sandbox = stream.repository();
    let answer = sandbox.tierod(&["check", "--format", "lines"]).ended(1);
    let over = "the records have more than 1000 different amounts; this one and further ones are not added up";
    assert_eq!(answer.out.matches(over).count(), 1, "{}", answer.out);
    assert!(answer.out.contains("parts.yaml:1003:"), "at the first one above it");
}

/// What is visited in the branches of merges is bounded, and whether a part of it is in a cache changes nothing.
#[test]
fn a_branch_that_is_merged_again_and_again() {
    let mut stream = Stream::new();
    let target =
        |limit: usize| format!("goals: {{win: {{title: x}}}}\ntargets:\n  t: {{of: car, at-most: {limit} s}}\n");
    let root = stream.commit(
        "main",
        &[],
        &[("car/tierod.yaml", Some("season: 2027\n")), ("car/t.yaml", Some(&target(1))), ("tierod.yaml", None)],
    );
    let mut branch = root;
    for at in 0..1000 {
        branch = stream.commit("long", &[branch], &[("README", Some(&format!("{at}\n")))]);
    }
    let mut main = root;
    for at in 0..260 {
        let limit = target(at + 2);
        let files = [("car/t.yaml", Some(limit.as_str()))];
        let side = stream.commit("side", &[branch], &files);
        main = stream.commit("main", &[main, side], &files);
    }
    let last = target(261);
    let result = "results:\n  run: {of: t, value: 500 s, date: 2023-12-20, evidence: [car/tierod.yaml]}\n";
    let side = stream.commit("side", &[branch], &[("car/t.yaml", Some(&last)), ("car/r.yaml", Some(result))]);
    let last = target(600);
    let files = [("car/t.yaml", Some(last.as_str())), ("car/r.yaml", Some(result))];
    let side = stream.commit("side", &[side], &files);
    stream.commit("main", &[main, side], &files);
    let sandbox = stream.repository();
    let (folder, cache) = (sandbox.path_of("car"), sandbox.path_of(".git/tierod"));
    let ask = |args: &[&str]| sandbox.tierod_in(&folder, args);
    let check = ["check", "--on", "2024-06-01", "--only", "target-after-result", "--format", "json"];
    let fresh = ask(&check);
    assert!(fresh.out.contains("it is not known which of the two was first"), "{}", fresh.out);
    std::fs::remove_dir_all(&cache).unwrap();
    ask(&["history", "t", "--rev", "HEAD~100"]).ended(0);
    assert!(cache.exists());
    assert_eq!(ask(&check).out, fresh.out);
}
