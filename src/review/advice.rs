//! Sets what was advised on the screen beside what the person in command did.

use super::account::Advice;
use super::read::Read;

/// Nothing is found so far.
pub(super) fn advice(_read: &Read) -> Vec<Advice> {
    Vec::new()
}
