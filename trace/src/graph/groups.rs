//! Groups: what a part inherits from `for-parts` of a system around it.

use schema::records::{ForParts, Serves, Verify};

use crate::ids::RecordId;
use crate::load::Loaded;

/// A key of a record, or the same key of the group that the record inherits it from.
#[derive(Clone, Copy, Debug)]
pub struct Given<'r, T> {
    /// The value.
    pub value: &'r T,
    /// The system with the group; `None` if the record has the key itself.
    pub group: Option<RecordId>,
}

/// The number of records around a record that are looked at: more than any real car has. The time for a long generated
/// chain would grow with its square.
pub(crate) const DEEPEST: usize = 64;

impl Loaded {
    /// The record and what encloses it, from the inside out: a part, its system, the system around that. It ends at the
    /// car, at an unknown name, and before a record would come twice.
    pub fn enclosing(&self, id: RecordId) -> impl Iterator<Item = RecordId> + '_ {
        let mut path: Vec<RecordId> = Vec::new();
        std::iter::from_fn(move || {
            let next = match path.last() {
                None => id,
                Some(last) => self.find(self.record(*last).about()?.as_str())?,
            };
            if path.len() > DEEPEST || path.contains(&next) {
                return None;
            }
            path.push(next);
            Some(next)
        })
    }

    /// Whether everything that encloses a record is known: the names under `of` and `in` exist up to the car, and these
    /// records were read with the keys that a check needs.
    pub fn knows_enclosing(&self, id: RecordId, keys: &[&str]) -> bool {
        let mut outermost = id;
        for around in self.enclosing(id) {
            let damage = self.damaged.get(self.record(around).id.as_str());
            if damage.is_some_and(|damage| ["of", "in"].iter().chain(keys).any(|key| damage.has(key))) {
                return false;
            }
            outermost = around;
        }
        let next = self.record(outermost).about().map(schema::Id::as_str);
        next.is_none_or(|next| next == schema::words::CAR || self.find(next).is_some())
    }

    /// The upward links of a record: its own, or for a part without any those of the innermost group that has some.
    pub fn serves(&self, id: RecordId) -> Given<'_, Serves> {
        let own = self.record(id).body.common().serves();
        let inherited =
            || self.inherited(id, "serves", |group| Some(&group.serves).filter(|serves| !serves.is_empty()));
        let inherited = if own.is_empty() { inherited() } else { None };
        inherited.unwrap_or(Given { value: own, group: None })
    }

    /// The planned verification of a record: its own, or for a part without one that of the innermost group that has one.
    pub fn verify(&self, id: RecordId) -> Option<Given<'_, Verify>> {
        let own = self.record(id).verify().map(|value| Given { value, group: None });
        own.or_else(|| self.inherited(id, "verify", |group| group.verify.as_ref()))
    }

    fn inherited<'r, T>(
        &'r self,
        id: RecordId,
        key: &str,
        own: impl Fn(&'r ForParts) -> Option<&'r T>,
    ) -> Option<Given<'r, T>> {
        self.part(id)?;
        // A key that is there but could not be read is not missing.
        if self.damaged.get(self.record(id).id.as_str()).is_some_and(|damage| damage.has(key)) {
            return None;
        }
        let mut around = self.enclosing(id).skip(1);
        around.find_map(|group| {
            let value = own(self.system(group)?.for_parts.as_ref()?)?;
            Some(Given { value, group: Some(group) })
        })
    }
}
