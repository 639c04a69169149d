//! The change that a forge's CI runs for, from the variables of its environment.
//!
//! | forge | variables |
//! | --- | --- |
//! | GitHub Actions | `GITHUB_EVENT_NAME`, `GITHUB_REF`, `GITHUB_BASE_REF`, `GITHUB_SHA`, and the event itself as JSON in the file `GITHUB_EVENT_PATH` |
//! | GitLab CI | `CI_PIPELINE_SOURCE`, `CI_MERGE_REQUEST_*`, `CI_EXTERNAL_PULL_REQUEST_*`, `CI_COMMIT_BEFORE_SHA`, `CI_COMMIT_BRANCH`, `CI_COMMIT_SHA`, `CI_DEFAULT_BRANCH` |
//!
//! Both lists are documented by the forges. Forges that run the same workflows set the same variables.

use std::path::Path;

use serde_json::Value;

use super::regular;

/// The change that CI runs for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Forge {
    /// The kind of the change.
    pub(super) event: Event,
    /// The commit that CI runs for.
    pub(super) commit: Option<String>,
    /// The name of the default branch.
    pub(super) default_branch: Option<String>,
}

/// The kind of a change.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) enum Event {
    /// A request to merge into a branch.
    Request {
        /// The name of that branch.
        target: String,
        /// Commits of it, if the forge names any.
        commits: Vec<String>,
        /// Whether the commit is a merge into that branch, which the forge itself made for this run.
        merged: bool,
    },
    /// Commits that were pushed to a branch.
    Push {
        /// The name of the branch; `None` if it is not a branch.
        branch: Option<String>,
        /// The commit that was there before; all zeros if there was none.
        before: String,
    },
    /// A place in the queue of requests that are merged one after the other.
    Queue {
        /// The commit of the place before it.
        before: String,
    },
    /// Anything else: a schedule, a start by hand.
    #[default]
    Other,
}

impl Forge {
    /// The change according to the environment; `None` if it contains nothing about one.
    pub(super) fn read() -> Option<Self> {
        // The largest events have some 100 kB.
        let event = |path: &str| serde_json::from_slice(&regular::read(Path::new(path), 8 << 20).ok()?).ok();
        Self::from(|name| std::env::var(name).ok().filter(|value| !value.is_empty()), event)
    }

    fn from(set: impl Fn(&str) -> Option<String>, event: impl Fn(&str) -> Option<Value>) -> Option<Self> {
        let is_true = |name: &str| set(name).is_some_and(|value| value == "true");
        if is_true("GITHUB_ACTIONS") || set("GITHUB_EVENT_NAME").is_some() {
            let event = set("GITHUB_EVENT_PATH").and_then(|path| event(&path)).unwrap_or_default();
            return Some(github(&set, &event));
        }
        (is_true("GITLAB_CI") || set("CI_PIPELINE_SOURCE").is_some()).then(|| gitlab(&set))
    }

    /// The commits that the environment names.
    pub(super) fn commits(&self) -> impl Iterator<Item = &str> {
        let (before, others) = match &self.event {
            Event::Request { commits, .. } => (None, &commits[..]),
            Event::Push { before, .. } | Event::Queue { before } => (Some(before), &[][..]),
            Event::Other => (None, &[][..]),
        };
        self.commit.iter().chain(before).chain(others).map(String::as_str)
    }
}

/// Whether this name represents the absence of a commit.
pub(super) fn is_zero(commit: &str) -> bool {
    commit.bytes().all(|digit| digit == b'0')
}

fn github(set: &impl Fn(&str) -> Option<String>, event: &Value) -> Forge {
    let text = |pointer: &str| event.pointer(pointer).and_then(Value::as_str).map(str::to_owned);
    let reference = set("GITHUB_REF").unwrap_or_default();
    let name = set("GITHUB_EVENT_NAME").unwrap_or_default();
    let kind = match (name.as_str(), set("GITHUB_BASE_REF"), text("/before"), text("/merge_group/base_sha")) {
        ("merge_group", _, _, Some(before)) => Event::Queue { before },
        (_, Some(target), ..) => Event::Request {
            target,
            commits: text("/pull_request/base/sha").into_iter().collect(),
            merged: reference.starts_with("refs/pull/") && reference.ends_with("/merge"),
        },
        ("push", None, Some(before), _) => {
            Event::Push { branch: reference.strip_prefix("refs/heads/").map(str::to_owned), before }
        }
        _ => Event::Other,
    };
    Forge { event: kind, commit: set("GITHUB_SHA"), default_branch: text("/repository/default_branch") }
}

fn gitlab(set: &impl Fn(&str) -> Option<String>) -> Forge {
    let named = |names: [&str; 2]| names.iter().filter_map(|name| set(name)).filter(|name| !is_zero(name)).collect();
    let event = if let Some(target) = set("CI_MERGE_REQUEST_TARGET_BRANCH_NAME") {
        let kind = set("CI_MERGE_REQUEST_EVENT_TYPE");
        Event::Request {
            target,
            commits: named(["CI_MERGE_REQUEST_TARGET_BRANCH_SHA", "CI_MERGE_REQUEST_DIFF_BASE_SHA"]),
            merged: matches!(kind.as_deref(), Some("merged_result" | "merge_train")),
        }
    } else if let Some(target) = set("CI_EXTERNAL_PULL_REQUEST_TARGET_BRANCH_NAME") {
        Event::Request { target, commits: named(["CI_EXTERNAL_PULL_REQUEST_TARGET_BRANCH_SHA", ""]), merged: false }
    } else if let Some(before) = set("CI_COMMIT_BEFORE_SHA") {
        Event::Push { branch: set("CI_COMMIT_BRANCH"), before }
    } else {
        Event::Other
    };
    Forge { event, commit: set("CI_COMMIT_SHA"), default_branch: set("CI_DEFAULT_BRANCH") }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn forge(variables: &[(&str, &str)], event: &Value) -> Option<Forge> {
        let set = |name: &str| Some(variables.iter().find(|(key, _)| *key == name)?.1.to_owned());
        Forge::from(set, |path| (path == "event.json").then(|| event.clone()))
    }

    fn text(text: &str) -> Option<String> {
        Some(text.to_owned())
    }

    #[test]
    fn workflows_of_the_first_forge() {
        let event = json!({"before": "b0", "repository": {"default_branch": "trunk"},
            "pull_request": {"base": {"sha": "b1"}}, "merge_group": {"base_sha": "b2"}});
        let read = |event_name: &str, reference: &str, target: &str| {
            let all = [
                ("GITHUB_ACTIONS", "true"),
                ("GITHUB_EVENT_NAME", event_name),
                ("GITHUB_REF", reference),
                ("GITHUB_BASE_REF", target),
                ("GITHUB_SHA", "c0"),
                ("GITHUB_EVENT_PATH", "event.json"),
            ];
            let all: Vec<_> = all.into_iter().filter(|(_, value)| !value.is_empty()).collect();
            let forge = forge(&all, &event).unwrap();
            assert_eq!((forge.commit, forge.default_branch), (text("c0"), text("trunk")));
            forge.event
        };
        let request = |merged| Event::Request { target: "dev".into(), commits: vec!["b1".into()], merged };
        assert_eq!(read("pull_request", "refs/pull/7/merge", "dev"), request(true));
        assert_eq!(read("pull_request_target", "refs/heads/dev", "dev"), request(false));
        assert_eq!(read("push", "refs/heads/a/b", ""), Event::Push { branch: text("a/b"), before: "b0".to_owned() });
        assert_eq!(read("push", "refs/tags/v1", ""), Event::Push { branch: None, before: "b0".to_owned() });
        assert_eq!(read("merge_group", "refs/heads/q", ""), Event::Queue { before: "b2".to_owned() });
        assert_eq!(read("schedule", "refs/heads/trunk", ""), Event::Other);
        // An event that cannot be read.
        let unread = forge(&[("GITHUB_EVENT_NAME", "push"), ("GITHUB_EVENT_PATH", "gone")], &event);
        assert_eq!(unread, Some(Forge::default()));
        assert_eq!(forge(&[("CI", "true")], &event), None);
    }

    #[test]
    fn pipelines_of_the_second_forge() {
        let read = |more: &[(&str, &str)]| {
            let all = [("GITLAB_CI", "true"), ("CI_DEFAULT_BRANCH", "trunk"), ("CI_COMMIT_SHA", "c0")];
            let forge = forge(&[&all[..], more].concat(), &Value::Null).unwrap();
            assert_eq!((forge.commit, forge.default_branch), (text("c0"), text("trunk")));
            forge.event
        };
        let zero = "0000000000000000000000000000000000000000";
        let target = ("CI_MERGE_REQUEST_TARGET_BRANCH_NAME", "dev");
        let fork_point = ("CI_MERGE_REQUEST_DIFF_BASE_SHA", "b1");
        let before = ("CI_COMMIT_BEFORE_SHA", zero);
        let request = |commits: &[&str], merged| Event::Request {
            target: "dev".to_owned(),
            commits: commits.iter().map(|id| (*id).to_owned()).collect(),
            merged,
        };
        let source = ("CI_PIPELINE_SOURCE", "merge_request_event");
        let kind = |kind| ("CI_MERGE_REQUEST_EVENT_TYPE", kind);
        let tip = ("CI_MERGE_REQUEST_TARGET_BRANCH_SHA", "b2");
        assert_eq!(read(&[source, before, target, fork_point, kind("detached")]), request(&["b1"], false));
        for merged in ["merged_result", "merge_train"] {
            assert_eq!(read(&[source, before, target, fork_point, tip, kind(merged)]), request(&["b2", "b1"], true));
        }
        let outside = ("CI_EXTERNAL_PULL_REQUEST_TARGET_BRANCH_NAME", "dev");
        assert_eq!(read(&[outside]), request(&[], false));
        let push = [("CI_PIPELINE_SOURCE", "push"), ("CI_COMMIT_BRANCH", "trunk"), ("CI_COMMIT_BEFORE_SHA", "b0")];
        assert_eq!(read(&push), Event::Push { branch: text("trunk"), before: "b0".to_owned() });
        let scheduled = Event::Push { branch: None, before: zero.to_owned() };
        assert_eq!(read(&[("CI_PIPELINE_SOURCE", "schedule"), before]), scheduled);
        assert_eq!(read(&[]), Event::Other);
    }

    #[test]
    fn zeros_are_no_commit() {
        assert!(is_zero(&"0".repeat(40)) && is_zero(&"0".repeat(64)) && !is_zero("00a0"));
    }
}
