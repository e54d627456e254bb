//! Lays a screen out headless, so that a test can learn where a control is, what it looks like and what it asks for.

use groundward::incident::Moment;
use groundward::kiosk::{App, Metrics, Presenter, State};
use groundward::signal::{Snapshot, Tap};
use i_slint_backend_testing::{
    AccessibleRole, ElementHandle, ElementQuery, TestingBackend, TestingBackendOptions,
};
use slint::{ComponentHandle, Global, Model, PhysicalSize, Rgba8Pixel, SharedPixelBuffer};
use std::cell::RefCell;
use std::rc::Rc;
use std::sync::Arc;
use std::time::Duration;

/// A window without a screen, shown by the production presenter.
pub(crate) struct Twin {
    pub(crate) app: App,
    presenter: Rc<Presenter>,
    sent: Rc<RefCell<Vec<Tap>>>,
    width: u32,
}

/// Sets the headless backend for this thread, once.
pub(crate) fn headless() {
    let options = TestingBackendOptions {
        mock_time: true,
        threading: false,
        renderer_name: Some("software".into()),
    };
    // A second window of the same test finds the backend in place.
    let _ = slint::platform::set_platform(Box::new(TestingBackend::new(options)));
}

impl Twin {
    pub(crate) fn new(width: u32, height: u32, inches: f32) -> Twin {
        headless();
        let app = App::new().expect("a window without a screen opens");
        app.window().set_size(PhysicalSize::new(width, height));
        let diagonal = (width as f32).hypot(height as f32);
        Metrics::get(&app).set_mm(diagonal / (inches * 25.4));
        let sent = Rc::new(RefCell::new(Vec::new()));
        let presenter = Presenter::new(&app, {
            let sent = sent.clone();
            move |tap| sent.borrow_mut().push(tap)
        });
        app.show().expect("it is shown");
        Twin {
            app,
            presenter,
            sent,
            width,
        }
    }

    pub(crate) fn show(&self, snapshot: &Arc<Snapshot>, now: &Moment) {
        self.presenter.show(snapshot, now, false);
        self.settle();
    }

    /// The same while the engine gives no sign of life.
    pub(crate) fn show_silent(&self, snapshot: &Arc<Snapshot>, now: &Moment) {
        self.presenter.show(snapshot, now, true);
        self.settle();
    }

    /// What the clock shows.
    pub(crate) fn clock(&self) -> String {
        State::get(&self.app)
            .get_clock()
            .iter()
            .map(|digit| digit.to_string())
            .collect()
    }

    /// Lets what follows a change by a tick happen.
    pub(crate) fn settle(&self) {
        for _ in 0..3 {
            i_slint_backend_testing::mock_elapsed_time(Duration::from_millis(20));
        }
    }

    /// Everything that was touched.
    pub(crate) fn sent(&self) -> Vec<Tap> {
        self.sent.borrow().clone()
    }

    fn controls(&self) -> Vec<(String, ElementHandle)> {
        ElementQuery::from_root(&self.app)
            .find_all()
            .into_iter()
            .filter(|e| e.accessible_role() == Some(AccessibleRole::Button))
            .filter_map(|e| Some((e.accessible_label()?.to_string(), e)))
            .collect()
    }

    /// The control whose title is this; exactly one.
    pub(crate) fn control(&self, title: &str) -> ElementHandle {
        let controls = self.controls();
        let is = |label: &str| {
            label == title
                || label
                    .strip_prefix(title)
                    .is_some_and(|rest| rest.starts_with(", "))
        };
        let mut found: Vec<_> = controls.iter().filter(|(label, _)| is(label)).collect();
        let labels: Vec<_> = controls.iter().map(|(label, _)| label).collect();
        assert_eq!(
            found.len(),
            1,
            "one control says `{title}`; there are {labels:?}"
        );
        found.remove(0).1.clone()
    }

    /// Whether exactly one control begins like this.
    pub(crate) fn has(&self, words: &str) -> bool {
        self.beginning(words).len() == 1
    }

    /// The titles that are this, or go on after a comma; where there are none, those that begin like this.
    fn beginning(&self, words: &str) -> Vec<String> {
        let labels: Vec<String> = self
            .controls()
            .into_iter()
            .map(|(label, _)| label)
            .collect();
        let is = |label: &&String| {
            let rest = label.strip_prefix(words);
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(", "))
        };
        let found: Vec<String> = labels.iter().filter(is).cloned().collect();
        match found.is_empty() {
            true => labels
                .into_iter()
                .filter(|label| label.starts_with(words))
                .collect(),
            false => found,
        }
    }

    /// The whole title of the control that begins like this.
    pub(crate) fn label_beginning(&self, words: &str) -> String {
        let mut found = self.beginning(words);
        assert_eq!(
            found.len(),
            1,
            "one control begins with `{words}`; there are {:?}",
            self.controls()
                .iter()
                .map(|(label, _)| label)
                .collect::<Vec<_>>()
        );
        found.remove(0)
    }

    /// Touches a control here, by its default action.
    pub(crate) fn press(&self, title: &str) {
        self.control(title).invoke_accessible_default_action();
        self.settle();
    }

    pub(crate) fn middle_of(&self, title: &str) -> (i32, i32) {
        let control = self.control(title);
        let (at, size) = (control.absolute_position(), control.size());
        (
            (at.x + size.width / 2.0) as i32,
            (at.y + size.height / 2.0) as i32,
        )
    }

    /// Where the text with this label is: left, top, width, height.
    pub(crate) fn place_of(&self, label: &str) -> (u32, u32, u32, u32) {
        let place = self.place_if_there(label);
        place.unwrap_or_else(|| panic!("one text says `{label}`"))
    }

    /// The same, where there is just one such text.
    pub(crate) fn place_if_there(&self, label: &str) -> Option<(u32, u32, u32, u32)> {
        let found: Vec<_> = ElementHandle::find_by_accessible_label(&self.app, label)
            .filter(|e| e.accessible_role() == Some(AccessibleRole::Text))
            .collect();
        if found.len() != 1 {
            return None;
        }
        let (at, size) = (found[0].absolute_position(), found[0].size());
        let (left, top) = (at.x.max(0.0) as u32, at.y.max(0.0) as u32);
        Some((
            left,
            top,
            (size.width as u32).min(self.width - left),
            size.height as u32,
        ))
    }

    pub(crate) fn snapshot(&self) -> SharedPixelBuffer<Rgba8Pixel> {
        self.app
            .window()
            .take_snapshot()
            .expect("the software renderer draws")
    }

    /// The picture as red, green, blue.
    pub(crate) fn picture(&self) -> Vec<[u8; 3]> {
        self.snapshot()
            .as_slice()
            .iter()
            .map(|p| [p.r, p.g, p.b])
            .collect()
    }
}
