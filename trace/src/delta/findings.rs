//! Findings by fingerprint: those of head less those of base.

use foldhash::{HashMap, HashMapExt as _};

use super::{Delta, Renames};
use crate::Loaded;
use crate::finding::{Finding, fingerprint};
use crate::snapshot::Content;
use crate::study::Study;

/// The fingerprint that a finding of base has in head, where records have another id.
fn renamed(finding: &Finding, renames: &Renames) -> String {
    let subject = finding.record.as_deref().map_or(finding.path.as_str(), |id| renames.id(id));
    let field = finding.field.as_deref().map(|field| renames.route(field));
    fingerprint(finding.check.name, subject, field.as_deref().unwrap_or(""))
}

/// What is wrong with a whole file goes by its path, which may be another one on the other side.
struct Moves<'l>([HashMap<&'l str, &'l Content>; 2]);

impl<'l> Moves<'l> {
    fn new(base: &'l Loaded, head: &'l Loaded) -> Self {
        let by_path = |loaded: &'l Loaded| loaded.snapshot.files.iter().map(|file| (&*file.path, &file.content));
        Self([base, head].map(|loaded| by_path(loaded).collect()))
    }

    /// Did the file of one finding become the file of the other, and what is wrong stay?
    fn join(&self, old: &Finding, new: &Finding) -> bool {
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

/// A check may tell two things about one field: of so many, as many stay as both sides have.
pub(super) fn subtract(base: &Study, head: &Study, renames: &Renames, delta: &mut Delta) {
    let mut before: HashMap<String, Vec<&Finding>> = HashMap::new();
    for finding in &base.report().findings {
        before.entry(renamed(finding, renames)).or_default().push(finding);
    }
    let mut unmatched: Vec<(String, &Finding)> = Vec::new();
    let mut stays = vec![false; head.report().findings.len()];
    let at: HashMap<*const Finding, usize> =
        head.report().findings.iter().enumerate().map(|(at, finding)| (std::ptr::from_ref(finding), at)).collect();
    let mut mark = |finding: &Finding| stays[at[&std::ptr::from_ref(finding)]] = true;
    // Those that say the same words are the same, before any others.
    for finding in &head.report().findings {
        let print = finding.fingerprint();
        let known = before.get_mut(&print);
        let same = known.and_then(|known| {
            let at = known.iter().position(|old| old.message == finding.message)?;
            Some(known.remove(at))
        });
        match same {
            Some(_) => mark(finding),
            None => unmatched.push((print, finding)),
        }
    }
    let mut of_files: Vec<&Finding> = Vec::new();
    for (print, finding) in unmatched {
        match before.get_mut(&print).filter(|known| !known.is_empty()) {
            // The first of those left, so that the way back pairs the same two.
            Some(known) => {
                known.remove(0);
                mark(finding);
            }
            None if finding.record.is_none() => of_files.push(finding),
            None => {}
        }
    }
    let mut gone: Vec<&Finding> = before.into_values().flatten().collect();
    gone.sort_by(|a, b| a.sort_key().cmp(&b.sort_key()).then_with(|| a.record.cmp(&b.record)));
    if !of_files.is_empty() && gone.iter().any(|finding| finding.record.is_none()) {
        let moves = Moves::new(&base.loaded, &head.loaded);
        for finding in of_files {
            if let Some(at) = gone.iter().position(|old| moves.join(old, finding)) {
                gone.remove(at);
                mark(finding);
            }
        }
    }
    for (finding, stays) in head.report().findings.iter().zip(stays) {
        let list = if stays { &mut delta.unchanged } else { &mut delta.new };
        list.push(finding.clone());
    }
    let mut waived: HashMap<String, &Finding> =
        head.report().waived.iter().map(|finding| (finding.fingerprint(), finding)).collect();
    for finding in gone {
        let waiver = waived.remove(&renamed(finding, renames)).and_then(|waived| waived.waiver.clone());
        delta.fixed.push(Finding { waiver, ..finding.clone() });
    }
}
