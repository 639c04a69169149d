//! Lines and columns of what findings are about: each file, or each record, is parsed when a position in it is needed.

use foldhash::{HashMap, HashMapExt as _};
use schema::read::tree::Tree;
use schema::read::{self, Aim, Spot, flat};

use crate::checks::Draft;
use crate::ids::{FileId, RecordId};
use crate::load::Loaded;
use crate::parallel::{cores, in_parallel};
use crate::trees::{self, Trees};
use crate::values::{Fault, FaultAt};

/// From this number of bytes on, parsing files takes much longer than starting a thread.
const BYTES_FOR_THREADS: usize = 16 << 10;

/// Records are parsed by themselves if at most one of so many in their file is needed: to begin costs as much as some records.
const FEW: usize = 3;

/// A record that was parsed without the rest of its file.
struct Piece<'r> {
    tree: Tree<'r>,
    lines_before: u32,
}

/// Finds the positions of routes.
pub(crate) struct Positions<'r> {
    trees: Trees<'r>,
    pieces: HashMap<RecordId, Piece<'r>>,
    /// The text of a file and where its lines begin, once that is asked for.
    lines: HashMap<FileId, Option<(&'r str, Vec<usize>)>>,
    loaded: &'r Loaded,
}

impl<'r> Positions<'r> {
    pub(crate) fn new(loaded: &'r Loaded) -> Self {
        Self { trees: Trees::new(loaded), pieces: HashMap::new(), lines: HashMap::new(), loaded }
    }

    /// Parses what positions of these drafts are looked up in, on several threads if that is much.
    pub(crate) fn parse<'d>(&mut self, drafts: impl Iterator<Item = &'d Draft>) {
        let loaded = self.loaded;
        // Of each file the records that are looked up; of some files the whole.
        let mut needed: HashMap<FileId, Option<Vec<RecordId>>> = HashMap::new();
        for draft in drafts.filter(|draft| draft.spot.is_none()) {
            let own = draft.record.filter(|record| draft.file.is_none_or(|file| loaded.entries[*record].file == file));
            let Some(file) = draft.file.or_else(|| own.map(|record| loaded.entries[record].file)) else { continue };
            let records = needed.entry(file).or_insert_with(|| Some(Vec::new()));
            match (own, records) {
                (Some(own), Some(records)) => records.push(own),
                (_, records) => *records = None,
            }
        }
        let mut counts: HashMap<FileId, usize> = needed.keys().map(|file| (*file, 0)).collect();
        for entry in &loaded.entries {
            if let Some(count) = counts.get_mut(&entry.file) {
                *count += 1;
            }
        }
        let mut files: Vec<FileId> = Vec::new();
        for (file, records) in needed {
            let mut records = records.unwrap_or_default();
            records.sort_unstable();
            records.dedup();
            let is_few = !records.is_empty() && records.len() * FEW <= counts[&file];
            match is_few.then(|| pieces(loaded, file, counts[&file], &records)).flatten() {
                Some(pieces) => self.pieces.extend(pieces),
                None => files.push(file),
            }
        }
        files.sort_unstable();
        let size = |file: &FileId| loaded.snapshot.files[*file].content.as_ref().map_or(0, |bytes| bytes.len());
        let threads = if files.iter().map(size).sum::<usize>() < BYTES_FOR_THREADS { 1 } else { cores() };
        let trees = in_parallel(&files, threads, |file| trees::of_file(loaded, *file));
        self.trees.extend(files.into_iter().zip(trees));
    }

    /// The tree of a record, or that of its file.
    fn tree(&mut self, file: FileId, record: Option<RecordId>) -> Option<&Tree<'r>> {
        match record.and_then(|record| self.pieces.get(&record)) {
            Some(piece) => Some(&piece.tree),
            None => self.trees.of_file(file),
        }
    }

    /// The number of lines before the tree of a record, and of keys of a route that lead to its root.
    fn before(&self, record: Option<RecordId>) -> (u32, usize) {
        record.and_then(|record| self.pieces.get(&record)).map_or((0, 0), |piece| (piece.lines_before, 1))
    }

    /// The position of a route in a file: one that begins with the kind and the id of the record, if one is given.
    pub(crate) fn spot(&mut self, file: FileId, record: Option<RecordId>, route: &[&str], aim: Aim) -> Spot {
        let record = record.filter(|record| self.loaded.entries[*record].file == file);
        let (lines, keys) = self.before(record);
        let spot = read::locate(self.tree(file, record), route.iter().skip(keys).copied(), aim);
        Spot { line: spot.line + lines, ..spot }
    }

    /// The text of a file from a line on.
    fn source_from(&mut self, file: FileId, line: u32) -> Option<&'r str> {
        let (source, starts) = self
            .lines
            .entry(file)
            .or_insert_with(|| {
                let source = read::text(self.loaded.snapshot.files[file].content.as_ref().ok()?).ok()?;
                let starts = std::iter::once(0).chain(source.match_indices('\n').map(|(end, _)| end + 1));
                Some((source, starts.collect()))
            })
            .as_ref()?;
        source.get(*starts.get(line.checked_sub(1)? as usize)?..)
    }

    /// The position of a character in the text of a value.
    pub(crate) fn spot_within(
        &mut self,
        file: FileId,
        record: Option<RecordId>,
        route: &[&str],
        offset: usize,
    ) -> Spot {
        let record = record.filter(|record| self.loaded.entries[*record].file == file);
        let start = self.spot(file, record, route, Aim::Value);
        let source = self.source_from(file, start.line);
        let (_, keys) = self.before(record);
        let text = self.tree(file, record).and_then(|tree| tree.text_of_route(route.iter().skip(keys).copied()));
        match (source, text) {
            (Some(source), Some(text)) => read::within(source, start, text, offset),
            _ => start,
        }
    }
}

/// These records of a file, each parsed by itself. `None` if the file is not plainly cut into its records, which are so many.
fn pieces<'r>(
    loaded: &'r Loaded,
    file: FileId,
    count: usize,
    records: &[RecordId],
) -> Option<Vec<(RecordId, Piece<'r>)>> {
    let bytes = loaded.snapshot.files[file].content.as_ref().ok()?;
    let chunks = flat::chunks(bytes).filter(|chunks| chunks.len() == count)?;
    let with_lines = chunks.iter().zip(flat::lines_before(bytes, &chunks));
    let by_name: HashMap<(&str, &str), (&flat::Chunk, u32)> =
        with_lines.map(|both| Some((both.0.name(bytes)?, both))).collect::<Option<_>>()?;
    if by_name.len() != count {
        return None;
    }
    let piece = |record: &RecordId| {
        let own = loaded.record(*record);
        let (chunk, lines_before) = *by_name.get(&(own.kind().plural(), own.id.as_str()))?;
        Some((*record, Piece { tree: chunk.places(bytes)?, lines_before }))
    };
    records.iter().map(piece).collect()
}

/// The positions of records in their files, for outputs that show the position of every record.
pub struct RecordPositions<'r>(Positions<'r>);

impl<'r> RecordPositions<'r> {
    /// The positions of these records; each file is parsed when first asked for.
    pub fn new(loaded: &'r Loaded) -> Self {
        Self(Positions::new(loaded))
    }

    /// The position of a record's id.
    pub fn start(&mut self, index: RecordId) -> Spot {
        let entry = &self.0.loaded.entries[index];
        self.0.spot(entry.file, Some(index), &[entry.record.kind().plural(), entry.record.id.as_str()], Aim::Key)
    }

    /// The position of a fault.
    pub fn fault(&mut self, fault: &Fault) -> Spot {
        let route: Vec<&str> = fault.route.iter().map(String::as_str).collect();
        match fault.at {
            FaultAt::Spot(spot) => spot,
            FaultAt::Key => self.0.spot(fault.file, None, &route, Aim::Key),
            FaultAt::Value(None) => self.0.spot(fault.file, None, &route, Aim::Value),
            FaultAt::Value(Some(offset)) => self.0.spot_within(fault.file, None, &route, offset),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::{File, Snapshot};

    fn loaded(text: &str) -> Loaded {
        Loaded::from_snapshot(Snapshot::in_memory(vec![File {
            path: "a.yaml".into(),
            content: Ok(text.as_bytes().into()),
        }]))
    }

    /// The positions of a record, its keys and the keys below them.
    fn spots(loaded: &Loaded, tree: &Tree<'_>, above: &[&str]) -> Vec<(String, [Spot; 2])> {
        let mut all = Vec::new();
        let mut routes: Vec<Vec<String>> = vec![Vec::new()];
        while let Some(route) = routes.pop() {
            let whole = || above.iter().copied().chain(route.iter().map(String::as_str));
            all.push((route.join("."), [tree.locate(whole(), Aim::Key), tree.locate(whole(), Aim::Value)]));
            if route.len() < 3 {
                for key in ["title", "notes", "serves", "amounts", "mass", "value", "basis", "count", "hub", "nothing"]
                {
                    routes.push(route.iter().cloned().chain([key.to_owned()]).collect());
                }
            }
        }
        assert!(!loaded.entries.is_empty());
        all
    }

    /// Returns whether the records could be parsed by themselves.
    fn agree(text: &str) -> bool {
        let loaded = loaded(text);
        let file = loaded.entries[RecordId::new(0)].file;
        let whole = trees::of_file(&loaded, file).unwrap();
        let records: Vec<RecordId> = RecordId::all(loaded.entries.len()).collect();
        let Some(pieces) = pieces(&loaded, file, records.len(), &records) else { return false };
        for (record, piece) in pieces {
            let own = loaded.record(record);
            let expected = spots(&loaded, &whole, &[own.kind().plural(), own.id.as_str()]);
            for ((route, expected), (_, found)) in expected.iter().zip(spots(&loaded, &piece.tree, &[own.id.as_str()]))
            {
                let found = found.map(|spot| Spot { line: spot.line + piece.lines_before, ..spot });
                assert_eq!(found, *expected, "{}: {route}", own.id);
            }
        }
        true
    }

    #[test]
    fn a_record_by_itself_has_the_positions_of_its_file() {
        let plain = "# head\nsystems:\n  wheels: {in: car, title: Wheels}\n\nparts:\n  # one\n  hub:\n    title: 'Hub: é'\n    amounts:\n      mass: {value: 1 kg,\n        basis: drawn}\n    notes: |\n      parts:\n        x: 1\n\n  nut:\n    in: hub\n    serves: &s\n      hub: it holds\n    title: \"two\n      lines\"\n";
        assert!(agree(plain));
        assert!(agree(&plain.replace('\n', "\r\n")));
        // An alias needs its anchor, and what only looks like a record is none.
        for text in [
            "parts:\n  hub: {serves: &s {car: it holds}}\n  nut: {serves: *s}\n",
            "parts:\n  hub: {title: \"x\n  nut: y\"}\n  \"nut\": {in: hub}\n",
            "parts:\n  hub: {title: \"x\n  nut: y\"}\n",
            "parts: {hub: {in: car}, nut: {in: hub}}\n",
            "\u{feff}parts:\n  hub: {in: car}\n",
        ] {
            assert!(!agree(text), "{text}");
        }
    }

    #[test]
    fn few_records_are_parsed_and_many_are_not_parsed_one_by_one() {
        let part = |number: usize| format!("  p{number}: {{in: car, count: 1}}\n");
        let loaded = loaded(&format!("parts:\n{}", (0..9).map(part).collect::<String>()));
        let draft = |at: usize| Draft {
            route: vec!["count".to_owned()],
            ..Draft::of(crate::checks::all()[0], Some(RecordId::new(at)))
        };
        for (count, expected) in [(3, (3, 0)), (4, (0, 1))] {
            let mut positions = Positions::new(&loaded);
            let drafts: Vec<Draft> = (0..count).map(draft).collect();
            positions.parse(drafts.iter());
            assert_eq!((positions.pieces.len(), positions.trees.len()), expected);
            let spot = positions.spot(
                loaded.entries[RecordId::new(0)].file,
                Some(RecordId::new(2)),
                &["parts", "p2", "count"],
                Aim::Value,
            );
            assert_eq!((spot.line, spot.column), (4, 24));
        }
    }
}
