//! Checks the cue files: as urgent as they are meant, loud where ears in noise are good, unlike the two alarms and
//! unlike each other.
//!
//! All is measured in the committed files and not read from the program that made them: pulses from the envelope, the
//! spectrum by a discrete Fourier transform of `measures`, which tries itself on made-up sounds first. What no measure
//! says is how it sounds to people: somebody has to listen, at the site and in its noise.

#[allow(dead_code)] // Its `main` writes the files; here its bytes are only compared.
#[path = "../sounds/make.rs"]
mod make;
pub(crate) mod measures;

use groundward::cue::{Cue, Urgency};
use groundward::sound::{CUE_GAP_MS, CUE_REPEAT_MS, CUES_HEARD_MAX};
use measures::{
    LIKENESS, Pulse, SAMPLE_RATE_HZ, alarm_in, centre_hz, contour, cut, groups,
    is_a_hasty_evacuation, other_rhythm, partials_hz, per_ms, pulses, rise_ms, share_between,
};
use std::path::Path;
use std::sync::LazyLock;

/// A cue and all that is measured in its committed file, once for all tests.
struct Measured {
    cue: Cue,
    name: &'static str,
    samples: Vec<i16>,
    pulses: Vec<Pulse>,
    /// The partials of each pulse, the tone first.
    partials_hz: Vec<Vec<f64>>,
}

impl Measured {
    fn tones_hz(&self) -> Vec<f64> {
        self.partials_hz
            .iter()
            .map(|partials| partials[0])
            .collect()
    }
}

static MEASURED: LazyLock<Vec<Measured>> = LazyLock::new(|| {
    let committed = committed().into_iter();
    let measure = |(cue, (name, samples)): (Cue, (&'static str, Vec<i16>))| {
        let pulses = pulses(&samples, CUE_REPEAT_MS as f64);
        let pieces = cut(&samples, &pulses);
        let partials_hz = pieces.into_iter().map(partials_hz).collect();
        Measured {
            cue,
            name,
            pulses,
            partials_hz,
            samples,
        }
    };
    Cue::ALL.into_iter().zip(committed).map(measure).collect()
});

fn measured(cue: Cue) -> &'static Measured {
    let found = MEASURED.iter().find(|measured| measured.cue == cue);
    found.expect("every cue has a file")
}

/// Returns the committed files with their names in the order of the cues, as samples of one channel at 48 kHz.
pub(crate) fn committed() -> Vec<(&'static str, Vec<i16>)> {
    make::cues()
        .iter()
        .map(|(name, _)| (*name, read_wav(name, &committed_bytes(name))))
        .collect()
}

/// Returns the committed file of the mark of a drill, as samples of one channel at 48 kHz.
pub(crate) fn mark() -> Vec<i16> {
    let (name, _) = make::mark();
    read_wav(name, &committed_bytes(name))
}

fn committed_bytes(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("sounds")
        .join(name);
    std::fs::read(&path).unwrap_or_else(|error| panic!("sounds/{name}: {error}"))
}

/// Reads the one kind of WAV file that is used here, and fails on any other.
fn read_wav(name: &str, bytes: &[u8]) -> Vec<i16> {
    let number = |at: usize, len: usize| {
        bytes[at..at + len]
            .iter()
            .rev()
            .fold(0_usize, |value, byte| value << 8 | usize::from(*byte))
    };
    assert_eq!(&bytes[0..4], b"RIFF", "{name}");
    assert_eq!(number(4, 4), bytes.len() - 8, "{name}: length of the file");
    assert_eq!(&bytes[8..16], b"WAVEfmt ", "{name}");
    assert_eq!(number(20, 2), 1, "{name}: plain numbers");
    assert_eq!(number(22, 2), 1, "{name}: one channel");
    assert_eq!(number(24, 4), SAMPLE_RATE_HZ as usize, "{name}: rate");
    assert_eq!(number(34, 2), 16, "{name}: bits");
    assert_eq!(&bytes[36..40], b"data", "{name}");
    assert_eq!(
        number(40, 4),
        bytes.len() - 44,
        "{name}: length of the data"
    );
    bytes[44..]
        .chunks_exact(2)
        .map(|pair| i16::from_le_bytes([pair[0], pair[1]]))
        .collect()
}

#[test]
fn the_committed_files_are_what_the_program_makes() {
    for (name, made) in make::cues().into_iter().chain([make::mark()]) {
        assert!(
            committed_bytes(name) == made,
            "sounds/{name} is not what sounds/make.rs makes: run `cargo run --example cues`"
        );
    }
}

#[test]
fn every_cue_has_a_file_named_after_it_and_there_is_no_other_but_the_mark() {
    let mut named: Vec<String> = vec![make::mark().0.to_owned()];
    for (cue, (name, _)) in Cue::ALL.into_iter().zip(make::cues()) {
        let mut expected = String::new();
        for letter in format!("{cue:?}").chars() {
            if letter.is_uppercase() && !expected.is_empty() {
                expected.push('-');
            }
            expected.extend(letter.to_lowercase());
        }
        assert_eq!(name, format!("{expected}.wav"));
        named.push(name.to_owned());
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sounds");
    let mut there: Vec<String> = std::fs::read_dir(folder)
        .expect("the folder is part of the project")
        .map(|entry| entry.expect("it can be listed").file_name())
        .map(|name| name.to_string_lossy().into_owned())
        .filter(|name| name.ends_with(".wav"))
        .collect();
    named.sort();
    there.sort();
    assert_eq!(there, named);
}

#[test]
fn every_cue_leaves_time_before_it_starts_again() {
    for Measured { name, samples, .. } in MEASURED.iter() {
        let length_ms = samples.len() as u64 / per_ms() as u64;
        assert!(length_ms > 0, "{name}");
        // IEC 60601-1-8: 2.5 s at least between two bursts (from memory).
        assert!(CUE_REPEAT_MS - length_ms >= 2500, "{name}: {length_ms} ms");
    }
}

#[test]
fn no_cue_clips_and_none_is_faint() {
    for Measured { name, samples, .. } in MEASURED.iter() {
        let loudest = samples.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0);
        assert!(
            (26_000..=31_000).contains(&loudest),
            "{name}: peak {loudest}"
        );
        let mean = samples.iter().map(|s| i64::from(*s)).sum::<i64>() / samples.len() as i64;
        assert!(mean.abs() < 50, "{name}: offset {mean}");
    }
}

#[test]
fn ears_in_noise_get_nine_tenths_of_the_energy() {
    // ISO 7731: a danger signal has its energy between 500 and 2,500 Hz (from memory; 0.9 is this project's own share).
    for Measured {
        name,
        samples,
        pulses,
        ..
    } in MEASURED.iter()
    {
        let pieces = cut(samples, pulses);
        assert_eq!(pieces.iter().map(|p| p.len()).sum::<usize>(), samples.len());
        for piece in pieces {
            let share = share_between(piece, 500.0, 2500.0);
            assert!(share >= 0.9, "{name}: {share:.3}");
        }
    }
}

#[test]
fn the_number_and_the_length_of_its_pulses_say_how_urgent_a_cue_is() {
    // IEC 60601-1-8: ten pulses of 75 to 200 ms as 3-2 and 3-2 for high urgency, three of 125 to 250 ms for medium,
    // one or two for low. That low ones are as long as medium ones, and the pause of 350 ms at least in the middle of
    // high ones, are from memory.
    for Measured {
        cue, name, pulses, ..
    } in MEASURED.iter()
    {
        let (count, length_ms) = match cue.urgency() {
            Urgency::High => (10..=10, 75.0..=200.0),
            Urgency::Medium => (3..=3, 125.0..=250.0),
            Urgency::Low => (1..=2, 125.0..=250.0),
        };
        assert!(count.contains(&pulses.len()), "{name}: {}", pulses.len());
        for pulse in pulses {
            assert!(length_ms.contains(&pulse.on_ms), "{name}: {pulse:?}");
        }
        if cue.urgency() == Urgency::High {
            assert_eq!(groups(pulses), [3, 2, 3, 2], "{name}");
            let middle_ms = pulses[4].off_ms;
            assert!(middle_ms >= 350.0, "{name}: {middle_ms}");
            assert!(middle_ms > 2.0 * pulses[2].off_ms, "{name}: {pulses:?}");
        }
    }
}

#[test]
fn every_pulse_has_a_tone_with_four_strong_harmonics() {
    // IEC 60601-1-8: a fundamental of 150 to 1,000 Hz with at least four harmonics between 300 and 4,000 Hz, all
    // within 15 dB of each other.
    for Measured {
        name, partials_hz, ..
    } in MEASURED.iter()
    {
        for partials in partials_hz {
            let fundamental = partials[0];
            assert!(
                (150.0..=1000.0).contains(&fundamental),
                "{name}: {partials:?}"
            );
            let harmonics = partials[1..]
                .iter()
                .filter(|hz| (300.0..=4000.0).contains(*hz))
                .filter(|hz| {
                    let ratio = *hz / fundamental;
                    (ratio - ratio.round()).abs() < 0.05
                })
                .count();
            assert!(harmonics >= 4, "{name}: {partials:?}");
        }
    }
}

#[test]
fn no_cue_is_like_an_alarm_that_means_something_else() {
    for Measured { name, pulses, .. } in MEASURED.iter() {
        assert_eq!(alarm_in(pulses), None, "{name}");
        assert!(!is_a_hasty_evacuation(pulses), "{name}");
        assert!(!groups(pulses).contains(&4), "{name}");
        for pulse in pulses {
            // Not a single pulse is as long as one of ISO 8201 (500 ms) or of NFPA 72's CO alarm (100 ms).
            for alarm_ms in [500.0, 100.0] {
                let far = (pulse.on_ms - alarm_ms).abs() > alarm_ms * LIKENESS;
                assert!(far, "{name}: {pulse:?}");
            }
        }
    }
}

#[test]
fn no_round_of_several_cues_is_like_an_alarm_in_a_drill_either() {
    let mark = mark();
    let mark_ms = mark.len() as f64 / per_ms() as f64;
    let marked: Vec<Vec<Pulse>> = MEASURED
        .iter()
        .map(|it| pulses(&[&it.samples[..], &mark].concat(), 0.0))
        .collect();
    let mut tried = 0;
    let count = MEASURED.len();
    // Every choice of three in every order, a cue chosen twice standing for rounds of two.
    for choice in 0..count.pow(CUES_HEARD_MAX as u32) {
        let mut rest = choice;
        let mut round: Vec<usize> = Vec::new();
        for _ in 0..CUES_HEARD_MAX {
            round.push(rest % count);
            rest /= count;
        }
        round.dedup();
        for drill in [false, true] {
            let mut pulses: Vec<Pulse> = Vec::new();
            for cue in &round {
                if let Some(last) = pulses.last_mut() {
                    last.off_ms = CUE_GAP_MS as f64 - if drill { mark_ms } else { 0.0 };
                }
                pulses.extend(match drill {
                    true => &marked[*cue],
                    false => &MEASURED[*cue].pulses,
                });
            }
            if let Some(last) = pulses.last_mut() {
                last.off_ms = CUE_REPEAT_MS as f64 / 2.0;
            }
            assert_eq!(alarm_in(&pulses), None, "{round:?}, drill: {drill}");
        }
        tried += 1;
    }
    assert_eq!(tried, 1_000);
}

#[test]
fn the_mark_of_a_drill_is_two_knocks_as_loud_and_as_well_heard_as_a_cue() {
    let mark = mark();
    let loudest = mark.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0);
    assert!((26_000..=31_000).contains(&loudest), "peak {loudest}");
    let mean = mark.iter().map(|s| i64::from(*s)).sum::<i64>() / mark.len() as i64;
    assert!(mean.abs() < 50, "offset {mean}");
    let knocks = pulses(&mark, CUE_REPEAT_MS as f64);
    assert_eq!(knocks.len(), 2, "{knocks:?}");
    for knock in cut(&mark, &knocks) {
        // ISO 7731, as for the cues (from memory; 0.9 is this project's own share).
        let share = share_between(knock, 500.0, 2500.0);
        assert!(share >= 0.9, "{share:.3}");
    }
}

#[test]
fn no_part_of_a_cue_is_like_the_mark_of_a_drill() {
    let mark = mark();
    let knocks = pulses(&mark, CUE_REPEAT_MS as f64);
    let pieces = cut(&mark, &knocks);
    let longest_ms = knocks.iter().map(|it| it.on_ms).fold(0.0, f64::max);
    let slowest_ms = pieces.iter().map(|it| rise_ms(it)).fold(0.0, f64::max);
    for Measured {
        name,
        samples,
        pulses,
        ..
    } in MEASURED.iter()
    {
        for (pulse, piece) in pulses.iter().zip(cut(samples, pulses)) {
            assert!(pulse.on_ms > 2.0 * longest_ms, "{name}: {pulse:?}");
            assert!(rise_ms(piece) >= slowest_ms, "{name}: a pulse knocks");
        }
    }
    // Wood has no harmonics: its second partial is at no multiple of the first, unlike every cue's.
    for piece in pieces {
        let partials = partials_hz(piece);
        let ratio = partials[1] / partials[0];
        assert!((ratio - ratio.round()).abs() > 0.15, "{partials:?}");
    }
}

#[test]
fn the_mark_of_a_drill_delays_no_cue_and_leaves_time_to_speak() {
    let per_s = per_ms() as u64;
    let mark_ms = mark().len() as u64 / per_s;
    assert!(mark_ms < CUE_GAP_MS, "{mark_ms} ms");
    for Measured { name, samples, .. } in MEASURED.iter() {
        // The silence after a round is half the interval at least, after the gap that the mark stands in.
        let round_ms = samples.len() as u64 / per_s + CUE_GAP_MS;
        let silence_ms = (CUE_REPEAT_MS - round_ms).max(CUE_REPEAT_MS / 2);
        // IEC 60601-1-8: 2.5 s at least between two bursts (from memory).
        assert!(silence_ms + CUE_GAP_MS - mark_ms >= 2500, "{name}");
    }
}

#[test]
fn every_two_cues_have_another_melody_and_another_rhythm() {
    let mut pairs = 0;
    for (n, one) in MEASURED.iter().enumerate() {
        for other in &MEASURED[n + 1..] {
            let names = (one.name, other.name);
            let melodies = (contour(&one.tones_hz()), contour(&other.tones_hz()));
            assert_ne!(melodies.0, melodies.1, "{names:?}");
            assert!(other_rhythm(&one.pulses, &other.pulses), "{names:?}");
            pairs += 1;
        }
    }
    assert_eq!(pairs, 45);
}

#[test]
fn melodies_go_where_their_meaning_goes() {
    let goes = |cue| contour(&measured(cue).tones_hz());
    // Changing climbs like the ladder of methods, and "soon" is the beginning of "now".
    assert_eq!(goes(Cue::ChangeNow), [1, 1, 1, 1, -1, 1, 1, 1, 1]);
    assert_eq!(goes(Cue::ChangeNear), [1, 1]);
    assert_eq!(goes(Cue::CheckDue), [1, -1]);
    assert_eq!(goes(Cue::OrderUnanswered), [-1, 0]);
    assert_eq!(goes(Cue::Danger), [-1, 1, 0, -1, 1, -1, 1, 0, -1]);
    assert_eq!(goes(Cue::PastTarget), [0]);
    assert_eq!(goes(Cue::CannotSave), [0, -1]);
    assert_eq!(goes(Cue::OffHarness), [1]);
    // Rescue lost sinks where changing climbs.
    assert_eq!(goes(Cue::RescueLost), [-1, -1, 1, -1, 1, -1, -1, 1, -1]);
    // Somebody gets up.
    assert_eq!(goes(Cue::LetStand), [0, 1, -1, 1, -1, 0, 1, -1, 1]);
}

#[test]
fn danger_is_the_harshest_and_off_the_harness_the_gentlest() {
    let mean = |cue, of: fn(&[i16]) -> f64| {
        let pieces = cut(&measured(cue).samples, &measured(cue).pulses);
        let count = pieces.len() as f64;
        pieces.into_iter().map(of).sum::<f64>() / count
    };
    let rise = |cue| mean(cue, rise_ms);
    let sharpness = |cue| mean(cue, centre_hz);
    let pulses_a_second = |cue| {
        let Measured {
            samples, pulses, ..
        } = measured(cue);
        pulses.len() as f64 * 1000.0 * per_ms() as f64 / samples.len() as f64
    };
    for cue in Cue::ALL {
        if cue != Cue::Danger {
            assert!(sharpness(Cue::Danger) > sharpness(cue), "{cue:?}");
            assert!(
                pulses_a_second(Cue::Danger) > pulses_a_second(cue),
                "{cue:?}"
            );
            assert!(rise(Cue::Danger) < rise(cue), "{cue:?}");
        }
        if cue != Cue::OffHarness {
            assert!(rise(Cue::OffHarness) > rise(cue) + 2.0, "{cue:?}");
        }
    }
}
