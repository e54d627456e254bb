//! Writes the activity log of an incident: who did what and when, in the parts that form ICS 214 of the Incident Command
//! System has, so that help from outside finds what it looks for.
//!
//! Plain text that any program opens and any printer prints. It is taken from the record; nothing in it was typed afterwards
//! but the name of who prepared it. Times are those of the place, with the offset that its clock had.
//!
//! Limits: the form's parts and their order, not its print. Who is who is what the plan and the orders say.

use crate::incident::{Event, Facts, Record, State};
use crate::readiness::Posting;
use crate::review::lines;
use crate::words::{Id, Language, Message, date_and_time, label};

/// A line to be filled in by hand.
const BLANK: &str = "________________________";

/// What an activity log is made from.
#[derive(Clone, Copy, Debug)]
pub struct ActivityLog<'a> {
    /// The records of one incident.
    pub records: &'a [Record],
    /// Who prepares the log; a line to be filled in by hand where nobody is named.
    pub by: Option<&'a str>,
    /// When it is made, as people read it.
    pub made_at: &'a str,
    /// Its language.
    pub language: Language,
}

impl ActivityLog<'_> {
    /// The log as text.
    pub fn text(&self) -> String {
        let state = State::replay(self.records.to_vec());
        let facts = &state.facts;
        let mut out = String::new();
        let mut line = |text: String| {
            out.push_str(text.trim_end());
            out.push('\n');
        };
        if self.is_drill() {
            line(self.say(Id::ActivityDrill, []));
        }
        line(self.say(Id::ActivityTitle, []));
        line(String::new());
        line(self.say(Id::ActivityIncident, [&self.incident(facts)]));
        let (from, to) = self.period();
        line(self.say(Id::ActivityPeriod, [&from, &to]));
        let holder = self.holder(facts);
        line(self.say(Id::ActivityName, [&holder]));
        line(self.say(
            Id::ActivityPosition,
            [&label(Id::ActivityInCommand, self.language)],
        ));
        let site = facts.opened.as_ref().map(|it| it.plan.site.name.clone());
        line(self.say(Id::ActivityAgency, [&site.unwrap_or_default()]));
        line(String::new());
        line(self.say(Id::ActivityPeople, []));
        for (name, tasks) in self.people(facts) {
            line(format!("   {name}: {tasks}"));
        }
        line(String::new());
        line(self.say(Id::ActivityLog, []));
        for (record, told) in self.records.iter().zip(lines(self.records, self.language)) {
            if !told.inner {
                let at = date_and_time(record.now.wall_ms, record.now.offset_min);
                line(format!(
                    "   {at}:{:02}  {}  ({})",
                    second(record),
                    told.text,
                    told.who
                ));
            }
        }
        line(String::new());
        let by = self.by.unwrap_or(BLANK);
        line(self.say(Id::ActivityPrepared, [by, self.made_at]));
        let signature = self.say(Id::ActivitySignature, []);
        line(format!("   {signature} {BLANK}"));
        out
    }

    fn say<const N: usize>(&self, id: Id, args: [&str; N]) -> String {
        Message::with(id, args).text(self.language)
    }

    /// True where it began as a drill: what was said then is part of it, whatever it became.
    fn is_drill(&self) -> bool {
        let mut events = self.records.iter().map(|it| &it.event);
        events.any(|it| matches!(it, Event::Opened(opening) if opening.drill))
    }

    /// What the incident is called: where somebody hung, and its id.
    fn incident(&self, facts: &Facts) -> String {
        let place = facts
            .case_of(1)
            .position()
            .map_or_else(|| self.say(Id::PlaceNotListed, []), |it| it.name.clone());
        let id = self.records.first().map_or("", |it| &it.incident);
        format!("{place}, {id}")
    }

    /// From when to when, by the clock of the place.
    fn period(&self) -> (String, String) {
        let during = || self.records.iter().filter(|it| !it.event.is_afterwards());
        let at = |record: Option<&Record>| {
            record.map_or_else(String::new, |it| {
                date_and_time(it.now.wall_ms, it.now.offset_min)
            })
        };
        (at(during().next()), at(during().next_back()))
    }

    /// Who was in command, in turn.
    fn holder(&self, facts: &Facts) -> String {
        let mut ids: Vec<&str> = Vec::new();
        for record in self.records {
            let id = match &record.event {
                Event::Opened(opening) => opening.in_command.as_deref(),
                Event::CommandNamed { by } => by.as_deref(),
                _ => None,
            };
            ids.extend(id.filter(|it| ids.last() != Some(it)));
        }
        let names: Vec<&str> = ids.into_iter().map(|it| facts.name(it)).collect();
        match names.is_empty() {
            true => BLANK.to_owned(),
            false => names.join(", "),
        }
    }

    /// Everybody who was given something to do, with what, in the order in which they were first sent.
    fn people(&self, facts: &Facts) -> Vec<(String, String)> {
        let mut all: Vec<(&str, Vec<String>)> = Vec::new();
        for record in self.records {
            let (Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. }) =
                &record.event
            else {
                continue;
            };
            let task = self.task(posting);
            match all.iter_mut().find(|it| it.0 == posting.responder) {
                Some((_, tasks)) if tasks.contains(&task) => {}
                Some((_, tasks)) => tasks.push(task),
                None => all.push((&posting.responder, vec![task])),
            }
        }
        let named = all.into_iter();
        named
            .map(|(id, tasks)| (facts.name(id).to_owned(), tasks.join("; ")))
            .collect()
    }

    /// What somebody was sent to be or to bring.
    fn task(&self, posting: &Posting) -> String {
        let standing = match posting.role.as_str() {
            Posting::FIRST_AID => Some(Id::TaskFirstAid),
            Posting::TALKER => Some(Id::TaskTalker),
            Posting::GUIDE => Some(Id::TaskGuide),
            Posting::RADIO => Some(Id::TaskRadio),
            _ => None,
        };
        match (standing, &posting.kit) {
            (Some(id), _) => label(id, self.language),
            (None, Some(kit)) => format!("{} ({kit})", posting.role.replace('-', " ")),
            (None, None) => posting.role.replace('-', " "),
        }
    }
}

/// The second within its minute: an activity log of a rescue is read to the second.
fn second(record: &Record) -> i64 {
    record.now.wall_ms.div_euclid(1_000).rem_euclid(60)
}
