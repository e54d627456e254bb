//! What a screen is made from: one snapshot, the time, the language.

use super::ui::{Icon, Saved, Tile, Tone};
use crate::incident::{Facts, Moment};
use crate::readiness::{Grade, Scope};
use crate::signal::{self, Snapshot};
use crate::units::Millis;
use crate::words::{Id, Language, Message};
use slint::SharedString;

/// A snapshot looked at at a moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sight<'a> {
    /// Everything there is to show.
    pub(super) snapshot: &'a Snapshot,
    /// The clocks now.
    pub(super) now: &'a Moment,
}

impl<'a> Sight<'a> {
    pub(super) fn facts(&self) -> &'a Facts {
        &self.snapshot.facts
    }

    /// The time on the incident's own time line.
    pub(super) fn at(&self) -> Millis {
        self.facts().line.at(self.now)
    }

    pub(super) fn language(&self) -> Language {
        let opened = self.facts().opened.as_ref();
        opened.map_or(self.snapshot.settings.language, |o| o.language)
    }

    /// The text of a message.
    pub(super) fn say(&self, message: &Message) -> SharedString {
        message.text(self.language()).into()
    }

    /// The text of a message without arguments.
    pub(super) fn label(&self, id: Id) -> SharedString {
        self.say(&Message::of(id))
    }

    /// The text of a message with arguments.
    pub(super) fn with<const N: usize>(&self, id: Id, args: [&str; N]) -> SharedString {
        self.say(&Message::with(id, args))
    }

    /// Who is here and what is not ready, as the shift is asked with.
    pub(super) fn roll(&self) -> Roll {
        let snapshot = self.snapshot;
        let people = snapshot.plan.plan.responders.iter().map(|it| &it.id);
        let absent = &snapshot.roll_call.absent;
        let standings = snapshot.standings.iter();
        let not_ready = standings.filter(|it| it.grade == Grade::NotReady);
        Roll {
            present: people.filter(|id| !absent.contains(id)).cloned().collect(),
            not_ready: not_ready.map(|it| it.position.clone()).collect(),
        }
    }

    /// The wall clock at a moment of the incident's time line.
    pub(super) fn wall_ms(&self, at: Millis) -> i64 {
        self.facts()
            .opened
            .as_ref()
            .map_or(0, |o| o.started.wall_ms)
            .saturating_add(at.0)
    }

    /// What the saved mark says.
    pub(super) fn saved(&self) -> Saved {
        match &self.snapshot.saved {
            signal::Saved::Nothing => Saved::default(),
            signal::Saved::Yes(_) => Saved {
                text: self.label(Id::Saved),
                good: true,
            },
            signal::Saved::Saving(_) => Saved {
                text: self.label(Id::Saving),
                good: true,
            },
            signal::Saved::Failing(_) => Saved {
                text: self.label(Id::NotSaved),
                good: false,
            },
        }
    }
}

/// Who is here and what is not ready.
#[derive(Debug)]
pub(super) struct Roll {
    /// Responder ids.
    pub(super) present: Vec<String>,
    /// Position ids.
    pub(super) not_ready: Vec<String>,
}

impl Roll {
    pub(super) fn scope<'a>(&'a self, sight: Sight<'a>) -> Scope<'a> {
        Scope {
            plan: &sight.snapshot.plan.plan,
            present: &self.present,
            not_ready: &self.not_ready,
        }
    }
}

/// A tile.
pub(super) fn tile(title: SharedString, sub: SharedString, tone: Tone, icon: Icon) -> Tile {
    Tile {
        title,
        sub,
        tone,
        icon,
        badge: SharedString::default(),
    }
}

/// A name from a plan at the start of a line.
pub(super) fn capital(name: &str) -> SharedString {
    let mut chars = name.chars();
    match chars.next() {
        Some(first) => first.to_uppercase().chain(chars).collect::<String>().into(),
        None => SharedString::default(),
    }
}

/// The signs of a running time, one each, as the screen's boxes take them.
pub(super) fn digits(time: &str) -> Vec<SharedString> {
    time.chars().map(SharedString::from).collect()
}
