//! Has a stand-in for the login manager's own program say when it was asked to keep the machine awake, and until when.

use groundward::awake::Awake;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

const CHILD: &str = "GROUNDWARD_AWAKE_CHILD";
const NEVER: Duration = Duration::from_secs(30);

/// Notes its number and what it was asked, waits for the end of its input as `cat` does, and notes that.
const STAND_IN: &str = "#!/bin/sh\necho \"$@\" > asked.new\necho $$ >> asked.new\nmv asked.new asked\ncat\necho > ended\n";

fn wait_for(path: &Path) -> String {
    let patience = Instant::now() + NEVER;
    loop {
        if let Ok(text) = fs::read_to_string(path) {
            return text;
        }
        assert!(Instant::now() < patience, "{} never came", path.display());
        std::thread::sleep(Duration::from_millis(5));
    }
}

/// Run by the tests below in a process of its own, with the stand-in on its path; by itself it does nothing.
#[test]
fn asks_as_it_is_told() {
    let Some(told) = std::env::var_os(CHILD) else {
        return;
    };
    let mut awake = Awake::default();
    awake.keep(false);
    assert!(!Path::new("asked").exists());
    awake.keep(true);
    awake.keep(true);
    let asked = wait_for(Path::new("asked"));
    if told == "die" {
        std::process::abort();
    }
    let number = asked
        .lines()
        .last()
        .expect("it noted its number")
        .to_owned();
    awake.keep(false);
    assert!(!Path::new("/proc").join(number).exists(), "it is over");
    fs::remove_file("asked").expect("it was there");
    // The next incident asks again.
    awake.keep(true);
    wait_for(Path::new("asked"));
}

fn child(told: &str) -> (tempfile::TempDir, bool) {
    let folder = tempfile::tempdir().expect("there is room");
    let program = folder.path().join("systemd-inhibit");
    fs::write(&program, STAND_IN).expect("there is room");
    fs::set_permissions(&program, fs::Permissions::from_mode(0o755)).expect("it is ours");
    let path = std::env::var_os("PATH").unwrap_or_default();
    let paths: Vec<PathBuf> = [folder.path().to_owned()]
        .into_iter()
        .chain(std::env::split_paths(&path))
        .collect();
    let own = std::env::current_exe().expect("a test has a program");
    let ended = Command::new(own)
        .args(["--exact", "awake::asks_as_it_is_told"])
        .env(CHILD, told)
        .env("PATH", std::env::join_paths(paths).expect("they are paths"))
        .current_dir(folder.path())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .expect("the test runs");
    (folder, ended.success())
}

#[test]
fn a_running_incident_asks_to_stay_awake_and_its_end_lets_the_tablet_sleep() {
    let (folder, well) = child("end");
    assert!(well);
    let asked = wait_for(&folder.path().join("asked"));
    assert!(asked.contains("--what=sleep:idle"), "{asked}");
}

#[test]
fn a_program_that_dies_lets_the_tablet_sleep() {
    let (folder, well) = child("die");
    assert!(!well);
    wait_for(&folder.path().join("ended"));
}
