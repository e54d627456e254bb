//! Mounts small file systems for a test and takes them away again, also where the test fails.

use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Runs a command that must succeed.
#[track_caller]
pub(crate) fn must(program: &str, words: &[&str]) {
    let output = Command::new(program)
        .args(words)
        .output()
        .unwrap_or_else(|error| panic!("{program}: {error}; .ci/setup installs it"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {words:?}: {said}");
}

fn text(path: &Path) -> &str {
    path.to_str().expect("the folders of a test are plain text")
}

/// A file system of its own, mounted until this is dropped.
pub(crate) struct Mounted {
    at: PathBuf,
    _folder: tempfile::TempDir,
}

impl Mounted {
    fn mount(words: &[&str], what: &str) -> Mounted {
        let folder = tempfile::tempdir().expect("there is room");
        let at = folder.path().join("mounted");
        std::fs::create_dir(&at).expect("there is room");
        must("mount", &[words, &[what, text(&at)]].concat());
        Mounted {
            at,
            _folder: folder,
        }
    }

    /// In memory, of so many KiB.
    pub(crate) fn in_memory(size_kib: u64) -> Mounted {
        let options = format!("size={size_kib}k");
        Mounted::mount(&["-t", "tmpfs", "-o", &options], "groundward-test")
    }

    /// The file system in an image.
    pub(crate) fn image(image: &Path, options: &str) -> Mounted {
        let options = match options {
            "" => "loop".to_owned(),
            more => format!("loop,{more}"),
        };
        Mounted::mount(&["-o", &options], text(image))
    }

    pub(crate) fn path(&self) -> &Path {
        &self.at
    }

    pub(crate) fn remount(&self, options: &str) {
        let options = format!("remount,{options}");
        must("mount", &["-o", &options, text(&self.at)]);
    }

    /// Fills it until only about so many bytes are left; the answer is the file that takes the room.
    pub(crate) fn fill(&self, leave_bytes: u64) -> PathBuf {
        let path = self.at.join("full-of-this");
        let mut file = File::create(&path).expect("it can be written");
        let block = [7_u8; 4096];
        while self.free_bytes() > leave_bytes && file.write_all(&block).is_ok() {}
        // Some file systems take what they have no room for and say so later.
        let _ = file.sync_all();
        path
    }

    pub(crate) fn free_bytes(&self) -> u64 {
        let about = rustix::fs::statvfs(&self.at).expect("it is mounted");
        about.f_bavail.saturating_mul(about.f_frsize)
    }
}

impl Drop for Mounted {
    fn drop(&mut self) {
        let unmount = |words: &[&str]| {
            let done = Command::new("umount").args(words).arg(&self.at).output();
            done.is_ok_and(|it| it.status.success())
        };
        // What a killed program held is let go a moment after its end.
        for _ in 0..40 {
            if unmount(&[]) {
                return;
            }
            std::thread::sleep(std::time::Duration::from_millis(25));
        }
        if !unmount(&["-l"]) {
            eprintln!("{} is still mounted", self.at.display());
        }
    }
}

/// A folder for images, in memory where there is such a place, because copies of whole disks are made there.
pub(crate) fn quick_folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let there = memory.is_dir().then(|| tempfile::tempdir_in(memory).ok());
    there
        .flatten()
        .unwrap_or_else(|| tempfile::tempdir().expect("there is room"))
}

/// Makes an image of so many MiB with a file system in it.
pub(crate) fn make_image(path: &Path, kind: &str, size_mib: u64, words: &[&str]) {
    let file = File::create(path).expect("there is room");
    file.set_len(size_mib << 20).expect("there is room");
    drop(file);
    let program = format!("mkfs.{kind}");
    must(&program, &[&["-q"], words, &[text(path)]].concat());
}

/// An image of ext4 without room kept back for root, so that full means full.
pub(crate) fn make_ext4(path: &Path, size_mib: u64) {
    make_image(path, "ext4", size_mib, &["-m", "0"]);
}
