//! Takes what the store keeps over a restart, as JSON values: settings, the roll call, the shift, what sums an incident up.

use super::{day, small_plan};
use groundward::readiness::{
    Change, Clock, Conditions, Counted, Declare, Part, Reason, Scope, Shift, standings,
};
use groundward::review::Digest;
use groundward::signal::{RollCall, Settings};
use groundward::units::Speed;
use groundward::words::Language;
use serde_json::from_slice;

/// One value a line: whatever it can be read as, it is read as and used.
pub(super) fn kept(bytes: &[u8]) {
    for line in bytes.split(|byte| *byte == b'\n').take(8) {
        if let Ok(settings) = from_slice::<Settings>(line) {
            let _ = settings.language.next().tag();
            written_again(&settings);
        }
        if let Ok(digest) = from_slice::<Digest>(line) {
            let _ = (digest.place(Language::English), digest.hung());
            written_again(&digest);
        }
        if let Ok(roll_call) = from_slice::<RollCall>(line) {
            written_again(&roll_call);
        }
        if let Ok(shift) = from_slice::<Shift>(line) {
            written_again(&shift);
            used(shift);
        }
    }
}

fn written_again<T>(value: &T)
where
    T: serde::Serialize + serde::de::DeserializeOwned + PartialEq + std::fmt::Debug,
{
    let text = serde_json::to_string(value).expect("what was read can be written");
    let again: T = serde_json::from_str(&text).expect("what was written can be read");
    assert_eq!(&again, value);
}

fn used(mut shift: Shift) {
    let plan = small_plan();
    let present: Vec<String> = plan.responders.iter().map(|it| it.id.clone()).collect();
    let not_ready = ["edge".to_owned()];
    let scope = Scope {
        plan,
        present: &present,
        not_ready: &not_ready,
    };
    let day = day();
    let conditions = Conditions {
        wind: shift.wind_that_counts(),
        light: shift.light,
        lightning: shift.lightning == Some(true),
        gone: shift.gone(plan),
        workers: vec![(
            "edge".to_owned(),
            shift.workers(&plan.positions[0]).to_vec(),
        )],
        ..Conditions::everybody(plan, day)
    };
    let before = standings(plan, &Conditions::everybody(plan, day));
    let now = standings(plan, &conditions);
    shift.note(&before, &now);
    for wall_ms in [i64::MIN, 0, 1_780_000_000_000, i64::MAX] {
        let clock = Clock { wall_ms, day };
        for part in Part::ALL {
            let _ = shift.missing(part, scope, day);
        }
        let _ = shift.holds(wall_ms);
        for said in said() {
            let mut one = shift.clone();
            let changed = one.declare(said, scope, clock);
            assert_eq!(changed, one != shift);
        }
        shift.declare(Declare::Sign("ada".to_owned()), scope, clock);
    }
    let _ = (
        shift.needed(plan),
        shift.stations(plan),
        shift.is_counted("a", plan),
    );
}

fn said() -> Vec<Declare> {
    let id = |id: &str| id.to_owned();
    vec![
        Declare::Use(id("edge")),
        Declare::Permit(id("edge"), id("7")),
        Declare::Works(id("edge"), id("ben")),
        Declare::Watches(id("edge"), id("cay")),
        Declare::Wind(Speed(i64::MAX)),
        Declare::Gust(Speed(i64::MIN)),
        Declare::Holds(id("rope"), id("ada")),
        Declare::Count(Counted {
            station: id("a"),
            item: id("ladder"),
            count: u32::MAX,
        }),
        Declare::CountAll(id("a")),
        Declare::Heard(id("cay")),
        Declare::Visits(id("yard")),
        Declare::VisitorLeft(id("visitor-1")),
        Declare::Allow(id("edge"), id("ada"), Reason::OnItsWay),
        Declare::Changed(Change::Wind {
            speed: Speed(i64::MAX),
        }),
        Declare::Changed(Change::Left {
            responder: id("ben"),
        }),
        Declare::End,
    ]
}
