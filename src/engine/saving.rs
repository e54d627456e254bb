//! Knows how much of the running incident is durable, and for how long something has not been.
//!
//! A disk that fails says so; one that takes its time, or a thread that stopped, says nothing. So what waits for too long
//! counts as not saved: the mark on the screen promises nothing that nobody has reported.

use crate::signal::{JournalReport, Saved};

/// After this long without being durable a record counts as not saved.
pub(super) const LATE_MS: i64 = 10_000;

/// What the journal reported about the running incident.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Saving {
    seq: Option<u64>,
    head: Option<String>,
    failing: Option<String>,
    /// The boot clock when the oldest record that is not durable yet was made, or when more became durable last.
    since_ms: Option<i64>,
}

impl Saving {
    /// More records are on their way.
    pub(super) fn wait_from(&mut self, boot_ms: i64) {
        self.since_ms.get_or_insert(boot_ms);
    }

    /// Takes what the journal says of this incident, of which `last` is the newest record.
    pub(super) fn note(&mut self, report: JournalReport, last: Option<u64>, boot_ms: i64) {
        match report {
            JournalReport::Saved { seq, head, .. } => {
                self.since_ms = (last > Some(seq)).then_some(boot_ms);
                (self.seq, self.head, self.failing) = (Some(seq), Some(head), None);
            }
            JournalReport::Closed { head, .. } => self.head = Some(head),
            JournalReport::Failing { why, .. } => self.failing = Some(why),
            JournalReport::NotAdded { .. } => {}
        }
    }

    /// Hash of the last durable record.
    pub(super) fn head(&self) -> Option<String> {
        self.head.clone()
    }

    /// Why saving fails.
    pub(super) fn failing(&self) -> Option<&String> {
        self.failing.as_ref()
    }

    /// True where the journal said that it fails.
    pub(super) fn fails(&self) -> bool {
        self.failing.is_some()
    }

    /// True where something waits for too long and nobody says why.
    pub(super) fn is_late(&self, boot_ms: i64) -> bool {
        let since = self.since_ms.filter(|_| self.failing.is_none());
        since.is_some_and(|since| boot_ms.saturating_sub(since) >= LATE_MS)
    }

    /// What the screen says, where `last` is the newest record.
    pub(super) fn shown(&self, last: Option<u64>, boot_ms: i64) -> Saved {
        match (&self.failing, last, self.seq) {
            (_, None, _) => Saved::Nothing,
            (Some(why), _, _) => Saved::Failing(why.clone()),
            (None, Some(last), Some(saved)) if saved >= last => Saved::Yes(saved),
            (None, Some(_), _) if self.is_late(boot_ms) => Saved::Failing(String::new()),
            (None, Some(_), saved) => Saved::Saving(saved),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn saved(seq: u64) -> JournalReport {
        JournalReport::Saved {
            incident: "i".to_owned(),
            seq,
            head: "h".to_owned(),
        }
    }

    #[test]
    fn what_waits_too_long_is_not_saved_and_says_so_until_it_is() {
        let mut saving = Saving::default();
        saving.wait_from(1_000);
        saving.wait_from(9_000);
        assert_eq!(saving.shown(Some(4), 10_999), Saved::Saving(None));
        assert_eq!(saving.shown(Some(4), 11_000), Saved::Failing(String::new()));
        saving.note(saved(2), Some(4), 12_000);
        assert_eq!(saving.shown(Some(4), 21_999), Saved::Saving(Some(2)));
        assert!(saving.is_late(22_000));
        saving.note(saved(4), Some(4), 23_000);
        assert_eq!(saving.shown(Some(4), 99_000), Saved::Yes(4));
        assert!(!saving.is_late(99_000));
        saving.wait_from(99_000);
        assert_eq!(saving.shown(Some(5), 99_001), Saved::Saving(Some(4)));
    }
}
