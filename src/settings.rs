//! Keeps settings, the roll call and the shift in the store, and goes on without one.
//!
//! The store is opened on a thread of the pool, because opening may hang; what cannot be kept is a notice.

use crate::signal::{Input, Kept};
use crate::store::{
    DiskStore, ROLL_CALL_KEY, SETTINGS_KEY, SHIFT_KEY, Store, StoreFault, get_json, put_json,
};
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::thread::JoinHandle;

/// Only the newest is worth keeping, so a full queue loses nothing that the next change does not bring again.
const KEEPS_MAX: usize = 64;

/// Keeps things on a thread of its own.
#[derive(Debug)]
pub struct Keeper {
    queue: Option<SyncSender<Kept>>,
    thread: Option<JoinHandle<()>>,
}

impl Keeper {
    /// Opens the store below `folder` and reports what it holds, or why it cannot be used.
    pub fn start(
        folder: &Path,
        report: impl Fn(Input) + Send + 'static,
    ) -> std::io::Result<Keeper> {
        let (queue, orders) = sync_channel(KEEPS_MAX);
        let folder = folder.to_owned();
        let thread = std::thread::Builder::new()
            .name("keeper".to_owned())
            .spawn(move || {
                match DiskStore::open(&folder)
                    .and_then(|store| load(&store).map(|kept| (store, kept)))
                {
                    Ok((store, kept)) => {
                        report(Input::Kept(Ok(kept)));
                        keep(&store, &orders, &report);
                    }
                    Err(fault) => report(Input::Kept(Err(fault.to_string()))),
                }
            })?;
        Ok(Keeper {
            queue: Some(queue),
            thread: Some(thread),
        })
    }

    /// Keeps this over a restart.
    pub fn keep(&self, kept: Kept) {
        if let Some(queue) = &self.queue {
            match queue.try_send(kept) {
                // Without a store the reason was reported already.
                Ok(()) | Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) => {}
            }
        }
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        self.queue = None;
        if let Some(thread) = self.thread.take() {
            // A keeper that panicked has nothing left to keep.
            let _ = thread.join();
        }
    }
}

fn load(store: &dyn Store) -> Result<Kept, StoreFault> {
    Ok(Kept {
        settings: get_json(store, SETTINGS_KEY)?.unwrap_or_default(),
        roll_call: get_json(store, ROLL_CALL_KEY)?.unwrap_or_default(),
        shift: get_json(store, SHIFT_KEY)?.unwrap_or_default(),
    })
}

fn keep(store: &dyn Store, orders: &Receiver<Kept>, report: &impl Fn(Input)) {
    while let Ok(mut kept) = orders.recv() {
        while let Ok(newer) = orders.try_recv() {
            kept = newer;
        }
        let done = put_json(store, SETTINGS_KEY, &kept.settings)
            .and_then(|()| put_json(store, ROLL_CALL_KEY, &kept.roll_call))
            .and_then(|()| put_json(store, SHIFT_KEY, &kept.shift));
        if let Err(fault) = done {
            report(Input::Kept(Err(fault.to_string())));
        }
    }
}
