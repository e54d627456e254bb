//! Writes what leaves the tablet on paper and in files: bytes out, the shell saves them.
//!
//! `cards` says what stands on the rescue card of a position; `compose`, `urgent`, `ladder` and `sketch` take it from a plan.
//! `layout` breaks cards into pages, with `pieces` and `margins` for what stands on them, `map` for the sketch and `face` to
//! measure; `pdf` and `html` write those pages. `readiness` writes how quickly a crew could rescue from each place of the
//! site: `places` says what of each, `plots` draws it, `colours` is its style. `learning` writes what drills have shown, with
//! `learning_plots` for its pictures. `drawing` is a picture for browsers and paper alike, `timeline` an
//! incident drawn so, with `timeline_rows` for its tracks, `timeline_signs` for bars and signs and `timeline_key` for what
//! explains them. `record_table` and `activity` write the record of an incident for spreadsheets and for the log that outside
//! help knows; `reminders` says which reports the law may ask for. `incident` makes the report on one, a `document` that
//! `document_html` and `document_pdf` write. Everything printed comes from `words`. Knows no disk and no clock, so the same
//! plan gives the same bytes.

pub mod activity;
pub mod cards;
mod colours;
mod compose;
pub mod document;
pub mod document_html;
mod document_lines;
mod document_pages;
pub mod document_pdf;
mod document_rows;
mod document_sheet;
mod document_tags;
pub mod drawing;
pub mod face;
pub mod html;
pub mod incident;
mod incident_account;
pub mod incident_proof;
mod incident_record;
mod ladder;
mod layout;
pub mod learning;
mod learning_plots;
mod map;
mod margins;
pub mod pdf;
mod pieces;
mod places;
mod plots;
pub mod readiness;
pub mod record_table;
pub mod reminders;
mod sketch;
pub mod timeline;
mod timeline_key;
mod timeline_rows;
mod timeline_signs;
mod urgent;

pub use sketch::kind_of_way;

/// A size of paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 by 297 mm, ISO 216.
    #[default]
    A4,
    /// 8.5 by 11 in.
    Letter,
}

impl Paper {
    /// Width and height in points, 72 to the inch.
    pub fn points(self) -> (f32, f32) {
        match self {
            Paper::A4 => (595.28, 841.89),
            Paper::Letter => (612.0, 792.0),
        }
    }

    /// As style sheets and people name it.
    pub fn name(self) -> &'static str {
        match self {
            Paper::A4 => "A4",
            Paper::Letter => "letter",
        }
    }
}
