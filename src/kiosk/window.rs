//! Opens the window and keeps it up to date: ten times a second, and at once when the engine has something new.
//!
//! Runs on the main thread until the window is closed. A touch that finds the engine's queue full is kept and sent at the
//! next tick, in order, so that none is lost.

use super::presenter::Presenter;
use super::ui::{App, Metrics};
use crate::incident::Moment;
use crate::signal::{HEARTBEAT_LOST_MS, Input, Slot, Snapshot, Tap};
use slint::winit_030::WinitWindowAccessor;
use slint::{ComponentHandle, Global, LogicalSize, PlatformError};
use std::cell::RefCell;
use std::collections::VecDeque;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::mpsc::Sender;
use tokio::sync::mpsc::error::TrySendError;

/// The screen is looked after this often.
const TICK: Duration = Duration::from_millis(100);
/// Touches kept while the engine's queue is full; fingers cannot make more before somebody notices.
const KEPT_MAX: usize = 256;
const MM_PER_INCH: f32 = 25.4;

/// How the window is opened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Window {
    /// Full screen, without a frame.
    pub full_screen: bool,
    /// Diagonal of the screen in inches, from which millimetres follow.
    pub inches: f32,
    /// Size in pixels when not full screen.
    pub size: (u32, u32),
}

type Refresh = Rc<dyn Fn()>;

thread_local! {
    static REFRESH: RefCell<Option<Refresh>> = const { RefCell::new(None) };
}

/// Tells the screen, from any thread, that the slot holds something new. Without a screen nothing happens.
pub fn tell_screen() {
    let told = slint::invoke_from_event_loop(|| {
        if let Some(refresh) = REFRESH.with(|r| r.borrow().clone()) {
            refresh();
        }
    });
    // Before the first and after the last turn of the event loop there is nobody to tell; the tick looks anyway.
    drop(told);
}

/// Opens the window and runs it until it is closed.
///
/// # Errors
///
/// Where there is no display to open it on.
pub fn run(
    window: Window,
    slot: Arc<Slot>,
    read_clock: impl Fn() -> Moment + 'static,
    inputs: &Sender<Input>,
) -> Result<(), PlatformError> {
    let app = App::new()?;
    app.set_name(env!("CARGO_PKG_NAME").into());
    let (width, height) = window.size;
    app.window()
        .set_size(LogicalSize::new(width as f32, height as f32));
    app.window().set_fullscreen(window.full_screen);

    let queue = Rc::new(Queue {
        inputs: inputs.clone(),
        kept: RefCell::default(),
    });
    let presenter = Presenter::new(&app, {
        let queue = queue.clone();
        move |tap| queue.send(tap)
    });
    let refresh: Refresh = {
        let (weak, queue) = (app.as_weak(), queue.clone());
        let last = RefCell::new(None::<Arc<Snapshot>>);
        let was_silent = std::cell::Cell::new(false);
        let filled = std::cell::Cell::new(false);
        Rc::new(move || {
            queue.send_kept();
            let Some(app) = weak.upgrade() else { return };
            if window.full_screen && !filled.get() {
                filled.set(fill_screen(&app));
            }
            measure(&app, window.inches);
            let Some(snapshot) = slot.get() else { return };
            let now = read_clock();
            let silent = now.boot_ms.saturating_sub(slot.last_beat_ms()) > HEARTBEAT_LOST_MS;
            let same = last
                .borrow()
                .as_ref()
                .is_some_and(|l| Arc::ptr_eq(l, &snapshot))
                && was_silent.get() == silent;
            // On standby nothing runs, so nothing is made anew until something has happened.
            if same && snapshot.facts.opened.is_none() {
                return;
            }
            // A fault in drawing one moment must not take the window away: the next moment is drawn anew.
            let shown = catch_unwind(AssertUnwindSafe(|| {
                presenter.show(&snapshot, &now, silent);
            }));
            if shown.is_err() {
                return;
            }
            was_silent.set(silent);
            *last.borrow_mut() = Some(snapshot);
        })
    };
    REFRESH.with(|r| *r.borrow_mut() = Some(refresh.clone()));
    refresh();
    let timer = slint::Timer::default();
    timer.start(slint::TimerMode::Repeated, TICK, move || refresh());
    let ran = app.run();
    REFRESH.with(|r| r.borrow_mut().take());
    ran
}

/// Makes the window as large as its screen: without a window manager nobody else does. True once it is done.
fn fill_screen(app: &App) -> bool {
    let filled = app.window().with_winit_window(|window| {
        let screen = window
            .current_monitor()
            .or_else(|| window.available_monitors().next());
        screen.is_some_and(|screen| {
            // An answer only says whether the new size is there already; either way it comes.
            let _ = window.request_inner_size(screen.size());
            true
        })
    });
    filled.unwrap_or(false)
}

/// Sets the millimetre from the size of the window and the diagonal of the screen.
fn measure(app: &App, inches: f32) {
    let window = app.window();
    let size = window.size().to_logical(window.scale_factor());
    let diagonal_mm = inches * MM_PER_INCH;
    if size.width > 0.0 && size.height > 0.0 && diagonal_mm > 0.0 {
        Metrics::get(app).set_mm(size.width.hypot(size.height) / diagonal_mm);
    }
}

/// Touches on their way to the engine.
struct Queue {
    inputs: Sender<Input>,
    kept: RefCell<VecDeque<Tap>>,
}

impl Queue {
    fn send(&self, tap: Tap) {
        let mut kept = self.kept.borrow_mut();
        if kept.len() < KEPT_MAX {
            kept.push_back(tap);
        }
        drop(kept);
        self.send_kept();
    }

    fn send_kept(&self) {
        let mut kept = self.kept.borrow_mut();
        while let Some(tap) = kept.pop_front() {
            match self.inputs.try_send(Input::Tap(tap)) {
                Ok(()) => {}
                Err(TrySendError::Full(Input::Tap(tap))) => {
                    kept.push_front(tap);
                    return;
                }
                // An engine that has ended takes nothing more; the screen says that it does not answer.
                Err(_) => return,
            }
        }
    }
}
