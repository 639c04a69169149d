//! Runs the checks, sets levels, applies waivers and finds the positions.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::PoisonError;

use foldhash::{HashMap, HashMapExt as _, HashSet};
use schema::Id;
use schema::read::Aim;
use schema::records::Kind;
use schema::settings::{Level, Settings, Stage};

use crate::checks::{self, Check, Draft, Group};
use crate::finding::chains::SharedChains;
use crate::finding::{Finding, OffCheck, Report};
use crate::held_back::Unread;
use crate::ids::{FileId, RecordId};
use crate::load::Loaded;
use crate::parallel::{cores, in_parallel};
use crate::positions::Positions;
use crate::study::Study;

/// The levels that apply: those of some settings at a stage.
#[derive(Clone, Copy, Debug)]
pub struct Rules<'s> {
    /// The settings with the levels.
    pub settings: &'s Settings,
    /// The stage.
    pub stage: Stage,
}

impl Rules<'_> {
    fn level(self, check: &Check) -> Level {
        checks::level(check, self.settings, self.stage)
    }

    /// Whether every check has the same level under both.
    fn are_those_of(self, other: Rules<'_>) -> bool {
        self.stage == other.stage && checks::all().iter().all(|check| self.level(check) == other.level(check))
    }
}

impl Study {
    /// The findings of all checks.
    pub fn report(&self) -> &Report {
        self.report.get_or_init(|| {
            let (report, off) = run(self, self.rules());
            // The report is made once, so this is the first one.
            let _ = self.off.set(off);
            report
        })
    }

    /// The checks that the settings switch off at its stage, in the order of their names.
    pub fn checks_off(&self) -> &[OffCheck] {
        self.report();
        self.off.get().map_or(&[], Vec::as_slice)
    }

    /// The levels of its own settings and stage.
    pub fn rules(&self) -> Rules<'_> {
        Rules { settings: self.settings(), stage: self.stage }
    }

    /// The findings of all checks with the levels of another state, because a change of levels fixes no finding.
    pub fn report_under(&self, rules: Rules<'_>) -> Cow<'_, Report> {
        if rules.are_those_of(self.rules()) { Cow::Borrowed(self.report()) } else { Cow::Owned(run(self, rules).0) }
    }

    /// Runs the checks that use no values, so that the values can be evaluated on another thread meanwhile.
    pub(crate) fn run_checks_without_values(&self) {
        let chosen = checks::all().iter().filter(|check| !check.uses_values());
        let drafts = chosen.map(|check| (check.name, checks::run(check, self, self.stage))).collect();
        *self.early_drafts.lock().unwrap_or_else(PoisonError::into_inner) = drafts;
    }
}

/// Runs all checks, on several threads if there are many records.
/// Also returns the checks that are switched off.
fn run(study: &Study, rules: Rules<'_>) -> (Report, Vec<OffCheck>) {
    let threads = if study.takes_long() { cores() } else { 1 };
    // Those that ran before the others ran at the study's own stage.
    let mut early = match rules.stage == study.stage {
        true => std::mem::take(&mut *study.early_drafts.lock().unwrap_or_else(PoisonError::into_inner)),
        false => HashMap::new(),
    };
    let rest: Vec<&Check> = checks::all().iter().copied().filter(|check| !early.contains_key(check.name)).collect();
    let drafts = in_parallel(&rest, threads, |check| checks::run(check, study, rules.stage));
    let mut late = drafts.into_iter();
    let of_check = |check: &&Check| early.remove(check.name).or_else(|| late.next()).unwrap_or_default();
    let mut drafts: Vec<Draft> = checks::all().iter().flat_map(of_check).collect();
    drafts.retain(|draft| !follows_from_read_error(&study.loaded, draft));
    let held_back = take_held_back(study, &mut drafts);

    let (waived, unused) = apply_waivers(study, &mut drafts);
    let mut unused = checks::unused_waiver::drafts(&study.loaded, rules.stage, &unused);
    let mut held_back: Vec<Draft> = held_back.into_iter().chain(take_held_back(study, &mut unused)).collect();
    drafts.extend(unused);

    let mut off: Vec<OffCheck> = checks::all()
        .iter()
        .filter(|check| checks::is_switched_off(check, rules.settings, rules.stage))
        .map(|check| OffCheck { check, findings: 0 })
        .collect();
    for off in &mut off {
        off.findings = drafts.iter().filter(|draft| draft.check.name == off.check.name).count();
    }

    let (mut positions, mut chains) = (Positions::new(&study.loaded), SharedChains::new(study));
    let reported = drafts.iter().chain(waived.iter().map(|(draft, _)| draft));
    positions.parse(reported.filter(|draft| rules.level(draft.check) != Level::Off));
    let mut finish = |draft: Draft, waiver: Option<&Id>| {
        let level = rules.level(draft.check).min(draft.highest);
        (level != Level::Off).then(|| finding(study, (&mut positions, &mut chains), draft, level, waiver))
    };
    let mut waived: Vec<Finding> =
        waived.into_iter().filter_map(|(draft, waiver)| finish(draft, Some(waiver))).collect();
    let mut findings: Vec<Finding> = drafts.into_iter().filter_map(|draft| finish(draft, None)).collect();
    let held_back: Vec<Finding> = held_back.drain(..).filter_map(|draft| finish(draft, None)).collect();
    findings.sort_by(|a, b| a.sort_key().cmp(&b.sort_key()));
    waived.sort_by(|a, b| a.sort_key().cmp(&b.sort_key()));
    (Report { findings, waived, held_back }, off)
}

/// Removes the drafts that may only follow from files that cannot be read.
fn take_held_back(study: &Study, drafts: &mut Vec<Draft>) -> Vec<Draft> {
    match Unread::new(study) {
        Some(unread) => drafts.extract_if(.., |draft| unread.explains(draft)).collect(),
        None => Vec::new(),
    }
}

/// Whether a finding only follows from a read error, because the key that it is about was not read.
fn follows_from_read_error(loaded: &Loaded, draft: &Draft) -> bool {
    if draft.check.group == Group::Reading {
        return false;
    }
    let Some(index) = draft.record else { return false };
    let Some(damage) = loaded.damaged.get(loaded.record(index).id.as_str()) else { return false };
    draft.route.first().is_some_and(|key| damage.has(key))
}

/// A waiver that is valid on the day of the study.
struct ValidWaiver<'s> {
    index: RecordId,
    id: &'s Id,
    is_used: bool,
}

/// Removes the drafts that a valid waiver accepts. Returns them, and the valid waivers that accept no finding.
fn apply_waivers<'s>(study: &'s Study, drafts: &mut Vec<Draft>) -> (Vec<(Draft, &'s Id)>, Vec<RecordId>) {
    let (loaded, day) = (&study.loaded, study.day);
    let mut valid: BTreeMap<(&str, &str), ValidWaiver<'s>> = BTreeMap::new();
    for (index, record, waiver) in loaded.waivers() {
        let (Some(check), Some(of), Some(until)) = (&waiver.check, &waiver.of, waiver.until) else { continue };
        if until >= day && waiver.agreed_by.is_some() && checks::can_be_waived(check.as_str()) {
            valid.insert((check.as_str(), of.as_str()), ValidWaiver { index, id: &record.id, is_used: false });
        }
    }
    let mut waived = Vec::new();
    let mut kept = Vec::with_capacity(drafts.len());
    for draft in drafts.drain(..) {
        // A waiver of the record itself comes first, then one of a system around it, from the inside out.
        let record = draft.record.filter(|_| !valid.is_empty());
        let around = record.into_iter().flat_map(|index| loaded.enclosing(index).enumerate());
        let mut of = around.filter(|(steps, index)| *steps == 0 || loaded.system(*index).is_some());
        let accepted = of.find_map(|(_, index)| {
            let waiver = valid.get_mut(&(draft.check.name, loaded.record(index).id.as_str()))?;
            waiver.is_used = true;
            Some(waiver.id)
        });
        match accepted {
            Some(waiver) => waived.push((draft, waiver)),
            None => kept.push(draft),
        }
    }
    *drafts = kept;
    let known: HashSet<&str> = loaded.ids().collect();
    let unused = valid.iter().filter(|((_, of), waiver)| !waiver.is_used && known.contains(of));
    let unused = unused.map(|(_, waiver)| waiver.index).collect();
    (waived, unused)
}

/// A draft with its level and its position.
fn finding(
    study: &Study,
    (positions, chains): (&mut Positions<'_>, &mut SharedChains<'_>),
    draft: Draft,
    level: Level,
    waiver: Option<&Id>,
) -> Finding {
    let loaded = &study.loaded;
    let (file, mut top) = match draft.record {
        Some(index) => {
            let entry = &loaded.entries[index];
            (entry.file, vec![entry.record.kind().plural(), entry.record.id.as_str()])
        }
        None => (draft.file.unwrap_or(FileId::new(0)), Vec::new()),
    };
    let file = draft.file.unwrap_or(file);
    top.extend(draft.route.iter().map(String::as_str));
    let aim = if draft.route.is_empty() || draft.at_key { Aim::Key } else { Aim::Value };
    let spot = draft.spot.unwrap_or_else(|| match draft.offset {
        None => positions.spot(file, draft.record, &top, aim),
        Some(offset) => positions.spot_within(file, draft.record, &top, offset),
    });
    let id = |index: RecordId| loaded.record(index).id.to_string();
    let chain = draft.record.map(|index| chains.of(index)).unwrap_or_default();
    let kind = match draft.record {
        Some(index) => Some(loaded.record(index).kind()),
        None => draft.route.first().filter(|_| draft.unread_id.is_some()).and_then(|key| Kind::from_plural(key)),
    };
    let mut field = draft.route;
    if draft.record.is_none() && draft.unread_id.is_some() && field.len() >= 2 {
        // The route of a read error starts with kind and id, which are not part of the field.
        field.drain(..2);
    }
    Finding {
        check: draft.check,
        level,
        record: draft.record.map(id).or(draft.unread_id),
        kind,
        field: (!field.is_empty()).then(|| field.join(".")),
        path: loaded.snapshot.files[file].path.clone(),
        spot,
        message: draft.message,
        help: draft.help,
        chain,
        waiver: waiver.map(ToString::to_string),
        measure: draft.measure,
        unresolved: draft.unresolved,
    }
}
