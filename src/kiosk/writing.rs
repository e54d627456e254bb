//! Fills the page on which somebody writes in their own words, and says where what they wrote leads.
//!
//! A tablet has no keyboard, and hands may be gloved, so the keys are as large as every other touch: letters in the order of
//! the language, then digits, signs and accents. A real keyboard at a desk writes into the same field. What is written is
//! not sent from here: who says it, or who sees to it, is asked next, and the way back keeps the text.
//!
//! Limits: a key writes a small letter, and a large one where a sentence or a name begins; other large letters need a real
//! keyboard.

use super::entry::Next;
use super::presenter::Presenter;
use super::remarks::Draft;
use super::sight::{Sight, tile};
use super::tasks::{Wish, kept};
use super::ui::{Icon, SheetKind, State, Tone};
use super::view::View;
use crate::incident::{NAME_CHARS_MAX, Name, OwnWords, Owner, Unfit, WORDS_CHARS_MAX, Written};
use crate::words::{Id, Language, Phrase};
use slint::platform::WindowEvent;
use slint::{ComponentHandle, Global, SharedString};

/// Whose name is asked for, or whether it is what is said: the last thing that the page is about.
pub(super) const WORDS: &str = "words";
pub(super) const BY: &str = "by";
pub(super) const OWNER: &str = "owner";

const LETTERS: &str = "abcdefghijklmnopqrstuvwxyz";
const LETTERS_SPANISH: &str = "abcdefghijklmnñopqrstuvwxyz";
const SIGNS: &str = "1234567890.,?!'-:/()áéíóúüñ";
const SIGNS_SPANISH: &str = "áéíóúü1234567890.,¿?¡!-:/()";

/// The page about an incident and what is written so far.
pub(super) fn page(incident: &str, inner: String, asked: &str) -> Next {
    let about = vec![incident.to_owned(), inner, asked.to_owned()];
    Next::About(SheetKind::Write, about)
}

fn asked(about: &[String]) -> &str {
    about.get(2).map_or(WORDS, String::as_str)
}

/// What is asked.
pub(super) fn head(sight: Sight<'_>, about: &[String]) -> SharedString {
    let draft = Draft::of(about);
    sight.label(match (asked(about), draft.task, draft.nature) {
        (BY | OWNER, ..) => Id::WriteName,
        (_, true, _) => Id::WriteTask,
        (_, false, Some(_)) => Id::WriteFinding,
        (_, false, None) => Id::WriteRemark,
    })
}

/// The keys, and the two touches beside them.
pub(super) fn fill(view: &mut View, sight: Sight<'_>) {
    let (letters, signs) = match sight.language() {
        Language::Spanish => (LETTERS_SPANISH, SIGNS_SPANISH),
        _ => (LETTERS, SIGNS),
    };
    let keys = |all: &str| all.chars().map(|it| it.to_string().into()).collect();
    (view.write_letters, view.write_signs) = (keys(letters), keys(signs));
    view.change = tile(
        sight.label(Id::KeyDelete),
        SharedString::default(),
        Tone::Quiet,
        Icon::None,
    );
    view.sign = tile(
        sight.label(Id::KeyWritten),
        SharedString::default(),
        Tone::Plain,
        Icon::Check,
    );
}

/// What stands in the field when the page opens.
pub(super) fn begun(about: &[String]) -> String {
    match asked(about) {
        WORDS => Draft::of(about).text,
        _ => String::new(),
    }
}

/// A key as it is written after this text.
pub(super) fn key(about: &[String], text: &str, key: &str) -> String {
    let begins = match asked(about) {
        WORDS => {
            let before = text.trim_end();
            before.is_empty() || (before.len() < text.len() && before.ends_with(['.', '?', '!']))
        }
        _ => text.is_empty() || text.ends_with(' '),
    };
    match begins {
        true => key.to_uppercase(),
        false => key.to_owned(),
    }
}

/// How much room is left.
pub(super) fn left(sight: Sight<'_>, about: &[String], text: &str) -> SharedString {
    let max = match asked(about) {
        WORDS => WORDS_CHARS_MAX,
        _ => NAME_CHARS_MAX,
    };
    let count = text.trim().chars().count();
    match max.checked_sub(count) {
        Some(left) => sight.with(Id::WriteLeft, [&left.to_string()]),
        None => sight.with(Id::WriteLong, [&(count - max).to_string()]),
    }
}

/// Where a text leads that was written; the error says why it cannot be taken.
pub(super) fn next(sight: Sight<'_>, about: &[String], text: &str) -> Result<Next, SharedString> {
    let why = |unfit: Unfit| match unfit {
        Unfit::Empty => sight.label(Id::WriteEmpty),
        Unfit::Long(count, max) => sight.with(Id::WriteLong, [&(count - max).to_string()]),
        Unfit::Control(..) | Unfit::Turning(..) => sight.label(Id::WritePlain),
    };
    let [incident, inner, asked] = about else {
        return Ok(Next::Nothing);
    };
    match asked.as_str() {
        BY => {
            let name: Name = Written::new(text).map_err(why)?;
            let said = Draft::of(about).said(incident, Some(name));
            Ok(said.map_or(Next::Nothing, Next::Send))
        }
        OWNER => {
            let name: Name = Written::new(text).map_err(why)?;
            let owner = kept(&Owner::Named(name));
            let about = vec![incident.clone(), inner.clone(), owner];
            Ok(Next::About(SheetKind::TaskWhen, about))
        }
        _ => {
            let words: OwnWords = Written::new(text).map_err(why)?;
            let mut draft = Draft::of(about);
            if draft.task {
                let wish = Wish {
                    text: Phrase::Written(words.into()),
                    from: draft.from,
                };
                let about = vec![incident.clone(), wish.kept()];
                return Ok(Next::About(SheetKind::TaskWho, about));
            }
            draft.text = words.into();
            let about = vec![incident.clone(), draft.kept()];
            Ok(Next::About(SheetKind::RemarkWho, about))
        }
    }
}

/// The sheet that the page was opened from, and how much of what it is about that keeps.
pub(super) fn above(about: &[String]) -> Option<(SheetKind, usize)> {
    match (asked(about), Draft::of(about).task) {
        (BY, _) => Some((SheetKind::RemarkWho, 2)),
        (OWNER, _) => Some((SheetKind::TaskWho, 2)),
        (_, false) => Some((SheetKind::Remarks, 1)),
        (_, true) => None,
    }
}

impl Presenter {
    /// The field holds what was written so far.
    pub(super) fn begin_writing(&self) {
        let Some((app, about)) = self.window_and_about() else {
            return;
        };
        State::get(&app).set_write_text(begun(&about).into());
        self.edited();
    }

    /// A touched key reaches the field as a real one does, so that its caret and what is marked in it count.
    pub(super) fn key(&self, touched: &str) {
        let Some((app, about)) = self.window_and_about() else {
            return;
        };
        let text = key(&about, &State::get(&app).get_write_text(), touched);
        for text in text.chars().map(SharedString::from) {
            let pressed = WindowEvent::KeyPressed { text: text.clone() };
            app.window().dispatch_event(pressed);
            app.window()
                .dispatch_event(WindowEvent::KeyReleased { text });
        }
    }

    /// The text has changed: how much room is left.
    pub(super) fn edited(&self) {
        let Some((app, about)) = self.window_and_about() else {
            return;
        };
        let text = State::get(&app).get_write_text();
        let left = self.seen(|sight| left(sight, &about, &text));
        State::get(&app).set_write_note(left.unwrap_or_default());
    }

    /// The text is to be taken.
    pub(super) fn written(&self) {
        let Some((app, about)) = self.window_and_about() else {
            return;
        };
        let text = State::get(&app).get_write_text();
        match self.seen(|sight| next(sight, &about, &text)) {
            Some(Ok(next)) => self.follow(next),
            Some(Err(why)) => State::get(&app).set_write_note(why),
            None => {}
        }
    }
}
