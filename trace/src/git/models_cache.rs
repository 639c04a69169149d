//! The outputs of models of earlier runs, by a hash over their inputs (see `values/runs.rs`).
//!
//! They are read with the files that records name, before anything is evaluated, and what is new is written when the
//! project is closed. All states and commands share them.

use std::sync::Arc;

use super::cache_file::CacheFile;
use super::walk::CommitSource;
use crate::values::runs::ModelRuns;

/// What may be kept in addition to twice the runs that were needed, in bytes: the file is read as a whole.
const SPARE: usize = 128 << 10;

/// The runs of an opened project, with their file.
pub(super) struct ModelsCache {
    file: Option<CacheFile>,
    runs: Arc<ModelRuns>,
}

impl ModelsCache {
    /// Reads the runs that were kept.
    pub(super) fn read(commits: CommitSource<'_>) -> Self {
        Self::of_file(CacheFile::of_models(commits))
    }

    fn of_file(file: Option<CacheFile>) -> Self {
        let earlier = file.as_ref().map(CacheFile::read).unwrap_or_default();
        Self { file, runs: Arc::new(ModelRuns::with_earlier(earlier)) }
    }

    /// The runs, to read and to add to.
    pub(super) fn runs(&self) -> Arc<ModelRuns> {
        Arc::clone(&self.runs)
    }

    /// Keeps the runs that were added.
    pub(super) fn keep(&self) {
        let Some(file) = &self.file else { return };
        let new = self.runs.added();
        if new.is_empty() {
            return;
        }
        let earlier = self.runs.earlier();
        let needed =
            earlier.size_read() + new.iter().map(|(key, value)| key.bytes().len() + value.len()).sum::<usize>();
        let new: Vec<(&[u8], Vec<u8>)> = new.iter().map(|(key, value)| (key.bytes(), value.clone())).collect();
        file.write_at_most(2 * needed + SPARE, earlier, &new);
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::git::cache_file::Entries;
    use crate::graph::Graph;
    use crate::load::Loaded;
    use crate::snapshot::{File, Snapshot};
    use crate::values::Values;

    fn cache(folder: &Path) -> ModelsCache {
        ModelsCache::of_file(Some(CacheFile::in_folder(folder)))
    }

    /// The bits of all values and derivatives of a sprint, with its first spreads.
    fn answer(cache: &ModelsCache, mass: &str) -> (Vec<u64>, Vec<u64>) {
        let text = format!(
            "targets: {{time: {{of: car, at-most: 5 s}}}}\nanalyses: {{run: {{model: straight-line, finds: time, given: {{mass: {mass}, power: 33 kW, grip: 1.28, distance: 75 m, measured-factor: 1.005 ± 0.005}}}}}}"
        );
        let file = File { path: "a.yaml".to_owned(), content: Ok(text.as_bytes().into()) };
        let mut loaded = Loaded::from_snapshot(Snapshot::in_memory(vec![file]));
        loaded.model_runs = cache.runs();
        let values = Values::new(&Arc::new(Graph::new(&Arc::new(loaded))));
        assert!(values.problems.is_empty(), "{:?}", values.problems);
        let node = values.named("time").unwrap();
        let spread = values.spread(node).unwrap();
        let mut all: Vec<u64> = values.state.values.iter().map(|value| value.to_bits()).collect();
        all.extend([spread.low.to_bits(), spread.high.to_bits()]);
        (all, values.partials().by_input(node).iter().map(|slope| slope.to_bits()).collect())
    }

    fn of_folder(folder: &Path, mass: &str) -> (Vec<u64>, Vec<u64>) {
        let cache = cache(folder);
        let answer = answer(&cache, mass);
        cache.keep();
        answer
    }

    fn file(folder: &Path) -> std::path::PathBuf {
        std::fs::read_dir(folder.join("tierod")).unwrap().next().unwrap().unwrap().path()
    }

    #[test]
    fn the_numbers_are_the_same_with_the_cache() {
        let folder = tempfile::tempdir().unwrap();
        let expected = answer(&ModelsCache::of_file(None), "285 kg ± 3 kg");
        for round in 0..3 {
            let cache = cache(folder.path());
            assert_eq!(answer(&cache, "285 kg ± 3 kg"), expected, "round {round}");
            assert_eq!(cache.runs().added().is_empty(), round > 0);
            cache.keep();
        }
        // Other inputs have other runs, in any order, and the first ones are still there.
        let other = answer(&ModelsCache::of_file(None), "286 kg ± 3 kg");
        assert_eq!(of_folder(folder.path(), "286 kg ± 3 kg"), other);
        let both = cache(folder.path());
        assert_eq!(answer(&both, "286 kg ± 3 kg"), other);
        assert_eq!(answer(&both, "285 kg ± 3 kg"), expected);
        assert!(both.runs().added().is_empty());
    }

    #[test]
    fn threads_share_runs() {
        let shared = ModelsCache::of_file(None);
        let masses = ["280 kg", "281 kg", "280 kg", "282 kg", "281 kg", "280 kg"];
        let expected = masses.map(|mass| answer(&ModelsCache::of_file(None), mass));
        let found: Vec<_> = std::thread::scope(|scope| {
            let all: Vec<_> = masses.iter().map(|mass| scope.spawn(|| answer(&shared, mass))).collect();
            all.into_iter().map(|thread| thread.join().unwrap()).collect()
        });
        assert_eq!(found, expected);
        let reversed = ModelsCache::of_file(None);
        masses.iter().rev().for_each(|mass| drop(answer(&reversed, mass)));
        assert_eq!(shared.runs().added(), reversed.runs().added(), "in any order, the same is kept");
    }

    #[test]
    fn damaged_and_foreign_files_are_not_used() {
        let folder = tempfile::tempdir().unwrap();
        let expected = of_folder(folder.path(), "285 kg ± 3 kg");
        let path = file(folder.path());
        let whole = std::fs::read(&path).unwrap();
        for at in (0..whole.len()).step_by(13).chain([whole.len() - 1]) {
            let mut damaged = whole.clone();
            damaged[at] ^= 0x41;
            std::fs::write(&path, &damaged).unwrap();
            assert_eq!(of_folder(folder.path(), "285 kg ± 3 kg"), expected, "byte {at}");
        }
        for content in [&b""[..], b"tierod cache 4\nsources of another build\n\n", &whole[..whole.len() / 2]] {
            std::fs::write(&path, content).unwrap();
            assert_eq!(of_folder(folder.path(), "285 kg ± 3 kg"), expected);
        }
        // Entries with right checksums and too many, too few or no numbers.
        std::fs::write(&path, &whole).unwrap();
        let known = cache(folder.path());
        answer(&known, "285 kg ± 3 kg");
        let keys = {
            let fresh = ModelsCache::of_file(None);
            answer(&fresh, "285 kg ± 3 kg");
            fresh.runs().added()
        };
        for length in [0, 7, 8, 16, 25, 32] {
            let entries: Vec<(&[u8], Vec<u8>)> = keys.iter().map(|(key, _)| (key.bytes(), vec![1; length])).collect();
            CacheFile::in_folder(folder.path()).write(&Entries::default(), &entries);
            assert_eq!(of_folder(folder.path(), "285 kg ± 3 kg"), expected, "{length} bytes");
        }
    }

    /// A team that changes a mass each day does not read the runs of all earlier ones.
    #[test]
    fn earlier_runs_do_not_add_up() {
        let folder = tempfile::tempdir().unwrap();
        for mass in 0..120 {
            of_folder(folder.path(), &format!("{} kg ± 3 kg", 280.0 + 0.01 * f64::from(mass)));
        }
        let size = file(folder.path()).metadata().unwrap().len() as usize;
        assert!((SPARE / 2..SPARE + 8_000).contains(&size), "{size}");
        let last = cache(folder.path());
        answer(&last, "281.19 kg ± 3 kg");
        assert!(last.runs().added().is_empty());
    }
}
