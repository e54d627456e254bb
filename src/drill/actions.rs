//! Keeps what a debrief decided to do: each action with who sees to it and by when, carried until it is closed.
//!
//! Pure functions on a list; whoever calls them keeps the list. An action belongs to a person on the plan's list or to a role
//! that somebody still has to take. Nothing is ever removed: a closed action keeps the time at which it was closed.

use super::phrase::Phrase;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

/// Who sees to an action.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Owner {
    /// This responder, by id.
    Responder(String),
    /// Whoever holds this role, as it is called.
    Role(String),
}

/// Something to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Action {
    /// Its own id: the incident's, and a number.
    pub id: String,
    /// What is to be done.
    pub text: Phrase,
    /// Who sees to it.
    pub owner: Owner,
    /// By when.
    #[serde(with = "day")]
    pub due: NaiveDate,
    /// The incident whose debrief decided it.
    pub from_incident: String,
    /// Position id, where it is about one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<String>,
    /// Wall clock when it was decided, milliseconds since 1970 in UTC.
    pub made_ms: i64,
    /// Wall clock when it was closed; none while it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_ms: Option<i64>,
}

/// An action that is still open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Carried<'a> {
    /// The action.
    pub action: &'a Action,
    /// True once its day is over.
    pub overdue: bool,
}

/// What a new action is made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decided {
    /// What is to be done.
    pub text: Phrase,
    /// Who sees to it.
    pub owner: Owner,
    /// By when.
    pub due: NaiveDate,
    /// The incident whose debrief decided it.
    pub incident: String,
    /// Position id, where it is about one.
    pub position: Option<String>,
}

/// The open ones: those overdue first, then by the day they are due.
pub fn carried(actions: &[Action], today: NaiveDate) -> Vec<Carried<'_>> {
    let open = actions.iter().filter(|it| it.closed_ms.is_none());
    let mut open: Vec<Carried<'_>> = open
        .map(|action| Carried {
            action,
            overdue: action.due < today,
        })
        .collect();
    open.sort_by_key(|it| (it.action.due, it.action.made_ms, &it.action.id));
    open
}

/// The list with one more action, decided at `now_ms` on the wall clock.
pub fn add(actions: &[Action], decided: Decided, now_ms: i64) -> Vec<Action> {
    let id = |number: usize| format!("{}-{number}", decided.incident);
    let free = |id: &String| actions.iter().all(|it| it.id != *id);
    // One of so many numbers is free, because there are fewer actions than that.
    let mut ids = (1..=actions.len().saturating_add(1)).map(id);
    let own = ids.find(free).unwrap_or_else(|| decided.incident.clone());
    let mut all = actions.to_vec();
    all.push(Action {
        id: own,
        text: decided.text,
        owner: decided.owner,
        due: decided.due,
        from_incident: decided.incident,
        position: decided.position,
        made_ms: now_ms,
        closed_ms: None,
    });
    all
}

/// The list with this action closed at `now_ms` on the wall clock. What is closed already, or not there, stays as it is.
pub fn close(actions: &[Action], id: &str, now_ms: i64) -> Vec<Action> {
    changed(actions, id, |it| _ = it.closed_ms.get_or_insert(now_ms))
}

/// The list with this action open again, due on the day it was.
pub fn reopen(actions: &[Action], id: &str) -> Vec<Action> {
    changed(actions, id, |it| it.closed_ms = None)
}

fn changed(actions: &[Action], id: &str, change: impl Fn(&mut Action)) -> Vec<Action> {
    let mut all = actions.to_vec();
    all.iter_mut().filter(|it| it.id == id).for_each(change);
    all
}

/// A day of the calendar as `2026-11-25`.
mod day {
    use chrono::NaiveDate;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(day: &NaiveDate, out: S) -> Result<S::Ok, S::Error> {
        out.serialize_str(&day.format("%Y-%m-%d").to_string())
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<NaiveDate, D::Error> {
        let text = String::deserialize(from)?;
        let day = NaiveDate::parse_from_str(&text, "%Y-%m-%d");
        day.map_err(|_| D::Error::custom("a day is written as 2026-11-25"))
    }
}
