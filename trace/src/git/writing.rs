//! Whether this process has begun to write files of the user: from then on nothing may end it halfway.

use std::sync::{Mutex, PoisonError};

static HAS_BEGUN: Mutex<bool> = Mutex::new(false);

/// To be called before the first file is written. If the process is being ended at that moment, this does not return.
pub fn begin_writing() {
    *HAS_BEGUN.lock().unwrap_or_else(PoisonError::into_inner) = true;
}

/// To be called when everything is written, by a process that goes on and may be ended again.
pub fn end_writing() {
    *HAS_BEGUN.lock().unwrap_or_else(PoisonError::into_inner) = false;
}

/// Ends the process by `end`, unless it has begun to write: it cannot begin while `end` runs.
pub fn unless_writing(end: impl FnOnce()) {
    let has_begun = HAS_BEGUN.lock().unwrap_or_else(PoisonError::into_inner);
    if !*has_begun {
        end();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_ends_a_process_that_writes() {
        begin_writing();
        unless_writing(|| panic!("ended"));
        end_writing();
        let mut ended = false;
        unless_writing(|| ended = true);
        assert!(ended);
    }
}
