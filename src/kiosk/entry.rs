//! Pairs what a choice of a sheet shows with what it asks for, so that the two cannot drift apart.
//!
//! The id of a choice is made from what it asks for. A touch on a list that has changed meanwhile therefore asks for what
//! stood there, or for nothing.

use super::ui::{Choice, Icon, SheetKind, Tone};
use crate::incident::Act;
use crate::signal::Tap;
use slint::SharedString;

/// What a choice leads to.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Next {
    /// This is sent and the sheet closes.
    Send(Tap),
    /// This is sent and the sheet stays.
    Stay(Tap),
    /// Another sheet.
    Open(SheetKind),
    /// Another sheet, about one thing, or about one that belongs to another.
    About(SheetKind, Vec<String>),
    /// This is sent, and the sheet that this one was opened from comes up again.
    Up(Tap),
    /// This is sent, and another sheet comes up, about one thing.
    To(Tap, SheetKind, Vec<String>),
    /// The log.
    Log,
    /// The page on which a drill is prepared.
    Drill,
    /// The page of what drills have shown.
    Learned,
    /// Nothing that this sheet knows.
    Nothing,
}

/// A choice and what it leads to.
#[derive(Clone, Debug)]
pub(super) struct Entry {
    pub(super) next: Next,
    pub(super) choice: Choice,
}

impl Entry {
    pub(super) fn new(next: Next, title: SharedString, sub: SharedString) -> Entry {
        Entry {
            choice: Choice {
                id: format!("{next:?}").into(),
                title,
                sub,
                tone: Tone::Plain,
                held: false,
                enabled: true,
                chosen: false,
                icon: Icon::None,
            },
            next,
        }
    }

    /// Something asked for in an incident.
    pub(super) fn act(act: Act, title: SharedString, sub: SharedString) -> Entry {
        Entry::new(Next::Send(Tap::Do(act)), title, sub)
    }

    /// Another sheet.
    pub(super) fn open(kind: SheetKind, title: SharedString, sub: SharedString) -> Entry {
        Entry::new(Next::Open(kind), title, sub)
    }

    pub(super) fn icon(mut self, icon: Icon) -> Entry {
        self.choice.icon = icon;
        self
    }

    pub(super) fn tone(mut self, tone: Tone) -> Entry {
        self.choice.tone = tone;
        self
    }

    pub(super) fn held(mut self) -> Entry {
        self.choice.held = true;
        self
    }

    pub(super) fn enabled(mut self, enabled: bool) -> Entry {
        self.choice.enabled = enabled;
        self
    }

    pub(super) fn chosen(mut self, chosen: bool) -> Entry {
        self.choice.chosen = chosen;
        self
    }
}
