//! Reads scenarios from TOML files, so that a trainer can prepare a drill with any editor.
//!
//! Everything that is wrong with a file is said at once, each with its line and what to do. The bytes may come from a stick
//! that somebody found: size, texts and numbers are bounded, and nothing panics whatever they are. `scenario_text` writes
//! them. Limits: nothing is known of the plan here; `check` compares.

use std::collections::BTreeMap;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::scenario::{Fault, Planned, SURPRISES_MAX, Scenario, WIND_MAX, When, check, printable};
use crate::incident::Inject;
use crate::plan::Plan;
use crate::readiness::Light;
use crate::units::{self, Millis, Speed};

/// Largest scenario file, in bytes.
pub const SCENARIO_BYTES_MAX: usize = 64 * 1024;
/// Scenarios for the invented grain terminal that is built in: file name and text.
pub const BUILT_IN: [(&str, &str); 6] = [
    (
        "silo-3-no-answer.toml",
        include_str!("silo-3-no-answer.toml"),
    ),
    ("intake-at-night.toml", include_str!("intake-at-night.toml")),
    ("mast-7-wind.toml", include_str!("mast-7-wind.toml")),
    (
        "gallery-two-hang.toml",
        include_str!("gallery-two-hang.toml"),
    ),
    ("transfer-live.toml", include_str!("transfer-live.toml")),
    ("silo-3-cut-off.toml", include_str!("silo-3-cut-off.toml")),
];
/// So many faults are told at once.
const FAULTS_MAX: usize = 50;
/// Longest text, in characters.
const TEXT_MAX: usize = 200;
/// Most people in a crew.
const CREW_MAX: usize = 200;
/// Longest time that can be written: a day.
const TIME_MAX: i64 = 24 * 60 * 60 * 1_000;

/// Reads a scenario; the name is only for sentences about the file as a whole.
///
/// # Errors
///
/// Everything that is wrong with it, in the order of the lines.
pub fn read(name: &str, bytes: &[u8]) -> Result<Scenario, Vec<Fault>> {
    read_with_lines(name, bytes).map(|it| it.0)
}

/// Reads a scenario and checks it against a plan.
///
/// # Errors
///
/// Everything that is wrong with it, or that the plan does not have, in the order of the lines.
pub fn read_for(plan: &Plan, name: &str, bytes: &[u8]) -> Result<Scenario, Vec<Fault>> {
    let (scenario, lines) = read_with_lines(name, bytes)?;
    let mut faults = check(&scenario, plan);
    for fault in &mut faults {
        fault.line = lines.get(&fault.place).copied();
    }
    match faults.is_empty() {
        true => Ok(scenario),
        false => Err(in_order(faults)),
    }
}

/// On which line the parts of a file begin.
type Lines = BTreeMap<String, usize>;

fn read_with_lines(name: &str, bytes: &[u8]) -> Result<(Scenario, Lines), Vec<Fault>> {
    let whole = |message: String, help: &str| vec![Fault::new("", message, help)];
    if bytes.len() > SCENARIO_BYTES_MAX {
        let message = format!(
            "{} has {} bytes, more than the {SCENARIO_BYTES_MAX} a scenario may have",
            printable(name),
            bytes.len()
        );
        return Err(whole(message, "check that this is a scenario"));
    }
    let Ok(text) = std::str::from_utf8(bytes) else {
        let message = format!("{} is not UTF-8 text", printable(name));
        return Err(whole(message, "save it as UTF-8 text"));
    };
    let (root, errors) = DeTable::parse_recoverable(text);
    let mut reader = Reader {
        text,
        faults: Vec::new(),
        lines: Lines::new(),
    };
    for error in errors.iter().take(FAULTS_MAX) {
        let at = error.span().unwrap_or(0..0);
        let message = format!("this is not TOML: {}", printable(error.message()));
        reader.add(
            "",
            at,
            message,
            "mend this line; texts and times stand in quotes",
        );
    }
    if errors.is_empty() {
        let scenario = reader.scenario(root.get_ref());
        if reader.faults.is_empty() {
            return Ok((scenario, reader.lines));
        }
    }
    Err(in_order(reader.faults))
}

fn in_order(mut faults: Vec<Fault>) -> Vec<Fault> {
    faults.sort_by_key(|it| it.line);
    faults.truncate(FAULTS_MAX);
    faults
}

type Value<'a> = Spanned<DeValue<'a>>;

/// Reads one file and gathers what is wrong with it.
struct Reader<'t> {
    text: &'t str,
    faults: Vec<Fault>,
    lines: Lines,
}

/// What each surprise takes besides its time.
const WORDS: [(&str, &[&str]); 10] = [
    ("stops-answering", &[]),
    ("kit-missing", &["kit", "station"]),
    ("responder-cannot", &["responder"]),
    ("method-fails", &["method"]),
    ("self-rescue-fails", &[]),
    ("wind", &["speed"]),
    ("radio-lost", &[]),
    ("ambulance-delayed", &["by"]),
    ("wrong-gate", &[]),
    ("second-casualty", &[]),
];

const KEYS: [&str; 10] = [
    "format", "name", "position", "time", "light", "wind", "crew", "hanging", "seed", "surprise",
];

impl Reader<'_> {
    fn line(&self, at: &Range<usize>) -> usize {
        let before = &self.text.as_bytes()[..at.start.min(self.text.len())];
        before.iter().filter(|byte| **byte == b'\n').count() + 1
    }

    fn add(&mut self, place: &str, at: Range<usize>, message: String, help: impl Into<String>) {
        if self.faults.len() < FAULTS_MAX {
            let line = Some(self.line(&at));
            self.faults.push(Fault {
                line,
                ..Fault::new(place, message, help)
            });
        }
    }

    fn scenario(&mut self, root: &DeTable<'_>) -> Scenario {
        self.known_keys(root, "", &KEYS);
        for (key, _) in root.iter() {
            let line = self.line(&key.span());
            self.lines.insert(key.get_ref().to_string(), line);
        }
        match root.get("format").map(|it| (it.span(), it.get_ref())) {
            Some((_, DeValue::Integer(number))) if number.as_str() == "1" => {}
            Some((at, _)) => {
                let message = "the format is not one that this program reads".to_owned();
                self.add("format", at, message, "write `format = 1`");
            }
            None => self.missing("", 0..0, "format", "format = 1"),
        }
        Scenario {
            name: self.required(root, "", 0..0, "name", "name = \"Litter missing\""),
            position: self.required(root, "", 0..0, "position", "position = \"silo3\""),
            time: self.with(root, "", "time", Reader::time_of_day),
            light: self.with(root, "", "light", Reader::light),
            wind: self.with(root, "", "wind", Reader::wind),
            crew: self.with(root, "", "crew", Reader::crew),
            live: self
                .with(root, "", "hanging", Reader::hanging)
                .unwrap_or(false),
            seed: self.with(root, "", "seed", Reader::seed),
            surprises: self.surprises(root),
        }
    }

    /// The value of a key, where it is there and can be read.
    fn with<T>(
        &mut self,
        table: &DeTable<'_>,
        place: &str,
        key: &str,
        read: impl Fn(&mut Self, &str, &Value<'_>) -> Option<T>,
    ) -> Option<T> {
        let value = table.get(key)?;
        let place = if place.is_empty() { key } else { place };
        read(self, place, value)
    }

    fn required(
        &mut self,
        table: &DeTable<'_>,
        place: &str,
        at: Range<usize>,
        key: &str,
        example: &str,
    ) -> String {
        if table.get(key).is_none() {
            self.missing(place, at, key, example);
        }
        self.with(table, place, key, Reader::text)
            .unwrap_or_default()
    }

    fn missing(&mut self, place: &str, at: Range<usize>, key: &str, example: &str) {
        let message = format!("`{key}` is missing");
        self.add(place, at, message, format!("write `{example}`"));
    }

    fn known_keys(&mut self, table: &DeTable<'_>, place: &str, known: &[&str]) {
        for (key, _) in table.iter() {
            if !known.contains(&key.get_ref().as_ref()) {
                let message = format!("`{}` means nothing here", printable(key.get_ref()));
                let help = format!("drop it, or write one of: {}", known.join(", "));
                self.add(place, key.span(), message, help);
            }
        }
    }

    fn text(&mut self, place: &str, value: &Value<'_>) -> Option<String> {
        let help = "write one line of text in quotes";
        let DeValue::String(text) = value.get_ref() else {
            self.add(place, value.span(), "this is no text".to_owned(), help);
            return None;
        };
        let text = text.trim();
        let long = text.chars().nth(TEXT_MAX).is_some();
        if text.is_empty() || long || text.chars().any(char::is_control) {
            let message = format!(
                "this text is empty, longer than {TEXT_MAX} characters, or has a line break in it"
            );
            self.add(place, value.span(), message, help);
            return None;
        }
        Some(text.to_owned())
    }

    fn time_of_day(&mut self, place: &str, value: &Value<'_>) -> Option<u16> {
        let read = |text: &str| {
            let (hours, minutes) = text.split_once(':')?;
            let (hours, minutes) = (digits(hours, 2)?, digits(minutes, 2)?);
            let minutes = (hours < 24 && minutes < 60).then_some(hours * 60 + minutes)?;
            u16::try_from(minutes).ok()
        };
        let help = "write hours and minutes, such as \"22:30\"";
        self.parsed(place, value, "time of day", help, read)
    }

    /// A time since activation, or how much later something comes.
    fn minutes(&mut self, place: &str, value: &Value<'_>) -> Option<Millis> {
        let help = "write minutes and seconds, such as \"3:10\"";
        self.parsed(place, value, "time", help, minutes_of)
    }

    fn parsed<T>(
        &mut self,
        place: &str,
        value: &Value<'_>,
        what: &str,
        help: &str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        let text = value.get_ref().as_str();
        let found = text.and_then(|it| read(it.trim()));
        if found.is_none() {
            let message = match text {
                Some(text) => format!("`{}` is no {what}", printable(text)),
                None => format!("this is no {what} in quotes"),
            };
            self.add(place, value.span(), message, help);
        }
        found
    }

    fn light(&mut self, place: &str, value: &Value<'_>) -> Option<Light> {
        let help = "write \"day\", \"lit\" or \"dark\"";
        let read = |text: &str| match text {
            "day" => Some(Light::Day),
            "lit" => Some(Light::Lit),
            "dark" => Some(Light::Dark),
            _ => None,
        };
        self.parsed(place, value, "light", help, read)
    }

    fn hanging(&mut self, place: &str, value: &Value<'_>) -> Option<bool> {
        let help = "write \"manikin\" or \"live\"";
        let read = |text: &str| match text {
            "manikin" => Some(false),
            "live" => Some(true),
            _ => None,
        };
        self.parsed(place, value, "answer to who hangs", help, read)
    }

    fn wind(&mut self, place: &str, value: &Value<'_>) -> Option<Speed> {
        let Some(text) = value
            .get_ref()
            .as_str()
            .map(|it| it.get(..TEXT_MAX).unwrap_or(it))
        else {
            let message = "this is no speed in quotes".to_owned();
            self.add(
                place,
                value.span(),
                message,
                "write a speed, such as \"8 m/s\"",
            );
            return None;
        };
        match units::read::<Speed>(text) {
            Ok(read) if read.value <= WIND_MAX => Some(read.value),
            Ok(_) => {
                let message = "no wind is that strong".to_owned();
                self.add(
                    place,
                    value.span(),
                    message,
                    "write a wind from 0 to 100 m/s",
                );
                None
            }
            Err(why) => {
                let message = printable(&why.to_string());
                self.add(place, value.span(), message, why.help::<Speed>());
                None
            }
        }
    }

    fn seed(&mut self, place: &str, value: &Value<'_>) -> Option<u32> {
        let number = match value.get_ref() {
            DeValue::Integer(it) => u32::from_str_radix(it.as_str(), it.radix()).ok(),
            _ => None,
        };
        if number.is_none() {
            let message = "this is no seed".to_owned();
            let help = format!("write a whole number from 0 to {}", u32::MAX);
            self.add(place, value.span(), message, help);
        }
        number
    }

    fn list<'v, 'a>(&mut self, place: &str, value: &'v Value<'a>, most: usize) -> &'v [Value<'a>] {
        let help = "write a list in brackets";
        match value.get_ref() {
            DeValue::Array(list) if list.len() <= most => list,
            DeValue::Array(list) => {
                let message = format!("{} are more than the {most} that may be here", list.len());
                self.add(place, value.span(), message, "leave out some of them");
                &[]
            }
            _ => {
                self.add(place, value.span(), "this is no list".to_owned(), help);
                &[]
            }
        }
    }

    fn crew(&mut self, place: &str, value: &Value<'_>) -> Option<Vec<String>> {
        let list = self.list(place, value, CREW_MAX);
        let mut crew: Vec<String> = Vec::new();
        for item in list {
            let Some(id) = self.text(place, item) else {
                continue;
            };
            if crew.contains(&id) {
                let message = format!("`{}` stands here twice", printable(&id));
                self.add(place, item.span(), message, "name everybody once");
            }
            crew.push(id);
        }
        Some(crew)
    }

    fn surprises(&mut self, root: &DeTable<'_>) -> Vec<Planned> {
        let Some(value) = root.get("surprise") else {
            return Vec::new();
        };
        let list = self.list("surprise", value, SURPRISES_MAX);
        let mut surprises = Vec::new();
        for (index, item) in list.iter().enumerate() {
            let place = format!("surprise {}", index + 1);
            let line = self.line(&item.span());
            self.lines.insert(place.clone(), line);
            match item.get_ref() {
                DeValue::Table(table) => {
                    surprises.extend(self.surprise(&place, item.span(), table))
                }
                _ => {
                    let message = "this is no surprise".to_owned();
                    self.add(
                        &place,
                        item.span(),
                        message,
                        "begin it with a line `[[surprise]]`",
                    );
                }
            }
        }
        surprises
    }

    fn surprise(&mut self, place: &str, at: Range<usize>, table: &DeTable<'_>) -> Option<Planned> {
        let when = self.when(place, at.clone(), table);
        let what = self.required(table, place, at.clone(), "what", "what = \"radio-lost\"");
        if what.is_empty() {
            return None;
        }
        let Some((_, fields)) = WORDS.iter().find(|(word, _)| *word == what) else {
            let all: Vec<&str> = WORDS.iter().map(|it| it.0).collect();
            let at = table.get("what").map_or(at, Spanned::span);
            let message = format!("`{}` is no surprise", printable(&what));
            self.add(
                place,
                at,
                message,
                format!("write one of: {}", all.join(", ")),
            );
            return None;
        };
        let known: Vec<&str> = ["at", "between", "what"]
            .iter()
            .chain(*fields)
            .copied()
            .collect();
        self.known_keys(table, place, &known);
        let inject = self.inject(&what, place, at, table)?;
        Some(Planned {
            when: when?,
            inject,
        })
    }

    fn inject(
        &mut self,
        what: &str,
        place: &str,
        at: Range<usize>,
        table: &DeTable<'_>,
    ) -> Option<Inject> {
        let mut named = |key: &str, example: &str| {
            let text = self.required(table, place, at.clone(), key, example);
            (!text.is_empty()).then_some(text)
        };
        Some(match what {
            "stops-answering" => Inject::StopsAnswering {},
            "kit-missing" => {
                let (kit, station) = (
                    named("kit", "kit = \"litter\""),
                    named("station", "station = \"a\""),
                );
                Inject::KitMissing {
                    kit: kit?,
                    station: station?,
                }
            }
            "responder-cannot" => Inject::ResponderCannot {
                responder: named("responder", "responder = \"rua\"")?,
            },
            "method-fails" => Inject::MethodFails {
                method: named("method", "method = \"boom-lift\"")?,
            },
            "self-rescue-fails" => Inject::SelfRescueFails {},
            "wind" => {
                if table.get("speed").is_none() {
                    self.missing(place, at, "speed", "speed = \"14 m/s\"");
                }
                Inject::Wind {
                    speed: self.with(table, place, "speed", Reader::wind)?,
                }
            }
            "radio-lost" => Inject::RadioLost {},
            "ambulance-delayed" => {
                if table.get("by").is_none() {
                    self.missing(place, at, "by", "by = \"10:00\"");
                }
                Inject::AmbulanceDelayed {
                    by: self.with(table, place, "by", Reader::minutes)?,
                }
            }
            "wrong-gate" => Inject::WrongGate {},
            _ => Inject::SecondCasualty {},
        })
    }

    fn when(&mut self, place: &str, at: Range<usize>, table: &DeTable<'_>) -> Option<When> {
        match (table.get("at"), table.get("between")) {
            (Some(value), None) => self.minutes(place, value).map(When::At),
            (None, Some(value)) => {
                let times: Vec<Option<Millis>> = self
                    .list(place, value, 2)
                    .iter()
                    .map(|it| self.minutes(place, it))
                    .collect();
                match times[..] {
                    [from, to] => Some(When::Between(from?, to?)),
                    _ => {
                        let message = "`between` does not have two times".to_owned();
                        let help =
                            "write the earliest and the latest, such as [\"2:00\", \"4:00\"]";
                        self.add(place, value.span(), message, help);
                        None
                    }
                }
            }
            _ => {
                let message = "it does not say once when it comes".to_owned();
                let help = "write `at = \"3:10\"`, or `between = [\"2:00\", \"4:00\"]`";
                self.add(place, at, message, help);
                None
            }
        }
    }
}

/// A number of so many digits at most and no sign.
fn digits(text: &str, most: usize) -> Option<i64> {
    let plain = !text.is_empty() && text.bytes().all(|it| it.is_ascii_digit());
    (plain && text.len() <= most)
        .then(|| text.parse().ok())
        .flatten()
}

/// Minutes and seconds, and thousandths where there are any: `3:10`, `3:10.250`.
fn minutes_of(text: &str) -> Option<Millis> {
    let (minutes, rest) = text.split_once(':')?;
    let (seconds, parts) = rest.split_once('.').unwrap_or((rest, "0"));
    let thousandths = digits(&format!("{parts:0<3}"), 3).filter(|_| !parts.is_empty())?;
    let (minutes, seconds) = (
        digits(minutes, 4)?,
        digits(seconds, 2).filter(|it| *it < 60)?,
    );
    let time = (minutes * 60 + seconds) * 1_000 + thousandths;
    (time <= TIME_MAX).then_some(Millis(time))
}
