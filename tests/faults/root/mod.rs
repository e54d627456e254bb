//! The tests that need root: they mount file systems, make namespaces, take permissions away and stop single threads.
//!
//! Without root each says that it did not run. Where a file is named in `GROUNDWARD_ROOT_RAN`, each that ran adds its name,
//! and `.ci/run` fails if one is missing there: a group that quietly stays away would prove nothing.

mod full;
mod mounts;
mod power;
mod refused;
mod stopped;
mod time;

use std::fs::OpenOptions;
use std::io::Write;

/// Whether this process may do what the group does; notes that the test of this name ran.
pub(crate) fn runs(name: &str) -> bool {
    if !rustix::process::geteuid().is_root() {
        println!("{name} did not run: it needs root");
        return false;
    }
    if let Some(file) = std::env::var_os("GROUNDWARD_ROOT_RAN") {
        let mut file = OpenOptions::new()
            .create(true)
            .append(true)
            .open(file)
            .expect("the list of what ran can be written");
        file.write_all(format!("{name}\n").as_bytes())
            .expect("the list of what ran can be written");
    }
    true
}
