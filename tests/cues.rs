//! Checks the cue files: made by the program beside them, loud where ears in noise are good, unlike the two alarms.
//!
//! All is measured in the committed files and not read from the program that made them: pulses from the envelope, the
//! spectrum by a discrete Fourier transform of this file's own. The measures are tried on alarms made up here first,
//! so that a check that could not fail would be seen.

#[allow(dead_code)] // Its `main` writes the files; here its bytes are only compared.
#[path = "../sounds/make.rs"]
mod make;

use std::f64::consts::TAU;
use std::path::Path;

/// The length of one step of the measured envelope. A tone of 500 Hz peaks once in it.
const BLOCK_MS: usize = 2;

/// A block is sound when it reaches this share of the loudest sample.
const AUDIBLE_SHARE: f64 = 0.1;

/// How near the times of an alarm's pattern a sound may not come.
const LIKENESS: f64 = 0.2;

/// One pulse of a sound and the silence after it.
#[derive(Clone, Copy, Debug)]
struct Pulse {
    start_ms: f64,
    on_ms: f64,
    off_ms: f64,
}

/// What a pulse of a pattern asks of a pulse; `None` is anything.
#[derive(Clone, Copy, Default)]
struct Asked {
    on_ms: Option<f64>,
    off_ms: Option<f64>,
    /// From this pulse's start to the start of the next.
    interval_ms: Option<f64>,
}

fn asked(on_ms: f64, off_ms: Option<f64>) -> Asked {
    Asked {
        on_ms: Some(on_ms),
        off_ms,
        interval_ms: None,
    }
}

/// The patterns that people know as "leave the building" and "bad air". The pause at a pattern's end is left open, so
/// that a run of such pulses counts whatever the cycle is.
fn alarms() -> Vec<(&'static str, Vec<Asked>)> {
    let stroke = Asked {
        interval_ms: Some(1000.0),
        ..Asked::default()
    };
    vec![
        // ISO 8201: three pulses of 0.5 s, 0.5 s apart, then 1.5 s off.
        (
            "evacuation signal",
            vec![
                asked(500.0, Some(500.0)),
                asked(500.0, Some(500.0)),
                asked(500.0, None),
            ],
        ),
        // ISO 8201, bell form: three strokes, one a second, then 2 s off. How long a stroke rings is not given.
        ("evacuation bell", vec![stroke, stroke, Asked::default()]),
        // NFPA 72, temporal-four: four pulses of 100 ms, then 5 s off. The gap between them is left open.
        ("CO alarm", vec![asked(100.0, None); 4]),
    ]
}

/// Returns the committed files with their names, as samples of one channel at 48 kHz.
fn committed() -> Vec<(&'static str, Vec<i16>)> {
    make::cues()
        .iter()
        .map(|(name, _)| (*name, read_wav(name, &committed_bytes(name))))
        .collect()
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
    assert_eq!(number(24, 4), make::SAMPLE_RATE_HZ as usize, "{name}: rate");
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

fn per_ms() -> usize {
    make::SAMPLE_RATE_HZ as usize / 1000
}

/// Measures the pulses of a sound that starts again every `repeat_ms`.
fn pulses(samples: &[i16], repeat_ms: f64) -> Vec<Pulse> {
    let loudest = samples.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0);
    let threshold = f64::from(loudest) * AUDIBLE_SHARE;
    let mut edges: Vec<(f64, f64)> = Vec::new();
    let mut sounding = false;
    for (number, block) in samples.chunks(per_ms() * BLOCK_MS).enumerate() {
        let peak = block.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0);
        let at_ms = (number * BLOCK_MS) as f64;
        let audible = f64::from(peak) > threshold;
        if audible && !sounding {
            edges.push((at_ms, at_ms));
        }
        if audible && let Some(last) = edges.last_mut() {
            last.1 = at_ms + BLOCK_MS as f64;
        }
        sounding = audible;
    }
    let first_ms = edges.first().map_or(0.0, |edge| edge.0);
    (0..edges.len())
        .map(|n| Pulse {
            start_ms: edges[n].0,
            on_ms: edges[n].1 - edges[n].0,
            off_ms: edges.get(n + 1).map_or(repeat_ms + first_ms, |next| next.0) - edges[n].1,
        })
        .collect()
}

/// Says whether a pattern's pulses follow each other anywhere in a repeated sound.
fn sounds_like(pulses: &[Pulse], pattern: &[Asked]) -> bool {
    let near = |wanted: Option<f64>, measured: f64| {
        wanted.is_none_or(|wanted| (measured - wanted).abs() <= wanted * LIKENESS)
    };
    (0..pulses.len()).any(|first| {
        pattern.iter().enumerate().all(|(n, asked)| {
            let pulse = pulses[(first + n) % pulses.len()];
            near(asked.on_ms, pulse.on_ms)
                && near(asked.off_ms, pulse.off_ms)
                && near(asked.interval_ms, pulse.on_ms + pulse.off_ms)
        })
    })
}

/// Returns the energy of samples at one frequency, as the square of the transform's absolute value.
fn energy_at(samples: &[i16], frequency_hz: f64) -> f64 {
    // Goertzel's recurrence: one multiplication a sample.
    let coefficient = 2.0 * (TAU * frequency_hz / f64::from(make::SAMPLE_RATE_HZ)).cos();
    let (mut last, mut before) = (0.0, 0.0);
    for sample in samples {
        let next = f64::from(*sample) + coefficient * last - before;
        before = last;
        last = next;
    }
    last * last + before * before - coefficient * last * before
}

/// Returns the share of a sound's energy that lies between two frequencies.
fn share_between(samples: &[i16], low_hz: f64, high_hz: f64) -> f64 {
    let step_hz = f64::from(make::SAMPLE_RATE_HZ) / samples.len() as f64;
    let total: f64 = samples.iter().map(|s| f64::from(*s).powi(2)).sum();
    let first = (low_hz / step_hz).ceil() as usize;
    let last = (high_hz / step_hz).floor() as usize;
    let inside: f64 = (first..=last)
        .map(|bin| energy_at(samples, bin as f64 * step_hz))
        .sum();
    // By Parseval's theorem, each bin below the middle standing for its mirror image too.
    2.0 * inside / samples.len() as f64 / total
}

/// Cuts a sound into one piece for each pulse, the silence around it included, so that no energy is lost.
fn cut<'a>(samples: &'a [i16], pulses: &[Pulse]) -> Vec<&'a [i16]> {
    let cut_at = |n: usize| match pulses.get(n) {
        Some(_) if n == 0 => 0,
        Some(pulse) => {
            let gap_ms = pulses[n - 1].off_ms;
            (pulse.start_ms - gap_ms / 2.0) as usize * per_ms()
        }
        None => samples.len(),
    };
    (0..pulses.len())
        .map(|n| &samples[cut_at(n)..cut_at(n + 1)])
        .collect()
}

/// Returns the frequencies of a pulse's tone and harmonics: the peaks within 15 dB of the strongest.
fn partials_hz(pulse: &[i16]) -> Vec<f64> {
    let step_hz = 4.0;
    let spectrum: Vec<f64> = (1..=1100)
        .map(|n| energy_at(pulse, f64::from(n) * step_hz))
        .collect();
    let strongest = spectrum.iter().copied().fold(0.0, f64::max);
    let floor = strongest / 10_f64.powf(1.5);
    (1..spectrum.len() - 1)
        .filter(|n| {
            let around = &spectrum[n.saturating_sub(8)..(n + 9).min(spectrum.len())];
            spectrum[*n] >= floor && around.iter().all(|other| *other <= spectrum[*n])
        })
        .map(|n| (n + 1) as f64 * step_hz)
        .collect()
}

/// Makes up a sound from pairs of tone and silence.
fn made_up(pairs_ms: &[(f64, f64)], frequency_hz: f64) -> Vec<i16> {
    let mut samples = Vec::new();
    for (on_ms, off_ms) in pairs_ms {
        for n in 0..(on_ms * per_ms() as f64) as usize {
            let turns = frequency_hz * n as f64 / f64::from(make::SAMPLE_RATE_HZ);
            samples.push((20_000.0 * (turns * TAU).sin()) as i16);
        }
        samples.resize(samples.len() + (off_ms * per_ms() as f64) as usize, 0);
    }
    samples
}

/// Returns the name of the alarm that a repeated sound is like, if it is like one.
fn alarm_in(samples: &[i16], repeat_ms: f64) -> Option<&'static str> {
    let pulses = pulses(samples, repeat_ms);
    alarms()
        .into_iter()
        .find(|(_, pattern)| sounds_like(&pulses, pattern))
        .map(|(name, _)| name)
}

#[test]
fn the_measures_know_an_alarm_when_they_hear_it() {
    for scale in [0.85, 1.0, 1.15] {
        let evacuation = [(500.0, 500.0), (500.0, 500.0), (500.0, 1500.0)]
            .map(|(on, off): (f64, f64)| (on * scale, off * scale));
        let sound = made_up(&evacuation, 520.0);
        assert_eq!(alarm_in(&sound, 4000.0 * scale), Some("evacuation signal"));

        let bell = [(300.0, 700.0), (300.0, 700.0), (300.0, 2700.0)]
            .map(|(on, off): (f64, f64)| (on * scale, off * scale));
        let sound = made_up(&bell, 1500.0);
        assert_eq!(alarm_in(&sound, 5000.0 * scale), Some("evacuation bell"));

        let air = [
            (100.0, 100.0),
            (100.0, 100.0),
            (100.0, 100.0),
            (100.0, 5000.0),
        ]
        .map(|(on, off): (f64, f64)| (on * scale, off * scale));
        let sound = made_up(&air, 3100.0);
        assert_eq!(alarm_in(&sound, 5700.0 * scale), Some("CO alarm"));
    }
    let plain = made_up(&[(200.0, 200.0), (200.0, 200.0), (200.0, 2000.0)], 700.0);
    assert_eq!(alarm_in(&plain, 3000.0), None);
}

#[test]
fn the_measures_know_where_a_tone_is() {
    let inside = made_up(&[(200.0, 50.0)], 1000.0);
    let outside = made_up(&[(200.0, 50.0)], 3100.0);
    assert!(share_between(&inside, 500.0, 2500.0) > 0.99);
    assert!(share_between(&outside, 500.0, 2500.0) < 0.01);
    assert_eq!(partials_hz(&inside), [1000.0]);
}

#[test]
fn the_committed_files_are_what_the_program_makes() {
    for (name, made) in make::cues() {
        assert!(
            committed_bytes(name) == made,
            "sounds/{name} is not what sounds/make.rs makes: run `cargo run --example cues`"
        );
    }
}

#[test]
fn every_cue_is_short_enough_to_end_before_it_starts_again() {
    for (name, samples) in committed() {
        let length_ms = samples.len() / per_ms();
        assert!(length_ms <= 2500, "{name}: {length_ms} ms");
        assert!(
            (length_ms as u64) < groundward::sound::CUE_REPEAT_MS,
            "{name}"
        );
    }
}

#[test]
fn no_cue_clips_and_none_is_faint() {
    for (name, samples) in committed() {
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
    for (name, samples) in committed() {
        let pieces = cut(&samples, &pulses(&samples, 5000.0));
        assert_eq!(pieces.iter().map(|p| p.len()).sum::<usize>(), samples.len());
        for piece in pieces {
            let share = share_between(piece, 500.0, 2500.0);
            assert!(share >= 0.9, "{name}: {share:.3}");
        }
    }
}

#[test]
fn pulses_and_harmonics_are_those_of_an_urgent_signal() {
    // IEC 60601-1-8: pulses of 75 to 250 ms (high and medium urgency together); a fundamental of 150 to 1,000 Hz with
    // at least four harmonics between 300 and 4,000 Hz within 15 dB.
    for (name, samples) in committed() {
        let pulses = pulses(&samples, 5000.0);
        for (pulse, piece) in pulses.iter().zip(cut(&samples, &pulses)) {
            assert!((75.0..=250.0).contains(&pulse.on_ms), "{name}: {pulse:?}");
            let partials = partials_hz(piece);
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
    for (name, samples) in committed() {
        let repeat_ms = groundward::sound::CUE_REPEAT_MS as f64;
        assert_eq!(alarm_in(&samples, repeat_ms), None, "{name}");
        for pulse in pulses(&samples, repeat_ms) {
            // Not a single pulse is as long as one of ISO 8201 (500 ms) or of NFPA 72's CO alarm (100 ms).
            for alarm_ms in [500.0, 100.0] {
                let far = (pulse.on_ms - alarm_ms).abs() > alarm_ms * LIKENESS;
                assert!(far, "{name}: {pulse:?}");
            }
        }
    }
}

#[test]
fn cues_are_told_apart_by_their_rhythm_and_by_where_the_tone_goes() {
    let [change, call] = ["change-now.wav", "call-unconfirmed.wav"].map(|wanted| {
        let (_, samples) = committed()
            .into_iter()
            .find(|(name, _)| *name == wanted)
            .expect("both cues are made");
        let pulses = pulses(&samples, 5000.0);
        let pieces = cut(&samples, &pulses);
        let first_hz = partials_hz(pieces[0])[0];
        let last_hz = partials_hz(pieces[pieces.len() - 1])[0];
        (pulses.len(), last_hz - first_hz)
    });
    assert_ne!(change.0, call.0, "the number of pulses");
    assert!(change.1 > 50.0, "changing climbs: {change:?}");
    assert!(call.1 < -50.0, "calling sinks: {call:?}");
}
