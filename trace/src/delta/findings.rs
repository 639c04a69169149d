//! Findings by fingerprint: those of head except those of base.

use foldhash::{HashMap, HashMapExt as _, HashSet};

use super::{Delta, Renames};
use crate::Loaded;
use crate::checks::Group;
use crate::finding::{Finding, fingerprint};
use crate::snapshot::Content;
use crate::study::Study;

/// The fingerprint that a finding of base has in head, where records can have other ids.
fn renamed(finding: &Finding, renames: &Renames) -> String {
    let subject = finding.record.as_deref().map_or(finding.path.as_str(), |id| renames.id(id));
    let field = finding.field.as_deref().map(|field| renames.route(field));
    fingerprint(finding.check.name, subject, field.as_deref().unwrap_or(""))
}

/// The files of both states, because a finding about a file is identified by its path, which can change.
struct FilesByPath<'l>([HashMap<&'l str, &'l Content>; 2]);

impl<'l> FilesByPath<'l> {
    fn new(base: &'l Loaded, head: &'l Loaded) -> Self {
        let by_path = |loaded: &'l Loaded| loaded.snapshot.files.iter().map(|file| (&*file.path, &file.content));
        Self([base, head].map(|loaded| by_path(loaded).collect()))
    }

    /// Whether two findings say the same about a file that was moved.
    fn match_moved(&self, old: &Finding, new: &Finding) -> bool {
        let [base, head] = &self.0;
        let same_bytes = || match (base.get(&*old.path), head.get(&*new.path)) {
            (Some(Ok(old)), Some(Ok(new))) => old == new,
            _ => false,
        };
        let moved = || !head.contains_key(&*old.path) && !base.contains_key(&*new.path);
        old.record.is_none()
            && (old.check.name, &old.field, &old.message) == (new.check.name, &new.field, &new.message)
            && (moved() || same_bytes())
    }
}

/// What could not be seen in a state because a file could not be read.
struct Unseen<'s> {
    /// The fingerprints of the findings that were held back.
    held_back: HashSet<String>,
    /// The files that could not be read.
    files: HashSet<&'s str>,
}

impl<'s> Unseen<'s> {
    fn new(study: &'s Study, fingerprint: impl Fn(&Finding) -> String) -> Self {
        let files = study.loaded.unreadable().map(|found| study.loaded.path(found.file)).collect();
        Self { held_back: study.report().held_back.iter().map(fingerprint).collect(), files }
    }

    /// Whether a finding of the other state may be one of this state, too.
    fn explains(&self, finding: &Finding, fingerprint: &str) -> bool {
        self.held_back.contains(fingerprint)
            || (finding.check.group != Group::Reading && self.files.contains(&*finding.path))
    }
}

/// Sorts the findings into new, fixed and unchanged ones.
///
/// A check can report several findings about one field, with one fingerprint. As many of them are unchanged as both
/// states have.
pub(super) fn compare(renames: &Renames, base: &Study, head: &Study, delta: &mut Delta) {
    let mut before: HashMap<String, Vec<&Finding>> = HashMap::new();
    for finding in &base.report().findings {
        before.entry(renamed(finding, renames)).or_default().push(finding);
    }
    let mut unmatched: Vec<(String, usize)> = Vec::new();
    let findings = &head.report().findings;
    let mut unchanged = vec![false; findings.len()];
    // Findings with the same message are matched before others.
    for (index, finding) in findings.iter().enumerate() {
        let print = finding.fingerprint();
        let known = before.get_mut(&print);
        let same = known.and_then(|known| {
            let at = known.iter().position(|old| old.message == finding.message)?;
            Some(known.remove(at))
        });
        match same {
            Some(_) => unchanged[index] = true,
            None => unmatched.push((print, index)),
        }
    }
    let mut of_files: Vec<usize> = Vec::new();
    for (print, index) in unmatched {
        match before.get_mut(&print).filter(|known| !known.is_empty()) {
            // The first of those left, so that the comparison from head to base matches the same two.
            Some(known) => {
                known.remove(0);
                unchanged[index] = true;
            }
            None if findings[index].record.is_none() => of_files.push(index),
            None => {}
        }
    }
    // What could not be seen in one of the states is neither new nor fixed.
    let unseen_before = Unseen::new(base, |finding| renamed(finding, renames));
    let unseen = Unseen::new(head, Finding::fingerprint);
    let mut fixed: Vec<&Finding> = before.into_values().flatten().collect();
    fixed.retain(|finding| !unseen.explains(finding, &renamed(finding, renames)));
    fixed.sort_by(|a, b| a.sort_key().cmp(&b.sort_key()).then_with(|| a.record.cmp(&b.record)));
    if !of_files.is_empty() && fixed.iter().any(|finding| finding.record.is_none()) {
        let files = FilesByPath::new(&base.loaded, &head.loaded);
        for index in of_files {
            if let Some(at) = fixed.iter().position(|old| files.match_moved(old, &findings[index])) {
                fixed.remove(at);
                unchanged[index] = true;
            }
        }
    }
    for (finding, unchanged) in findings.iter().zip(unchanged) {
        if !unchanged && unseen_before.explains(finding, &finding.fingerprint()) {
            continue;
        }
        let list = if unchanged { &mut delta.unchanged } else { &mut delta.new };
        list.push(finding.clone());
    }
    let mut waived: HashMap<String, &Finding> =
        head.report().waived.iter().map(|finding| (finding.fingerprint(), finding)).collect();
    for finding in fixed {
        let waiver = waived.remove(&renamed(finding, renames)).and_then(|waived| waived.waiver.clone());
        delta.fixed.push(Finding { waiver, ..finding.clone() });
    }
}
