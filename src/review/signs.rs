//! Says where on a timeline each kind of record stands and which sign it has there.
//!
//! Signs differ by their shape and say what came of it, good or bad, before anybody reads a word. What is only about the
//! program's own course has none.

use super::timeline::{About, Of};
use crate::incident::{Due, Event, Record, Report};

/// How something that happened at once is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Sign {
    /// Something that matters little on its own.
    Tick,
    /// One thing of several is done.
    Step,
    /// Something is reached or confirmed.
    Reached,
    /// Something did not work, is not there, or cannot be done.
    Failed,
    /// Something is later than it was to be.
    Late,
    /// Somebody fell.
    Fell,
    /// A method began.
    Began,
    /// A method was changed for another, or another turn was taken.
    Changed,
    /// Somebody was sent, or something was asked for.
    Order,
    /// Something was said or reported.
    Said,
    /// Danger.
    Alarm,
    /// A note.
    Note,
    /// A surprise of a drill.
    Surprise,
    /// A drill became a rescue.
    Real,
    /// The tablet had stopped.
    Fault,
    /// A touch was taken back.
    Back,
}

impl Sign {
    /// How much it matters that a reader finds it: 0 for what is there for completeness, 3 for what the story hangs on.
    pub fn weight(self) -> u8 {
        match self {
            Sign::Fell | Sign::Reached | Sign::Failed | Sign::Alarm | Sign::Real => 3,
            Sign::Began | Sign::Changed | Sign::Late | Sign::Surprise | Sign::Fault => 2,
            Sign::Order | Sign::Said | Sign::Note | Sign::Back => 1,
            Sign::Tick | Sign::Step => 0,
        }
    }
}

/// On which track a record stands.
pub(super) enum Place<'a> {
    /// On this one.
    On(Of),
    /// On that of a method, for the casualty of the record.
    Method(&'a str),
    /// On that of the method that runs for the casualty.
    Running,
    /// On that of a responder.
    Responder(&'a str),
    /// On those of everybody to whom these orders were given.
    Orders(&'a [u64]),
}

/// Where a record stands and with which sign; none for what only concerns the program.
pub(super) fn sign(record: &Record) -> Option<(Place<'_>, Sign)> {
    let of = |about| Place::On(Of::Casualty(record.casualty, about));
    let (clock, condition, care) = (of(About::Clock), of(About::Condition), of(About::Care));
    let (scene, help, command) = (
        Place::On(Of::Scene),
        Place::On(Of::Help),
        Place::On(Of::Command),
    );
    Some(match &record.event {
        Event::PromptShown { .. } | Event::ClockMarked {} => return None,
        Event::TaskSet(_) | Event::TaskDone { .. } | Event::TaskOpen { .. } => return None,
        Event::Reviewed(_) | Event::Found(_) => return None,
        Event::Activated { .. } | Event::CasualtyAdded { .. } => (clock, Sign::Fell),
        Event::FallTimeSet { .. } => (clock, Sign::Said),
        Event::CasualtyNamed { .. } | Event::CasualtyChosen {} | Event::WorkedOn {} => {
            (clock, Sign::Tick)
        }
        Event::FirstContactMade {} | Event::OffHarness {} | Event::AtLandingPlace {} => {
            (clock, Sign::Reached)
        }
        Event::StuckAloft {} => (clock, Sign::Failed),
        Event::ConditionReported { .. } => (condition, Sign::Said),
        Event::InDangerSaid { danger } => {
            (condition, if *danger { Sign::Alarm } else { Sign::Reached })
        }
        Event::AftercareAnswered { well, .. } => {
            (care, if *well { Sign::Step } else { Sign::Failed })
        }
        Event::CareRefused {} => (care, Sign::Said),
        Event::HandedOver { .. } => (care, Sign::Reached),
        Event::CameDue { what } => match what {
            Due::ChangeNear => (Place::Running, Sign::Late),
            Due::PastTarget => (clock, Sign::Late),
            Due::CheckDue | Due::CheckLost => (condition, Sign::Late),
            Due::CareCheck => (care, Sign::Late),
            Due::Surprise(_) | Due::LetStand => (Place::On(Of::Drill), Sign::Tick),
        },
        Event::MethodStarted { method, .. } => (Place::Method(method), Sign::Began),
        Event::StepDone { method, .. } | Event::TiedOff { method, .. } => {
            (Place::Method(method), Sign::Step)
        }
        Event::NotWorkingReported { method, .. } | Event::StopCalled { method, .. } => {
            (Place::Method(method), Sign::Failed)
        }
        Event::StraightWanted { method }
        | Event::FallbackStarted { method, .. }
        | Event::WentOn { method }
        | Event::MethodPutBack { method }
        | Event::MethodChanged { from: method, .. } => (Place::Method(method), Sign::Changed),
        Event::MoreTimeTaken { method, .. } => (Place::Method(method), Sign::Late),
        Event::Secured {} | Event::EntryConditionMet { .. } | Event::GroundHeld {} => {
            (Place::Running, Sign::Step)
        }
        Event::PositionChosen { .. } => (scene, Sign::Said),
        Event::SafeConfirmed {}
        | Event::HazardMadeSafe { .. }
        | Event::OthersStopped {}
        | Event::WayOpened { .. } => (scene, Sign::Reached),
        Event::NotSafeYet {}
        | Event::HazardNotSafeYet { .. }
        | Event::OthersNotYet {}
        | Event::WayBlocked { .. }
        | Event::KitGone { .. } => (scene, Sign::Failed),
        Event::WindReported { .. } => (scene, Sign::Said),
        Event::DangerCalled {} => (Place::On(Of::Danger), Sign::Alarm),
        Event::DangerCleared { .. } => (Place::On(Of::Danger), Sign::Reached),
        Event::CallOrdered { .. } | Event::OutsideAsked {} => (help, Sign::Order),
        Event::CallPassed {} | Event::HelpExpected { .. } => (help, Sign::Said),
        Event::CallConfirmed { .. } => (help, Sign::Reached),
        Event::CallFailed {} => (help, Sign::Failed),
        Event::OutsideTookOver {} | Event::OutsideLeft {} => (help, Sign::Changed),
        Event::OrderGiven { posting, .. } | Event::TaskGiven { posting, .. } => {
            (Place::Responder(&posting.responder), Sign::Order)
        }
        Event::ResponderReported { responder, report } => {
            (Place::Responder(responder), report_sign(*report))
        }
        Event::OrderWithdrawn { responder } => (Place::Responder(responder), Sign::Changed),
        Event::WordsSaid { orders, .. } => (Place::Orders(orders), Sign::Said),
        Event::OrdersUnanswered { orders } => (Place::Orders(orders), Sign::Late),
        Event::CommandTaken {} | Event::CommandNamed { .. } => (command, Sign::Changed),
        Event::BriefHeard {} => (command, Sign::Step),
        Event::SurpriseGiven { .. } => (Place::On(Of::Drill), Sign::Surprise),
        Event::SurpriseLeftOut { .. } => (Place::On(Of::Drill), Sign::Tick),
        Event::Stands {} => (Place::On(Of::Drill), Sign::Reached),
        Event::RealCalled {} => (Place::On(Of::Drill), Sign::Real),
        Event::Noted { .. } => (Place::On(Of::Notes), Sign::Note),
        Event::Unknown { .. } => (Place::On(Of::Notes), Sign::Tick),
        Event::Opened(_) | Event::ForecastAdopted { .. } | Event::LanguageChosen { .. } => {
            (Place::On(Of::Tablet), Sign::Tick)
        }
        Event::Resumed { .. } => (Place::On(Of::Tablet), Sign::Fault),
        Event::Corrected { .. } => (Place::On(Of::Tablet), Sign::Back),
        Event::KitWithdrawn { .. } | Event::StandDownAnswered { .. } => {
            (Place::On(Of::End), Sign::Step)
        }
        Event::StandDownBegan {} | Event::StandDownLeft {} => (Place::On(Of::End), Sign::Tick),
        Event::StoodDown {} => (Place::On(Of::End), Sign::Reached),
    })
}

fn report_sign(report: Report) -> Sign {
    match report {
        Report::Heard | Report::OnTheWay | Report::CanAgain => Sign::Said,
        Report::There => Sign::Reached,
        Report::Late => Sign::Late,
        Report::Cannot | Report::Lost | Report::Hurt => Sign::Failed,
    }
}
