//! Asks Python for a second opinion: SciPy, NumPy and NetworkX, as Debian packages them. `pinned` asks another one.
//!
//! A script gets its instances as JSON and prints its answers as JSON. Where no such Python is installed the test fails,
//! because a check that is skipped is none; `.ci/setup` installs it.

use serde_json::Value;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::LazyLock;

/// The first Python on the path that has all of them.
static PYTHON: LazyLock<PathBuf> = LazyLock::new(|| {
    let path = std::env::var_os("PATH").expect("there is a search path");
    let found = std::env::split_paths(&path)
        .map(|folder| folder.join("python3"))
        .find(|python| {
            let asked = Command::new(python)
                .args(["-c", "import numpy, scipy.optimize, networkx"])
                .stderr(Stdio::null())
                .status();
            asked.is_ok_and(|status| status.success())
        });
    found.expect("a python3 with scipy and networkx is installed for this check: run .ci/setup")
});

/// Runs a script on some input and reads what it answers.
pub(crate) fn ask(script: &str, input: &Value) -> Value {
    answer(&PYTHON, script, input)
}

/// Runs a script on this Python.
pub(crate) fn answer(python: &Path, script: &str, input: &Value) -> Value {
    let mut child = Command::new(python)
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python starts");
    let mut stdin = child.stdin.take().expect("its input is piped");
    let text = input.to_string();
    // The script reads everything before it writes, so neither waits for the other.
    stdin
        .write_all(text.as_bytes())
        .expect("the script reads its input");
    drop(stdin);
    let output = child.wait_with_output().expect("Python ends");
    assert!(output.status.success(), "the script failed");
    serde_json::from_slice(&output.stdout).expect("the script prints JSON")
}
