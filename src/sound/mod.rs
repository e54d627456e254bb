//! Plays cues on the loudspeaker, the most urgent first and until they are silenced, on a thread of its own.
//!
//! Opening a sound device can take long or fail, so nobody who decides ever waits for it: what is wanted is written
//! down in one place, and the thread here catches up with it, round by round. A missing or lost device is reported in
//! one sentence, for a notice on the screen, and tried again at the next cue; the screen shows every cue in any case.

mod loudspeaker;
mod round;

use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use crate::cue::Cue;
use loudspeaker::Loudspeaker;
pub use round::{CUES_HEARD_MAX, CUES_WANTED_MAX};
use round::{PACE, Pace, Round, Shared, Turn};

/// From one start of a cue to its next, when it is the only one. Long enough to speak on the radio in between, and
/// unlike the cycle of an evacuation signal.
pub const CUE_REPEAT_MS: u64 = 5_000;

/// The silence between two cues that are wanted at the same time.
pub const CUE_GAP_MS: u64 = 400;

/// How loud the normal setting is against the loud one, which plays the files as they are. About half as loud to the
/// ear, and common practice, no source.
pub const NORMAL_DB: f32 = -9.0;

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
        Player::start_with(Loudspeaker::open, report, PACE)
    }

    /// Wants a cue: one that repeats until `silence`, any other until it has been heard once. One that is wanted
    /// already goes on as it is. Danger is heard at once, the others when what sounds has ended.
    pub fn play(&self, cue: Cue) {
        self.shared.want(cue);
    }

    /// Ends all cues; what the device has taken already, a tenth of a second at most, is still heard.
    pub fn silence(&self) {
        self.shared.hush();
    }

    /// Sets the louder setting, for the cues that start from now on; it is off at first.
    pub fn loud(&self, loud: bool) {
        self.shared.set_loud(loud);
    }

    /// In a drill every cue is followed by the mark of a drill, within the silence that comes after it anyway: no cue is
    /// heard later than in a rescue. It is none at first; where it is none any more, what sounds begins anew without the
    /// mark.
    pub fn drill(&self, drill: bool) {
        self.shared.set_drill(drill);
    }

    fn start_with<S: Speaker>(
        open: impl Fn() -> Result<S, String> + Send + 'static,
        report: impl Fn(Result<(), String>) + Send + 'static,
        pace: Pace,
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
            .spawn(move || Rounds::new(open, tell).run(&theirs, pace));
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
        self.shared.close();
    }
}

/// How a cue is played.
#[derive(Clone, Copy, Debug, Default)]
struct Manner {
    loud: bool,
    /// The mark of a drill follows it.
    drill: bool,
}

/// Where cues come out; the tests put another in place of the machine's loudspeaker.
trait Speaker {
    /// Starts a cue and says how long it takes; the mark of a drill comes after that.
    fn sound(&mut self, cue: Cue, manner: Manner) -> Result<Duration, String>;
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

    fn run(mut self, shared: &Shared, pace: Pace) {
        self.reach_speaker();
        let mut round = Round::default();
        loop {
            match shared.next_turn(&mut round, pace) {
                Turn::End => return,
                Turn::Hush => self.hush(),
                Turn::Sound { cue, manner, cut } => {
                    if cut {
                        self.hush();
                    }
                    round.begin(cue, self.sound(cue, manner));
                }
            }
        }
    }

    /// Starts a cue and returns how long it takes; on a device that fails, once more on the device that is found in
    /// its place. A cue that no device plays takes no time.
    fn sound(&mut self, cue: Cue, manner: Manner) -> Duration {
        for _ in 0..2 {
            let Some(speaker) = self.reach_speaker() else {
                break;
            };
            match speaker.sound(cue, manner) {
                Ok(length) => return length,
                Err(why) => self.lose_speaker(&why),
            }
        }
        Duration::ZERO
    }

    fn hush(&mut self) {
        if let Some(speaker) = &mut self.speaker {
            speaker.hush();
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

#[cfg(test)]
mod tests {
    use std::sync::MutexGuard;
    use std::sync::mpsc::{Receiver, Sender, channel};

    use super::*;

    /// Long enough for a busy machine, and only ever waited for by a test that fails.
    const PATIENCE: Duration = Duration::from_secs(20);

    /// Longer than any test.
    const NEVER: Duration = Duration::from_secs(3600);

    /// In these tests no cue repeats by itself unless the test asks for it.
    const ONCE: Pace = pace(NEVER);

    const fn pace(repeat: Duration) -> Pace {
        Pace {
            repeat,
            gap: Duration::ZERO,
        }
    }

    #[derive(Debug, PartialEq)]
    enum Heard {
        Opened,
        Sounded(Cue),
        Loud(Cue),
        /// As a drill's.
        Marked(Cue),
        Hushed,
        Said(Result<(), String>),
    }

    /// What the machine has to offer, as the test sets it. While the test holds the lock, nothing is played.
    #[derive(Clone, Copy)]
    struct Machine {
        works: bool,
        /// How long every cue takes.
        takes: Duration,
    }

    type Shelf = Arc<Mutex<Machine>>;

    /// A device that tells what it is asked to do, and is there or works only as long as it is told to.
    struct Fake {
        heard: Sender<Heard>,
        machine: Shelf,
    }

    fn now(machine: &Shelf) -> MutexGuard<'_, Machine> {
        machine.lock().expect("no test failed holding it")
    }

    impl Speaker for Fake {
        fn sound(&mut self, cue: Cue, manner: Manner) -> Result<Duration, String> {
            let machine = *now(&self.machine);
            if !machine.works {
                return Err("the plug is out".to_owned());
            }
            let _ = self.heard.send(match manner {
                Manner { drill: true, .. } => Heard::Marked(cue),
                Manner { loud: true, .. } => Heard::Loud(cue),
                Manner { .. } => Heard::Sounded(cue),
            });
            Ok(machine.takes)
        }

        fn hush(&mut self) {
            let _ = self.heard.send(Heard::Hushed);
        }
    }

    fn start(machine: &Shelf, pace: Pace) -> (Player, Receiver<Heard>) {
        let (heard, listen) = channel();
        let said = heard.clone();
        let machine = Arc::clone(machine);
        let open = move || {
            if !now(&machine).works {
                return Err("there is no plug".to_owned());
            }
            let _ = heard.send(Heard::Opened);
            Ok(Fake {
                heard: heard.clone(),
                machine: Arc::clone(&machine),
            })
        };
        let report = move |outcome| {
            let _ = said.send(Heard::Said(outcome));
        };
        (Player::start_with(open, report, pace), listen)
    }

    fn working(works: bool) -> Shelf {
        let takes = Duration::ZERO;
        Arc::new(Mutex::new(Machine { works, takes }))
    }

    /// A device on which every cue takes so long.
    fn taking(takes: Duration) -> Shelf {
        Arc::new(Mutex::new(Machine { works: true, takes }))
    }

    #[track_caller]
    fn check(listen: &Receiver<Heard>, expected: &[Heard]) {
        for expected in expected {
            let heard = listen.recv_timeout(PATIENCE);
            assert_eq!(heard.as_ref(), Ok(expected));
        }
    }

    #[track_caller]
    fn check_ready(listen: &Receiver<Heard>) {
        check(listen, &[Heard::Opened, Heard::Said(Ok(()))]);
    }

    #[track_caller]
    fn check_cues(listen: &Receiver<Heard>, expected: &[Cue]) {
        for cue in expected {
            check(listen, &[Heard::Sounded(*cue)]);
        }
    }

    /// Nothing more comes. This waits in vain every time, so it is short.
    #[track_caller]
    fn check_quiet(listen: &Receiver<Heard>, why: &str) {
        thread::sleep(Duration::from_millis(50));
        assert_eq!(listen.try_recv().ok(), None, "{why}");
    }

    /// Starts a player that has been asked for all of `cues` before it plays the first one.
    fn start_wanting(machine: &Shelf, pace: Pace, cues: &[Cue]) -> (Player, Receiver<Heard>) {
        let held = now(machine);
        let (player, listen) = start(machine, pace);
        for cue in cues {
            player.play(*cue);
        }
        drop(held);
        check_ready(&listen);
        (player, listen)
    }

    fn lost(why: &str) -> Heard {
        Heard::Said(Err(no_sound(why)))
    }

    #[test]
    fn a_cue_sounds_once_however_often_it_is_asked_for() {
        let (player, listen) = start(&working(true), ONCE);
        check_ready(&listen);
        for _ in 0..50 {
            player.play(Cue::ChangeNow);
        }
        player.play(Cue::CannotSave);
        check_cues(&listen, &[Cue::ChangeNow, Cue::CannotSave]);
        check_quiet(&listen, "it came again within the round");
    }

    #[test]
    fn a_cue_comes_again_until_it_is_silenced_when_it_repeats() {
        for cue in Cue::ALL.into_iter().filter(|cue| cue.repeats()) {
            let (player, listen) = start(&working(true), pace(Duration::from_millis(5)));
            check_ready(&listen);
            player.play(cue);
            check_cues(&listen, &[cue, cue, cue]);
            player.silence();
            while listen.recv_timeout(PATIENCE) != Ok(Heard::Hushed) {}
            check_quiet(&listen, "it came again after silence");
        }
    }

    #[test]
    fn a_cue_that_does_not_repeat_is_heard_once_and_again_only_when_asked_for_again() {
        for cue in Cue::ALL.into_iter().filter(|cue| !cue.repeats()) {
            let (player, listen) = start(&working(true), pace(Duration::from_millis(2)));
            check_ready(&listen);
            player.play(cue);
            check_cues(&listen, &[cue]);
            check_quiet(&listen, "it came again by itself");
            player.play(cue);
            check_cues(&listen, &[cue]);
        }
    }

    #[test]
    fn a_round_has_the_three_most_urgent_and_the_most_urgent_first() {
        let all = [
            Cue::OffHarness,
            Cue::CheckDue,
            Cue::PastTarget,
            Cue::OrderUnanswered,
            Cue::ChangeNow,
            Cue::Danger,
            Cue::ChangeNear,
            Cue::CannotSave,
            Cue::RescueLost,
        ];
        let round = [Cue::Danger, Cue::ChangeNow, Cue::RescueLost];
        let short = pace(Duration::from_millis(5));
        let (_player, listen) = start_wanting(&working(true), short, &all);
        check_cues(&listen, &round);
        check_cues(&listen, &round);

        let (_player, listen) = start_wanting(&working(true), ONCE, &all);
        check_cues(&listen, &round);
        check_quiet(&listen, "a fourth one was heard");
    }

    #[test]
    fn what_was_heard_once_makes_room_in_the_next_round() {
        let cues = [
            Cue::ChangeNear,
            Cue::CheckDue,
            Cue::CannotSave,
            Cue::PastTarget,
        ];
        let short = pace(Duration::from_millis(5));
        let (_player, listen) = start_wanting(&working(true), short, &cues);
        check_cues(&listen, &[Cue::ChangeNear, Cue::CheckDue, Cue::CannotSave]);
        check_cues(&listen, &[Cue::CheckDue, Cue::CannotSave, Cue::PastTarget]);
        check_cues(&listen, &[Cue::CheckDue, Cue::CannotSave]);
        check_cues(&listen, &[Cue::CheckDue, Cue::CannotSave]);
    }

    #[test]
    fn a_full_round_opens_again_for_what_is_more_urgent() {
        let full = [Cue::CheckDue, Cue::CannotSave, Cue::OrderUnanswered];
        let (player, listen) = start_wanting(&working(true), ONCE, &full);
        check_cues(&listen, &full);
        player.play(Cue::ChangeNear);
        check_quiet(&listen, "a fourth one of the same urgency was heard");
        player.play(Cue::ChangeNow);
        check_cues(&listen, &[Cue::ChangeNow]);
    }

    #[test]
    fn danger_is_heard_at_once_and_what_it_cut_off_comes_after_it() {
        let machine = taking(NEVER);
        let (player, listen) = start(&machine, ONCE);
        check_ready(&listen);
        player.play(Cue::OffHarness);
        check_cues(&listen, &[Cue::OffHarness]);
        player.play(Cue::ChangeNow);
        check_quiet(&listen, "another cue did not wait");
        now(&machine).takes = Duration::ZERO;
        player.play(Cue::Danger);
        check(&listen, &[Heard::Hushed]);
        check_cues(&listen, &[Cue::Danger, Cue::ChangeNow, Cue::OffHarness]);
        check_quiet(&listen, "the round has ended");
    }

    #[test]
    fn danger_that_sounds_is_not_cut_off_by_anything() {
        let (player, listen) = start(&taking(NEVER), ONCE);
        check_ready(&listen);
        player.play(Cue::Danger);
        check_cues(&listen, &[Cue::Danger]);
        for cue in Cue::ALL {
            player.play(cue);
        }
        check_quiet(&listen, "something was heard with it");
        player.silence();
        check(&listen, &[Heard::Hushed]);
    }

    #[test]
    fn a_cue_ends_before_the_next_one_starts() {
        let cues = [Cue::CheckDue, Cue::ChangeNow];
        let (_player, listen) = start_wanting(&taking(NEVER), ONCE, &cues);
        check_cues(&listen, &[Cue::ChangeNow]);
        check_quiet(&listen, "both sound at the same time");
    }

    #[test]
    fn the_loud_setting_counts_from_the_next_sound_on() {
        let (player, listen) = start(&working(true), pace(Duration::from_millis(5)));
        check_ready(&listen);
        player.play(Cue::CheckDue);
        check_cues(&listen, &[Cue::CheckDue]);
        player.loud(true);
        while listen.recv_timeout(PATIENCE) != Ok(Heard::Loud(Cue::CheckDue)) {}
        check(&listen, &[Heard::Loud(Cue::CheckDue)]);
        player.loud(false);
        while listen.recv_timeout(PATIENCE) != Ok(Heard::Sounded(Cue::CheckDue)) {}
        check_cues(&listen, &[Cue::CheckDue]);
    }

    #[test]
    fn every_cue_of_a_drill_is_marked_and_of_a_rescue_none() {
        for cue in Cue::ALL {
            let (player, listen) = start(&working(true), pace(Duration::from_millis(5)));
            check_ready(&listen);
            player.drill(true);
            player.play(cue);
            check(&listen, &[Heard::Marked(cue)]);
            player.silence();
            player.drill(false);
            // One that is over already has nothing to end.
            while listen.recv_timeout(Duration::from_millis(50)).is_ok() {}
            player.play(cue);
            check_cues(&listen, &[cue]);
        }
    }

    #[test]
    fn a_repeated_cue_is_marked_each_time_and_begins_anew_without_the_mark_once_it_is_real() {
        let (player, listen) = start(&working(true), pace(Duration::from_millis(5)));
        check_ready(&listen);
        player.drill(true);
        player.play(Cue::LetStand);
        for _ in 0..3 {
            check(&listen, &[Heard::Marked(Cue::LetStand)]);
        }
        player.drill(false);
        while listen.recv_timeout(PATIENCE) != Ok(Heard::Hushed) {}
        check_cues(&listen, &[Cue::LetStand, Cue::LetStand]);
    }

    #[test]
    fn danger_in_a_drill_cuts_off_a_cue_that_waits_for_its_mark() {
        let machine = taking(NEVER);
        let (player, listen) = start(&machine, ONCE);
        check_ready(&listen);
        player.drill(true);
        player.play(Cue::CheckDue);
        check(&listen, &[Heard::Marked(Cue::CheckDue)]);
        player.play(Cue::Danger);
        check(&listen, &[Heard::Hushed, Heard::Marked(Cue::Danger)]);
    }

    #[test]
    fn a_cue_asked_for_again_right_after_silence_starts_anew() {
        let (player, listen) = start(&working(true), ONCE);
        check_ready(&listen);
        player.play(Cue::ChangeNow);
        check_cues(&listen, &[Cue::ChangeNow]);
        player.silence();
        player.play(Cue::ChangeNow);
        check(&listen, &[Heard::Hushed, Heard::Sounded(Cue::ChangeNow)]);
    }

    #[test]
    fn no_device_is_said_once_and_tried_again_at_the_next_cue() {
        let machine = working(false);
        let (player, listen) = start(&machine, pace(Duration::from_millis(2)));
        check(&listen, &[lost("there is no plug")]);
        player.play(Cue::ChangeNow);
        check_quiet(&listen, "the notice came again");
        now(&machine).works = true;
        check_ready(&listen);
        check_cues(&listen, &[Cue::ChangeNow]);
    }

    #[test]
    fn what_no_device_played_is_not_made_up_for_later() {
        let machine = working(false);
        let (player, listen) = start(&machine, pace(Duration::from_millis(2)));
        check(&listen, &[lost("there is no plug")]);
        player.play(Cue::OffHarness);
        check_quiet(&listen, "the notice came again");
        now(&machine).works = true;
        check_quiet(&listen, "it was heard long after its moment");
        player.play(Cue::CheckDue);
        check_ready(&listen);
        check_cues(&listen, &[Cue::CheckDue]);
    }

    #[test]
    fn a_device_lost_in_between_is_said_and_found_again() {
        let machine = working(true);
        let (player, listen) = start(&machine, pace(Duration::from_millis(2)));
        check_ready(&listen);
        now(&machine).works = false;
        player.play(Cue::CannotSave);
        check(&listen, &[lost("the plug is out")]);
        now(&machine).works = true;
        check_ready(&listen);
        check_cues(&listen, &[Cue::CannotSave]);
    }

    #[test]
    fn dropping_the_player_ends_its_thread() {
        let (player, listen) = start(&working(true), ONCE);
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
}
