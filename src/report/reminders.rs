//! Reminds the employer of reports that the law of the place may ask for, and by when.
//!
//! A reminder, never advice: what is to be reported, by whom and how is for local law and whoever knows it. The hours are
//! hours that pass, so a clock that is put forward or back between moves the time on the wall and not the deadline. They are
//! counted from the activation, because nobody can have learned of it earlier; in a drill that became a rescue, from there.
//!
//! Limits: knows the rule of one land. A state of it may ask for more. Nobody told the record whether somebody died or was
//! taken to a hospital, so both are named.

use crate::incident::{Event, Record};
use crate::plan::Plan;
use crate::words::{Id, Language, Message, date_and_time};

/// From learning of a death until it is to be reported in the United States. 29 CFR 1904.39(a)(1).
const DEATH_HOURS: i64 = 8;
/// The same for admission to a hospital as an in-patient, an amputation or the loss of an eye. 29 CFR 1904.39(a)(2).
const HURT_HOURS: i64 = 24;
const HOUR_MS: i64 = 3_600_000;

/// What the employer is reminded of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reminders {
    /// What they rest on: the land as the plan names it, or that it names none.
    pub about: Message,
    /// Each with its deadline; empty where no rule is known.
    pub each: Vec<Reminder>,
    /// That local law decides.
    pub defers: Message,
}

/// One report that may be due.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reminder {
    /// What is to be reported and within how many hours.
    pub what: Message,
    /// Where that is written.
    pub source: &'static str,
    /// The deadline, milliseconds since 1970 in UTC.
    pub by_wall_ms: i64,
    /// The offset of the place's time from UTC at that moment, minutes.
    pub by_offset_min: i32,
}

impl Reminder {
    /// The deadline as people read it, with the offset that the clocks have then.
    pub fn by(&self) -> String {
        let sign = if self.by_offset_min < 0 { '-' } else { '+' };
        let minutes = self.by_offset_min.unsigned_abs();
        format!(
            "{} (UTC{sign}{:02}:{:02})",
            date_and_time(self.by_wall_ms, self.by_offset_min),
            minutes / 60,
            minutes % 60
        )
    }

    /// The whole reminder in one sentence.
    pub fn text(&self, language: Language) -> String {
        let what = self.what.text(language);
        Message::with(Id::RemindBy, [&what, &self.by(), self.source]).text(language)
    }
}

impl Reminders {
    /// What to remind of; none for a drill. `offset_at` says how many minutes the place's time is ahead of UTC at a moment
    /// given in milliseconds since 1970.
    pub fn of(
        records: &[Record],
        plan: Option<&Plan>,
        offset_at: &dyn Fn(i64) -> i32,
    ) -> Option<Reminders> {
        let learned_ms = learned_ms(records)?;
        let land = plan.and_then(|it| it.site.jurisdiction.as_deref());
        let about = match land {
            Some(land) => Message::with(Id::RemindLand, [land]),
            None => Message::of(Id::RemindNoLand),
        };
        let due = |what: Id, source: &'static str, hours: i64| {
            let by_wall_ms = learned_ms.saturating_add(hours.saturating_mul(HOUR_MS));
            Reminder {
                what: Message::with(what, [&hours.to_string()]),
                source,
                by_wall_ms,
                by_offset_min: offset_at(by_wall_ms),
            }
        };
        let each = match land.is_some_and(is_united_states) {
            true => vec![
                due(Id::RemindDeath, "29 CFR 1904.39(a)(1)", DEATH_HOURS),
                due(Id::RemindHurt, "29 CFR 1904.39(a)(2)", HURT_HOURS),
            ],
            false => Vec::new(),
        };
        let defers = match each.is_empty() {
            true => Message::of(Id::RemindAsk),
            false => Message::of(Id::RemindDefers),
        };
        Some(Reminders {
            about,
            each,
            defers,
        })
    }
}

/// The earliest moment at which the employer can have learned of it; none in a drill.
fn learned_ms(records: &[Record]) -> Option<i64> {
    let drill = records
        .iter()
        .any(|it| matches!(&it.event, Event::Opened(opening) if opening.drill));
    let began = |it: &&Record| match drill {
        true => matches!(it.event, Event::RealCalled {}),
        false => matches!(it.event, Event::Activated { .. }),
    };
    records.iter().find(began).map(|it| it.now.wall_ms)
}

/// Whether a land as a plan names it is the United States or one of them: its name, or its code of ISO 3166 alone or with
/// that of a state.
fn is_united_states(land: &str) -> bool {
    let lower = land.to_lowercase();
    let named = ["united states", "estados unidos", "u.s.", "u. s."];
    let coded = |word: &str| {
        let word = word.trim_matches(|it: char| !it.is_ascii_alphanumeric());
        matches!(word, "US" | "USA") || word.starts_with("US-")
    };
    // The Mexican states are united as well.
    let other = ["mexic", "méxic"].iter().any(|it| lower.contains(it));
    !other && (named.iter().any(|it| lower.contains(it)) || land.split_whitespace().any(coded))
}

#[cfg(test)]
mod tests {
    use super::is_united_states;

    #[test]
    fn a_land_is_known_by_its_name_or_its_code() {
        for land in [
            "United States",
            "Illinois, United States of America",
            "US-IL",
            "Ohio (USA)",
            "Estados Unidos",
            "U.S., federal",
        ] {
            assert!(is_united_states(land), "{land}");
        }
        for land in [
            "the land of Pellow",
            "Estados Unidos Mexicanos",
            "us",
            "AUS",
            "",
        ] {
            assert!(!is_united_states(land), "{land}");
        }
    }
}
