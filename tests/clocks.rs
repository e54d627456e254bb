//! Shows that the program's clock is the one that goes on in suspend, by shifting that clock alone for a child process.

use groundward::clock::Clock;
use std::process::Command;

/// How far the child's boot clock is shifted.
const SHIFT_S: i64 = 100_000;
const CHILD: &str = "GROUNDWARD_CLOCK_CHILD";

/// Run by the test below in a process of its own; by itself it only checks that the clock can be read.
#[test]
fn the_clock_says_what_it_reads() {
    let moment = Clock::new().read();
    assert!(moment.boot_ms > 0 && !moment.boot_id.is_empty());
    if std::env::var_os(CHILD).is_some() {
        println!("boot_ms={} boot_id={}", moment.boot_ms, moment.boot_id);
    }
}

/// Needs root: a time namespace. The monotonic clock is not shifted, so a program that used it would see nothing.
#[test]
fn a_shifted_boot_clock_is_seen() {
    if !crate::faults::root::runs("clocks::a_shifted_boot_clock_is_seen") {
        return;
    }
    let own = std::env::current_exe().expect("a test has a program");
    let child = Command::new("unshare")
        .args(["-r", "-T", "--boottime", &SHIFT_S.to_string()])
        .arg(own)
        .args([
            "--exact",
            "clocks::the_clock_says_what_it_reads",
            "--nocapture",
        ])
        .env(CHILD, "1")
        .output();
    let before = Clock::new().read();
    let output = match child {
        Ok(output) if output.status.success() => {
            String::from_utf8_lossy(&output.stdout).into_owned()
        }
        other => panic!("root can make a time namespace: {other:?}"),
    };
    let value = |name: &str| {
        let from = output.find(name).expect("the child says it") + name.len();
        output[from..]
            .split_whitespace()
            .next()
            .unwrap_or_default()
            .to_owned()
    };
    let shifted: i64 = value("boot_ms=").parse().expect("a number");
    let apart = shifted - before.boot_ms;
    assert!(
        (SHIFT_S * 1_000 - 60_000..=SHIFT_S * 1_000).contains(&apart),
        "the child is {apart} ms ahead"
    );
    assert_eq!(
        value("boot_id="),
        *before.boot_id,
        "the boot id is the machine's"
    );
}
