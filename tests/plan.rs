//! Tries the plan reader from outside: quantities, every kind of finding, noise, the built-in plans, the `check` command.
//!
//! Findings are tried on one small plan that has none: a case changes one thing in it and says what must be found, and
//! where. Everything random is a property with a seed that is printed when it fails.

mod builtin;
mod command;
mod findings;
mod noise;
mod quantities;
