//! Names whose times were learned, and of what, in words of any language.

use super::learn::{Learned, Subject, Whose};
use super::phrase::Phrase;
use crate::plan::Plan;
use crate::words::Id;

impl Learned {
    /// Whose times these are.
    pub fn whose_told(&self, plan: &Plan) -> Phrase {
        match &self.whose {
            Whose::Site => Phrase::of(Id::WhoseSite),
            Whose::Position(id) => position(plan, id).into(),
            Whose::Command(id) => Phrase::with(Id::WhoseCommand, [person(plan, id).into()]),
            Whose::Crew(ids) => {
                let names: Vec<String> = ids.iter().map(|id| person(plan, id)).collect();
                Phrase::with(Id::WhoseCrew, [names.join(", ").into()])
            }
        }
    }

    /// What was timed; a method is named as at its position.
    pub fn subject_told(&self, plan: &Plan) -> Phrase {
        let place = |id: &str| plan.place(id).map_or(id.to_owned(), |it| it.name.clone());
        match &self.subject {
            Subject::Call => Phrase::of(Id::SubjectCall),
            Subject::Safe => Phrase::of(Id::SubjectSafe),
            Subject::Contact => Phrase::of(Id::SubjectContact),
            Subject::Off => Phrase::of(Id::SubjectOff),
            Subject::Landed => Phrase::of(Id::SubjectLanded),
            Subject::Step { method, step, say } => {
                let there = match &self.whose {
                    Whose::Position(id) => plan.position(id),
                    Whose::Site | Whose::Command(_) | Whose::Crew(_) => None,
                };
                let name = there.and_then(|it| it.method(method));
                let name = name.map_or(method.as_str(), |it| it.name.as_str());
                let number = step.saturating_add(1).to_string();
                Phrase::with(
                    Id::SubjectStep,
                    [name.into(), number.into(), say.as_str().into()],
                )
            }
            Subject::Way { from, station, to } => {
                let (from, to) = (place(from).into(), place(to).into());
                match station {
                    None => Phrase::with(Id::SubjectWay, [from, to]),
                    Some(id) => {
                        let name = plan.station(id).map_or(id.as_str(), |it| it.name.as_str());
                        Phrase::with(Id::SubjectWayBy, [from, to, name.into()])
                    }
                }
            }
            Subject::Said => Phrase::of(Id::SubjectSaid),
            Subject::Heard => Phrase::of(Id::SubjectHeard),
        }
    }
}

fn position(plan: &Plan, id: &str) -> String {
    plan.position(id)
        .map_or_else(|| id.to_owned(), |it| it.name.clone())
}

fn person(plan: &Plan, id: &str) -> String {
    plan.responder(id)
        .map_or_else(|| id.to_owned(), |it| it.name.clone())
}
