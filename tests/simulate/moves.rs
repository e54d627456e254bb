//! Makes the touches of a crew that is in a hurry, hits the wrong button, and knows the plan only by half.
//!
//! Every act and every declaration there is can be made here; `kinds` demands it. Names are mostly of things that are
//! there, and now and then of things that are not.

use super::kinds;
use super::world::World;
use groundward::drill::When;
use groundward::incident::{
    Act, Aftercare, CareTaker, Closing, Condition, Exercise, Finding, Inject, Name, Nature, Note,
    OtherWork, OwnWords, Owner, Remark, Report, Setting, Stop, Surprise, Teller, to_say,
};
use groundward::readiness::{Change, Counted, Declare, Light, Reason};
use groundward::signal::{Afterwards, Prepare, Prepared, Tap};
use groundward::units::{Millis, Speed};
use groundward::words::{Id, Language, Phrase};

const CARE: [Aftercare; 11] = [
    Aftercare::SafeHere,
    Aftercare::LayFlat,
    Aftercare::Bleeding,
    Aftercare::Airway,
    Aftercare::Breathing,
    Aftercare::Resuscitate,
    Aftercare::LoosenWarm,
    Aftercare::NeverAlone,
    Aftercare::Doctor,
    Aftercare::Watch,
    Aftercare::LookAgain,
];
const CLOSING: [Closing; 8] = [
    Closing::NobodyHanging,
    Closing::Counted,
    Closing::OffRope,
    Closing::HandedOver,
    Closing::KitWithdrawn,
    Closing::SceneLeft,
    Closing::WorkStopped,
    Closing::Welfare,
];
const NOTES: [Note; 9] = [
    Note::ReliefStraps,
    Note::LegsRaised,
    Note::Foothold,
    Note::Bleeding,
    Note::HeadHurt,
    Note::RadioLost,
    Note::WayBlocked,
    Note::Photograph,
    Note::Remember,
];
const REPORTS: [Report; 8] = [
    Report::Heard,
    Report::OnTheWay,
    Report::There,
    Report::Late,
    Report::Cannot,
    Report::Lost,
    Report::Hurt,
    Report::CanAgain,
];
const TAKERS: [CareTaker; 4] = [
    CareTaker::Ambulance,
    CareTaker::Doctor,
    CareTaker::FireService,
    CareTaker::Refused,
];
const TELLERS: [Teller; 3] = [Teller::Dispatcher, Teller::Coming, Teller::Guide];
const CONDITIONS: [Condition; 4] = [
    Condition::Talking,
    Condition::Stuck,
    Condition::Unwell,
    Condition::NotAnswering,
];
const LANGUAGES: [Language; 3] = [Language::English, Language::Spanish, Language::Pseudo];

/// What people say beside the prompt in most rescues.
const LIKELY: [&str; 15] = [
    "GiveSurprise",
    "Responder",
    "Responder",
    "Responder",
    "Said",
    "Note",
    "Stop",
    "GoOn",
    "WorkOn",
    "AddCasualty",
    "BlockWay",
    "OpenWay",
    "PutBack",
    "CallFailed",
    "GoStraight",
];

impl World {
    /// One of these names, or one that nothing has.
    fn one_of<'a>(&mut self, names: impl Iterator<Item = &'a String>) -> String {
        let names: Vec<&String> = names.collect();
        let any = names.get(self.chance.below(names.len() as u64 * 12 / 11 + 1) as usize);
        any.map_or_else(|| "none-such".to_owned(), |it| (*it).clone())
    }

    fn plan_of_the_incident(&self) -> std::sync::Arc<groundward::plan::Plan> {
        let opened = self.engine.state().facts.opened.as_ref();
        opened.map_or_else(|| self.plan.in_use.plan.clone(), |it| it.plan.clone())
    }

    fn position(&mut self) -> String {
        let plan = self.plan_of_the_incident();
        self.one_of(plan.positions.iter().map(|it| &it.id))
    }

    fn person(&mut self) -> String {
        // Mostly somebody who is on an order, because that is whom people speak of.
        let facts = &self.engine.state().facts;
        let ordered: Vec<String> = facts
            .orders
            .iter()
            .map(|it| it.posting.responder.clone())
            .collect();
        if !self.chance.one_in(4) && !ordered.is_empty() {
            return self.one_of(ordered.iter());
        }
        let plan = self.plan_of_the_incident();
        self.one_of(plan.responders.iter().map(|it| &it.id))
    }

    fn method(&mut self) -> String {
        let methods = self.engine.state().facts.methods();
        let ids: Vec<String> = methods.iter().map(|it| it.id.clone()).collect();
        self.one_of(ids.iter())
    }

    fn time(&mut self) -> Millis {
        let end = self.chance.among(&[1_000, 60_000, 900_000, 90_000_000]);
        Millis(self.chance.below(end) as i64)
    }

    fn speed(&mut self) -> Speed {
        Speed(self.chance.below(30_000) as i64)
    }

    /// Something asked for beside the prompt.
    pub(super) fn some_act(&mut self) -> Act {
        let facts = &self.engine.state().facts;
        let hazards = facts.position().map_or(&[][..], |it| &it.hazards);
        let hazards: Vec<String> = hazards.iter().map(|it| it.id.clone()).collect();
        let kinds: Vec<String> = {
            let plan = facts.opened.as_ref().map(|it| it.plan.clone());
            let stations = plan.iter().flat_map(|it| &it.stations);
            stations
                .flat_map(|it| it.kit.iter().map(|it| it.kind.clone()))
                .collect()
        };
        let to_say = to_say(facts).map(|it| it.orders).unwrap_or_default();
        let casualties = facts.casualties.len() as u64;
        let blocked = facts.blocked.clone();
        let surprise = facts.surprise_now().map_or(0, |it| it.0);
        let plan = self.plan_of_the_incident();
        let yes = self.chance.one_in(2);
        let kind = match self.chance.below(3) {
            0 => format!("act {}", self.chance.among(&LIKELY)),
            _ => self.chance.among(kinds::act::ALL).to_owned(),
        };
        match kind.trim_start_matches("act ") {
            "SaySafe" => Act::SaySafe,
            "SayNotYet" => Act::SayNotYet,
            "HazardSafe" => Act::HazardSafe(self.one_of(hazards.iter())),
            "HazardNotYet" => Act::HazardNotYet(self.one_of(hazards.iter())),
            "CallPassed" => Act::CallPassed,
            "CallMade" => Act::CallMade,
            "CallFailed" => Act::CallFailed,
            "CallByNext" => Act::CallByNext,
            "HelpIn" => Act::HelpIn(self.time(), self.chance.among(&TELLERS)),
            "AskOutside" => Act::AskOutside,
            "OutsideLeads" => Act::OutsideLeads,
            "CrewLeads" => Act::CrewLeads,
            "ChoosePosition" => Act::ChoosePosition(yes.then(|| self.position())),
            "SetFall" => Act::SetFall {
                ago: self.time(),
                at_least: yes,
            },
            "OthersStopped" => Act::OthersStopped,
            "OthersNotYet" => Act::OthersNotYet,
            "StepDone" => Act::StepDone,
            "TiedOff" => Act::TiedOff,
            "EntryMet" => Act::EntryMet(self.chance.below(5) as usize),
            "GroundHeld" => Act::GroundHeld,
            "NotWorking" => Act::NotWorking,
            "Secured" => Act::Secured,
            "Change" => Act::Change,
            "MoreTime" => Act::MoreTime,
            "GoStraight" => Act::GoStraight(self.method()),
            "GoOn" => Act::GoOn,
            "PutBack" => Act::PutBack(self.method()),
            "Stop" => Act::Stop(match yes {
                true => Stop::Wind,
                false => Stop::Line(self.chance.below(3) as usize),
            }),
            "Wind" => Act::Wind(self.speed()),
            "Report" => Act::Report(self.chance.among(&CONDITIONS)),
            "InDanger" => Act::InDanger(yes),
            "Contact" => Act::Contact,
            "OffHarness" => Act::OffHarness,
            "StillHanging" => Act::StillHanging,
            "AtLanding" => Act::AtLanding,
            "Care" => Act::Care(self.chance.among(&CARE), yes),
            "RefuseCare" => Act::RefuseCare,
            "HandOver" => {
                let number = 1 + self.chance.below(casualties + 1) as u16;
                Act::HandOver(number, self.chance.among(&TAKERS))
            }
            "Danger" => Act::Danger,
            "DangerOver" => Act::DangerOver(yes.then(|| self.person())),
            "AddCasualty" => Act::AddCasualty,
            "RescuerDown" => Act::RescuerDown(self.person()),
            "NameCasualty" => Act::NameCasualty(yes.then(|| self.person())),
            "WorkOn" => Act::WorkOn(self.chance.below(casualties + 2) as u16),
            "Responder" => Act::Responder(self.person(), self.chance.among(&REPORTS)),
            "KitGone" => Act::KitGone {
                kit: self.one_of(kinds.iter()),
                station: self.one_of(plan.stations.iter().map(|it| &it.id)),
                by: yes.then(|| self.person()),
            },
            "Said" => Act::Said(match yes {
                true => to_say,
                false => to_say.into_iter().skip(1).chain([7]).collect(),
            }),
            "BlockWay" => Act::BlockWay(self.one_of(plan.links.iter().map(|it| &it.id))),
            "OpenWay" => Act::OpenWay(self.one_of(blocked.iter())),
            "TakeCommand" => Act::TakeCommand,
            "BriefHeard" => Act::BriefHeard,
            "NameCommand" => Act::NameCommand(yes.then(|| self.person())),
            "Speak" => Act::Speak(self.chance.among(&LANGUAGES)),
            "Note" => Act::Note(self.chance.among(&NOTES)),
            "BeginClosing" => Act::BeginClosing,
            "LeaveClosing" => Act::LeaveClosing,
            "Close" => Act::Close(self.chance.among(&CLOSING)),
            "StandDown" => Act::StandDown,
            "Leave" => Act::Leave,
            "GiveSurprise" => Act::GiveSurprise(surprise),
            "LeaveSurprise" => Act::LeaveSurprise(surprise),
            "Stands" => Act::Stands,
            "Real" => Act::Real,
            other => panic!("nobody taught the crew to make {other}"),
        }
    }

    /// Something said about the shift.
    pub(super) fn some_declaration(&mut self) -> Declare {
        let plan = self.plan.in_use.plan.clone();
        let roles = plan
            .positions
            .iter()
            .flat_map(|it| &it.methods)
            .flat_map(|it| &it.roles);
        let skills: Vec<String> = roles.filter_map(|it| it.qualification.clone()).collect();
        let items = plan
            .stations
            .iter()
            .flat_map(|it| it.kit.iter().map(move |item| (it, item)));
        let items: Vec<(String, String)> = items
            .map(|(station, item)| (station.id.clone(), item.id.clone()))
            .collect();
        let item = items
            .get(self.chance.below(items.len() as u64 + 1) as usize)
            .cloned();
        let (station, item) = item.unwrap_or_else(|| ("no".to_owned(), "no".to_owned()));
        let visitors: Vec<String> = {
            let shift = self.engine.snapshot(&self.machine.now).shift;
            shift.visitors.iter().map(|it| it.id.clone()).collect()
        };
        let yes = self.chance.one_in(2);
        let kind =
            kinds::declare::ALL[self.chance.below(kinds::declare::ALL.len() as u64) as usize];
        match kind.trim_start_matches("declare ") {
            "Use" => Declare::Use(self.position()),
            "Permit" => Declare::Permit(self.position(), "PTW-17".to_owned()),
            "Works" => Declare::Works(self.position(), self.person()),
            "Watches" => Declare::Watches(self.position(), self.person()),
            "Wind" => Declare::Wind(self.speed()),
            "Gust" => Declare::Gust(self.speed()),
            "Light" => Declare::Light(self.chance.among(&[Light::Day, Light::Lit, Light::Dark])),
            "Lightning" => Declare::Lightning(yes),
            "Holds" => Declare::Holds(self.one_of(skills.iter()), self.person()),
            "Count" => Declare::Count(Counted {
                station,
                item,
                count: self.chance.below(4) as u32,
            }),
            "CountAll" => Declare::CountAll(station),
            "Radio" => Declare::Radio(yes),
            "Battery" => Declare::Battery(yes),
            "Heard" => Declare::Heard(self.person()),
            "Visits" => Declare::Visits(self.one_of(plan.places.iter().map(|it| &it.id))),
            "VisitorLeft" => Declare::VisitorLeft(self.one_of(visitors.iter())),
            "Sign" => Declare::Sign(self.person()),
            "Allow" => {
                let reason = self.chance.among(&Reason::ALL);
                Declare::Allow(self.position(), self.person(), reason)
            }
            "Changed" => Declare::Changed(match self.chance.below(4) {
                0 => Change::Left {
                    responder: self.person(),
                },
                1 => Change::KitGone { station, item },
                2 => Change::Wind {
                    speed: self.speed(),
                },
                _ => Change::Lightning,
            }),
            "End" => Declare::End,
            other => panic!("nobody taught the crew to declare {other}"),
        }
    }

    /// A surprise, of this plan or of none.
    fn some_inject(&mut self) -> Inject {
        let plan = self.plan.in_use.plan.clone();
        let methods: Vec<String> = {
            let methods = plan.positions.iter().flat_map(|it| &it.methods);
            methods.map(|it| it.id.clone()).collect()
        };
        match self.chance.below(10) {
            0 => Inject::StopsAnswering {},
            1 => Inject::KitMissing {
                kit: "ladder".to_owned(),
                station: self.one_of(plan.stations.iter().map(|it| &it.id)),
            },
            2 => Inject::ResponderCannot {
                responder: self.person(),
            },
            3 => Inject::MethodFails {
                method: self.one_of(methods.iter()),
            },
            4 => Inject::SelfRescueFails {},
            5 => Inject::Wind {
                speed: self.speed(),
            },
            6 => Inject::RadioLost {},
            7 => Inject::AmbulanceDelayed { by: self.time() },
            8 => Inject::WrongGate {},
            _ => Inject::SecondCasualty {},
        }
    }

    /// Something said about the next drill.
    pub(super) fn some_preparation(&mut self) -> Prepare {
        let yes = !self.chance.one_in(4);
        match self.chance.below(14) {
            9 => Prepare::Player(self.person()),
            10 => Prepare::Wind(yes.then(|| self.speed())),
            11 => Prepare::Light(
                yes.then(|| self.chance.among(&[Light::Day, Light::Lit, Light::Dark])),
            ),
            12 => Prepare::Surprise {
                when: match yes {
                    true => When::At(Millis(self.chance.below(300_000) as i64)),
                    false => When::Between(self.time(), self.time()),
                },
                inject: self.some_inject(),
            },
            13 => Prepare::NoSurprise(self.chance.below(4) as usize),
            0 => Prepare::Manikin,
            1 => Prepare::Live,
            2 => Prepare::SecondLine(yes),
            3 => Prepare::CanStand(yes),
            4 => Prepare::Watcher(self.person()),
            5 => Prepare::Limit(self.time()),
            6 => Prepare::Others(self.chance.among(&[OtherWork::Covered, OtherWork::Stopped])),
            7 => Prepare::Place(yes.then(|| self.position())),
            _ => {
                let mut surprises: Vec<Surprise> = (0..self.chance.below(4))
                    .map(|_| Surprise {
                        at: Millis(self.chance.below(300_000) as i64),
                        inject: self.some_inject(),
                    })
                    .collect();
                surprises.sort_by_key(|it| it.at);
                Prepare::Scenario(Box::new(Prepared {
                    exercise: Exercise {
                        scenario: "a try".to_owned(),
                        surprises,
                        setting: Setting {
                            light: self.chance.one_in(2).then_some(Light::Dark),
                            wind: self.chance.one_in(2).then(|| self.speed()),
                            crew: self
                                .chance
                                .one_in(2)
                                .then(|| vec![self.person(), self.person()]),
                            ..Setting::default()
                        },
                        ..Exercise::default()
                    },
                    position: yes.then(|| self.position()),
                }))
            }
        }
    }

    fn some_remark(&mut self) -> Remark {
        let words = self
            .chance
            .among(&["The way was blocked", "Ñandú: ¿quién llamó?"]);
        Remark {
            text: OwnWords::new(words).expect("it is one plain line"),
            about: (0..self.chance.below(3)).collect(),
            answers: self.chance.one_in(2).then_some(4),
            by: Name::new("Oda").ok().filter(|_| self.chance.one_in(2)),
        }
    }

    /// A touch that has nothing to do with an incident.
    pub(super) fn some_tap(&mut self) -> Tap {
        match self.chance.below(24) {
            22 => Tap::ReadLessons,
            23 => Tap::Afterwards {
                incident: "20310512T120000Z-0001".to_owned(),
                what: match self.chance.below(5) {
                    0 => Afterwards::Done(self.chance.below(9)),
                    1 => Afterwards::Open(self.chance.below(9)),
                    2 => Afterwards::Reviewed(self.some_remark()),
                    3 => Afterwards::Found(Finding {
                        nature: Nature::Danger,
                        remark: self.some_remark(),
                    }),
                    _ => Afterwards::Set {
                        text: Phrase::of(Id::TaskDrill),
                        owner: Owner::Responder(self.person()),
                        in_days: 14,
                        from: self.chance.one_in(2).then_some(7),
                    },
                },
            },
            20 => Tap::Prepare(self.some_preparation()),
            21 => Tap::BeginDrill,
            0 => Tap::Touched,
            1 => Tap::SwapTheme,
            2 => Tap::SwapLouder,
            3 => Tap::SwapFlash,
            4 => Tap::Speak {
                language: self.chance.among(&LANGUAGES),
            },
            5 => Tap::NextInCommand,
            6 => Tap::SwapPresent {
                responder: self.person(),
            },
            7 => Tap::TestSound,
            8 => match self.chance.among(&[true, false]) {
                true => Tap::ReadLog,
                false => Tap::FindLog(Box::default()),
            },
            9 => Tap::ReadIncident {
                incident: "none".to_owned(),
            },
            10 => Tap::ApprovePlan {
                responder: self.person(),
            },
            11 => Tap::ReadPlan,
            12 => Tap::WorkStopped {
                position: self.position(),
            },
            13 => Tap::AskWhatIf,
            14 => Tap::StopWhatIf,
            15 => {
                let position = self.chance.one_in(2).then(|| self.position());
                Tap::Activate { position }
            }
            _ => Tap::Declare(self.some_declaration()),
        }
    }
}
