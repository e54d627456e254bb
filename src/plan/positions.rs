//! Finds what a position and its methods lack: who notices a fall, what holds, what is below, who comes home.
//!
//! A rescue that was never thought through shows here and not in the heat of it: an exposed role without an anchorage of
//! its own, a confined space without entry conditions, lowering onto water. Everything is a warning or a notice, because
//! a fall waits for no paper. What is asked of the site as a whole is in `gaps.rs`.

use std::collections::{BTreeMap, BTreeSet};

use super::check::Judge;
use super::findings::Kind;
use super::model::{
    ArrestKind, Ground, KitItem, Method, Milestone, OutsideRescue, Position, Responder, Role,
};

pub(super) fn check(judge: &Judge<'_>) {
    let free = Free::new(judge);
    for position in &judge.plan.positions {
        let at = format!("position.{}", position.id);
        let hanging = Hanging::new(judge, position);
        watch(judge, position, &at, &hanging);
        setting(judge, position, &at, &hanging);
        landing(judge, position, &at, &free);
        confined(judge, position, &at);
        outside(judge, position, &at, &free);
        for method in &position.methods {
            let at = format!("{at}.method.{}", method.id);
            exposure(judge, position, method, &at);
            course(judge, position, method, &at);
            crew(judge, method, &at, &free, &hanging);
        }
    }
}

/// What is asked of the whole plan, once.
struct Free<'a> {
    /// Pieces of each kind that may be used.
    pieces: BTreeMap<&'a str, u64>,
    /// How often each qualification is held.
    holders: BTreeMap<&'a str, usize>,
    outside: BTreeMap<&'a str, &'a OutsideRescue>,
    /// Milliseconds from the nearest AED to every place; none where that cannot be judged.
    from_aed: Option<BTreeMap<&'a str, i64>>,
    landing_places: BTreeSet<&'a str>,
    dead_spots: BTreeSet<&'a str>,
}

impl<'a> Free<'a> {
    fn new(judge: &Judge<'a>) -> Free<'a> {
        let plan = judge.plan;
        let mut pieces = BTreeMap::new();
        let mut aeds = Vec::new();
        for station in &plan.stations {
            for item in &station.kit {
                if item.in_service() {
                    *pieces.entry(item.kind.as_str()).or_insert(0) += u64::from(item.count);
                    if item.kind == KitItem::AED {
                        aeds.push(station.place.as_str());
                    }
                }
            }
        }
        let outside = plan.outside_rescues.iter();
        let from_aed = judge.routes.as_ref().filter(|_| !aeds.is_empty());
        let from_aed = from_aed.map(|routes| {
            let times = routes.times_from_any(&aeds);
            times
                .into_iter()
                .map(|(place, time)| (place, time.0))
                .collect()
        });
        let radio = plan.radio.iter().flat_map(|radio| &radio.dead_spots);
        Free {
            pieces,
            holders: held(&plan.responders),
            outside: outside.map(|it| (it.id.as_str(), it)).collect(),
            from_aed,
            landing_places: plan
                .site
                .landing_places
                .iter()
                .map(String::as_str)
                .collect(),
            dead_spots: radio.map(String::as_str).collect(),
        }
    }
}

/// Those who may be the one who hangs at a position, asked once for all its methods.
struct Hanging<'a> {
    workers: BTreeSet<&'a str>,
    /// How often each qualification is held among them.
    holders: BTreeMap<&'a str, usize>,
    /// How many responders are not among them.
    others: usize,
}

impl<'a> Hanging<'a> {
    fn new(judge: &Judge<'a>, position: &'a Position) -> Hanging<'a> {
        let workers: BTreeSet<&str> = position.workers.iter().map(String::as_str).collect();
        let known: Vec<&Responder> = workers
            .iter()
            .filter_map(|id| judge.responders.get(id).copied())
            .collect();
        Hanging {
            others: judge.plan.responders.len() - known.len(),
            holders: held(known),
            workers,
        }
    }
}

/// How often each qualification is held.
fn held<'a>(responders: impl IntoIterator<Item = &'a Responder>) -> BTreeMap<&'a str, usize> {
    let mut held = BTreeMap::new();
    for qualification in responders.into_iter().flat_map(|it| &it.qualifications) {
        *held.entry(qualification.name.as_str()).or_default() += 1;
    }
    held
}

/// Who notices a fall.
fn watch(judge: &Judge<'_>, position: &Position, at: &str, hanging: &Hanging<'_>) {
    let hangs = |id: &str| hanging.workers.contains(id);
    let watched = position.watched_by.iter().any(|id| !hangs(id));
    if !watched && position.noticed_by.is_none() && judge.gathered.sound(at) {
        let message = format!("nobody can see or hear a worker at {at}");
        let help = "name who can in `watched_by`, or say in `noticed_by` how a fall is noticed";
        judge.add(Kind::NobodyWatches, at, message, help);
    }
    for (number, watcher) in (1..).zip(&position.watched_by) {
        if hangs(watcher) {
            let message = format!("`{watcher}` watches {at} and works there");
            judge.add(
                Kind::WatcherWorksThere,
                &format!("{at}.watched_by.{number}"),
                message,
                "name somebody who cannot be the casualty",
            );
        }
    }
    if position.people == Some(1) {
        let alone = |id: &&String| {
            judge
                .responders
                .get(id.as_str())
                .is_some_and(|it| !it.may_work_alone)
        };
        if let Some(worker) = position.workers.iter().find(alone) {
            let message =
                format!("`{worker}` works alone at {at} and may not work at height alone");
            let help = "put a second person there, or say `may_work_alone = true` where that is so";
            judge.add(Kind::WorksAlone, &format!("{at}.people"), message, help);
        }
    }
    if let Some(people) = position.people
        && usize::try_from(people).is_ok_and(|people| people < position.workers.len())
    {
        let message = format!("{at} has more workers than people at once");
        judge.add(
            Kind::MoreWorkersThanPeople,
            &format!("{at}.people"),
            message,
            "nothing needs to change where they take turns",
        );
    }
}

/// Anchorage, arrest, what is below, hazards.
fn setting(judge: &Judge<'_>, position: &Position, at: &str, hanging: &Hanging<'_>) {
    if !judge.gathered.sound(at) {
        return;
    }
    let gap = |missing: bool, kind, what: &str, help: &str| {
        if missing {
            judge.add(kind, at, format!("the plan does not say {what} {at}"), help);
        }
    };
    gap(
        position.anchorage.is_none(),
        Kind::NoAnchorage,
        "what a worker is tied to at",
        &format!("add a table [{at}.anchorage]"),
    );
    gap(
        position.arrest.is_none(),
        Kind::NoArrest,
        "what stops a fall at",
        &format!("add a table [{at}.arrest]"),
    );
    gap(
        position.ground.is_none(),
        Kind::NoGround,
        "what a casualty would be lowered onto at",
        "add `ground = \"firm\"`, \"water\", \"live-plant\", \"fragile-roof\" or \"public\"",
    );
    gap(
        position.heaviest.is_none(),
        Kind::NoHeaviest,
        "how heavy a worker with tools is at",
        "add a line such as `heaviest = \"120 kg\"`",
    );
    gap(
        position.last_drill.is_none(),
        Kind::NeverDrilled,
        "when there was a drill at",
        "drill here, then add a line such as `last_drill = \"2030-05-31\"`",
    );
    if let Some(arrest) = &position.arrest
        && arrest.kind != ArrestKind::SelfRetracting
        && arrest.free_fall.is_none()
        && (arrest.length.is_none() || arrest.anchor_above_ring.is_none())
    {
        let message = format!("the free fall at {at} does not follow from its arrest set-up");
        let help = "give `free_fall`, or `length` and `anchor_above_ring`";
        judge.add(
            Kind::FreeFallUnknown,
            &format!("{at}.arrest"),
            message,
            help,
        );
    }
    for hazard in &position.hazards {
        let at = format!("{at}.hazard.{}", hazard.id);
        if hazard.proof.is_none() {
            let message = format!("the plan does not say how one knows that {at} is safe");
            let help = "add a line such as `proof = \"start button tried, nothing moves\"`";
            judge.add(Kind::HazardNotProven, &at, message, help);
        }
        if let Some(by) = hazard
            .by
            .as_ref()
            .filter(|by| hanging.workers.contains(by.as_str()))
        {
            let message = format!("`{by}` makes {at} safe and may be the one who hangs");
            judge.add(
                Kind::HazardByWorker,
                &format!("{at}.by"),
                message,
                "name somebody who does not work there",
            );
        }
    }
}

fn landing(judge: &Judge<'_>, position: &Position, at: &str, free: &Free<'_>) {
    let own = [("landing".to_owned(), &position.landing)];
    let others = position.methods.iter().filter_map(|method| {
        let landing = method.landing.as_ref()?;
        Some((format!("method.{}.landing", method.id), landing))
    });
    for (key, landing) in own.into_iter().chain(others) {
        let at = format!("{at}.{key}");
        if !judge.places.contains_key(landing.as_str()) {
            continue;
        }
        if !free.landing_places.is_empty() && !free.landing_places.contains(landing.as_str()) {
            let message =
                format!("{at} is `{landing}`, which is not among the landing places of the site");
            judge.add(
                Kind::LandingNotListed,
                &at,
                message,
                "add it to `landing_places` in [site], or name one of those",
            );
        }
        let limit_ms = judge.plan.policy.aed_within.0;
        let far = free
            .from_aed
            .as_ref()
            .map(|times| times.get(landing.as_str()));
        if let Some(time_ms) = far
            && time_ms.is_none_or(|time| *time > limit_ms)
        {
            let message = match time_ms {
                Some(time_ms) => format!(
                    "the nearest AED is {} s from {at}, more than the {} s of the policy",
                    time_ms / 1_000,
                    limit_ms / 1_000
                ),
                None => format!("no way leads from an AED to {at}"),
            };
            judge.add(Kind::AedFar, &at, message, "keep one nearer to this place");
        }
    }
    for (key, place) in [("place", &position.place), ("approach", &position.approach)] {
        if position.noticed_by.is_none() && free.dead_spots.contains(place.as_str()) {
            let message = format!("the radio does not work at {at}.{key}");
            let help =
                "say in `noticed_by` how a fall is noticed here and how people speak to each other";
            judge.add(Kind::DeadSpot, &format!("{at}.{key}"), message, help);
        }
    }
}

fn confined(judge: &Judge<'_>, position: &Position, at: &str) {
    let enters = position.methods.iter().find_map(|method| {
        let role = method.roles.iter().find(|role| role.enters)?;
        Some(format!("{at}.method.{}.role.{}.enters", method.id, role.id))
    });
    let Some(space) = &position.confined_space else {
        if let Some(role) = enters {
            let message =
                format!("{role} goes into a confined space, and {at} is not said to be one");
            judge.add(
                Kind::EntryWithoutSpace,
                &role,
                message,
                format!("add a table [{at}.confined_space], or leave `enters` out"),
            );
        }
        return;
    };
    let space_at = format!("{at}.confined_space");
    if space.conditions.is_empty() && judge.gathered.sound(&space_at) {
        let message = format!("{at} is a confined space without entry conditions");
        let help = "list in `conditions` what must be confirmed before anybody goes in, air first";
        judge.add(Kind::NoEntryConditions, &space_at, message, help);
    }
    if let Some(role) = enters.filter(|_| !space.entry_allowed) {
        let message = format!("{role} goes in where no entry is allowed");
        judge.add(
            Kind::EntryNotAllowed,
            &role,
            message,
            "bring the casualty out without entry, or say `entry_allowed = true`",
        );
    }
    if space.attendant.is_none() && judge.gathered.sound(&space_at) {
        let message = format!("{at} is a confined space without an attendant");
        judge.add(
            Kind::NoAttendant,
            &space_at,
            message,
            "name the qualification of the attendant in `attendant`",
        );
    }
    if let Some(attendant) = &space.attendant {
        judge.held(attendant, &format!("{space_at}.attendant"));
    }
    let deep = space
        .depth
        .as_ref()
        .and_then(|depth| judge.plan.policy.entry_depth.exceeded(depth));
    if let Some(limit) = deep.filter(|_| space.retrieval.is_none()) {
        let message = format!(
            "{at} is deeper than {} and has no mechanical retrieval",
            limit.text
        );
        judge.add(
            Kind::NoRetrieval,
            &format!("{space_at}.depth"),
            message,
            "say in `retrieval` what brings somebody out without entry",
        );
    }
}

fn outside(judge: &Judge<'_>, position: &Position, at: &str, free: &Free<'_>) {
    let Some(outside) = position
        .relies_on
        .as_ref()
        .and_then(|id| free.outside.get(id.as_str()))
    else {
        return;
    };
    let key = format!("{at}.relies_on");
    if outside.agreement.is_none() || outside.confirmed.is_none() {
        let message = format!(
            "{at} relies on {} without a confirmed agreement",
            outside.name
        );
        let help = "make one, give its reference in `agreement` and the day in `confirmed`, or plan to do it alone";
        judge.add(Kind::OutsideWithoutAgreement, &key, message, help);
    }
    if !outside.height_capable {
        let message = format!(
            "{at} relies on {}, who cannot reach somebody who hangs",
            outside.name
        );
        judge.add(
            Kind::OutsideNotCapable,
            &key,
            message,
            "rely on rescuers who can, and say `height_capable = true` there",
        );
    }
}

/// Whoever is exposed comes home.
fn exposure(judge: &Judge<'_>, position: &Position, method: &Method, at: &str) {
    if !judge.gathered.sound(at) {
        return;
    }
    let exposed: BTreeSet<&str> = method
        .steps
        .iter()
        .filter(|step| step.exposed)
        .filter_map(|step| step.role.as_deref())
        .collect();
    for role in method
        .roles
        .iter()
        .filter(|role| exposed.contains(role.id.as_str()))
    {
        let at = format!("{at}.role.{}", role.id);
        match (&role.anchorage, &position.anchorage) {
            (None, _) => {
                let message = format!("{at} is exposed and has no anchorage of its own");
                let help = "name it in `anchorage`: not the one that arrested the fall";
                judge.add(Kind::NoRescuerAnchorage, &at, message, help);
            }
            (Some(own), Some(arrested))
                if own.trim().to_lowercase() == arrested.name.to_lowercase()
                    && !arrested.holds_on =>
            {
                let message = format!("{at} is tied to the anchorage that arrested the fall");
                let help = "use another one, or say `holds_on = true` where it is rated for both";
                judge.add(
                    Kind::SameAnchorage,
                    &format!("{at}.anchorage"),
                    message,
                    help,
                );
            }
            _ => {}
        }
    }
    if method.exposes() {
        if method.rescuer_rescue.is_none() {
            let message =
                format!("the plan does not say how a rescuer who hangs in {at} would be rescued");
            judge.add(
                Kind::NoRescuerRescue,
                at,
                message,
                "say it in `rescuer_rescue`, with other kit than this method uses",
            );
        }
        match &method.control {
            None => {
                let message = format!(
                    "nobody is named in {at} who stays in control of the exposed person's line or lift"
                );
                judge.add(
                    Kind::NoController,
                    at,
                    message,
                    "name that role in `control`",
                );
            }
            Some(role) if exposed.len() == 1 && exposed.contains(role.as_str()) => {
                let message =
                    format!("the only exposed person in {at} is in control of their own line");
                judge.add(
                    Kind::ControllerExposed,
                    &format!("{at}.control"),
                    message,
                    "name the role of somebody who is not exposed",
                );
            }
            Some(_) => {}
        }
    }
    for (number, step) in (1..).zip(&method.steps) {
        let at = format!("{at}.step.{number}");
        if step.exposed && !step.near {
            let message = format!("{at} is exposed and not marked as past the approach point");
            judge.add(
                Kind::ExposedNotNear,
                &format!("{at}.exposed"),
                message,
                "add `near = true`, so that nobody is sent before it is safe",
            );
        }
        if let Some(fails) = step.fails_after.filter(|fails| *fails > step.time.long) {
            let message = format!(
                "{at} shows that it fails after {} s, later than its longest time",
                fails.0 / 1_000
            );
            judge.add(
                Kind::FailsAfterLongest,
                &format!("{at}.fails_after"),
                message,
                "make it at most the longest time",
            );
        }
    }
}

/// The course of a method: committed without a gap, lowered only where that is controlled, a chance with its evidence.
fn course(judge: &Judge<'_>, position: &Position, method: &Method, at: &str) {
    if !judge.gathered.sound(at) {
        return;
    }
    let release = method
        .steps
        .iter()
        .position(|step| step.milestone == Some(Milestone::OffHarness));
    let committed = method.steps.iter().position(|step| step.committed);
    if let (Some(release), Some(committed)) = (release, committed) {
        let gap = (committed..=release).find(|index| !method.steps[*index].committed);
        let late = (release + 1..method.steps.len()).find(|index| method.steps[*index].committed);
        if let Some(index) = gap.or(late) {
            let step = format!("{at}.step.{}", index + 1);
            let message = match gap {
                Some(_) => format!("{step} is not committed, and a step before it was"),
                None => format!("{step} is committed after the casualty is off the harness"),
            };
            let help = "once connected, a rescue is committed until the weight is on a stable surface, and not after";
            judge.add(Kind::CommittedGap, &step, message, help);
        }
    }
    let uncontrolled = |ground: Ground| ground != Ground::Firm && position.ground_control.is_none();
    if method.lowers && position.ground.is_some_and(uncontrolled) {
        let ground = position.ground.map_or("", Ground::spelled);
        let message = format!("{at} lowers the casualty onto `{ground}` without a control for it");
        let help =
            "say in `ground_control` of the position how that is made safe, or choose another way";
        judge.add(
            Kind::LoweringUncontrolled,
            &format!("{at}.lowers"),
            message,
            help,
        );
    }
    match (method.success, &method.evidence) {
        (None, _) => {
            let message = format!("the plan does not say how likely {at} works");
            judge.add(
                Kind::NoChance,
                at,
                message,
                "add a line such as `success = \"90 %\"`, with its `evidence`",
            );
        }
        (Some(_), None) => {
            let message = format!("the chance of {at} has no evidence, so it counts as assumed");
            judge.add(
                Kind::ChanceWithoutEvidence,
                &format!("{at}.success"),
                message,
                "say in `evidence` which drills or whose experience it rests on",
            );
        }
        (Some(_), Some(_)) => {}
    }
}

/// Whether the people and the kit of the plan are enough for a method.
fn crew(judge: &Judge<'_>, method: &Method, at: &str, free: &Free<'_>, hanging: &Hanging<'_>) {
    if !judge.gathered.sound("responder") || !judge.gathered.sound("station") {
        return;
    }
    let only_who_may_hang = |role: &Role| {
        let needed = role.qualification.as_deref()?;
        Some(free.holders.get(needed)? == hanging.holders.get(needed)?)
    };
    for role in &method.roles {
        let at = format!("{at}.role.{}", role.id);
        if only_who_may_hang(role) == Some(true) {
            let message = format!("only those who may hang can do {at}");
            judge.add(
                Kind::RescuerWorksThere,
                &format!("{at}.qualification"),
                message,
                "train somebody who does not work here",
            );
        }
    }
    if !judge.plan.responders.is_empty() && hanging.others < method.roles.len() {
        let message = format!(
            "{at} takes {} people, and fewer can be sent",
            method.roles.len()
        );
        judge.add(
            Kind::CrewTooSmall,
            at,
            message,
            "name more people who can be sent, or a method that takes fewer",
        );
    }
    let mut wanted: BTreeMap<&str, (u64, &str)> = BTreeMap::new();
    for role in &method.roles {
        if let Some(kind) = &role.kit {
            let entry = wanted.entry(kind).or_insert((0, &role.id));
            *entry = (entry.0 + 1, &role.id);
        }
    }
    for (kind, (count, role)) in wanted {
        let there = free.pieces.get(kind).copied().unwrap_or(0);
        let at = format!("{at}.role.{role}.kit");
        if there == 0 && judge.retired.contains(kind) {
            let message = format!("all kit of the kind `{kind}` that {at} names is out of service");
            judge.add(
                Kind::KitOutOfService,
                &at,
                message,
                "replace it, or change the method",
            );
        } else if there > 0 && there < count {
            let message =
                format!("{at} is one of {count} that bring `{kind}`, and there are only {there}");
            judge.add(
                Kind::KitShort,
                &at,
                message,
                "add what is missing to a station, or change the method",
            );
        }
    }
}
