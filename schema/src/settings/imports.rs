//! `imports`: which columns of a spreadsheet become which keys of parts.

use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;
use std::str::FromStr;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde::de::{self, Deserializer, MapAccess, SeqAccess, Visitor};

use crate::entries::Entries;
use crate::quantity::Quantity;
use crate::words::Id;

/// A spreadsheet and the parts that its rows become.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(inline)]
pub struct Import {
    /// The spreadsheet, relative to the project root: `.xlsx`, `.ods` or `.csv`.
    pub file: String,
    /// The sheet of a workbook; the first one by default.
    #[serde(default)]
    pub sheet: Option<String>,
    /// The row of the column names, as the spreadsheet counts: `3`, or `3-4` for two rows with merged cells. By default the
    /// first row that has all columns of the entry.
    #[serde(default)]
    pub header: Option<Header>,
    /// What separates the cells of a `.csv` file; found by default.
    #[serde(default)]
    pub delimiter: Option<Delimiter>,
    /// The decimal mark of numbers that are text, as all are in a `.csv` file; found by default.
    #[serde(default)]
    pub decimal: Option<DecimalMark>,
    /// The encoding of a `.csv` file; found by default.
    #[serde(default)]
    pub encoding: Option<Encoding>,
    /// The record file for new parts, for example `parts/{in}.yaml`: `{in}` is the system of the part.
    pub into: String,
    /// The columns of the parts.
    pub parts: ImportedParts,
}

/// The columns that become the keys of parts. A column is given by its name; below a merged cell it is `Mass / each`.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(inline)]
pub struct ImportedParts {
    /// The column of the part numbers. The id is the part number in kebab-case, with `p-` before it if it begins with a digit.
    pub id: String,
    /// The column of the titles.
    #[serde(default)]
    pub title: Option<String>,
    /// The system: an id for all parts, or a column and the systems that its names mean.
    pub r#in: OrColumn<Id>,
    /// The column of the counts; 1 without it.
    #[serde(default)]
    pub count: Option<String>,
    /// The amounts of one piece: `mass: {column: Mass, unit: g}`, or a list of columns of which a row has one, as of prices in
    /// two currencies.
    #[serde(default)]
    pub amounts: Entries<Id, ImportedColumns>,
    /// The column of the leads; a lead that the system has too is not written.
    #[serde(default)]
    pub lead: Option<String>,
    /// The column that says whether people's safety depends on the part: true or false, yes or no, 1 or 0, or an `x`.
    #[serde(default)]
    pub safety_critical: Option<String>,
}

impl ImportedParts {
    /// The columns of the amounts, one after the other.
    pub fn columns(&self) -> impl Iterator<Item = (&Id, &ImportedAmount)> + Clone {
        self.amounts.iter().flat_map(|(name, columns)| columns.0.iter().map(move |column| (name, column)))
    }
}

/// The columns of an amount: one, or several of which each row has at most one.
#[derive(Clone, Debug)]
pub struct ImportedColumns(pub Vec<ImportedAmount>);

impl<'de> Deserialize<'de> for ImportedColumns {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct OneOrMore;
        impl<'de> Visitor<'de> for OneOrMore {
            type Value = ImportedColumns;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("`{column: NAME, unit: UNIT}`, or a list of them")
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<ImportedColumns, A::Error> {
                let one = ImportedAmount::deserialize(de::value::MapAccessDeserializer::new(map))?;
                Ok(ImportedColumns(vec![one]))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<ImportedColumns, A::Error> {
                let mut all = Vec::new();
                while let Some(one) = list.next_element()? {
                    all.push(one);
                }
                Ok(ImportedColumns(all))
            }
        }
        deserializer.deserialize_any(OneOrMore)
    }
}

impl JsonSchema for ImportedColumns {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "ImportedColumns".into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let one = generator.subschema_for::<ImportedAmount>();
        json_schema!({"anyOf": [one.clone(), {"type": "array", "items": one}]})
    }
}

/// The column of an amount of one piece.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(inline)]
pub struct ImportedAmount {
    /// The column.
    pub column: String,
    /// The unit of its numbers, for example `g` or `EUR`.
    pub unit: String,
    /// The column of the uncertainties, in the same unit.
    #[serde(default)]
    pub uncertainty: Option<String>,
    /// The basis of the estimate: one for all parts, or a column and the bases that its names mean.
    #[serde(default)]
    pub basis: Option<OrColumn<Id>>,
    /// The margins that the spreadsheet adds to the column, one inside the other: first the section's, then that of the whole,
    /// as in `[{column: Section, names: {Brakes: 10 %}}, 5 %]`. Each multiplies what the margins before it give. The amount
    /// of the part includes them, so its basis should have no growth allowance in addition.
    #[serde(default)]
    pub margins: Vec<OrColumn<Quantity>>,
}

/// One value for all rows, or one by the text of a column.
#[derive(Clone, Debug, PartialEq)]
pub enum OrColumn<T> {
    /// The same for all rows.
    Always(T),
    /// By the text of a column.
    Column {
        /// The column.
        column: String,
        /// What the texts of the column mean; a text that is not listed means itself.
        names: Entries<String, T>,
    },
}

impl<T> OrColumn<T> {
    /// The column, if there is one.
    pub fn column(&self) -> Option<&str> {
        match self {
            Self::Always(_) => None,
            Self::Column { column, .. } => Some(column),
        }
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for OrColumn<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        #[serde(deny_unknown_fields, bound = "T: Deserialize<'de>")]
        struct Map<T> {
            column: String,
            #[serde(default = "Entries::default")]
            names: Entries<String, T>,
        }
        struct TextOrMap<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for TextOrMap<T> {
            type Value = OrColumn<T>;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("one value for all rows, or `{column: NAME, names: {TEXT: VALUE}}`")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<OrColumn<T>, E> {
                T::deserialize(de::value::StrDeserializer::new(text)).map(OrColumn::Always)
            }
            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<OrColumn<T>, A::Error> {
                let map = Map::deserialize(de::value::MapAccessDeserializer::new(map))?;
                Ok(OrColumn::Column { column: map.column, names: map.names })
            }
        }
        deserializer.deserialize_any(TextOrMap(PhantomData))
    }
}

impl<T: JsonSchema> JsonSchema for OrColumn<T> {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        format!("{}OrColumn", T::schema_name()).into()
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let value = generator.subschema_for::<T>();
        json_schema!({"oneOf": [value, {
            "type": "object",
            "properties": {
                "column": {"type": "string", "description": "The column."},
                "names": {
                    "type": "object",
                    "description": "What the texts of the column mean; a text that is not listed means itself.",
                    "additionalProperties": value,
                },
            },
            "required": ["column"],
            "additionalProperties": false,
        }]})
    }
}

/// The pattern of the rows of a header, for editors.
pub const HEADER_PATTERN: &str = "^[1-9][0-9]*( ?- ?[1-9][0-9]*)?$";

/// The row of the column names, or two rows of which the first has merged cells. They count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Header {
    /// The first row.
    pub first: u32,
    /// The last row: the first, or the one below it.
    pub last: u32,
}

impl FromStr for Header {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (first, last) = text.split_once('-').unwrap_or((text, text));
        match (first.trim().parse::<u32>(), last.trim().parse::<u32>()) {
            (Ok(first), Ok(last)) if first > 0 && (first == last || first.checked_add(1) == Some(last)) => {
                Ok(Self { first, last })
            }
            _ => Err("`header` is not a row: use its number, as in `3`, or two rows, as in `3-4`".to_owned()),
        }
    }
}

impl fmt::Display for Header {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.first)?;
        if self.first == self.last { Ok(()) } else { write!(f, "-{}", self.last) }
    }
}

impl<'de> Deserialize<'de> for Header {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(de::Error::custom)
    }
}

impl JsonSchema for Header {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Header".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": ["integer", "string"], "pattern": HEADER_PATTERN, "minimum": 1})
    }
}

/// What separates the cells of a `.csv` file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Delimiter {
    /// `,`
    Comma,
    /// `;`
    Semicolon,
    /// A tabulator.
    Tab,
    /// `|`
    Bar,
}

impl Delimiter {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Semicolon, Self::Comma, Self::Tab, Self::Bar];

    /// The character.
    pub fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Bar => b'|',
        }
    }

    /// The word in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Self::Comma => "comma",
            Self::Semicolon => "semicolon",
            Self::Tab => "tab",
            Self::Bar => "bar",
        }
    }
}

/// The decimal mark of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum DecimalMark {
    /// `1.5`
    Point,
    /// `1,5`
    Comma,
}

impl DecimalMark {
    /// The character.
    pub fn char(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }

    /// The word in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Self::Point => "point",
            Self::Comma => "comma",
        }
    }
}

/// The encoding of a `.csv` file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub enum Encoding {
    /// UTF-8, with or without a byte order mark.
    #[serde(rename = "utf-8")]
    Utf8,
    /// UTF-16; little-endian without a byte order mark.
    #[serde(rename = "utf-16")]
    Utf16,
    /// Western European, as Windows programs write it.
    #[serde(rename = "windows-1252")]
    Windows1252,
    /// Western European with the euro sign.
    #[serde(rename = "iso-8859-15")]
    Latin9,
    /// Central European, as Windows programs write it.
    #[serde(rename = "windows-1250")]
    Windows1250,
    /// Western European of older Apple programs.
    #[serde(rename = "macintosh")]
    Macintosh,
}

impl Encoding {
    /// The word in the settings.
    pub fn word(self) -> &'static str {
        match self {
            Self::Utf8 => "utf-8",
            Self::Utf16 => "utf-16",
            Self::Windows1252 => "windows-1252",
            Self::Latin9 => "iso-8859-15",
            Self::Windows1250 => "windows-1250",
            Self::Macintosh => "macintosh",
        }
    }
}
