//! Opens the tablet's screen: wires the engine to its edges and hands the main thread to the screen.

use super::drawings;
use super::plans::{Named, OptionalPlan};
use super::{DataFolder, LAST_FIT, say_error};
use crate::awake::Awake;
use crate::clock::Clock;
use crate::compute::Compute;
use crate::drill::SCENARIO_BYTES_MAX;
use crate::engine::{self, Edges, Engine};
use crate::history::{Handle, records};
use crate::incident::{Moment, PlanApproval, PlanStanding, Record};
use crate::journal::approvals;
use crate::journal::disk::{RealDisk, replace};
use crate::journal::left_open;
use crate::journal::lock::{DataLock, LockRefused};
use crate::journal::read;
use crate::journal::thread::JournalThread;
use crate::kiosk;
use crate::settings::{Keeper, Order};
use crate::signal::{
    Effect, INPUTS_MAX, Input, JournalReport, LoadedPlan, Saved, ScenarioFile, Slot, Snapshot,
};
use crate::sound::Player;
use crate::store::probe::Prober;
use crate::words::{Language, date_and_time};
use chrono::NaiveDate;
use clap::Args;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::mpsc::{Receiver, Sender, channel};

/// How to open the screen.
#[derive(Clone, Debug, Args)]
pub(super) struct Options {
    #[command(flatten)]
    plan: OptionalPlan,
    #[command(flatten)]
    data: DataFolder,
    /// Every incident begun is a drill and says so on every screen.
    #[arg(long)]
    drill: bool,
    /// Full screen, without a frame.
    #[arg(long)]
    kiosk: bool,
    /// Diagonal of the screen in inches, from which sizes in millimetres follow.
    #[arg(long, value_name = "INCHES", default_value_t = 10.1, value_parser = inches)]
    inches: f32,
    /// Size of the window in pixels, as WIDTHxHEIGHT, when not full screen.
    #[arg(long, value_name = "SIZE", default_value = "1280x800", value_parser = size)]
    size: (u32, u32),
    /// Print a line to standard output whenever more of the record is durable: `saved INCIDENT SEQ`.
    #[arg(long)]
    announce: bool,
}

fn inches(text: &str) -> Result<f32, String> {
    match text.parse::<f32>() {
        Ok(inches) if (5.0..=60.0).contains(&inches) => Ok(inches),
        _ => Err("give the diagonal as inches between 5 and 60, such as 10.1".to_owned()),
    }
}

fn size(text: &str) -> Result<(u32, u32), String> {
    let sides = text
        .split_once('x')
        .and_then(|(w, h)| Some((w.parse().ok()?, h.parse().ok()?)));
    match sides {
        Some((w, h)) if (480..=8_000).contains(&w) && (480..=8_000).contains(&h) => Ok((w, h)),
        _ => Err(
            "give the size as WIDTHxHEIGHT in pixels between 480 and 8000, such as 1280x800"
                .to_owned(),
        ),
    }
}

/// At most this many of the newest incidents are looked at for one that is still running.
const RUNNING_LOOKED_AT_MAX: usize = 20;

pub(super) fn run(options: &Options) -> u8 {
    let clock = Clock::new();
    let folder = options.data.folder();
    // Before anything is begun, because on a machine without a font this starts the program anew with ours.
    if let Err(error) = kiosk::ensure_font(&folder) {
        say_error(&format!(
            "no font is installed and ours cannot be written to {}: {error}",
            folder.display()
        ));
        return 2;
    }
    let mut locks = Vec::new();
    for own in options.data.own(&folder) {
        match DataLock::take(own) {
            Ok(lock) => locks.push(lock),
            Err(why @ LockRefused::InUse(_)) => {
                say_error(&why.to_string());
                return 2;
            }
            // Activation always works: without a folder the record stays in memory, and the screen says that it is not
            // saved.
            Err(why @ LockRefused::Failed(..)) => say_error(&why.to_string()),
        }
    }
    super::proof::prepare_key(&folder);
    note_faults(folder.join(FAULTS), clock.clone());
    let (sender, inputs) = channel(INPUTS_MAX);
    let slot = Arc::new(Slot::default());
    let start = Start {
        folder,
        options: options.clone(),
        clock: clock.clone(),
        slot: slot.clone(),
        sender: sender.clone(),
    };
    let engine_thread = std::thread::Builder::new()
        .name("engine".to_owned())
        .spawn(move || drive(start, inputs));
    let engine_thread = match engine_thread {
        Ok(thread) => thread,
        Err(error) => {
            say_error(&format!("the program cannot start a thread: {error}"));
            return 2;
        }
    };
    let window = kiosk::Window {
        full_screen: options.kiosk,
        inches: options.inches,
        size: options.size,
    };
    let shown = kiosk::run(window, slot, move || clock.read(), &sender);
    // The engine empties the journal's queue before it ends, so nothing that happened is lost by closing the window.
    let _ = sender.blocking_send(Input::Stop);
    let ended = engine_thread.join();
    match (shown, ended) {
        (Err(why), _) => {
            let why = why.to_string();
            let why = why.lines().next().unwrap_or_default().trim_end_matches('.');
            say_error(&format!(
                "there is no screen to open ({why}); `groundward check`, `groundward log` and \
                 `groundward rehearse` work without one"
            ));
            2
        }
        (Ok(()), Err(_)) => {
            say_error("the engine ended early; the record holds everything up to then");
            1
        }
        (Ok(()), Ok(())) => 0,
    }
}

/// Where faults inside the program are written down, and how much of that is kept.
const FAULTS: &str = "faults.txt";
const FAULTS_BYTES_MAX: u64 = 256 * 1024;

/// Writes down what panics, for whoever maintains this program: the rescue goes on, and nobody reads a terminal meanwhile.
fn note_faults(path: PathBuf, clock: Clock) {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        usual(panic);
        let thread = std::thread::current();
        let now = clock.read();
        let note = format!(
            "{} version {} thread {}: {panic}\n",
            date_and_time(now.wall_ms, now.offset_min),
            env!("CARGO_PKG_VERSION"),
            thread.name().unwrap_or("without a name"),
        );
        let is_full = std::fs::metadata(&path).is_ok_and(|file| file.len() > FAULTS_BYTES_MAX);
        let file = std::fs::OpenOptions::new()
            .create(true)
            .append(!is_full)
            .write(true)
            .truncate(is_full)
            .open(&path);
        // Where nothing can be written there is no better place to say so.
        let _ = file.and_then(|mut file| file.write_all(note.as_bytes()));
    }));
}

/// Chooses the plan, and keeps it for the day when the next one is refused.
fn load_plan(argument: &OptionalPlan, folder: &Path, today: NaiveDate) -> LoadedPlan {
    let last: Option<Named> = std::fs::read(folder.join(LAST_FIT))
        .ok()
        .map(|bytes| (LAST_FIT.to_owned(), bytes));
    let (asked, trouble) = match argument.bytes() {
        Ok(asked) => (asked, None),
        Err(why) => (None, Some(why)),
    };
    fn named(plan: &Option<Named>) -> Option<(&str, &[u8])> {
        plan.as_ref()
            .map(|(name, bytes)| (name.as_str(), bytes.as_slice()))
    }
    let mut plan = LoadedPlan::choose(named(&asked), named(&last), trouble, today);
    if plan.in_use.standing == PlanStanding::Fit {
        let drawings = drawings::read(&plan.in_use.plan, argument.folder());
        for (file, why) in &drawings.trouble {
            say_error(&format!("{file} is left out of the sketch: {why}"));
        }
        plan.in_use.drawings = Arc::new(drawings);
    }
    match plan.in_use.standing {
        // The same plan again is the rule, and the first frame waits for no disk then.
        PlanStanding::Fit => {
            let kept = last.is_some_and(|(_, bytes)| bytes == plan.text.as_bytes());
            if !kept {
                keep_plan(folder, &plan.text);
            }
        }
        // Asked for nothing and found the last one: that is the plan, not a stopgap.
        PlanStanding::LastFit if plan.in_use.refused.is_none() => {
            plan.in_use.standing = PlanStanding::Fit
        }
        PlanStanding::LastFit | PlanStanding::None => {}
    }
    plan
}

/// Keeps a plan on a thread of its own, because an activation waits for no disk, however long it takes to answer.
fn keep_plan(folder: &Path, text: &str) {
    // Two that are kept at once would write the same file.
    static KEEPING: Mutex<()> = Mutex::new(());
    let cannot = {
        let folder = folder.display().to_string();
        move |error| {
            say_error(&format!(
                "the plan cannot be kept for later in {folder}: {error}"
            ));
        }
    };
    let (path, text, say) = (folder.join(LAST_FIT), text.to_owned(), cannot.clone());
    let keep = move || {
        let _alone = KEEPING.lock().unwrap_or_else(PoisonError::into_inner);
        if let Err(error) = replace(&path, text.as_bytes()) {
            say(error);
        }
    };
    if let Err(error) = std::thread::Builder::new()
        .name("plan".to_owned())
        .spawn(keep)
    {
        cannot(error);
    }
}

/// What the journals hold at the start.
#[derive(Default)]
struct Found {
    /// The latest incident that was not stood down, with its records.
    running: Option<(String, Vec<Record>)>,
    /// Incidents that were stood down and whose file was not cut to its length any more.
    uncut: Vec<String>,
}

fn find(folders: &[PathBuf], now: &Moment) -> Found {
    let mut found = Found::default();
    let incidents = read::list(&RealDisk, folders).unwrap_or_default();
    // A dead clock gives a name as old as 1970, so the newest names are not all: what was left open is looked at as well.
    let open = left_open(folders);
    let newest = incidents.iter().rev().take(RUNNING_LOOKED_AT_MAX);
    let older = incidents.iter().rev().skip(RUNNING_LOOKED_AT_MAX);
    for id in newest.chain(older.filter(|it| open.contains(*it))) {
        let Ok(readback) = read::read(&RealDisk, folders, id) else {
            continue;
        };
        let over = readback.records.iter().any(|r| r.kind == "stood-down");
        let records = records(&readback);
        if over && !readback.closed && readback.problems.is_empty() {
            found.uncut.push(id.clone());
            continue;
        }
        let before = found.running.as_ref().and_then(|it| it.1.last());
        if !over && lateness(records.last(), now) > lateness(before, now) {
            found.running = Some((id.clone(), records));
        }
    }
    found
}

/// How late a record is: what was written since the machine started is the latest, whatever a wall clock says.
fn lateness(record: Option<&Record>, now: &Moment) -> Option<(bool, i64)> {
    record.map(|it| match it.now.boot_id == now.boot_id {
        true => (true, it.now.boot_ms),
        false => (false, it.now.wall_ms),
    })
}

/// Everything the engine's thread begins with.
struct Start {
    options: Options,
    folder: PathBuf,
    clock: Clock,
    slot: Arc<Slot>,
    sender: Sender<Input>,
}

fn drive(start: Start, inputs: Receiver<Input>) {
    let Start {
        options,
        folder,
        clock,
        slot,
        sender,
    } = start;
    // Read here and not before the window is asked for, so that the first frame waits for neither.
    let folders = options.data.journals(&folder);
    let plan = load_plan(&options.plan, &folder, clock.read().day());
    let found = find(&folders, &clock.read());
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_time()
        .max_blocking_threads(4)
        .build();
    let runtime = match runtime {
        Ok(runtime) => runtime,
        Err(error) => return say_error(&format!("the program cannot start its timers: {error}")),
    };
    // A report that finds the engine gone has nobody left to tell.
    let report = |to: Sender<Input>| move |input| drop(to.blocking_send(input));
    let history = Handle::default();
    let keeper = Keeper::start(
        &folder.join("store"),
        folders.clone(),
        Prober::new(std::env::current_exe().ok()),
        history.clone(),
        report(sender.clone()),
    )
    .ok();
    let journal_report = report(sender.clone());
    let copy = keeper.as_ref().map(Keeper::teller);
    let journal = match JournalThread::spawn(folders.clone(), move |said, lines| {
        if let Some(copy) = &copy {
            copied(copy, &said, lines);
        }
        journal_report(Input::Journal(said));
    }) {
        Ok(journal) => journal,
        Err(error) => return say_error(&format!("the journal cannot start its thread: {error}")),
    };
    let sound_report = report(sender.clone());
    let player = Player::start(move |ready| sound_report(Input::Sound(ready)));
    let compute = Compute::new(runtime.handle().clone(), sender, folders, history);
    for incident in found.uncut {
        journal.resume(&incident);
        journal.close();
    }
    let (engine, first) = match found.running {
        Some((incident, records)) => {
            journal.resume(&incident);
            Engine::resume(
                plan,
                options.drill,
                records,
                &clock.read(),
                clock.since_start_ms(),
            )
        }
        None => (Engine::new(plan, options.drill), Vec::new()),
    };
    let language = engine.snapshot(&clock.read()).settings.language;
    let kept_at = folder.clone();
    compute.answer(move || Some(Input::Approvals(kept(approvals::read(&kept_at)))));
    let mut edges = Tablet {
        folder,
        plan: options.plan,
        clock: clock.clone(),
        journal,
        player,
        keeper,
        compute,
        language,
        awake: Awake::default(),
        announce: options.announce,
        announced: None,
    };
    runtime.block_on(engine::run(
        engine,
        first,
        inputs,
        &slot,
        || clock.read(),
        &mut edges,
    ));
}

/// Hands on what has become durable, so that the store has it too.
pub(super) fn copied(tell: impl Fn(Order), said: &JournalReport, lines: Vec<String>) {
    match said {
        JournalReport::Saved { incident, .. } => tell(Order::Copy {
            incident: incident.clone(),
            lines,
        }),
        JournalReport::Closed { incident, .. } => tell(Order::Closed {
            incident: incident.clone(),
        }),
        JournalReport::Failing { .. } | JournalReport::NotAdded { .. } => {}
    }
}

/// Where trainers put their scenarios, below the data folder.
const SCENARIOS: &str = "scenarios";
/// So many of them are offered, in the order of their names.
const SCENARIOS_MAX: usize = 60;

/// The scenario files of this tablet. No folder is no fault: most tablets have none.
fn scenario_files(folder: &Path) -> Vec<ScenarioFile> {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    let paths = entries.filter_map(|it| Some(it.ok()?.path()));
    let mut paths: Vec<PathBuf> = paths
        .filter(|it| it.extension().is_some_and(|it| it == "toml"))
        .collect();
    paths.sort();
    paths.truncate(SCENARIOS_MAX);
    let read = |path: PathBuf| ScenarioFile {
        name: path
            .file_name()
            .map_or_else(String::new, |it| it.to_string_lossy().into_owned()),
        // One byte more than may be there shows that it is too large.
        bytes: std::fs::File::open(&path)
            .and_then(|file| {
                let mut bytes = Vec::new();
                let most = SCENARIO_BYTES_MAX as u64 + 1;
                file.take(most).read_to_end(&mut bytes).map(|_| bytes)
            })
            .map_err(|error| error.to_string()),
    };
    paths.into_iter().map(read).collect()
}

/// What the screen is told of the approvals.
fn kept(approvals: std::io::Result<approvals::Approvals>) -> Result<Vec<PlanApproval>, String> {
    let approvals = approvals.map_err(|error| error.to_string())?;
    match approvals.broken_line {
        Some(line) => Err(format!("approvals.jsonl is damaged at line {line}")),
        None => Ok(approvals.all),
    }
}

/// The edges of a tablet.
struct Tablet {
    folder: PathBuf,
    plan: OptionalPlan,
    clock: Clock,
    journal: JournalThread,
    player: Player,
    keeper: Option<Keeper>,
    compute: Compute,
    language: Language,
    awake: Awake,
    announce: bool,
    announced: Option<(String, u64)>,
}

impl Edges for Tablet {
    fn carry_out(&mut self, effect: Effect) {
        match effect {
            Effect::Open { incident } => {
                self.compute.stop_looking_ahead();
                self.journal.open(&incident);
            }
            Effect::Append(entries) => self.journal.append(entries),
            Effect::Close => self.journal.close(),
            Effect::Forecast { basis, plan } => self.compute.forecast(basis, plan),
            Effect::Standings { conditions, plan } => self.compute.standings(conditions, plan),
            Effect::WhatIfs { conditions, plan } => self.compute.what_ifs(conditions, plan),
            Effect::StopWhatIfs => self.compute.stop_what_ifs(),
            Effect::Play(cue) => self.player.play(cue),
            Effect::Silence => self.player.silence(),
            Effect::Louder(louder) => self.player.loud(louder),
            Effect::Drill(drill) => self.player.drill(drill),
            Effect::Keep(kept) => {
                self.language = kept.settings.language;
                if let Some(keeper) = &self.keeper {
                    keeper.tell(Order::Keep(Box::new(kept)));
                }
            }
            Effect::ReadLog => self.compute.log(self.language),
            Effect::FindLog(filter) => self.compute.find(*filter, self.language),
            Effect::ReadIncident { incident } => self.compute.incident(incident, self.language),
            Effect::ReadPlan => {
                let (plan, folder, clock) =
                    (self.plan.clone(), self.folder.clone(), self.clock.clone());
                self.compute.answer(move || {
                    let plan = load_plan(&plan, &folder, clock.read().day());
                    Some(Input::Plan(Box::new(plan)))
                });
            }
            Effect::Add(addition) => self.journal.add(addition),
            Effect::Learn { plan } => self.compute.learn(plan),
            Effect::ReadScenarios => {
                let folder = self.folder.join(SCENARIOS);
                self.compute
                    .answer(move || Some(Input::Scenarios(scenario_files(&folder))));
            }
            Effect::KeepApproval(approval) => {
                let folder = self.folder.clone();
                self.compute.answer(move || {
                    Some(Input::Approvals(kept(approvals::add(&folder, &approval))))
                });
            }
        }
    }

    fn published(&mut self, snapshot: &Snapshot, tell: bool) {
        self.awake.keep(snapshot.facts.is_open());
        if tell {
            kiosk::tell_screen();
        }
        if self.announce {
            announce(snapshot, &mut self.announced);
        }
    }
}

/// Prints what the saved mark on the screen says, whenever it says more than before.
pub(super) fn announce(snapshot: &Snapshot, announced: &mut Option<(String, u64)>) {
    let seq = match snapshot.saved {
        Saved::Yes(seq) | Saved::Saving(Some(seq)) => seq,
        Saved::Nothing | Saved::Saving(None) | Saved::Failing(_) => return,
    };
    let Some(opened) = &snapshot.facts.opened else {
        return;
    };
    let now = (opened.incident.to_string(), seq);
    if announced.as_ref() != Some(&now) {
        let mut out = std::io::stdout().lock();
        // Whoever listened has gone; the rescue does not mind.
        let _ = writeln!(out, "saved {} {}", now.0, now.1).and_then(|()| out.flush());
        *announced = Some(now);
    }
}
