//! Tries the plan reader from outside: quantities, every kind of finding, noise, the built-in plans, the `check` command.
//!
//! Findings are tried on one small plan that has none: a case changes one thing in it and says what must be found, and
//! where. Everything random is a property with a seed that is printed when it fails.

mod builtin;
mod by_values;
mod command;
mod diffs;
mod edits;
mod findings;
mod noise;
mod published;
mod quantities;
mod schema;
mod single_edits;
mod slips;
mod worst;
