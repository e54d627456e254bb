//! Finds what a site must know before anybody climbs and this plan does not say, and what it says against itself.
//!
//! Everything here is a warning or a notice: a plan with a gap still serves the positions that have none, and a fall waits
//! for no paper. What published figures say is in `figures.rs`, what a date says in `dates.rs`.

use std::collections::{BTreeMap, BTreeSet};

use super::check::Judge;
use super::findings::Kind;
use super::model::{KitItem, Link, LinkKind, Station};
use crate::units::Millimetres;

/// Faster than this on a way on foot is a slip of the pen: a sprinter's speed, common practice, no source.
const FOOT_SPEED_MAX_MM_S: i64 = 8_000;
/// And this in a hoist or a vehicle on a site.
const RIDE_SPEED_MAX_MM_S: i64 = 25_000;

pub(super) fn check(judge: &Judge<'_>) {
    header(judge);
    kit(judge);
    people(judge);
    ways(judge);
}

/// Reports keys that a plan should have and does not.
fn header(judge: &Judge<'_>) {
    let site = &judge.plan.site;
    let gap = |missing: bool, kind, key: &str, what: &str, example: &str| {
        if missing
            && !judge.gathered.spoiled("site")
            && judge.gathered.sound(&format!("site.{key}"))
        {
            let help = format!("add a line such as `{key} = {example}` to [site]");
            judge.add(kind, &format!("site.{key}"), what.to_owned(), help);
        }
    };
    gap(
        site.address.is_none(),
        Kind::NoAddress,
        "address",
        "the plan does not say the street address",
        "\"3 Kiln Road, Pellow\"",
    );
    gap(
        site.gate.is_none(),
        Kind::NoGate,
        "gate",
        "the plan does not say which gate the emergency services use",
        "\"west gate\"",
    );
    gap(
        site.hospital.is_none(),
        Kind::NoHospital,
        "hospital",
        "the plan does not name the hospital",
        "\"Pellow Infirmary, 9 km\"",
    );
    gap(
        site.landing_places.is_empty(),
        Kind::NoLandingPlace,
        "landing_places",
        "the plan does not list its landing places",
        "[\"yard\"]",
    );
    gap(
        site.approved_by.is_none(),
        Kind::NoApprover,
        "approved_by",
        "the plan does not say who approved it",
        "\"Ada Venn, site manager\"",
    );
    gap(
        site.date.is_none(),
        Kind::NoDate,
        "date",
        "the plan does not say when this revision was written",
        "\"2030-05-31\"",
    );
    gap(
        site.review_by.is_none(),
        Kind::NoReviewDate,
        "review_by",
        "the plan does not say by when it must be read again",
        "\"2031-05-31\"",
    );
    gap(
        site.jurisdiction.is_none(),
        Kind::NoJurisdiction,
        "jurisdiction",
        "the plan does not say whose law applies",
        "\"the land the site is in\"",
    );
    gap(
        site.languages.is_empty(),
        Kind::NoLanguage,
        "languages",
        "the plan does not say which languages are spoken",
        "[\"en\"]",
    );
    for (number, tag) in (1..).zip(&site.languages) {
        language(judge, &format!("site.languages.{number}"), tag);
    }
    if let (Some(date), Some(review)) = (site.date, site.review_by)
        && review <= date
    {
        let message = "the plan must be read again before it was written".to_owned();
        judge.add(
            Kind::DatesReversed,
            "site.review_by",
            message,
            "mend one of the two dates",
        );
    }
    match &judge.plan.radio {
        None if judge.gathered.sound("radio") => judge.add(
            Kind::NoRadio,
            "radio",
            "the plan does not say how people speak to each other".to_owned(),
            "add a table [radio] with a `channel`",
        ),
        Some(radio) if radio.fallback.is_none() && judge.gathered.sound("radio") => judge.add(
            Kind::NoRadioFallback,
            "radio.fallback",
            "the plan does not say what is used when the radio fails".to_owned(),
            "add a line such as `fallback = \"telephone, then a runner\"` to [radio]",
        ),
        _ => {}
    }
    first_aid(judge);
    if judge.plan.outside_rescues.is_empty() && judge.gathered.sound("outside_rescue") {
        judge.add(
            Kind::NoOutsideRescue,
            "outside_rescue",
            "the plan names no rescuers from outside".to_owned(),
            "add a table such as [outside_rescue.fire-service], even where nobody relies on it",
        );
    }
}

fn first_aid(judge: &Judge<'_>) {
    let Some(text) = &judge.plan.first_aid else {
        if judge.gathered.sound("first_aid") {
            judge.add(
                Kind::NoFirstAidText,
                "first_aid",
                "the plan has no first-aid text of its own".to_owned(),
                "add a table [first_aid] with `lines`, written by whoever answers for first aid here",
            );
        }
        return;
    };
    for (number, line) in (1..).zip(&text.lines) {
        let words: Vec<String> = line
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect();
        let denies = words
            .iter()
            .any(|w| ["not", "never", "no", "nobody"].contains(&w.as_str()));
        let upright = words
            .iter()
            .any(|w| ["upright", "sitting", "seated", "sit", "kneeling"].contains(&w.as_str()));
        if upright && !denies {
            let message =
                format!("first_aid.lines.{number} seems to keep the casualty upright or sitting");
            let help = "published first-aid advice is to lay a casualty flat after suspension; have a trained person read this line";
            judge.add(
                Kind::FirstAidUpright,
                &format!("first_aid.lines.{number}"),
                message,
                help,
            );
        }
    }
}

/// Reports what is no language tag: two or three letters, then parts of two to eight letters and digits.
fn language(judge: &Judge<'_>, at: &str, tag: &str) {
    let mut parts = tag.split('-');
    let first = parts.next().unwrap_or_default();
    let is_tag = (2..=3).contains(&first.len())
        && first.bytes().all(|b| b.is_ascii_alphabetic())
        && parts.all(|part| {
            (1..=8).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_alphanumeric())
        });
    if !is_tag {
        let message = format!("{at} is `{tag}`, which is not a language tag");
        judge.add(
            Kind::BadLanguage,
            at,
            message,
            "write the tag of BCP 47, e.g. \"en\", \"pt\" or \"uk\"",
        );
    }
}

fn kit(judge: &Judge<'_>) {
    let mut identifiers: BTreeMap<&str, String> = BTreeMap::new();
    let (mut aed, mut first_aid) = (false, false);
    for station in &judge.plan.stations {
        for item in &station.kit {
            let at = format!("station.{}.kit.{}", station.id, item.id);
            aed |= item.kind == KitItem::AED && item.in_service();
            first_aid |= item.kind == KitItem::FIRST_AID && item.in_service();
            if let Some(identifier) = &item.identifier
                && let Some(first) = identifiers.insert(identifier, at.clone())
            {
                let message = format!("{at} and {first} have the same identifier `{identifier}`");
                let help =
                    "an identifier is on one thing only; give `count` only to things without one";
                let other = format!("{first}.identifier");
                judge.add_beside(
                    Kind::DuplicateIdentifier,
                    &format!("{at}.identifier"),
                    message,
                    help,
                    (&other, format!("{first} has it")),
                );
            }
            if judge.gathered.sound(&at) {
                item_gaps(judge, station, item, &at);
            }
        }
    }
    if !judge.gathered.sound("station") {
        return;
    }
    let missing = |kind, what: &str| {
        let message = format!("no station has {what} in service");
        judge.add(
            kind,
            "station",
            message,
            format!(
                "add one to a station near the landing places, with `kind = \"{}\"`",
                if kind == Kind::NoAed {
                    KitItem::AED
                } else {
                    KitItem::FIRST_AID
                }
            ),
        );
    };
    if !aed {
        missing(Kind::NoAed, "an AED");
    }
    if !first_aid {
        missing(Kind::NoFirstAidKit, "a first-aid kit");
    }
}

fn item_gaps(judge: &Judge<'_>, station: &Station, item: &KitItem, at: &str) {
    let name = format!("{} in {}", item.name, station.name);
    if item.lacks_rating() {
        let message = format!("{name} carries people and has no rating");
        let help = "add `rated_mass` or `strength` from the plate on it";
        judge.add(Kind::NoRating, at, message, help);
    }
    let rated =
        item.rated_mass.is_some() || item.strength.is_some() || item.rescue_strength.is_some();
    if (item.carries() || rated) && item.inspection_due.is_none() {
        let message = format!("the plan does not say when {name} must be inspected again");
        judge.add(
            Kind::NoInspectionDate,
            at,
            message,
            "add a line such as `inspection_due = \"2030-05-31\"`",
        );
    }
    if item.reach.is_some() && item.wind_max.is_none() {
        let message = format!("the plan does not say in which wind {name} may be used");
        judge.add(
            Kind::NoWindLimit,
            at,
            message,
            "add a line such as `wind_max = \"12.5 m/s\"` from its manual",
        );
    }
    if item.kind == KitItem::CONNECTOR && !item.self_locking {
        let message = format!("{name} is not marked as self-locking");
        judge.add(
            Kind::ConnectorNotLocking,
            at,
            message,
            "use a self-locking one, and say `self_locking = true`",
        );
    }
    if let (Some(inspected), Some(due)) = (item.inspected, item.inspection_due)
        && due <= inspected
    {
        let message = format!("{name} must be inspected again before it was inspected");
        judge.add(
            Kind::DatesReversed,
            &format!("{at}.inspection_due"),
            message,
            "mend one of the two dates",
        );
    }
    if item.count > 1 && item.identifier.is_some() {
        let message = format!("{name} has one identifier and a count of {}", item.count);
        judge.add(
            Kind::IdentifierForMany,
            &format!("{at}.identifier"),
            message,
            "give each its own table, or leave the identifier out",
        );
    }
}

fn people(judge: &Judge<'_>) {
    let plan = judge.plan;
    let languages: BTreeSet<&str> = plan.site.languages.iter().map(String::as_str).collect();
    for responder in &plan.responders {
        let at = format!("responder.{}", responder.id);
        for (number, tag) in (1..).zip(&responder.languages) {
            language(judge, &format!("{at}.languages.{number}"), tag);
        }
        let shares = responder
            .languages
            .iter()
            .any(|tag| languages.contains(tag.as_str()));
        if !responder.languages.is_empty() && !languages.is_empty() && !shares {
            let message = format!(
                "{} speaks none of the languages of the site",
                responder.name
            );
            let help = "add the language to the site, or send this person only with somebody who interprets";
            judge.add(
                Kind::NoCommonLanguage,
                &format!("{at}.languages"),
                message,
                help,
            );
        }
        for (number, held) in (1..).zip(&responder.qualifications) {
            if held.until.is_none() {
                let message = format!(
                    "the plan does not say until when {} holds `{}`",
                    responder.name, held.name
                );
                let help = format!(
                    "write {{ name = \"{}\", until = \"2030-05-31\" }}",
                    held.name
                );
                judge.add(
                    Kind::NoExpiry,
                    &format!("{at}.qualifications.{number}"),
                    message,
                    help,
                );
            }
        }
    }
    if !plan.responders.is_empty()
        && !plan.responders.iter().any(|it| it.competent)
        && judge.gathered.sound("responder")
    {
        let message =
            "nobody is marked as a competent person, so nobody can approve this plan".to_owned();
        judge.add(
            Kind::NoCompetentPerson,
            "responder",
            message,
            "add `competent = true` to whoever may do that here",
        );
    }
}

fn ways(judge: &Judge<'_>) {
    let mut seen: BTreeMap<(&str, &str, LinkKind), &str> = BTreeMap::new();
    for link in &judge.plan.links {
        let at = format!("link.{}", link.id);
        if !judge.gathered.sound(&at) {
            continue;
        }
        let (near, far) = if link.from <= link.to {
            (&link.from, &link.to)
        } else {
            (&link.to, &link.from)
        };
        if let Some(first) = seen.insert((near, far, link.kind), &link.id) {
            let message =
                format!("{at} and link.{first} are the same kind of way between the same places");
            judge.add_beside(
                Kind::LinkTwice,
                &at,
                message,
                "drop one of the two, or name the place that tells them apart",
                (&format!("link.{first}"), "the other way".to_owned()),
            );
        }
        too_fast(judge, link, &at);
    }
    let mut points: BTreeMap<(&str, [Millimetres; 2]), &str> = BTreeMap::new();
    for place in &judge.plan.places {
        if let Some(point) = place.at
            && let Some(first) = points.insert((&place.level, point), &place.id)
        {
            let message = format!(
                "place.{} and place.{first} are at the same point of level {}",
                place.id, place.level
            );
            judge.add_beside(
                Kind::SamePoint,
                &format!("place.{}.at", place.id),
                message,
                "measure one of the two again",
                (
                    &format!("place.{first}.at"),
                    format!("place.{first} is here"),
                ),
            );
        }
    }
}

fn too_fast(judge: &Judge<'_>, link: &Link, at: &str) {
    let Some(time) = link.time else { return };
    let most = match link.kind {
        LinkKind::Hoist | LinkKind::Vehicle => RIDE_SPEED_MAX_MM_S,
        LinkKind::Walk | LinkKind::Stairs | LinkKind::FixedLadder | LinkKind::ScaffoldStair => {
            FOOT_SPEED_MAX_MM_S
        }
    };
    if link.length.0.saturating_mul(1_000) > time.likely.0.saturating_mul(most) {
        let message = format!("nobody is as fast on {at} as its measured time says");
        judge.add(
            Kind::WayTooFast,
            &format!("{at}.time"),
            message,
            "measure it again, or mend its length",
        );
    }
}
