//! Plays one incident on a disk that fails at each of its calls in turn, cuts the power after each, and asks every
//! time: is each acknowledged record read back, once and in order, and is nothing called altered?

use super::lying::{Fault, LyingDisk, Tear};
use super::{INCIDENT, PLAYED, entries, entry, folders, lines, play, saved};
use groundward::journal::disk::Disk;
use groundward::journal::read::{self, Readback};
use groundward::journal::writer::Writer;
use proptest::prelude::*;
use std::path::Path;
use std::sync::Arc;

fn writer(disk: &LyingDisk) -> Writer {
    Writer::create(Arc::new(disk.clone()), folders(), INCIDENT).expect("the name is good")
}

/// Reads the incident and holds it against what was sealed: a prefix of it, at least up to what was acknowledged.
#[track_caller]
fn read_whole(disk: &LyingDisk, acknowledged: u64, story: &str) -> Option<Readback> {
    let found = match read::read(disk, &folders(), INCIDENT) {
        Ok(found) => found,
        Err(error) => {
            assert_eq!(acknowledged, 0, "{story}: {error}");
            return None;
        }
    };
    assert_eq!(found.problems, [], "{story}");
    assert!(
        found.records.len() as u64 >= acknowledged,
        "{story}: {} of {acknowledged}",
        found.records.len()
    );
    let text: String = found
        .records
        .iter()
        .map(|record| record.text.clone() + "\n")
        .collect();
    assert_eq!(
        text.into_bytes(),
        lines(&entries(1..=found.records.len() as u64)),
        "{story}"
    );
    Some(found)
}

/// The next start after a power cut: everything acknowledged is there before it goes on, after it, and when closed.
#[track_caller]
fn survives(disk: &LyingDisk, acknowledged: u64, tear: Tear, story: &str) {
    let story = format!("{story}, {tear:?}");
    let image = disk.after_power_cut(tear);
    if read_whole(&image, acknowledged, &story).is_none() {
        return;
    }
    // A second power cut while the torn tail is set aside, before the incident goes on.
    let calls_before = image.calls();
    let (mut writer, found) =
        Writer::resume(Arc::new(image.clone()), folders(), INCIDENT).expect("it was read");
    assert!(
        image.calls() - calls_before <= 9,
        "{story}: taking up an incident stays short"
    );
    for tear in [
        Tear::Nothing,
        Tear::Everything,
        Tear::LastWriteTo(3),
        Tear::Sectors(1),
    ] {
        read_whole(&image.after_power_cut(tear), acknowledged, &story);
    }
    let last = found.records.len() as u64;
    for seq in last + 1..=last + 2 {
        assert_eq!(saved(&writer.append(&entries(seq..=seq))), seq, "{story}");
        let again = read_whole(&image.after_power_cut(Tear::Nothing), seq, &story)
            .expect("there are records");
        assert_eq!(
            again
                .torn()
                .map(|torn| torn.file.as_str())
                .find(|file| Some(*file) == last_name(&again)),
            None,
            "{story}"
        );
    }
    assert_eq!(saved(&writer.close()), last + 2, "{story}");
    let closed = read_whole(&image.after_power_cut(Tear::Nothing), last + 2, &story)
        .expect("there are records");
    assert!(closed.closed, "{story}");
}

fn last_name(found: &Readback) -> Option<&str> {
    found.segments.last()?.path.file_name()?.to_str()
}

fn tears(disk: &LyingDisk) -> impl Iterator<Item = Tear> + use<> {
    let seeds = (0..8).map(Tear::Sectors);
    [Tear::Nothing, Tear::Everything]
        .into_iter()
        .chain(seeds)
        .chain(
            (0..=disk.unsynced_bytes().min(6000))
                .step_by(61)
                .map(Tear::LastWriteTo),
        )
}

#[test]
fn a_quiet_disk_holds_one_closed_file() {
    let disk = LyingDisk::default();
    assert_eq!(play(&mut writer(&disk)), PLAYED);
    let found = read_whole(&disk.after_power_cut(Tear::Nothing), PLAYED, "quiet")
        .expect("there are records");
    assert!(found.closed);
    assert_eq!((found.segments.len(), found.torn().count()), (1, 0));
    assert_eq!(
        disk.read(&found.segments[0].path).expect("it is there"),
        lines(&entries(1..=PLAYED))
    );
}

#[test]
fn a_power_cut_at_every_call_loses_nothing_acknowledged() {
    let calls = {
        let disk = LyingDisk::default();
        play(&mut writer(&disk));
        disk.calls()
    };
    assert!(calls > 20);
    for call in 1..=calls + 1 {
        let disk = LyingDisk::failing(Fault::Stop(call));
        let acknowledged = play(&mut writer(&disk));
        for len in (call % 3..disk.unsynced_bytes()).step_by(3) {
            let image = disk.after_power_cut(Tear::LastWriteTo(len));
            read_whole(
                &image,
                acknowledged,
                &format!("power cut at call {call}, {len} bytes"),
            );
        }
        for tear in tears(&disk) {
            survives(
                &disk,
                acknowledged,
                tear,
                &format!("power cut at call {call}"),
            );
        }
    }
}

#[test]
fn a_power_cut_after_a_fault_loses_nothing_acknowledged() {
    for fault in 1..=25 {
        for call in fault + 1..=fault + 7 {
            let disk = LyingDisk::failing(Fault::OnceThenStop(fault, call));
            let acknowledged = play(&mut writer(&disk));
            for tear in [Tear::Nothing, Tear::Everything, Tear::LastWriteTo(200)]
                .into_iter()
                .chain((0..3).map(Tear::Sectors))
            {
                survives(
                    &disk,
                    acknowledged,
                    tear,
                    &format!("call {fault} failed, power cut at call {call}"),
                );
            }
        }
    }
}

#[test]
fn one_failing_call_loses_nothing() {
    let calls = {
        let disk = LyingDisk::default();
        play(&mut writer(&disk));
        disk.calls()
    };
    for call in 1..=calls {
        let disk = LyingDisk::failing(Fault::Once(call));
        let mut writer = writer(&disk);
        play(&mut writer);
        let story = format!("call {call} failed");
        for tear in tears(&disk) {
            survives(&disk, PLAYED, tear, &story);
        }
        assert_eq!(saved(&writer.close()), PLAYED, "{story}");
        let closed = read_whole(&disk.after_power_cut(Tear::Nothing), PLAYED, &story)
            .expect("there are records");
        assert!(closed.closed, "{story}");
    }
}

#[test]
fn when_the_folder_fails_the_next_one_takes_over() {
    for call in 1..40 {
        let disk = LyingDisk::failing(Fault::FolderFrom(call, folders()[0].clone()));
        let mut writer = writer(&disk);
        play(&mut writer);
        let story = format!("the folder failed from call {call}");
        for tear in tears(&disk) {
            let image = disk.after_power_cut(tear);
            read_whole(&image, PLAYED, &format!("{story}, {tear:?}"));
        }
    }
}

#[test]
fn when_nothing_works_the_records_wait_in_memory_and_the_disk_is_not_filled() {
    for call in 1..=25 {
        let disk = LyingDisk::failing(Fault::From(call));
        let mut writer = writer(&disk);
        let acknowledged = play(&mut writer);
        if acknowledged == PLAYED {
            // Only closing failed, and nothing waits.
            continue;
        }
        let why = writer.retry().expect_err("nothing works").0;
        assert_eq!(
            writer.retry().expect_err("nothing works").0,
            why,
            "the reason stays the same"
        );
        for _ in 0..20 {
            assert!(writer.retry().is_err());
        }
        disk.heal();
        assert!(disk.names(&folders()[0]).expect("it is listed").len() <= 3);
        assert_eq!(saved(&writer.append(&[])), PLAYED);
        let found = read_whole(&disk.after_power_cut(Tear::Nothing), PLAYED, "healed")
            .expect("there are records");
        assert!(!found.closed);
    }
}

#[test]
fn where_nothing_can_be_synced_nothing_is_called_saved() {
    for (fault, files) in [(Fault::EverySync, 0), (Fault::EveryFolderSync, 1)] {
        let disk = LyingDisk::failing(fault);
        assert_eq!(play(&mut writer(&disk)), 0);
        assert_eq!(disk.names(&folders()[0]).expect("it is listed").len(), 0);
        assert_eq!(
            disk.names(&folders()[1]).expect("it is listed").len(),
            files,
            "one copy is enough"
        );
        if files > 0 {
            read_whole(&disk, PLAYED, "killed");
        }
    }
}

#[test]
fn a_program_killed_on_a_failing_disk_calls_saved_only_what_it_made_durable_again() {
    let faults = (1..=25).flat_map(|call| [Fault::From(call), Fault::Stop(call)]);
    for fault in faults {
        let disk = LyingDisk::failing(fault.clone());
        let acknowledged = play(&mut writer(&disk));
        disk.heal();
        // What the killed program could not sync, the kernel still shows and will never write.
        let story = format!("killed after {fault:?}");
        let Some(found) = read_whole(&disk, acknowledged, &story) else {
            continue;
        };
        let last = found.records.len() as u64;
        let (mut writer, _) =
            Writer::resume(Arc::new(disk.clone()), folders(), INCIDENT).expect("it was read");
        assert_eq!(
            writer
                .retry()
                .expect("the disk is well")
                .map_or(0, |saved| saved.seq),
            last
        );
        read_whole(&disk.after_power_cut(Tear::Nothing), last, &story);
        assert_eq!(
            saved(&writer.append(&entries(last + 1..=last + 1))),
            last + 1
        );
        read_whole(&disk.after_power_cut(Tear::Nothing), last + 1, &story);
    }
}

#[test]
fn a_torn_journal_is_taken_up_through_any_fault() {
    let path = folders()[0].join(format!("{INCIDENT}.jsonl"));
    // The first sector of record 5 never arrived, its end did; the record that comes instead is another one.
    let start = lines(&entries(1..=4));
    let mut torn = [start.clone(), lines(&[entry(5, 1500)]), vec![b'\n'; 900]].concat();
    torn[start.len()..(start.len() + 512).next_multiple_of(512)].fill(b'\n');
    let torn_end = &torn.trim_ascii_end()[torn.trim_ascii_end().len() - 700..];
    for call in 1..=14 {
        for fault in [Fault::Once(call), Fault::Stop(call)] {
            let disk = LyingDisk::default();
            disk.place(&path, &torn);
            disk.fail(fault.clone());
            let (mut writer, _) =
                Writer::resume(Arc::new(disk.clone()), folders(), INCIDENT).expect("it was read");
            let acknowledged = writer
                .append(&entries(5..=6))
                .ok()
                .flatten()
                .map_or(4, |saved| saved.seq);
            for tear in tears(&disk) {
                survives(&disk, acknowledged, tear, &format!("{fault:?}"));
            }
            for tear in (0..80).map(Tear::Sectors) {
                read_whole(
                    &disk.after_power_cut(tear),
                    acknowledged,
                    &format!("{fault:?}, {tear:?}"),
                );
                let image = disk.after_power_cut(tear);
                // What arrived of the torn record is in the file still, or beside it.
                let files = image.names(&folders()[0]).expect("it is listed");
                let holds = |name: &String| {
                    let data = image.read(&folders()[0].join(name)).expect("it is there");
                    data.windows(torn_end.len())
                        .any(|window| window == torn_end)
                };
                assert!(files.iter().any(holds), "{fault:?} {tear:?}");
            }
        }
    }
}

#[test]
fn an_incident_started_over_and_over_stays_one_file() {
    let disk = LyingDisk::default();
    assert_eq!(saved(&writer(&disk).append(&entries(1..=1))), 1);
    for seq in 2..50 {
        let (mut writer, found) =
            Writer::resume(Arc::new(disk.clone()), folders(), INCIDENT).expect("it is there");
        assert_eq!((found.records.len() as u64, found.closed), (seq - 1, false));
        assert_eq!(saved(&writer.append(&entries(seq..=seq))), seq);
    }
    assert_eq!(disk.names(&folders()[0]).expect("it is listed").len(), 1);
}

#[test]
fn a_damaged_file_is_left_as_it_is_and_the_incident_goes_on_in_a_new_one() {
    let path = folders()[0].join(format!("{INCIDENT}.jsonl"));
    let mut data = [lines(&entries(1..=6)), vec![b'\n'; 900]].concat();
    let in_record_three = lines(&entries(1..=2)).len() + 60;
    data[in_record_three] ^= 1;
    let disk = LyingDisk::default();
    disk.place(&path, &data);
    let (mut writer, found) =
        Writer::resume(Arc::new(disk.clone()), folders(), INCIDENT).expect("it is there");
    assert_eq!(
        found
            .records
            .iter()
            .map(|record| record.seq)
            .collect::<Vec<_>>(),
        [1, 2, 4, 5, 6]
    );
    assert_eq!(saved(&writer.append(&entries(7..=7))), 7);
    assert_eq!(disk.read(&path).expect("it is there"), data);
    let again = read::read(&disk, &folders(), INCIDENT).expect("it is there");
    assert_eq!(
        again
            .records
            .iter()
            .map(|record| record.seq)
            .collect::<Vec<_>>(),
        [1, 2, 4, 5, 6, 7]
    );
    assert_eq!(
        again
            .problems
            .iter()
            .map(|problem| problem.seq)
            .collect::<Vec<_>>(),
        [3]
    );
}

#[test]
fn a_torn_tail_is_copied_beside_the_file_and_never_counted() {
    let path = folders()[0].join(format!("{INCIDENT}.jsonl"));
    let half = &lines(&entries(1..=3))[lines(&entries(1..=2)).len()..][..100];
    let disk = LyingDisk::default();
    disk.place(
        &path,
        &[lines(&entries(1..=2)), half.to_vec(), vec![b'\n'; 900]].concat(),
    );
    let (_, found) =
        Writer::resume(Arc::new(disk.clone()), folders(), INCIDENT).expect("it is there");
    assert_eq!((found.records.len(), found.torn().count()), (2, 1));
    let torn = Path::new("/data/journal").join(format!("{INCIDENT}.jsonl.torn-1"));
    assert_eq!(
        disk.after_power_cut(Tear::Nothing)
            .read(&torn)
            .expect("it was set aside"),
        half
    );
    let again = read::read(&disk, &folders(), INCIDENT).expect("it is there");
    assert_eq!((again.records.len(), again.torn().count()), (2, 0));
    assert_eq!(again.set_aside, [format!("{INCIDENT}.jsonl.torn-1")]);
}

#[test]
fn a_file_that_is_filled_to_the_last_byte_still_looks_open() {
    let fits = |text_bytes: &usize| {
        lines(&[entry(1, *text_bytes)]).len() as u64 == LyingDisk::default().reserve_bytes()
    };
    let text_bytes = (1000..2000).find(fits).expect("one length fits");
    let disk = LyingDisk::default();
    let mut writer = writer(&disk);
    assert_eq!(writer.retry(), Ok(None));
    assert_eq!(saved(&writer.append(&[entry(1, text_bytes)])), 1);
    assert!(
        !read::read(&disk, &folders(), INCIDENT)
            .expect("it is there")
            .closed
    );
}

#[test]
fn a_first_record_larger_than_the_reserve_fits() {
    let disk = LyingDisk::default();
    let mut writer = writer(&disk);
    assert_eq!(saved(&writer.append(&[entry(1, 30_000)])), 1);
    let found = read::read(&disk.after_power_cut(Tear::Nothing), &folders(), INCIDENT)
        .expect("it is there");
    assert_eq!(
        (found.records.len(), found.problems.len(), found.closed),
        (1, 0, false)
    );
}

#[test]
fn a_closed_incident_can_be_continued() {
    let disk = LyingDisk::default();
    play(&mut writer(&disk));
    let (mut writer, found) =
        Writer::resume(Arc::new(disk.clone()), folders(), INCIDENT).expect("it is there");
    assert!(found.closed);
    assert_eq!(saved(&writer.append(&entries(15..=15))), 15);
    assert!(
        !read_whole(&disk.after_power_cut(Tear::Nothing), 15, "again")
            .expect("there are records")
            .closed
    );

    let disk = LyingDisk::default();
    let mut writer = self::writer(&disk);
    play(&mut writer);
    assert_eq!(saved(&writer.append(&entries(15..=15))), 15);
    assert!(
        !read_whole(&disk.after_power_cut(Tear::Nothing), 15, "the same")
            .expect("there are records")
            .closed
    );
}

#[test]
fn the_last_room_on_a_disk_is_used() {
    let disk = LyingDisk::failing(Fault::Full(200_000));
    disk.reserve(4 * 1024 * 1024);
    assert_eq!(play(&mut writer(&disk)), PLAYED);
    let found = read_whole(&disk.after_power_cut(Tear::Nothing), PLAYED, "almost full")
        .expect("there are records");
    assert_eq!(found.segments.len(), 1);
}

#[test]
fn names_that_could_leave_the_folder_are_refused() {
    for name in ["", "..", "a/b", "a.2", "a b", "é"] {
        assert!(
            Writer::create(Arc::new(LyingDisk::default()), folders(), name).is_err(),
            "{name}"
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any groups, any faults, any power cuts in a row: what was acknowledged stays.
    #[test]
    fn what_is_acknowledged_survives_any_history(
        groups in prop::collection::vec((0u64..6, 1usize..30, 0u64..1_000, any::<bool>()), 1..12),
    ) {
        let mut disk = LyingDisk::default();
        let mut writer = writer(&disk);
        let (mut last, mut acknowledged) = (0, 0);
        for (count, fault, seed, power_cut) in groups {
            disk.fail(Fault::Once(disk.calls() + fault));
            let outcome = writer.append(&entries(last + 1..=last + count));
            last += count;
            if let Ok(Some(saved)) = outcome {
                acknowledged = saved.seq;
                prop_assert_eq!(acknowledged, last);
            }
            disk.heal();
            if power_cut {
                disk = disk.after_power_cut(Tear::Sectors(seed));
                let Some(found) = read_whole(&disk, acknowledged, "any history") else { return Ok(()) };
                last = found.records.len() as u64;
                writer = Writer::resume(Arc::new(disk.clone()), folders(), INCIDENT).expect("it was read").0;
            }
        }
        prop_assert_eq!(writer.close().expect("the disk is well").map_or(0, |saved| saved.seq), last);
        read_whole(&disk.after_power_cut(Tear::Nothing), last, "any history");
    }
}
