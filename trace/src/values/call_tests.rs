//! Runs of models that are known, and those that must not be taken for another one.

use super::*;

fn call(runs: &Arc<ModelRuns>) -> Call {
    let mut call = Call::new(models::find("straight-line").unwrap(), Arc::clone(runs));
    call.numbers = vec!["mass", "power", "grip", "distance"];
    call
}

const NUMBERS: [f64; 4] = [285.0, 33_000.0, 1.28, 75.0];

/// What changes an input changes the key, by its exact bits; what is asked of a run does, too.
#[test]
fn every_input_has_a_key_of_its_own() {
    let runs = Arc::default();
    let base = call(&runs);
    let mut all = vec![base.key(OUTPUTS, &NUMBERS)];
    for at in 0..4 {
        let mut numbers = NUMBERS;
        numbers[at] = f64::from_bits(numbers[at].to_bits() + 1);
        all.push(base.key(OUTPUTS, &numbers));
        all.push(base.key(at as u64, &NUMBERS));
    }
    all.push(base.key(OUTPUTS, &[0.0]));
    all.push(base.key(OUTPUTS, &[-0.0]));
    // A copy that is changed does not keep the key of what was copied.
    let changes: [fn(&mut Call); 8] = [
        |call| call.model = models::find("lap").unwrap(),
        |call| call.numbers.swap(0, 1),
        |call| call.numbers.truncate(3),
        |call| call.tables.push(("power-curve", Arc::new([(1.0, 2.0)]))),
        |call| call.tables.push(("power-curve", Arc::new([(1.0, f64::from_bits(2.0_f64.to_bits() + 1))]))),
        |call| call.tables.push(("engine-curve", Arc::new([(1.0, 2.0)]))),
        |call| call.lists.push(("power-curve", vec![1.0, 2.0])),
        |call| call.lists.extend([("gears", vec![1.0]), ("more", vec![2.0])]),
    ];
    for change in changes {
        let mut copy = base.clone();
        change(&mut copy);
        all.push(copy.key(OUTPUTS, &NUMBERS));
    }
    let different: std::collections::BTreeSet<_> = all.iter().copied().collect();
    assert_eq!(different.len(), all.len());
    assert_eq!(call(&runs).key(OUTPUTS, &NUMBERS), all[0]);
}

/// Known numbers are used, so a run is not calculated again; numbers of another count are not those of this build.
#[test]
fn a_known_run_is_not_calculated_again() {
    let runs: Arc<ModelRuns> = Arc::default();
    let call = call(&runs);
    let calculated = call.outputs(&NUMBERS).unwrap();
    let slopes = call.difference(&NUMBERS, 0);
    assert_eq!(runs.added().len(), 2);
    assert_eq!(call.outputs(&NUMBERS).unwrap(), calculated);
    assert_eq!(call.known_difference(&NUMBERS, 0), Some(slopes));
    assert_eq!(call.known_difference(&NUMBERS, 1), None);

    let other: Arc<ModelRuns> = Arc::default();
    other.add(call.key(OUTPUTS, &NUMBERS), [1.0, 2.0, 3.0].into());
    let copy = Call { runs: Arc::clone(&other), ..call };
    assert_eq!(copy.outputs(&NUMBERS).unwrap()[..], [1.0, 2.0, 3.0]);
    // Invalid inputs have an error, and no entry.
    let added = other.added().len();
    assert!(copy.outputs(&[f64::NAN; 4]).is_err());
    assert_eq!(other.added().len(), added);
}
