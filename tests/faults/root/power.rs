//! Cuts the power: copies the image under a mounted file system while the program writes, and opens the copy as the next
//! start of the machine would.
//!
//! What is copied is exactly what has reached the block device; what the file system still holds in memory is not in it, so
//! a record that was called saved without being durable is missing. That this can be seen is shown by a disk that lies.
//! The copies are made while the program is stopped, so that each is of one moment. `GROUNDWARD_CUTS` says how many; a run of 200 or more also tries other
//! kinds of file systems where this machine has them. Limits: a write that reached the device counts as kept; a disk
//! that loses its own cache is `record::lying`.

use super::mounts::{Mounted, make_ext4, make_image, quick_folder};
use super::runs;
use crate::faults::hand::Hand;
use crate::faults::rehearsal::{folders, nothing_is_lost, rehearse, verified};
use crate::faults::shim::program_on_disk;
use crate::faults::{fresh, times};
use crate::real::program;
use crate::support::Chance;
use crate::support::tablet::{SavedMark, Tablet};
use rustix::process::{Pid, Signal, kill_process};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

const ORDINARY: u64 = 52;
const SIZE_MIB: u64 = 24;

/// What came of cutting the power so often.
#[derive(Default)]
struct Tally {
    cuts: u64,
    called_saved: u64,
    ahead: u64,
    torn: u64,
    lost: u64,
}

impl Tally {
    fn say(&self, what: &str) {
        let Tally {
            cuts,
            called_saved,
            ahead,
            torn,
            lost,
        } = self;
        println!(
            "{what}: {cuts} power cuts, {called_saved} records called saved before them, {lost} lost; {ahead} times more was \
             there than called saved, {torn} torn tails"
        );
    }
}

/// A disk whose power is cut.
struct Disk {
    image: PathBuf,
    copy: PathBuf,
    options: &'static str,
    /// Options for a copy, which some file systems take for the disk itself.
    copy_options: &'static str,
}

impl Disk {
    /// Copies the image as it is now and mounts the copy, as after a power cut.
    fn cut(&self, stopped: Option<u32>) -> Mounted {
        let pid = stopped.map(|id| {
            let id = i32::try_from(id).expect("a process has a small number");
            Pid::from_raw(id).expect("it is a process")
        });
        if let Some(pid) = pid {
            kill_process(pid, Signal::STOP).expect("it is ours");
        }
        let copied = std::fs::copy(&self.image, &self.copy);
        if let Some(pid) = pid {
            kill_process(pid, Signal::CONT).expect("it is ours");
        }
        copied.expect("there is room");
        Mounted::image(&self.copy, self.copy_options)
    }
}

/// Holds what is on a copy against what was called saved before the power was cut.
fn look(
    copy: &Mounted,
    record: &Path,
    saved: Option<&(String, u64)>,
    story: &str,
    tally: &mut Tally,
) {
    let record = copy.path().join(record);
    let folders = folders(&record, None);
    let here = nothing_is_lost(&folders, saved, story);
    tally.cuts += 1;
    if let Some((id, seq)) = saved {
        tally.called_saved += seq + 1;
        tally.ahead += u64::from(here as u64 > seq + 1);
        let found =
            groundward::journal::read::read(&groundward::journal::disk::RealDisk, &folders, id);
        tally.torn += found.map_or(0, |it| it.torn().count()) as u64;
        verified(&record, None, story);
    }
}

/// Cuts the power so often under scripted drills on one disk.
fn under_scripted_drills(disk: &Disk, cuts: u64, chance: &mut Chance) -> Tally {
    let mounted = Mounted::image(&disk.image, disk.options);
    let mut tally = Tally::default();
    let mut drill: Option<(Tablet, PathBuf)> = None;
    let mut drills = 0;
    while tally.cuts < cuts {
        let over = drill.as_ref().is_none_or(|(tablet, _)| tablet.has_ended());
        if over {
            if let Some((tablet, data)) = drill.take() {
                let (code, _, said) = tablet.wait();
                assert_eq!(code, Some(0), "{said}");
                std::fs::remove_dir_all(mounted.path().join(data)).expect("it is there");
            }
            drills += 1;
            let data = PathBuf::from(format!("data-{drills}"));
            let command = rehearse(
                program(),
                &mounted.path().join(&data),
                None,
                chance.below(8),
            );
            drill = Some((Tablet::listen_to(command), data));
        }
        let (tablet, data) = drill.as_ref().expect("one is played");
        std::thread::sleep(Duration::from_micros(chance.below(160_000)));
        let Some(saved) = tablet.saved() else {
            continue;
        };
        let copy = disk.cut(Some(tablet.id()));
        let story = format!("power cut {} in {}", tally.cuts, disk.options);
        look(
            &copy,
            &data.join("rehearsals"),
            Some(&saved),
            &story,
            &mut tally,
        );
    }
    tally
}

#[test]
fn a_power_cut_under_a_scripted_drill_loses_nothing_called_saved() {
    if !runs("faults::root::power::a_power_cut_under_a_scripted_drill_loses_nothing_called_saved") {
        return;
    }
    let mut chance = fresh("power cuts under a scripted drill");
    let wanted = times("GROUNDWARD_CUTS", ORDINARY) * 4 / 5;
    let mut kinds = vec![
        ("ext4", SIZE_MIB, "data=ordered", ""),
        ("ext4", SIZE_MIB, "data=writeback", "data=writeback"),
        ("ext4", SIZE_MIB, "data=journal", "data=journal"),
    ];
    let known = std::fs::read_to_string("/proc/filesystems").unwrap_or_default();
    for kind in [
        ("xfs", 320, "noatime", "nouuid"),
        ("btrfs", 128, "noatime", ""),
    ] {
        let made = Command::new(format!("mkfs.{}", kind.0)).arg("-V").output();
        if wanted >= 160 && known.contains(kind.0) && made.is_ok() {
            kinds.push(kind);
        }
    }
    let each = wanted.div_ceil(kinds.len() as u64);
    for (kind, size_mib, options, copy_options) in kinds {
        let folder = quick_folder();
        let disk = Disk {
            image: folder.path().join("image"),
            copy: folder.path().join("copy"),
            options,
            copy_options,
        };
        match kind {
            "ext4" => make_ext4(&disk.image, size_mib),
            _ => make_image(&disk.image, kind, size_mib, &[]),
        }
        let tally = under_scripted_drills(&disk, each, &mut chance);
        tally.say(&format!("{kind} {options}"));
        assert_eq!(tally.lost, 0);
    }
}

/// The tablet itself, with all its threads and its store on the disk, while a drill is played by touch.
#[test]
fn a_power_cut_under_the_tablet_loses_nothing_called_saved() {
    if !runs("faults::root::power::a_power_cut_under_the_tablet_loses_nothing_called_saved") {
        return;
    }
    let mut chance = fresh("power cuts under the tablet");
    let wanted = (times("GROUNDWARD_CUTS", ORDINARY) / 5).max(1);
    let mut tally = Tally::default();
    while tally.cuts < wanted {
        let (folder, plans) = (quick_folder(), tempfile::tempdir().expect("there is room"));
        let disk = Disk {
            image: folder.path().join("image"),
            copy: folder.path().join("copy"),
            options: "data=ordered",
            copy_options: "",
        };
        make_ext4(&disk.image, 40);
        let mounted = Mounted::image(&disk.image, disk.options);
        let mut hand = Hand::start(program(), plans.path(), &mounted.path().join("data"), None);
        hand.hang("Silo 3 roof, east hatch");
        let (mark, id) = (hand.tablet().saved_mark(), hand.tablet().id());
        let enough = AtomicBool::new(false);
        std::thread::scope(|scope| {
            let cutter = scope.spawn(|| {
                let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
                    cut_until(&enough, &disk, &mark, id, wanted, &mut chance, &mut tally);
                }));
                enough.store(true, Ordering::Release);
                result
            });
            while !enough.load(Ordering::Acquire) && hand.is_open() {
                hand.answer();
            }
            enough.store(true, Ordering::Release);
            if let Err(why) = cutter.join().expect("its panic was caught") {
                std::panic::resume_unwind(why);
            }
        });
        drop(hand);
    }
    tally.say("the tablet on ext4");
}

fn cut_until(
    enough: &AtomicBool,
    disk: &Disk,
    mark: &SavedMark,
    id: u32,
    wanted: u64,
    chance: &mut Chance,
    tally: &mut Tally,
) {
    while tally.cuts < wanted && !enough.load(Ordering::Acquire) {
        std::thread::sleep(Duration::from_micros(chance.below(500_000)));
        let saved = mark.lock().expect("no listener panicked").clone();
        // It stands still for as long as the copy takes, which no finger notices.
        let copy = disk.cut(Some(id));
        let story = format!("power cut {} under the tablet", tally.cuts);
        look(&copy, Path::new("data"), saved.as_ref(), &story, tally);
    }
}

/// The same on a disk that answers "done" and does nothing: the records called saved are not in the copies.
#[test]
fn a_disk_that_lies_is_seen_to_lose_records() {
    if !runs("faults::root::power::a_disk_that_lies_is_seen_to_lose_records") {
        return;
    }
    let folder = quick_folder();
    let disk = Disk {
        image: folder.path().join("image"),
        copy: folder.path().join("copy"),
        options: "data=ordered",
        copy_options: "",
    };
    make_ext4(&disk.image, SIZE_MIB);
    let mounted = Mounted::image(&disk.image, disk.options);
    let lies = program_on_disk(&[("FAULT_LIE", "1")]);
    let drill = Tablet::listen_to(rehearse(lies, &mounted.path().join("data"), None, 20));
    let mut lost = 0;
    for _ in 0..3 {
        let saved = loop {
            std::thread::sleep(Duration::from_millis(60));
            if let Some(saved) = drill.saved() {
                break saved;
            }
        };
        let copy = disk.cut(None);
        let record = copy.path().join("data").join("rehearsals");
        let found = groundward::journal::read::read(
            &groundward::journal::disk::RealDisk,
            &folders(&record, None),
            &saved.0,
        );
        let here = found.map_or(0, |it| it.records.len() as u64);
        lost += (saved.1 + 1).saturating_sub(here);
    }
    println!(
        "a disk that lies: 3 power cuts, {lost} records called saved were lost, and it was seen"
    );
    assert!(lost > 0, "these power cuts could not show anything");
}
