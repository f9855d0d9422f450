//! The process of a server: what it takes of memory, and how it is told to stop.

use super::Server;
use crate::load::Memory;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

impl Server {
    /// The identifier of its process.
    pub(crate) fn process(&self) -> u32 {
        self.child.id()
    }

    /// Its memory.
    pub(crate) fn memory(&self) -> Memory {
        Memory::of(self.process(), Duration::ZERO)
    }

    /// Sends it a signal, such as `TERM`.
    pub(crate) fn signal(&self, name: &str) {
        let process = self.process().to_string();
        let sent = Command::new("kill").args(["-s", name, &process]).status();
        assert!(sent.unwrap().success());
    }

    /// Waits until it has ended: its exit code, `None` when it did not end by itself.
    pub(crate) fn ended(&mut self, within: Duration) -> Option<i32> {
        let began = Instant::now();
        while began.elapsed() < within {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.code();
            }
            thread::sleep(Duration::from_millis(20));
        }
        None
    }
}
