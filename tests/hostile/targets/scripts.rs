//! Takes scripts of rehearsals, and touches what they say on two tablets: one on standby, one in the middle of a rescue.

use super::records::rescue;
use groundward::cli::script::{parse, touch};
use groundward::incident::Facts;
use groundward::units::Millis;

/// A script.
pub(super) fn script(bytes: &[u8]) {
    let Ok(text) = str::from_utf8(bytes) else {
        return;
    };
    match parse(text) {
        Err(mistakes) => assert!(!mistakes.is_empty() && mistakes.iter().all(|it| !it.is_empty())),
        Ok(lines) => {
            assert!(lines.windows(2).all(|pair| pair[0].at <= pair[1].at));
            for line in lines {
                for facts in [&Facts::default(), &rescue().facts] {
                    for at in [line.at, Millis(i64::MIN), Millis(i64::MAX)] {
                        let _ = touch(&line.action, facts, at);
                    }
                }
            }
        }
    }
}
