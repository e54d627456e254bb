//! Measures sounds: their pulses, spectrum, melody and rhythm, and whether they are like an alarm that people know.
//!
//! All of this works on samples of one channel at 48 kHz and knows nothing of the program that makes the cues. Each
//! measure is tried on sounds made up here, so that one that could not fail would be seen.

use std::f64::consts::TAU;

/// Samples a second in everything that is measured.
pub(crate) const SAMPLE_RATE_HZ: u32 = 48_000;

/// The length of one step of the measured envelope. A tone of 500 Hz peaks once in it.
const BLOCK_MS: usize = 2;

/// A block is sound when it reaches this share of the loudest sample.
const AUDIBLE_SHARE: f64 = 0.1;

/// How near the times of an alarm's pattern a sound may not come.
pub(crate) const LIKENESS: f64 = 0.2;

/// Two tones further apart than this are a step up or down: a quarter of a semitone.
const SAME_TONE: f64 = 1.015;

/// Two rhythms are different when a length in one is longer by this factor than in the other. Lengths of 20 % are
/// told apart with ease (from memory: trained and untrained ears notice 5 to 10 %).
const OTHER_RHYTHM: f64 = 1.25;

/// One pulse of a sound and the silence after it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pulse {
    pub(crate) start_ms: f64,
    pub(crate) on_ms: f64,
    pub(crate) off_ms: f64,
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

pub(crate) fn per_ms() -> usize {
    SAMPLE_RATE_HZ as usize / 1000
}

/// Measures the pulses of a sound that starts again every `repeat_ms`.
pub(crate) fn pulses(samples: &[i16], repeat_ms: f64) -> Vec<Pulse> {
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
    let coefficient = 2.0 * (TAU * frequency_hz / f64::from(SAMPLE_RATE_HZ)).cos();
    let (mut last, mut before) = (0.0, 0.0);
    for sample in samples {
        let next = f64::from(*sample) + coefficient * last - before;
        before = last;
        last = next;
    }
    last * last + before * before - coefficient * last * before
}

/// Returns the share of a sound's energy that lies between two frequencies.
pub(crate) fn share_between(samples: &[i16], low_hz: f64, high_hz: f64) -> f64 {
    let step_hz = f64::from(SAMPLE_RATE_HZ) / samples.len() as f64;
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
pub(crate) fn cut<'a>(samples: &'a [i16], pulses: &[Pulse]) -> Vec<&'a [i16]> {
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

/// Returns the middle 100 ms of a pulse, or all of a shorter one: enough to know its spectrum, and quickly done.
fn middle(pulse: &[i16]) -> &[i16] {
    let loudest = pulse.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0);
    let audible = |s: &i16| f64::from(s.unsigned_abs()) > f64::from(loudest) * AUDIBLE_SHARE;
    let first = pulse.iter().position(audible).unwrap_or(0);
    let last = pulse.iter().rposition(audible).unwrap_or(0);
    let half = 50 * per_ms();
    let centre = (first + last) / 2;
    &pulse[centre.saturating_sub(half)..(centre + half).min(pulse.len())]
}

/// Returns the frequencies of a pulse's tone and harmonics: the peaks within 15 dB of the strongest.
pub(crate) fn partials_hz(pulse: &[i16]) -> Vec<f64> {
    let pulse = middle(pulse);
    // So short a piece is less than 1 dB weaker at half a step from its tone.
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
    let tones: Vec<_> = pairs_ms
        .iter()
        .map(|(on_ms, off_ms)| (frequency_hz, *on_ms, *off_ms))
        .collect();
    melody(&tones)
}

/// Makes up a sound from tones in Hz, each with its length and that of the silence after it in milliseconds.
fn melody(tones: &[(f64, f64, f64)]) -> Vec<i16> {
    let mut samples = Vec::new();
    for (frequency_hz, on_ms, off_ms) in tones {
        for n in 0..(on_ms * per_ms() as f64) as usize {
            let turns = frequency_hz * n as f64 / f64::from(SAMPLE_RATE_HZ);
            samples.push((20_000.0 * (turns * TAU).sin()) as i16);
        }
        samples.resize(samples.len() + (off_ms * per_ms() as f64) as usize, 0);
    }
    samples
}

/// Returns how many pulses follow each other closely: a silence more than twice the shortest one divides them.
pub(crate) fn groups(pulses: &[Pulse]) -> Vec<usize> {
    let shortest = pulses.iter().map(|p| p.off_ms).fold(f64::MAX, f64::min);
    let mut groups = vec![0];
    for pulse in pulses {
        if let Some(last) = groups.last_mut() {
            *last += 1;
        }
        if pulse.off_ms > 2.0 * shortest {
            groups.push(0);
        }
    }
    groups.retain(|size| *size > 0);
    groups
}

/// Returns where the melody goes from pulse to pulse: 1 up, 0 the same, -1 down.
pub(crate) fn contour(tones_hz: &[f64]) -> Vec<i32> {
    tones_hz
        .windows(2)
        .map(|pair| match pair[1] / pair[0] {
            up if up > SAME_TONE => 1,
            down if down < 1.0 / SAME_TONE => -1,
            _ => 0,
        })
        .collect()
}

/// Says whether a rhythm is another than one: more or fewer pulses, or one length that is clearly longer or shorter.
/// Lengths are those of the pulses, and from the start of one to the start of the next.
pub(crate) fn other_rhythm(one: &[Pulse], other: &[Pulse]) -> bool {
    let lengths = |pulses: &[Pulse]| -> Vec<f64> {
        let starts = pulses.windows(2).map(|p| p[1].start_ms - p[0].start_ms);
        pulses.iter().map(|p| p.on_ms).chain(starts).collect()
    };
    let (one, other) = (lengths(one), lengths(other));
    one.len() != other.len()
        || one
            .iter()
            .zip(&other)
            .any(|(a, b)| a.max(*b) / a.min(*b) >= OTHER_RHYTHM)
}

/// Returns how long a pulse takes from a tenth to nine tenths of its strength.
pub(crate) fn rise_ms(pulse: &[i16]) -> f64 {
    let peaks: Vec<u16> = pulse
        .chunks(per_ms() * BLOCK_MS)
        .map(|block| block.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0))
        .collect();
    let loudest = f64::from(peaks.iter().copied().max().unwrap_or(0));
    let reaches = |share: f64| {
        let at = peaks.iter().position(|p| f64::from(*p) >= loudest * share);
        at.expect("the loudest block reaches every share") as f64
    };
    (reaches(0.9) - reaches(0.1)) * BLOCK_MS as f64
}

/// Returns the middle of a pulse's energy between 100 and 4,400 Hz: the higher, the sharper it sounds.
pub(crate) fn centre_hz(pulse: &[i16]) -> f64 {
    let pulse = middle(pulse);
    let step_hz = 4.0;
    let (mut energy, mut weighted) = (0.0, 0.0);
    for n in 25..=1100 {
        let frequency_hz = f64::from(n) * step_hz;
        let here = energy_at(pulse, frequency_hz);
        energy += here;
        weighted += here * frequency_hz;
    }
    weighted / energy
}

/// Returns the name of the alarm that a repeated sound is like, if it is like one.
pub(crate) fn alarm_in(pulses: &[Pulse]) -> Option<&'static str> {
    alarms()
        .into_iter()
        .find(|(_, pattern)| sounds_like(pulses, pattern))
        .map(|(name, _)| name)
}

/// Says whether a sound is the evacuation signal at any other speed: three alike, each as long as the silence after it.
pub(crate) fn is_a_hasty_evacuation(pulses: &[Pulse]) -> bool {
    pulses.iter().any(|pulse| {
        let beat = Some(pulse.on_ms);
        let alike = asked(pulse.on_ms, beat);
        let last = Asked {
            off_ms: None,
            ..alike
        };
        sounds_like(pulses, &[alike, alike, last])
    })
}

#[test]
fn the_measures_know_an_alarm_when_they_hear_it() {
    let alarm_at = |sound: &[i16], repeat_ms: f64| alarm_in(&pulses(sound, repeat_ms));
    for scale in [0.85, 1.0, 1.15] {
        let evacuation = [(500.0, 500.0), (500.0, 500.0), (500.0, 1500.0)]
            .map(|(on, off): (f64, f64)| (on * scale, off * scale));
        let sound = made_up(&evacuation, 520.0);
        assert_eq!(alarm_at(&sound, 4000.0 * scale), Some("evacuation signal"));

        let bell = [(300.0, 700.0), (300.0, 700.0), (300.0, 2700.0)]
            .map(|(on, off): (f64, f64)| (on * scale, off * scale));
        let sound = made_up(&bell, 1500.0);
        assert_eq!(alarm_at(&sound, 5000.0 * scale), Some("evacuation bell"));

        let air = [
            (100.0, 100.0),
            (100.0, 100.0),
            (100.0, 100.0),
            (100.0, 5000.0),
        ]
        .map(|(on, off): (f64, f64)| (on * scale, off * scale));
        let sound = made_up(&air, 3100.0);
        assert_eq!(alarm_at(&sound, 5700.0 * scale), Some("CO alarm"));
        assert_eq!(groups(&pulses(&sound, 5700.0 * scale)), [4]);
    }
    let plain = made_up(&[(200.0, 200.0), (200.0, 200.0), (200.0, 2000.0)], 700.0);
    assert_eq!(alarm_at(&plain, 3000.0), None);
    assert!(is_a_hasty_evacuation(&pulses(&plain, 3000.0)));
    let uneven = made_up(&[(200.0, 120.0), (200.0, 120.0), (200.0, 2000.0)], 700.0);
    assert!(!is_a_hasty_evacuation(&pulses(&uneven, 3000.0)));
}

#[test]
fn the_measures_do_not_tell_a_cue_from_itself() {
    let tune = [
        (440.0, 140.0, 90.0),
        (616.0, 240.0, 90.0),
        (440.0, 140.0, 0.0),
    ];
    // Higher and slower it is still the same cue; a small loudspeaker far away does no more to it.
    let changed = tune.map(|(hz, on, off)| (hz * 1.12, on * 1.1, off * 1.1));
    let longer = [tune[0], tune[1], (440.0, 200.0, 0.0)];
    let measure = |tones: &[(f64, f64, f64)]| {
        let samples = melody(tones);
        let pulses = pulses(&samples, 5000.0);
        let pieces = cut(&samples, &pulses);
        let tones_hz: Vec<f64> = pieces.iter().map(|piece| partials_hz(piece)[0]).collect();
        (contour(&tones_hz), pulses)
    };
    let (goes, beats) = measure(&tune);
    assert_eq!(goes, [1, -1]);
    let (still, slower) = measure(&changed);
    assert_eq!(still, goes);
    assert!(!other_rhythm(&beats, &slower));
    assert!(other_rhythm(&beats, &measure(&longer).1));
    assert!(other_rhythm(&beats, &measure(&tune[..2]).1));
    assert_eq!(contour(&[500.0, 500.0, 700.0, 690.0]), [0, 1, 0]);
}

#[test]
fn the_measures_know_harsh_from_gentle() {
    let sharp = made_up(&[(200.0, 0.0)], 2000.0);
    let dull = made_up(&[(200.0, 0.0)], 500.0);
    assert!((centre_hz(&sharp) - 2000.0).abs() < 40.0);
    assert!((centre_hz(&dull) - 500.0).abs() < 40.0);
    let swelling: Vec<i16> = dull
        .iter()
        .enumerate()
        .map(|(n, sample)| {
            let strength = (n as f64 / (per_ms() * 50) as f64).min(1.0);
            (f64::from(*sample) * strength) as i16
        })
        .collect();
    assert!((rise_ms(&swelling) - 40.0).abs() <= 4.0);
    assert!(rise_ms(&dull) <= 2.0);
}

#[test]
fn the_measures_know_where_a_tone_is() {
    let inside = made_up(&[(200.0, 50.0)], 1000.0);
    let outside = made_up(&[(200.0, 50.0)], 3100.0);
    assert!(share_between(&inside, 500.0, 2500.0) > 0.99);
    assert!(share_between(&outside, 500.0, 2500.0) < 0.01);
    assert_eq!(partials_hz(&inside), [1000.0]);
}
