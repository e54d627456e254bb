//! Fills the aftercare screen: how long it hung, how long ago that was, and the rest as on the rescue screen.

use super::rescue;
use super::sight::{Sight, digits};
use super::ui::Screen;
use super::view::View;
use crate::units::Millis;
use crate::words::{Id, clock};

pub(super) fn fill(view: &mut View, sight: Sight<'_>, off: Millis) {
    let (facts, at) = (sight.facts(), sight.at());
    view.screen = Screen::Aftercare;
    view.clock = digits(&clock(Millis(at.0.saturating_sub(off.0))));
    view.clock_caption = sight.label(Id::SinceThen);
    view.off_title = sight.label(Id::OffHarness).to_uppercase().into();
    let hung = clock(facts.hanging(at));
    view.off_sub = sight.with(
        if facts.at_least() {
            Id::HungAtLeast
        } else {
            Id::Hung
        },
        [&hung],
    );
    rescue::place(view, sight);
    rescue::shared(view, sight);
}
