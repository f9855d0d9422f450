//! `tautpool demo`: an invented study to look around in.

use super::progress::Doing;
use super::{Demo, Failure, serve, telemetry, wrong_use};
use crate::access::Token;
use crate::clock;
use crate::demo::crowd::{self, Kind, Settings};
use crate::demo::{STUDY, Stage, verdicts};
use crate::findings::labels::{band_label, outcome_label, unit_words};
use crate::http::Front;
use crate::intake;
use crate::numbers;
use crate::release::PublicUrl;
use serde_json::Value;
use std::io::{self, Write};
use std::net::SocketAddr;
use std::process::ExitCode;
use std::sync::Arc;
use std::thread;
use std::time::Duration;
use ureq::Body;
use ureq::http::Response;

pub(super) fn run(options: &Demo) -> Result<ExitCode, Failure> {
    if let Some(count) = options.send {
        return send(usize::from(count), &options.to);
    }
    telemetry::start(&options.listen.log, options.listen.log_format)?;
    let address = options.listen.listen;
    if !address.ip().is_loopback() {
        let words = format!("the demo listens on this machine only, not on {address}");
        return Err(wrong_use(words));
    }
    let listener = serve::bind(address)?;
    let doing = Doing::now("filling the invented study");
    let stage = Stage::set(clock::now_ms())?;
    drop(doing);
    let address = listener.local_addr()?;
    stage
        .service
        .reached_at(PublicUrl::parse(&format!("http://{address}"))?);
    let mut out = io::stdout().lock();
    describe_crowd(&mut out, &stage)?;
    describe_truth(&mut out, &stage)?;
    let code = stage.service.make_link(clock::now_ms())?;
    describe_doors(&mut out, &stage, address, &code)?;
    out.flush()?;
    drop(out);
    serve::until_stopped(
        Arc::clone(&stage.service),
        listener,
        &options.listen,
        Front::Nothing,
        None,
        None,
    )
}

fn describe_crowd(out: &mut impl Write, stage: &Stage) -> io::Result<()> {
    writeln!(
        out,
        "An invented study with an invented crowd. Nobody hit these balls.\n"
    )?;
    writeln!(
        out,
        "{} contributions accepted: {} honest, {} of an unfinished session, {} forged and not caught by the door.",
        stage.accepted.len() + stage.held.len(),
        stage.count(Kind::Honest),
        stage.count(Kind::Unfinished),
        stage.count(Kind::Forgery)
    )?;
    writeln!(
        out,
        "Of these, {} wait until the host has looked at them: {} of the {} forged, {} honest and {} of an unfinished session.",
        stage.held.len(),
        stage.count_held(Kind::Forgery),
        stage.count(Kind::Forgery),
        stage.count_held(Kind::Honest),
        stage.count_held(Kind::Unfinished)
    )?;
    let refused: Vec<String> = stage
        .refused
        .iter()
        .map(|(code, count)| format!("{code} ({count})"))
        .collect();
    writeln!(
        out,
        "Refused at the door, by fault: {}.\n",
        refused.join(", ")
    )
}

fn describe_truth(out: &mut impl Write, stage: &Stage) -> io::Result<()> {
    writeln!(
        out,
        "The truth is known here. Is it inside the published 95 % range?"
    )?;
    let verdicts = verdicts(stage);
    for verdict in &verdicts {
        writeln!(
            out,
            "  {:<16} {:<16} {:>6} ({}) {:<7} truth {:>6}  {}",
            outcome_label(verdict.key.outcome),
            band_label(verdict.key.band, &stage.study.protocol.analysis.bands),
            numbers::signed(verdict.estimate, 2),
            numbers::interval(verdict.interval.low, verdict.interval.high, 2),
            unit_words(verdict.key.outcome),
            numbers::signed(verdict.truth, 2),
            if verdict.holds() { "inside" } else { "OUTSIDE" }
        )?;
    }
    let inside = verdicts.iter().filter(|verdict| verdict.holds()).count();
    writeln!(
        out,
        "  {inside} of {} inside; about 19 of 20 are to be expected.\n",
        verdicts.len()
    )
}

fn describe_doors(
    out: &mut impl Write,
    stage: &Stage,
    address: SocketAddr,
    code: &Token,
) -> io::Result<()> {
    let slug = &stage.study.label.slug;
    let program = std::env::current_exe()
        .map_or_else(|_| "tautpool".to_owned(), |path| path.display().to_string());
    writeln!(out, "Look here (Ctrl-C stops):")?;
    writeln!(out, "  page       http://{address}/studies/{slug}")?;
    writeln!(
        out,
        "  take part  http://{address}/studies/{slug}/take-part"
    )?;
    writeln!(
        out,
        "  pooled     http://{address}/api/v1/studies/{slug}/pooled"
    )?;
    writeln!(
        out,
        "  aggregate  http://{address}/api/v1/studies/{slug}/aggregate"
    )?;
    writeln!(
        out,
        "  host       http://{address}/host/open/{}  (opens once, within an hour)",
        code.reveal()
    )?;
    writeln!(
        out,
        "Send {} more contributions from another terminal, which makes the next public batch:",
        stage.study.protocol.batch_players
    )?;
    writeln!(
        out,
        "  {program} demo --send {} --to http://{address}",
        stage.study.protocol.batch_players
    )
}

/// Invented sessions are for invented studies only.
fn is_demo(to: &str, slug: &str) -> Result<(), Failure> {
    let address = format!("{}/api/v1/studies", to.trim_end_matches('/'));
    let mut answer = ureq::get(&address)
        .call()
        .map_err(|error| unreached(to, error))?;
    let studies: Value = serde_json::from_str(&answer.body_mut().read_to_string()?)?;
    let is_invented = |entry: &Value| {
        entry.pointer("/study/study") == Some(&slug.into())
            && entry.pointer("/study/invented") == Some(&true.into())
    };
    let entries = studies.pointer("/studies").and_then(Value::as_array);
    if entries.is_some_and(|entries| entries.iter().any(is_invented)) {
        return Ok(());
    }
    Err(format!("{to} serves no invented study named {slug}: is it the demo?").into())
}

/// Why there is no answer to use, and what to do about it.
fn unreached(address: &str, error: ureq::Error) -> String {
    let why = match error {
        ureq::Error::StatusCode(status) => {
            return format!("{address} answers with status {status}: is it the demo?");
        }
        ureq::Error::Io(error) => error.to_string(),
        other => other.to_string(),
    };
    format!(
        "{address} cannot be reached ({why}): start the demo with `tautpool demo` and leave it running, or name where it runs with --to"
    )
}

/// How often one contribution is tried where as many as one may send came before it.
const MOST_TRIES: u32 = 5;

/// Sends one contribution. Who may not send so many at once waits as long as the answer says.
fn post(address: &str, document: &str) -> Result<Response<Body>, Failure> {
    let key = uuid::Uuid::new_v4().to_string();
    for _ in 0..MOST_TRIES {
        let answer = ureq::post(address)
            .config()
            .http_status_as_error(false)
            .build()
            .header("content-type", "application/json")
            .header("idempotency-key", &key)
            .send(document)
            .map_err(|error| unreached(address, error))?;
        let wait = answer.headers().get("retry-after");
        let wait = wait.and_then(|text| text.to_str().ok()?.parse().ok());
        match (answer.status().as_u16(), wait) {
            (201, _) => return Ok(answer),
            (429, Some(seconds)) => thread::sleep(Duration::from_secs(seconds).min(A_MINUTE)),
            (status, _) => return Err(format!("{address}: status {status}").into()),
        }
    }
    Err(format!("{address}: no more contributions are taken at the moment").into())
}

/// Longest that is waited for one try: what a client may send in a minute is back then.
const A_MINUTE: Duration = Duration::from_mins(1);

/// Sends more of the crowd to a running demo, over HTTP as anybody would.
fn send(count: usize, to: &str) -> Result<ExitCode, Failure> {
    let settings = Settings::embedded()?;
    let study = intake::study(STUDY.as_bytes())?;
    let address = format!(
        "{}/api/v1/studies/{}/contributions",
        to.trim_end_matches('/'),
        study.label.slug
    );
    is_demo(to, &study.label.slug)?;
    // A different stretch of the crowd at every call, so that these are new players.
    let from = usize::try_from(clock::now_ms())?;
    let mut out = io::stdout().lock();
    for sent in crowd::more(&settings, from, count) {
        let mut answer = post(&address, &sent.document)?;
        let receipt: Value = serde_json::from_str(&answer.body_mut().read_to_string()?)?;
        let counts = receipt.get("counts").and_then(Value::as_str);
        writeln!(out, "Sent one: {}", counts.unwrap_or_default())?;
    }
    Ok(ExitCode::SUCCESS)
}
