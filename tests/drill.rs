//! Tries drills from outside: scenarios and table-top, results and debrief, learning; a module each.

mod calibrate;
mod debrief;
mod due;
mod learn;
mod live;
mod marked;
pub(crate) mod played;
mod plots;
mod recovered;
mod result;
mod scenario;
mod slow;
mod statistics;
mod table_top;
