//! Names the folders of the store's generations: a damaged one is left as it is, and the next one takes its place.
//!
//! `store/1`, `store/2` and so on, in each a database of what lists and settings need (small, opened first) and one of
//! all events. Two that were left are kept for whoever wants to look at them; more would fill the disk of a tablet whose
//! disk is failing, and the journals hold everything that was in them.
//!
//! Limits: names and removes folders, opens nothing.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// So many damaged generations are kept.
pub const LEFT_MAX: usize = 2;

/// The folder of a generation's index.
pub fn lists(store: &Path, generation: u32) -> PathBuf {
    store.join(generation.to_string()).join("lists")
}

/// The folder of a generation's events.
pub fn events(store: &Path, generation: u32) -> PathBuf {
    store.join(generation.to_string()).join("events")
}

/// The numbers of all generations below a folder, oldest first; none where there is no folder.
pub fn all(store: &Path) -> io::Result<Vec<u32>> {
    let entries = match fs::read_dir(store) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        other => other?,
    };
    let mut numbers = Vec::new();
    for entry in entries {
        let name = entry?.file_name();
        numbers.extend(name.to_str().and_then(number));
    }
    numbers.sort_unstable();
    Ok(numbers)
}

fn number(name: &str) -> Option<u32> {
    let number: u32 = name.parse().ok().filter(|number| *number > 0)?;
    (number.to_string() == name).then_some(number)
}

/// Removes all but the newest of the generations before `current`; what cannot be removed stays.
pub fn prune(store: &Path, current: u32) {
    let mut left = all(store).unwrap_or_default();
    left.retain(|number| *number < current);
    let surplus = left.len().saturating_sub(LEFT_MAX);
    for number in left.into_iter().take(surplus) {
        // It is only room that is lost.
        let _ = fs::remove_dir_all(store.join(number.to_string()));
    }
}
