//! Gives the crate `TIEROD_SOURCES_HASH`, the hash over the sources that decide numbers.

mod sources;

use std::path::Path;

fn main() -> Result<(), String> {
    let own = std::env::var("CARGO_MANIFEST_DIR").map_err(|error| error.to_string())?;
    let top = Path::new(&own).parent().ok_or("the crate has no folder above it")?;
    println!("cargo::rerun-if-changed=build.rs");
    println!("cargo::rerun-if-changed=sources.rs");
    let folders = sources::FOLDERS.iter().map(|(folder, _)| *folder);
    // A path that does not exist would make every build run this again.
    for path in folders.chain([sources::LOCK]).map(|path| top.join(path)).filter(|path| path.exists()) {
        println!("cargo::rerun-if-changed={}", path.display());
    }
    println!("cargo::rustc-env=TIEROD_SOURCES_HASH={}", sources::hash(top)?);
    Ok(())
}
