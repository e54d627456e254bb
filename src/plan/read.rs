//! Turns the bytes of a plan file into a plan, and says everything that is wrong with them at once.
//!
//! The file is TOML with `format = 1`. Size and nesting are checked before the parser sees it, because the bytes may come
//! from a stick somebody found. A plan is handed out only when no finding is of error level; whoever asked keeps the last
//! good one. What a table may hold is decided here, field by field; what the whole must hold together in `check.rs`.

use std::collections::BTreeSet;

use toml::de::DeTable;

use super::check;
use super::fields::Fields;
use super::findings::{Finding, Gathered, Kind};
use super::model::{
    Fallback, Hazard, KitItem, Link, Method, Place, Plan, Policy, Position, Responder, Role, Site,
    Station, Step,
};

/// Largest plan file, in bytes.
pub const BYTES_MAX: usize = 8 * 1024 * 1024;

/// Deepest nesting of tables and lists.
pub const LEVELS_MAX: usize = 64;

/// What came of reading a plan file.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The plan, when no finding is of error level.
    pub plan: Option<Plan>,
    /// Everything that was found, in the order of the file.
    pub findings: Vec<Finding>,
}

/// Reads a plan file; the name is only for sentences about the file as a whole.
pub fn read(name: &str, bytes: &[u8]) -> Reading {
    let gathered = Gathered::default();
    let text = bytes.utf8_chunks().next().map_or("", |chunk| chunk.valid());
    let end = text.len()..text.len();
    let mut plan = None;
    if bytes.len() > BYTES_MAX {
        let message = format!(
            "{name} has {} bytes, more than the {BYTES_MAX} a plan may have",
            bytes.len()
        );
        gathered.add(
            Kind::TooLarge,
            0..0,
            "",
            message,
            "check that this is a plan file",
        );
    } else if text.len() < bytes.len() {
        let message = format!("{name} is not UTF-8 text from byte {} on", text.len() + 1);
        gathered.add(Kind::NotUtf8, end, "", message, "save it as UTF-8 text");
    } else if let Some(at) = too_deep(text) {
        let message = format!("tables or lists are nested more than {LEVELS_MAX} levels deep");
        gathered.add(
            Kind::TooDeep,
            at..at,
            "",
            message,
            "check the brackets; a plan needs ten levels",
        );
    } else {
        plan = Some(parse(text, &gathered));
    }
    Reading {
        plan: plan.filter(|_| !gathered.refused()),
        findings: gathered.in_order(text),
    }
}

/// Where the nesting of a file first exceeds the limit: open brackets, dotted keys and the header above them together.
fn too_deep(text: &str) -> Option<usize> {
    let bytes = text.as_bytes();
    let (mut header, mut in_header) = (0, false);
    let (mut base, mut dots, mut opened) = (0, 0, Vec::new());
    let mut at = 0;
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'#' => {
                at += bytes[at..]
                    .iter()
                    .take_while(|b| **b != b'\n')
                    .count()
                    .saturating_sub(1)
            }
            b'"' | b'\'' => at = string_end(bytes, at),
            b'[' | b'{' => {
                in_header |= opened.is_empty()
                    && bytes[..at]
                        .iter()
                        .rev()
                        .find(|b| **b != b' ')
                        .is_none_or(|b| *b == b'\n');
                if in_header && opened.is_empty() {
                    header = 0;
                }
                opened.push(base);
                base += dots + 1;
                dots = 0;
            }
            b']' | b'}' => {
                if in_header {
                    header = header.max(base + dots);
                }
                base = opened.pop().unwrap_or(0);
                dots = 0;
            }
            b'.' => dots += 1,
            b',' => dots = 0,
            b'\n' if opened.is_empty() => (dots, in_header) = (0, false),
            _ => {}
        }
        let above = if in_header { 0 } else { header };
        if above + base + dots > LEVELS_MAX {
            return Some(at);
        }
        at += 1;
    }
    None
}

/// Where the string that starts here ends: at its closing quote, or at the end of the line or file when it has none.
fn string_end(bytes: &[u8], start: usize) -> usize {
    let quote = bytes[start];
    let triple = bytes[start..].starts_with(&[quote; 3]);
    let mut at = start + if triple { 3 } else { 1 };
    while let Some(byte) = bytes.get(at) {
        match byte {
            b'\\' if quote == b'"' => at += 1,
            b'\n' if !triple => return at - 1,
            _ if *byte == quote && !triple => return at,
            _ if *byte == quote && bytes[at..].starts_with(&[quote; 3]) => return at + 2,
            _ => {}
        }
        at += 1;
    }
    bytes.len()
}

fn parse(text: &str, gathered: &Gathered) -> Plan {
    let (root, errors) = DeTable::parse_recoverable(text);
    let root = root.get_ref();
    let mut whole = true;
    for error in &errors {
        let span = error.span().unwrap_or(0..0);
        if error.message() == "duplicate key" {
            let name = text.get(span.clone()).unwrap_or_default();
            let message = format!("`{name}` stands twice in the same table");
            gathered.add(
                Kind::DuplicateId,
                span,
                name,
                message,
                "give one of the two another name, or drop it",
            );
        } else {
            whole = false;
            let (what, help) = error
                .message()
                .split_once(", ")
                .unwrap_or((error.message(), "mend this line"));
            gathered.add(
                Kind::Syntax,
                span,
                "",
                format!("this is not TOML: {what}"),
                help,
            );
        }
    }
    let mut plan = plan(Fields::root(gathered, root));
    // What a parser makes of a broken file is good enough to look for more mistakes, not to judge the whole.
    if whole {
        check::check(&plan, root, gathered);
    }
    // An unknown worker is a warning, yet no reference in a plan leads nowhere.
    let known: BTreeSet<&str> = plan.responders.iter().map(|it| it.id.as_str()).collect();
    for position in &mut plan.positions {
        position
            .workers
            .retain(|worker| known.contains(worker.as_str()));
    }
    plan
}

fn plan(mut file: Fields<'_>) -> Plan {
    file.format();
    let plan = Plan {
        site: file.table("site").map(site).unwrap_or_default(),
        policy: file
            .optional_table("policy")
            .map(policy)
            .unwrap_or_default(),
        places: file.named("place").into_iter().map(place).collect(),
        links: file.named("link").into_iter().map(link).collect(),
        stations: file.named("station").into_iter().map(station).collect(),
        responders: file.named("responder").into_iter().map(responder).collect(),
        positions: file.named("position").into_iter().map(position).collect(),
    };
    file.done();
    plan
}

fn site(mut table: Fields<'_>) -> Site {
    let site = Site {
        name: table.text("name", "North yard"),
        revision: table.text("revision", "1"),
        emergency_number: table.text("emergency_number", "112"),
        meeting_point: table.text("meeting_point", "the main gate"),
        invented: table.flag("invented"),
    };
    table.done();
    site
}

fn policy(mut table: Fields<'_>) -> Policy {
    let default = Policy::default();
    let mut time = |key, default| table.optional_quantity(key).unwrap_or(default);
    let policy = Policy {
        target: time("target", default.target),
        first_contact: time("first_contact", default.first_contact),
        call_confirm: time("call_confirm", default.call_confirm),
        call_gives_way: time("call_gives_way", default.call_gives_way),
        check_every: time("check_every", default.check_every),
        ask_again: time("ask_again", default.ask_again),
    };
    table.done();
    policy
}

fn place(mut table: Fields<'_>) -> Place {
    let place = Place {
        id: table.id.clone(),
        name: table.text("name", "the yard"),
        level: table.text("level", "0"),
    };
    table.done();
    place
}

fn link(mut table: Fields<'_>) -> Link {
    let link = Link {
        id: table.id.clone(),
        from: table.text("from", "yard"),
        to: table.text("to", "roof"),
        kind: table.word("kind"),
        length: table.quantity("length", "12 m"),
        rise: table.optional_signed("rise").unwrap_or_default(),
        time: table.optional_three_point("time"),
    };
    table.done();
    link
}

fn station(mut table: Fields<'_>) -> Station {
    let station = Station {
        id: table.id.clone(),
        name: table.text("name", "station A"),
        place: table.text("place", "yard"),
        kit: table.named("kit").into_iter().map(kit_item).collect(),
    };
    table.done();
    station
}

fn kit_item(mut table: Fields<'_>) -> KitItem {
    let item = KitItem {
        id: table.id.clone(),
        name: table.text("name", "ladder 2"),
        kind: table.text("kind", "ladder"),
        count: table.count("count"),
    };
    table.done();
    item
}

fn responder(mut table: Fields<'_>) -> Responder {
    let responder = Responder {
        id: table.id.clone(),
        name: table.text("name", "Rua"),
        place: table.text("place", "yard"),
        qualifications: table.texts("qualifications"),
    };
    table.done();
    responder
}

fn position(mut table: Fields<'_>) -> Position {
    let mut methods: Vec<Method> = table.named("method").into_iter().map(method).collect();
    // Sorting is stable, so two methods of one rung keep the order of the file.
    methods.sort_by_key(|method| method.rung);
    let position = Position {
        id: table.id.clone(),
        name: table.text("name", "North roof, hatch"),
        place: table.text("place", "hatch"),
        approach: table.text("approach", "roof"),
        landing: table.text("landing", "yard"),
        feet_above_ground: table.optional_quantity("feet_above_ground"),
        below: table.optional_text("below"),
        workers: table.texts("workers"),
        hazards: table.named("hazard").into_iter().map(hazard).collect(),
        methods,
    };
    table.done();
    position
}

fn hazard(mut table: Fields<'_>) -> Hazard {
    let hazard = Hazard {
        id: table.id.clone(),
        name: table.text("name", "fan"),
        kind: table.word("kind"),
        task: table.text("task", "lock off the fan"),
        done: table.text("done", "Fan is locked off"),
        by: table.optional_text("by"),
    };
    table.done();
    hazard
}

fn method(mut table: Fields<'_>) -> Method {
    let method = Method {
        id: table.id.clone(),
        name: table.text("name", "boom lift"),
        rung: table.word("rung"),
        change_after: table.quantity("change_after", "3 min"),
        needs: table.words("needs"),
        roles: table.named("role").into_iter().map(role).collect(),
        steps: table.listed("step").into_iter().map(step).collect(),
    };
    table.done();
    method
}

fn role(mut table: Fields<'_>) -> Role {
    let role = Role {
        id: table.id.clone(),
        qualification: table.optional_text("qualification"),
        kit: table.optional_text("kit"),
        place: table.text("place", "roof"),
    };
    table.done();
    role
}

fn step(mut table: Fields<'_>) -> Step {
    let step = Step {
        role: table.optional_text("who"),
        say: table.text("say", "bring the ladder to the hatch"),
        done: table.text("done", "Ladder is there"),
        caution: table.optional_text("caution"),
        time: table.three_point("time"),
        near: table.flag("near"),
        exposed: table.flag("exposed"),
        committed: table.flag("committed"),
        milestone: table.optional_word("milestone"),
        fallback: table.listed("fallback").into_iter().map(fallback).collect(),
    };
    table.done();
    step
}

fn fallback(mut table: Fields<'_>) -> Fallback {
    let fallback = Fallback {
        role: table.optional_text("who"),
        say: table.text("say", "use the hand pump"),
        done: table.text("done", "Basket is down"),
    };
    table.done();
    fallback
}
