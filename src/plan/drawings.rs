//! Judges the drawings of a plan: each a PNG file beside it, put right by two corners, one for a level.
//!
//! The files themselves are read elsewhere. Nothing here is an error, because every sketch works without its drawing.

use std::collections::{BTreeMap, BTreeSet};

use super::check::Judge;
use super::findings::Kind;

/// Adds what is wrong with the drawings.
pub(super) fn check(judge: &Judge<'_>) {
    let plan = judge.plan;
    let levels: BTreeSet<&str> = plan.places.iter().map(|it| it.level.as_str()).collect();
    let mut drawn: BTreeMap<&str, &str> = BTreeMap::new();
    for drawing in &plan.drawings {
        let at = format!("drawing.{}", drawing.id);
        // A table with an error of its own is not judged on what that hides.
        if !judge.gathered.sound(&at) {
            continue;
        }
        if !drawing.is_beside() {
            let message = format!(
                "{at} names `{}`, which is no PNG file beside the plan",
                drawing.file
            );
            let help = "put the PNG file into the folder of the plan, and write its name alone";
            judge.add(Kind::DrawingFile, &format!("{at}.file"), message, help);
        }
        let help = "give where its lower left and its upper right corner are, east and north";
        match (drawing.south_west, drawing.north_east) {
            (Some(low), Some(high)) if low[0] < high[0] && low[1] < high[1] => {}
            (Some(_), Some(_)) => {
                let message = format!("`north_east` of {at} is not north-east of `south_west`");
                judge.add(
                    Kind::DrawingCorners,
                    &format!("{at}.north_east"),
                    message,
                    help,
                );
            }
            _ => {
                let message = format!("{at} does not say where its corners are");
                judge.add(Kind::DrawingCorners, &at, message, help);
            }
        }
        if !levels.contains(drawing.level.as_str()) && judge.gathered.sound("place") {
            let message = format!("{at} shows level {}, which no place has", drawing.level);
            let help = "write the level as its places have it";
            judge.add(Kind::DrawingLevel, &format!("{at}.level"), message, help);
        }
        if let Some(first) = drawn.get(drawing.level.as_str()) {
            let message = format!("{at} and drawing.{first} show the same level");
            judge.add_beside(
                Kind::DrawingTwice,
                &format!("{at}.level"),
                message,
                "keep one of the two; the first is used",
                (
                    &format!("drawing.{first}.level"),
                    format!("drawing.{first} shows it"),
                ),
            );
        } else {
            drawn.insert(&drawing.level, &drawing.id);
        }
    }
}
