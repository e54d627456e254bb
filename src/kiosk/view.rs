//! What stands on the screen, as plain values: the mirror of `State` in `ui/api/state.slint`.

use super::ui::{
    Band, Choice, Kit, LineMark, LogItem, LogRow, Notice, Person, Place, Prompt, Saved, Screen,
    Sheet, SheetKind, Tick, Tile, Tone,
};
use slint::SharedString;

/// Everything on the screen.
#[derive(Clone, Debug, PartialEq)]
#[allow(missing_docs)]
pub struct View {
    pub screen: Screen,
    pub dark: bool,
    pub drill: bool,
    pub danger: bool,
    pub flash: bool,
    pub notices: Vec<Notice>,
    pub notices_more: SharedString,
    pub saved: Saved,

    pub site: SharedString,
    pub plan_line: SharedString,
    pub plan_tone: Tone,
    pub positions: Vec<Choice>,
    pub command: Tile,
    pub shift: Tile,
    pub plan: Tile,

    pub clock: Vec<SharedString>,
    pub clock_caption: SharedString,
    pub until: Vec<SharedString>,
    pub until_caption: SharedString,
    pub place: Place,
    pub off_title: SharedString,
    pub off_sub: SharedString,

    pub ticks: Vec<Tick>,
    pub bands: Vec<Band>,
    pub now_at: f32,
    pub target: LineMark,
    pub off: LineMark,
    pub footers: Vec<SharedString>,

    pub prompt: Prompt,
    pub details: Vec<SharedString>,
    pub hash: Vec<SharedString>,
    pub options: Vec<Choice>,
    pub kit: Kit,
    pub people: Vec<Person>,
    pub people_count: SharedString,
    pub undo: SharedString,
    pub undo_sub: SharedString,

    pub condition: Tile,
    pub call: Tile,
    pub alarm: Tile,
    pub ways: Tile,
    pub lead: Tile,
    pub crew: Tile,

    pub sheet: Sheet,
    pub sheet_lines: Vec<SharedString>,
    pub sheet_choices: Vec<Choice>,

    pub log_items: Vec<LogItem>,
    pub log_title: SharedString,
    pub log_sub: SharedString,
    pub log_rows: Vec<LogRow>,
}

impl Default for View {
    fn default() -> View {
        View {
            screen: Screen::Standby,
            dark: true,
            drill: false,
            danger: false,
            flash: false,
            notices: Vec::new(),
            notices_more: SharedString::default(),
            saved: Saved::default(),
            site: SharedString::default(),
            plan_line: SharedString::default(),
            plan_tone: Tone::Plain,
            positions: Vec::new(),
            command: Tile::default(),
            shift: Tile::default(),
            plan: Tile::default(),
            clock: Vec::new(),
            clock_caption: SharedString::default(),
            until: Vec::new(),
            until_caption: SharedString::default(),
            place: Place::default(),
            off_title: SharedString::default(),
            off_sub: SharedString::default(),
            ticks: Vec::new(),
            bands: Vec::new(),
            now_at: 0.0,
            target: LineMark::default(),
            off: LineMark::default(),
            footers: Vec::new(),
            prompt: Prompt::default(),
            details: Vec::new(),
            hash: Vec::new(),
            options: Vec::new(),
            kit: Kit::default(),
            people: Vec::new(),
            people_count: SharedString::default(),
            undo: SharedString::default(),
            undo_sub: SharedString::default(),
            condition: Tile::default(),
            call: Tile::default(),
            alarm: Tile::default(),
            ways: Tile::default(),
            lead: Tile::default(),
            crew: Tile::default(),
            sheet: Sheet {
                kind: SheetKind::None,
                ..Sheet::default()
            },
            sheet_lines: Vec::new(),
            sheet_choices: Vec::new(),
            log_items: Vec::new(),
            log_title: SharedString::default(),
            log_sub: SharedString::default(),
            log_rows: Vec::new(),
        }
    }
}
