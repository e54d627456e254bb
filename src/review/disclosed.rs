//! Says what of a record may be shown to somebody who is to see neither names nor anybody's health.
//!
//! An allow-list for each kind and member: a kind that is not named here is withheld as a whole, a member that is not named
//! is withheld by itself, and so is whatever a newer program adds. A record that tells of somebody's health is withheld as a
//! whole, its kind with it; which ones those are may depend on what stands in them, and then nothing says so.
//!
//! Limits: times, places, methods and how many people there were are shown, and so is when something was withheld. Whoever was
//! there can tell who it was; whoever knows the plan may guess from the methods that were tried how the casualty was.

use serde_json::Value;

/// What is done with a member.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    /// Shown as it stands.
    Shown,
    /// A person: a pseudonym stands for it.
    Person,
    /// Withheld.
    Withheld,
}

/// The members around the body that are shown of every record. The clock since the start of the tablet and the random name of
/// that start stay out: with that name withheld nobody can try guesses against the hashes of the record.
const CLOCK: &[&str] = &[
    "/at_least",
    "/elapsed_ms",
    "/incident",
    "/seq",
    "/v",
    "/wall",
    "/wall_ms",
];

/// The kinds that are shown, each with the members of its body; `@` stands before a person. Texts that somebody wrote or
/// that were shown or said are never among them, because anything can stand in them.
const KINDS: &[(&str, &[&str])] = &[
    (
        "opened",
        &[
            "incident",
            "drill",
            "program",
            "plan_format",
            "plan_standing",
            "language",
            "@in_command",
            "@roll_call/*",
            "@approval/by",
            "@approval/name",
            "approval/wall_ms",
            "approval/offset_min",
            "exercise/hanging",
            "exercise/hanging/live/second_line",
            "exercise/hanging/live/can_stand",
            "exercise/hanging/live/limit_ms",
            "@exercise/hanging/live/watcher",
            "exercise/others",
            "exercise/table_top",
            "exercise/setting/time_min",
            "exercise/setting/light",
            "exercise/setting/wind_mm_s",
            "@exercise/setting/crew/*",
            "shift/in-use/*/position",
            "@shift/in-use/*/workers/*",
            "@shift/in-use/*/watcher",
            "shift/wind",
            "shift/gust",
            "shift/light",
            "shift/lightning",
            "@shift/holders/*/responder",
            "shift/counted/*/station",
            "shift/counted/*/item",
            "shift/counted/*/count",
            "shift/radio",
            "shift/battery",
            "@shift/heard/*",
            "@shift/visitors/*/id",
            "@shift/visitors/*/name",
            "shift/visitors/*/place",
            "@shift/signed/by",
            "shift/signed/wall-ms",
            "shift/signed/until-ms",
            "@shift/changes/*/what/responder",
            "shift/changes/*/wall-ms",
            "shift/allowed/*/position",
            "@shift/allowed/*/by",
            "shift/allowed/*/reason",
            "shift/allowed/*/wall-ms",
            "shift/begun",
            "shift/lost/*",
        ],
    ),
    ("activated", &["position"]),
    ("position-chosen", &["position"]),
    ("fall-time-set", &["ago_ms", "at_least"]),
    ("safe-confirmed", &[]),
    ("not-safe-yet", &[]),
    ("hazard-made-safe", &["hazard"]),
    ("hazard-not-safe-yet", &["hazard"]),
    ("call-ordered", &["@to"]),
    ("call-passed", &[]),
    ("call-confirmed", &["@by"]),
    ("call-failed", &[]),
    ("forecast-adopted", &["asked"]),
    ("order-given", ORDER),
    ("task-given", ORDER),
    ("order-withdrawn", &["@responder"]),
    ("words-said", &["orders/*"]),
    ("orders-unanswered", &["orders/*"]),
    ("responder-reported", &["@responder", "report"]),
    ("method-started", &["method", "why"]),
    ("step-done", &["method", "step"]),
    ("not-working-reported", &["method", "step"]),
    ("straight-wanted", &["method"]),
    ("secured", &[]),
    ("fallback-started", &["method", "step", "fallback"]),
    ("more-time-taken", &["method", "change_by_ms"]),
    ("method-changed", &["from", "to"]),
    ("stop-called", &["method", "what", "what/line"]),
    ("went-on", &["method"]),
    ("tied-off", &["method", "step", "fallback"]),
    ("entry-condition-met", &["index"]),
    ("ground-held", &[]),
    ("first-contact-made", &[]),
    ("off-harness", &[]),
    ("at-landing-place", &[]),
    ("danger-called", &[]),
    ("danger-cleared", &["@by"]),
    ("in-danger-said", &["danger"]),
    ("casualty-added", &["@responder", "rescuer", "fell_ms"]),
    ("casualty-named", &["@responder"]),
    ("casualty-chosen", &[]),
    ("worked-on", &[]),
    ("others-stopped", &[]),
    ("others-not-yet", &[]),
    ("wind-reported", &["mm_s"]),
    ("way-blocked", &["link"]),
    ("way-opened", &["link"]),
    ("kit-gone", &["station", "@by"]),
    ("help-expected", &["in_ms", "said_by"]),
    ("outside-asked", &[]),
    ("outside-took-over", &[]),
    ("outside-left", &[]),
    ("command-taken", &[]),
    ("brief-heard", &[]),
    ("command-named", &["@by"]),
    ("language-chosen", &["language"]),
    ("came-due", &["what", "what/surprise"]),
    ("noted", &["note"]),
    ("stuck-aloft", &[]),
    ("kit-withdrawn", &[]),
    ("corrected", &["cause"]),
    ("stand-down-began", &[]),
    ("stand-down-left", &[]),
    ("stand-down-answered", &["item"]),
    ("stood-down", &[]),
    ("surprise-given", &["index"]),
    ("surprise-left-out", &["index"]),
    ("stands", &[]),
    ("real-called", &[]),
    ("prompt-shown", &["number", "message", "language"]),
    ("clock-marked", &[]),
    ("resumed", &["carried", "at_ms", "least_ms", "most_ms"]),
    ("task-set", &["@owner/responder", "due"]),
    ("task-done", &["task"]),
    ("task-open", &["task"]),
];

/// What is shown of an order, and of one that it stands instead of.
const ORDER: &[&str] = &[
    "method",
    "posting/role",
    "@posting/responder",
    "posting/station",
    "posting/place",
    "posting/travel_ms",
    "posting/lies",
    "posting/fetch_ms",
];

/// The notes that say nothing of how somebody is.
const NOTES: &[&str] = &["radio-lost", "way-blocked", "photograph", "remember"];

/// The prompts that say nothing of how somebody is: before going near, the call, the steps, command, the end.
const PROMPTS: &[&str] = &[
    "safe-to-go-near",
    "call-by",
    "call-made-by",
    "call-passed-by",
    "call-alone",
    "ask-casualty",
    "ask-casualty-by",
    "hazard-task",
    "hazard-task-by",
    "others-question",
    "step",
    "step-by",
    "tie",
    "tie-by",
    "danger",
    "brief-title",
    "who-commands",
    "outside-leads",
    "close-counted",
    "close-off-rope",
    "close-kit-withdrawn",
    "close-scene-left",
    "close-work-stopped",
    "close-welfare",
    "close-now",
    "closed",
];

/// True where a record is shown at all, apart from its time.
pub fn is_told(record: &Value) -> bool {
    let text = |pointer: &str| record.pointer(pointer).and_then(Value::as_str);
    let Some(kind) = text("/kind").filter(|_| record["v"] == crate::incident::Record::version())
    else {
        return false;
    };
    let is_kind = KINDS.iter().any(|(name, _)| *name == kind);
    is_kind
        && match kind {
            "noted" => text("/body/note").is_some_and(|it| NOTES.contains(&it)),
            "prompt-shown" => text("/body/message").is_some_and(|it| PROMPTS.contains(&it)),
            "responder-reported" => text("/body/report") != Some("hurt"),
            "came-due" => text("/body/what") != Some("check-lost"),
            _ => true,
        }
}

/// True for what says when a record was made and which one it is; what it tells comes with the rest.
pub fn is_clock(pointer: &str) -> bool {
    let first = pointer.split('/').nth(1).unwrap_or_default();
    !matches!(first, "kind" | "who" | "casualty" | "cause" | "body")
}

/// What is done with a member of a record of this kind, by its JSON pointer. It holds where the record is told; the clock is
/// shown of every record.
pub fn class(kind: &str, pointer: &str) -> Class {
    match pointer {
        _ if CLOCK.contains(&pointer) => return Class::Shown,
        "/kind" | "/casualty" | "/cause" => return Class::Shown,
        "/who" => return Class::Person,
        // A body with nothing in it.
        "/body" => return Class::Shown,
        _ => {}
    }
    let Some(mut member) = pointer.strip_prefix("/body/") else {
        return Class::Withheld;
    };
    if let Some(before) = member.strip_prefix("instead/") {
        member = before.split_once('/').map_or("", |(_, rest)| rest);
    }
    let members = KINDS.iter().find(|(name, _)| *name == kind);
    let mut members = members.into_iter().flat_map(|(_, members)| *members);
    let found = members.find(|it| matches(it.trim_start_matches('@'), member));
    match found {
        Some(found) if found.starts_with('@') => Class::Person,
        Some(_) => Class::Shown,
        None => Class::Withheld,
    }
}

/// True where a member is what the list means; `*` stands for any number.
fn matches(listed: &str, member: &str) -> bool {
    let (mut listed, mut member) = (listed.split('/'), member.split('/'));
    loop {
        match (listed.next(), member.next()) {
            (None, None) => return true,
            (Some("*"), Some(part)) if part.bytes().all(|it| it.is_ascii_digit()) => {}
            (Some(one), Some(other)) if one == other => {}
            _ => return false,
        }
    }
}

/// Everything in a record that is no object and no list with something in it, by JSON pointer (RFC 6901), in the order of
/// the pointers' bytes. The hashes that seal a record are no part of it.
pub fn leaves(record: &Value) -> Vec<(String, &Value)> {
    let mut found = Vec::new();
    collect(record, &mut String::new(), &mut found);
    found.retain(|(pointer, _)| pointer != "/prev" && pointer != "/sha");
    found.sort_by(|one, other| one.0.cmp(&other.0));
    found
}

fn collect<'v>(value: &'v Value, at: &mut String, found: &mut Vec<(String, &'v Value)>) {
    let mut within = |name: &str, value: &'v Value| {
        let length = at.len();
        at.push('/');
        at.push_str(&name.replace('~', "~0").replace('/', "~1"));
        collect(value, at, found);
        at.truncate(length);
    };
    match value {
        Value::Object(members) if !members.is_empty() => {
            for (name, value) in members {
                within(name, value);
            }
        }
        Value::Array(items) if !items.is_empty() => {
            for (index, value) in items.iter().enumerate() {
                within(&index.to_string(), value);
            }
        }
        _ => found.push((at.clone(), value)),
    }
}
