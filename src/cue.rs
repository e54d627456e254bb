//! Says which sounds follow from a change of what is known.
//!
//! Pure, so that the same change always sounds the same, on a tablet, in a rehearsal and in a test.

use crate::incident::Facts;

/// A sound with one meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Cue {
    /// The time has come to decide about changing the method.
    ChangeNow,
    /// The emergency call was not confirmed in time.
    CallUnconfirmed,
}

impl Cue {
    /// Every cue there is.
    pub const ALL: [Cue; 2] = [Cue::ChangeNow, Cue::CallUnconfirmed];
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
        cues.push(Cue::CallUnconfirmed);
    }
    cues
}
