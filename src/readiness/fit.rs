//! Judges whether the kit at hand fits a rescue at a position: long enough, strong enough, within its wind and dates.
//!
//! Every judgement is a verdict with its rule, figure, limit, margin and source, because a bare yes convinces nobody who
//! answers for a rescue. Only what physics forbids is called physical; a paper never is, and neither is a figure that is
//! missing. Where the plan leaves open who is on the kit or what a height is counted from, a method is ruled out only if
//! it fails in every reading. Limits: judgements on text alone; plates, makers' instructions and competent people go first.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::fit_rows::{About, ROUNDING, fits_or, in_unit, published_in};
use super::hang::{Elevations, Hang, hang};
use crate::plan::{Ground, KitItem, Method, Plan, Position, Role};
use crate::units::{Grams, Millimetres, Speed, Written, is_imperial};
use crate::words::{Id, Message, metres, wind};

const STATIONS: &str = "the stations in the plan";
const MAKER: &str = "the maker's limit, as the plan says";
const PLAN: &str = "the plan's own control";
const SET_UP: &str = "ways and set-up of the plan";
const FREE_FALL: &str = "29 CFR 1926.502(d)(16)";
const CLEARANCE: &str = "OSHA Technical Manual, section V chapter 4";
const ENTRY: &str = "29 CFR 1910.146(k)(3)(ii)";

/// What a verdict is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// There is such kit, and it may be used.
    InService,
    /// Mass of those on it against its rated load.
    RatedLoad,
    /// Number of those on it against its rated persons.
    Persons,
    /// It carries people, so somebody has to say how much it holds.
    Rating,
    /// Strength against the load of a rescue.
    RescueStrength,
    /// Strength against the figure for fall arrest, beside the one for a rescue.
    FallArrestStrength,
    /// The anchorage that arrested the fall counts as zero.
    ArrestAnchorage,
    /// Length of a rope or line for lowering.
    LoweringRope,
    /// Length of a rope or line for hauling.
    HaulingRope,
    /// Energy of one descent against the descender's class.
    DescentEnergy,
    /// How long the descent takes within the speeds of the standard.
    DescentTime,
    /// Height of a descent on rope.
    RopeDescent,
    /// Length of a ladder at its angle, or hanging.
    LadderLength,
    /// Height that a lift reaches.
    LiftReach,
    /// Distance sideways that a lift reaches.
    LiftOutreach,
    /// Wind against the limit of the kit or the method.
    Wind,
    /// Pull of each person who hauls.
    HaulPull,
    /// A connector locks by itself.
    Locking,
    /// Strength of a connector.
    ConnectorStrength,
    /// Date of the next inspection.
    Inspection,
    /// What a casualty may be lowered onto.
    Lowering,
    /// Retrieval from a deep entry.
    EntryRetrieval,
    /// Free fall of the position's set-up.
    FreeFall,
    /// Clearance below the position's set-up.
    Clearance,
    /// The plan's height against the one that follows from its set-up.
    Height,
}

impl Rule {
    /// The rule as the record and the table spell it.
    pub fn spelled(self) -> &'static str {
        match self {
            Rule::InService => "in-service",
            Rule::RatedLoad => "rated-load",
            Rule::Persons => "persons",
            Rule::Rating => "rating",
            Rule::RescueStrength => "rescue-strength",
            Rule::FallArrestStrength => "fall-arrest-strength",
            Rule::ArrestAnchorage => "arrest-anchorage",
            Rule::LoweringRope => "lowering-rope",
            Rule::HaulingRope => "hauling-rope",
            Rule::DescentEnergy => "descent-energy",
            Rule::DescentTime => "descent-time",
            Rule::RopeDescent => "rope-descent",
            Rule::LadderLength => "ladder-length",
            Rule::LiftReach => "lift-reach",
            Rule::LiftOutreach => "lift-outreach",
            Rule::Wind => "wind",
            Rule::HaulPull => "haul-pull",
            Rule::Locking => "locking",
            Rule::ConnectorStrength => "connector-strength",
            Rule::Inspection => "inspection",
            Rule::Lowering => "lowering",
            Rule::EntryRetrieval => "entry-retrieval",
            Rule::FreeFall => "free-fall",
            Rule::Clearance => "clearance",
            Rule::Height => "height",
        }
    }
}

/// How a verdict came out, the best first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Outcome {
    /// It fits.
    Fits,
    /// A figure is missing, so nobody can say.
    NotSaid,
    /// It works, and somebody should look at it.
    Caution,
    /// A paper is missing or has run out: last choice in an incident, not ready before one.
    Paper,
    /// It cannot work.
    Physical,
}

/// One judgement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Verdict {
    /// By which rule.
    pub rule: Rule,
    /// Method id; none where it is about the set-up of the position.
    pub method: Option<String>,
    /// Role id, where it is about what a role brings or is tied to.
    pub role: Option<String>,
    /// Station id of the kit.
    pub station: Option<String>,
    /// Kit item id.
    pub item: Option<String>,
    /// What it is about, as spoken.
    pub name: String,
    /// What there is, with its unit.
    pub figure: String,
    /// What there must be, with its unit.
    pub limit: String,
    /// What is left, with its unit; below zero where it fails. Empty where there is nothing to subtract.
    pub margin: String,
    /// Where the limit comes from.
    pub source: &'static str,
    /// How it came out.
    pub outcome: Outcome,
    /// Why it cannot work, where that is how it came out.
    pub unfit: Option<Unfit>,
}

/// What is known of the day.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Today {
    /// The higher of wind and gust.
    pub wind: Option<Speed>,
    /// The day by which papers are judged.
    pub day: Option<NaiveDate>,
}

/// Why a piece of kit or a method cannot work, for the record: names and whole numbers only.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "why", rename_all = "kebab-case")]
pub enum Unfit {
    /// The kit is out of service.
    OutOfService {
        /// Name as spoken.
        kit: String,
    },
    /// No station has this kind of kit.
    NoKit {
        /// The kind.
        kind: String,
    },
    /// A rope, line or ladder is too short.
    TooShort {
        /// Name as spoken.
        kit: String,
        /// What it covers.
        has_mm: i64,
        /// What it has to cover.
        needs_mm: i64,
    },
    /// A lift does not reach.
    OutOfReach {
        /// Name as spoken.
        kit: String,
        /// How high it reaches.
        has_mm: i64,
        /// How high it has to.
        needs_mm: i64,
    },
    /// Those on it weigh more than it is rated for.
    TooHeavy {
        /// Name as spoken.
        kit: String,
        /// Mass on it.
        load_g: i64,
        /// Mass that it is rated for.
        rated_g: i64,
    },
    /// More people on it than it is rated for.
    TooMany {
        /// Name as spoken.
        kit: String,
        /// People on it.
        people: u32,
        /// People that it is rated for.
        rated: u32,
    },
    /// It is weaker than the load itself.
    TooWeak {
        /// Name as spoken.
        kit: String,
        /// Strength.
        holds_n: i64,
        /// Load.
        load_n: i64,
    },
    /// One descent takes more energy than its class has.
    TooMuchEnergy {
        /// Name as spoken.
        kit: String,
        /// Energy of the descent.
        descent_j: i64,
        /// Energy of the class.
        class_j: i64,
    },
    /// The wind is over the limit.
    Wind {
        /// Name of the kit or the method, as spoken.
        of: String,
        /// The wind.
        wind_mm_s: i64,
        /// The limit.
        limit_mm_s: i64,
    },
    /// Somebody would be tied to what arrested the fall.
    SpentAnchorage {
        /// Name as spoken.
        anchorage: String,
    },
    /// Nobody may be lowered onto what is below without a control.
    NoGroundControl,
}

impl Unfit {
    /// One line for the screen.
    pub fn message(&self) -> Message {
        let metres = |length_mm: &i64| metres(Millimetres(*length_mm));
        match self {
            Unfit::OutOfService { kit } => Message::with(Id::UnfitOutOfService, [kit]),
            Unfit::NoKit { kind } => Message::with(Id::NotReadyKit, [kind]),
            Unfit::TooShort {
                kit,
                has_mm,
                needs_mm,
            } => Message::with(Id::UnfitShort, [kit, &metres(has_mm), &metres(needs_mm)]),
            Unfit::OutOfReach {
                kit,
                has_mm,
                needs_mm,
            } => Message::with(Id::UnfitReach, [kit, &metres(has_mm), &metres(needs_mm)]),
            Unfit::TooHeavy {
                kit,
                load_g,
                rated_g,
            } => {
                let [load, rated] = [load_g, rated_g].map(|mass_g| kilograms(Grams(*mass_g)));
                Message::with(Id::UnfitHeavy, [kit, &load, &rated])
            }
            Unfit::TooMany { kit, people, rated } => Message::with(
                Id::UnfitMany,
                [kit, &people.to_string(), &rated.to_string()],
            ),
            Unfit::TooWeak { kit, .. } => Message::with(Id::UnfitWeak, [kit]),
            Unfit::TooMuchEnergy { kit, .. } => Message::with(Id::UnfitEnergy, [kit]),
            Unfit::Wind {
                of,
                wind_mm_s,
                limit_mm_s,
            } => {
                let [blows, limit] = [wind_mm_s, limit_mm_s].map(|mm_s| wind(Speed(*mm_s)));
                Message::with(Id::UnfitWind, [of, &blows, &limit])
            }
            Unfit::SpentAnchorage { anchorage } => Message::with(Id::UnfitAnchorage, [anchorage]),
            Unfit::NoGroundControl => Message::of(Id::UnfitGround),
        }
    }
}

/// The whole table of a position: its set-up, then every method with all kit that its roles may bring, in the plan's order.
pub fn fit(plan: &Plan, position: &Position, today: &Today) -> Vec<Verdict> {
    Fitting::new(plan, position).table(today)
}

/// One piece of kit in one role. For many pieces at one position make one [`Fitting`] and ask that.
pub fn piece(
    plan: &Plan,
    position: &Position,
    method: &Method,
    role: &Role,
    item: &KitItem,
    today: &Today,
) -> Vec<Verdict> {
    Fitting::new(plan, position).piece(method, role, item, today)
}

/// Why it cannot work: the first physical failing.
pub fn physical(verdicts: &[Verdict]) -> Option<Unfit> {
    verdicts.iter().find_map(|verdict| verdict.unfit.clone())
}

/// The worst that is left when every role brings the best piece that it may bring.
pub fn at_best(verdicts: &[Verdict]) -> Outcome {
    let worst = |of: &mut dyn Iterator<Item = &Verdict>| {
        of.map(|it| it.outcome).max().unwrap_or(Outcome::Fits)
    };
    let whatever = worst(&mut verdicts.iter().filter(|it| it.item.is_none()));
    let mut pieces: BTreeMap<_, BTreeMap<_, Outcome>> = BTreeMap::new();
    for verdict in verdicts.iter().filter(|it| it.item.is_some()) {
        let of_role = pieces.entry((&verdict.method, &verdict.role)).or_default();
        let piece = of_role
            .entry((&verdict.station, &verdict.item))
            .or_insert(Outcome::Fits);
        *piece = verdict.outcome.max(*piece);
    }
    let best = pieces.values().filter_map(|it| it.values().min());
    best.copied().max().unwrap_or(Outcome::Fits).max(whatever)
}

/// Whole kilograms, as they stand on a plate.
fn kilograms(mass: Grams) -> String {
    format!("{} kg", mass.0.saturating_add(500) / 1_000)
}

/// Everything about a position that does not depend on the piece or the day.
pub struct Fitting<'p> {
    pub(super) plan: &'p Plan,
    pub(super) position: &'p Position,
    hang: Hang,
    /// Floors above the landing place of the places where roles stand.
    floors: BTreeMap<&'p str, Millimetres>,
    /// True where the plan measures this position in feet and pounds.
    pub(super) imperial: bool,
}

impl<'p> Fitting<'p> {
    /// Looks at one position.
    pub fn new(plan: &'p Plan, position: &'p Position) -> Fitting<'p> {
        Fitting::with(plan, position, &Elevations::of(plan))
    }

    /// Looks at one of many positions of a plan whose heights are known already.
    pub fn with(
        plan: &'p Plan,
        position: &'p Position,
        elevations: &Elevations<'_>,
    ) -> Fitting<'p> {
        let roles = position.methods.iter().flat_map(|it| &it.roles);
        let floor = |role: &'p Role| {
            let floor = elevations.above(&role.place, &position.landing)?;
            Some((role.place.as_str(), floor))
        };
        let unit = position.feet_above_ground.as_ref().map(|it| it.unit);
        let unit = unit.or(position.heaviest.as_ref().map(|it| it.unit));
        Fitting {
            plan,
            position,
            hang: hang(plan, position, elevations),
            floors: roles.filter_map(floor).collect(),
            imperial: unit.is_some_and(is_imperial),
        }
    }

    /// Where the casualty hangs.
    pub fn hang(&self) -> &Hang {
        &self.hang
    }

    /// The floor where a role stands, above the landing place.
    pub(super) fn floor(&self, role: &Role) -> Option<Millimetres> {
        self.floors.get(role.place.as_str()).copied()
    }

    /// The whole table.
    pub fn table(&self, today: &Today) -> Vec<Verdict> {
        let mut verdicts = self.set_up();
        for method in &self.position.methods {
            verdicts.extend(self.method(method, today));
            for role in &method.roles {
                let Some(kind) = &role.kit else { continue };
                let kept = self.plan.stations.iter().flat_map(|it| &it.kit);
                let mut found = false;
                for item in kept.filter(|it| it.kind == *kind) {
                    found = true;
                    verdicts.extend(self.piece(method, role, item, today));
                }
                if !found {
                    let texts = ["none", "one", ""].map(str::to_owned);
                    let unfit = Unfit::NoKit { kind: kind.clone() };
                    let about = About::role(method, role, kind);
                    verdicts.push(about.verdict(Rule::InService, STATIONS, texts, Err(unfit)));
                }
            }
        }
        verdicts
    }

    /// What is about a method and its roles, whatever kit they bring: wind, ground, anchorages, descent.
    pub fn method(&self, method: &Method, today: &Today) -> Vec<Verdict> {
        let about = About::method(method);
        let limit = method.wind_max.as_ref();
        let mut verdicts: Vec<Verdict> = limit
            .map(|limit| wind_within(limit, &method.name, today, &about))
            .into_iter()
            .collect();
        if method.lowers {
            verdicts.push(self.ground(&about));
        }
        verdicts.extend(self.rope_descent(method, &about));
        verdicts.extend(self.anchorages(method));
        verdicts
    }

    /// One piece of kit in one role.
    pub fn piece(
        &self,
        method: &Method,
        role: &Role,
        item: &KitItem,
        today: &Today,
    ) -> Vec<Verdict> {
        let about = About::piece(self.plan, method, role, item);
        if let Some(why) = &item.out_of_service {
            let texts = [why, "in service", ""].map(str::to_owned);
            let unfit = Unfit::OutOfService {
                kit: item.name.clone(),
            };
            return vec![about.verdict(Rule::InService, STATIONS, texts, Err(unfit))];
        }
        let party = self.party(method, role, item);
        let mut verdicts = self.lines(method, role, item, &party, &about);
        verdicts.extend(self.loads(item, &party, today, &about));
        match &item.wind_max {
            Some(limit) => verdicts.push(wind_within(limit, &item.name, today, &about)),
            None if item.reach.is_some() => {
                let texts = ["", "not said", ""].map(str::to_owned);
                verdicts.push(about.verdict(Rule::Wind, MAKER, texts, Ok(Outcome::NotSaid)));
            }
            None => {}
        }
        verdicts
    }

    /// What a casualty would be lowered onto.
    fn ground(&self, about: &About<'_>) -> Verdict {
        let (figure, limit, outcome) = match (self.position.ground, &self.position.ground_control) {
            (None, _) => ("not said", "firm, or a control", Ok(Outcome::NotSaid)),
            (Some(Ground::Firm), _) => (Ground::Firm.spelled(), "firm", Ok(Outcome::Fits)),
            (Some(ground), Some(control)) => {
                (ground.spelled(), control.as_str(), Ok(Outcome::Fits))
            }
            (Some(ground), None) => (ground.spelled(), "a control", Err(Unfit::NoGroundControl)),
        };
        let texts = [figure, limit, ""].map(str::to_owned);
        about.verdict(Rule::Lowering, PLAN, texts, outcome)
    }

    /// What is about the position itself, before anybody falls.
    fn set_up(&self) -> Vec<Verdict> {
        let mut verdicts = Vec::new();
        let about = About::set_up(&self.position.name);
        let length = |length| in_unit(length, if self.imperial { "ft" } else { "m" }, 2);
        if let Some([given, other]) = self.hang.contradiction() {
            let texts = [given, other, given.saturating_sub(other)].map(length);
            verdicts.push(about.verdict(Rule::Height, SET_UP, texts, Ok(Outcome::Caution)));
        }
        verdicts.extend(self.free_fall(&about));
        if let (Some(needed), Some(given)) =
            (self.hang.clearance_needed, &self.hang.clearance_given)
        {
            let outcome = fits_or(
                given.value.saturating_add(ROUNDING) >= needed,
                Outcome::Caution,
            );
            let left = length(given.value.saturating_sub(needed));
            let texts = [given.text.clone(), length(needed), left];
            verdicts.push(about.verdict(Rule::Clearance, CLEARANCE, texts, outcome));
        }
        verdicts.extend(self.holds_on());
        verdicts.extend(self.retrieval(&about));
        verdicts
    }

    fn free_fall(&self, about: &About<'_>) -> Option<Verdict> {
        let arrest = self.position.arrest.as_ref()?;
        let fall = self.hang.free_fall?;
        // At the height of the ring the fall is the lanyard as it was written, so feet are compared with feet.
        let level = arrest.anchor_above_ring == Some(Millimetres::ZERO);
        let written = arrest
            .free_fall
            .as_ref()
            .or(arrest.length.as_ref().filter(|_| level));
        let limit = &self.plan.policy.free_fall;
        let unit = if self.imperial { "ft" } else { "m" };
        let (over, unit, figure) = match written {
            Some(written) => (limit.exceeded(written), written.unit, written.text.clone()),
            None => (limit.exceeded_by(fall), unit, in_unit(fall, unit, 2)),
        };
        let shown = over.or_else(|| published_in(limit, unit))?;
        let left = in_unit(shown.value.saturating_sub(fall), unit, 2);
        let texts = [figure, shown.text.clone(), left];
        let outcome = fits_or(over.is_none(), Outcome::Caution);
        Some(about.verdict(Rule::FreeFall, FREE_FALL, texts, outcome))
    }

    fn retrieval(&self, about: &About<'_>) -> Option<Verdict> {
        let space = self.position.confined_space.as_ref()?;
        let depth = space.depth.as_ref()?;
        let over = self.plan.policy.entry_depth.exceeded(depth)?;
        let outcome = fits_or(space.retrieval.is_some(), Outcome::Paper);
        let figure = space.retrieval.as_deref().unwrap_or("none said");
        let limit = format!("mechanical, below {}", over.text);
        let texts = [figure.to_owned(), limit, String::new()];
        Some(about.verdict(Rule::EntryRetrieval, ENTRY, texts, outcome))
    }
}

/// Wind against a limit as it was written.
fn wind_within(limit: &Written<Speed>, of: &str, today: &Today, about: &About<'_>) -> Verdict {
    let text = |speed: Speed| in_unit(speed, limit.unit, 1);
    let Some(blows) = today.wind else {
        let texts = ["not said".to_owned(), limit.text.clone(), String::new()];
        return about.verdict(Rule::Wind, MAKER, texts, Ok(Outcome::NotSaid));
    };
    let outcome = match blows > limit.value {
        true => Err(Unfit::Wind {
            of: of.to_owned(),
            wind_mm_s: blows.0,
            limit_mm_s: limit.value.0,
        }),
        false => Ok(Outcome::Fits),
    };
    let left = text(limit.value.saturating_sub(blows));
    about.verdict(
        Rule::Wind,
        MAKER,
        [text(blows), limit.text.clone(), left],
        outcome,
    )
}
