//! Renamed names: an old name is reported with the new one.

use crate::records::Kind;

/// The use of a name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Use {
    /// A check: in `levels:`, in waivers and for `explain`.
    Check,
    /// A command.
    Command,
    /// A key of a kind of record.
    Key(Kind),
    /// A table of the audit.
    Table,
}

/// Old and new names.
const RENAMED: [(Use, &str, &str); 16] = [
    (Use::Check, "childless", "no-children"),
    (Use::Check, "idle-analysis", "unused-analysis"),
    (Use::Check, "open-loop", "no-action"),
    (Use::Check, "over-margin", "excess-margin"),
    (Use::Check, "target-off-course", "target-at-risk"),
    (Use::Check, "target-off-plan", "plan-above-targets"),
    (Use::Check, "two-estimates", "two-sources"),
    (Use::Check, "unallocated", "no-share"),
    (Use::Check, "unfed-target", "no-effect-on-points"),
    (Use::Check, "unweighed-decision", "incomplete-decision"),
    (Use::Check, "wrong-level", "wrong-tier"),
    (Use::Command, "weigh", "compare"),
    (Use::Key(Kind::Decision), "weighs", "criteria"),
    (Use::Key(Kind::Goal), "field", "past-standings"),
    (Use::Key(Kind::Waiver), "on", "of"),
    (Use::Table, "moments", "timeline"),
];

/// The new name of an old one, if it was renamed.
pub fn new_name(place: Use, old: &str) -> Option<&'static str> {
    RENAMED.iter().find(|(used, name, _)| *used == place && *name == old).map(|(.., new)| *new)
}

/// The message for an old name, "`old` is now `new`", with the new name.
pub fn notice(place: Use, old: &str) -> Option<(String, &'static str)> {
    new_name(place, old).map(|new| (format!("`{old}` is now `{new}`"), new))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_old_name_is_known_only_where_it_was_used() {
        assert_eq!(notice(Use::Check, "open-loop"), Some(("`open-loop` is now `no-action`".to_owned(), "no-action")));
        assert_eq!(new_name(Use::Key(Kind::Waiver), "on"), Some("of"));
        assert_eq!(new_name(Use::Key(Kind::Part), "on"), None);
        assert_eq!(new_name(Use::Command, "open-loop"), None);
    }

    #[test]
    fn no_new_name_is_an_old_one() {
        for (place, _, new) in RENAMED {
            assert_eq!(new_name(place, new), None, "{new}");
        }
    }
}
