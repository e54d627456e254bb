//! Makes the cue files beside this program, so that nobody has to trust a recording of unknown origin.
//!
//! `cargo run --example cues` writes them again. A sine is a polynomial here, and all arithmetic is adding,
//! multiplying, dividing and rounding, which every machine does alike: the files come out the same bit for bit, and a
//! test holds the committed ones against this program. The shapes follow what is known about urgent sounds
//! (IEC 60601-1-8, ISO 7731): short pulses of one tone with its harmonics, most of the energy in 500 to 2,500 Hz.

use std::path::Path;

/// Samples a second in every file.
pub(crate) const SAMPLE_RATE_HZ: u32 = 48_000;

/// The loudest sample: a little below the end of the scale, so that a resampler on the way does not clip.
const PEAK: f64 = 29_000.0;

/// Pulses fade in and out this long, because a hard edge clicks and spreads energy over all frequencies.
const RAMP_MS: u32 = 12;

/// How strong the tone and its harmonics are. With a tone near 550 Hz the first four lie in the band of 500 to
/// 2,500 Hz, and the fifth, just above it, stays small.
const HARMONICS: [f64; 5] = [1.0, 0.85, 0.7, 0.5, 0.25];

/// One stretch of a cue: a tone, or silence when it has no frequency.
struct Stretch {
    /// The frequency of the tone in Hz, 0 for silence.
    tone_hz: f64,
    /// How long it lasts.
    duration_ms: u32,
}

const fn tone(tone_hz: f64, duration_ms: u32) -> Stretch {
    Stretch {
        tone_hz,
        duration_ms,
    }
}

const fn rest(duration_ms: u32) -> Stretch {
    tone(0.0, duration_ms)
}

/// "Change the method now": three pulses, then two higher ones. It climbs, like the ladder of methods.
const CHANGE_NOW: [Stretch; 9] = [
    tone(524.0, 150),
    rest(135),
    tone(524.0, 150),
    rest(135),
    tone(524.0, 150),
    rest(330),
    tone(600.0, 150),
    rest(135),
    tone(600.0, 150),
];

/// "Nobody has confirmed the emergency call": a short high pulse and a longer low one, twice. It sinks, so that it is
/// told from the other cue by ear alone.
const CALL_UNCONFIRMED: [Stretch; 7] = [
    tone(606.0, 135),
    rest(65),
    tone(516.0, 245),
    rest(360),
    tone(606.0, 135),
    rest(65),
    tone(516.0, 245),
];

/// Returns the file name and the bytes of every cue.
pub(crate) fn cues() -> [(&'static str, Vec<u8>); 2] {
    [
        ("change-now.wav", wav(&samples(&CHANGE_NOW))),
        ("call-unconfirmed.wav", wav(&samples(&CALL_UNCONFIRMED))),
    ]
}

/// Returns the sine of a full turn times `turns`, by its series up to the 15th power on a quarter turn either way.
fn sine(turns: f64) -> f64 {
    let wrapped = turns - (turns + 0.5).floor();
    let folded = if wrapped > 0.25 {
        0.5 - wrapped
    } else if wrapped < -0.25 {
        -0.5 - wrapped
    } else {
        wrapped
    };
    let x = folded * std::f64::consts::TAU;
    let mut term = x;
    let mut sum = x;
    for power in (3..=15).step_by(2) {
        let n = f64::from(power);
        term = -term * x * x / (n * (n - 1.0));
        sum += term;
    }
    sum
}

/// Returns the strength of a pulse at one sample: it swells and fades along half a sine, and stands at 1 in between.
fn envelope(index: u32, count: u32) -> f64 {
    let ramp = SAMPLE_RATE_HZ / 1000 * RAMP_MS;
    let from_edge = index.min(count - 1 - index);
    if from_edge >= ramp {
        return 1.0;
    }
    let way = f64::from(from_edge) / f64::from(ramp);
    0.5 - 0.5 * sine(0.25 + 0.5 * way)
}

/// Draws a cue and scales it so that its loudest sample is `PEAK`.
fn samples(stretches: &[Stretch]) -> Vec<i16> {
    let mut drawn: Vec<f64> = Vec::new();
    for stretch in stretches {
        let count = SAMPLE_RATE_HZ / 1000 * stretch.duration_ms;
        for index in 0..count {
            if stretch.tone_hz == 0.0 {
                drawn.push(0.0);
                continue;
            }
            let turns = stretch.tone_hz * f64::from(index) / f64::from(SAMPLE_RATE_HZ);
            let mut sum = 0.0;
            let mut number = 1.0;
            for strength in HARMONICS {
                // Shifted against each other the harmonics do not peak together, so the same peak is louder.
                let shift = number * (number - 1.0) / (2.0 * HARMONICS.len() as f64);
                sum += strength * sine(number * turns - shift);
                number += 1.0;
            }
            drawn.push(sum * envelope(index, count));
        }
    }
    let loudest = drawn
        .iter()
        .fold(1e-9_f64, |most, value| most.max(value.abs()));
    drawn
        .iter()
        .map(|value| (value * (PEAK / loudest)).round() as i16)
        .collect()
}

/// Wraps samples into the bytes of a WAV file: one channel, 16 bits.
fn wav(samples: &[i16]) -> Vec<u8> {
    let data_len = samples.len() as u32 * 2;
    let mut bytes = Vec::with_capacity(44 + samples.len() * 2);
    bytes.extend_from_slice(b"RIFF");
    bytes.extend_from_slice(&(36 + data_len).to_le_bytes());
    bytes.extend_from_slice(b"WAVEfmt ");
    bytes.extend_from_slice(&16_u32.to_le_bytes());
    bytes.extend_from_slice(&1_u16.to_le_bytes()); // The samples are plain numbers.
    bytes.extend_from_slice(&1_u16.to_le_bytes()); // There is one channel.
    bytes.extend_from_slice(&SAMPLE_RATE_HZ.to_le_bytes());
    bytes.extend_from_slice(&(SAMPLE_RATE_HZ * 2).to_le_bytes());
    bytes.extend_from_slice(&2_u16.to_le_bytes());
    bytes.extend_from_slice(&16_u16.to_le_bytes());
    bytes.extend_from_slice(b"data");
    bytes.extend_from_slice(&data_len.to_le_bytes());
    for sample in samples {
        bytes.extend_from_slice(&sample.to_le_bytes());
    }
    bytes
}

fn main() -> std::io::Result<()> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sounds");
    for (name, bytes) in cues() {
        std::fs::write(folder.join(name), bytes)?;
        println!("sounds/{name}");
    }
    Ok(())
}
