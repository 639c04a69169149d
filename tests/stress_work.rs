//! The work of stress files: each is read once for all of its fields, kept for the next run, and limited for all files of a state.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use crate::support::Sandbox;

/// A mesh of one hexahedron, so many times, as raw bytes, with fields of one number for each node: `s0` is 1 everywhere.
fn file(elements: usize, fields: usize) -> Vec<u8> {
    let points = [0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 0, 0, 1, 1, 0, 1, 1, 1, 1, 0, 1, 1];
    let ids: Vec<u8> = (0..8).cycle().take(8 * elements).collect();
    let ends: Vec<u8> = (1..=elements).flat_map(|element| (8 * element as u32).to_le_bytes()).collect();
    let stress: Vec<Vec<u8>> = (0..fields).map(|field| vec![field as u8 + 1; 8]).collect();
    let mut data: Vec<u8> = Vec::new();
    let mut array = |kind: &str, name: &str, components: usize, bytes: &[u8]| {
        let offset = data.len();
        data.extend((bytes.len() as u32).to_le_bytes());
        data.extend(bytes);
        format!(
            "<DataArray type=\"{kind}\" Name=\"{name}\" NumberOfComponents=\"{components}\" format=\"appended\" offset=\"{offset}\"/>"
        )
    };
    let points = array("UInt8", "Points", 3, &points);
    let cells = [
        array("UInt8", "connectivity", 1, &ids),
        array("UInt32", "offsets", 1, &ends),
        array("UInt8", "types", 1, &vec![12; elements]),
    ]
    .concat();
    let stress: String =
        stress.iter().enumerate().map(|(field, bytes)| array("UInt8", &format!("s{field}"), 1, bytes)).collect();
    let xml = format!(
        "<VTKFile type=\"UnstructuredGrid\" byte_order=\"LittleEndian\" header_type=\"UInt32\"><UnstructuredGrid>\
         <Piece NumberOfPoints=\"8\" NumberOfCells=\"{elements}\"><Points>{points}</Points><Cells>{cells}</Cells>\
         <PointData>{stress}</PointData></Piece></UnstructuredGrid><AppendedData encoding=\"raw\">_"
    );
    [xml.into_bytes(), data, b"</AppendedData></VTKFile>".to_vec()].concat()
}

/// Analyses of fields of `a.vtu`, each with a target for its safety; `#` is the number of the analysis.
fn records(fields: usize, stress: &str, more: impl Fn(usize) -> String) -> String {
    let mut text = "systems:\n  frame: {in: car, lead: x}\nparts:\n  hub: {in: frame}\ntargets:\n".to_owned();
    for field in 0..fields {
        let _ = writeln!(text, "  t{field}: {{of: hub, at-least: 0.1}}");
    }
    text.push_str("analyses:\n");
    for field in 0..fields {
        let _ = writeln!(
            text,
            "  a{field}: {{model: stress-field, finds: {{t{field}: safety}}, {}given: {{file: a.vtu, stress: {}, stress-unit: MPa, \
             length-unit: mm, allowable: 60 MPa}}}}",
            more(field),
            stress.replace('#', &field.to_string()),
        );
    }
    text
}

fn sandbox(records: &str, file: &[u8]) -> Sandbox {
    let sandbox = Sandbox::new();
    sandbox.write("tierod.yaml", "season: 2027\n");
    sandbox.write("a.yaml", records);
    sandbox.write("a.vtu", file);
    sandbox
}

fn safeties(sandbox: &Sandbox, count: usize) -> Vec<Option<f64>> {
    let values = sandbox.tierod(&["values", "--format", "json"]).json();
    let values = values["values"].as_array().unwrap();
    let of = |id: String| values.iter().find(|value| value["id"] == *id).and_then(|value| value["value"].as_f64());
    (0..count).map(|field| of(format!("t{field}"))).collect()
}

fn unread(sandbox: &Sandbox) -> Vec<String> {
    let report = sandbox.tierod(&["check", "--format", "json"]).json();
    let all = report["findings"].as_array().unwrap().iter().filter(|found| found["check"] == "unreadable-table");
    all.map(|found| found["message"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn fields_of_one_file_have_their_own_numbers() {
    let own = sandbox(&records(12, "s#", |_| String::new()), &file(50, 12));
    let found = safeties(&own, 12);
    for (field, safety) in found.into_iter().enumerate() {
        let expected = 60.0 / (field as f64 + 1.0);
        assert!((safety.unwrap() / expected - 1.0).abs() < 1e-9, "s{field}: {safety:?}");
    }
    // A second run has what the first one kept; another content of the file has not.
    let before = safeties(&own, 12);
    own.git(&["init", "-q"]);
    assert_eq!((safeties(&own, 12), safeties(&own, 12)), (before.clone(), before.clone()));
    own.write("a.vtu", file(51, 12));
    assert_eq!(safeties(&own, 12), before);
    own.write("a.vtu", file(51, 3));
    assert_eq!(safeties(&own, 4), [before[0], before[1], before[2], None]);
    own.write("a.vtu", file(50, 12));
    own.write("a.yaml", records(12, "s#", |_| String::new()).replace("allowable: 60", "allowable: 30"));
    assert_eq!(safeties(&own, 12)[0], Some(30.0));
}

/// The mesh is read once, and when there is no work left, nothing more is read: the error names the limit.
#[test]
fn the_work_of_all_fields_is_limited() {
    const ELEMENTS: usize = 100_000;
    let own = sandbox(&records(50, "s#", |_| String::new()), &file(ELEMENTS, 2));
    let begin = Instant::now();
    let found = unread(&own);
    assert!(begin.elapsed() < Duration::from_secs(20), "{:?}", begin.elapsed());
    assert_eq!(found.len(), 48, "{found:?}");
    let limit = "a.vtu: the stress files of the project need too much work: the limit is 600 million steps";
    let (limited, others): (Vec<&String>, Vec<&String>) = found.iter().partition(|message| *message == limit);
    assert!(others.iter().all(|message| message.starts_with("a.vtu: the file has no field `s")), "{others:?}");
    // 600 million in about 23 million: 8 nodes at 27 points, and some numbers for each element.
    assert!((22..=26).contains(&limited.len()), "{}", limited.len());
    assert!(found[..2].iter().all(|message| message != limit) && found[47] == limit, "in the order of the records");
}

/// In a mesh of few elements each has many points, which count. A field that is not in the file counts as one that is.
#[test]
fn the_points_of_elements_are_work() {
    const ELEMENTS: usize = 900;
    let own = sandbox(&records(500, "s#", |_| String::new()), &file(ELEMENTS, 1));
    let found = unread(&own);
    let limited = found.iter().filter(|message| message.contains("too much work")).count();
    // 8 nodes at 216 points.
    let fit = 600_000_000 / (8 * 216 * ELEMENTS);
    assert_eq!(found.len(), 499);
    assert!((500 - fit..=502 - fit + 3).contains(&limited), "{limited}, {fit}");
}

/// Analyses that supersede each other: twice as many take about twice as long.
#[test]
fn many_superseded_analyses_take_little_time() {
    let chain = |count: usize| {
        let supersedes =
            |field: usize| if field == 0 { String::new() } else { format!("supersedes: [a{}], ", field - 1) };
        sandbox(&records(count, "s0", supersedes), &file(5, 1))
    };
    let time = |count: usize| {
        let own = chain(count);
        let begin = Instant::now();
        own.tierod(&["check"]);
        begin.elapsed()
    };
    let few = time(1000).max(Duration::from_millis(100));
    let many = time(4000);
    assert!(many < 10 * few, "{few:?} for 1,000, {many:?} for 4,000");
    // The history of a part has all of them, the current one last.
    let own = chain(30);
    own.write(
        "a.yaml",
        std::fs::read_to_string(own.path_of("a.yaml")).unwrap().replace("supersedes", "informs: [hub], supersedes"),
    );
    let stress = own.tierod(&["why", "hub", "--format", "json"]).json()["stress"].clone();
    let ids: Vec<&str> =
        stress[0]["iterations"].as_array().unwrap().iter().map(|one| one["analysis"].as_str().unwrap()).collect();
    let expected: Vec<String> = (0..30).map(|field| format!("a{field}")).collect();
    assert_eq!(ids, expected);
}

/// Files that git stores in some kilobytes may be as large as each limit allows: together they have one of their own.
#[cfg(unix)]
#[test]
fn the_bytes_of_all_files_are_limited() {
    let records = records(4, "s", |_| String::new());
    let records = (0..4).fold(records, |text, field| text.replacen("a.vtu", &format!("b{field}.vtu"), 1));
    let own = sandbox(&records, b"");
    for field in 0..4 {
        let file = std::fs::File::create(own.path_of(&format!("b{field}.vtu"))).unwrap();
        file.set_len(180 << 20).unwrap();
    }
    let found = unread(&own);
    assert_eq!(
        found[..2],
        ["b0.vtu", "b1.vtu"].map(|file| format!("{file}: the file is neither VTU, legacy VTK nor CSV"))
    );
    let limit = "the stress files are more than 512 MiB together, and this one is not read";
    assert_eq!(found[2..], ["b2.vtu", "b3.vtu"].map(|file| format!("{file}: {limit}")));
}
