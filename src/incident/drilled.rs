//! Plays a drill: which surprise comes when, when a living person is let stand, and how a drill becomes a rescue.
//!
//! A living person comes before the drill: whatever they show is taken as it is, and time is up for them at the limit that
//! was set before. In a rescue nothing of this does anything.

use super::act::Act;
use super::decide::{Draft, Refusal};
use super::event::{Condition, Due, Event};
use super::exercise::{Exercise, Guards, Hanging, LIVE_HANG_MAX, Surprise};
use super::prompt::{Choice, Prompt};
use super::state::Facts;
use crate::units::Millis;
use crate::words::{Id, Message};

impl Facts {
    /// True in a drill that has not become a rescue.
    pub fn is_drill(&self) -> bool {
        self.opened.as_ref().is_some_and(|it| it.drill)
    }

    /// How the drill is played, as long as it is one.
    pub fn exercise(&self) -> Option<&Exercise> {
        let opened = self.opened.as_ref().filter(|it| it.drill)?;
        opened.exercise.as_deref()
    }

    /// What guards a living person who hangs in this drill.
    pub fn guards(&self) -> Option<&Guards> {
        match &self.exercise()?.hanging {
            Hanging::Live(guards) => Some(guards),
            Hanging::Manikin => None,
        }
    }

    /// Who watches a living person in this drill and does nothing else.
    pub fn watcher(&self) -> Option<&String> {
        self.guards()?.watcher.as_ref()
    }

    /// The surprise that is to be given now, with its index.
    pub fn surprise_now(&self) -> Option<(usize, &Surprise)> {
        let played = &self.played;
        let due = self.exercise()?.surprises.iter().enumerate();
        due.take(played.due).find(|(index, _)| {
            !played.left_out.contains(index) && played.given.iter().all(|it| it.0 != *index)
        })
    }

    /// True where a living person has hung long enough and nobody said that they stand.
    pub fn must_stand(&self) -> bool {
        let hangs = self.casualties.first().is_some_and(|it| it.off.is_none());
        self.guards().is_some()
            && hangs
            && self.played.let_stand.is_some()
            && self.played.stands.is_none()
    }

    /// When the living person is to be let stand, as time since activation.
    fn stand_at(&self) -> Option<Millis> {
        let guards = self.guards()?;
        let first = self.casualties.first()?;
        let waits =
            first.off.is_none() && self.played.let_stand.is_none() && self.played.stands.is_none();
        // They hang since activation at the latest, and a limit that a file set too high is none.
        let from = first.fell.min(Millis::ZERO);
        let limit = guards.limit.clamp(Millis::ZERO, LIVE_HANG_MAX);
        waits.then(|| from.saturating_add(limit))
    }

    /// When the next surprise is to be given.
    fn surprise_at(&self) -> Option<Millis> {
        let exercise = self.exercise()?;
        exercise.surprises.get(self.played.due).map(|it| it.at)
    }

    /// What the time has brought in a drill and nobody has noted yet.
    pub(super) fn drill_due(&self, at: Millis) -> Option<Due> {
        if self.stand_at().is_some_and(|due| at >= due) {
            return Some(Due::LetStand);
        }
        let comes = self.surprise_at().is_some_and(|due| at >= due);
        comes.then_some(Due::Surprise(self.played.due))
    }

    /// When a drill needs to be looked at again.
    pub(super) fn drill_wakes(&self) -> impl Iterator<Item = Millis> {
        self.stand_at().into_iter().chain(self.surprise_at())
    }
}

impl Draft<'_> {
    /// What is touched for the drill itself.
    pub(super) fn act_on_drill(&mut self, act: &Act) -> Result<(), Refusal> {
        let facts = self.facts();
        if !facts.is_drill() {
            return Err(Refusal::NotNow);
        }
        let now = |index: usize| facts.surprise_now().is_some_and(|it| it.0 == index);
        match act {
            Act::GiveSurprise(index) if now(*index) => {
                self.push(Event::SurpriseGiven { index: *index });
            }
            Act::LeaveSurprise(index) if now(*index) => {
                self.push(Event::SurpriseLeftOut { index: *index });
            }
            Act::Stands if facts.guards().is_some() && facts.played.stands.is_none() => {
                self.push(Event::Stands {});
            }
            Act::Real => self.become_real(),
            _ => return Err(Refusal::NotNow),
        }
        Ok(())
    }

    /// From here on it is a rescue, and the call is ordered anew.
    fn become_real(&mut self) {
        self.push(Event::RealCalled {});
        let to = self.facts().next_caller();
        self.push(Event::CallOrdered { to });
    }

    /// What a living person shows in a drill is never played.
    pub(super) fn take_as_it_is(&mut self, condition: Condition) {
        let first = self.facts().focus == 0;
        if self.facts().guards().is_none() || !first {
            return;
        }
        match condition {
            Condition::NotAnswering => {
                self.become_real();
                // Who does not answer does not answer in the rescue either.
                self.push(Event::ConditionReported { condition });
            }
            Condition::Unwell if self.facts().played.let_stand.is_none() => {
                self.push_for(
                    1,
                    Event::CameDue {
                        what: Due::LetStand,
                    },
                );
            }
            _ => {}
        }
    }
}

/// The one thing to do when a living person has hung long enough.
pub(super) fn let_stand(facts: &Facts) -> Prompt {
    let message = match facts.watcher() {
        Some(id) => Message::with(Id::LetStandBy, [facts.name(id)]),
        None => Message::of(Id::LetStand),
    };
    Prompt::ask(message)
        .caution(Id::LetStandCaution)
        .main(Choice::new(Id::TheyStand, Act::Stands))
}
