//! Makes sure that the toolkit finds a font: it stops at start where the system has none, though ours is built in.
//!
//! Only on such a machine, our own fonts are written beside the record with a configuration that names their folder, and
//! the program starts itself anew with that configuration. It must be called before anything else is begun.

use std::ffi::OsStr;
use std::io;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The variable that names the configuration of fonts; where it is set, somebody has chosen already.
const VARIABLE: &str = "FONTCONFIG_FILE";
/// Folders of fonts are looked into this deep.
const DEPTH_MAX: usize = 5;

const FONTS: [(&str, &[u8]); 2] = [
    (
        "B612-Regular.otf",
        include_bytes!("../../ui/fonts/B612-Regular.otf"),
    ),
    (
        "B612-Bold.otf",
        include_bytes!("../../ui/fonts/B612-Bold.otf"),
    ),
];

/// Returns where a font can be found; else starts the program anew with our own below `folder`, and does not return.
///
/// # Errors
///
/// Where our fonts cannot be written or the program cannot be started anew.
pub fn ensure_font(folder: &Path) -> io::Result<()> {
    if std::env::var_os(VARIABLE).is_some()
        || font_folders().iter().any(|f| holds_font(f, DEPTH_MAX))
    {
        return Ok(());
    }
    let configuration = write(folder)?;
    let error = Command::new(std::env::current_exe()?)
        .args(std::env::args_os().skip(1))
        .env(VARIABLE, configuration)
        .exec();
    Err(error)
}

/// Writes our fonts and their configuration, and says where the latter is.
fn write(folder: &Path) -> io::Result<PathBuf> {
    let folder = std::path::absolute(folder)?.join("fonts");
    std::fs::create_dir_all(&folder)?;
    for (name, bytes) in FONTS {
        std::fs::write(folder.join(name), bytes)?;
    }
    let configuration = folder.join("fonts.conf");
    let escaped = folder
        .display()
        .to_string()
        .replace('&', "&amp;")
        .replace('<', "&lt;");
    let text = format!(
        "<?xml version=\"1.0\"?>\n<!DOCTYPE fontconfig SYSTEM \"fonts.dtd\">\n<fontconfig>\n\
         <dir>{escaped}</dir>\n<cachedir>{escaped}/cache</cachedir>\n</fontconfig>\n"
    );
    std::fs::write(&configuration, text)?;
    Ok(configuration)
}

fn font_folders() -> Vec<PathBuf> {
    let home = std::env::var_os("HOME").map(PathBuf::from);
    let data = std::env::var_os("XDG_DATA_HOME").map(PathBuf::from);
    let own = home
        .iter()
        .flat_map(|h| [h.join(".fonts"), h.join(".local/share/fonts")]);
    let system = [
        "/usr/share/fonts",
        "/usr/local/share/fonts",
        "/usr/share/X11/fonts",
    ]
    .map(PathBuf::from);
    system
        .into_iter()
        .chain(own)
        .chain(data.map(|d| d.join("fonts")))
        .collect()
}

fn holds_font(folder: &Path, depth: usize) -> bool {
    let Ok(entries) = std::fs::read_dir(folder) else {
        return false;
    };
    entries.flatten().any(|entry| {
        let path = entry.path();
        match path.extension().and_then(OsStr::to_str) {
            Some("ttf" | "otf" | "ttc" | "TTF" | "OTF") => true,
            _ => depth > 0 && path.is_dir() && holds_font(&path, depth - 1),
        }
    })
}
