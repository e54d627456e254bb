//! Asks others what they make of a page: the checker of HTML and CSS that browsers' makers use, one of accessibility, and a browser.
//!
//! `.ci/setup` puts the checkers into `.node` and installs Chromium, Java and a reader of codes. Where one of them is missing the
//! test fails, because a check that is skipped is none. The browser gets a folder of its own and asks the network for nothing.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use tempfile::TempDir;

/// What the browser shows a page in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Theme {
    Light,
    Dark,
}

fn package(path: &str) -> PathBuf {
    let found = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join(".node/node_modules")
        .join(path);
    assert!(found.is_file(), "{path} is in .node: run .ci/setup");
    found
}

pub(crate) fn output(command: &mut Command) -> Vec<u8> {
    let name = command.get_program().to_string_lossy().into_owned();
    let output = command
        .stderr(Stdio::null())
        .output()
        .unwrap_or_else(|_| panic!("{name} is installed for this check: run .ci/setup"));
    assert!(output.status.success(), "{name} failed");
    output.stdout
}

/// What the checker of HTML and CSS complains of.
pub(crate) fn complaints(pages: &[PathBuf]) -> Vec<String> {
    let said = output(
        Command::new("java")
            .arg("-jar")
            .arg(package("vnu-jar/build/dist/vnu.jar"))
            .args(["--format", "json", "--stdout", "--exit-zero-always"])
            .args(pages),
    );
    let said: Value = serde_json::from_slice(&said).expect("it answers in JSON");
    let messages = said["messages"].as_array().expect("it has messages");
    let told = messages.iter().map(|it| {
        let text = |name: &str| it[name].as_str().unwrap_or_default().to_owned();
        format!("{}: {} ({})", text("url"), text("message"), text("extract"))
    });
    // SVG 2, 13.8, has this property and browsers draw by it; the checker's list of CSS has not.
    told.filter(|it| !it.contains("Property “paint-order” doesn't exist"))
        .collect()
}

fn chromium(folder: &TempDir, theme: Theme) -> Command {
    let mut command = Command::new("chromium");
    let scheme = match theme {
        Theme::Light => "--blink-settings=preferredColorScheme=1",
        Theme::Dark => "--blink-settings=preferredColorScheme=0",
    };
    command.args([
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--disable-quic",
        "--no-first-run",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--hide-scrollbars",
        scheme,
    ]);
    command.arg(format!(
        "--user-data-dir={}",
        folder.path().join("user").display()
    ));
    command
}

fn fresh() -> TempDir {
    tempfile::tempdir().expect("there is room")
}

/// What the checker of accessibility finds against a page: rule and place. It runs in the page, in a copy without the policy
/// that would forbid it to.
pub(crate) fn barriers(html: &str, theme: Theme) -> Vec<String> {
    let checker = std::fs::read_to_string(package("axe-core/axe.min.js")).expect("it can be read");
    let (before, after) = html
        .split_once("<meta http-equiv=\"Content-Security-Policy\"")
        .expect("it has a policy");
    let (_, after) = after.split_once('>').expect("the policy ends");
    let run = "axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', 'wcag2aaa', 'wcag21a', \
               'wcag21aa', 'wcag22aa', 'best-practice']}).then(found => { const told = document.createElement('pre'); \
               told.id = 'found'; told.textContent = JSON.stringify({dark: matchMedia('(prefers-color-scheme: dark)').matches, \
               passes: found.passes.length, found: found.violations.flatMap(rule => rule.nodes.map(node => rule.id + ' at ' + \
               node.target.join(' ')))}); document.body.append(told); });";
    let page = format!("{before}{after}").replace(
        "</body>",
        &format!("<script>{checker}</script>\n<script>{run}</script>\n</body>"),
    );
    let folder = fresh();
    let file = folder.path().join("page.html");
    std::fs::write(&file, page).expect("there is room");
    let dumped = output(
        chromium(&folder, theme)
            .args(["--dump-dom", "--virtual-time-budget=120000"])
            .arg(&file),
    );
    let dumped = String::from_utf8_lossy(&dumped);
    let (_, told) = dumped
        .rsplit_once("<pre id=\"found\">")
        .expect("the checker came to its end");
    let (told, _) = told.split_once("</pre>").expect("its answer ends");
    let told = told
        .replace("&gt;", ">")
        .replace("&lt;", "<")
        .replace("&amp;", "&");
    let told: Value = serde_json::from_str(&told).expect("its answer is JSON");
    assert_eq!(
        told["dark"],
        theme == Theme::Dark,
        "the theme was not shown"
    );
    assert!(
        told["passes"].as_u64() > Some(20),
        "hardly anything was checked: {told}"
    );
    let found = told["found"].as_array().expect("it is a list");
    let found = found.iter().filter_map(Value::as_str);
    found.map(str::to_owned).collect()
}

/// A page as the browser prints it.
pub(crate) fn printed(html: &str, folder: &Path, name: &str) -> PathBuf {
    let own = fresh();
    let (page, pdf) = (own.path().join("page.html"), folder.join(name));
    std::fs::write(&page, html).expect("there is room");
    output(
        chromium(&own, Theme::Dark)
            .arg("--no-pdf-header-footer")
            .arg(format!("--print-to-pdf={}", pdf.display()))
            .arg(&page),
    );
    pdf
}

/// A section of a page as the browser shows it; the rest is left out, because it takes no picture of what it scrolled to.
pub(crate) fn shown(html: &str, anchor: &str, theme: Theme, folder: &Path) -> PathBuf {
    let own = fresh();
    let (page, png) = (own.path().join("page.html"), folder.join("shown.png"));
    let others = format!("section:not(#{anchor}){{display:none}}</style>");
    std::fs::write(&page, html.replacen("</style>", &others, 1)).expect("there is room");
    output(
        chromium(&own, theme)
            .arg("--window-size=1000,1200")
            .arg(format!("--screenshot={}", png.display()))
            .arg(&page),
    );
    png
}

/// What the codes in a picture say.
pub(crate) fn codes(picture: &Path) -> Vec<String> {
    let said = output(
        Command::new("zbarimg")
            .args(["--quiet", "--raw"])
            .arg(picture),
    );
    let said = String::from_utf8_lossy(&said);
    said.lines().map(str::to_owned).collect()
}

/// The pages of a PDF as pictures.
pub(crate) fn pictures(pdf: &Path, folder: &Path) -> Vec<PathBuf> {
    let stem = folder.join("page");
    output(
        Command::new("pdftoppm")
            .args(["-r", "120", "-png"])
            .arg(pdf)
            .arg(&stem),
    );
    let all = std::fs::read_dir(folder).expect("the folder is there");
    let mut all: Vec<PathBuf> = all
        .filter_map(Result::ok)
        .map(|it| it.path())
        .filter(|it| {
            let name = it.file_name().unwrap_or_default().to_string_lossy();
            name.starts_with("page") && name.ends_with(".png")
        })
        .collect();
    all.sort();
    all
}
