//! A report in binary form, to be kept: checks, kinds and levels by word, never by their number.

use std::sync::Arc;

use foldhash::HashMap;
use schema::Kind;
use schema::read::Spot;
use schema::settings::Level;
use serde::{Deserialize, Serialize};

use super::{Finding, LEVELS, Report};
use crate::checks;
use crate::measure::{Measure, StoredMeasure};

/// A finding with its check, level and kind by word.
#[derive(Serialize, Deserialize)]
struct StoredFinding<'b> {
    check: &'b str,
    level: &'b str,
    record: Option<&'b str>,
    kind: Option<&'b str>,
    field: Option<&'b str>,
    path: &'b str,
    /// Line and column.
    spot: (u32, u32),
    message: &'b str,
    help: &'b str,
    #[serde(borrow)]
    chain: Vec<&'b str>,
    waiver: Option<&'b str>,
    #[serde(borrow)]
    measure: Option<StoredMeasure<'b>>,
    unresolved: Option<&'b str>,
}

/// The bytes of a report; `None` if it cannot be restored from them.
pub(crate) fn encode(report: &Report) -> Option<Vec<u8>> {
    let lists = [&report.findings, &report.waived, &report.held_back];
    let lists = lists.map(|list| list.iter().map(store).collect::<Option<Vec<_>>>());
    let [Some(findings), Some(waived), Some(held_back)] = lists else { return None };
    postcard::to_stdvec(&(findings, waived, held_back)).ok()
}

fn store(finding: &Finding) -> Option<StoredFinding<'_>> {
    let measure = match &finding.measure {
        Some(measure) => Some(measure.stored()?),
        None => None,
    };
    Some(StoredFinding {
        check: finding.check.name,
        level: finding.level.word(),
        record: finding.record.as_deref(),
        kind: finding.kind.map(Kind::singular),
        field: finding.field.as_deref(),
        path: &finding.path,
        spot: (finding.spot.line, finding.spot.column),
        message: &finding.message,
        help: &finding.help,
        chain: finding.chain.iter().map(|id| &**id).collect(),
        waiver: finding.waiver.as_deref(),
        measure,
        unresolved: finding.unresolved.as_deref(),
    })
}

/// The report of these bytes; `None` if they are not what [`encode`] writes.
pub(crate) fn decode<'bytes>(bytes: &'bytes [u8]) -> Option<Report> {
    type Stored<'b> = (Vec<StoredFinding<'b>>, Vec<StoredFinding<'b>>, Vec<StoredFinding<'b>>);
    let ((findings, waived, held_back), rest): (Stored<'bytes>, &[u8]) = postcard::take_from_bytes(bytes).ok()?;
    let mut chains = RestoredChains::default();
    let mut all = |stored: Vec<StoredFinding<'bytes>>| {
        stored.into_iter().map(|stored| restore(stored, &mut chains)).collect::<Option<Vec<Finding>>>()
    };
    let (findings, waived, held_back) = (all(findings)?, all(waived)?, all(held_back)?);
    rest.is_empty().then_some(Report { findings, waived, held_back })
}

/// The chains that were restored so far, which findings share.
#[derive(Default)]
struct RestoredChains<'b> {
    chains: HashMap<Vec<&'b str>, Arc<[Arc<str>]>>,
    ids: HashMap<&'b str, Arc<str>>,
}

impl<'b> RestoredChains<'b> {
    fn of(&mut self, chain: Vec<&'b str>) -> Arc<[Arc<str>]> {
        if let Some(known) = self.chains.get(&chain) {
            return Arc::clone(known);
        }
        let id = |id: &&'b str| Arc::clone(self.ids.entry(*id).or_insert_with(|| (*id).into()));
        let new: Arc<[Arc<str>]> = chain.iter().map(id).collect();
        self.chains.insert(chain, Arc::clone(&new));
        new
    }
}

fn restore<'b>(stored: StoredFinding<'b>, chains: &mut RestoredChains<'b>) -> Option<Finding> {
    let kind = match stored.kind {
        Some(word) => Some(Kind::from_singular(word)?),
        None => None,
    };
    let measure = match stored.measure {
        Some(measure) => Some(Measure::restored(&measure)?),
        None => None,
    };
    Some(Finding {
        check: checks::find(stored.check)?,
        level: level(stored.level)?,
        record: stored.record.map(str::to_owned),
        kind,
        field: stored.field.map(str::to_owned),
        path: stored.path.to_owned(),
        spot: Spot { line: stored.spot.0, column: stored.spot.1 },
        message: stored.message.to_owned(),
        help: stored.help.to_owned(),
        chain: chains.of(stored.chain),
        waiver: stored.waiver.map(str::to_owned),
        measure,
        unresolved: stored.unresolved.map(str::to_owned),
    })
}

fn level(word: &str) -> Option<Level> {
    LEVELS.into_iter().find(|level| level.word() == word)
}

#[cfg(test)]
mod tests {
    use schema::quantity::Unit;

    use super::*;

    /// A finding with all fields, and one with none.
    fn report() -> Report {
        let whole = Finding {
            check: checks::find("over-budget").unwrap(),
            level: Level::Error,
            record: Some("car-mass".to_owned()),
            kind: Some(Kind::Target),
            field: Some("at-most".to_owned()),
            path: "car/mass.yaml".to_owned(),
            spot: Spot { line: 12, column: 5 },
            message: "it is 2 kg over".to_owned(),
            help: "take away 2 kg".to_owned(),
            chain: ["car-mass", "goal"].map(Arc::<str>::from).into(),
            waiver: None,
            measure: Some(Measure::of(2.0, 205.0, &Unit::parse("kg").unwrap())),
            unresolved: Some("no-such-id".to_owned()),
        };
        let plain = Finding {
            check: checks::find("unreadable-file").unwrap(),
            record: None,
            kind: None,
            field: None,
            chain: Arc::default(),
            waiver: Some("agreed".to_owned()),
            measure: Some(Measure::days(12)),
            unresolved: None,
            ..whole.clone()
        };
        Report { findings: vec![whole.clone()], waived: vec![plain], held_back: vec![whole] }
    }

    #[test]
    fn a_report_is_read_as_it_was_written() {
        let bytes = encode(&report()).unwrap();
        assert_eq!(format!("{:?}", decode(&bytes).unwrap()), format!("{:?}", report()));
        for length in 0..bytes.len() {
            assert!(decode(&bytes[..length]).is_none(), "{length}");
        }
        assert!(decode(&[&bytes[..], &[0]].concat()).is_none());
    }

    /// Every word is kept as text, so that another order of checks, kinds or levels changes nothing.
    #[test]
    fn unknown_words_are_not_guessed() {
        let bytes = encode(&report()).unwrap();
        for word in ["over-budget", "error", "target"] {
            let at = bytes.windows(word.len()).position(|part| part == word.as_bytes()).unwrap();
            let mut unknown = bytes.clone();
            unknown[at] = b'_';
            assert!(decode(&unknown).is_none(), "{word}");
        }
    }
}
