//! Findings that may only follow from a file that cannot be read: they are held back until it can.
//!
//! What a readable record lacks by itself is still reported: a missing key, a reason that is missing, evidence that does
//! not exist, a reference to an id that is not in the text of an unreadable file either.

use std::sync::OnceLock;

use foldhash::{HashSet, HashSetExt as _};
use schema::read::{self, ProblemKind};
use schema::records::roles::VerificationRule;
use schema::words::CAR;

use crate::checks::{Check, Draft, Group, can_be_waived};
use crate::ids::{FileId, RecordId};
use crate::load::Loaded;
use crate::study::Study;

/// The position of the settings in the files of a snapshot.
const SETTINGS: usize = 0;

/// The files of a state that cannot be read.
pub(crate) struct Unread<'s> {
    study: &'s Study,
    /// Whether a record file cannot be read.
    records: bool,
    /// Whether such a file has no text in which an id could be looked up.
    without_text: bool,
    /// The words in the texts of these files: ids and the names of checks among them.
    words: HashSet<&'s str>,
    /// Whether the settings cannot be read.
    settings: bool,
    /// The files with conflict markers.
    conflicts: HashSet<FileId>,
    /// The records from which a chain may continue in such a file.
    leading_on: OnceLock<HashSet<RecordId>>,
}

impl<'s> Unread<'s> {
    /// `None` if all files can be read.
    pub(crate) fn new(study: &'s Study) -> Option<Self> {
        let loaded: &Loaded = &study.loaded;
        let mut unread = Self {
            study,
            records: false,
            without_text: false,
            words: HashSet::new(),
            settings: false,
            conflicts: HashSet::new(),
            leading_on: OnceLock::new(),
        };
        for found in loaded.unreadable() {
            if found.problem.kind == ProblemKind::Conflict {
                unread.conflicts.insert(found.file);
            }
            if found.file.index() == SETTINGS {
                unread.settings = true;
                continue;
            }
            unread.records = true;
            let bytes = loaded.snapshot.files[found.file].content.as_ref();
            match bytes.ok().and_then(|bytes| read::text(bytes).ok()) {
                Some(text) => unread.words.extend(text.split(|c: char| !(c.is_ascii_alphanumeric() || c == '-'))),
                None => unread.without_text = true,
            }
        }
        (unread.settings || unread.records).then_some(unread)
    }

    /// Whether a finding may only follow from what is in these files.
    pub(crate) fn explains(&self, draft: &Draft) -> bool {
        (self.settings && self.follows_from_settings(draft)) || (self.records && self.follows(draft))
    }

    /// Whether a finding of a check about a record may be missing because of these files: what is in them may be what the
    /// check would report.
    pub(crate) fn hides(&self, check: &'static Check, record: Option<RecordId>) -> bool {
        check.group != Group::Reading && self.explains(&Draft::of(check, record))
    }

    /// Whether a record of an id may be in these files.
    fn may_have(&self, id: &str) -> bool {
        self.without_text || id.is_empty() || self.words.contains(id)
    }

    /// Stages, dates, levels, rates and ignored files are in the settings.
    fn follows_from_settings(&self, draft: &Draft) -> bool {
        match draft.check.group {
            Group::Values | Group::History | Group::Waivers => true,
            Group::Verification => ["verification-overdue", "future-result"].contains(&draft.check.name),
            Group::Structure => false,
            // It may be a file that the settings ignore.
            Group::Reading => {
                draft.unread_id.is_none()
                    && draft.file.is_some_and(|file| file.index() != SETTINGS && !self.conflicts.contains(&file))
            }
        }
    }

    fn follows(&self, draft: &Draft) -> bool {
        let check = draft.check.name;
        if let Some(id) = &draft.unresolved {
            return self.may_have(id);
        }
        // A waiver in such a file may accept it.
        if can_be_waived(check) && self.words.contains(check) {
            return true;
        }
        let graph = &self.study.graph;
        match (draft.check.group, check, draft.record) {
            (Group::History, ..) => true,
            (Group::Values, ..) => !["unit-mismatch", "value-cycle"].contains(&check),
            (_, "no-children" | "verification-overdue" | "unused-analysis" | "unused-waiver", _) => true,
            (_, "no-verification", Some(id)) => {
                let rule = graph.loaded.kind(id).roles().verification;
                rule == VerificationRule::UnlessSubject || self.may_be_enclosed(id)
            }
            (_, "no-parent", Some(id)) => self.may_be_enclosed(id),
            (_, "off-chain", Some(id)) => self.may_lead_on(id),
            _ => false,
        }
    }

    /// Whether the system around a record, or around its system, may be in such a file.
    fn may_be_enclosed(&self, id: RecordId) -> bool {
        let loaded = &self.study.loaded;
        let outermost = loaded.enclosing(id).last();
        let name = outermost.and_then(|last| loaded.record(last).about()).map(schema::Id::as_str);
        name.is_some_and(|name| name != CAR && loaded.find(name).is_none() && self.may_have(name))
    }

    /// Whether a chain from a record may continue in such a file. A finding about a group is about the links of its parts.
    fn may_lead_on(&self, id: RecordId) -> bool {
        let loaded = &self.study.loaded;
        let own = loaded.serves(id).value;
        let group = loaded.system(id).and_then(|system| system.for_parts.as_ref()).map(|group| &group.serves);
        let leads_on = |to: &schema::Id| match loaded.find(to.as_str()) {
            Some(to) => self.leading_on().contains(&to),
            None => self.may_have(to.as_str()),
        };
        [Some(own), group].into_iter().flatten().any(|links| links.keys().any(leads_on))
    }

    /// The records from which a chain may continue in such a file: those with a link into one, and all below them.
    fn leading_on(&self) -> &HashSet<RecordId> {
        self.leading_on.get_or_init(|| {
            let (graph, loaded) = (&self.study.graph, &self.study.loaded);
            let unresolved = |to: &schema::Id| loaded.find(to.as_str()).is_none() && self.may_have(to.as_str());
            let is_first = |id: &RecordId| loaded.serves(*id).value.keys().any(unresolved);
            let mut queue: Vec<RecordId> = loaded.record_ids().filter(is_first).collect();
            let mut all: HashSet<RecordId> = queue.iter().copied().collect();
            while let Some(at) = queue.pop() {
                queue.extend(graph.children(at).filter(|below| all.insert(*below)));
            }
            all
        })
    }
}
