//! Makes the disk under the real program slow, failing or lying, by standing between it and fsync.
//!
//! `disk.c` is compiled once and loaded before the C library; everything the program makes durable goes through it.

use crate::real::program;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

static SHIM: LazyLock<PathBuf> = LazyLock::new(|| {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let source = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join("faults")
        .join("disk.c");
    // Two runs of the tests may stand side by side.
    let made = folder.join(format!("disk-{}.so", std::process::id()));
    let whole = folder.join("disk.so");
    let status = Command::new("gcc")
        .args(["-shared", "-fPIC", "-O1", "-Wall", "-Werror", "-o"])
        .arg(&made)
        .arg(&source)
        .arg("-ldl")
        .status()
        .expect("gcc is installed by .ci/setup");
    assert!(status.success(), "disk.c compiles");
    std::fs::rename(&made, &whole).expect("it can be put in its place");
    whole
});

/// The program on a disk of which this is true.
pub(crate) fn program_on_disk(words: &[(&str, &str)]) -> Command {
    let mut command = program();
    command.env("LD_PRELOAD", &*SHIM);
    command.envs(words.iter().copied());
    command
}

/// How often something was made durable, by the file that was given as `FAULT_COUNT`.
pub(crate) fn counted(file: &Path) -> usize {
    std::fs::read(file).map_or(0, |bytes| bytes.len())
}
