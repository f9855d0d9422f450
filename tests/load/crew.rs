//! Those who ask: a few threads, each with one connection, that take the next request of the
//! schedule, wait until it is due and ask it.

use super::ledger::{Ledger, Own};
use super::line::{Answer, Line};
use super::report::{Memory, Outcome, Report, Told};
use super::schedule::{Arrival, Kind, Plan, schedule};
use serde_json::{Value, json};
use std::io;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};
use tautpool::demo::crowd::{self, Settings};

/// Requests that may be under way at a time. More wait in the schedule, and their wait counts.
const CREW: usize = 64;

/// Questions that are asked, each again and again.
const QUESTIONS: u32 = 40;

/// A running service.
#[derive(Debug)]
pub(crate) struct Target<'a> {
    /// `host:port`.
    pub(crate) address: &'a str,
    pub(crate) process: u32,
    pub(crate) study: &'a str,
}

struct Play<'a> {
    target: &'a Target<'a>,
    arrivals: Vec<Arrival>,
    documents: Vec<String>,
    next_arrival: AtomicUsize,
    next_document: AtomicUsize,
    ledger: Ledger,
    outcomes: Mutex<Vec<Outcome>>,
}

/// Asks everything that a plan has, and tells what came of it.
pub(crate) fn play(target: &Target<'_>, plan: &Plan) -> Report {
    let arrivals = schedule(plan);
    let n_documents = arrivals
        .iter()
        .filter(|arrival| arrival.kind.is_write())
        .count();
    let settings = Settings::embedded().expect("settings that a test reads");
    let players = crowd::more(&settings, 0, n_documents);
    let play = Play {
        target,
        arrivals,
        documents: players.into_iter().map(|sent| sent.document).collect(),
        next_arrival: AtomicUsize::new(0),
        next_document: AtomicUsize::new(0),
        ledger: Ledger::default(),
        outcomes: Mutex::default(),
    };
    let began = Instant::now();
    let memory = thread::scope(|scope| {
        let crew: Vec<_> = (0..CREW)
            .map(|_| scope.spawn(|| play.ask_all(began)))
            .collect();
        let mut memory = vec![Memory::of(target.process, Duration::ZERO)];
        while crew.iter().any(|one| !one.is_finished()) {
            thread::sleep(Duration::from_secs(1));
            memory.push(Memory::of(target.process, began.elapsed()));
        }
        memory
    });
    Report {
        lasted: began.elapsed(),
        outcomes: play.outcomes.into_inner().expect("the crew is home"),
        memory,
        ledger: play.ledger,
    }
}

impl Play<'_> {
    fn ask_all(&self, began: Instant) {
        let mut line = Line::new(self.target.address);
        let mut tags = Tags::default();
        let mut outcomes = Vec::new();
        while let Some(arrival) = self
            .arrivals
            .get(self.next_arrival.fetch_add(1, Ordering::Relaxed))
        {
            let due = began + arrival.due;
            thread::sleep(due.saturating_duration_since(Instant::now()));
            let kind = self.possible(arrival);
            let told = self.ask(&mut line, &mut tags, kind, arrival.draw);
            outcomes.push(Outcome {
                kind,
                took: due.elapsed(),
                told: told.unwrap_or_else(|error| Told::Failed(error.to_string())),
            });
        }
        self.outcomes
            .lock()
            .expect("no thread panics here")
            .extend(outcomes);
    }

    /// As long as nobody has sent anything, nothing can be corrected.
    fn possible(&self, arrival: &Arrival) -> Kind {
        match arrival.kind {
            Kind::Correction | Kind::Withdrawal if self.ledger.some(0).is_none() => {
                Kind::Contribution
            }
            Kind::Receipt if self.ledger.some(0).is_none() => Kind::Health,
            kind => kind,
        }
    }

    fn ask(&self, line: &mut Line, tags: &mut Tags, kind: Kind, draw: u32) -> io::Result<Told> {
        let api = format!("/api/v1/studies/{}", self.target.study);
        let mut get = |target: &str, fields: &str| line.ask("GET", target, fields, "");
        let answer = match kind {
            Kind::Page => get(
                &format!("/studies/{}", self.target.study),
                "accept-encoding: gzip\r\n",
            )?,
            Kind::Pooled => tags.seen(kind, get(&format!("{api}/pooled"), "")?),
            Kind::PooledUnchanged => {
                let fields = tags.fields(Kind::Pooled);
                tags.seen(Kind::Pooled, get(&format!("{api}/pooled"), &fields)?)
            }
            Kind::PooledGzip => get(&format!("{api}/pooled"), "accept-encoding: gzip\r\n")?,
            Kind::Aggregate => tags.seen(kind, get(&format!("{api}/aggregate"), "")?),
            Kind::AggregateUnchanged => {
                let fields = tags.fields(Kind::Aggregate);
                tags.seen(Kind::Aggregate, get(&format!("{api}/aggregate"), &fields)?)
            }
            Kind::AggregateGzip => get(&format!("{api}/aggregate"), "accept-encoding: gzip\r\n")?,
            Kind::Table => get(
                &format!("{api}/aggregate/rows.csv"),
                "accept-encoding: gzip\r\n",
            )?,
            Kind::Protocol => get(&format!("{api}/protocol"), "")?,
            Kind::Health => get("/health", "")?,
            Kind::Query => {
                let level = 0.5 + f64::from(draw % QUESTIONS) / 100.0;
                get(&format!("{api}/query?outcome=speed&level={level:.2}"), "")?
            }
            Kind::Receipt => {
                let own = self.ledger.some(draw);
                let receipt = own.map_or_else(String::new, |own| own.receipt);
                get(&format!("{api}/contributions"), &authorization(&receipt))?
            }
            Kind::Contribution => self.contribute(line, &api)?,
            Kind::Correction => return self.correct(line, &api, draw),
            Kind::Withdrawal => return self.withdraw(line, &api, draw),
        };
        Ok(told(&answer, kind == Kind::Query))
    }

    fn contribute(&self, line: &mut Line, api: &str) -> io::Result<Answer> {
        let number = self.next_document.fetch_add(1, Ordering::Relaxed);
        let document = self.documents.get(number).expect("one for each write");
        let key = format!("idempotency-key: load-{number}\r\n");
        let answer = line.ask("POST", &format!("{api}/contributions"), &key, document)?;
        if answer.status == 201 {
            let reply: Value = serde_json::from_slice(&answer.body)?;
            let word = |name: &str| {
                reply
                    .get(name)
                    .and_then(Value::as_str)
                    .unwrap_or_default()
                    .to_owned()
            };
            self.ledger.put(Own {
                contribution: word("contribution"),
                receipt: word("receipt"),
                document: document.clone(),
                is_withdrawn: false,
            });
        }
        Ok(answer)
    }

    fn correct(&self, line: &mut Line, api: &str, draw: u32) -> io::Result<Told> {
        let Some(mut own) = self.ledger.take(draw) else {
            return Ok(Told::Nothing);
        };
        let mut document: Value = serde_json::from_str(&own.document)?;
        if let Some(fields) = document.as_object_mut() {
            fields.insert("note".to_owned(), json!(format!("Corrected, {draw}.")));
        }
        let document = document.to_string();
        let place = format!(
            "{api}/contributions/{}?reason=typing_mistake",
            own.contribution
        );
        let answer = line.ask("PUT", &place, &authorization(&own.receipt), &document);
        if answer.as_ref().is_ok_and(|answer| answer.status == 200) {
            own.document = document;
        }
        self.ledger.put(own);
        Ok(told(&answer?, false))
    }

    fn withdraw(&self, line: &mut Line, api: &str, draw: u32) -> io::Result<Told> {
        let Some(mut own) = self.ledger.take(draw) else {
            return Ok(Told::Nothing);
        };
        let place = format!("{api}/contributions/{}", own.contribution);
        let answer = line.ask("DELETE", &place, &authorization(&own.receipt), "");
        own.is_withdrawn = answer.as_ref().is_ok_and(|answer| answer.status == 200);
        self.ledger.put(own);
        Ok(told(&answer?, false))
    }
}

fn authorization(receipt: &str) -> String {
    format!("authorization: Receipt {receipt}\r\n")
}

fn told(answer: &Answer, is_question: bool) -> Told {
    match answer.status {
        200 | 201 | 304 => Told::Done,
        // Before enough players are in, that is what there is to say.
        403 if is_question => Told::Done,
        _ if answer.is_put_off => Told::PutOff,
        status => Told::Failed(format!(
            "{status}: {}",
            String::from_utf8_lossy(&answer.body)
        )),
    }
}

/// The entity tags that one of the crew has seen.
#[derive(Debug, Default)]
struct Tags {
    pooled: Option<String>,
    aggregate: Option<String>,
}

impl Tags {
    fn of(&mut self, kind: Kind) -> &mut Option<String> {
        if kind == Kind::Pooled {
            &mut self.pooled
        } else {
            &mut self.aggregate
        }
    }

    fn seen(&mut self, kind: Kind, answer: Answer) -> Answer {
        if answer.tag.is_some() {
            self.of(kind).clone_from(&answer.tag);
        }
        answer
    }

    fn fields(&mut self, kind: Kind) -> String {
        let tag = self.of(kind).as_ref();
        tag.map_or_else(String::new, |tag| format!("if-none-match: {tag}\r\n"))
    }
}
