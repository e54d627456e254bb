//! Shows snapshots on the screen and turns touches into inputs. Decides nothing about a rescue.
//!
//! `standby`, `rescue`, `aftercare`, `log`, `readiness` and `shift` are named as their screens in `ui/screens/` and map a snapshot and the time
//! to what those screens show; `level` is the sketch of a level, with `chart` for what stands where, `canvas` for the room,
//! `way` for who is where by now and `drawn` for the drawing under it; `tasks`, `remarks` and `writing` are what is said after the end; `drop_line`, `sketch`, `pictures` and the sheets hold the parts that two of them share. All of that is pure. The
//! presenter pushes the result into the window, only where it differs from what stands there, because each difference is
//! drawn again. It keeps nothing but which sheet is open and which incident of the log is looked at.

// Where something stands on a screen is a float of a few thousands at most, and a cast of it holds at the ends of its range.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "coordinates of a screen, computed as floats and held in range"
)]

mod aftercare;
mod canvas;
mod casualty_sheets;
mod change_sheets;
mod chart;
mod crew_sheets;
mod drawn;
mod drill;
mod drill_scenario;
mod drop_line;
mod entry;
mod fonts;
mod learned;
mod level;
mod log;
mod method_sheets;
mod people;
mod pictures;
mod presenter;
mod radio_words;
mod readiness;
mod remarks;
mod rescue;
mod sheets;
mod shift;
mod shift_sheets;
mod sight;
mod sketch;
mod standby;
mod tablet_sheets;
mod tasks;
mod timeline;
mod view;
mod way;
mod window;
mod writing;

#[allow(
    missing_docs,
    unreachable_pub,
    clippy::all,
    clippy::todo,
    clippy::unimplemented,
    clippy::unwrap_used
)]
mod ui {
    slint::include_modules!();
}

pub use fonts::ensure_font;
pub use presenter::Presenter;
#[doc(hidden)]
pub use ui::{Actions, App, Labels, LevelRoom, Metrics, Screen, State, Theme, TimelineRoom};
pub use view::View;
pub use window::{Window, run, tell_screen};
