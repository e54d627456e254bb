//! Gathers what the incidents of a site teach, and says what was left out and why.
//!
//! Another site teaches nothing about this one, and neither does a record that was altered: nobody can trust it.

use super::{Handle, records};
use crate::drill::Lesson;
use crate::incident::State;
use crate::journal::disk::RealDisk;
use crate::journal::listing::Listing;
use std::io;
use std::path::PathBuf;

/// What the record has of the drills at a site.
#[derive(Debug, Default)]
pub struct Gathered {
    /// What each incident of the site teaches.
    pub lessons: Vec<Lesson>,
    /// How many incidents of other sites are there.
    pub elsewhere: usize,
    /// What was left out, by incident, and why.
    pub left_out: Vec<(String, LeftOut)>,
}

/// Why an incident is left out.
#[derive(Debug)]
pub enum LeftOut {
    /// Its record was altered.
    Altered,
    /// It cannot be read.
    Unreadable(io::Error),
}

impl Handle {
    /// Reads the whole record, as far as it is of this site.
    ///
    /// # Errors
    ///
    /// Where no list of incidents can be read.
    pub fn lessons(&self, folders: &[PathBuf], site: &str) -> io::Result<Gathered> {
        let mut all = Gathered::default();
        let listing = Listing::of(&RealDisk, folders);
        for it in self.list(folders)? {
            let id = it.incident;
            // Of what was altered nobody can say which site it was.
            if !it.intact {
                all.left_out.push((id, LeftOut::Altered));
                continue;
            }
            if it.digest.site != site {
                all.elsewhere = all.elsewhere.saturating_add(1);
                continue;
            }
            match self.read_in(&listing, &id) {
                Ok(readback) if readback.problems.is_empty() => {
                    let state = State::replay(records(&readback));
                    all.lessons.extend(Lesson::of(&state));
                }
                Ok(_) => all.left_out.push((id, LeftOut::Altered)),
                Err(error) => all.left_out.push((id, LeftOut::Unreadable(error))),
            }
        }
        Ok(all)
    }
}
