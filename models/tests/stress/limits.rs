//! Small files of which much is to be made.

use std::io::Write as _;
use std::time::{Duration, Instant};

use flate2::Compression;
use flate2::write::ZlibEncoder;
use models::stress::{StressFile, read};

use super::meshes::{MM, close};

/// An array that is compressed in blocks, as VTK does it.
fn compressed(bytes: &[u8]) -> Vec<u8> {
    const BLOCK: usize = 1 << 20;
    let blocks: Vec<Vec<u8>> = bytes
        .chunks(BLOCK)
        .map(|block| {
            let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
            encoder.write_all(block).unwrap();
            encoder.finish().unwrap()
        })
        .collect();
    let head = [blocks.len(), BLOCK, bytes.len() % BLOCK].into_iter().chain(blocks.iter().map(Vec::len));
    let head: Vec<u8> = head.flat_map(|number| (number as u32).to_le_bytes()).collect();
    [head, blocks.concat()].concat()
}

/// One tetrahedron, and so many nodes; all numbers are bytes.
fn file(nodes: usize, components: usize) -> Vec<u8> {
    let mut points = vec![0; 3 * nodes];
    (points[3], points[7], points[11]) = (1, 1, 1);
    let mut stress = vec![0; components * nodes];
    stress[..4 * components].fill(5);
    let (mut arrays, mut offsets) = (Vec::new(), Vec::new());
    for bytes in [&points[..], &[0, 1, 2, 3], &[4], &[10], &stress] {
        offsets.push(arrays.len());
        arrays.extend(compressed(bytes));
    }
    let array = |name: &str, at: usize, components: usize| {
        format!(
            "<DataArray type=\"UInt8\" Name=\"{name}\" NumberOfComponents=\"{components}\" format=\"appended\" offset=\"{}\"/>",
            offsets[at]
        )
    };
    let xml = format!(
        "<VTKFile type=\"UnstructuredGrid\" byte_order=\"LittleEndian\" header_type=\"UInt32\" \
         compressor=\"vtkZLibDataCompressor\"><UnstructuredGrid><Piece NumberOfPoints=\"{nodes}\" NumberOfCells=\"1\">\
         <Points>{}</Points><Cells>{}{}{}</Cells><PointData>{}</PointData></Piece></UnstructuredGrid>\
         <AppendedData encoding=\"raw\">_",
        array("Points", 0, 3),
        array("connectivity", 1, 1),
        array("offsets", 2, 1),
        array("types", 3, 1),
        array("S", 4, components),
    );
    [xml.into_bytes(), arrays, b"</AppendedData></VTKFile>".to_vec()].concat()
}

/// Six million nodes of nine bytes would be 412 MiB as numbers.
#[test]
fn a_small_file_does_not_take_much_memory() {
    let large = file(6_000_000, 9);
    assert!(large.len() < 200_000, "{}", large.len());
    let begin = Instant::now();
    let error = read(&large, MM).unwrap_err();
    assert_eq!(error.message, "the mesh and its stress need 411 MiB of memory; the limit is 224 MiB");
    assert!(error.help.contains("von Mises stress in place of the tensor"), "{}", error.help);
    assert!(begin.elapsed() < Duration::from_secs(10));
    // A scalar of the same nodes is below the limit.
    close("one component", read(&file(6_000_000, 1), MM).unwrap().peak(), 5e6, 1e-12);
    // What is read by its bytes is what is read at all: the tensor that is 5 in all places has no von Mises stress but shear.
    close("nine components", read(&file(5, 9), MM).unwrap().peak(), 15e6, 1e-12);
}

/// A field can be read again.
#[test]
fn a_field_can_be_read_again() {
    let bytes = file(2_000_000, 9);
    let file = StressFile::open(&bytes);
    for _ in 0..3 {
        close("peak", file.read("S").unwrap().peak(), 15.0, 1e-12);
    }
}
