//! The JSON Schema (2020-12) of record files and settings, made from the types that read them.

use schemars::generate::SchemaSettings;
use serde_json::Value;

use crate::records::RecordFile;
use crate::settings::Settings;

/// The schema of a record file.
pub fn records() -> Value {
    SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<RecordFile>().to_value()
}

/// The schema of the settings file.
pub fn settings() -> Value {
    SchemaSettings::draft2020_12().into_generator().into_root_schema_for::<Settings>().to_value()
}
