//! Says which sounds follow from a change of what is known, and how urgent each is.
//!
//! Pure, so that the same change always sounds the same, on a tablet, in a rehearsal and in a test.

use crate::incident::{Due, Facts};

/// A sound with one meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Cue {
    /// The time has come to decide about changing the method.
    ChangeNow,
    /// That time is near.
    ChangeNear,
    /// Somebody must look at the casualty, or talk to them.
    CheckDue,
    /// An order was not answered in time, the emergency call first of all.
    OrderUnanswered,
    /// Everybody to a safe place.
    Danger,
    /// The target has gone by.
    PastTarget,
    /// The record cannot be saved.
    CannotSave,
    /// The weight no longer hangs.
    OffHarness,
    /// People work at height and nobody could rescue them any more.
    RescueLost,
    /// In a drill: let the living person stand now.
    LetStand,
}

/// How much a sound presses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Good to know.
    Low,
    /// Something is to be done soon.
    Medium,
    /// Something is to be done now.
    High,
}

impl Cue {
    /// Every cue there is.
    pub const ALL: [Cue; 10] = [
        Cue::ChangeNow,
        Cue::ChangeNear,
        Cue::CheckDue,
        Cue::OrderUnanswered,
        Cue::Danger,
        Cue::PastTarget,
        Cue::CannotSave,
        Cue::OffHarness,
        Cue::RescueLost,
        Cue::LetStand,
    ];

    /// How much it presses.
    pub fn urgency(self) -> Urgency {
        match self {
            Cue::ChangeNow | Cue::Danger | Cue::RescueLost | Cue::LetStand => Urgency::High,
            Cue::ChangeNear | Cue::CheckDue | Cue::OrderUnanswered | Cue::CannotSave => {
                Urgency::Medium
            }
            Cue::PastTarget | Cue::OffHarness => Urgency::Low,
        }
    }

    /// True where it sounds until a touch answers it; the others are heard once.
    pub fn repeats(self) -> bool {
        !matches!(self, Cue::ChangeNear | Cue::PastTarget | Cue::OffHarness)
    }
}

/// The message id of the prompt that asks to change.
const CHANGE: &str = "change-to";

/// What should sound now that `before` has become `after`.
pub fn cues(before: &Facts, after: &Facts) -> Vec<Cue> {
    let mut cues = Vec::new();
    let asks = |facts: &Facts| facts.shown.as_ref().is_some_and(|s| s.message == CHANGE);
    if asks(after) && !asks(before) {
        cues.push(Cue::ChangeNow);
    }
    let asked = |facts: &Facts| facts.call.ordered.len();
    if asked(before) > 0 && asked(after) > asked(before) {
        cues.push(Cue::OrderUnanswered);
    }
    let waits = |facts: &Facts, number: u64| {
        let mut orders = facts.orders.iter();
        orders.any(|it| it.number == number && it.unanswered)
    };
    let unanswered = after.orders.iter().filter(|it| it.unanswered);
    if unanswered.clone().any(|it| !waits(before, it.number)) {
        cues.push(Cue::OrderUnanswered);
    }
    if after.danger.is_some() && before.danger.is_none() {
        cues.push(Cue::Danger);
    }
    if after.played.let_stand.is_some() && before.played.let_stand.is_none() {
        cues.push(Cue::LetStand);
    }
    let off = |facts: &Facts| {
        facts
            .casualties
            .iter()
            .filter(|it| it.off.is_some())
            .count()
    };
    if off(after) > off(before) {
        cues.push(Cue::OffHarness);
    }
    if after.came_due != before.came_due {
        cues.extend(after.came_due.and_then(|(due, ..)| match due {
            Due::ChangeNear => Some(Cue::ChangeNear),
            Due::PastTarget => Some(Cue::PastTarget),
            Due::CheckDue | Due::CheckLost | Due::CareCheck => Some(Cue::CheckDue),
            // Whoever controls the drill looks for it; the crew is not warned.
            Due::Surprise(_) | Due::LetStand => None,
        }));
    }
    cues
}
