//! Judges a plan as a whole: references that lead nowhere, methods that cannot end, people and kit that are not there.
//!
//! Only the whole can show these, so they come after every table was read by itself. A table that has an error of its own
//! is not judged on what that error hides. An error here means that the program could not follow the plan; a gap that
//! leaves part of it usable is a warning.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use chrono::NaiveDate;
use toml::de::{DeTable, DeValue};

use super::findings::{Gathered, Kind, Reference};
use super::model::{Method, Milestone, Place, Plan, Position, Responder, Role, Step};
use super::routes::Routes;
use super::source::Group;
use super::{dates, drawings, figures, gaps, positions};
use crate::units::Millimetres;

/// Most words of a prompt, the name of the person it goes to included.
const PROMPT_WORDS_MAX: usize = 9;

/// Most roles of a method.
const ROLES_MAX: usize = 24;

/// Adds everything that is wrong with the plan as a whole.
pub(super) fn check(
    plan: &Plan,
    root: &DeTable<'_>,
    gathered: &Gathered,
    today: Option<NaiveDate>,
) {
    let judge = Judge::new(plan, root, gathered);
    judge.references();
    judge.whole();
    judge.links();
    for station in &plan.stations {
        let at = format!("station.{}", station.id);
        judge.reachable(&format!("{at}.place"), &station.place);
        judge.alike(
            &format!("{at}.kit"),
            station.kit.iter().map(|it| (&it.id, &it.name)),
        );
    }
    for responder in &plan.responders {
        let at = format!("responder.{}", responder.id);
        let held = responder.qualifications.iter().map(|held| &held.name);
        judge.repeats(&format!("{at}.qualifications"), held);
        judge.repeats(&format!("{at}.languages"), &responder.languages);
    }
    for position in &plan.positions {
        judge.position(position, &format!("position.{}", position.id));
    }
    drawings::check(&judge);
    gaps::check(&judge);
    positions::check(&judge);
    figures::check(&judge);
    if let Some(today) = today {
        dates::check(&judge, today);
    }
}

/// What the judges of a plan share.
pub(super) struct Judge<'a> {
    pub(super) plan: &'a Plan,
    root: &'a DeTable<'a>,
    pub(super) gathered: &'a Gathered,
    /// The ways; none in a plan that hides some of them behind an error.
    pub(super) routes: Option<Routes<'a>>,
    pub(super) places: BTreeMap<&'a str, &'a Place>,
    pub(super) responders: BTreeMap<&'a str, &'a Responder>,
    /// Places that a way leads to from where anybody usually is; nothing where that cannot be judged.
    reached: Option<BTreeSet<&'a str>>,
    /// Words in the longest name among the holders of a qualification.
    holders: BTreeMap<&'a str, usize>,
    /// A place where a kind of kit is kept, one that a way leads to where there is such a one.
    keepers: BTreeMap<&'a str, &'a str>,
    /// Kinds of kit of which some is out of service.
    pub(super) retired: BTreeSet<&'a str>,
    /// Words in each responder's name, and in the longest.
    names: BTreeMap<&'a str, usize>,
    longest_name: usize,
}

impl<'a> Judge<'a> {
    fn new(plan: &'a Plan, root: &'a DeTable<'a>, gathered: &'a Gathered) -> Judge<'a> {
        let mut holders = BTreeMap::new();
        for responder in &plan.responders {
            for qualification in &responder.qualifications {
                let longest = holders.entry(qualification.name.as_str()).or_insert(0);
                *longest = words(&responder.name).max(*longest);
            }
        }
        let can_judge =
            !plan.responders.is_empty() && gathered.sound("responder") && gathered.sound("link");
        let reached = can_judge.then(|| reached(plan));
        let can_reach = |place: &str| reached.as_ref().is_none_or(|it| it.contains(place));
        let mut keepers: BTreeMap<&str, &str> = BTreeMap::new();
        let mut retired = BTreeSet::new();
        for station in &plan.stations {
            for item in &station.kit {
                if !item.in_service() {
                    retired.insert(item.kind.as_str());
                    continue;
                }
                let kept = keepers.entry(&item.kind).or_insert(&station.place);
                if !can_reach(kept) {
                    *kept = &station.place;
                }
            }
        }
        let names: BTreeMap<_, _> = plan
            .responders
            .iter()
            .map(|it| (it.id.as_str(), words(&it.name)))
            .collect();
        let longest_name = names.values().copied().max().unwrap_or(0);
        Judge {
            plan,
            root,
            gathered,
            places: plan.places.iter().map(|it| (it.id.as_str(), it)).collect(),
            responders: plan
                .responders
                .iter()
                .map(|it| (it.id.as_str(), it))
                .collect(),
            routes: can_judge.then(|| Routes::new(plan)),
            reached,
            holders,
            keepers,
            retired,
            names,
            longest_name,
        }
    }

    pub(super) fn add(&self, kind: Kind, at: &str, message: String, help: impl Into<String>) {
        if !self.gathered.passes_over(kind) {
            self.gathered
                .add(kind, locate(self.root, at), at, message, help);
        }
    }

    /// Adds a finding, and the other path that it has to do with, with what a person sees there.
    pub(super) fn add_beside(
        &self,
        kind: Kind,
        at: &str,
        message: String,
        help: &str,
        (other, label): (&str, String),
    ) {
        if self.gathered.passes_over(kind) {
            return;
        }
        let beside = located(self.root, other).ok().map(|span| (span, label));
        self.gathered
            .add_beside(kind, locate(self.root, at), at, message, help, beside);
    }

    /// Reports every name that leads nowhere.
    fn references(&self) {
        for reference in self.gathered.references().iter() {
            if exists(self.root, &reference.target) {
                continue;
            }
            let Reference {
                at,
                span,
                target,
                group,
                ..
            } = reference;
            let (_, id) = target.rsplit_once('.').unwrap_or(("", target));
            let noun = group.noun();
            let (kind, message) = match group {
                Group::Worker => {
                    let (position, _) = at.rsplit_once(".workers").unwrap_or((at, ""));
                    let message = format!("{position} is worked by `{id}`, who is not in the plan");
                    (Kind::WorkerUnknown, message)
                }
                Group::Role => {
                    let message =
                        format!("{at} names the role `{id}`, which the method does not have");
                    (Kind::DanglingReference, message)
                }
                _ => {
                    let message = format!("{at} names the {noun} `{id}`, which is not in the plan");
                    (Kind::DanglingReference, message)
                }
            };
            let (help, beside) = self.suggest(id, target, *group);
            self.gathered
                .add_beside(kind, span.clone(), at, message, help, beside);
        }
    }

    fn whole(&self) {
        let plan = self.plan;
        if plan.responders.is_empty() && self.gathered.sound("responder") {
            let help = "add a table such as [responder.rua] for everybody who can be sent";
            self.add(
                Kind::NoResponder,
                "responder",
                "the plan names nobody who can be sent".to_owned(),
                help,
            );
        }
        if plan.positions.is_empty() && self.gathered.sound("position") {
            let help =
                "add a table such as [position.roof] for every place where people work at height";
            self.add(
                Kind::NoPosition,
                "position",
                "the plan has no position".to_owned(),
                help,
            );
        }
        if plan.policy.first_contact > plan.policy.target {
            let message = "the policy expects first contact later than off the harness".to_owned();
            self.add_beside(
                Kind::PolicyOrder,
                "policy.first_contact",
                message,
                "make `first_contact` less than `target`",
                ("policy.target", "off the harness".to_owned()),
            );
        }
        self.alike("place", plan.places.iter().map(|it| (&it.id, &it.name)));
        self.alike("station", plan.stations.iter().map(|it| (&it.id, &it.name)));
        self.alike(
            "responder",
            plan.responders.iter().map(|it| (&it.id, &it.name)),
        );
        self.alike(
            "position",
            plan.positions.iter().map(|it| (&it.id, &it.name)),
        );
    }

    fn links(&self) {
        for link in &self.plan.links {
            let at = format!("link.{}", link.id);
            if link.from == link.to && !link.to.is_empty() {
                let message = format!("{at} leads from a place to itself");
                self.add_beside(
                    Kind::LinkLoop,
                    &format!("{at}.to"),
                    message,
                    "name the place at its other end",
                    (&format!("{at}.from"), "it begins here".to_owned()),
                );
            }
            if Millimetres(link.rise.0.saturating_abs()) > link.length && self.gathered.sound(&at) {
                let message = format!("{at} rises by more than its length");
                let help = "give the distance travelled along the way as `length`, the height gained as `rise`";
                self.add(Kind::RiseOverLength, &format!("{at}.rise"), message, help);
            }
        }
    }

    fn position(&self, position: &Position, at: &str) {
        for (key, place) in [
            ("approach", &position.approach),
            ("landing", &position.landing),
        ] {
            self.reachable(&format!("{at}.{key}"), place);
        }
        if position.approach == position.place && !position.place.is_empty() {
            let message = format!("the approach point of {at} is the position itself");
            let help = "name the last place where somebody is safe whatever happened";
            let place = format!("{at}.place");
            self.add_beside(
                Kind::ApproachIsPosition,
                &format!("{at}.approach"),
                message,
                help,
                (&place, "people work here".to_owned()),
            );
        }
        self.repeats(&format!("{at}.workers"), &position.workers);
        self.repeats(&format!("{at}.watched_by"), &position.watched_by);
        for hazard in &position.hazards {
            let at = format!("{at}.hazard.{}", hazard.id);
            let by = hazard.by.as_deref();
            let name = by.and_then(|by| self.names.get(by)).copied().unwrap_or(0);
            self.prompt(&format!("{at}.task"), &hazard.task, name);
        }
        if position.methods.is_empty() && self.gathered.sound(at) {
            let message = format!("nobody can be brought down from {at}: it has no method");
            let help =
                format!("add a table such as [{at}.method.ladder], or let nobody work there");
            self.add(Kind::NoMethod, at, message, help);
        }
        self.rungs(position, at);
        self.alike(
            &format!("{at}.method"),
            position.methods.iter().map(|it| (&it.id, &it.name)),
        );
        for method in &position.methods {
            self.method(method, &format!("{at}.method.{}", method.id));
        }
    }

    /// The reader has sorted the methods; here the order of the file counts.
    fn rungs(&self, position: &Position, at: &str) {
        let place =
            |method: &Method| locate(self.root, &format!("{at}.method.{}", method.id)).start;
        let early = position
            .methods
            .windows(2)
            .find(|pair| place(&pair[0]) > place(&pair[1]));
        if let Some([lower, higher]) = early
            && self.gathered.sound(&format!("{at}.method"))
        {
            let message = format!(
                "`{}` stands before `{}`, which is a lower rung",
                higher.id, lower.id
            );
            let help = "nothing needs to change; the methods are used in the order of the ladder";
            self.add(
                Kind::RungOrder,
                &format!("{at}.method.{}", higher.id),
                message,
                help,
            );
        }
    }

    fn method(&self, method: &Method, at: &str) {
        if self.gathered.sound(at) {
            self.milestones(method, at);
            self.times(method, at);
            self.second_person(method, at);
        }
        if method.roles.len() > ROLES_MAX {
            let message = format!(
                "{at} has {} roles, more than {ROLES_MAX}",
                method.roles.len()
            );
            self.add(
                Kind::CrewTooLarge,
                at,
                message,
                "keep the roles that must be filled before it can start",
            );
        }
        for role in &method.roles {
            self.role(role, &format!("{at}.role.{}", role.id));
        }
        let roles: BTreeMap<&str, &Role> = method
            .roles
            .iter()
            .map(|role| (role.id.as_str(), role))
            .collect();
        for (number, step) in (1..).zip(&method.steps) {
            let at = format!("{at}.step.{number}");
            self.done_by(&roles, step.role.as_ref(), &step.say, &at);
            for (number, fallback) in (1..).zip(&step.fallback) {
                let role = fallback.role.as_ref().or(step.role.as_ref());
                self.done_by(
                    &roles,
                    role,
                    &fallback.say,
                    &format!("{at}.fallback.{number}"),
                );
            }
            self.contact(step, &at);
        }
    }

    fn milestones(&self, method: &Method, at: &str) {
        let reached: Vec<(usize, Milestone)> = (1..)
            .zip(&method.steps)
            .filter_map(|(number, step)| Some((number, step.milestone?)))
            .collect();
        let releases = reached
            .iter()
            .filter(|(_, it)| *it == Milestone::OffHarness)
            .count();
        if releases != 1 {
            let message = match releases {
                0 => format!("no step of {at} ends with the casualty off the harness"),
                _ => format!("{releases} steps of {at} end with the casualty off the harness"),
            };
            let help = "mark the one step after which the weight no longer hangs: `milestone = \"off-harness\"`";
            return self.add(Kind::MethodWithoutRelease, at, message, help);
        }
        for pair in reached.windows(2) {
            let ((_, earlier), (number, later)) = (pair[0], pair[1]);
            if earlier as u8 >= later as u8 {
                let message = format!(
                    "the milestone of {at}.step.{number} comes after one that should follow it"
                );
                let help = "a method goes from first contact to off the harness to the landing place, each once";
                self.add(
                    Kind::MilestoneOrder,
                    &format!("{at}.step.{number}.milestone"),
                    message,
                    help,
                );
            }
        }
        if !reached.iter().any(|(_, it)| *it == Milestone::Landing) {
            let message = format!("no step of {at} brings the casualty to the landing place");
            self.add(
                Kind::NoLanding,
                at,
                message,
                "end it with a step that has `milestone = \"landing\"`",
            );
        }
    }

    fn times(&self, method: &Method, at: &str) {
        let Some(change_after) = method.change_after else {
            return;
        };
        let key = format!("{at}.change_after");
        if change_after >= self.plan.policy.target {
            let message = format!("{at} is given up only when the target has passed");
            self.add_beside(
                Kind::ChangeAfterTarget,
                &key,
                message,
                "leave time for the next method before the target",
                ("policy.target", "the target".to_owned()),
            );
        }
        let likely = method.likely_work();
        if change_after < likely {
            let message = format!("{at} is given up before its steps are likely done");
            let help = format!(
                "its steps likely take {} s until off the harness",
                likely.0 / 1_000
            );
            self.add(Kind::ChangeBeforeLikely, &key, message, help);
        }
    }

    /// Reports a qualification that nobody holds.
    pub(super) fn held(&self, needed: &str, at: &str) {
        if self.holders.contains_key(needed) || !self.gathered.sound("responder") {
            return;
        }
        let message = format!("nobody in the plan has the qualification `{needed}` of {at}");
        let help = match self.gathered.nearest(needed, self.holders.keys().copied()) {
            Some(held) => format!("perhaps `{held}` is meant"),
            None => "train somebody, or change the method".to_owned(),
        };
        self.add(Kind::NoHolder, at, message, help);
    }

    fn role(&self, role: &Role, at: &str) {
        self.reachable(&format!("{at}.place"), &role.place);
        if let Some(needed) = &role.qualification {
            self.held(needed, &format!("{at}.qualification"));
        }
        let Some(kind) = &role.kit else { return };
        let at = format!("{at}.kit");
        let Some(place) = self.keepers.get(kind.as_str()) else {
            if self.gathered.sound("station") && !self.retired.contains(kind.as_str()) {
                let message = format!("no station has kit of the kind `{kind}` that {at} names");
                let help = match self.gathered.nearest(kind, self.keepers.keys().copied()) {
                    Some(kept) => format!("perhaps `{kept}` is meant"),
                    None => "add it to a station, or change the method".to_owned(),
                };
                self.add(Kind::KitNowhere, &at, message, help);
            }
            return;
        };
        self.reachable(&at, place);
    }

    fn second_person(&self, method: &Method, at: &str) {
        let exposed = method.steps.iter().position(|step| step.exposed);
        if let Some(index) = exposed
            && method.roles.len() < 2
        {
            let message = format!("somebody is exposed in {at}, and nobody is there to help them");
            let help = "add a second role that stays in control of the exposed person's line";
            self.add(
                Kind::ExposedWithoutSecondPerson,
                &format!("{at}.step.{}.exposed", index + 1),
                message,
                help,
            );
        }
    }

    fn contact(&self, step: &Step, at: &str) {
        if step.milestone == Some(Milestone::FirstContact) && !step.near && self.gathered.sound(at)
        {
            let message =
                format!("{at} touches the casualty and is not marked as past the approach point");
            let help = "add `near = true`, so that nobody is sent before it is safe";
            self.add(
                Kind::ContactNotNear,
                &format!("{at}.milestone"),
                message,
                help,
            );
        }
    }

    /// Who does something, and whether its prompt stays short with the longest name that it may go to.
    fn done_by(&self, roles: &BTreeMap<&str, &Role>, role: Option<&String>, say: &str, at: &str) {
        let name = match role.map(|id| (id, roles.get(id.as_str()))) {
            None => 0,
            Some((_, Some(role))) => match &role.qualification {
                Some(needed) => self.holders.get(needed.as_str()).copied().unwrap_or(0),
                None => self.longest_name,
            },
            // That role was reported as one that leads nowhere.
            Some((_, None)) => return,
        };
        self.prompt(&format!("{at}.say"), say, name);
    }

    fn prompt(&self, at: &str, say: &str, name_words: usize) {
        let count = words(say) + name_words;
        if count > PROMPT_WORDS_MAX {
            let message = format!(
                "{at} has {count} words with the longest name, more than {PROMPT_WORDS_MAX}"
            );
            self.add(
                Kind::PromptTooLong,
                at,
                message,
                "say it as verb, thing and place, or make two steps of it",
            );
        }
        if say.ends_with('.') {
            let message = format!("{at} ends with a full stop");
            self.add(
                Kind::PromptPunctuation,
                at,
                message,
                "leave it out; the screen adds it",
            );
        }
    }

    /// What to do about a name that leads nowhere, and where the one stands that is probably meant.
    fn suggest(
        &self,
        id: &str,
        target: &str,
        group: Group,
    ) -> (String, Option<(Range<usize>, String)>) {
        let (table, _) = target.rsplit_once('.').unwrap_or(("", target));
        let there = table_at(self.root, table);
        let known = there
            .into_iter()
            .flatten()
            .map(|(key, _)| key.get_ref().as_ref());
        let Some(known) = self.gathered.nearest(id, known) else {
            let help = match group {
                Group::Role => "add the role, or leave the key out".to_owned(),
                _ => format!("add a table [{target}], or name one that is there"),
            };
            return (help, None);
        };
        let key = there.and_then(|there| there.get_key_value(known));
        let beside = key.map(|(key, _)| (key.span(), format!("`{known}` is here")));
        (format!("perhaps `{known}` is meant"), beside)
    }

    /// Reports a place to which no way leads from where anybody usually is.
    fn reachable(&self, at: &str, place: &str) {
        if self.places.contains_key(place) && !self.can_reach(place) {
            let message =
                format!("no way leads from any responder to `{place}`, where {at} needs somebody");
            self.add(
                Kind::UnreachablePlace,
                at,
                message,
                "add a table such as [link.stair] that leads there",
            );
        }
    }

    /// True where a way leads there, or where that cannot be judged.
    fn can_reach(&self, place: &str) -> bool {
        self.reached
            .as_ref()
            .is_none_or(|reached| reached.contains(place))
    }

    /// Reports things that are called alike, because a name is all that goes over the radio.
    fn alike<'n>(&self, at: &str, named: impl Iterator<Item = (&'n String, &'n String)>) {
        let mut seen: BTreeMap<String, &str> = BTreeMap::new();
        for (id, name) in named.filter(|(_, name)| !name.is_empty()) {
            if let Some(first) = seen.insert(name.to_lowercase(), id) {
                let message = format!("`{id}` and `{first}` are both called \"{name}\"");
                let help = "give each a name of its own for the radio";
                let other = format!("{at}.{first}.name");
                let beside = (&*other, format!("`{first}` is called that"));
                self.add_beside(
                    Kind::SameName,
                    &format!("{at}.{id}.name"),
                    message,
                    help,
                    beside,
                );
            }
        }
    }

    fn repeats<'n>(&self, at: &str, entries: impl IntoIterator<Item = &'n String>) {
        let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
        for (number, entry) in (1..).zip(entries) {
            if let Some(first) = seen.insert(entry, number) {
                let message = format!("`{entry}` stands twice in {at}");
                let other = format!("{at}.{first}");
                let beside = (&*other, format!("`{entry}` stands here"));
                self.add_beside(
                    Kind::RepeatedEntry,
                    &format!("{at}.{number}"),
                    message,
                    "drop one of the two",
                    beside,
                );
            }
        }
    }
}

/// The places that a way leads to from where anybody usually is.
fn reached(plan: &Plan) -> BTreeSet<&str> {
    let mut ways: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for link in plan.links.iter().filter(|link| link.closed.is_none()) {
        ways.entry(&link.from).or_default().push(&link.to);
        ways.entry(&link.to).or_default().push(&link.from);
    }
    let mut open: Vec<&str> = plan.responders.iter().map(|it| it.place.as_str()).collect();
    let mut reached = BTreeSet::new();
    while let Some(here) = open.pop() {
        if reached.insert(here) {
            open.extend(ways.get(here).into_iter().flatten());
        }
    }
    reached
}

fn words(text: &str) -> usize {
    text.split_whitespace().count()
}

/// The table at a dotted path.
fn table_at<'a>(root: &'a DeTable<'a>, path: &str) -> Option<&'a DeTable<'a>> {
    path.split('.')
        .try_fold(root, |here, part| match here.get(part)?.get_ref() {
            DeValue::Table(table) => Some(table),
            _ => None,
        })
}

/// True where the file has something at a dotted path, even what could not be read.
fn exists(root: &DeTable<'_>, path: &str) -> bool {
    match path.rsplit_once('.') {
        Some((table, id)) => table_at(root, table).is_some_and(|table| table.contains_key(id)),
        None => root.contains_key(path),
    }
}

/// Where the value of a dotted path stands, or the key of the last table on the way to it.
fn locate(root: &DeTable<'_>, path: &str) -> Range<usize> {
    located(root, path).unwrap_or_else(|nearest| nearest)
}

/// Where the value of a dotted path stands; else where the last thing on the way to it does.
fn located(root: &DeTable<'_>, path: &str) -> Result<Range<usize>, Range<usize>> {
    let mut span = 0..0;
    let mut here: Option<&DeValue<'_>> = None;
    for part in path.split('.') {
        let entry = match here {
            None => root.get_key_value(part),
            Some(DeValue::Table(table)) => table.get_key_value(part),
            Some(_) => None,
        };
        let item = match here {
            Some(DeValue::Array(items)) => part
                .parse::<usize>()
                .ok()
                .and_then(|number| items.get(number.checked_sub(1)?)),
            _ => entry.map(|(_, value)| value),
        };
        let Some(value) = item else { return Err(span) };
        span = match (entry, value.get_ref()) {
            (Some((key, _)), DeValue::Table(_)) => key.span(),
            _ => value.span(),
        };
        here = Some(value.get_ref());
    }
    Ok(span)
}
