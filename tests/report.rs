//! Reads the reports of an incident back with other people's readers, and checks what stands in them.

mod browser;
mod files;
mod golden;
mod html;
mod pdf;
mod reminders;

use std::path::PathBuf;
use std::process::Command;
use tempfile::TempDir;

/// A rehearsal that was played, and where its record is.
pub(crate) struct Played {
    _folder: TempDir,
    pub(crate) data: PathBuf,
    pub(crate) incident: String,
}

impl Played {
    /// Plays one of `tests/scripts`.
    pub(crate) fn of(script: &str) -> Played {
        let folder = tempfile::tempdir().expect("there is room");
        let data = folder.path().join("rehearsals");
        let script = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("tests/scripts")
            .join(script);
        let at = |path: &std::path::Path| path.display().to_string();
        let played = [
            "rehearse",
            "--demo",
            "--script",
            &at(&script),
            "--data",
            &at(folder.path()),
        ];
        let (code, _, error) = groundward(&played);
        assert_eq!(code, 0, "{error}");
        let journals = std::fs::read_dir(data.join("journals")).expect("it has journals");
        let mut names = journals
            .filter_map(Result::ok)
            .filter_map(|it| it.file_name().into_string().ok());
        let name = names
            .find(|it| it.ends_with(".jsonl"))
            .expect("it has a journal");
        Played {
            incident: name.trim_end_matches(".jsonl").to_owned(),
            data,
            _folder: folder,
        }
    }

    /// Asks for a report; the answer is the exit code, what was said, and where the file is.
    pub(crate) fn report(&self, form: &str, more: &[&str]) -> (i32, String, PathBuf) {
        let file = self.data.join(format!("report.{form}"));
        let output = file.display().to_string();
        let data = self.data.display().to_string();
        let own = [
            "report",
            &self.incident,
            "--as",
            form,
            "--data",
            &data,
            "-o",
            &output,
        ];
        let (code, out, error) = groundward(&[&own, more].concat());
        (code, out + &error, file)
    }
}

/// Exit code, standard output and standard error of the program.
pub(crate) fn groundward(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_groundward"))
        .args(arguments)
        .output()
        .expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it writes UTF-8");
    let code = output.status.code().expect("it ends by itself");
    (code, text(output.stdout), text(output.stderr))
}
