//! Finds the plan a command is about: a file, or the invented site that is built in.

use super::{Format, check, say_error};
use crate::plan;
use clap::Args;
use std::io::{IsTerminal, Read};
use std::path::{Path, PathBuf};

/// Which plan.
#[derive(Clone, Debug, Args)]
#[group(required = true, multiple = false)]
pub(super) struct PlanArgument {
    /// Plan file.
    #[arg(value_name = "PLAN")]
    file: Option<PathBuf>,
    /// Use the invented site that is built in.
    #[arg(long)]
    demo: bool,
}

/// Which plan, if any.
#[derive(Clone, Debug, Args)]
#[group(required = false, multiple = false)]
pub(super) struct OptionalPlan {
    /// Plan file; without one the last plan that was fit is used, and without that the generic steps.
    #[arg(value_name = "PLAN")]
    file: Option<PathBuf>,
    /// Use the invented site that is built in.
    #[arg(long)]
    demo: bool,
}

/// A plan's name and bytes.
pub(super) type Named = (String, Vec<u8>);

const DEMO_NAME: &str = "grain-terminal.toml";

impl PlanArgument {
    /// The plan, or a sentence why it cannot be read.
    pub(super) fn bytes(&self) -> Result<Named, String> {
        let optional = OptionalPlan {
            file: self.file.clone(),
            demo: self.demo,
        };
        optional
            .bytes()
            .and_then(|plan| plan.ok_or_else(|| "name a plan file, or use --demo".to_owned()))
    }
}

impl OptionalPlan {
    /// The plan if one was asked for, or a sentence why it cannot be read.
    pub(super) fn bytes(&self) -> Result<Option<Named>, String> {
        if self.demo {
            return Ok(Some((DEMO_NAME.to_owned(), plan::DEMO.as_bytes().to_vec())));
        }
        self.file.as_deref().map(read).transpose()
    }
}

/// Reads a plan file, and not more of it than a plan may have.
fn read(path: &Path) -> Result<Named, String> {
    let name = path
        .file_name()
        .unwrap_or(path.as_os_str())
        .to_string_lossy()
        .into_owned();
    let cannot = |error: std::io::Error| format!("{} cannot be read: {error}", path.display());
    let mut bytes = Vec::new();
    let most = u64::try_from(plan::BYTES_MAX)
        .unwrap_or(u64::MAX)
        .saturating_add(1);
    std::fs::File::open(path)
        .map_err(cannot)?
        .take(most)
        .read_to_end(&mut bytes)
        .map_err(cannot)?;
    Ok((name, bytes))
}

/// Says everything that is wrong with a plan.
pub(super) fn check(argument: &PlanArgument, format: Format) -> u8 {
    match argument.bytes() {
        Ok((name, bytes)) => {
            let out = std::io::stdout();
            let colour = out.is_terminal();
            check::check(&name, &bytes, format, colour, &mut out.lock())
        }
        Err(why) => {
            say_error(&why);
            2
        }
    }
}
