//! The invented crowd, sent to a service.

use super::STUDY;
use super::crowd::{self, Kind, Sent, Settings};
use crate::protocol::Study;
use crate::service::{Incoming, NotChanged, Refused, Service};
use crate::vocabulary::State;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A service filled with the invented crowd.
#[derive(Debug)]
pub struct Stage {
    /// The service, in memory.
    pub service: Arc<Service>,
    /// The invented study.
    pub study: Arc<Study>,
    /// The generator's settings.
    pub settings: Settings,
    /// What counts, in order.
    pub accepted: Vec<Sent>,
    /// What waits for the host, in order.
    pub held: Vec<Sent>,
    /// How often each fault code refused a contribution.
    pub refused: BTreeMap<&'static str, usize>,
}

/// Why the demonstration could not be set up.
#[derive(Debug, thiserror::Error)]
pub enum StageError {
    /// The settings are not readable.
    #[error("fixtures/demo/settings.json: {0}")]
    Settings(#[from] serde_json::Error),
    /// The service failed.
    #[error(transparent)]
    Service(#[from] crate::service::ServiceError),
    /// The study, or a contribution for another reason than its own faults, was not taken.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// Recruiting could not be opened.
    #[error(transparent)]
    NotChanged(#[from] NotChanged),
}

impl Stage {
    /// Makes the crowd and sends it.
    ///
    /// # Errors
    /// When the service fails or the embedded files are not usable.
    pub fn set(now_ms: i64) -> Result<Self, StageError> {
        let settings = Settings::embedded()?;
        let service = Arc::new(Service::in_memory()?);
        let study = service.add_study(STUDY.as_bytes(), now_ms)?;
        service.open_recruiting(&study.label.slug, now_ms)?;
        let mut stage = Self {
            service,
            study,
            accepted: Vec::new(),
            held: Vec::new(),
            refused: BTreeMap::new(),
            settings,
        };
        let mut receipts: BTreeMap<usize, String> = BTreeMap::new();
        for sent in crowd::crowd(&stage.settings) {
            stage.send(sent, &mut receipts, now_ms)?;
        }
        stage.service.publish(&stage.study.label.slug)?;
        Ok(stage)
    }

    fn send(
        &mut self,
        sent: Sent,
        receipts: &mut BTreeMap<usize, String>,
        now_ms: i64,
    ) -> Result<(), StageError> {
        let answer = self.service.receive(&Incoming {
            study: &self.study.label.slug,
            document: sent.document.as_bytes(),
            request_key: None,
            receipt: receipts.get(&sent.player).map(String::as_str),
            now_ms,
        });
        match answer {
            Ok(accepted) => {
                receipts
                    .entry(sent.player)
                    .or_insert_with(|| accepted.receipt.reveal());
                match accepted.state {
                    State::Held => self.held.push(sent),
                    _ => self.accepted.push(sent),
                }
                Ok(())
            }
            Err(Refused::Document(rejection)) => {
                for fault in &rejection.faults {
                    *self.refused.entry(fault.code.code()).or_default() += 1;
                }
                Ok(())
            }
            Err(other) => Err(other.into()),
        }
    }

    /// How many contributions of a kind the door let in.
    #[must_use]
    pub fn count(&self, kind: Kind) -> usize {
        let accepted = self.accepted.iter().filter(|sent| sent.kind == kind);
        accepted.count() + self.count_held(kind)
    }

    /// How many of a kind wait for the host.
    #[must_use]
    pub fn count_held(&self, kind: Kind) -> usize {
        self.held.iter().filter(|sent| sent.kind == kind).count()
    }
}
