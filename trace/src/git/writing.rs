//! Whether this process has begun to write files of the user: until they are written nothing may end it halfway.

use std::sync::{Mutex, MutexGuard, PoisonError};

static OF_PROCESS: Writing = Writing(Mutex::new(false));

/// To be called before the first file is written. If the process is being ended at that moment, this does not return.
pub fn begin_writing() {
    *OF_PROCESS.has_begun() = true;
}

/// To be called when everything is written, by a process that goes on and may be ended again.
pub fn end_writing() {
    *OF_PROCESS.has_begun() = false;
}

/// Ends the process by `end`, unless it has begun to write: it cannot begin while `end` runs.
pub fn unless_writing(end: impl FnOnce()) {
    OF_PROCESS.unless(end);
}

struct Writing(Mutex<bool>);

impl Writing {
    fn has_begun(&self) -> MutexGuard<'_, bool> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn unless(&self, end: impl FnOnce()) {
        let has_begun = self.has_begun();
        if !*has_begun {
            end();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_ends_a_process_while_it_writes() {
        let writing = Writing(Mutex::new(false));
        *writing.has_begun() = true;
        writing.unless(|| panic!("ended"));
        *writing.has_begun() = false;
        let mut ended = false;
        writing.unless(|| ended = true);
        assert!(ended);
    }
}
