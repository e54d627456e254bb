//! Puts the real program into real faults and asks each time: is anything lost that was called saved, and does the
//! rescue go on?
//!
//! Every test prints what it tried and how often. What needs root (mounts, loop devices, namespaces, stopping a thread)
//! is the group `root`. Moments are drawn from fresh seeds, which are printed; `GROUNDWARD_SEED` repeats one.

mod hand;
mod kills;
mod refused;
mod rehearsal;
pub(crate) mod root;
mod second;
mod shim;
mod slow;
mod syncs;

use crate::support::Chance;

/// How often something is tried: as often as the variable says, in an ordinary run as often as here.
pub(crate) fn times(variable: &str, ordinary: u64) -> u64 {
    let asked = std::env::var(variable).ok();
    asked.map_or(ordinary, |text| {
        text.parse()
            .unwrap_or_else(|_| panic!("{variable} is a number"))
    })
}

/// A seed nobody has tried yet, or the one that is to be tried again.
pub(crate) fn fresh(name: &str) -> Chance {
    let since = std::time::UNIX_EPOCH.elapsed().unwrap_or_default();
    let nanos = u64::try_from(since.as_nanos() & u128::from(u64::MAX)).expect("it was cut to fit");
    let seed = times("GROUNDWARD_SEED", nanos);
    println!("{name}: seed {seed}");
    Chance(seed)
}
