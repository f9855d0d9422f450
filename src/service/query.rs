//! Questions to what is published: how many are worked on at a time, and the answers kept ready.

use super::{Ready, Service};
use crate::findings::Publication;
use crate::findings::query::NotAnswered;
use crate::intake::{self, Rejection};
use crate::wire;
use std::collections::VecDeque;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Most questions worked on at a time, so that whatever is asked leaves the machine to others. An
/// answer takes a fraction of a second of one core.
const MOST_AT_A_TIME: usize = 4;

/// Most answers of one publication that are kept ready; each takes some ten kilobytes.
const MOST_KEPT: usize = 64;

/// Why a question has no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotAsked {
    /// It has faults.
    #[error("The question has faults; each is listed with its parameter.")]
    Unreadable(Rejection),
    /// It is refused.
    #[error(transparent)]
    Refused(#[from] NotAnswered),
}

/// The questions that are being worked on.
#[derive(Debug, Default)]
pub(super) struct Turns(Arc<AtomicUsize>);

/// The right to have one question answered, given back when it is dropped.
#[derive(Debug)]
pub struct Turn(Arc<AtomicUsize>);

impl Turns {
    fn take(&self) -> Option<Turn> {
        // Counted first and looked at then, so that two cannot take the last one.
        let turn = Turn(Arc::clone(&self.0));
        (self.0.fetch_add(1, Ordering::AcqRel) < MOST_AT_A_TIME).then_some(turn)
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::AcqRel);
    }
}

impl Service {
    /// A turn to have a question answered; `None` while as many as may be are being answered.
    #[must_use]
    pub fn turn(&self) -> Option<Turn> {
        self.turns.take()
    }
}

/// Answers that were given from one publication, the newest last. What is kept never changes.
#[derive(Debug, Default)]
pub(super) struct Answers(Mutex<VecDeque<(String, Ready)>>);

impl Answers {
    /// The answer to a question as it stands in an address. The same publication is always given.
    pub(super) fn answer(
        &self,
        publication: &Publication,
        question: &str,
    ) -> Result<Ready, NotAsked> {
        let query = intake::query::read(question, publication).map_err(NotAsked::Unreadable)?;
        let text = query.text();
        if let Some(ready) = self.kept(&text) {
            return Ok(ready);
        }
        let answer = publication.ask(&query)?;
        let document = wire::query::document(publication, &query, &answer);
        let ready = Ready::json(&document);
        self.keep(text, ready.clone());
        Ok(ready)
    }

    fn kept(&self, text: &str) -> Option<Ready> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut answers = kept.iter();
        let (_, ready) = answers.find(|(question, _)| question == text)?;
        Some(ready.clone())
    }

    fn keep(&self, text: String, ready: Ready) {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.iter().any(|(question, _)| *question == text) {
            return;
        }
        if MOST_KEPT <= kept.len() {
            kept.pop_front();
        }
        kept.push_back((text, ready));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn so_many_turns_are_taken_at_a_time_and_given_back() {
        let turns = Turns::default();
        let mut taken: Vec<Turn> = (0..MOST_AT_A_TIME).filter_map(|_| turns.take()).collect();
        assert_eq!(taken.len(), MOST_AT_A_TIME);
        assert!(turns.take().is_none());
        taken.pop();
        let again = turns.take();
        assert!(again.is_some());
        assert!(turns.take().is_none());
    }

    #[test]
    fn no_more_answers_are_kept_than_so_many() {
        let answers = Answers::default();
        for number in 0..=MOST_KEPT {
            answers.keep(number.to_string(), Ready::new(String::new()));
        }
        assert!(answers.kept("0").is_none());
        assert!(answers.kept("1").is_some());
        let newest = MOST_KEPT.to_string();
        assert!(answers.kept(&newest).is_some());
        answers.keep(newest, Ready::new(String::new()));
        assert!(answers.kept("1").is_some());
    }
}
