//! Sees to it that no input is read for ever.

use super::corpus;
use std::sync::{Arc, Mutex, Weak};
use std::thread;
use std::time::{Duration, Instant};

/// How long a reader may take for one input before it counts as hanging. An input is read in
/// milliseconds; this is no measure of speed.
const PATIENCE: Duration = Duration::from_secs(120);

type Present = Mutex<Option<(Instant, Vec<u8>)>>;

/// What is being read, and since when.
pub(super) struct Watch(Arc<Present>);

impl Watch {
    /// Watches until this value is gone.
    pub(super) fn over(target: &'static str) -> Self {
        let present = Arc::new(Mutex::new(None));
        let seen = Arc::downgrade(&present);
        thread::spawn(move || while look(&seen, target) {});
        Self(present)
    }

    pub(super) fn begins(&self, input: &[u8]) {
        *self.0.lock().unwrap() = Some((Instant::now(), input.to_vec()));
    }

    pub(super) fn ends(&self) {
        *self.0.lock().unwrap() = None;
    }
}

/// Looks once; whether there is more to look at. A thread that hangs cannot be ended, so the whole
/// run is.
fn look(seen: &Weak<Present>, target: &str) -> bool {
    thread::sleep(Duration::from_secs(1));
    let Some(present) = seen.upgrade() else {
        return false;
    };
    let hanging = {
        let present = present.lock().unwrap();
        let since = present.as_ref();
        since
            .filter(|(began, _)| PATIENCE < began.elapsed())
            .map(|(_, input)| input.clone())
    };
    if let Some(input) = hanging {
        let place = corpus::keep_failure(target, &input);
        eprintln!("{target}: still reading {place}");
        std::process::exit(101);
    }
    true
}
