//! Says what changed between two plans in the plan's own words: a trainer asks what is different for the crew, not which
//! lines of a file.
//!
//! Two plans are compared by what they mean: the order of tables, comments, another way to write the same length and a
//! default that is left out make no difference. Steps are matched by what they say, so that one more step is one line;
//! what only has another id is told as renamed, and its references with it.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use toml::de::DeTable;

use super::align::{aligned, paired, twins_of};
use super::change::{Area, Change, What};
use super::findings::{Finding, Kind};
use super::read::read;
use super::tell::tell;
use super::told::{Meaning, Said, Says, Told};

/// What leaves nothing to compare or to edit.
pub(super) const UNREADABLE: [Kind; 6] = [
    Kind::TooLarge,
    Kind::TooDeep,
    Kind::TooManyParts,
    Kind::NotUtf8,
    Kind::Syntax,
    Kind::DuplicateId,
];

/// A plan that cannot be compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unread {
    /// True where it is the second one.
    pub second: bool,
    /// What is wrong with it.
    pub finding: Box<Finding>,
}

impl fmt::Display for Unread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let which = if self.second { "second" } else { "first" };
        let Finding {
            line,
            message,
            help,
            ..
        } = &*self.finding;
        write!(
            f,
            "the {which} plan cannot be read: line {line}: {message}; {help}"
        )
    }
}

impl std::error::Error for Unread {}

/// What is different in the second plan; nothing where both mean the same. Plans with errors are compared too.
pub fn diff(a: &str, b: &str) -> Result<Vec<Change>, Unread> {
    for (text, second) in [(a, false), (b, true)] {
        let findings = read("the plan", text.as_bytes()).findings;
        let unreadable = findings
            .into_iter()
            .find(|it| UNREADABLE.map(Kind::id).contains(&it.id));
        if let Some(finding) = unreadable {
            let finding = Box::new(finding);
            return Err(Unread { second, finding });
        }
    }
    Ok(differences(a, b))
}

/// What is different between two texts that are known to be TOML.
pub(super) fn differences(a: &str, b: &str) -> Vec<Change> {
    let [was, now] = [a, b].map(|text| tell(text, DeTable::parse_recoverable(text).0.get_ref()));
    let mut compare = Compare {
        names: Names::new(),
        places: [&was, &now].map(|plan| {
            let named = plan.named("place").iter();
            named
                .map(|it| (it.id.clone(), it.plain("name").unwrap_or(&it.id).to_owned()))
                .collect()
        }),
        changes: Vec::new(),
    };
    // What refers to nothing is matched first, so that a renamed place is no change of whoever stands there.
    for table in ["outside_rescue", "place", "responder"] {
        compare.learn(table, was.named(table), now.named(table));
    }
    let root = At {
        area: Area::Site,
        was: String::new(),
        now: String::new(),
        subject: Vec::new(),
    };
    compare.table(&was, &now, &root);
    compare.changes.sort_by_key(|change| change.area);
    compare.changes
}

/// The id in the second plan of what the first one calls so, by the table that the id is a key of.
type Names = BTreeMap<(&'static str, String), String>;

/// Where the comparison has come to.
#[derive(Clone)]
struct At {
    area: Area,
    was: String,
    now: String,
    subject: Vec<String>,
}

impl At {
    fn below(&self, key: &str) -> At {
        let join = |path: &str| {
            if path.is_empty() {
                key.to_owned()
            } else {
                format!("{path}.{key}")
            }
        };
        At {
            was: join(&self.was),
            now: join(&self.now),
            ..self.clone()
        }
    }

    fn item(&self, was: impl fmt::Display, now: impl fmt::Display, subject: String) -> At {
        let mut at = self.clone();
        at.was = format!("{}.{was}", self.was);
        at.now = format!("{}.{now}", self.now);
        at.subject.push(subject);
        at
    }
}

struct Compare {
    names: Names,
    /// The spoken names of the places of both plans.
    places: [BTreeMap<String, String>; 2],
    changes: Vec<Change>,
}

impl Compare {
    fn change(&mut self, at: &At, key: Option<String>, what: What) {
        let is_new = matches!(what, What::Added(_));
        let is_gone = matches!(what, What::Removed(_));
        self.changes.push(Change {
            area: at.area,
            was_at: (!is_new).then(|| at.was.clone()),
            at: (!is_gone).then(|| at.now.clone()),
            subject: at.subject.join(": "),
            key,
            what,
        });
    }

    fn same(&self, was: &Said, now: &Said) -> bool {
        match (&was.meaning, &now.meaning) {
            (Meaning::Names(table, was), Meaning::Names(_, now)) => self.after(table, was) == now,
            (was, now) => was == now,
        }
    }

    /// True where two keys plainly say the same; false where that takes a closer look.
    fn alike(&self, was: &Says, now: &Says) -> bool {
        let all = |was: &[Said], now: &[Said]| {
            was.len() == now.len() && was.iter().zip(now).all(|(was, now)| self.same(was, now))
        };
        match (was, now) {
            (Says::One(was), Says::One(now)) => self.same(was, now),
            (Says::Times(was), Says::Times(now)) => all(was, now),
            (Says::Many { said: was, .. }, Says::Many { said: now, .. }) => all(was, now),
            (Says::Table(None), Says::Table(None)) => true,
            (Says::Named(was), Says::Named(now)) => was.is_empty() && now.is_empty(),
            (Says::Listed { told: was, .. }, Says::Listed { told: now, .. }) => {
                was.is_empty() && now.is_empty()
            }
            _ => false,
        }
    }

    /// The id that this one has in the second plan.
    fn after<'n>(&'n self, table: &'static str, id: &'n String) -> &'n String {
        self.names.get(&(table, id.clone())).unwrap_or(id)
    }

    /// Remembers who has another id now.
    fn learn(&mut self, table: &'static str, was: &[Told], now: &[Told]) {
        for (a, b) in self.twins(was, now) {
            if was[a].id != now[b].id {
                self.names
                    .insert((table, was[a].id.clone()), now[b].id.clone());
            }
        }
    }

    /// Tables of both plans that are the same thing: by id, else by everything in them, else by name.
    fn twins(&self, was: &[Told], now: &[Told]) -> Vec<(usize, usize)> {
        let ids = |of: &[Told]| of.iter().map(|it| it.id.clone()).collect::<BTreeSet<_>>();
        let (before, after) = (ids(was), ids(now));
        // An id of both plans is nobody else's.
        let token = |told: &Told, others: &BTreeSet<String>, names: &Names| {
            let by_id = others.contains(&told.id);
            Some(if by_id {
                format!("id {}", told.id)
            } else {
                format!("as {}", print(told, names, ""))
            })
        };
        let counts = [was.len(), now.len()];
        let none = Names::new();
        let pairs = paired(
            Vec::new(),
            counts,
            |index| token(&was[index], &after, &self.names),
            |index| token(&now[index], &before, &none),
        );
        let name = |it: &Told| it.plain("name").map(str::to_lowercase);
        paired(
            pairs,
            counts,
            |index| name(&was[index]),
            |index| name(&now[index]),
        )
    }

    fn table(&mut self, was: &Told, now: &Told, at: &At) {
        let mut new: BTreeMap<&str, &Says> =
            now.keys.iter().map(|(key, says)| (&**key, says)).collect();
        for (key, says) in &was.keys {
            self.key(key, Some(says), new.remove(&**key), at);
        }
        for (key, says) in new {
            self.key(key, None, Some(says), at);
        }
    }

    fn key(&mut self, key: &str, was: Option<&Says>, now: Option<&Says>, above: &At) {
        // Most keys say the same, and need no place.
        if was.zip(now).is_some_and(|(was, now)| self.alike(was, now)) {
            return;
        }
        let mut at = above.below(key);
        if above.was.is_empty() {
            at.area = match key {
                "position" => Area::Position,
                "responder" => Area::Person,
                "station" => Area::Station,
                _ => Area::Site,
            };
        }
        match (was, now) {
            (Some(Says::Times(was)), Some(Says::Times(now))) => {
                for (index, part) in ["shortest", "likely", "longest"].into_iter().enumerate() {
                    let at = at.below(&(index + 1).to_string());
                    self.one(
                        &format!("{part} {}", spoken(key)),
                        &was[index],
                        &now[index],
                        &at,
                    );
                }
            }
            (
                Some(Says::Many {
                    said: was,
                    in_order,
                }),
                Some(Says::Many { said: now, .. }),
            ) => {
                self.many(&spoken(key), was, now, *in_order, &at);
            }
            (Some(Says::Table(was)), Some(Says::Table(now))) => {
                at.subject.push(spoken(key));
                match (was, now) {
                    (Some(was), Some(now)) => self.table(was, now, &at),
                    (None, Some(_)) => self.change(&at, None, What::Added(None)),
                    (Some(_), None) => self.change(&at, None, What::Removed(None)),
                    (None, None) => {}
                }
            }
            (Some(Says::Named(was)), Some(Says::Named(now))) => self.named(key, was, now, &at),
            (
                Some(Says::Listed {
                    told: was,
                    by,
                    in_order,
                }),
                Some(Says::Listed { told: now, .. }),
            ) => {
                self.listed(key, was, now, by, *in_order, &at);
            }
            (was, now) => self.one(&spoken(key), &flat(was), &flat(now), &at),
        }
    }

    fn one(&mut self, key: &str, was: &Said, now: &Said, at: &At) {
        if !self.same(was, now) {
            let [was, now] = [was, now].map(|said| {
                let default = said
                    .default
                    .as_ref()
                    .map(|default| format!("{default} (left out)"));
                said.written.clone().or(default)
            });
            self.change(at, Some(key.to_owned()), What::Changed { was, now });
        }
    }

    fn many(&mut self, key: &str, was: &[Said], now: &[Said], in_order: bool, at: &At) {
        let (counts, none) = ([was.len(), now.len()], Names::new());
        let same = paired(
            Vec::new(),
            counts,
            |index| Some(print_said(&was[index], &self.names)),
            |index| Some(print_said(&now[index], &none)),
        );
        let [old, new] = twins_of(&same, counts);
        let is_alone = |twins: &[Option<usize>], index: usize| twins.get(index) == Some(&None);
        let key = || Some(key.to_owned());
        let written = |said: &Said| said.written.clone();
        for index in 0..was.len().max(now.len()) {
            let at = at.below(&(index + 1).to_string());
            match (is_alone(&old, index), is_alone(&new, index)) {
                (true, true) => {
                    let (was, now) = (written(&was[index]), written(&now[index]));
                    self.change(&at, key(), What::Changed { was, now });
                }
                (false, true) => self.change(&at, key(), What::Added(written(&now[index]))),
                (true, false) => self.change(&at, key(), What::Removed(written(&was[index]))),
                (false, false) => {}
            }
        }
        if in_order && !same.is_sorted_by_key(|(_, b)| *b) {
            let [was, now] = [was, now].map(|all| {
                let all: Vec<String> = all.iter().filter_map(written).collect();
                Some(all.join(", "))
            });
            self.change(at, key(), What::Changed { was, now });
        }
    }

    fn named(&mut self, key: &str, was: &[Told], now: &[Told], at: &At) {
        let twins = self.twins(was, now);
        let [old, new] = twins_of(&twins, [was.len(), now.len()]);
        for (told, twin) in now.iter().zip(new) {
            let twin = twin.map(|twin| &was[twin]);
            let at = at.item(
                twin.map_or("", |it| &it.id),
                &told.id,
                self.spoken(key, told, 1),
            );
            let Some(twin) = twin else {
                self.change(&at, None, What::Added(None));
                continue;
            };
            if twin.id != told.id {
                let (was, now) = (twin.id.clone(), told.id.clone());
                self.change(&at, None, What::Renamed { was, now });
            }
            if key == "method" {
                // Roles are named within their method only.
                self.learn("role", twin.named("role"), told.named("role"));
            }
            self.table(twin, told, &at);
            self.names
                .retain(|(table, _), _| key != "method" || *table != "role");
        }
        for (told, twin) in was.iter().zip(old) {
            if twin.is_none() {
                let at = at.item(&told.id, "", self.spoken(key, told, 0));
                self.change(&at, None, What::Removed(None));
            }
        }
        if key == "method" {
            self.order(was, now, &twins, at);
        }
    }

    /// Methods of one rung are tried in the order of the file, so there it means something.
    fn order(&mut self, was: &[Told], now: &[Told], twins: &[(usize, usize)], at: &At) {
        let mut rungs: BTreeMap<&str, Vec<(usize, usize)>> = BTreeMap::new();
        for (a, b) in twins {
            if let Some(rung) = was[*a]
                .written("rung")
                .filter(|rung| now[*b].written("rung") == Some(rung))
            {
                rungs.entry(rung).or_default().push((*a, *b));
            }
        }
        for (rung, mut pairs) in rungs {
            pairs.sort_unstable();
            if !pairs.is_sorted_by_key(|(_, b)| *b) {
                let name = |it: &Told| it.plain("name").unwrap_or(&it.id).to_owned();
                let before: Vec<String> = pairs.iter().map(|(a, _)| name(&was[*a])).collect();
                pairs.sort_by_key(|(_, b)| *b);
                let after: Vec<String> = pairs.iter().map(|(_, b)| name(&now[*b])).collect();
                let key = Some(format!("order of the methods for {rung}"));
                let (was, now) = (Some(before.join(", ")), Some(after.join(", ")));
                self.change(at, key, What::Changed { was, now });
            }
        }
    }

    fn listed(
        &mut self,
        key: &str,
        was: &[Told],
        now: &[Told],
        by: &'static str,
        in_order: bool,
        at: &At,
    ) {
        let token = |it: &Told| it.written(by).map(str::to_owned);
        let aligned = aligned(
            &was.iter().map(token).collect::<Vec<_>>(),
            &now.iter().map(token).collect::<Vec<_>>(),
            in_order,
        );
        let (counts, none) = ([was.len(), now.len()], Names::new());
        // How many that stay in place come before it; without an order, all are neighbours.
        let before = |is_before: &dyn Fn(&(usize, usize)) -> bool| match in_order {
            true => aligned.in_place.partition_point(is_before),
            false => 0,
        };
        let old_gap = |index: usize| before(&|(old, _)| *old < index);
        let new_gap = |index: usize| before(&|(_, new)| *new < index);
        // What is said otherwise between the same neighbours is the same thing, if all else or its answer is the same.
        let answer =
            |told: &Told, gap: usize| told.written("done").map(|done| format!("{gap} {done}"));
        let pairs = paired(
            aligned
                .in_place
                .iter()
                .chain(&aligned.moved)
                .copied()
                .collect(),
            counts,
            |index| {
                Some(format!(
                    "{} {}",
                    old_gap(index),
                    print(&was[index], &self.names, by)
                ))
            },
            |index| {
                Some(format!(
                    "{} {}",
                    new_gap(index),
                    print(&now[index], &none, by)
                ))
            },
        );
        let pairs = paired(
            pairs,
            counts,
            |index| answer(&was[index], old_gap(index)),
            |index| answer(&now[index], new_gap(index)),
        );
        let [old, new] = twins_of(&pairs, counts);
        for ((index, told), twin) in now.iter().enumerate().zip(new) {
            let at = at.item(
                twin.map_or(0, |twin| twin + 1),
                index + 1,
                numbered(key, index + 1, told, by),
            );
            let Some(twin) = twin else {
                self.change(&at, None, What::Added(None));
                continue;
            };
            if aligned.moved.contains(&(twin, index)) {
                let (was, now) = (twin + 1, index + 1);
                self.change(&at, None, What::Moved { was, now });
            }
            self.table(&was[twin], told, &at);
        }
        for ((index, told), twin) in was.iter().enumerate().zip(old) {
            if twin.is_none() {
                let at = at.item(index + 1, 0, numbered(key, index + 1, told, by));
                self.change(&at, None, What::Removed(None));
            }
        }
    }

    /// What one calls a table: its name where it has one.
    fn spoken(&self, key: &str, told: &Told, plan: usize) -> String {
        let name = told.plain("name").unwrap_or(&told.id);
        match key {
            "hazard" => format!("hazard {name}"),
            "role" => format!("role {}", told.id),
            "link" => {
                let place = |end: &str| {
                    let id = told.plain(end).unwrap_or_default();
                    self.places[plan].get(id).map_or(id, String::as_str)
                };
                let kind = told.written("kind").unwrap_or("way");
                format!("{kind} from {} to {}", place("from"), place("to"))
            }
            _ => name.to_owned(),
        }
    }
}

/// What one calls an item of a list of tables.
fn numbered(key: &str, number: usize, told: &Told, by: &str) -> String {
    let said = told.written(by).unwrap_or_default();
    match key {
        "qualifications" => format!("qualification {said}"),
        "fallback" => format!("if that fails {number} {said}"),
        _ => format!("{} {number} {said}", spoken(key)),
    }
}

/// A key as one says it.
fn spoken(key: &str) -> String {
    match key {
        "who" => "role".to_owned(),
        "change_after" => "change-by time".to_owned(),
        _ => key.replace('_', " "),
    }
}

/// What a key says, as one value, for where it was of one kind and is of another.
fn flat(says: Option<&Says>) -> Said {
    let shown = match says {
        None => return Said::nothing(),
        Some(Says::One(said)) => return said.clone(),
        Some(Says::Times(times)) => {
            let times: Vec<&str> = times
                .iter()
                .filter_map(|it| it.written.as_deref())
                .collect();
            times.join(", ")
        }
        Some(Says::Many { said, .. }) if said.is_empty() => return Said::nothing(),
        Some(Says::Listed { told, .. }) if told.is_empty() => return Said::nothing(),
        Some(Says::Table(None)) => return Said::nothing(),
        Some(Says::Named(told)) if told.is_empty() => return Said::nothing(),
        Some(Says::Many { .. } | Says::Listed { .. }) => "a list".to_owned(),
        Some(Says::Table(_) | Says::Named(_)) => "a table".to_owned(),
    };
    Said {
        meaning: Meaning::Is(shown.clone()),
        written: Some(shown),
        default: None,
    }
}

/// Everything that a table means, but its own id and one of its keys, with the ids of the second plan.
fn print(told: &Told, names: &Names, but: &str) -> String {
    let keys = told.keys.iter().filter(|(key, _)| key != but);
    keys.map(|(key, says)| format!("{key:?}: {}\n", print_says(says, names)))
        .collect()
}

fn print_says(says: &Says, names: &Names) -> String {
    let with_id = |told: &Told| format!("{:?} {{{}}}", told.id, print(told, names, ""));
    let mut parts: Vec<String> = match says {
        Says::One(said) => return print_said(said, names),
        Says::Times(times) => times.iter().map(|said| print_said(said, names)).collect(),
        Says::Many { said, .. } => said.iter().map(|said| print_said(said, names)).collect(),
        Says::Table(told) => told.iter().map(with_id).collect(),
        Says::Named(told) | Says::Listed { told, .. } => told.iter().map(with_id).collect(),
    };
    if matches!(
        says,
        Says::Named(_)
            | Says::Many {
                in_order: false,
                ..
            }
            | Says::Listed {
                in_order: false,
                ..
            }
    ) {
        parts.sort_unstable();
    }
    format!("[{}]", parts.join(", "))
}

fn print_said(said: &Said, names: &Names) -> String {
    match &said.meaning {
        Meaning::Names(table, id) => {
            let id = names.get(&(*table, id.clone())).unwrap_or(id);
            format!("names {id:?}")
        }
        other => format!("{other:?}"),
    }
}
