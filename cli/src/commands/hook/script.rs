//! The text of the hooks: writing it, and recognising it again.

use std::path::Path;

use schema::settings;
use schema::words::shell_quoted as quoted;

/// The line that distinguishes our own hooks from others.
const MARK: &str = "# Written by `tierod hook install`; `tierod hook remove` takes it away.";

/// The command of the check, before the project root.
const CHECK: &str = " check --staged -- ";

/// A hook as tierod writes it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Script {
    /// The program to use if there is none on the PATH.
    pub(super) program: String,
    /// The project roots from the top of the working tree, in order.
    pub(super) roots: Vec<String>,
}

impl Script {
    /// The text. Git starts hooks at the top of the working tree.
    pub(super) fn text(&self) -> String {
        let roots: String =
            self.roots.iter().map(|root| format!("check {} {}\n", quoted(root), quoted(&marker(root)))).collect();
        format!(
            r#"#!/bin/sh
{MARK}
program=$(command -v tierod) || program={program}
status=0
check() {{
  # A branch without the project root has no records to check.
  git cat-file -e ":0:$2" 2>/dev/null || return 0
  if [ ! -x "$program" ]; then
    echo "tierod is neither on the PATH nor at $program: install it, or remove the hook $0" >&2
    exit 1
  fi
  "$program"{CHECK}"$1" || status=$?
}}
{roots}exit "$status"
"#,
            program = quoted(&self.program),
        )
    }

    /// The hook that a text is; `None` if tierod did not write it, or if it was edited since.
    pub(super) fn parse(text: &str) -> Option<Self> {
        let mut lines = text.lines();
        let script = match lines.nth(1)?.eq(MARK).then(|| lines.next()).flatten() {
            Some(line) if line.starts_with("program=") => {
                let program = unquoted(line.split_once("|| program=")?.1)?.0;
                let roots = lines.filter_map(|line| Some(unquoted(line.strip_prefix("check ")?)?.0));
                Self { program, roots: roots.collect() }
            }
            _ => return Self::parse_first(text),
        };
        (script.text() == text).then_some(script)
    }

    /// A hook of the first form: for one project root, with a line before the mark for each other one.
    fn parse_first(text: &str) -> Option<Self> {
        let lines: Vec<&str> = text.lines().collect();
        let (exec, rest) = lines.split_last()?;
        let (guard, rest) = rest.split_last()?;
        let (mark, rest) = rest.split_last()?;
        let ours = *mark == MARK && guard.starts_with("git cat-file -e ") && guard.ends_with(" || exit 0");
        let others = rest.strip_prefix(&["#!/bin/sh"])?;
        let own = |line: &&str| line.starts_with("! git cat-file -e ") && line.ends_with(" || exit 1");
        if !ours || !others.iter().all(own) {
            return None;
        }
        let program = unquoted(exec.strip_prefix("exec ")?)?.0;
        let root = |line: &str| Some(unquoted(line.split_once(CHECK)?.1)?.0);
        let roots: Option<Vec<String>> = others.iter().chain([exec]).map(|line| root(line)).collect();
        let script = Self { program, roots: roots? };
        (script.first_text()? == text).then_some(script)
    }

    /// The text of the first form.
    fn first_text(&self) -> Option<String> {
        let (program, (own, others)) = (quoted(&self.program), self.roots.split_last()?);
        let guard = |root: &str| format!("git cat-file -e {} 2>/dev/null", quoted(&format!(":0:{}", marker(root))));
        let check = |root: &str| format!("{program}{CHECK}{}", quoted(root));
        let others: String =
            others.iter().map(|root| format!("! {} || {} || exit 1\n", guard(root), check(root))).collect();
        Some(format!("#!/bin/sh\n{others}{MARK}\n{} || exit 0\nexec {}\n", guard(own), check(own)))
    }
}

/// Whether tierod wrote a hook, even if it was edited since.
pub(super) fn is_marked(text: &str) -> bool {
    text.contains(MARK)
}

/// Whether a hook that is not as tierod writes it checks a project root.
pub(super) fn checks(text: &str, root: &str) -> bool {
    text.lines().map(str::trim).filter(|line| !line.starts_with('#')).any(|line| {
        let argument = match line.split_once(" check --staged") {
            Some((_, rest)) if !rest.contains("$1") => rest.trim_start().trim_start_matches("-- "),
            Some(_) => return false,
            None => match line.strip_prefix("check ") {
                Some(rest) => rest,
                None => return false,
            },
        };
        let plain = || argument.split([' ', '|', '&', ';', '>', ')']).next().unwrap_or_default().to_owned();
        let named = unquoted(argument).filter(|(_, rest)| rest.is_empty() || rest.starts_with(' '));
        let named = named.map_or_else(plain, |(text, _)| text);
        let named = named.strip_prefix("./").unwrap_or(&named).trim_end_matches('/');
        if named.is_empty() { root == "." } else { named == root }
    })
}

/// The check as one line for a hook that does more.
pub(super) fn chain(program: &str, root: &str) -> String {
    let guard = format!("git cat-file -e {} 2>/dev/null", quoted(&format!(":0:{}", marker(root))));
    let program = format!(r#""$(command -v tierod || echo {})""#, quoted(program));
    format!("! {guard} || {program}{CHECK}{} || exit 1", quoted(root))
}

/// The path of a program as a hook records it.
pub(super) fn recorded(program: &Path) -> String {
    program.to_str().unwrap_or("tierod").to_owned()
}

/// The file that a branch with the project root has.
fn marker(root: &str) -> String {
    if root == "." { settings::FILE.to_owned() } else { format!("{root}/{}", settings::FILE) }
}

/// The text of a word that begins a line, and the rest of the line.
fn unquoted(line: &str) -> Option<(String, &str)> {
    let mut text = String::new();
    let mut rest = line.strip_prefix('\'')?;
    loop {
        let (part, after) = rest.split_once('\'')?;
        text.push_str(part);
        match after.strip_prefix(r"\''") {
            Some(more) => {
                text.push('\'');
                rest = more;
            }
            None => return Some((text, after)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn roots(roots: &[&str]) -> Vec<String> {
        roots.iter().map(|root| (*root).to_owned()).collect()
    }

    #[test]
    fn a_hook_is_recognised_until_it_is_edited() {
        for (program, list) in [("/usr/bin/tierod", &["."][..]), ("/it's/a \"b\"", &["it's ours", "two", ". "])] {
            let script = Script { program: program.to_owned(), roots: roots(list) };
            let text = script.text();
            assert_eq!(Script::parse(&text), Some(script));
            assert!(list.iter().all(|root| checks(&text, root)) && !checks(&text, "three"));
            assert_eq!(Script::parse(&text.replacen("status=0", "echo ours\nstatus=0", 1)), None);
            assert_eq!(Script::parse(&text.replace(MARK, "# ours")), None);
        }
    }

    #[test]
    fn the_first_form_is_recognised() {
        let first = format!(
            "#!/bin/sh\n{MARK}\ngit cat-file -e ':0:one/tierod.yaml' 2>/dev/null || exit 0\nexec '/p' check --staged -- 'one'\n"
        );
        assert_eq!(Script::parse(&first), Some(Script { program: "/p".to_owned(), roots: roots(&["one"]) }));
        let line =
            "! git cat-file -e ':0:it'\\''s/tierod.yaml' 2>/dev/null || '/p' check --staged -- 'it'\\''s' || exit 1";
        let two = first.replacen('\n', &format!("\n{line}\n"), 1);
        assert_eq!(Script::parse(&two).unwrap().roots, ["it's", "one"]);
        assert_eq!(Script::parse(&first.replacen('\n', "\necho ours\n", 1)), None);
        assert_eq!(Script::parse(&first.replace("|| exit 0", "&& make test || exit 0")), None);
        assert_eq!(Script::parse(&first.replace("-- 'one'", "-- 'one' && make")), None);
    }

    #[test]
    fn the_line_for_another_hook_is_recognised_in_it() {
        let other = format!("#!/bin/sh\n{}\nmake\n", chain("/p", "it's"));
        assert!(checks(&other, "it's") && !checks(&other, "it") && !is_marked(&other));
        assert!(!checks(&other.replace("! git", "# ! git"), "it's"), "a comment runs nothing");
        for (line, root) in [
            ("exec tierod check --staged", "."),
            ("tierod check --staged || exit 1", "."),
            ("tierod check --staged -- car/ || exit 1", "car"),
            ("tierod check --staged ./car", "car"),
        ] {
            assert!(checks(line, root), "{line}");
            assert!(!checks(line, "other") && !checks(line, if root == "." { "car" } else { "." }), "{line}");
        }
    }
}
