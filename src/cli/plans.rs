//! Finds the plan a command is about: a file, or the invented site that is built in.

use super::{Format, LAST_FIT, check, say_error};
use crate::clock::Clock;
use crate::plan;
use clap::{Args, ValueEnum};
use std::io::{IsTerminal, Read};
use std::path::{Path, PathBuf};

/// Which plan.
#[derive(Clone, Debug, Args)]
#[group(required = true, multiple = false)]
pub(super) struct PlanArgument {
    /// Plan file.
    #[arg(value_name = "PLAN")]
    file: Option<PathBuf>,
    /// Use an invented site that is built in.
    #[arg(long, value_enum, num_args = 0..=1, require_equals = true, value_name = "SITE", default_missing_value = "grain-terminal")]
    demo: Option<Demo>,
}

/// Which plan, if any.
#[derive(Clone, Debug, Args)]
#[group(required = false, multiple = false)]
pub(super) struct OptionalPlan {
    /// Plan file; without one the last plan that was fit is used, and without that the generic steps.
    #[arg(value_name = "PLAN")]
    file: Option<PathBuf>,
    /// Use an invented site that is built in.
    #[arg(long, value_enum, num_args = 0..=1, require_equals = true, value_name = "SITE", default_missing_value = "grain-terminal")]
    demo: Option<Demo>,
}

/// Which plan, where that of the tablet will do.
#[derive(Clone, Debug, Args)]
#[group(required = false, multiple = false)]
pub(super) struct KnownPlan {
    /// Plan file; without one the last plan that was fit on this tablet.
    #[arg(value_name = "PLAN")]
    file: Option<PathBuf>,
    /// Use an invented site that is built in.
    #[arg(long, value_enum, num_args = 0..=1, require_equals = true, value_name = "SITE", default_missing_value = "grain-terminal")]
    demo: Option<Demo>,
}

/// A plan's name and bytes.
pub(super) type Named = (String, Vec<u8>);

/// The invented sites that are built in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Demo {
    /// A grain terminal on a river.
    GrainTerminal,
    /// A bridge being repainted, with a boat.
    BridgeRepaint,
}

impl Demo {
    fn named(self) -> Named {
        let (name, text) = match self {
            Demo::GrainTerminal => ("grain-terminal.toml", plan::DEMO),
            Demo::BridgeRepaint => ("bridge-repaint.toml", plan::DEMO_BRIDGE),
        };
        (name.to_owned(), text.as_bytes().to_vec())
    }
}

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

impl KnownPlan {
    /// Its file, where it is one; `folder` is that of the tablet's data.
    pub(super) fn file(&self, folder: &Path) -> Option<PathBuf> {
        match (self.demo, &self.file) {
            (Some(_), _) => None,
            (None, Some(file)) => Some(file.clone()),
            (None, None) => Some(folder.join(LAST_FIT)),
        }
    }

    /// The plan, or a sentence why it cannot be read.
    pub(super) fn bytes(&self, folder: &Path) -> Result<Named, String> {
        match (self.demo, self.file(folder)) {
            (Some(demo), _) => Ok(demo.named()),
            (None, Some(file)) if self.file.is_some() || file.exists() => read(&file),
            (None, _) => Err(format!(
                "no plan was used yet with the record in {}; name a plan file, or use --demo",
                folder.display()
            )),
        }
    }

    /// The plan, or none where none was named and none was used yet.
    pub(super) fn known(&self, folder: &Path) -> Result<Option<Named>, String> {
        let unnamed = self.demo.is_none() && self.file.is_none();
        match self.file(folder).filter(|_| unnamed) {
            Some(file) if !file.exists() => Ok(None),
            _ => self.bytes(folder).map(Some),
        }
    }
}

impl OptionalPlan {
    /// The folder of the plan file, where it is one.
    pub(super) fn folder(&self) -> Option<&Path> {
        let folder = self.file.as_deref()?.parent()?;
        // A name alone is in the folder of the program.
        Some(if folder == Path::new("") {
            Path::new(".")
        } else {
            folder
        })
    }

    /// The plan if one was asked for, or a sentence why it cannot be read.
    pub(super) fn bytes(&self) -> Result<Option<Named>, String> {
        match self.demo {
            Some(demo) => Ok(Some(demo.named())),
            None => self.file.as_deref().map(read).transpose(),
        }
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
            let today = Clock::new().read().day();
            check::check(&name, &bytes, today, format, colour, &mut out.lock())
        }
        Err(why) => {
            say_error(&why);
            2
        }
    }
}
