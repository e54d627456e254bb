//! Tries what is told of an incident afterwards, from outside: its story, its measures, and that both hold for every journal.

mod journals;
mod measures;
mod narrative;
mod sound;
