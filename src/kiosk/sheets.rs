//! Says which sheet can be open, what its head says, and what a touched choice asks for.
//!
//! The sheets of a running incident are made in `casualty_sheets`, `crew_sheets` and `method_sheets`, those of the tablet in
//! `tablet_sheets`; each entry there is made together with what it asks for.

use super::entry::{Entry, Next};
use super::sight::Sight;
use super::ui::{Icon, Sheet, SheetKind};
use super::view::View;
use super::{casualty_sheets, crew_sheets, method_sheets, tablet_sheets};
use crate::words::{Id, Message};
use slint::SharedString;

/// Which sheet can be open in this state.
pub(super) fn applies(kind: SheetKind, sight: Sight<'_>) -> bool {
    match kind {
        SheetKind::None => true,
        SheetKind::Shift | SheetKind::Command | SheetKind::Plan | SheetKind::Tablet => {
            sight.facts().opened.is_none()
        }
        SheetKind::Language => true,
        _ => sight.facts().is_open(),
    }
}

pub(super) fn fill(view: &mut View, sight: Sight<'_>, kind: SheetKind, person: Option<&str>) {
    let hint = SharedString::default();
    let title = match kind {
        SheetKind::None | SheetKind::Command => return,
        SheetKind::Plan => {
            view.sheet = tablet_sheets::plan_head(sight);
            view.sheet_choices = choices(sight, kind, person);
            return;
        }
        SheetKind::Shift => view.shift.title.clone(),
        SheetKind::Call => sight.say(&crew_sheets::call_head(sight)),
        SheetKind::Person => {
            person.map_or_else(SharedString::default, |id| sight.facts().name(id).into())
        }
        SheetKind::Condition => sight.label(Id::SheetCondition),
        SheetKind::Ways => sight.label(Id::SheetOther),
        SheetKind::FallTime => sight.label(Id::SheetFall),
        SheetKind::Place => sight.label(Id::SheetWhere),
        SheetKind::Tablet => sight.label(Id::SheetTablet),
        SheetKind::People => sight.label(Id::SheetPeople),
        SheetKind::Casualties => sight.label(Id::SheetCasualties),
        SheetKind::Naming => sight.label(Id::SheetNaming),
        SheetKind::Stop => sight.label(Id::SheetStop),
        SheetKind::Wind => sight.label(Id::SheetWind),
        SheetKind::Note => sight.label(Id::SheetNote),
        SheetKind::More => sight.label(Id::SheetMore),
        SheetKind::Language => sight.label(Id::SheetLanguage),
    };
    view.sheet = Sheet { kind, title, hint };
    if kind == SheetKind::Call {
        let lines = crate::incident::call_words(sight.facts());
        view.sheet_lines = lines.iter().map(|it: &Message| sight.say(it)).collect();
    }
    view.sheet_choices = choices(sight, kind, person);
}

fn choices(sight: Sight<'_>, kind: SheetKind, person: Option<&str>) -> Vec<super::ui::Choice> {
    let shown = |entry: Entry| {
        let mut choice = entry.choice;
        if choice.chosen {
            // The tick that says so needs the room.
            choice.icon = Icon::None;
        }
        choice
    };
    let entries = entries(sight, kind, person);
    entries.into_iter().map(shown).collect()
}

fn entries(sight: Sight<'_>, kind: SheetKind, person: Option<&str>) -> Vec<Entry> {
    match kind {
        SheetKind::None | SheetKind::Command => Vec::new(),
        SheetKind::Condition => casualty_sheets::condition(sight),
        SheetKind::Casualties => casualty_sheets::casualties(sight),
        SheetKind::Naming => casualty_sheets::naming(sight),
        SheetKind::FallTime => casualty_sheets::fall_time(sight),
        SheetKind::Place => casualty_sheets::places(sight),
        SheetKind::Note => casualty_sheets::notes(sight),
        SheetKind::Ways => method_sheets::ways(sight),
        SheetKind::More => method_sheets::more(sight),
        SheetKind::Stop => method_sheets::stops(sight),
        SheetKind::Wind => method_sheets::winds(sight),
        SheetKind::Call => crew_sheets::call(sight),
        SheetKind::People => crew_sheets::people(sight),
        SheetKind::Person => crew_sheets::person(sight, person),
        SheetKind::Shift => tablet_sheets::shift(sight),
        SheetKind::Plan => tablet_sheets::plan(sight),
        SheetKind::Tablet => tablet_sheets::tablet(sight),
        SheetKind::Language => tablet_sheets::languages(sight),
    }
}

/// What a touched choice asks for.
pub(super) fn chosen(sight: Sight<'_>, kind: SheetKind, person: Option<&str>, id: &str) -> Next {
    let mut entries = entries(sight, kind, person).into_iter();
    entries
        .find(|entry| entry.choice.id == id && entry.choice.enabled)
        .map_or(Next::Nothing, |entry| entry.next)
}
