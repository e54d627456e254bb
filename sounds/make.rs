//! Makes the cue files beside this program, so that nobody has to trust a recording of unknown origin.
//!
//! `cargo run --example cues` writes them again. A sine is a polynomial here, and all arithmetic is adding,
//! multiplying, dividing and rounding, which every machine does alike: the files come out the same bit for bit, and a
//! test holds the committed ones against this program. The shapes follow what is known about urgent sounds
//! (IEC 60601-1-8, ISO 7731): ten pulses as 3-2 3-2 when it is most urgent, three when it is less so, two when it only
//! informs; each pulse one tone with its harmonics, most of the energy in 500 to 2,500 Hz. The melodies and rhythms
//! are this project's own, and no two cues share either. The mark of a drill is no tone at all: two knocks on wood.

use std::path::Path;

/// Samples a second in every file.
const SAMPLE_RATE_HZ: u32 = 48_000;

/// The loudest sample: a little below the end of the scale, so that a resampler on the way does not clip.
const PEAK: f64 = 29_000.0;

/// Where ears in noise are good, without its edges, because a short pulse spreads a little around its harmonics:
/// inside, a harmonic is as strong as the timbre makes it.
const BAND_HZ: std::ops::RangeInclusive<f64> = 515.0..=2_450.0;

/// How strong a harmonic outside the band is. This is 11.4 dB below the strongest one: little energy, and still one of
/// those that count as the sound's own.
const OUTSIDE_BAND: f64 = 0.27;

/// No harmonic is drawn above this frequency.
const HIGHEST_HZ: f64 = 4_000.0;

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

/// How the pulses of a cue are coloured.
struct Timbre {
    /// Pulses fade in and out this long: a hard edge clicks and spreads energy over all frequencies, a soft one is
    /// gentle.
    ramp_ms: u32,
    /// What each harmonic inside the band keeps of the strength of the one before it.
    keeps: f64,
    /// How many harmonics there are at most, the tone itself among them.
    harmonics_max: u32,
}

/// Every harmonic at full strength and a steep edge.
const HARSH: Timbre = Timbre {
    ramp_ms: 6,
    keeps: 1.0,
    harmonics_max: 8,
};

const CLEAR: Timbre = Timbre {
    ramp_ms: 12,
    keeps: 0.75,
    harmonics_max: 5,
};

/// It swells instead of starting.
const SOFT: Timbre = Timbre {
    ramp_ms: 30,
    keeps: 0.65,
    harmonics_max: 5,
};

/// "Change the method now": each half climbs five steps, like the ladder of methods, and the last pulse of a group is
/// held.
const CHANGE_NOW: [Stretch; 19] = [
    tone(400.0, 132),
    rest(55),
    tone(457.0, 132),
    rest(55),
    tone(522.0, 180),
    rest(150),
    tone(597.0, 132),
    rest(55),
    tone(682.0, 180),
    rest(356),
    tone(400.0, 132),
    rest(55),
    tone(457.0, 132),
    rest(55),
    tone(522.0, 180),
    rest(150),
    tone(597.0, 132),
    rest(55),
    tone(682.0, 180),
];

/// "The time to change is near": the first three steps of the same climb, at a walking pace.
const CHANGE_NEAR: [Stretch; 5] = [
    tone(400.0, 200),
    rest(120),
    tone(457.0, 200),
    rest(120),
    tone(522.0, 200),
];

/// "Look at the casualty again": up and back down, the upper tone held, like a question.
const CHECK_DUE: [Stretch; 5] = [
    tone(440.0, 140),
    rest(90),
    tone(616.0, 245),
    rest(90),
    tone(440.0, 140),
];

/// "Nobody has answered an order": a call of two tones that sinks, and its second tone once more after a wait.
const ORDER_UNANSWERED: [Stretch; 5] = [
    tone(660.0, 140),
    rest(60),
    tone(480.0, 240),
    rest(340),
    tone(480.0, 240),
];

/// "Danger": leaps between two far tones as fast as pulses may follow each other.
const DANGER: [Stretch; 19] = [
    tone(728.0, 130),
    rest(50),
    tone(520.0, 130),
    rest(50),
    tone(728.0, 130),
    rest(150),
    tone(728.0, 130),
    rest(50),
    tone(520.0, 130),
    rest(360),
    tone(728.0, 130),
    rest(50),
    tone(520.0, 130),
    rest(50),
    tone(728.0, 130),
    rest(150),
    tone(728.0, 130),
    rest(50),
    tone(520.0, 130),
];

/// "Past the target, keep going": the same tone twice, unhurried.
const PAST_TARGET: [Stretch; 3] = [tone(430.0, 240), rest(300), tone(430.0, 240)];

/// "This cannot be saved": two knocks on one tone, then a drop.
const CANNOT_SAVE: [Stretch; 5] = [
    tone(580.0, 145),
    rest(250),
    tone(580.0, 145),
    rest(80),
    tone(387.0, 245),
];

/// "Off the harness": one friendly leap upwards.
const OFF_HARNESS: [Stretch; 3] = [tone(420.0, 170), rest(70), tone(630.0, 245)];

/// "Nobody could rescue them any more": it sinks two steps and then drops them at once, the first pulse of each group
/// held, the other way round than changing climbs.
const RESCUE_LOST: [Stretch; 19] = [
    tone(650.0, 182),
    rest(52),
    tone(546.0, 132),
    rest(52),
    tone(459.0, 132),
    rest(150),
    tone(650.0, 182),
    rest(52),
    tone(459.0, 132),
    rest(360),
    tone(650.0, 182),
    rest(52),
    tone(546.0, 132),
    rest(52),
    tone(459.0, 132),
    rest(150),
    tone(650.0, 182),
    rest(52),
    tone(459.0, 132),
];

/// "Let them stand now", in a drill: a low tone that gets up, twice in each half.
const LET_STAND: [Stretch; 19] = [
    tone(470.0, 132),
    rest(54),
    tone(470.0, 180),
    rest(54),
    tone(618.0, 132),
    rest(150),
    tone(470.0, 180),
    rest(54),
    tone(618.0, 132),
    rest(358),
    tone(470.0, 132),
    rest(54),
    tone(470.0, 180),
    rest(54),
    tone(618.0, 132),
    rest(150),
    tone(470.0, 180),
    rest(54),
    tone(618.0, 132),
];

/// The silence between a cue of a drill and its mark.
const BEFORE_MARK_MS: u32 = 70;

/// From the start of one knock of the mark to that of the next, and how long one is drawn.
const KNOCKS_MS: [u32; 2] = [140, 90];

/// The partials of a knock, in Hz, each with its strength and with what it keeps of that from one sample to the next.
/// A bar of wood that lies free has its second partial at 2.756 times its first (from memory, and near enough here);
/// wood swallows a sound within hundredths of a second, its higher partials first.
const KNOCK: [(f64, f64, f64); 2] = [(780.0, 1.0, 0.9988), (2_150.0, 0.8, 0.9975)];

/// A knock begins within this: as hard as it may without a click above the band.
const KNOCK_RISE_MS: u32 = 3;

/// Returns the file name and the bytes of the mark that is heard after each cue in a drill.
pub(crate) fn mark() -> (&'static str, Vec<u8>) {
    let silence = (SAMPLE_RATE_HZ / 1000 * BEFORE_MARK_MS) as usize;
    let mut drawn = vec![0.0; silence];
    for length_ms in KNOCKS_MS {
        drawn.extend(knock(SAMPLE_RATE_HZ / 1000 * length_ms));
    }
    ("drill-mark.wav", wav(&scaled(&drawn)))
}

/// Draws so many samples of a knock; what is left of it at the end fades out.
fn knock(count: u32) -> Vec<f64> {
    let rise = SAMPLE_RATE_HZ / 1000 * KNOCK_RISE_MS;
    let mut strengths = KNOCK.map(|(_, strength, _)| strength);
    let mut drawn = Vec::new();
    for index in 0..count {
        let mut sum = 0.0;
        for ((partial_hz, _, keeps), strength) in KNOCK.iter().zip(&mut strengths) {
            sum += *strength * sine(partial_hz * f64::from(index) / f64::from(SAMPLE_RATE_HZ));
            *strength *= keeps;
        }
        let edge = index.min(count - 1 - index).min(rise);
        drawn.push(sum * f64::from(edge) / f64::from(rise));
    }
    drawn
}

/// Returns the file name and the bytes of every cue, in the order of `Cue::ALL`.
pub(crate) fn cues() -> [(&'static str, Vec<u8>); 10] {
    let cue = |stretches: &[Stretch], timbre: &Timbre| wav(&samples(stretches, timbre));
    [
        ("change-now.wav", cue(&CHANGE_NOW, &CLEAR)),
        ("change-near.wav", cue(&CHANGE_NEAR, &CLEAR)),
        ("check-due.wav", cue(&CHECK_DUE, &CLEAR)),
        ("order-unanswered.wav", cue(&ORDER_UNANSWERED, &CLEAR)),
        ("danger.wav", cue(&DANGER, &HARSH)),
        ("past-target.wav", cue(&PAST_TARGET, &CLEAR)),
        ("cannot-save.wav", cue(&CANNOT_SAVE, &CLEAR)),
        ("off-harness.wav", cue(&OFF_HARNESS, &SOFT)),
        ("rescue-lost.wav", cue(&RESCUE_LOST, &CLEAR)),
        ("let-stand.wav", cue(&LET_STAND, &CLEAR)),
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
fn envelope(index: u32, count: u32, ramp_ms: u32) -> f64 {
    let ramp = SAMPLE_RATE_HZ / 1000 * ramp_ms;
    let from_edge = index.min(count - 1 - index);
    if from_edge >= ramp {
        return 1.0;
    }
    let way = f64::from(from_edge) / f64::from(ramp);
    0.5 - 0.5 * sine(0.25 + 0.5 * way)
}

/// Returns how strong each harmonic of a tone is, the tone itself first.
fn strengths(tone_hz: f64, timbre: &Timbre) -> Vec<f64> {
    let mut strengths = Vec::new();
    let mut inside = 1.0;
    for number in 1..=timbre.harmonics_max {
        let harmonic_hz = tone_hz * f64::from(number);
        if harmonic_hz > HIGHEST_HZ {
            break;
        }
        if BAND_HZ.contains(&harmonic_hz) {
            strengths.push(inside);
            inside *= timbre.keeps;
        } else {
            strengths.push(OUTSIDE_BAND);
        }
    }
    strengths
}

/// Draws a cue.
fn samples(stretches: &[Stretch], timbre: &Timbre) -> Vec<i16> {
    let mut drawn: Vec<f64> = Vec::new();
    for stretch in stretches {
        let count = SAMPLE_RATE_HZ / 1000 * stretch.duration_ms;
        let strengths = strengths(stretch.tone_hz, timbre);
        for index in 0..count {
            if stretch.tone_hz == 0.0 {
                drawn.push(0.0);
                continue;
            }
            let turns = stretch.tone_hz * f64::from(index) / f64::from(SAMPLE_RATE_HZ);
            let mut sum = 0.0;
            let mut number = 1.0;
            for strength in &strengths {
                // Shifted against each other the harmonics do not peak together, so the same peak is louder.
                let shift = number * (number - 1.0) / (2.0 * strengths.len() as f64);
                sum += strength * sine(number * turns - shift);
                number += 1.0;
            }
            drawn.push(sum * envelope(index, count, timbre.ramp_ms));
        }
    }
    scaled(&drawn)
}

/// Scales what was drawn so that its loudest sample is `PEAK`.
fn scaled(drawn: &[f64]) -> Vec<i16> {
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
    for (name, bytes) in cues().into_iter().chain([mark()]) {
        std::fs::write(folder.join(name), bytes)?;
        println!("sounds/{name}");
    }
    Ok(())
}
