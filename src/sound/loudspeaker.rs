//! Brings a cue to the machine's own loudspeaker, which may be missing at first and may go at any time.
//!
//! What is not known here is when a cue is due: it is told to sound one, says how long that takes, and can be told to
//! end it. The files of the cues are part of the program, so there is none to be missing.

use std::io::Cursor;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rodio::{CpalErrorKind, Decoder, DeviceSinkBuilder, MixerDeviceSink, Source};

use super::{NORMAL_DB, Speaker};
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
    fn sound(&mut self, cue: Cue, loud: bool) -> Result<Duration, String> {
        if self.lost.load(Ordering::Relaxed) {
            return Err("the loudspeaker is gone".to_owned());
        }
        let voice = self
            .voice
            .get_or_insert_with(|| rodio::Player::connect_new(self.device.mixer()));
        if voice.len() >= WAITING_MAX {
            return Err("the loudspeaker does not play".to_owned());
        }
        let unreadable = |why: &str| format!("a cue could not be read ({why})");
        let decoder = Decoder::try_from(Cursor::new(file(cue)))
            .map_err(|error| unreadable(&error.to_string()))?;
        let length = decoder
            .total_duration()
            .ok_or_else(|| unreadable("it has no length"))?;
        voice.append(decoder.amplify_decibel(if loud { 0.0 } else { NORMAL_DB }));
        Ok(length)
    }

    fn hush(&mut self) {
        self.voice = None;
    }
}

#[cfg(test)]
mod tests {
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
    fn no_two_cues_have_the_same_file() {
        for (n, cue) in Cue::ALL.iter().enumerate() {
            for other in &Cue::ALL[n + 1..] {
                assert!(file(*cue) != file(*other), "{cue:?} and {other:?}");
            }
        }
    }
}
