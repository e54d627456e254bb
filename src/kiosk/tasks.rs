//! Fills the page of what is to be done after drills and rescues, and the sheets on which it is decided.
//!
//! Of one incident: what was decided already, and what its record suggests. Of all of them: what is still open, the overdue
//! first. Everything said here goes into the record of its incident; the page shows it once it is there.

use super::entry::{Entry, Next};
use super::remarks::{self, Draft};
use super::sight::Sight;
use super::ui::{Icon, Screen, SheetKind, Tone};
use super::view::View;
use super::writing;
use crate::incident::Owner;
use crate::review::{Carried, open};
use crate::signal::{Afterwards, LogEntry, Tap};
use crate::words::{Id, Phrase, date_and_time};
use serde::{Deserialize, Serialize};
use slint::SharedString;

/// In how many days something is to be done.
const IN_DAYS: [u16; 6] = [3, 7, 14, 30, 60, 90];

pub(super) fn fill(view: &mut View, sight: Sight<'_>, incident: Option<&str>) {
    view.screen = Screen::Tasks;
    let one = incident.and_then(|id| entry(sight, id));
    view.page_title = match one {
        Some(it) => sight.with(Id::TasksOfOne, [&it.place, &it.when]),
        None => sight.label(Id::TasksTitle),
    };
    let today = sight.now.day();
    let tasks = |it: &LogEntry| it.tasks.clone();
    let shown: Vec<Carried> = match one {
        Some(it) => tasks(it),
        None => sight.snapshot.log.iter().flat_map(tasks).collect(),
    };
    let is_open = shown.iter().filter(|it| it.done_ms.is_none()).count();
    let overdue = shown.iter().filter(|it| it.is_overdue(today)).count();
    (view.page_sub, view.page_tone) = match (is_open, overdue) {
        (0, _) if one.is_some() => (sight.label(Id::TasksChoose), Tone::Plain),
        (0, _) => (sight.label(Id::TasksNone), Tone::Plain),
        (open, overdue) => (
            sight.with(Id::TasksOpen, [&open.to_string(), &overdue.to_string()]),
            if overdue > 0 {
                Tone::Caution
            } else {
                Tone::Plain
            },
        ),
    };
    view.parts = entries(sight, incident)
        .into_iter()
        .map(|it| it.choice)
        .collect();
}

fn entry<'a>(sight: Sight<'a>, incident: &str) -> Option<&'a LogEntry> {
    let mut all = sight.snapshot.log.iter();
    all.find(|it| it.incident == incident)
}

/// How many tasks are overdue, over all incidents.
pub(super) fn overdue(sight: Sight<'_>) -> usize {
    let today = sight.now.day();
    let all = sight.snapshot.log.iter().flat_map(|it| &it.tasks);
    all.filter(|it| it.is_overdue(today)).count()
}

/// The touches of the page.
pub(super) fn entries(sight: Sight<'_>, incident: Option<&str>) -> Vec<Entry> {
    let Some(incident) = incident else {
        let all = sight.snapshot.log.iter();
        let all = all.map(|it| (it.incident.as_str(), it.tasks.as_slice()));
        let all = open(all).into_iter();
        return all.map(|(id, it)| task_entry(sight, id, it)).collect();
    };
    let Some(one) = entry(sight, incident) else {
        return Vec::new();
    };
    let decided = one.tasks.iter().map(|it| task_entry(sight, incident, it));
    let read = &sight.snapshot.log_read;
    let suggested = read.suggested.iter().filter(|_| read.incident == incident);
    let new = suggested.filter(|text| one.tasks.iter().all(|it| it.task.text != **text));
    let new = new.map(|text| {
        let wish = Wish {
            text: text.clone(),
            from: None,
        };
        let next = Next::About(SheetKind::TaskWho, vec![incident.to_owned(), wish.kept()]);
        Entry::new(next, said(sight, text), SharedString::default())
            .icon(Icon::Note)
            .enabled(one.closed && one.intact)
    });
    let said = Next::About(SheetKind::Remarks, vec![incident.to_owned()]);
    let said = Entry::new(
        said,
        sight.label(Id::RemarksTile),
        remarks::count(sight, incident),
    );
    let own = Draft {
        task: true,
        ..Draft::default()
    };
    let own = writing::page(incident, own.kept(), writing::WORDS);
    let own = Entry::new(own, sight.label(Id::TasksOther), SharedString::default());
    let own = own.icon(Icon::Note).enabled(one.closed && one.intact);
    [said.icon(Icon::Log)]
        .into_iter()
        .chain(decided)
        .chain(new)
        .chain([own])
        .collect()
}

/// Nothing can be added to what has not ended, or was altered.
pub(super) fn may_add(sight: Sight<'_>, incident: &str) -> bool {
    entry(sight, incident).is_some_and(|it| it.closed && it.intact)
}

/// Something that may become a task: what, and the finding that it comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Wish {
    pub(super) text: Phrase,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(super) from: Option<u64>,
}

impl Wish {
    /// The one that a sheet is about.
    fn of(about: &[String]) -> Option<Wish> {
        serde_json::from_str(about.get(1)?).ok()
    }

    /// What a sheet is told of it.
    pub(super) fn kept(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }
}

fn said(sight: Sight<'_>, text: &Phrase) -> SharedString {
    text.text(sight.language()).into()
}

fn task_entry(sight: Sight<'_>, incident: &str, it: &Carried) -> Entry {
    let due = it.task.due.format("%Y-%m-%d").to_string();
    let who = owner(sight, &it.task.owner);
    let overdue = it.is_overdue(sight.now.day());
    let sub = match (it.done_ms, overdue) {
        (Some(done_ms), _) => {
            let day = date_and_time(done_ms, sight.now.offset_min);
            let day = day.split(' ').next().unwrap_or_default().to_owned();
            sight.with(Id::TaskIsDone, [&day])
        }
        (None, true) => sight.with(Id::TaskOverdue, [&who, &due]),
        (None, false) => sight.with(Id::TaskBy, [&who, &due]),
    };
    let about = vec![incident.to_owned(), it.number.to_string()];
    let entry = Entry::new(
        Next::About(SheetKind::Task, about),
        said(sight, &it.task.text),
        sub,
    );
    let entry = entry.chosen(it.done_ms.is_some());
    match overdue {
        true => entry.tone(Tone::Caution),
        false => entry.icon(Icon::Clock),
    }
}

/// What a sheet is told of whoever sees to it.
pub(super) fn kept(owner: &Owner) -> String {
    serde_json::to_string(owner).unwrap_or_default()
}

fn owner(sight: Sight<'_>, owner: &Owner) -> String {
    match owner {
        Owner::Responder(id) => {
            let person = sight.snapshot.plan.plan.responder(id);
            person.map_or_else(|| id.clone(), |it| it.name.clone())
        }
        Owner::Role(role) => role.clone(),
        Owner::Named(name) => name.to_string(),
    }
}

/// What a sheet about a task is about, in words.
pub(super) fn hint(sight: Sight<'_>, kind: SheetKind, about: &[String]) -> SharedString {
    match kind {
        SheetKind::Task => {
            task(sight, about).map_or_else(SharedString::default, |it| said(sight, &it.task.text))
        }
        _ => {
            let wish = Wish::of(about);
            wish.map_or_else(SharedString::default, |it| said(sight, &it.text))
        }
    }
}

fn task<'a>(sight: Sight<'a>, about: &[String]) -> Option<&'a Carried> {
    let one = entry(sight, about.first()?)?;
    let number = about.get(1)?.parse::<u64>().ok()?;
    one.tasks.iter().find(|it| it.number == number)
}

/// Everybody of the plan, because who is off today may see to something tomorrow; and anybody else.
pub(super) fn who(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let [incident, wish] = about else {
        return Vec::new();
    };
    let other = writing::page(incident, wish.clone(), writing::OWNER);
    let other = Entry::new(other, sight.label(Id::NameOther), SharedString::default());
    let people = sight.snapshot.plan.plan.responders.iter();
    let people = people.map(|it| {
        let mut about = about.to_vec();
        about.push(kept(&Owner::Responder(it.id.clone())));
        Entry::new(
            Next::About(SheetKind::TaskWhen, about),
            it.name.as_str().into(),
            SharedString::default(),
        )
    });
    [other.icon(Icon::Note)].into_iter().chain(people).collect()
}

pub(super) fn when(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let [incident, _, owner] = about else {
        return Vec::new();
    };
    let (Some(wish), Ok(owner)) = (Wish::of(about), serde_json::from_str::<Owner>(owner)) else {
        return Vec::new();
    };
    let today = sight.now.day();
    IN_DAYS
        .iter()
        .map(|days| {
            let due = today.checked_add_days(chrono::Days::new((*days).into()));
            let due = due.unwrap_or(today).format("%Y-%m-%d").to_string();
            let tap = Tap::Afterwards {
                incident: incident.clone(),
                what: Afterwards::Set {
                    text: wish.text.clone(),
                    owner: owner.clone(),
                    in_days: *days,
                    from: wish.from,
                },
            };
            Entry::new(
                Next::Send(tap),
                sight.with(Id::TaskInDays, [&days.to_string()]),
                due.into(),
            )
        })
        .collect()
}

pub(super) fn one(sight: Sight<'_>, about: &[String]) -> Vec<Entry> {
    let (Some(incident), Some(it)) = (about.first(), task(sight, about)) else {
        return Vec::new();
    };
    let (what, title, icon) = match it.done_ms {
        None => (Afterwards::Done(it.number), Id::TaskDoneTouch, Icon::Check),
        Some(_) => (Afterwards::Open(it.number), Id::TaskOpenTouch, Icon::Undo),
    };
    let tap = Tap::Afterwards {
        incident: incident.clone(),
        what,
    };
    vec![Entry::new(Next::Send(tap), sight.label(title), SharedString::default()).icon(icon)]
}
