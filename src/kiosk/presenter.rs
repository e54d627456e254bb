//! Pushes what is to be shown into the window, and sends what is touched. Synchronous; lives on the screen's thread.

use super::canvas::Room;
use super::drawn::Shade;
use super::entry::Next;
use super::level::{self, Looking as LookingAt};
use super::readiness::{self, Looking};
use super::sight::Sight;
use super::timeline::{self, Turn};
use super::ui::Band;
use super::ui::{
    Actions, App, Ask, Choice, GainRow, Labels, LearnedRow, LevelMark, LevelRoom, LevelWord,
    LogItem, LogRow, Metrics, Notice, Person, PersonRow, SheetKind, SiteMark, SiteRow, Spot, State,
    Tick, TimeLayer, TimeWord, TimelineRoom, Tone,
};
use super::view::View;
use super::{
    aftercare, drill, learned, log, people, radio_words, rescue, sheets, shift, sketch, standby,
    tasks,
};
use crate::incident::{Act, Moment, Pick};
use crate::readiness::WhatIfs;
use crate::review::Filter;
use crate::signal::{Snapshot, Tap, Theme};
use crate::words::{Id, Language, Message, label};
use slint::{ComponentHandle, Global, Model, ModelRc, SharedString, VecModel};
use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;

/// A list on the screen that changes row by row, so that only the rows that differ are drawn again.
/// So many rows of a list may come or go one by one.
const ROWS_TOLD_MAX: usize = 64;

struct Rows<T>(Rc<VecModel<T>>);

impl<T: Clone + PartialEq + 'static> Rows<T> {
    fn new() -> (Rows<T>, ModelRc<T>) {
        let model = Rc::new(VecModel::default());
        (Rows(model.clone()), ModelRc::from(model))
    }

    fn set(&self, rows: &[T]) {
        // One telling for a long list that came or went, instead of one for each row of it.
        if self.0.row_count().abs_diff(rows.len()) > ROWS_TOLD_MAX {
            self.0.set_vec(rows.to_vec());
            return;
        }
        for (index, row) in rows.iter().enumerate() {
            match self.0.row_data(index) {
                Some(old) if old == *row => {}
                Some(_) => self.0.set_row_data(index, row.clone()),
                None => self.0.push(row.clone()),
            }
        }
        while self.0.row_count() > rows.len() {
            self.0.remove(self.0.row_count() - 1);
        }
    }
}

struct Lists {
    notices: Rows<Notice>,
    positions: Rows<Choice>,
    clock: Rows<SharedString>,
    until: Rows<SharedString>,
    ticks: Rows<Tick>,
    bands: Rows<Band>,
    footers: Rows<SharedString>,
    details: Rows<SharedString>,
    hash: Rows<SharedString>,
    options: Rows<Choice>,
    people: Rows<Person>,
    sheet_lines: Rows<SharedString>,
    sheet_choices: Rows<Choice>,
    page_people: Rows<PersonRow>,
    learned: Rows<LearnedRow>,
    log_items: Rows<LogItem>,
    log_rows: Rows<LogRow>,
    timeline_layers: Rows<TimeLayer>,
    timeline_words: Rows<TimeWord>,
    site_rows: Rows<SiteRow>,
    site_marks: Rows<SiteMark>,
    spots: Rows<Spot>,
    site_lines: Rows<SharedString>,
    level_marks: Rows<LevelMark>,
    level_words: Rows<LevelWord>,
    level_lines: Rows<SharedString>,
    gains: Rows<GainRow>,
    parts: Rows<Choice>,
    write_letters: Rows<SharedString>,
    write_signs: Rows<SharedString>,
}

/// The page that stands on the screen while nobody hangs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Page {
    #[default]
    Standby,
    Log,
    Readiness,
    Helping,
    Shift,
    Drill,
    Tasks,
    Learned,
    Timeline,
}

/// What the screen itself keeps.
#[derive(Default)]
struct Local {
    shown: Option<(Arc<Snapshot>, Moment, bool)>,
    sheet: SheetKind,
    /// What it is about, by id.
    about: Vec<String>,
    /// True while everybody must look at the prompt: danger, a change of command.
    gripped: bool,
    page: Page,
    looking: Looking,
    incident: Option<String>,
    seen: timeline::Seen,
    /// From which incident on the log is shown.
    log_first: usize,
    undo: Option<u64>,
    spoken: Option<(Language, bool)>,
    /// The room for the sketch of a level, as the screen has it.
    room: Room,
    /// The one for a timeline.
    time_room: Room,
    /// Which of its groups of tracks is on the screen.
    time_part: usize,
}

/// Shows snapshots in a window and sends touches.
pub struct Presenter {
    app: slint::Weak<App>,
    lists: Lists,
    local: RefCell<Local>,
    shade: RefCell<Shade>,
    send: Box<dyn Fn(Tap)>,
}

impl std::fmt::Debug for Presenter {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Presenter").finish_non_exhaustive()
    }
}

impl Presenter {
    /// Takes over a window: its lists, and everything that can be touched in it.
    pub fn new(app: &App, send: impl Fn(Tap) + 'static) -> Rc<Presenter> {
        let state = State::get(app);
        macro_rules! lists {
            ($($name:ident => $set:ident),* $(,)?) => {
                Lists { $($name: { let (rows, model) = Rows::new(); state.$set(model); rows }),* }
            };
        }
        let lists = lists! {
            notices => set_notices,
            positions => set_positions,
            clock => set_clock,
            until => set_until,
            ticks => set_ticks,
            bands => set_bands,
            footers => set_footers,
            details => set_details,
            hash => set_hash,
            options => set_options,
            people => set_people,
            sheet_lines => set_sheet_lines,
            sheet_choices => set_sheet_choices,
            page_people => set_page_people,
            learned => set_learned,
            log_items => set_log_items,
            log_rows => set_log_rows,
            timeline_layers => set_timeline_layers,
            timeline_words => set_timeline_words,
            site_rows => set_site_rows,
            site_marks => set_site_marks,
            spots => set_spots,
            site_lines => set_site_lines,
            level_marks => set_level_marks,
            level_words => set_level_words,
            level_lines => set_level_lines,
            gains => set_gains,
            parts => set_parts,
            write_letters => set_write_letters,
            write_signs => set_write_signs,
        };
        let presenter = Rc::new(Presenter {
            app: app.as_weak(),
            lists,
            local: RefCell::default(),
            shade: RefCell::default(),
            send: Box::new(send),
        });
        presenter.listen(app);
        presenter
    }

    /// Shows a snapshot as it is at a moment. `silent` says that the engine does not answer.
    pub fn show(&self, snapshot: &Arc<Snapshot>, now: &Moment, silent: bool) {
        let Some(app) = self.app.upgrade() else {
            return;
        };
        let view = {
            let mut local = self.local.borrow_mut();
            local.shown = Some((snapshot.clone(), now.clone(), silent));
            (local.room, local.time_room) = (level_room(&app), time_room(&app));
            let sight = Sight { snapshot, now };
            if snapshot.facts.opened.is_some() {
                local.page = Page::Standby;
                local.incident = None;
            }
            let facts = &snapshot.facts;
            let gripped = facts.danger.is_some() || facts.command.handing.is_some();
            if gripped && !local.gripped {
                local.sheet = SheetKind::None;
            }
            local.gripped = gripped;
            if !sheets::applies(local.sheet, sight) {
                local.sheet = SheetKind::None;
            }
            local.undo = snapshot.facts.undo_shown(sight.at()).map(|u| u.cause);
            let spoken = (sight.language(), snapshot.drill);
            if local.spoken != Some(spoken) {
                local.spoken = Some(spoken);
                speak(&Labels::get(&app), spoken.0, snapshot.drill);
            }
            let view = view(sight, &local, silent);
            local.time_part = view.timeline_part;
            view
        };
        self.push(&State::get(&app), &view);
        let room = self.local.borrow().room;
        let mut shade = self.shade.borrow_mut();
        if let Some(picture) = shade.of(
            &snapshot.plan.drawings,
            &view.level_picture,
            &room,
            app.window().scale_factor(),
        ) {
            State::get(&app).set_level_drawn(picture.is_some());
            State::get(&app).set_level_picture(picture.unwrap_or_default());
        }
    }

    /// Shows the same once more, after something that only the screen keeps has changed.
    fn again(&self) {
        let shown = self.local.borrow().shown.clone();
        if let Some((snapshot, now, silent)) = shown {
            self.show(&snapshot, &now, silent);
        }
    }

    fn push(&self, state: &State<'_>, view: &View) {
        let lists = &self.lists;
        // Lists first: a screen that comes up now finds them filled.
        lists.notices.set(&view.notices);
        lists.positions.set(&view.positions);
        lists.clock.set(&view.clock);
        lists.until.set(&view.until);
        lists.ticks.set(&view.ticks);
        lists.bands.set(&view.bands);
        lists.footers.set(&view.footers);
        lists.details.set(&view.details);
        lists.hash.set(&view.hash);
        lists.options.set(&view.options);
        lists.people.set(&view.people);
        lists.sheet_lines.set(&view.sheet_lines);
        lists.sheet_choices.set(&view.sheet_choices);
        lists.page_people.set(&view.page_people);
        lists.learned.set(&view.learned);
        lists.log_items.set(&view.log_items);
        lists.log_rows.set(&view.log_rows);
        lists.timeline_layers.set(&view.timeline_layers);
        lists.timeline_words.set(&view.timeline_words);
        lists.site_rows.set(&view.site_rows);
        lists.site_marks.set(&view.site_marks);
        lists.spots.set(&view.spots);
        lists.site_lines.set(&view.site_lines);
        lists.level_marks.set(&view.level_marks);
        lists.level_words.set(&view.level_words);
        lists.level_lines.set(&view.level_lines);
        lists.gains.set(&view.gains);
        lists.parts.set(&view.parts);
        lists.write_letters.set(&view.write_letters);
        lists.write_signs.set(&view.write_signs);

        state.set_dark(view.dark);
        state.set_drill(view.drill);
        state.set_danger(view.danger);
        state.set_flash(view.flash);
        state.set_notices_more(view.notices_more.clone());
        state.set_saved(view.saved.clone());
        state.set_site(view.site.clone());
        state.set_plan_line(view.plan_line.clone());
        state.set_plan_tone(view.plan_tone);
        state.set_command(view.command.clone());
        state.set_shift(view.shift.clone());
        state.set_plan(view.plan.clone());
        state.set_readiness(view.readiness.clone());
        state.set_change(view.change.clone());
        state.set_lost(view.lost.clone());
        state.set_page_title(view.page_title.clone());
        state.set_page_sub(view.page_sub.clone());
        state.set_page_tone(view.page_tone);
        state.set_site_ways(view.site_ways.clone());
        state.set_other_ways(view.other_ways.clone());
        state.set_level(view.level.clone());
        state.set_level_above(view.level_above);
        state.set_level_below(view.level_below);
        state.set_site_one(view.site_one.clone());
        state.set_level_map(view.level_map.clone());
        state.set_helping(view.helping);
        state.set_progress(view.progress);
        state.set_progress_text(view.progress_text.clone());
        state.set_help(view.help.clone());
        state.set_sign(view.sign.clone());
        state.set_clock_caption(view.clock_caption.clone());
        state.set_until_caption(view.until_caption.clone());
        state.set_place(view.place.clone());
        state.set_off_title(view.off_title.clone());
        state.set_off_sub(view.off_sub.clone());
        state.set_now_at(view.now_at);
        state.set_target(view.target.clone());
        state.set_off(view.off.clone());
        state.set_prompt(view.prompt.clone());
        state.set_kit(view.kit.clone());
        state.set_people_count(view.people_count.clone());
        state.set_words(view.words.clone());
        state.set_undo(view.undo.clone());
        state.set_undo_sub(view.undo_sub.clone());
        state.set_condition(view.condition.clone());
        state.set_call(view.call.clone());
        state.set_alarm(view.alarm.clone());
        state.set_ways(view.ways.clone());
        state.set_lead(view.lead.clone());
        state.set_crew(view.crew.clone());
        state.set_sheet(view.sheet.clone());
        state.set_log_first(view.log_first);
        state.set_log_count(view.log_count);
        state.set_log_note(view.log_note.clone());
        state.set_log_filter(view.log_filter.clone());
        state.set_log_title(view.log_title.clone());
        state.set_log_sub(view.log_sub.clone());
        state.set_log_timed(view.log_timed);
        state.set_timeline(view.timeline.clone());
        state.set_screen(view.screen);
    }

    fn listen(self: &Rc<Self>, app: &App) {
        let actions = Actions::get(app);
        macro_rules! on {
            ($set:ident, |$me:ident $(, $arg:ident)*| $body:expr) => {{
                let weak = Rc::downgrade(self);
                actions.$set(move |$($arg),*| {
                    if let Some($me) = weak.upgrade() {
                        $body
                    }
                });
            }};
        }
        on!(on_touched, |me| (me.send)(Tap::Touched));
        on!(on_ask, |me, what| me.ask(what));
        on!(on_activate, |me, position| {
            let position = (!position.is_empty()).then(|| position.to_string());
            me.local.borrow_mut().sheet = SheetKind::None;
            (me.send)(Tap::Activate { position });
        });
        on!(on_answer, |me, prompt| me.answer(prompt, Pick::Main));
        on!(on_second, |me, prompt| me.answer(prompt, Pick::Small));
        on!(on_apart, |me, prompt| me.answer(prompt, Pick::Other));
        on!(on_option, |me, prompt, id| {
            if let Ok(index) = id.parse() {
                me.answer(prompt, Pick::Option(index));
            }
        });
        on!(on_open, |me, kind| me.open(kind, Vec::new()));
        on!(on_choose, |me, kind, id| me.choose(kind, &id));
        on!(on_close, |me| me.up());
        on!(on_sketch, |me, who| me
            .open(SheetKind::Level, vec![who.to_string()]));
        on!(on_said, |me, id| {
            if let Some(act) = radio_words::act(&id) {
                (me.send)(Tap::Do(act));
            }
        });
        on!(on_key, |me, key| me.key(&key));
        on!(on_edited, |me| me.edited());
        on!(on_written, |me| me.written());
        on!(on_work_stopped, |me, position| {
            let position = position.to_string();
            (me.send)(Tap::WorkStopped { position });
        });
        on!(on_look_at, |me, position| {
            {
                let looking = &mut me.local.borrow_mut().looking;
                looking.position = Some(position.to_string());
                // The sketch shows where it is.
                looking.level = None;
            }
            me.again();
        });
        on!(on_log_show, |me, first| {
            me.local.borrow_mut().log_first = usize::try_from(first).unwrap_or(0);
            me.again();
        });
        on!(on_log_search, |me, text| me
            .find(|filter| filter.search(&text)));
        on!(on_log_open, |me, incident| {
            let incident = (!incident.is_empty()).then(|| incident.to_string());
            me.local.borrow_mut().incident.clone_from(&incident);
            if let Some(incident) = incident {
                (me.send)(Tap::ReadIncident { incident });
            }
            me.again();
        });
    }

    fn answer(&self, prompt: i32, pick: Pick) {
        if let Ok(prompt) = u64::try_from(prompt) {
            (self.send)(Tap::Answer { prompt, pick });
        }
    }

    fn ask(&self, what: Ask) {
        match what {
            Ask::Undo => {
                let cause = self.local.borrow().undo;
                if let Some(cause) = cause {
                    (self.send)(Tap::Undo { cause });
                }
            }
            Ask::Danger => (self.send)(Tap::Do(Act::Danger)),
            Ask::Lead => (self.send)(Tap::Do(Act::TakeCommand)),
            Ask::Log => self.read_log(),
            Ask::Standby => self.turn_to(Page::Standby),
            Ask::Readiness => self.turn_to(Page::Readiness),
            Ask::Shift => self.turn_to(Page::Shift),
            Ask::Drill => self.turn_to(Page::Drill),
            Ask::Tasks => self.turn_to(Page::Tasks),
            Ask::Timeline => {
                self.local.borrow_mut().seen = timeline::Seen::default();
                self.turn_to(Page::Timeline);
            }
            Ask::TimeCloser => self.look_along(Turn::Closer),
            Ask::TimeWider => self.look_along(Turn::Wider),
            Ask::TimeBefore => self.look_along(Turn::Before),
            Ask::TimeAfter => self.look_along(Turn::After),
            Ask::TimeTracks => self.look_along(Turn::Tracks),
            Ask::BeginDrill => {
                self.turn_to(Page::Standby);
                (self.send)(Tap::BeginDrill);
            }
            Ask::Real => (self.send)(Tap::Do(Act::Real)),
            Ask::Change => {
                self.turn_to(Page::Shift);
                self.open(SheetKind::Changed, Vec::new());
            }
            Ask::Up => self.up(),
            Ask::Help => {
                self.turn_to(Page::Helping);
                // What was found, or is being found, stands: to ask anew is a touch of its own.
                if self.found().is_none() {
                    (self.send)(Tap::AskWhatIf);
                }
            }
            Ask::HelpStop => self.stop_or_ask_again(),
            Ask::LevelUp => self.level(true),
            Ask::LevelDown => self.level(false),
        }
    }

    /// Looks at another part of a timeline.
    fn look_along(&self, turn: Turn) {
        let shown = self.local.borrow().shown.clone();
        let Some((snapshot, ..)) = shown else {
            return;
        };
        if let Some(timeline) = &snapshot.log_read.timeline {
            let mut local = self.local.borrow_mut();
            local.seen = local.seen.turned(turn, timeline, local.time_part);
        }
        self.again();
    }

    fn read_log(&self) {
        if let Some(app) = self.app.upgrade() {
            State::get(&app).set_log_search(SharedString::default());
        }
        self.find(|filter| *filter = Filter::default());
        self.turn_to(Page::Log);
        (self.send)(Tap::ReadLog);
    }

    /// Looks for other incidents than before.
    fn find(&self, change: impl FnOnce(&mut Filter)) {
        let filter = {
            let mut local = self.local.borrow_mut();
            local.log_first = 0;
            let shown = local.shown.as_ref();
            shown.map(|it| Filter::clone(&it.0.log_filter))
        };
        let mut filter = filter.unwrap_or_default();
        change(&mut filter);
        (self.send)(Tap::FindLog(Box::new(filter)));
    }

    /// Another page, with nothing over it.
    fn turn_to(&self, page: Page) {
        {
            let mut local = self.local.borrow_mut();
            local.page = page;
            local.sheet = SheetKind::None;
            local.looking = Looking::default();
            local.log_first = 0;
        }
        self.again();
    }

    /// Back by one: from a sheet to the one it was opened from, from one position to the list, from a page to standby.
    fn up(&self) {
        let (sheet, page, looks) = {
            let local = self.local.borrow();
            (local.sheet, local.page, local.looking.position.is_some())
        };
        match (sheet, page) {
            (SheetKind::None, Page::Helping) => self.turn_to(Page::Readiness),
            (SheetKind::None, Page::Tasks | Page::Timeline) => self.turn_to(Page::Log),
            (SheetKind::None, Page::Learned) => self.turn_to(Page::Drill),
            (SheetKind::None, _) if looks => self.turn_to(Page::Readiness),
            (SheetKind::None, _) => self.turn_to(Page::Standby),
            (SheetKind::Level, _) => {
                let about = self.local.borrow().about.first().cloned();
                match about.filter(|it| !it.is_empty()) {
                    Some(who) => self.open(SheetKind::Person, vec![who]),
                    None => self.open(SheetKind::None, Vec::new()),
                }
            }
            (sheet, _) => {
                let mut about = self.local.borrow().about.clone();
                let above = sheets::above(sheet, &about);
                let (above, kept) = above.unwrap_or((SheetKind::None, 0));
                about.truncate(kept);
                self.open(above, about);
            }
        }
    }

    /// What would help, as far as it stands on the screen.
    fn found(&self) -> Option<Arc<WhatIfs>> {
        let local = self.local.borrow();
        let (snapshot, ..) = local.shown.as_ref()?;
        snapshot.what_ifs.clone()
    }

    /// One key stops what is computed, and asks anew once it has stopped.
    fn stop_or_ask_again(&self) {
        (self.send)(match self.found() {
            Some(found) if !found.ended => Tap::StopWhatIf,
            Some(_) | None => Tap::AskWhatIf,
        });
    }

    fn level(&self, up: bool) {
        if self.local.borrow().sheet == SheetKind::Level {
            return self.other_level(up);
        }
        let shown = self.local.borrow().shown.clone();
        let (Some((snapshot, now, _)), Some(app)) = (shown, self.app.upgrade()) else {
            return;
        };
        let sight = Sight {
            snapshot: &snapshot,
            now: &now,
        };
        let level = State::get(&app).get_level();
        let all = readiness::worst_first(sight);
        if let Some(next) = sketch::next_level(sight, &all, &level, up) {
            self.local.borrow_mut().looking.level = Some(next);
        }
        self.again();
    }

    /// Another level on the sketch in an incident.
    fn other_level(&self, up: bool) {
        let (shown, about) = {
            let local = self.local.borrow();
            (local.shown.clone(), local.about.clone())
        };
        let Some((snapshot, now, _)) = shown else {
            return;
        };
        let sight = Sight {
            snapshot: &snapshot,
            now: &now,
        };
        if let Some(next) = level::next_level(sight, LookingAt::of(&about), up) {
            let who = about.into_iter().next().unwrap_or_default();
            self.open(SheetKind::Level, vec![who, next]);
        }
    }

    fn open(&self, kind: SheetKind, about: Vec<String>) {
        match kind {
            SheetKind::Command => (self.send)(Tap::NextInCommand),
            kind => {
                {
                    let mut local = self.local.borrow_mut();
                    let order = match (kind, &local.shown) {
                        (SheetKind::People, Some((snapshot, now, _))) => {
                            people::order(Sight { snapshot, now })
                        }
                        _ => about,
                    };
                    (local.sheet, local.about) = (kind, order);
                }
                if kind == SheetKind::Write {
                    self.begin_writing();
                }
                self.again();
            }
        }
    }

    fn choose(&self, kind: SheetKind, id: &str) {
        let shown = self.local.borrow().shown.clone();
        let Some((snapshot, now, _)) = shown else {
            return;
        };
        let sight = Sight {
            snapshot: &snapshot,
            now: &now,
        };
        let about = match kind {
            // The page itself is about the incident that was opened in the log.
            SheetKind::TaskParts => self.local.borrow().incident.iter().cloned().collect(),
            _ => self.local.borrow().about.clone(),
        };
        self.follow(sheets::chosen(sight, kind, &about, id));
    }

    /// The window, and what its sheet is about.
    pub(super) fn window_and_about(&self) -> Option<(App, Vec<String>)> {
        Some((self.app.upgrade()?, self.local.borrow().about.clone()))
    }

    /// Something made of what stands on the screen.
    pub(super) fn seen<T>(&self, make: impl FnOnce(Sight<'_>) -> T) -> Option<T> {
        let shown = self.local.borrow().shown.clone();
        let (snapshot, now, _) = shown?;
        Some(make(Sight {
            snapshot: &snapshot,
            now: &now,
        }))
    }

    /// Does what a touch leads to.
    pub(super) fn follow(&self, next: Next) {
        match next {
            Next::About(kind, about) => self.open(kind, about),
            Next::Up(tap) => {
                (self.send)(tap);
                self.up();
            }
            Next::To(tap, kind, about) => {
                (self.send)(tap);
                self.open(kind, about);
            }
            Next::Log => self.read_log(),
            Next::Drill => self.turn_to(Page::Drill),
            Next::Learned => {
                self.turn_to(Page::Learned);
                (self.send)(Tap::ReadLessons);
            }
            Next::Send(tap) => {
                self.local.borrow_mut().sheet = SheetKind::None;
                (self.send)(tap);
                self.again();
            }
            Next::Stay(tap) => (self.send)(tap),
            Next::Open(kind) => self.open(kind, Vec::new()),
            Next::Nothing => {}
        }
    }
}

/// What stands on the screen.
fn view(sight: Sight<'_>, local: &Local, silent: bool) -> View {
    let snapshot = sight.snapshot;
    let mut view = View {
        dark: snapshot.settings.theme == Theme::Dark,
        drill: snapshot.drill,
        flash: snapshot.flash,
        saved: sight.saved(),
        ..View::default()
    };
    let notice = |message: &Message, grave: bool| Notice {
        text: sight.say(message),
        short: match message.id {
            Id::NoticeNotSaving => sight.label(Id::NotSaved),
            Id::NoticeSurprise => sight.label(Id::ShortSurprise),
            Id::LetStand => sight.label(Id::ShortStand),
            Id::NoticeReal => sight.label(Id::ShortReal),
            _ => SharedString::default(),
        },
        tone: if grave { Tone::Bad } else { Tone::Caution },
    };
    if silent {
        view.notices
            .push(notice(&Message::of(Id::NoticeEngine), true));
    }
    view.notices
        .extend(snapshot.notices.iter().map(|n| notice(&n.message, n.grave)));
    if view.notices.len() > 1 {
        view.notices_more = format!("+{}", view.notices.len() - 1).into();
    }
    match (&snapshot.facts.opened, snapshot.facts.casualty().off) {
        (Some(_), Some((off, _))) => aftercare::fill(&mut view, sight, off),
        (Some(_), None) => rescue::fill(&mut view, sight),
        (None, _) => {
            shift::fill_all(&mut view, sight);
            match local.page {
                Page::Standby => standby::fill(&mut view, sight),
                Page::Log => {
                    log::fill(&mut view, sight, local.incident.as_deref(), local.log_first)
                }
                Page::Readiness => readiness::fill(&mut view, sight, &local.looking),
                Page::Helping => readiness::fill_help(&mut view, sight),
                Page::Shift => shift::fill(&mut view, sight),
                Page::Drill => drill::fill(&mut view, sight),
                Page::Tasks => tasks::fill(&mut view, sight, local.incident.as_deref()),
                Page::Learned => learned::fill(&mut view, sight),
                Page::Timeline => {
                    let (open, room) = (local.incident.as_deref(), &local.time_room);
                    timeline::fill(&mut view, sight, open, &local.seen, room);
                }
            }
        }
    }
    sheets::fill(&mut view, sight, local.sheet, &local.about);
    if local.sheet == SheetKind::Level {
        level::fill(
            &mut view,
            sight,
            &local.room,
            LookingAt::of(&local.about),
            false,
        );
    }
    view
}

/// The room for the sketch of a level.
fn level_room(app: &App) -> Room {
    let (room, sizes) = (LevelRoom::get(app), Metrics::get(app));
    Room {
        width: f64::from(room.get_width()),
        height: f64::from(room.get_height()),
        unit: f64::from(sizes.get_u()),
        letter: f64::from(sizes.get_small()),
    }
}

/// The room for a timeline.
fn time_room(app: &App) -> Room {
    let room = TimelineRoom::get(app);
    Room {
        width: f64::from(room.get_width()),
        height: f64::from(room.get_height()),
        ..level_room(app)
    }
}

/// The fixed texts.
fn speak(labels: &Labels<'_>, language: Language, drill: bool) {
    let say = |id| SharedString::from(label(id, language));
    labels.set_drill(say(Id::DrillMark));
    labels.set_now(say(Id::Now));
    labels.set_line_heading(say(Id::MinutesSinceFall));
    labels.set_somebody_hangs(say(if drill {
        Id::StandbyHoldDrill
    } else {
        Id::StandbyHold
    }));
    labels.set_somebody_hangs_sub(say(Id::StandbyHoldSub));
    labels.set_hold(say(Id::StandbyHoldSub));
    labels.set_log(say(Id::StandbyLog));
    labels.set_tasks(say(Id::TasksKey));
    labels.set_tablet(say(Id::StandbyTablet));
    labels.set_tablet_sub(say(Id::StandbyTabletSub));
    labels.set_caution(say(Id::StandbyCaution));
    labels.set_ask_place(say(Id::WhereTile));
    labels.set_ask_place_sub(say(Id::WhereTileSub));
    labels.set_more(say(Id::More));
    labels.set_close(say(Id::Back));
    labels.set_back(say(Id::Back));
    labels.set_earlier(say(Id::LogOlder));
    labels.set_later(say(Id::LogNewer));
    labels.set_timeline(say(Id::TimelineKey));
    labels.set_time_closer(say(Id::TimelineCloser));
    labels.set_time_wider(say(Id::TimelineWider));
    labels.set_time_before(say(Id::TimelineBefore));
    labels.set_time_after(say(Id::TimelineAfter));
    labels.set_time_tracks(say(Id::TimelineTracks));
    labels.set_log_filter(say(Id::FindKey));
    labels.set_log_search(say(Id::FindSearch));
    labels.set_ready(say(Id::GradeReady));
    labels.set_slow(say(Id::GradeSlow));
    labels.set_not_ready(say(Id::GradeNotReady));
    labels.set_north(say(Id::CardSketchNorth));
    labels.set_space(say(Id::KeySpace));
    labels.set_level_up(say(Id::LevelHigher));
    labels.set_level_down(say(Id::LevelLower));
}
