//! Says what drills taught: for each position, team and step how long it took, and whether it becomes quicker.
//!
//! Only what was played alike is put together: a rescue, a drill and a drill at a table are never mixed. Times broken off are
//! counted as such. Below the policy's number of drills nothing is summed up, only counted. The same lessons in any order say
//! the same. Limits: a team's times mix the positions at which it drilled, so how many those were stands beside them.

use std::collections::{BTreeMap, BTreeSet};

use super::lesson::{Lesson, Played};
use super::statistics::{Span, Summary, Trend, summary, trend};

/// Whose times these are.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Whose {
    /// The whole site.
    Site,
    /// A position, by its id.
    Position(String),
    /// Drills with this person in command, by responder id.
    Command(String),
    /// Drills in which just these were sent, by responder id.
    Crew(Vec<String>),
}

/// What was timed.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Subject {
    /// From the fall to the confirmed emergency call.
    Call,
    /// From the fall until one may go near.
    Safe,
    /// From the fall to a responder's touch.
    Contact,
    /// From the fall to off the harness.
    Off,
    /// From the fall to the landing place.
    Landed,
    /// A step of a method at the position, from the step before to its end.
    Step {
        /// Method id.
        method: String,
        /// Index of the step.
        step: usize,
        /// What is done in it.
        say: String,
    },
    /// A way, from the read-back of its order to being there.
    Way {
        /// Place id where it begins.
        from: String,
        /// Station id where kit is picked up.
        station: Option<String>,
        /// Place id where it ends.
        to: String,
    },
    /// From an order to its being said over the radio.
    Said,
    /// From when the words of an order could be begun to its being read back.
    Heard,
}

/// One time of one drill.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Timed {
    /// Wall clock at its activation, ms since 1970.
    pub started_ms: i64,
    /// Incident id of the drill.
    pub incident: String,
    /// The time.
    pub span: Span,
}

/// What is known of one time of one of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Learned {
    /// Whose.
    pub whose: Whose,
    /// What.
    pub subject: Subject,
    /// How many drills it comes from.
    pub drills: u32,
    /// At how many positions those were.
    pub positions: u32,
    /// Every time, the oldest first.
    pub times: Vec<Timed>,
    /// The times in short; none where there are not enough drills yet.
    pub summary: Option<Summary>,
    /// How they change; none where there are not enough drills yet, or all were on one day.
    pub trend: Option<Trend>,
}

/// What the lessons of one kind teach, sorted by whose they are and what; `enough` drills are needed to sum anything up.
pub fn learned(lessons: &[Lesson], played: Played, enough: u32) -> Vec<Learned> {
    let mut found: BTreeMap<(Whose, Subject), Vec<(&Lesson, Span)>> = BTreeMap::new();
    for lesson in counted(lessons, played) {
        let mut add = |whose: &Whose, subject: Subject, span: Option<Span>| {
            if let Some(span) = span {
                let times = found.entry((whose.clone(), subject)).or_default();
                times.push((lesson, span));
            }
        };
        let position = lesson.position.clone().map(Whose::Position);
        let command = lesson.in_command.clone().map(Whose::Command);
        let crew = (!lesson.crew.is_empty()).then(|| Whose::Crew(lesson.crew.clone()));
        for whose in position.iter().chain(&command).chain(&crew) {
            add(whose, Subject::Call, lesson.call);
            add(whose, Subject::Safe, lesson.safe);
            add(whose, Subject::Contact, lesson.contact);
            add(whose, Subject::Off, lesson.off);
            add(whose, Subject::Landed, lesson.landed);
        }
        for it in &lesson.steps {
            let subject = Subject::Step {
                method: it.method.clone(),
                step: it.step,
                say: it.say.clone(),
            };
            let at = Whose::Position(it.position.clone());
            add(&at, subject, Some(it.span));
        }
        for it in &lesson.ways {
            let subject = Subject::Way {
                from: it.from.clone(),
                station: it.station.clone(),
                to: it.to.clone(),
            };
            add(&Whose::Site, subject, Some(it.span));
        }
        for whose in [Whose::Site].iter().chain(&command).chain(&crew) {
            for span in &lesson.said {
                add(whose, Subject::Said, Some(*span));
            }
            for span in &lesson.heard {
                add(whose, Subject::Heard, Some(*span));
            }
        }
    }
    let found = found.into_iter();
    found
        .map(|((whose, subject), times)| one(whose, subject, &times, enough))
        .collect()
}

/// Those that were played alike, the oldest first; an incident that is there twice counts once.
pub(super) fn counted(lessons: &[Lesson], played: Played) -> impl Iterator<Item = &Lesson> {
    let mut own: Vec<&Lesson> = lessons.iter().filter(|it| it.played == played).collect();
    own.sort_by_key(|it| (it.started_ms, it.incident.as_str()));
    own.dedup_by_key(|it| it.incident.as_str());
    own.into_iter()
}

fn one(whose: Whose, subject: Subject, times: &[(&Lesson, Span)], enough: u32) -> Learned {
    let drills: BTreeSet<&str> = times.iter().map(|it| it.0.incident.as_str()).collect();
    let positions: BTreeSet<_> = times.iter().map(|it| &it.0.position).collect();
    let count = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let drills = count(drills.len());
    let dated: Vec<(i64, Span)> = times.iter().map(|it| (it.0.started_ms, it.1)).collect();
    let spans: Vec<Span> = times.iter().map(|it| it.1).collect();
    let is_enough = drills >= enough.max(1);
    // What a day changes, put for 30 of them, is a figure that nobody believes.
    let days: BTreeSet<i64> = times.iter().map(|it| it.0.day()).collect();
    let mut all: Vec<Timed> = times
        .iter()
        .map(|(lesson, span)| Timed {
            started_ms: lesson.started_ms,
            incident: lesson.incident.clone(),
            span: *span,
        })
        .collect();
    all.sort();
    Learned {
        whose,
        subject,
        drills,
        positions: count(positions.len()),
        times: all,
        summary: is_enough.then(|| summary(&spans)),
        trend: (is_enough && days.len() > 1)
            .then(|| trend(&dated))
            .flatten(),
    }
}
