//! Lists what a touch can ask for, and decides what each of them brings about.
//!
//! What does not apply now is refused and leaves no trace: a second tap on a button that has gone does nothing.

use super::decide::{Draft, Refusal, Wanted};
use super::dispatch::Others;
use super::event::{
    Aftercare, CareTaker, Closing, Condition, Event, Note, Report, Stop, Teller, Why,
};
use super::loaded::loaded;
use super::radio;
use super::state::{Facts, Handing, MORE_TIME, MORE_TIME_MAX, Securing};
use super::working::held_back;
use crate::plan::Milestone;
use crate::units::{Millis, Speed};
use crate::words::Language;

/// What a touch asks for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Act {
    /// It is safe to go near.
    SaySafe,
    /// It is not safe yet.
    SayNotYet,
    /// A hazard is safe.
    HazardSafe(String),
    /// A hazard is not safe yet.
    HazardNotYet(String),
    /// The caller was told.
    CallPassed,
    /// The call was made.
    CallMade,
    /// It did not get through after all.
    CallFailed,
    /// The next free person calls.
    CallByNext,
    /// Help comes in this time, as somebody said.
    HelpIn(Millis, Teller),
    /// Outside height rescue is asked for.
    AskOutside,
    /// Outside rescue leads.
    OutsideLeads,
    /// The crew leads again.
    CrewLeads,
    /// The casualty hangs here; none means a place the plan does not list.
    ChoosePosition(Option<String>),
    /// The fall was this long ago, or at least this long.
    SetFall {
        /// How long before the touch.
        ago: Millis,
        /// True where nobody saw the fall.
        at_least: bool,
    },
    /// All others at height have stopped.
    OthersStopped,
    /// Not all of them yet.
    OthersNotYet,
    /// The step, or its fallback, is done.
    StepDone,
    /// Whoever is exposed next is tied off and checked.
    TiedOff,
    /// This condition for going in is met.
    EntryMet(usize),
    /// What makes lowering possible is in place.
    GroundHeld,
    /// It does not work.
    NotWorking,
    /// Both are connected and the weight is held.
    Secured,
    /// Change to the next method.
    Change,
    /// One more minute.
    MoreTime,
    /// Go straight to this method.
    GoStraight(String),
    /// Go on with the running method although something stopped it.
    GoOn,
    /// Put a method back that the condition or a stop ruled out.
    PutBack(String),
    /// Something stops the running method at once.
    Stop(Stop),
    /// The wind is this.
    Wind(Speed),
    /// The casualty is like this.
    Report(Condition),
    /// The casualty is in immediate danger there, or no longer.
    InDanger(bool),
    /// A responder can touch the casualty.
    Contact,
    /// The weight no longer hangs.
    OffHarness,
    /// It still hangs: the mark was a mistake.
    StillHanging,
    /// The casualty is at the landing place.
    AtLanding,
    /// An aftercare answer.
    Care(Aftercare, bool),
    /// The casualty wants no care.
    RefuseCare,
    /// Somebody took over the care of the casualty with this number.
    HandOver(u16, CareTaker),
    /// Everybody stop.
    Danger,
    /// The danger is over, decided by this responder, or by somebody from outside.
    DangerOver(Option<String>),
    /// One more hangs.
    AddCasualty,
    /// This responder hangs too.
    RescuerDown(String),
    /// The casualty worked on is this person, or none of the plan's people.
    NameCasualty(Option<String>),
    /// Work on the casualty with this number.
    WorkOn(u16),
    /// Somebody said something of a responder.
    Responder(String, Report),
    /// Kit of this kind is not at this station.
    KitGone {
        /// Kind of kit.
        kit: String,
        /// Station id.
        station: String,
        /// Responder id of who was to fetch it there and found none, where it was one of them.
        by: Option<String>,
    },
    /// These orders were said over the radio, by the numbers of their records.
    Said(Vec<u64>),
    /// This way cannot be passed, by link id.
    BlockWay(String),
    /// It can be passed again.
    OpenWay(String),
    /// Take command.
    TakeCommand,
    /// The brief was read.
    BriefHeard,
    /// This person is in command, or none of the plan's people.
    NameCommand(Option<String>),
    /// Speak this language.
    Speak(Language),
    /// A note.
    Note(Note),
    /// In a drill: this surprise is given.
    GiveSurprise(usize),
    /// In a drill: this surprise is left out.
    LeaveSurprise(usize),
    /// In a drill: the living person stands.
    Stands,
    /// The stop word: this is no drill any more.
    Real,
    /// Begin the closing questions.
    BeginClosing,
    /// Leave them.
    LeaveClosing,
    /// A closing answer.
    Close(Closing),
    /// End the incident.
    StandDown,
    /// Leave the ended incident.
    Leave,
}

fn only_if(holds: bool) -> Result<(), Refusal> {
    if holds { Ok(()) } else { Err(Refusal::NotNow) }
}

/// True for a position of the plan, and for none at all.
fn is_place(facts: &Facts, position: Option<&String>) -> bool {
    let plan = facts.opened.as_ref().map(|o| &o.plan);
    position.is_none_or(|id| plan.is_some_and(|plan| plan.position(id).is_some()))
}

fn is_person(facts: &Facts, id: &str) -> bool {
    let plan = facts.opened.as_ref().map(|o| &o.plan);
    plan.is_some_and(|plan| plan.responder(id).is_some())
}

fn is_casualty(facts: &Facts, id: &str) -> bool {
    facts
        .casualties
        .iter()
        .any(|it| it.who.as_deref() == Some(id))
}

impl Draft<'_> {
    pub(super) fn act(&mut self, act: Act) -> Result<(), Refusal> {
        let open = self.facts().is_open();
        if act == Act::Leave {
            only_if(!open)?;
            self.wanted.push(Wanted::Leave);
            return Ok(());
        }
        if !open {
            return Err(Refusal::NotOpen);
        }
        match act {
            Act::SaySafe | Act::SayNotYet | Act::HazardSafe(_) | Act::HazardNotYet(_) => {
                self.act_on_scene(act)
            }
            Act::CallPassed
            | Act::CallMade
            | Act::CallFailed
            | Act::CallByNext
            | Act::HelpIn(..)
            | Act::AskOutside
            | Act::OutsideLeads
            | Act::CrewLeads => self.act_on_help(act),
            Act::ChoosePosition(_)
            | Act::SetFall { .. }
            | Act::Report(_)
            | Act::InDanger(_)
            | Act::Contact
            | Act::OffHarness
            | Act::StillHanging
            | Act::AtLanding
            | Act::Care(..)
            | Act::RefuseCare
            | Act::HandOver(..)
            | Act::AddCasualty
            | Act::RescuerDown(_)
            | Act::NameCasualty(_)
            | Act::WorkOn(_) => self.act_on_casualty(act),
            Act::StepDone
            | Act::TiedOff
            | Act::EntryMet(_)
            | Act::GroundHeld
            | Act::NotWorking
            | Act::Secured
            | Act::Change
            | Act::MoreTime
            | Act::GoStraight(_)
            | Act::GoOn
            | Act::PutBack(_)
            | Act::Stop(_)
            | Act::Wind(_) => self.act_on_method(act),
            Act::GiveSurprise(_) | Act::LeaveSurprise(_) | Act::Stands | Act::Real => {
                self.act_on_drill(&act)
            }
            _ => self.act_on_crew(act),
        }
    }

    fn act_on_scene(&mut self, act: Act) -> Result<(), Refusal> {
        let case = self.facts().case();
        let event = match act {
            Act::SaySafe => {
                only_if(case.casualty.scene.safe.is_none())?;
                Event::SafeConfirmed {}
            }
            Act::HazardSafe(hazard) => {
                only_if(case.open_hazard().is_some_and(|h| h.id == hazard))?;
                Event::HazardMadeSafe { hazard }
            }
            Act::HazardNotYet(hazard) => Event::HazardNotSafeYet { hazard },
            _ => Event::NotSafeYet {},
        };
        self.push(event);
        // Whoever waited at the approach point is sent on.
        self.dispatch(Others::GoOn);
        Ok(())
    }

    fn act_on_help(&mut self, act: Act) -> Result<(), Refusal> {
        let facts = self.facts();
        let event = match act {
            Act::CallPassed => {
                only_if(facts.call.passed.is_none())?;
                Event::CallPassed {}
            }
            Act::CallMade => {
                only_if(facts.call.confirmed.is_none())?;
                let by = facts.call.ordered.last().and_then(|(to, _)| to.clone());
                Event::CallConfirmed { by }
            }
            Act::CallFailed => {
                only_if(facts.call.confirmed.is_some())?;
                self.push(Event::CallFailed {});
                let to = self.facts().next_caller();
                Event::CallOrdered { to }
            }
            Act::CallByNext => {
                only_if(facts.call.confirmed.is_none())?;
                Event::CallOrdered {
                    to: facts.next_caller(),
                }
            }
            Act::HelpIn(time, by) => {
                only_if(time > Millis::ZERO)?;
                Event::HelpExpected {
                    in_ms: time.0,
                    said_by: Some(by),
                }
            }
            Act::AskOutside => {
                only_if(facts.outside.asked.is_none())?;
                Event::OutsideAsked {}
            }
            Act::OutsideLeads => {
                only_if(facts.outside.leads.is_none())?;
                Event::OutsideTookOver {}
            }
            _ => {
                only_if(facts.outside.leads.is_some())?;
                Event::OutsideLeft {}
            }
        };
        self.push(event);
        Ok(())
    }

    fn act_on_casualty(&mut self, act: Act) -> Result<(), Refusal> {
        let facts = self.facts();
        let casualty = facts.casualty();
        let off = casualty.off;
        match act {
            Act::ChoosePosition(position) => {
                only_if(is_place(facts, position.as_ref()) && off.is_none())?;
                self.push(Event::PositionChosen { position });
            }
            Act::SetFall { ago, at_least } => {
                only_if(off.is_none() && ago >= Millis::ZERO)?;
                // "Time unknown" keeps what is known for certain: the time since activation, or since an earlier fall as set before.
                let known = facts.since_fall(self.at());
                let ago = if at_least { ago.max(known) } else { ago };
                self.push(Event::FallTimeSet {
                    ago_ms: ago.0,
                    at_least,
                });
            }
            Act::Report(condition) => {
                self.push(Event::ConditionReported { condition });
                self.take_as_it_is(condition);
            }
            Act::InDanger(danger) => {
                only_if(casualty.in_danger != danger && off.is_none())?;
                self.push(Event::InDangerSaid { danger });
            }
            Act::Contact => {
                only_if(casualty.contact.is_none())?;
                self.push(Event::FirstContactMade {});
            }
            Act::OffHarness => {
                only_if(off.is_none())?;
                self.push(Event::OffHarness {});
                // Whoever stood ready for a later method is not needed any more.
                self.dispatch(Others::StandBy);
            }
            Act::StillHanging => {
                let (_, cause) = off.ok_or(Refusal::NotNow)?;
                self.still_hanging(cause);
            }
            Act::AtLanding => {
                only_if(off.is_some() && casualty.landed.is_none())?;
                self.push(Event::AtLandingPlace {});
            }
            Act::Care(item, well) => {
                only_if(off.is_some())?;
                self.push(Event::AftercareAnswered { item, well });
            }
            Act::RefuseCare => {
                only_if(off.is_some() && casualty.refused.is_none())?;
                self.push(Event::CareRefused {});
            }
            Act::HandOver(number, to) => self.hand_over(number, to)?,
            Act::AddCasualty => {
                let fell_ms = casualty.fell.0;
                self.add_casualty(None, fell_ms);
            }
            Act::RescuerDown(id) => self.rescuer_down(id)?,
            Act::NameCasualty(responder) => {
                let known = responder.as_ref().is_none_or(|id| {
                    is_person(facts, id)
                        && (casualty.who.as_ref() == Some(id) || !is_casualty(facts, id))
                });
                only_if(known)?;
                self.push(Event::CasualtyNamed { responder });
            }
            Act::WorkOn(number) => {
                let there = facts.cases().any(|case| case.number == number);
                only_if(there && facts.case().number != number)?;
                self.push_for(number, Event::CasualtyChosen {});
            }
            _ => return Err(Refusal::NotNow),
        }
        Ok(())
    }

    fn add_casualty(&mut self, responder: Option<String>, fell_ms: i64) {
        let number = self.facts().casualties.len().saturating_add(1);
        let number = u16::try_from(number).unwrap_or(u16::MAX);
        let rescuer = responder.is_some();
        self.push_for(
            number,
            Event::CasualtyAdded {
                responder,
                rescuer,
                fell_ms,
            },
        );
    }

    /// A rescuer who hangs: a casualty with a clock of their own, and what was connected is made safe first.
    fn rescuer_down(&mut self, id: String) -> Result<(), Refusal> {
        let facts = self.facts();
        only_if(is_person(facts, &id) && !is_casualty(facts, &id))?;
        if facts.committed()
            && let Some(running) = facts.running().filter(|it| it.securing.is_none())
        {
            let (method, step) = (running.method.clone(), running.step);
            self.push(Event::NotWorkingReported { method, step });
        }
        let fell_ms = self.at().0;
        self.add_casualty(Some(id), fell_ms);
        Ok(())
    }

    fn hand_over(&mut self, number: u16, to: CareTaker) -> Result<(), Refusal> {
        let facts = self.facts();
        let case = facts.cases().find(|case| case.number == number);
        only_if(case.is_some_and(|it| it.casualty.handed.is_none()))?;
        self.push_for(number, Event::HandedOver { to });
        let all = self.facts().casualties.iter().all(|it| it.handed.is_some());
        if all && self.facts().closing.is_some() {
            self.push(Event::StandDownAnswered {
                item: Closing::HandedOver,
            });
        }
        Ok(())
    }

    fn act_on_method(&mut self, act: Act) -> Result<(), Refusal> {
        match act {
            Act::StepDone => self.step_done(),
            Act::TiedOff => self.tied_off(),
            Act::NotWorking => self.not_working(),
            Act::Secured => self.secured(),
            Act::GoStraight(method) => self.go_straight(method),
            Act::GoOn => self.go_on(),
            Act::PutBack(method) => {
                let case = self.facts().case();
                let known = case.method(&method).ok_or(Refusal::NotNow)?;
                only_if(case.verdict(known).is_out() && case.casualty.off.is_none())?;
                self.push(Event::MethodPutBack { method });
                Ok(())
            }
            Act::EntryMet(index) => {
                let conditions = self
                    .facts()
                    .position()
                    .and_then(|p| p.confined_space.as_ref());
                only_if(conditions.is_some_and(|it| index < it.conditions.len()))?;
                only_if(self.facts().running().is_some())?;
                self.push(Event::EntryConditionMet { index });
                Ok(())
            }
            Act::GroundHeld => {
                only_if(self.facts().running().is_some_and(|it| !it.ground_held))?;
                self.push(Event::GroundHeld {});
                Ok(())
            }
            Act::Change => {
                let facts = self.facts();
                let running = facts.running().is_some();
                only_if(running && facts.casualty().off.is_none() && !facts.committed())?;
                self.change(Why::Change);
                Ok(())
            }
            Act::MoreTime => {
                let running = self
                    .facts()
                    .running()
                    .filter(|r| r.more < MORE_TIME_MAX)
                    .ok_or(Refusal::NotNow)?;
                let (method, change_by) =
                    (running.method.clone(), self.at().max(running.change_by));
                let change_by_ms = change_by.saturating_add(MORE_TIME).0;
                self.push(Event::MoreTimeTaken {
                    method,
                    change_by_ms,
                });
                Ok(())
            }
            Act::Stop(what) => self.stop(what),
            Act::Wind(wind) => {
                only_if(wind >= Speed::ZERO)?;
                self.push(Event::WindReported { mm_s: wind.0 });
                let case = self.facts().case();
                let over = case.step().is_some_and(|(_, method, _)| {
                    method
                        .wind_max
                        .as_ref()
                        .is_some_and(|most| wind > most.value)
                });
                if over && case.casualty.off.is_none() {
                    self.stop(Stop::Wind)?;
                }
                Ok(())
            }
            _ => Err(Refusal::NotNow),
        }
    }

    fn act_on_crew(&mut self, act: Act) -> Result<(), Refusal> {
        let facts = self.facts();
        match act {
            Act::OthersStopped => {
                only_if(facts.others.stopped.is_none())?;
                self.push(Event::OthersStopped {});
            }
            Act::OthersNotYet => self.push(Event::OthersNotYet {}),
            Act::Danger => {
                only_if(facts.danger.is_none())?;
                self.danger();
            }
            Act::DangerOver(by) => {
                only_if(facts.danger.is_some())?;
                self.push(Event::DangerCleared { by });
                self.dispatch(Others::GoOn);
            }
            Act::Responder(responder, report) => {
                only_if(is_person(facts, &responder) && !is_casualty(facts, &responder))?;
                let on_order = matches!(
                    report,
                    Report::Heard | Report::OnTheWay | Report::There | Report::Late
                );
                only_if(!on_order || facts.order_of(&responder).is_some())?;
                self.push(Event::ResponderReported { responder, report });
            }
            Act::Said(numbers) => {
                let said = radio::said(facts, &numbers);
                let (orders, text) = said.ok_or(Refusal::NotNow)?;
                self.push(Event::WordsSaid { orders, text });
            }
            Act::BlockWay(link) => {
                let plan = facts.opened.as_ref().map(|it| &it.plan);
                let known = plan.is_some_and(|it| it.links.iter().any(|it| it.id == link));
                only_if(known && !facts.blocked.contains(&link))?;
                self.push(Event::WayBlocked { link });
            }
            Act::OpenWay(link) => {
                only_if(facts.blocked.contains(&link))?;
                self.push(Event::WayOpened { link });
            }
            Act::KitGone { kit, station, by } => {
                only_if(!facts.gone.contains(&(kit.clone(), station.clone())))?;
                self.push(Event::KitGone { kit, station, by });
            }
            Act::TakeCommand => self.push(Event::CommandTaken {}),
            Act::BriefHeard => {
                only_if(facts.command.handing == Some(Handing::Brief))?;
                self.push(Event::BriefHeard {});
            }
            Act::NameCommand(by) => {
                let fits = by
                    .as_ref()
                    .is_none_or(|id| is_person(facts, id) && !is_casualty(facts, id));
                only_if(fits)?;
                self.push(Event::CommandNamed { by });
            }
            Act::Speak(language) => self.push(Event::LanguageChosen { language }),
            Act::Note(note) => self.push(Event::Noted { note }),
            Act::BeginClosing => {
                only_if(facts.closing.is_none())?;
                self.push(Event::StandDownBegan {});
            }
            Act::LeaveClosing => {
                only_if(facts.closing.is_some())?;
                self.push(Event::StandDownLeft {});
            }
            Act::Close(item) => {
                only_if(facts.closing.is_some())?;
                if item == Closing::KitWithdrawn {
                    let pieces = loaded(facts);
                    self.push(Event::KitWithdrawn { pieces });
                }
                self.push(Event::StandDownAnswered { item });
            }
            Act::StandDown => {
                only_if(facts.closing.is_some())?;
                self.push(Event::StoodDown {});
                self.wanted.push(Wanted::Close);
            }
            _ => return Err(Refusal::NotNow),
        }
        Ok(())
    }

    /// Everybody stops: whoever would be exposed or near is called back, and outside rescue is asked for.
    fn danger(&mut self) {
        self.push(Event::DangerCalled {});
        let facts = self.facts();
        let goes_near = |casualty: u16, method: &str, role: &str| {
            let method = facts.case_of(casualty).method(method);
            method.is_some_and(|it| it.goes_near(role))
        };
        let back: Vec<String> = facts
            .orders
            .iter()
            .filter(|it| goes_near(it.casualty, &it.method, &it.posting.role))
            .map(|it| it.posting.responder.clone())
            .collect();
        for responder in back {
            self.push(Event::OrderWithdrawn { responder });
        }
        if self.facts().outside.asked.is_none() {
            self.push(Event::OutsideAsked {});
        }
    }

    fn step_done(&mut self) -> Result<(), Refusal> {
        let case = self.facts().case();
        let (running, method, step) = case.step().ok_or(Refusal::NotNow)?;
        let off = case.casualty.off.is_some();
        // A step that needs going near cannot have been ordered, so it cannot be answered either.
        let barred = running.securing.is_some()
            || running.held
            || self.facts().danger.is_some()
            || self.facts().outside.leads.is_some()
            || (!off && held_back(case, step))
            || super::working::asks_first(case).is_some();
        only_if(!barred)?;
        let (method, index, milestone) = (method.id.clone(), running.step, step.milestone);
        self.push(Event::StepDone {
            method,
            step: index,
        });
        match milestone {
            Some(Milestone::FirstContact) if self.facts().casualty().contact.is_none() => {
                self.push(Event::FirstContactMade {});
            }
            Some(Milestone::OffHarness) if !off => {
                self.push(Event::OffHarness {});
                self.dispatch(Others::StandBy);
            }
            Some(Milestone::Landing) if off => self.push(Event::AtLandingPlace {}),
            _ => {}
        }
        Ok(())
    }

    fn tied_off(&mut self) -> Result<(), Refusal> {
        let (running, method, step) = self.facts().step().ok_or(Refusal::NotNow)?;
        only_if(step.exposed)?;
        let event = Event::TiedOff {
            method: method.id.clone(),
            step: running.step,
            fallback: running.fallback,
        };
        self.push(event);
        Ok(())
    }

    fn not_working(&mut self) -> Result<(), Refusal> {
        let facts = self.facts();
        let running = facts
            .running()
            .filter(|r| r.securing.is_none())
            .ok_or(Refusal::NotNow)?;
        let (method, step) = (running.method.clone(), running.step);
        let committed = facts.committed();
        self.push(Event::NotWorkingReported { method, step });
        if !committed {
            self.onward();
        }
        Ok(())
    }

    fn secured(&mut self) -> Result<(), Refusal> {
        let running = self.facts().running();
        let securing = running
            .and_then(|r| r.securing.clone())
            .ok_or(Refusal::NotNow)?;
        self.push(Event::Secured {});
        match securing {
            Securing::Onward => self.onward(),
            Securing::Straight(method) => {
                // What was wanted may have been ruled out while both were being secured.
                let case = self.facts().case();
                let open = case
                    .method(&method)
                    .is_some_and(|m| !case.verdict(m).is_out());
                match open {
                    true => self.start(method, Why::Straight),
                    false => self.onward(),
                }
            }
            Securing::Resume | Securing::Stopped => {}
        }
        Ok(())
    }

    fn go_on(&mut self) -> Result<(), Refusal> {
        let running = self.facts().running().filter(|it| it.held);
        let method = running.ok_or(Refusal::NotNow)?.method.clone();
        self.push(Event::WentOn { method });
        Ok(())
    }

    fn stop(&mut self, what: Stop) -> Result<(), Refusal> {
        let case = self.facts().case();
        let (_, method, _) = case.step().ok_or(Refusal::NotNow)?;
        let named = match what {
            Stop::Wind => true,
            Stop::Line(index) => index < method.stop_if.len(),
        };
        let called = case
            .casualty
            .stopped
            .iter()
            .any(|it| *it == (method.id.clone(), what));
        only_if(named && !called && case.casualty.off.is_none())?;
        let method = method.id.clone();
        self.push(Event::StopCalled { method, what });
        Ok(())
    }

    /// The next fallback of the step, else the next method.
    fn onward(&mut self) {
        let next = self.facts().step().and_then(|(running, method, step)| {
            let fallback = running.fallback.map_or(0, |f| f.saturating_add(1));
            step.fallback
                .get(fallback)
                .map(|_| (method.id.clone(), running.step, fallback))
        });
        match next {
            Some((method, step, fallback)) => self.push(Event::FallbackStarted {
                method,
                step,
                fallback,
            }),
            None if self.facts().casualty().off.is_none() => self.change(Why::Change),
            // Off the harness there is no other method to change to: help has to come up.
            None => {
                self.push(Event::StuckAloft {});
                if self.facts().outside.asked.is_none() {
                    self.push(Event::OutsideAsked {});
                }
            }
        }
    }

    fn change(&mut self, why: Why) {
        match self.facts().case().next_method().map(|m| m.id.clone()) {
            Some(next) => self.start(next, why),
            None => self.leave_method(None),
        }
    }

    fn leave_method(&mut self, to: Option<String>) {
        if let Some(from) = self.facts().running().map(|r| r.method.clone()) {
            self.push(Event::MethodChanged { from, to });
        }
    }

    pub(super) fn start(&mut self, method: String, why: Why) {
        self.leave_method(Some(method.clone()));
        self.push(Event::MethodStarted { method, why });
        self.dispatch(Others::GoOn);
    }

    /// Never refused for its place on the ladder; only for what makes it impossible or rules it out.
    fn go_straight(&mut self, method: String) -> Result<(), Refusal> {
        let case = self.facts().case();
        let known = case.method(&method).ok_or(Refusal::NotNow)?;
        let already = case
            .casualty
            .running
            .as_ref()
            .is_some_and(|r| r.method == method);
        only_if(case.casualty.off.is_none() && !already && !case.verdict(known).is_out())?;
        let held = case.casualty.running.as_ref().is_some_and(|it| it.held);
        if case.committed() && !held {
            self.push(Event::StraightWanted { method });
        } else {
            self.start(method, Why::Straight);
        }
        Ok(())
    }

    /// Takes back the release of the casualty worked on, and everything said of the time after it.
    fn still_hanging(&mut self, cause: u64) {
        let number = self.facts().case().number;
        let mut causes = vec![cause];
        for record in &self.state.log {
            let after_release = matches!(
                record.event,
                Event::StepDone { .. }
                    | Event::AtLandingPlace {}
                    | Event::AftercareAnswered { .. }
                    | Event::StuckAloft {}
                    | Event::CareRefused {}
                    | Event::HandedOver { .. }
                    | Event::StandDownBegan {}
                    | Event::StandDownAnswered { .. }
            );
            let shared = matches!(
                record.event,
                Event::StandDownBegan {} | Event::StandDownAnswered { .. }
            );
            let concerns = shared || record.casualty == number;
            if record.cause > cause && after_release && concerns && !causes.contains(&record.cause)
            {
                causes.push(record.cause);
            }
        }
        for cause in causes {
            self.take_back(cause);
        }
        self.leave_pieces_to_newer_orders();
    }
}
