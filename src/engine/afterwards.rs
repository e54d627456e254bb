//! Adds to the records of incidents that have ended: what reviewers say and find, what is to be done, and that it is done.
//!
//! The journal takes one addition at a time and says how that went; what was added is read again, so that the screen shows
//! what stands in the record and nothing else.

use super::Engine;
use crate::incident::{Event, Moment, Task};
use crate::signal::{Addition, Afterwards, Effect, JournalReport};
use chrono::Days;

impl Engine {
    /// Adds what somebody says of an incident that has ended. Nobody looks back while somebody hangs.
    pub(super) fn afterwards(
        &mut self,
        incident: String,
        what: Afterwards,
        now: &Moment,
    ) -> Vec<Effect> {
        if self.state.facts.is_open() {
            return Vec::new();
        }
        let event = match what {
            Afterwards::Set {
                text,
                owner,
                in_days,
                from,
            } => {
                let due = now.day().checked_add_days(Days::new(in_days.into()));
                let due = due.unwrap_or(now.day());
                Event::TaskSet(Task {
                    text,
                    owner,
                    due,
                    from,
                    by: None,
                })
            }
            Afterwards::Done(task) => Event::TaskDone { task, by: None },
            Afterwards::Open(task) => Event::TaskOpen { task, by: None },
            Afterwards::Reviewed(remark) => Event::Reviewed(remark),
            Afterwards::Found(finding) => Event::Found(finding),
        };
        let holder = self.kept.settings.in_command.clone();
        self.adding = Some(incident.clone());
        vec![Effect::Add(Box::new(Addition {
            incident,
            now: now.clone(),
            who: holder.unwrap_or_else(|| "tablet".to_owned()),
            event,
        }))]
    }

    /// What was added is read again; what could not be is said.
    pub(super) fn added(&mut self, report: &JournalReport) -> Vec<Effect> {
        match report {
            JournalReport::NotAdded { why, .. } => {
                (self.adding, self.not_added) = (None, Some(why.clone()));
                Vec::new()
            }
            JournalReport::Closed { incident, .. } if self.adding.as_ref() == Some(incident) => {
                (self.adding, self.not_added) = (None, None);
                let incident = incident.clone();
                vec![Effect::ReadLog, Effect::ReadIncident { incident }]
            }
            _ => Vec::new(),
        }
    }
}
