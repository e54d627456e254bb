//! Says what a scenario of a drill is, checks it against a plan, and draws the times of its surprises.
//!
//! A scenario is what somebody prepares: where, with whom, in which light and wind, and what goes wrong when. What a drill
//! plays is an `Exercise`, in which all that was to be drawn has been drawn. Files are read and written in `scenario_file`.
//! Limits: surprises come at times and never after something was done; one position and its first casualty.

use crate::incident::{Exercise, Hanging, Inject, OtherWork, Setting, Surprise};
use crate::plan::{Plan, Rung};
use crate::readiness::{Light, Shift, down, name_of, uniform};
use crate::units::{Millis, Quantity, Speed};

/// A scenario has at most this many surprises.
pub const SURPRISES_MAX: usize = 40;
/// Nobody plays longer than this.
pub const PLAYED_MAX: Millis = Millis::from_seconds(3_600);
/// Wind above this is a slip of the pen.
pub const WIND_MAX: Speed = Speed(100_000);
/// Minutes of the day from which on it counts as dark where a scenario says only the time. A judgement without a source.
const DARK_FROM: u16 = 20 * 60;
/// Minutes of the day from which on it counts as light again. A judgement without a source.
const LIGHT_FROM: u16 = 6 * 60;

/// What somebody prepared for a drill.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Scenario {
    /// Its name.
    pub name: String,
    /// Position id.
    pub position: String,
    /// Time of the day that is played, in minutes since midnight.
    pub time: Option<u16>,
    /// How well one sees, where the time of the day does not say it rightly.
    pub light: Option<Light>,
    /// Wind, gusts counted.
    pub wind: Option<Speed>,
    /// Responder ids of those present; none where everybody of the plan is.
    pub crew: Option<Vec<String>>,
    /// True where it is meant for a living person. Whoever starts the drill decides.
    pub live: bool,
    /// What draws its times; none where every drill draws its own.
    pub seed: Option<u32>,
    /// What goes wrong.
    pub surprises: Vec<Planned>,
}

/// A surprise as it is prepared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Planned {
    /// When it comes.
    pub when: When,
    /// What comes.
    pub inject: Inject,
}

/// When a surprise comes, since activation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum When {
    /// Then.
    At(Millis),
    /// Somewhen from the first to the second, on a whole second where there is one.
    Between(Millis, Millis),
}

impl When {
    /// The latest that it may be.
    pub fn latest(self) -> Millis {
        match self {
            When::At(at) => at,
            When::Between(from, to) => from.max(to),
        }
    }
}

/// Something that is wrong with a scenario.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Line of the file, counted from 1; none where there is no file.
    pub line: Option<usize>,
    /// Which part, e.g. `surprise 2`; empty for the whole.
    pub place: String,
    /// What is wrong, in one sentence.
    pub message: String,
    /// What to do about it.
    pub help: String,
}

impl Fault {
    pub(super) fn new(place: &str, message: impl Into<String>, help: impl Into<String>) -> Fault {
        Fault {
            line: None,
            place: place.to_owned(),
            message: message.into(),
            help: help.into(),
        }
    }
}

impl Scenario {
    /// True where it is played in the dark.
    pub fn is_dark(&self) -> bool {
        let by_time = self
            .time
            .is_some_and(|it| !(LIGHT_FROM..DARK_FROM).contains(&it));
        self.light.map_or(by_time, |it| it == Light::Dark)
    }

    /// What it declares for the shift: wind and light.
    pub fn shift(&self) -> Shift {
        let dark = self.is_dark().then_some(Light::Dark);
        Shift {
            wind: self.wind,
            light: self.light.or(dark),
            ..Shift::default()
        }
    }

    /// What it plays in place of the day: time, light, wind and crew.
    pub fn setting(&self) -> Setting {
        Setting {
            time_min: self.time,
            light: self.shift().light,
            wind: self.wind,
            crew: self.crew.clone(),
        }
    }

    /// Responder ids of those present: the crew as far as the plan knows it, else everybody.
    pub fn present(&self, plan: &Plan) -> Vec<String> {
        let named = |id: &String| self.crew.as_ref().is_none_or(|crew| crew.contains(id));
        let ids = plan.responders.iter().map(|it| it.id.clone());
        ids.filter(named).collect()
    }

    /// What a drill plays: every time is drawn, and the surprises are in their order. The same seed draws the same times.
    pub fn exercise(&self, seed: u64, hanging: Hanging, others: Option<OtherWork>) -> Exercise {
        let drawn = self.surprises.iter().enumerate().map(|(index, it)| {
            let name = name_of(&format!("surprise-{index}"));
            Surprise {
                at: drawn(it.when, uniform(seed, name, 0)),
                inject: it.inject.clone(),
            }
        });
        let mut surprises: Vec<Surprise> = drawn.collect();
        surprises.sort_by_key(|it| it.at);
        Exercise {
            scenario: self.name.clone(),
            seed,
            hanging,
            others,
            setting: self.setting(),
            surprises,
            table_top: false,
        }
    }

    /// The same, to be played at a table: nobody climbs, so no work elsewhere loses its cover.
    pub fn at_a_table(&self, seed: u64) -> Exercise {
        Exercise {
            table_top: true,
            ..self.exercise(seed, Hanging::Manikin, None)
        }
    }
}

/// A time within what was prepared, for a share from 0 to 1.
pub fn drawn(when: When, share: f64) -> Millis {
    match when {
        When::At(at) => at,
        When::Between(from, to) => {
            let (from, to) = (from.min(to), from.max(to));
            let span = to.saturating_sub(from).0;
            // Both ends can come, and what is said aloud is a whole second.
            let steps = span / 1_000 + 1;
            let step = down(share * steps as f64).0;
            from.saturating_add(Millis(step.clamp(0, steps - 1) * 1_000))
        }
    }
}

/// What a scenario asks for that a plan does not have, or that must not be played; empty where it suits the plan.
pub fn check(scenario: &Scenario, plan: &Plan) -> Vec<Fault> {
    let mut faults = Vec::new();
    let position = plan.position(&scenario.position);
    if position.is_none() {
        let ids = plan.positions.iter().map(|it| it.id.as_str());
        faults.push(unknown("position", "position", &scenario.position, ids));
    }
    let people = || plan.responders.iter().map(|it| it.id.as_str());
    for id in scenario.crew.iter().flatten() {
        if plan.responder(id).is_none() {
            faults.push(unknown("crew", "responder", id, people()));
        }
    }
    if scenario.crew.as_ref().is_some_and(Vec::is_empty) {
        let message = "`crew` names nobody";
        let help = "name who is there, or leave `crew` out where everybody is";
        faults.push(Fault::new("crew", message, help));
    }
    if scenario
        .wind
        .is_some_and(|it| !(Speed::ZERO..=WIND_MAX).contains(&it))
    {
        let help = "write a wind from 0 to 100 m/s";
        faults.push(Fault::new("wind", "no wind is that strong", help));
    }
    if scenario.surprises.len() > SURPRISES_MAX {
        let message = format!("there are more than {SURPRISES_MAX} surprises");
        faults.push(Fault::new("", message, "leave out those that teach least"));
    }
    for (index, planned) in scenario.surprises.iter().enumerate() {
        let place = format!("surprise {}", index + 1);
        let mut add = |message: String, help: &str| {
            faults.push(Fault::new(&place, message, help));
        };
        if planned.when.latest() > PLAYED_MAX {
            let message = "it comes more than an hour after the beginning".to_owned();
            add(message, "let it come within 60:00");
        }
        if let When::Between(from, to) = planned.when
            && from > to
        {
            let message = "the first of its two times is later than the second".to_owned();
            add(message, "write the earlier one first");
        }
        if scenario.live && !planned.inject.suits_a_living_person() {
            let message =
                "nobody living is played motionless, and nobody else is hung up beside them";
            add(
                message.to_owned(),
                "leave it out, or write `hanging = \"manikin\"`",
            );
        }
        faults.extend(unsuited(&place, &planned.inject, scenario, plan));
    }
    faults
}

/// What a surprise names that the plan does not know.
fn unsuited(place: &str, inject: &Inject, scenario: &Scenario, plan: &Plan) -> Option<Fault> {
    let position = plan.position(&scenario.position);
    match inject {
        Inject::KitMissing { kit, station } => {
            let Some(kept) = plan.station(station) else {
                let ids = plan.stations.iter().map(|it| it.id.as_str());
                return Some(unknown(place, "station", station, ids));
            };
            let kinds = kept.kit.iter().map(|it| it.kind.as_str());
            let there = kept.kit.iter().any(|it| it.kind == *kit);
            (!there).then(|| unknown(place, "kind of kit there", kit, kinds))
        }
        Inject::ResponderCannot { responder } => {
            let present = scenario.present(plan);
            let ids = present.iter().map(String::as_str);
            let there = present.contains(responder);
            (!there).then(|| unknown(place, "responder who is there", responder, ids))
        }
        Inject::MethodFails { method } => {
            let position = position?;
            let ids = position.methods.iter().map(|it| it.id.as_str());
            let known = position.method(method).is_some();
            (!known).then(|| unknown(place, "method there", method, ids))
        }
        Inject::SelfRescueFails {} => {
            let mut methods = position?.methods.iter();
            let known = methods.any(|it| it.rung == Rung::SelfRescue);
            (!known).then(|| {
                let help = "leave it out, or choose a position where the casualty can";
                Fault::new(place, "no method there is a self-rescue", help)
            })
        }
        Inject::Wind { speed } => {
            let known = (Speed::ZERO..=WIND_MAX).contains(speed);
            let help = "write a wind from 0 to 100 m/s";
            (!known).then(|| Fault::new(place, "no wind is that strong", help))
        }
        Inject::AmbulanceDelayed { by } => {
            let known = *by > Millis::ZERO && *by <= Millis(24 * PLAYED_MAX.0);
            let help = "write how much later, such as \"10:00\"";
            (!known).then(|| Fault::new(place, "nobody comes that much later", help))
        }
        Inject::StopsAnswering {}
        | Inject::RadioLost {}
        | Inject::WrongGate {}
        | Inject::SecondCasualty {} => None,
    }
}

/// Ids that are offered where one is unknown.
const OFFERED_MAX: usize = 12;

fn unknown<'a>(place: &str, what: &str, id: &str, known: impl Iterator<Item = &'a str>) -> Fault {
    let mut known: Vec<&str> = known.collect();
    known.dedup();
    let more = known.len() > OFFERED_MAX;
    known.truncate(OFFERED_MAX);
    let help = match known.is_empty() {
        true => format!("the plan has no {what}"),
        false => format!(
            "write one of: {}{}",
            known.join(", "),
            if more { ", …" } else { "" }
        ),
    };
    Fault::new(
        place,
        format!("the plan has no {what} `{}`", printable(id)),
        help,
    )
}

/// Text from a file, short and without anything that a terminal would obey.
pub(super) fn printable(text: &str) -> String {
    const SHOWN_MAX: usize = 60;
    let shown = text.chars().take(SHOWN_MAX);
    let shown = shown.map(|it| if it.is_control() { '?' } else { it });
    let cut = text.chars().nth(SHOWN_MAX).is_some();
    shown.chain(cut.then_some('…')).collect()
}

/// A quantity as a file writes it, exactly: whole base units of a thousandth.
pub(super) fn in_thousandths<Q: Quantity>(quantity: Q, unit: &str) -> String {
    let base = quantity.base();
    let (whole, rest) = (base / 1_000, base % 1_000);
    match rest {
        0 => format!("{whole} {unit}"),
        rest => format!("{whole}.{rest:03} {unit}"),
    }
}
