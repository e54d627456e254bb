//! Sums an incident up in numbers and names, for lists, filters and trends that must not read every record.
//!
//! Says nothing in any language: whoever shows it does. Whole milliseconds, so that a digest read back is the digest
//! that was made. What it does not hold is read from the records.

use super::tasks::{Carried, tasks};
use crate::drill::Lesson;
use crate::incident::{Case, Event, Nature, State, Whereabouts};
use crate::units::Millis;
use crate::words::{Id, Language, clock, label};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// One incident in short.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Digest {
    /// Wall clock at activation, milliseconds since 1970 in UTC.
    pub started_ms: i64,
    /// Offset of local time from UTC at activation, minutes.
    pub offset_min: i32,
    /// Name of the site.
    pub site: String,
    /// SHA-256 of the plan in use, 64 hex digits.
    pub plan_sha: String,
    /// True for a drill.
    pub drill: bool,
    /// True where nobody climbed: it was played at a table.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub table_top: bool,
    /// True once stood down.
    pub closed: bool,
    /// Everybody who hung, in the order of their numbers.
    pub casualties: Vec<Hung>,
    /// Who had which role that asks for a qualification: responder id and qualification, each pair once.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub qualified: Vec<(String, String)>,
    /// What is to be done about it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub tasks: Vec<Carried>,
    /// How many remarks of reviewers there are, findings not among them.
    #[serde(skip_serializing_if = "is_zero")]
    pub remarks: u64,
    /// How many findings there are of each kind.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub findings: BTreeMap<Nature, u64>,
}

fn is_zero(number: &u64) -> bool {
    *number == 0
}

/// One casualty in short. All times are since their fall.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Hung {
    /// Position id, where the plan knows it.
    pub position: Option<String>,
    /// That position as spoken.
    pub place: Option<String>,
    /// True where the times are only lower bounds.
    pub at_least: bool,
    /// When a responder could touch them.
    pub contact_ms: Option<i64>,
    /// When the weight was off the harness.
    pub off_ms: Option<i64>,
    /// When they were at the landing place.
    pub landed_ms: Option<i64>,
    /// Ids of the methods tried, in order.
    pub methods: Vec<String>,
}

impl Digest {
    /// Sums up what is known.
    pub fn of(state: &State) -> Digest {
        let facts = &state.facts;
        let opened = facts.opened.as_ref();
        let first = state.log.first();
        let started = first.map(|record| &record.now);
        let plan_sha = first.and_then(|record| match &record.event {
            Event::Opened(opening) => Some(opening.plan_sha.clone()),
            _ => None,
        });
        Digest {
            started_ms: started.map_or(0, |now| now.wall_ms),
            offset_min: started.map_or(0, |now| now.offset_min),
            site: opened.map_or_else(String::new, |it| it.plan.site.name.clone()),
            plan_sha: plan_sha.unwrap_or_default(),
            drill: opened.is_some_and(|it| it.drill),
            table_top: opened
                .and_then(|it| it.exercise.as_ref())
                .is_some_and(|it| it.table_top),
            closed: facts.stood_down.is_some(),
            casualties: facts.cases().map(hung).collect(),
            qualified: qualified(state),
            tasks: tasks(&state.log),
            ..Digest::reviewed(state)
        }
    }

    /// How much reviewers said.
    fn reviewed(state: &State) -> Digest {
        let mut digest = Digest::default();
        for record in &state.log {
            match &record.event {
                Event::Reviewed(_) => digest.remarks = digest.remarks.saturating_add(1),
                Event::Found(finding) => {
                    let count = digest.findings.entry(finding.nature).or_default();
                    *count = count.saturating_add(1);
                }
                _ => {}
            }
        }
        digest
    }

    /// Where the first casualty hung, as spoken.
    pub fn place(&self, language: Language) -> String {
        let place = self.casualties.first().and_then(|it| it.place.clone());
        place.unwrap_or_else(|| label(Id::PlaceNotListed, language))
    }

    /// How long each casualty hung, in the order of their numbers; none while somebody still hangs.
    pub fn hung(&self) -> Option<String> {
        let all: Option<Vec<String>> = self
            .casualties
            .iter()
            .map(|it| Some(clock(Millis(it.off_ms?))))
            .collect();
        all.filter(|all| !all.is_empty()).map(|all| all.join(", "))
    }
}

/// Who had which role that asks for a qualification, in a drill.
fn qualified(state: &State) -> Vec<(String, String)> {
    let began_as_drill = state.log.first().is_some_and(|record| match &record.event {
        Event::Opened(opening) => opening.drill,
        _ => false,
    });
    let lesson = began_as_drill.then(|| Lesson::of(state)).flatten();
    let parts = lesson.into_iter().flat_map(|it| it.parts);
    let named: BTreeSet<(String, String)> = parts
        .filter_map(|part| Some((part.responder, part.qualification?)))
        .collect();
    named.into_iter().collect()
}

fn hung(case: Case<'_>) -> Hung {
    let casualty = case.casualty;
    let since = |at: Millis| at.0.saturating_sub(casualty.fell.0);
    let tried = casualty.windows.iter().filter(|it| !it.untried);
    let running = casualty.running.iter().map(|it| &it.method);
    Hung {
        position: match &casualty.place {
            Whereabouts::Known(id) => Some(id.clone()),
            Whereabouts::Unknown | Whereabouts::NotListed => None,
        },
        place: case.position().map(|it| it.name.clone()),
        at_least: case.at_least(),
        contact_ms: casualty.contact.map(since),
        off_ms: casualty.off.map(|(at, _)| since(at)),
        landed_ms: casualty.landed.map(since),
        methods: tried.map(|it| &it.method).chain(running).cloned().collect(),
    }
}
