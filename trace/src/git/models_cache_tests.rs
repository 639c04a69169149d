//! Runs of models and stress fields that are kept between two runs of the tool.

use std::path::Path;

use super::*;
use crate::git::cache_file::Entries;
use crate::graph::Graph;
use crate::load::Loaded;
use crate::snapshot::{File, Snapshot};
use crate::stress::{Field, SharedFields};
use crate::values::Values;
use models::stress::StressFile;
use models::stress::limits::MOST_WORK;

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

/// Integration points with two columns of stress.
const POINTS: &str = "volume,a,b\n1,10,70\n2,20,80\n3,40,90\n";

fn fields_in(folder: &Path, text: &str, names: &[&str]) -> (Vec<Field>, usize) {
    let cache = cache(folder);
    let fields = SharedFields::default().read(text.as_bytes(), names, &cache.runs(), &mut MOST_WORK.clone());
    let added = cache.runs().added().len();
    cache.keep();
    (fields, added)
}

fn fields_without(text: &str, names: &[&str]) -> Vec<Field> {
    SharedFields::default().read(text.as_bytes(), names, &ModelRuns::default(), &mut MOST_WORK.clone())
}

#[test]
fn stress_fields_are_kept() {
    let folder = tempfile::tempdir().unwrap();
    let expected = fields_without(POINTS, &["a", "b"]);
    assert_eq!(fields_in(folder.path(), POINTS, &["a"]).1, 1);
    assert_eq!(fields_in(folder.path(), POINTS, &["a", "b"]), (expected.clone(), 1));
    for _ in 0..2 {
        assert_eq!(fields_in(folder.path(), POINTS, &["a", "b"]), (expected.clone(), 0));
    }
    // Each file, and each field of it, has an entry of its own; an error has none.
    let changed = POINTS.replace("3,40", "3,41");
    let (fields, added) = fields_in(folder.path(), &changed, &["a", "c"]);
    assert_eq!((&fields, added), (&fields_without(&changed, &["a", "c"]), 1));
    assert_ne!(fields[0], expected[0]);
    assert!(fields[1].is_err());
}

#[test]
fn damaged_stress_fields_count_as_absent() {
    let folder = tempfile::tempdir().unwrap();
    let (expected, _) = fields_in(folder.path(), POINTS, &["a"]);
    assert_eq!(expected, fields_without(POINTS, &["a"]));
    let path = file(folder.path());
    let whole = std::fs::read(&path).unwrap();
    for at in 0..whole.len() {
        let mut damaged = whole.clone();
        damaged[at] ^= 0x41;
        std::fs::write(&path, &damaged).unwrap();
        assert_eq!(fields_in(folder.path(), POINTS, &["a"]), (expected.clone(), 1), "byte {at}");
    }
    // Entries with right checksums whose numbers are not those of a field.
    let runs = ModelRuns::default();
    SharedFields::default().read(POINTS.as_bytes(), &["a"], &runs, &mut MOST_WORK.clone());
    let (key, value) = runs.added().remove(0);
    let number = |at: usize, number: f64| {
        let mut value = value.clone();
        value[8 * at..8 * at + 8].copy_from_slice(&number.to_le_bytes());
        value
    };
    let cut = [0, 7, 8, 32, value.len() - 8, value.len() - 1].map(|length| value[..length].to_vec());
    let wrong =
        [number(0, -1.0), number(0, f64::NAN), number(0, 1e30), number(1, 0.0), number(4, 1e9), number(5, -1.0)];
    for value in cut.into_iter().chain(wrong) {
        CacheFile::in_folder(folder.path()).write(&Entries::default(), &[(key.bytes(), value)]);
        assert_eq!(fields_in(folder.path(), POINTS, &["a"]), (expected.clone(), 1));
    }
}

/// The same fields are refused with a cache and without one, and nothing is read after the first of them.
#[test]
fn the_limit_of_work_does_not_depend_on_the_cache() {
    let folder = tempfile::tempdir().unwrap();
    let work = StressFile::open(POINTS.as_bytes()).work("a");
    let other = POINTS.replace("3,40", "3,41");
    let is_read = |kept: &[&str]| -> Vec<bool> {
        std::fs::remove_dir_all(folder.path().join("tierod")).ok();
        fields_in(folder.path(), POINTS, kept);
        let runs = cache(folder.path()).runs();
        let mut left = 2 * work + work / 2;
        let shared = SharedFields::default();
        let mut fields = shared.read(POINTS.as_bytes(), &["b", "c", "a"], &runs, &mut left);
        fields.extend(shared.read(other.as_bytes(), &["a"], &runs, &mut left));
        let error = fields[2].clone().unwrap_err();
        let message = "the stress files of the project need too much work: the limit is 600 million steps";
        assert_eq!((error.message.as_str(), fields[3].clone().unwrap_err().message.as_str()), (message, message));
        assert!(error.help.starts_with("use coarser meshes"), "{}", error.help);
        fields.iter().map(Result::is_ok).collect()
    };
    for kept in [&[][..], &["a"], &["b"], &["a", "b"]] {
        assert_eq!(is_read(kept), [true, false, false, false], "{kept:?} are in the cache");
    }
}
