//! Hears what a sound device really receives from the player: a cue as it was made, at either loudness, cut off by
//! danger or by a touch.
//!
//! A player in a child process plays to an ALSA device that writes everything into a pipe, and this side reads the
//! pipe as fast as a loudspeaker would. The child is this very test binary, started again for the one test below that
//! plays. The configuration names the whole device, so neither a sound card nor the machine's own settings count; what
//! a loudspeaker makes of the signal is not known here. Only ALSA can be tapped like this, hence only on Linux.
#![cfg(target_os = "linux")]

use crate::cues::measures::{Pulse, SAMPLE_RATE_HZ, cut, partials_hz, pulses};
use crate::cues::{committed, mark};
use groundward::cue::Cue;
use groundward::sound::{CUE_GAP_MS, CUE_REPEAT_MS, NORMAL_DB, Player};
use std::io::{PipeReader, Read};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::channel;
use std::thread;
use std::time::{Duration, Instant};

/// What the child is to do, in the words of `act`.
const SCRIPT: &str = "GROUNDWARD_HEARD_SCRIPT";

/// The child's standard input is the end of the pipe into which the device writes, because that is a file with a name.
const DEVICE: &str = r#"
pcm.!default {
    type plug
    slave {
        pcm {
            type file
            file "/dev/stdin"
            format "raw"
            slave.pcm { type null }
        }
        format S16_LE
        rate 48000
        channels 2
    }
}
"#;

/// Nobody listens longer than this, so that a device without a sound ends a test and does not hold it up.
const LISTENED_MAX: Duration = Duration::from_secs(20);

/// After so much silence a cue is over; it is longer than every silence within a cue or between two of a round.
const SILENCE: Duration = Duration::from_millis(700);

/// How far a pulse's times may be off: two blocks of the measure.
const NEAR_MS: f64 = 4.0;

/// How far the time between two cues may be off: the device takes its sound in gulps, and the machine is busy.
const NEAR_BETWEEN_CUES_MS: f64 = 150.0;

/// Does what one word of a script says.
fn act(player: &Player, word: &str) {
    match word.split_once(':') {
        Some(("play", name)) => {
            let cue = Cue::ALL.into_iter().find(|cue| format!("{cue:?}") == name);
            player.play(cue.expect("a script names cues as the program does"));
        }
        Some(("wait-ms", ms)) => {
            thread::sleep(Duration::from_millis(ms.parse().expect("a number")));
        }
        None if word == "loud" => player.loud(true),
        None if word == "drill" => player.drill(true),
        None if word == "real" => player.drill(false),
        None if word == "silence" => player.silence(),
        _ => panic!("no such word: {word}"),
    }
}

#[test]
#[ignore = "the other tests here start it, each in a process of its own with a device of its own"]
fn child_plays() {
    let script = std::env::var(SCRIPT).expect("whoever starts this says what to play");
    let (said, listen) = channel();
    let player = Player::start(move |outcome| {
        let _ = said.send(outcome);
    });
    let outcome = listen.recv().expect("a report comes");
    outcome.expect("the device of the configuration opens");
    script
        .split_whitespace()
        .for_each(|word| act(&player, word));
    // The one who listens knows when all has been heard, and ends this process.
    thread::sleep(LISTENED_MAX * 3);
}

/// When whoever listens has heard enough.
#[derive(Clone, Copy)]
enum Until {
    /// There has been a sound, and then silence.
    Silence,
    /// So much time has gone by since the first sound.
    Length(Duration),
}

/// Returns what the device of a player receives that follows a script, from the first sound on.
fn received(script: &str, until: Until) -> Vec<i16> {
    let folder = tempfile::tempdir().expect("a folder");
    let settings = folder.path().join("asound.conf");
    std::fs::write(&settings, DEVICE).expect("it can be written");
    let (reader, writer) = std::io::pipe().expect("a pipe");
    let mut child = child(script, &settings, writer.into());
    let heard = listen(reader, until);
    child.kill().expect("it has not been waited for");
    let output = child.wait_with_output().expect("it was started here");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!heard.is_empty(), "{script}: nothing came; {said}");
    assert!(
        heard.iter().all(|frame| frame[0] == frame[1]),
        "{script}: the channels differ"
    );
    heard.into_iter().map(|frame| frame[0]).collect()
}

fn child(script: &str, settings: &Path, device: Stdio) -> Child {
    let binary = std::env::current_exe().expect("this test is a file");
    let test = ["--exact", "heard::child_plays", "--ignored", "--nocapture"];
    Command::new(binary)
        .args(test)
        .env(SCRIPT, script)
        .env("ALSA_CONFIG_PATH", settings)
        .stdin(device)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it can be started again")
}

/// Reads at the pace of a loudspeaker. What is written by a device that nobody holds back has no time in it.
fn listen(mut device: PipeReader, until: Until) -> Vec<[i16; 2]> {
    let piece = Duration::from_millis(10);
    let mut bytes = [0; SAMPLE_RATE_HZ as usize / 100 * 4];
    let mut heard: Vec<[i16; 2]> = Vec::new();
    let mut silent = Duration::ZERO;
    let mut length = Duration::ZERO;
    let begun = Instant::now();
    let mut read = Duration::ZERO;
    while read < LISTENED_MAX && device.read_exact(&mut bytes).is_ok() {
        let frames = bytes.chunks_exact(4);
        let frames = frames.map(|f| [[f[0], f[1]], [f[2], f[3]]].map(i16::from_le_bytes));
        let before = heard.len();
        heard.extend(frames);
        let sounds = heard[before..].iter().any(|f| *f != [0, 0]);
        silent = if sounds {
            Duration::ZERO
        } else {
            silent + piece
        };
        if !sounds && before == 0 {
            heard.clear();
        } else {
            length += piece;
        }
        let enough = match until {
            Until::Silence => silent >= SILENCE,
            Until::Length(wanted) => length >= wanted,
        };
        if enough && length > Duration::ZERO {
            break;
        }
        read += piece;
        thread::sleep(read.saturating_sub(begun.elapsed()));
    }
    heard
}

/// What is compared of a sound.
struct Measured {
    pulses: Vec<Pulse>,
    tones_hz: Vec<f64>,
}

fn measure(samples: &[i16]) -> Measured {
    let pulses = pulses(samples, CUE_REPEAT_MS as f64);
    let pieces = cut(samples, &pulses);
    let tones_hz = pieces.iter().map(|piece| partials_hz(piece)[0]).collect();
    Measured { pulses, tones_hz }
}

fn file(cue: Cue) -> Vec<i16> {
    let mut all = Cue::ALL.into_iter().zip(committed());
    let found = all.find(|(there, _)| *there == cue);
    found.expect("every cue has a file").1.1
}

/// Says what keeps `heard` from being `made`: pulses, their times and their tones.
fn differences(heard: &Measured, made: &Measured) -> Vec<String> {
    let mut differences = Vec::new();
    let counts = (heard.pulses.len(), made.pulses.len());
    if counts.0 != counts.1 {
        differences.push(format!("{} pulses instead of {}", counts.0, counts.1));
    }
    let starts = |measured: &Measured| -> Vec<f64> {
        let starts = measured.pulses.iter();
        let first_ms = measured.pulses.first().map_or(0.0, |first| first.start_ms);
        starts.map(|p| p.start_ms - first_ms).collect()
    };
    let lengths = |measured: &Measured| -> Vec<f64> {
        let pulses = measured.pulses.iter();
        pulses.map(|p| p.on_ms).collect()
    };
    let mut compare = |what: &str, heard: &[f64], made: &[f64], near: f64| {
        for (n, (heard, made)) in heard.iter().zip(made).enumerate() {
            if (heard - made).abs() > near {
                differences.push(format!("{what} of pulse {n}: {heard} instead of {made}"));
            }
        }
    };
    compare("start", &starts(heard), &starts(made), NEAR_MS);
    compare("length", &lengths(heard), &lengths(made), NEAR_MS);
    compare("tone", &heard.tones_hz, &made.tones_hz, 4.0);
    differences
}

/// Returns how much stronger one sound is than another, in decibels.
fn stronger_db(one: &[i16], other: &[i16]) -> f64 {
    let energy = |samples: &[i16]| -> f64 { samples.iter().map(|s| f64::from(*s).powi(2)).sum() };
    10.0 * (energy(one) / energy(other)).log10()
}

/// Takes the pulses from one number to another, as a sound of its own.
fn part(measured: &Measured, pulses: std::ops::Range<usize>) -> Measured {
    Measured {
        pulses: measured.pulses[pulses.clone()].to_vec(),
        tones_hz: measured.tones_hz[pulses].to_vec(),
    }
}

fn assert_same(what: &str, heard: &Measured, made: &Measured) {
    let differences = differences(heard, made);
    assert!(differences.is_empty(), "{what}: {}", differences.join("; "));
}

#[test]
fn the_comparison_tells_every_cue_from_every_other() {
    let measured = Cue::ALL.map(|cue| measure(&file(cue)));
    for (n, one) in measured.iter().enumerate() {
        assert_same("itself", one, one);
        for other in &measured[n + 1..] {
            assert!(!differences(one, other).is_empty());
        }
    }
    let half: Vec<i16> = file(Cue::Danger).iter().map(|s| s / 2).collect();
    assert!((stronger_db(&file(Cue::Danger), &half) - 6.02).abs() < 0.05);
}

#[test]
fn every_cue_arrives_as_it_was_made_and_the_loud_setting_is_louder_by_what_it_says() {
    let hear = |script: String| move || received(&script, Until::Silence);
    let check = |cue: Cue, normal: &[i16], loud: &[i16]| {
        let made = measure(&file(cue));
        assert_same(&format!("{cue:?}"), &measure(normal), &made);
        assert_same(&format!("{cue:?}, loud"), &measure(loud), &made);
        let louder_db = stronger_db(loud, normal);
        let expected_db = -f64::from(NORMAL_DB);
        assert!(
            (louder_db - expected_db).abs() < 0.1,
            "{cue:?}: {louder_db} dB louder"
        );
        let changed_db = stronger_db(loud, &file(cue));
        assert!(changed_db.abs() < 0.1, "{cue:?}: {changed_db} dB off");
    };
    // All at the same time, because listening takes as long as the cues do.
    thread::scope(|scope| {
        let heard = Cue::ALL.map(|cue| {
            let normal = scope.spawn(hear(format!("play:{cue:?}")));
            let loud = scope.spawn(hear(format!("loud play:{cue:?}")));
            (cue, normal, loud)
        });
        for (cue, normal, loud) in heard {
            let (normal, loud) = (normal.join(), loud.join());
            check(
                cue,
                &normal.expect("it was heard"),
                &loud.expect("it was heard"),
            );
        }
    });
}

/// A cue and the mark of a drill right after it, as they are made.
fn marked(cue: Cue) -> Measured {
    measure(&[file(cue), mark()].concat())
}

#[test]
fn in_a_drill_every_cue_is_followed_by_the_mark_and_in_a_rescue_none() {
    thread::scope(|scope| {
        let heard = Cue::ALL.map(|cue| {
            let drill = format!("drill play:{cue:?}");
            let real = format!("drill real play:{cue:?}");
            let hear = |script: String| scope.spawn(move || received(&script, Until::Silence));
            (cue, hear(drill), hear(real))
        });
        for (cue, drill, real) in heard {
            let (drill, real) = (drill.join(), real.join());
            let (drill, real) = (
                drill.expect("it was heard"),
                measure(&real.expect("it was heard")),
            );
            assert_same(&format!("{cue:?}, drill"), &measure(&drill), &marked(cue));
            assert_same(&format!("{cue:?}, real"), &real, &measure(&file(cue)));
        }
    });
}

#[test]
fn a_round_of_a_drill_takes_as_long_as_one_of_a_rescue() {
    let script = "wait-ms:600 drill play:CheckDue play:PastTarget";
    let length = Until::Length(Duration::from_millis(7_000));
    let heard = measure(&received(script, length));
    let (repeats, once) = (marked(Cue::CheckDue), marked(Cue::PastTarget));
    // Two knocks after each: after the first of the round, after the second, and after the first again.
    assert_eq!(heard.pulses.len(), 14, "{:?}", heard.pulses);
    assert_same("first", &part(&heard, 0..5), &repeats);
    assert_same("second", &part(&heard, 5..9), &once);
    assert_same("again", &part(&heard, 9..14), &repeats);
    let starts_ms = |pulse: usize| heard.pulses[pulse].start_ms;
    let cue_ms = file(Cue::CheckDue).len() as f64 / f64::from(SAMPLE_RATE_HZ) * 1000.0;
    let second_ms = starts_ms(5) - starts_ms(0) - cue_ms;
    assert!(
        (second_ms - CUE_GAP_MS as f64).abs() < NEAR_BETWEEN_CUES_MS,
        "{second_ms} ms between two cues"
    );
    let round_ms = starts_ms(9) - starts_ms(0);
    assert!(
        (round_ms - CUE_REPEAT_MS as f64).abs() < NEAR_BETWEEN_CUES_MS,
        "{round_ms} ms from one round to the next"
    );
}

#[test]
fn once_it_is_real_what_sounds_begins_anew_and_has_no_mark() {
    let script = "wait-ms:600 drill play:CheckDue wait-ms:500 real";
    let length = Until::Length(Duration::from_millis(2_600));
    let heard = measure(&received(script, length));
    let made = measure(&file(Cue::CheckDue));
    let count = heard.pulses.len();
    assert!(count > made.pulses.len(), "{:?}", heard.pulses);
    // What was cut off may join what begins anew, so the last two pulses say that nothing comes after them.
    assert_same("anew", &part(&heard, count - 2..count), &part(&made, 1..3));
}

#[test]
fn danger_cuts_off_what_sounds() {
    let heard = received(
        "play:ChangeNow wait-ms:900 play:Danger",
        Until::Length(Duration::from_millis(4_500)),
    );
    let heard = measure(&heard);
    let (cut_off, danger) = (measure(&file(Cue::ChangeNow)), measure(&file(Cue::Danger)));
    // Danger's first pulse may join what it cut off, so its other nine say where it is.
    let rest = part(&danger, 1..10);
    let second = (1..10).find(|n| {
        heard.pulses.len() >= n + 9 && differences(&part(&heard, *n..n + 9), &rest).is_empty()
    });
    let Some(second) = second else {
        panic!("no danger: {:?}", heard.pulses);
    };
    assert!(second >= 2, "nothing was heard before danger");
    let whole = 0..second - 2;
    let before = part(&heard, whole.clone());
    assert_same("before danger", &before, &part(&cut_off, whole));
    let waited_ms = heard.pulses[second - 2].off_ms;
    assert!(
        waited_ms < CUE_GAP_MS as f64,
        "danger waited {waited_ms} ms"
    );
}

#[test]
fn a_touch_ends_a_cue_in_the_middle() {
    let script = "play:Danger wait-ms:900 silence";
    let heard = measure(&received(script, Until::Silence));
    let danger = measure(&file(Cue::Danger));
    let count = heard.pulses.len();
    assert!((1..10).contains(&count), "{count} pulses");
    let whole = part(&heard, 0..count - 1);
    assert_same("up to the touch", &whole, &part(&danger, 0..count - 1));
}

#[test]
fn a_round_is_heard_in_order_and_only_what_repeats_comes_again() {
    // At first the pipe takes a third of a second of sound in no time; after that it takes it as a loudspeaker does.
    let script = "wait-ms:600 play:CheckDue play:PastTarget";
    let heard = measure(&received(
        script,
        Until::Length(Duration::from_millis(7_000)),
    ));
    let (repeats, once) = (
        measure(&file(Cue::CheckDue)),
        measure(&file(Cue::PastTarget)),
    );
    assert_eq!(heard.pulses.len(), 8, "{:?}", heard.pulses);
    assert_same("first", &part(&heard, 0..3), &repeats);
    assert_same("second", &part(&heard, 3..5), &once);
    assert_same("again", &part(&heard, 5..8), &repeats);
    let gap_ms = heard.pulses[2].off_ms;
    assert!(
        (gap_ms - CUE_GAP_MS as f64).abs() < NEAR_BETWEEN_CUES_MS,
        "{gap_ms} ms between two cues"
    );
    let round_ms = heard.pulses[5].start_ms - heard.pulses[0].start_ms;
    assert!(
        (round_ms - CUE_REPEAT_MS as f64).abs() < NEAR_BETWEEN_CUES_MS,
        "{round_ms} ms from one round to the next"
    );
}
