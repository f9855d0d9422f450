//! `tautpool pool FILE --where QUESTION`: what the query address answers, from a file.

use super::super::check::list_faults;
use super::super::progress::Doing;
use super::{Titled, describe};
use crate::cli::Failure;
use crate::findings::query::told;
use crate::findings::words::counts;
use crate::intake;
use crate::wire;
use std::io::{self, Write};
use std::process::ExitCode;

pub(super) fn run(bytes: &[u8], question: &str, as_json: bool) -> Result<ExitCode, Failure> {
    let read = intake::published(bytes).and_then(|publication| {
        let query = intake::query::read(question, &publication)?;
        Ok((publication, query))
    });
    let (publication, query) = match read {
        Ok(read) => read,
        Err(rejection) => {
            list_faults(&mut io::stderr().lock(), &rejection)?;
            return Ok(ExitCode::FAILURE);
        }
    };
    let doing = Doing::now("pooling");
    let answer = publication.ask(&query)?;
    drop(doing);
    let mut out = io::stdout().lock();
    if as_json {
        let document = wire::query::document(&publication, &query, &answer);
        writeln!(out, "{document}")?;
        return Ok(ExitCode::SUCCESS);
    }
    let asked = told(&query, &publication.rules.bands);
    let titled = Titled {
        title: format!("{asked} {}", counts(&answer.finding)),
        found: Ok(answer.finding),
        scrutiny: None,
    };
    describe(&mut out, &titled, query.choice)?;
    writeln!(out, "{}", answer.said.sentence)?;
    if let Some(certainty) = &answer.certainty {
        writeln!(out, "  certainty     {}", certainty.level.code())?;
    }
    for caveat in &answer.caveats {
        writeln!(out, "  caveat        {}", caveat.sentence())?;
    }
    for note in &answer.notes {
        writeln!(out, "  note          {}", note.sentence())?;
    }
    Ok(ExitCode::SUCCESS)
}
