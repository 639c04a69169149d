//! Files that cannot be used, each with its cause.

use models::stress::{StressError, read};

use super::meshes::{Kind, MM, close, field, mesh};

fn refused(text: impl AsRef<[u8]>) -> StressError {
    read(text.as_ref(), MM).expect_err("it is refused")
}

#[test]
fn what_cannot_be_used_is_refused_with_its_cause() {
    let good = mesh(Kind::Tetrahedron, false, [1, 1, 1], |p| p, |[x, ..]| vec![10.0 + x]);
    assert!(read(good.as_bytes(), MM).is_ok());
    let case = |from: &str, to: &str| refused(good.replacen(from, to, 1)).message;
    // Six tetrahedra with nodes of their own.
    assert_eq!(
        case("CELLS 6 30\n4 0 1 2 3", "CELLS 6 31\n5 0 1 2 3 3"),
        "element 0 (tetrahedron) has 5 nodes; this type has 4"
    );
    assert_eq!(
        case("CELLS 6 30\n4 0 1 2 3", "CELLS 6 29\n3 0 1 2"),
        "element 0 (tetrahedron) has 3 nodes; this type has 4"
    );
    assert_eq!(case("\n4 0 1 2 3", "\n9999 0 1 2 3"), "element 0 has more ids than the file");
    assert_eq!(case("\n4 0 1 2 3", "\n4 0 1 2 24"), "element 0 names node 24, and the file has 24 nodes");
    assert_eq!(case("\n4 0 1 2 3", "\n4 0 1 2 -3"), "number 4 of `CELLS` is not a number of its type");
    assert_eq!(case("\n4 0 1 2 3", "\n4 0 1 2 2"), "element 0 (tetrahedron) has no volume");
    assert_eq!(case("\n4 0 1 2 3", "\n4 1 0 2 3"), "element 0 (tetrahedron) is turned inside out");
    assert_eq!(case("double\n10.0", "double\nnan"), "the stress at node 0 is not a finite number");
    assert_eq!(case("double\n10.0", "double\ninf"), "the stress at node 0 is not a finite number");
    assert_eq!(
        case("double\n10.0", "double\n-10.0"),
        "the field `S` has negative values: it is not an equivalent stress"
    );
    assert_eq!(
        case("double\n0.0 0.0 0.0", "double\n0.0 inf 0.0"),
        "node 0 has a coordinate that is not a finite number"
    );
    assert_eq!(case("S 1 24", "S 1 23"), "the field `S` has 23 values for 24 nodes");
    assert_eq!(case("S 1 24", "S 3 24"), "the field `S` has 3 components");
    assert_eq!(
        case("CELL_TYPES 6\n10\n10", "CELL_TYPES 6\n3\n5"),
        "the file has elements that are not read: 1 of type 3 (line), 1 of type 5 (triangle or polygon)"
    );
    let help = refused(good.replacen("CELL_TYPES 6\n10", "CELL_TYPES 6\n42", 1));
    assert_eq!(help.message, "the file has elements that are not read: 1 of type 42 (polyhedron)");
    assert!(help.help.contains("linear or quadratic"));
    assert!(refused(good.replacen("CELL_TYPES 6\n10", "CELL_TYPES 6\n5", 1)).help.contains("no volume"));
    let missing = refused(good.replacen("\nS 1", "\nmises 1", 1));
    assert_eq!(
        (missing.message.as_str(), missing.help.as_str()),
        ("the file has no field `S`", "its fields are `mises`")
    );
    assert_eq!(case("UNSTRUCTURED_GRID", "POLYDATA"), "the file has a `POLYDATA`, not an `UNSTRUCTURED_GRID`");
    assert_eq!(case("POINTS 24", "POINTS 99999999"), "99999999 nodes; the limit is 6000000");
    assert_eq!(case("CELLS 6", "CELLS 9999999"), "9999999 elements; the limit is 2000000");
    // A pointer to a large file, by its shape.
    let pointer = "version https://example.org/spec/v1\noid sha256:4d7a214614ab2935c943f9e0ff69d22eadbb8f32b1258daaa5e2ca24d17e2393\nsize 12345\n";
    assert_eq!(refused(pointer).message, "the file is only a pointer to a large file, not the file itself");
    assert_eq!(refused("").message, "the file is empty");
    assert_eq!(refused([0x50, 0x4b, 3, 4, 0, 0]).message, "the file is neither VTU, legacy VTK nor CSV");
}

#[test]
fn tables_that_cannot_be_used_are_refused_with_their_cause() {
    let no_column = refused("Volume,S\n1,2\n");
    assert_eq!(
        (no_column.message.as_str(), no_column.help.as_str()),
        ("the file has no column `volume`", "its columns are `Volume`, `S`")
    );
    assert_eq!(refused("volume,stress\n1,2\n").message, "the file has no column `S`");
    assert_eq!(refused("volume,S\n").message, "the table has no rows");
    assert_eq!(refused("volume,S\n1,2\n0,3\n").message, "line 3: the volume is zero or negative");
    assert_eq!(
        refused("volume,S\n1,-2\n").message,
        "line 2: the stress is negative, so it is not an equivalent stress"
    );
    for wrong in ["nan", "inf", "2 MPa", "", "1e999"] {
        let message = refused(format!("volume,S\n1,{wrong}\n")).message;
        assert_eq!(message, format!("line 2: `{wrong}` in the column `S`; it must be a number, zero or more"));
    }
    assert_eq!(
        refused("volume;S\n1,5;2\n").message,
        "line 2: `1,5` in the column `volume`; it must be a number above zero"
    );
}

/// A VTU file with one element, whose arrays are given.
fn vtu(attributes: &str, points: &str, connectivity: &str, offsets: &str, stress: &str, after: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?>\n<VTKFile type=\"UnstructuredGrid\" {attributes}><UnstructuredGrid>\
         <Piece NumberOfPoints=\"4\" NumberOfCells=\"1\"><PointData/><CellData>{stress}</CellData>\
         <Points>{points}</Points><Cells>{connectivity}{offsets}\
         <DataArray type=\"UInt8\" Name=\"types\" format=\"ascii\">10</DataArray></Cells></Piece></UnstructuredGrid>{after}</VTKFile>\n"
    )
}

#[test]
fn a_vtu_file_that_claims_too_much_is_refused() {
    let array = |kind: &str, name: &str, more: &str, text: &str| {
        format!("<DataArray type=\"{kind}\" Name=\"{name}\" {more}>{text}</DataArray>")
    };
    let ascii = "format=\"ascii\"";
    let points = array("Float64", "Points", "NumberOfComponents=\"3\" format=\"ascii\"", "0 0 0 1 0 0 0 1 0 0 0 1");
    let ids = array("Int64", "connectivity", ascii, "0 1 2 3");
    let ends = array("Int64", "offsets", ascii, "4");
    let stress = array("Float64", "S", ascii, "5");
    let good = vtu("", &points, &ids, &ends, &stress, "");
    close("one tetrahedron", field(&good).volume(), 1e-9 / 6.0, 1e-13);
    let all = |attributes: &str, ids: &str, ends: &str, stress: &str, after: &str| {
        refused(vtu(attributes, &points, ids, ends, stress, after)).message
    };
    assert_eq!(
        all("", &ids, &array("Int64", "offsets", ascii, "4000000000"), &stress, ""),
        "4000000000 ids of nodes in elements; the limit is 30000000"
    );
    assert_eq!(
        all("", &ids, &array("Int64", "offsets", ascii, "5"), &stress, ""),
        "`connectivity` has 4 numbers; the file needs 5 of them"
    );
    assert_eq!(
        all("", &ids, &ends, &array("Float64", "S", ascii, "5 6"), ""),
        "`S` has more numbers; the file needs 1 of them"
    );
    assert_eq!(
        all(
            "",
            &ids,
            &ends,
            &array("Float64", "S", "format=\"appended\" offset=\"999999999999\"", ""),
            "<AppendedData encoding=\"raw\">_1234"
        ),
        "`S` is outside of the appended data (offset 999999999999)"
    );
    assert_eq!(
        all("", &ids, &ends, &array("Float64", "S", "format=\"appended\" offset=\"0\"", ""), ""),
        "`S` is outside of the appended data (offset 0)"
    );
    assert_eq!(
        all("", &ids, &ends, &array("Float64", "S", "format=\"binary\"", "!!!!"), ""),
        "`S` ends before its numbers"
    );
    assert_eq!(
        all("compressor=\"vtkLZMADataCompressor\"", &ids, &ends, &stress, ""),
        "the file is compressed by `vtkLZMADataCompressor`, which is not read"
    );
    assert_eq!(
        refused(good.replace("NumberOfPoints=\"4\"", "NumberOfPoints=\"18446744073709551615\"")).message,
        "18446744073709551615 nodes; the limit is 6000000"
    );
    assert_eq!(
        refused(good.replace("\"UnstructuredGrid\"", "\"PUnstructuredGrid\"")).message,
        "the file has a `PUnstructuredGrid`, not an `UnstructuredGrid`"
    );
    assert_eq!(refused("<html><body>not found</body></html>").message, "the file is XML, but not a VTK file");
    // A header of four billion blocks, and one block that would never end.
    let header = "/////wAAAAAAAAAA";
    let bomb = array("Float64", "S", "format=\"binary\"", header);
    assert_eq!(all("compressor=\"vtkZLibDataCompressor\"", &ids, &ends, &bomb, ""), "`S` ends before its numbers");
}
