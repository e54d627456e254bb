//! Asks the Python in `.venv`, which has lifelines and cryptography, for a second opinion on statistics and signatures.
//!
//! `.ci/setup` makes it from `requirements.txt` beside this; it has none of Debian's packages. Where it is missing the test
//! fails, because a check that is skipped is none.

use super::oracle;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::LazyLock;

/// The Python with the packages of `requirements.txt`.
static PYTHON: LazyLock<PathBuf> = LazyLock::new(|| {
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/bin/python");
    let asked = Command::new(&python)
        .args(["-c", "import lifelines, cryptography"])
        .stderr(Stdio::null())
        .status();
    let found = asked.is_ok_and(|status| status.success());
    assert!(
        found,
        "a Python with lifelines and cryptography is in .venv for this check: run .ci/setup"
    );
    python
});

/// Runs a script on some input and reads what it answers.
pub(crate) fn ask(script: &str, input: &Value) -> Value {
    oracle::answer(&PYTHON, script, input)
}
