//! Brings a cue to the machine's own loudspeaker, which may be missing at first and may go at any time.
//!
//! What is not known here is when a cue is due: it is told to sound one, says how long that takes, and can be told to
//! end it. The files of the cues are part of the program, so there is none to be missing.

use std::io::Cursor;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rodio::source::from_iter;
use rodio::{CpalErrorKind, Decoder, DeviceSinkBuilder, MixerDeviceSink, Source};

use super::{Manner, NORMAL_DB, Speaker};
use crate::cue::Cue;

/// How many cues may wait for the device. Each one starts after the one before has had its time, so a device that
/// is only a little slow keeps one waiting, and more show a device that takes no sound.
const WAITING_MAX: usize = 2;

/// Returns the file of a cue; `sounds/make.rs` makes them.
fn file(cue: Cue) -> &'static [u8] {
    match cue {
        Cue::ChangeNow => include_bytes!("../../sounds/change-now.wav"),
        Cue::ChangeNear => include_bytes!("../../sounds/change-near.wav"),
        Cue::CheckDue => include_bytes!("../../sounds/check-due.wav"),
        Cue::OrderUnanswered => include_bytes!("../../sounds/order-unanswered.wav"),
        Cue::Danger => include_bytes!("../../sounds/danger.wav"),
        Cue::PastTarget => include_bytes!("../../sounds/past-target.wav"),
        Cue::CannotSave => include_bytes!("../../sounds/cannot-save.wav"),
        Cue::OffHarness => include_bytes!("../../sounds/off-harness.wav"),
        Cue::RescueLost => include_bytes!("../../sounds/rescue-lost.wav"),
        Cue::LetStand => include_bytes!("../../sounds/let-stand.wav"),
    }
}

/// What is heard after each cue of a drill. It begins with the silence between them.
const DRILL_MARK: &[u8] = include_bytes!("../../sounds/drill-mark.wav");

/// A file that is part of this program, on its way to the device.
type Made = Decoder<Cursor<&'static [u8]>>;

fn decoder(file: &'static [u8]) -> Result<Made, String> {
    Decoder::try_from(Cursor::new(file)).map_err(|error| unreadable(&error.to_string()))
}

fn unreadable(why: &str) -> String {
    format!("a cue could not be read ({why})")
}

/// A cue, how long it takes, and what the device gets: in a drill its mark with it, as one piece, so that nothing comes
/// between them and both end together.
fn piece(cue: Cue, drill: bool) -> Result<(Duration, Vec<Made>), String> {
    let cue = decoder(file(cue))?;
    let length = cue
        .total_duration()
        .ok_or_else(|| unreadable("it has no length"))?;
    let mut piece = vec![cue];
    if drill {
        piece.push(decoder(DRILL_MARK)?);
    }
    Ok((length, piece))
}

/// The machine's own loudspeaker.
pub(super) struct Loudspeaker {
    device: MixerDeviceSink,
    /// What is sounding; dropping it ends the sound.
    voice: Option<rodio::Player>,
    /// Set by the device's own thread when the device is gone.
    lost: Arc<AtomicBool>,
}

impl Loudspeaker {
    pub(super) fn open() -> Result<Loudspeaker, String> {
        let lost = Arc::new(AtomicBool::new(false));
        let theirs = Arc::clone(&lost);
        let mut device = DeviceSinkBuilder::from_default_device()
            .map(|builder| {
                builder.with_error_callback(move |error: rodio::CpalError| {
                    // After these the sound goes on by itself.
                    let passing = matches!(
                        error.kind(),
                        CpalErrorKind::Xrun
                            | CpalErrorKind::DeviceChanged
                            | CpalErrorKind::RealtimeDenied
                    );
                    if !passing {
                        theirs.store(true, Ordering::Relaxed);
                    }
                })
            })
            .and_then(|builder| builder.open_sink_or_fallback())
            .map_err(|_| "no loudspeaker could be opened".to_owned())?;
        device.log_on_drop(false);
        Ok(Loudspeaker {
            device,
            voice: None,
            lost,
        })
    }
}

impl Speaker for Loudspeaker {
    fn sound(&mut self, cue: Cue, manner: Manner) -> Result<Duration, String> {
        if self.lost.load(Ordering::Relaxed) {
            return Err("the loudspeaker is gone".to_owned());
        }
        let voice = self
            .voice
            .get_or_insert_with(|| rodio::Player::connect_new(self.device.mixer()));
        if voice.len() >= WAITING_MAX {
            return Err("the loudspeaker does not play".to_owned());
        }
        let (length, piece) = piece(cue, manner.drill)?;
        let louder_db = if manner.loud { 0.0 } else { NORMAL_DB };
        voice.append(from_iter(piece).amplify_decibel(louder_db));
        Ok(length)
    }

    fn hush(&mut self) {
        self.voice = None;
    }
}

#[cfg(test)]
mod tests {
    use super::super::CUE_GAP_MS;
    use super::*;

    #[test]
    fn every_file_is_readable_by_what_plays_it() {
        for cue in Cue::ALL {
            let decoder = Decoder::try_from(Cursor::new(file(cue))).expect("a file made here");
            assert_eq!(decoder.channels().get(), 1, "{cue:?}");
            assert_eq!(decoder.sample_rate().get(), 48_000, "{cue:?}");
            let told = decoder.total_duration().expect("the file says its length");
            let told_ms = (told.as_micros() + 500) / 1_000;
            let samples = decoder.count();
            assert_eq!(told_ms, (samples / 48) as u128, "{cue:?}");
            assert!(samples > 0, "{cue:?}");
        }
    }

    #[test]
    fn the_mark_comes_after_the_whole_cue_in_a_drill_and_fits_into_the_silence_after_it() {
        let samples = |file| -> Vec<f32> { decoder(file).expect("a file made here").collect() };
        let mark = samples(DRILL_MARK);
        assert!(!mark.is_empty());
        assert!(mark.len() as u64 / 48 < CUE_GAP_MS, "no cue waits for it");
        for cue in Cue::ALL {
            let played = |drill| -> (Duration, Vec<f32>) {
                let (length, piece) = piece(cue, drill).expect("files made here");
                (length, from_iter(piece).collect())
            };
            let ((length, alone), (length_of_drill, of_drill)) = (played(false), played(true));
            assert_eq!(alone, samples(file(cue)), "{cue:?}: a rescue has no mark");
            assert_eq!(
                length, length_of_drill,
                "{cue:?}: the next one waits as long"
            );
            assert_eq!(of_drill, [alone, mark.clone()].concat(), "{cue:?}");
        }
    }

    #[test]
    fn no_two_cues_have_the_same_file() {
        for (n, cue) in Cue::ALL.iter().enumerate() {
            for other in &Cue::ALL[n + 1..] {
                assert!(file(*cue) != file(*other), "{cue:?} and {other:?}");
            }
        }
    }
}
