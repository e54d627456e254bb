//! Plays cues on the loudspeaker, again and again until they are silenced, on a thread of its own.
//!
//! Opening a sound device can take long or fail, so nobody who decides ever waits for it: what is wanted is written
//! down in one place, and the thread here catches up with it. A missing or lost device is reported in one sentence,
//! for a notice on the screen, and tried again at the next cue; the screen shows every cue in any case.

use std::io::Cursor;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::Duration;

use rodio::{CpalErrorKind, Decoder, DeviceSinkBuilder, MixerDeviceSink, Source};

use crate::cue::Cue;

/// From one start of a cue to its next. Long enough to speak on the radio in between, and unlike the cycle of an
/// evacuation signal.
pub const CUE_REPEAT_MS: u64 = 5_000;

/// How many different cues can be wanted at once. There is no queue: a cue is wanted or it is not.
pub const CUES_WANTED_MAX: usize = Cue::ALL.len();

/// The silence between two cues that are wanted at the same time.
const CUE_GAP_MS: u64 = 400;

/// Plays cues; dropping it ends its thread and the sound.
#[derive(Debug)]
pub struct Player {
    shared: Arc<Shared>,
}

impl Player {
    /// Starts the thread and returns at once; the device is opened over there.
    ///
    /// `report` is called from that thread: `Ok` when sound is ready, `Err` with a sentence for a notice when it is
    /// not, and again whenever that changes.
    pub fn start(report: impl Fn(Result<(), String>) + Send + 'static) -> Player {
        Player::start_with(
            Loudspeaker::open,
            report,
            Duration::from_millis(CUE_REPEAT_MS),
        )
    }

    /// Starts a cue and repeats it until `silence`. One that sounds already goes on as it is.
    pub fn play(&self, cue: Cue) {
        let mut wish = self.shared.wish();
        if !wish.cues.contains(&cue) && wish.cues.len() < CUES_WANTED_MAX {
            wish.cues.push(cue);
            self.shared.changed.notify_one();
        }
    }

    /// Ends all cues; what the device has taken already, a tenth of a second at most, is still heard.
    pub fn silence(&self) {
        let mut wish = self.shared.wish();
        if !wish.cues.is_empty() {
            wish.cues.clear();
            wish.hush = true;
            self.shared.changed.notify_one();
        }
    }

    fn start_with<S: Speaker>(
        open: impl Fn() -> Result<S, String> + Send + 'static,
        report: impl Fn(Result<(), String>) + Send + 'static,
        repeat: Duration,
    ) -> Player {
        let shared = Arc::new(Shared::default());
        let theirs = Arc::clone(&shared);
        // The thread may not start at all, and then the report has to be made from here.
        let report = Arc::new(Mutex::new(report));
        let reporting = Arc::clone(&report);
        let tell = move |outcome: Result<(), String>| {
            let report = reporting.lock().unwrap_or_else(PoisonError::into_inner);
            report(outcome);
        };
        let started = thread::Builder::new()
            .name("sound".into())
            .spawn(move || Rounds::new(open, tell).run(&theirs, repeat));
        if let Err(error) = started {
            let report = report.lock().unwrap_or_else(PoisonError::into_inner);
            report(Err(no_sound(&error.to_string())));
        }
        Player { shared }
    }
}

impl Drop for Player {
    fn drop(&mut self) {
        // Nobody waits for the thread: it may be inside a driver, and the program has to be able to end.
        self.shared.wish().closing = true;
        self.shared.changed.notify_one();
    }
}

/// What is wanted, and the bell that says it has changed.
#[derive(Debug, Default)]
struct Shared {
    wish: Mutex<Wish>,
    changed: Condvar,
}

#[derive(Debug, Default)]
struct Wish {
    /// The cues to be heard, in the order in which they were asked for.
    cues: Vec<Cue>,
    /// What sounded up to now has to end, even if the same cue has been asked for again since.
    hush: bool,
    closing: bool,
}

/// What the thread has to do next.
#[derive(Debug)]
enum Turn {
    Hush,
    /// These were not wanted before, or their time has come again.
    Sound(Vec<Cue>),
    End,
}

impl Shared {
    fn wish(&self) -> MutexGuard<'_, Wish> {
        // The holders only set fields, so what a panicking one leaves behind is whole.
        self.wish.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Waits until the wish is another than what sounds, or until the round is over.
    fn next_turn(&self, sounding: &mut Vec<Cue>, repeat: Duration) -> Turn {
        let same = |wish: &mut Wish| !wish.closing && !wish.hush && wish.cues == *sounding;
        let (mut wish, round_is_over) = if sounding.is_empty() {
            let wish = self.changed.wait_while(self.wish(), same);
            (wish.unwrap_or_else(PoisonError::into_inner), false)
        } else {
            let waited = self
                .changed
                .wait_timeout_while(self.wish(), repeat, same)
                .unwrap_or_else(PoisonError::into_inner);
            (waited.0, waited.1.timed_out())
        };
        if wish.closing {
            return Turn::End;
        }
        if wish.hush {
            wish.hush = false;
            sounding.clear();
            return Turn::Hush;
        }
        let due = wish.cues.iter().copied();
        let due = due.filter(|cue| round_is_over || !sounding.contains(cue));
        let due = due.collect();
        sounding.clone_from(&wish.cues);
        Turn::Sound(due)
    }
}

/// Where cues come out; the tests put another in place of the machine's loudspeaker.
trait Speaker {
    /// Starts a cue, after those that are still sounding.
    fn sound(&mut self, cue: Cue) -> Result<(), String>;
    /// Ends what is sounding.
    fn hush(&mut self);
}

/// The thread's side: the device, and what was last said about it.
struct Rounds<S, Open, Tell> {
    open: Open,
    tell: Tell,
    speaker: Option<S>,
    told_ready: Option<bool>,
}

impl<S: Speaker, Open: Fn() -> Result<S, String>, Tell: Fn(Result<(), String>)>
    Rounds<S, Open, Tell>
{
    fn new(open: Open, tell: Tell) -> Self {
        Rounds {
            open,
            tell,
            speaker: None,
            told_ready: None,
        }
    }

    fn run(mut self, shared: &Shared, repeat: Duration) {
        self.reach_speaker();
        let mut sounding = Vec::new();
        loop {
            match shared.next_turn(&mut sounding, repeat) {
                Turn::End => return,
                Turn::Hush => {
                    if let Some(speaker) = &mut self.speaker {
                        speaker.hush();
                    }
                }
                Turn::Sound(cues) => cues.into_iter().for_each(|cue| self.sound(cue)),
            }
        }
    }

    /// Starts a cue; on a device that fails, once more on the device that is found in its place.
    fn sound(&mut self, cue: Cue) {
        for _ in 0..2 {
            let Some(speaker) = self.reach_speaker() else {
                return;
            };
            match speaker.sound(cue) {
                Ok(()) => return,
                Err(why) => self.lose_speaker(&why),
            }
        }
    }

    fn reach_speaker(&mut self) -> Option<&mut S> {
        if self.speaker.is_none() {
            match (self.open)() {
                Ok(speaker) => {
                    self.speaker = Some(speaker);
                    self.say(Ok(()));
                }
                Err(why) => self.lose_speaker(&why),
            }
        }
        self.speaker.as_mut()
    }

    fn lose_speaker(&mut self, why: &str) {
        self.speaker = None;
        self.say(Err(no_sound(why)));
    }

    /// Reports only what is new: a notice that comes again every few seconds is one that nobody reads.
    fn say(&mut self, outcome: Result<(), String>) {
        if self.told_ready != Some(outcome.is_ok()) {
            self.told_ready = Some(outcome.is_ok());
            (self.tell)(outcome);
        }
    }
}

fn no_sound(why: &str) -> String {
    format!("{why}; cues are only shown")
}

/// Returns the file of a cue; `sounds/make.rs` makes them.
fn file(cue: Cue) -> &'static [u8] {
    match cue {
        Cue::ChangeNow => include_bytes!("../../sounds/change-now.wav"),
        Cue::CallUnconfirmed => include_bytes!("../../sounds/call-unconfirmed.wav"),
    }
}

/// The machine's own loudspeaker.
struct Loudspeaker {
    device: MixerDeviceSink,
    /// What is sounding; dropping it ends the sound.
    voice: Option<rodio::Player>,
    /// Set by the device's own thread when the device is gone.
    lost: Arc<AtomicBool>,
}

impl Loudspeaker {
    fn open() -> Result<Loudspeaker, String> {
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
    fn sound(&mut self, cue: Cue) -> Result<(), String> {
        if self.lost.load(Ordering::Relaxed) {
            return Err("the loudspeaker is gone".to_owned());
        }
        let voice = self
            .voice
            .get_or_insert_with(|| rodio::Player::connect_new(self.device.mixer()));
        // A round ends before the next one starts, so what is still waiting shows a device that takes no sound.
        if voice.len() >= CUES_WANTED_MAX {
            return Err("the loudspeaker does not play".to_owned());
        }
        let decoder = Decoder::try_from(Cursor::new(file(cue)))
            .map_err(|error| format!("a cue could not be read ({error})"))?;
        if voice.empty() {
            voice.append(decoder);
        } else {
            voice.append(decoder.delay(Duration::from_millis(CUE_GAP_MS)));
        }
        Ok(())
    }

    fn hush(&mut self) {
        self.voice = None;
    }
}

#[cfg(test)]
mod tests {
    use std::sync::mpsc::{Receiver, Sender, channel};

    use super::*;

    /// Long enough for a busy machine, and only ever waited for by a test that fails.
    const PATIENCE: Duration = Duration::from_secs(20);

    /// In these tests no cue repeats by itself unless the test asks for it.
    const NEVER: Duration = Duration::from_secs(3600);

    #[derive(Debug, PartialEq)]
    enum Heard {
        Opened,
        Sounded(Cue),
        Hushed,
        Said(Result<(), String>),
    }

    /// A device that tells what it is asked to do, and is there or works only as long as it is told to.
    struct Fake {
        heard: Sender<Heard>,
        works: Arc<AtomicBool>,
    }

    impl Speaker for Fake {
        fn sound(&mut self, cue: Cue) -> Result<(), String> {
            if !self.works.load(Ordering::SeqCst) {
                return Err("the plug is out".to_owned());
            }
            let _ = self.heard.send(Heard::Sounded(cue));
            Ok(())
        }

        fn hush(&mut self) {
            let _ = self.heard.send(Heard::Hushed);
        }
    }

    fn start(works: &Arc<AtomicBool>, repeat: Duration) -> (Player, Receiver<Heard>) {
        let (heard, listen) = channel();
        let said = heard.clone();
        let works = Arc::clone(works);
        let open = move || {
            if !works.load(Ordering::SeqCst) {
                return Err("there is no plug".to_owned());
            }
            let _ = heard.send(Heard::Opened);
            Ok(Fake {
                heard: heard.clone(),
                works: Arc::clone(&works),
            })
        };
        let report = move |outcome| {
            let _ = said.send(Heard::Said(outcome));
        };
        (Player::start_with(open, report, repeat), listen)
    }

    fn working(works: bool) -> Arc<AtomicBool> {
        Arc::new(AtomicBool::new(works))
    }

    #[track_caller]
    fn check(listen: &Receiver<Heard>, expected: &[Heard]) {
        for expected in expected {
            let heard = listen.recv_timeout(PATIENCE);
            assert_eq!(heard.as_ref(), Ok(expected));
        }
    }

    fn lost(why: &str) -> Heard {
        Heard::Said(Err(no_sound(why)))
    }

    #[test]
    fn a_cue_sounds_once_however_often_it_is_asked_for() {
        let (player, listen) = start(&working(true), NEVER);
        check(&listen, &[Heard::Opened, Heard::Said(Ok(()))]);
        for _ in 0..50 {
            player.play(Cue::ChangeNow);
        }
        player.play(Cue::CallUnconfirmed);
        check(
            &listen,
            &[
                Heard::Sounded(Cue::ChangeNow),
                Heard::Sounded(Cue::CallUnconfirmed),
            ],
        );
    }

    #[test]
    fn a_cue_comes_again_until_it_is_silenced() {
        let (player, listen) = start(&working(true), Duration::from_millis(5));
        check(&listen, &[Heard::Opened, Heard::Said(Ok(()))]);
        player.play(Cue::ChangeNow);
        let again = || Heard::Sounded(Cue::ChangeNow);
        check(&listen, &[again(), again(), again()]);
        player.silence();
        while listen.recv_timeout(PATIENCE) != Ok(Heard::Hushed) {}
        thread::sleep(Duration::from_millis(50));
        assert!(listen.try_recv().is_err(), "it came again after silence");
    }

    #[test]
    fn a_cue_asked_for_again_right_after_silence_starts_anew() {
        let (player, listen) = start(&working(true), NEVER);
        player.play(Cue::ChangeNow);
        check(
            &listen,
            &[
                Heard::Opened,
                Heard::Said(Ok(())),
                Heard::Sounded(Cue::ChangeNow),
            ],
        );
        player.silence();
        player.play(Cue::ChangeNow);
        check(&listen, &[Heard::Hushed, Heard::Sounded(Cue::ChangeNow)]);
    }

    #[test]
    fn no_device_is_said_once_and_tried_again_at_the_next_cue() {
        let works = working(false);
        let (player, listen) = start(&works, Duration::from_millis(2));
        check(&listen, &[lost("there is no plug")]);
        player.play(Cue::ChangeNow);
        thread::sleep(Duration::from_millis(50));
        assert!(listen.try_recv().is_err(), "the notice came again");
        works.store(true, Ordering::SeqCst);
        check(
            &listen,
            &[
                Heard::Opened,
                Heard::Said(Ok(())),
                Heard::Sounded(Cue::ChangeNow),
            ],
        );
    }

    #[test]
    fn a_device_lost_in_between_is_said_and_found_again() {
        let works = working(true);
        let (player, listen) = start(&works, Duration::from_millis(2));
        check(&listen, &[Heard::Opened, Heard::Said(Ok(()))]);
        works.store(false, Ordering::SeqCst);
        player.play(Cue::CallUnconfirmed);
        check(&listen, &[lost("the plug is out")]);
        works.store(true, Ordering::SeqCst);
        check(
            &listen,
            &[
                Heard::Opened,
                Heard::Said(Ok(())),
                Heard::Sounded(Cue::CallUnconfirmed),
            ],
        );
    }

    #[test]
    fn dropping_the_player_ends_its_thread() {
        let (player, listen) = start(&working(true), NEVER);
        player.play(Cue::ChangeNow);
        check(&listen, &[Heard::Opened, Heard::Said(Ok(()))]);
        drop(player);
        // The thread held the other end, so the channel closes when the thread is gone.
        while listen.recv_timeout(PATIENCE).is_ok() {}
        assert_eq!(
            listen.recv_timeout(PATIENCE),
            Err(std::sync::mpsc::RecvTimeoutError::Disconnected)
        );
    }

    #[test]
    fn the_real_loudspeaker_reports_one_way_or_the_other() {
        let (said, listen) = channel();
        let player = Player::start(move |outcome| {
            let _ = said.send(outcome);
        });
        player.play(Cue::ChangeNow);
        player.silence();
        let outcome = listen.recv_timeout(PATIENCE).expect("a report comes");
        if let Err(notice) = outcome {
            assert!(notice.ends_with("cues are only shown"), "{notice}");
        }
    }

    #[test]
    fn every_file_is_readable_by_what_plays_it() {
        let mut round_ms = 0;
        for cue in Cue::ALL {
            let decoder = Decoder::try_from(Cursor::new(file(cue))).expect("a file made here");
            assert_eq!(decoder.channels().get(), 1);
            assert_eq!(decoder.sample_rate().get(), 48_000);
            round_ms += decoder.count() as u64 / 48 + CUE_GAP_MS;
        }
        // All cues fit into one round, or the next round would find the last one unfinished.
        assert!(round_ms < CUE_REPEAT_MS, "{round_ms} ms");
    }
}
