//! Short texts with a fixed format: ids, references, currency codes and dates.

use std::borrow::{Borrow, Cow};
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::ser::{Serialize, Serializer};

/// The id of the whole car, which no record may have.
pub const CAR: &str = "car";

/// The pattern of an id in the JSON Schema.
pub const ID_PATTERN: &str = "^[a-z][a-z0-9]*(-[a-z0-9]+)*$";
/// An id, or an id and one of its amounts: `car-mass`, `engine-unit.mass`.
pub const REF_PATTERN: &str = "^[a-z][a-z0-9]*(-[a-z0-9]+)*(\\.[a-z][a-z0-9]*(-[a-z0-9]+)*)?$";

/// Whether a text is kebab-case: words of lower-case letters and digits, joined by single hyphens, beginning with a letter.
pub fn is_kebab_case(text: &str) -> bool {
    // By bytes: it is asked for every id of a project, also for those that the cache has.
    let mut is_in_word = false;
    for byte in text.bytes() {
        is_in_word = match byte {
            b'a'..=b'z' | b'0'..=b'9' => true,
            b'-' if is_in_word => false,
            _ => return false,
        };
    }
    is_in_word && text.starts_with(|c: char| c.is_ascii_lowercase())
}

/// A text converted to kebab-case, for a suggestion; `None` if that is not possible.
pub fn to_kebab_case(text: &str) -> Option<String> {
    let mut out = String::new();
    let mut previous_lower = false;
    for c in text.chars().take(80) {
        if c.is_ascii_alphanumeric() {
            if c.is_ascii_uppercase() && previous_lower {
                out.push('-');
            }
            previous_lower = c.is_ascii_lowercase() || c.is_ascii_digit();
            out.push(c.to_ascii_lowercase());
        } else {
            previous_lower = false;
            if !out.ends_with('-') {
                out.push('-');
            }
        }
    }
    let out = out.trim_matches('-').to_owned();
    is_kebab_case(&out).then_some(out)
}

/// The most characters of an id, or of the name of an amount.
pub const LONGEST_ID: usize = 100;

/// Whether a text can be an id: kebab-case, and not too long.
fn is_id(text: &str) -> bool {
    text.len() <= LONGEST_ID && is_kebab_case(text)
}

fn kebab_error(text: &str, what: &str) -> String {
    if text.split('.').any(|part| part.len() > LONGEST_ID) && text.split('.').all(is_kebab_case) {
        return format!("`{}` is too long for a name: use at most {LONGEST_ID} characters", shorten(text));
    }
    let hint = match to_kebab_case(text) {
        Some(better) => format!("use `{better}`"),
        None => "use lower-case letters, digits and single hyphens, beginning with a letter".to_owned(),
    };
    format!("`{}` is not {what}: {hint}", shorten(text))
}

/// A text as one word of a POSIX shell, quoted if it has to be.
pub fn shell_word(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=,:@%+".contains(c);
    if !text.is_empty() && text.chars().all(plain) { text.to_owned() } else { shell_quoted(text) }
}

/// A text as one quoted word of a POSIX shell.
pub fn shell_quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
}

/// At most 60 characters of a text from a file, for a message.
pub fn shorten(text: &str) -> String {
    let mut short: String = text.chars().take(60).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short.replace(|c: char| c.is_control(), "\u{fffd}")
}

macro_rules! text_type {
    ($(#[$meta:meta])* $name:ident, $pattern:expr, $what:expr, $check:expr) => {
        $(#[$meta])*
        #[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub struct $name(Box<str>);

        impl $name {
            /// Checks the format of a text.
            ///
            /// # Errors
            /// What is wrong, with a suggestion if there is one.
            pub fn new(text: &str) -> Result<Self, String> {
                let check: fn(&str) -> bool = $check;
                if check(text) { Ok(Self(text.into())) } else { Err(kebab_error(text, $what)) }
            }

            /// The text itself.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Debug::fmt(&self.0, f)
            }
        }

        impl Borrow<str> for $name {
            fn borrow(&self) -> &str {
                &self.0
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                struct Text;
                impl Visitor<'_> for Text {
                    type Value = $name;
                    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                        f.write_str($what)
                    }
                    fn visit_str<E: de::Error>(self, text: &str) -> Result<$name, E> {
                        $name::new(text).map_err(E::custom)
                    }
                }
                deserializer.deserialize_str(Text)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.serialize_str(&self.0)
            }
        }

        impl JsonSchema for $name {
            fn inline_schema() -> bool {
                true
            }
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({"type": "string", "pattern": $pattern})
            }
        }
    };
}

text_type!(
    /// The name of a record or of an alternative: kebab-case, unique in a project across all kinds.
    Id,
    ID_PATTERN,
    "a kebab-case id",
    is_id
);

text_type!(
    /// The name of a value: a record's id, or `part.amount`, `system.amount`, `car.amount`.
    Ref,
    REF_PATTERN,
    "an id or `id.amount`",
    |text| match text.split_once('.') {
        Some((id, amount)) => is_id(id) && is_id(amount),
        None => is_id(text),
    }
);

text_type!(
    /// The code of a currency: three capital letters of ISO 4217.
    Code,
    "^[A-Z]{3}$",
    "an ISO 4217 code",
    |text| iso_currency::Currency::from_code(text).is_some()
);

impl Ref {
    /// The id of the record, and the amount if the reference has one.
    pub fn parts(&self) -> (&str, Option<&str>) {
        match self.0.split_once('.') {
            Some((id, amount)) => (id, Some(amount)),
            None => (&self.0, None),
        }
    }
}

/// A date, written `2027-05-21` (ISO 8601).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day(jiff::civil::Date);

impl Day {
    /// Reads a date in the format `YYYY-MM-DD`; other formats are errors.
    ///
    /// # Errors
    /// Whether the format is wrong, or the date does not exist.
    pub fn parse(text: &str) -> Result<Self, String> {
        let form = text.len() == 10
            && text.bytes().enumerate().all(|(i, b)| if i == 4 || i == 7 { b == b'-' } else { b.is_ascii_digit() });
        if !form {
            return Err(format!("`{}` is not a date: use year-month-day, for example 2027-05-21", shorten(text)));
        }
        text.parse()
            .map(Self)
            .map_err(|_| format!("the date `{text}` does not exist in the calendar: check month and day"))
    }

    /// The date as a value of the calendar library.
    pub fn date(self) -> jiff::civil::Date {
        self.0
    }

    /// Whole days from `self` to `other`; negative when `other` is earlier.
    pub fn days_until(self, other: Self) -> i32 {
        self.0.until(other.0).map_or(0, |span| span.get_days())
    }

    /// As text for people: `21 May 2027`.
    pub fn long(self) -> String {
        self.0.strftime("%-d %B %Y").to_string()
    }
}

impl From<jiff::civil::Date> for Day {
    fn from(date: jiff::civil::Date) -> Self {
        Self(date)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl fmt::Debug for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Text;
        impl Visitor<'_> for Text {
            type Value = Day;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a date such as 2027-05-21")
            }
            fn visit_str<E: de::Error>(self, text: &str) -> Result<Day, E> {
                Day::parse(text).map_err(E::custom)
            }
        }
        if deserializer.is_human_readable() {
            return deserializer.deserialize_str(Text);
        }
        let (year, month, day) = Deserialize::deserialize(deserializer)?;
        jiff::civil::Date::new(year, month, day).map(Self).map_err(de::Error::custom)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.collect_str(self)
        } else {
            (self.0.year(), self.0.month(), self.0.day()).serialize(serializer)
        }
    }
}

impl JsonSchema for Day {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Day".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "format": "date", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"})
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_kebab_case() {
        for good in ["a", "car-mass", "front-upright-2", "x1"] {
            assert!(is_kebab_case(good), "{good}");
        }
        for bad in ["", "-a", "a-", "a--b", "Car", "car_mass", "1a", "a.b", "é", "a b"] {
            assert!(!is_kebab_case(bad), "{bad}");
        }
    }

    #[test]
    fn suggestions_are_kebab_case() {
        assert_eq!(to_kebab_case("Car Mass").as_deref(), Some("car-mass"));
        assert_eq!(to_kebab_case("frontUpright_2").as_deref(), Some("front-upright-2"));
        assert_eq!(to_kebab_case("75m"), None);
    }

    #[test]
    fn days() {
        assert!(Day::parse("2027-05-21").is_ok());
        assert!(Day::parse("2027-02-29").unwrap_err().contains("calendar"));
        for bad in ["2027-5-21", "20270521", "2027-05-21T00:00", "21.05.2027", ""] {
            assert!(Day::parse(bad).unwrap_err().contains("year-month-day"), "{bad}");
        }
        // 2027 is a common year: February has 28 days.
        let (a, b) = (Day::parse("2027-02-11").unwrap(), Day::parse("2027-03-11").unwrap());
        assert_eq!((a.days_until(b), b.days_until(a)), (28, -28));
        assert_eq!(a.long(), "11 February 2027");
    }
}
