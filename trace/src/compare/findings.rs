//! Findings by fingerprint: those of head less those of base.

use std::collections::HashMap;

use super::{Delta, Renames, Side};
use crate::finding::{Finding, fingerprint};

/// The fingerprint that a finding of base has in head, where records have another id.
fn renamed(finding: &Finding, renames: &Renames) -> String {
    let subject = finding.record.as_deref().map_or(finding.path.as_str(), |id| renames.id(id));
    let field = finding.field.as_deref().map(|field| renames.route(field));
    fingerprint(finding.check.name, subject, field.as_deref().unwrap_or(""))
}

/// A check may tell two things about one field: of so many, as many stay as both sides have.
pub(super) fn subtract(base: Side<'_, '_, '_>, head: Side<'_, '_, '_>, renames: &Renames, delta: &mut Delta) {
    let mut before: HashMap<String, Vec<&Finding>> = HashMap::new();
    for finding in &base.report.findings {
        before.entry(renamed(finding, renames)).or_default().push(finding);
    }
    let mut unmatched: Vec<(String, &Finding)> = Vec::new();
    let mut stays = vec![false; head.report.findings.len()];
    let at: HashMap<*const Finding, usize> =
        head.report.findings.iter().enumerate().map(|(at, finding)| (std::ptr::from_ref(finding), at)).collect();
    let mut mark = |finding: &Finding| stays[at[&std::ptr::from_ref(finding)]] = true;
    // Those that say the same words are the same, before any others.
    for finding in &head.report.findings {
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
    for (print, finding) in unmatched {
        if before.get_mut(&print).and_then(Vec::pop).is_some() {
            mark(finding);
        }
    }
    for (finding, stays) in head.report.findings.iter().zip(stays) {
        let list = if stays { &mut delta.staying } else { &mut delta.new };
        list.push(finding.clone());
    }
    let mut waived: HashMap<String, &Finding> =
        head.report.waived.iter().map(|finding| (finding.fingerprint(), finding)).collect();
    for (print, gone) in before {
        for finding in gone {
            let waiver = waived.remove(&print).and_then(|waived| waived.waiver.clone());
            delta.fixed.push(Finding { waiver, ..finding.clone() });
        }
    }
    delta.fixed.sort_by(|a, b| a.order().cmp(&b.order()));
}
