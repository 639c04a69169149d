//! Several fields of one file, whose mesh is read once.

use models::stress::{StressField, StressFile, read};

use super::meshes::{Kind, MM, close, mesh};

/// A mesh with its field `S`, and more of them.
fn text() -> String {
    let count = 6 * 4;
    let mut text = mesh(Kind::Tetrahedron, false, [1, 1, 1], |p| p, |[x, ..]| vec![10.0 + x]);
    let lines = |one: &str, count: usize| format!("{one}\n").repeat(count);
    text += &format!("six 6 {count} double\n{}", lines("7 0 0 0 0 0", count));
    text += &format!("nine 9 {count} float\n{}", lines("0 8 0 8 0 0 0 0 0", count));
    text +=
        &format!("CELL_DATA 6\nFIELD more 2\nflat 1 6 double\n{}three 3 6 int\n{}", lines("9", 6), lines("1 2 3", 6));
    text.replacen("FIELD FieldData 1", "FIELD FieldData 3", 1)
}

#[test]
fn all_fields_of_a_file_are_those_that_are_read_alone() {
    let text = text();
    let file = StressFile::open(text.as_bytes());
    let alone = |stress: &'static str| read(text.as_bytes(), models::stress::Ask { stress, ..MM });
    for name in ["S", "six", "nine", "flat", "S"] {
        let field = file.read(name).unwrap();
        assert_eq!(field.in_units(1e6, 1e-3), alone(name), "{name}");
        assert_eq!(field.elements(), 6);
        close(name, field.volume(), 1.0, 1e-12);
    }
    close("six", file.read("six").unwrap().peak(), 7.0, 1e-12);
    close("nine", file.read("nine").unwrap().peak(), 8.0 * 3_f64.sqrt(), 1e-12);
    for name in ["three", "other"] {
        assert_eq!(file.read(name).unwrap_err(), alone(name).unwrap_err());
    }
    assert_eq!(file.read("other").unwrap_err().help, "its fields are `S`, `six`, `nine`, `flat`, `three`");
}

/// Work is known without reading a field, and what is wrong with a mesh is wrong with each of its fields.
#[test]
fn work_is_counted_for_each_field() {
    let text = text();
    let file = StressFile::open(text.as_bytes());
    // A field of 6 or 9 components has as many numbers for each of the 24 nodes; `flat` has one for each of 6 elements.
    let base = file.work("flat") - 6;
    assert_eq!(["S", "six", "nine", "other"].map(|name| file.work(name) - base), [24, 6 * 24, 9 * 24, 0]);
    // Three coordinates, and four ids of each tetrahedron, which count five times.
    assert!(base > 3 * 24 + 5 * 24, "{base}");
    let cut = StressFile::open(&text.as_bytes()[..text.len() / 3]);
    assert!(cut.work("S") > 0);
    assert_eq!(cut.read("S").unwrap_err(), cut.read("six").unwrap_err());
    let table = "volume,a,b\n1,2,3\n2,3,4\n";
    let file = StressFile::open(table.as_bytes());
    assert_eq!((file.read("a").unwrap().peak(), file.read("b").unwrap().peak()), (3.0, 4.0));
    assert!(file.work("a") as usize >= table.len());
}

#[test]
fn units_scale_what_was_read() {
    let file = text();
    let field = StressFile::open(file.as_bytes()).read("S").unwrap();
    let scaled = field.in_units(1e6, 1e-3).unwrap();
    close("volume", scaled.volume(), 1e-9 * field.volume(), 1e-14);
    close("99.9 %", scaled.percentile(), 1e6 * field.percentile(), 1e-14);
    assert_eq!(StressField::from_numbers(&scaled.to_numbers()), Some(scaled));
    for (stress, length) in [(1e300, 1e300), (1.0, 1e-200), (1e-320, 1.0)] {
        assert_eq!(field.in_units(stress, length).unwrap_err().help, "check the units");
    }
}
