//! Chooses the plan to work with: the one asked for, else the last that was fit, else the generic one.

use crate::incident::PlanStanding;
use crate::plan::Level;
use crate::signal::{LoadedPlan, PlanInUse};
use chrono::NaiveDate;
use sha2::{Digest, Sha256};
use std::sync::Arc;

impl LoadedPlan {
    /// Takes the plan asked for if it fits, else the last one that did, else the generic one. Never fails.
    pub fn choose(
        asked: Option<(&str, &[u8])>,
        last_fit: Option<(&str, &[u8])>,
        trouble: Option<String>,
        today: NaiveDate,
    ) -> LoadedPlan {
        let mut refused = trouble;
        if let Some((name, bytes)) = asked {
            match Self::fit(name, bytes, PlanStanding::Fit, today) {
                Ok(plan) => return plan,
                Err(why) => refused = Some(why),
            }
        }
        let last = last_fit
            .and_then(|(name, bytes)| Self::fit(name, bytes, PlanStanding::LastFit, today).ok());
        let mut plan = last.unwrap_or_else(|| LoadedPlan {
            in_use: PlanInUse {
                plan: Arc::new(crate::plan::bare().clone()),
                name: "generic".to_owned(),
                standing: PlanStanding::None,
                refused: None,
                found: [0; 2],
                drawings: Arc::default(),
            },
            text: crate::plan::BARE.to_owned(),
            sha: hex(&Sha256::digest(crate::plan::BARE.as_bytes())),
        });
        plan.in_use.refused = refused;
        plan
    }

    fn fit(
        name: &str,
        bytes: &[u8],
        standing: PlanStanding,
        today: NaiveDate,
    ) -> Result<LoadedPlan, String> {
        let reading = crate::plan::read_on(name, bytes, today);
        match (reading.plan, std::str::from_utf8(bytes)) {
            (Some(plan), Ok(text)) => {
                let found = [Level::Warning, Level::Notice].map(|level| {
                    let of_level = reading.findings.iter().filter(|it| it.level == level);
                    of_level.count()
                });
                Ok(LoadedPlan {
                    in_use: PlanInUse {
                        plan: Arc::new(plan),
                        name: name.to_owned(),
                        standing,
                        refused: None,
                        found,
                        drawings: Arc::default(),
                    },
                    text: text.to_owned(),
                    sha: hex(&Sha256::digest(text.as_bytes())),
                })
            }
            _ => {
                let first = reading.findings.iter().find(|f| f.level == Level::Error);
                Err(first.map_or_else(
                    || format!("{name} is not readable"),
                    |f| format!("{name} line {}: {}", f.line, f.message),
                ))
            }
        }
    }
}

/// Hex digits of some bytes.
fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}
