//! Writes scenarios as TOML, so that what a screen or the program made can be kept, changed and played again.
//!
//! What is written here reads back to the same scenario. Limits: comments of a file that was read are not kept.

use super::scenario::{Scenario, When, in_thousandths};
use crate::incident::Inject;
use crate::readiness::Light;
use crate::units::{Millis, Quantity, Speed};

fn in_minutes(time: Millis) -> String {
    let (minutes, seconds, rest) = (time.0 / 60_000, time.0 / 1_000 % 60, time.0 % 1_000);
    match rest {
        0 => format!("\"{minutes}:{seconds:02}\""),
        rest => format!("\"{minutes}:{seconds:02}.{rest:03}\""),
    }
}

/// A text in quotes, with what TOML does not take in one escaped.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' | '\\' => out.extend(['\\', letter]),
            it if it.is_control() => out.push_str(&format!("\\u{:04X}", u32::from(it))),
            it => out.push(it),
        }
    }
    out + "\""
}

impl Scenario {
    /// The text of a file that reads back to the same scenario.
    pub fn to_toml(&self) -> String {
        let mut lines = vec![
            "format = 1".to_owned(),
            format!("name = {}", quoted(&self.name)),
            format!("position = {}", quoted(&self.position)),
        ];
        if let Some(time) = self.time {
            lines.push(format!("time = \"{:02}:{:02}\"", time / 60, time % 60));
        }
        if let Some(light) = self.light {
            let word = match light {
                Light::Day => "day",
                Light::Lit => "lit",
                Light::Dark => "dark",
            };
            lines.push(format!("light = \"{word}\""));
        }
        if let Some(wind) = self.wind {
            lines.push(format!("wind = \"{}\"", in_metres_a_second(wind)));
        }
        if let Some(crew) = &self.crew {
            let crew: Vec<String> = crew.iter().map(|it| quoted(it)).collect();
            lines.push(format!("crew = [{}]", crew.join(", ")));
        }
        if self.live {
            lines.push("hanging = \"live\"".to_owned());
        }
        if let Some(seed) = self.seed {
            lines.push(format!("seed = {seed}"));
        }
        for planned in &self.surprises {
            lines.extend([String::new(), "[[surprise]]".to_owned()]);
            lines.push(match planned.when {
                When::At(at) => format!("at = {}", in_minutes(at)),
                When::Between(from, to) => {
                    format!("between = [{}, {}]", in_minutes(from), in_minutes(to))
                }
            });
            lines.extend(written(&planned.inject));
        }
        lines.join("\n") + "\n"
    }
}

fn in_metres_a_second(speed: Speed) -> String {
    in_thousandths(Speed::from_base(speed.base().max(0)), "m/s")
}

fn written(inject: &Inject) -> Vec<String> {
    let what = |word: &str| format!("what = \"{word}\"");
    match inject {
        Inject::StopsAnswering {} => vec![what("stops-answering")],
        Inject::KitMissing { kit, station } => vec![
            what("kit-missing"),
            format!("kit = {}", quoted(kit)),
            format!("station = {}", quoted(station)),
        ],
        Inject::ResponderCannot { responder } => vec![
            what("responder-cannot"),
            format!("responder = {}", quoted(responder)),
        ],
        Inject::MethodFails { method } => {
            vec![what("method-fails"), format!("method = {}", quoted(method))]
        }
        Inject::SelfRescueFails {} => vec![what("self-rescue-fails")],
        Inject::Wind { speed } => vec![
            what("wind"),
            format!("speed = \"{}\"", in_metres_a_second(*speed)),
        ],
        Inject::RadioLost {} => vec![what("radio-lost")],
        Inject::AmbulanceDelayed { by } => {
            vec![
                what("ambulance-delayed"),
                format!("by = {}", in_minutes(*by)),
            ]
        }
        Inject::WrongGate {} => vec![what("wrong-gate")],
        Inject::SecondCasualty {} => vec![what("second-casualty")],
    }
}
