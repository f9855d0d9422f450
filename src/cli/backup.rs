//! `tautpool backup` and `tautpool restore`.

use super::progress::Doing;
use super::{Failure, MakeBackup, Restore};
use crate::backup::{self, Backup, Restored};
use crate::clock;
use crate::store::Store;
use serde_json::{Map, Value, json};
use std::io::{self, Write};
use std::path::Path;
use std::process::ExitCode;

pub(super) fn make(options: &MakeBackup) -> Result<ExitCode, Failure> {
    let doing = Doing::now("copying and checking");
    let made = backup::make(&options.data.data, &options.to, clock::now_ms())?;
    drop(doing);
    if options.json {
        return written(&document(&made));
    }
    let mut out = io::stdout().lock();
    writeln!(out, "Backup {}", made.folder.display())?;
    describe(&mut out, &made)?;
    writeln!(
        out,
        "Checked: integrity, references, receipt key. It is as secret as the data folder.\nRestore it with: tautpool restore {} --data DIR",
        made.folder.display()
    )?;
    Ok(ExitCode::SUCCESS)
}

pub(super) fn restore(options: &Restore) -> Result<ExitCode, Failure> {
    match &options.data {
        Some(data) if !options.check => restored(options, data),
        _ => checked(&options.backup, options.json),
    }
}

fn checked(folder: &Path, json: bool) -> Result<ExitCode, Failure> {
    let doing = Doing::now("checking");
    let good = backup::check(folder)?;
    drop(doing);
    if json {
        return written(&document(&good));
    }
    let mut out = io::stdout().lock();
    writeln!(out, "The backup {} is whole", folder.display())?;
    describe(&mut out, &good)?;
    Ok(ExitCode::SUCCESS)
}

fn restored(options: &Restore, data: &Path) -> Result<ExitCode, Failure> {
    let doing = Doing::now("checking and copying");
    let Restored {
        backup,
        data,
        n_withdrawn,
    } = backup::restore(&options.backup, data, &options.withdrawn_in)?;
    drop(doing);
    if options.json {
        let mut document = document(&backup);
        document.insert("data".to_owned(), json!(data.display().to_string()));
        document.insert("withdrawn".to_owned(), json!(n_withdrawn));
        document.insert("format_now".to_owned(), json!(Store::format()));
        return written(&document);
    }
    let mut out = io::stdout().lock();
    writeln!(out, "Restored {}", data.display())?;
    describe(&mut out, &backup)?;
    if backup.contents.format < Store::format() {
        writeln!(out, "  brought to database format {}", Store::format())?;
    }
    if !options.withdrawn_in.is_empty() {
        writeln!(
            out,
            "  withdrawn since, and withdrawn here too: {n_withdrawn}"
        )?;
    }
    writeln!(
        out,
        "Whatever was sent, corrected, withdrawn or released after the backup was made is not in it;\nwithdrawals are taken over from a newer backup or data folder by --withdrawn-in.\nServe it with: tautpool serve --data {}",
        data.display()
    )?;
    Ok(ExitCode::SUCCESS)
}

fn describe(out: &mut impl Write, backup: &Backup) -> io::Result<()> {
    let counts = backup.contents.counts.iter();
    let counts: Vec<String> = counts
        .map(|(name, count)| format!("{name} {count}"))
        .collect();
    writeln!(out, "  counts: {}", counts.join(", "))?;
    writeln!(
        out,
        "  database of format {}, {} bytes, SHA-256 {}",
        backup.contents.format, backup.bytes, backup.sha256
    )
}

fn document(backup: &Backup) -> Map<String, Value> {
    let counts = backup.contents.counts.iter();
    let holds: Map<String, Value> = counts
        .map(|(name, count)| ((*name).to_owned(), json!(count)))
        .collect();
    let mut document = Map::new();
    for (field, value) in [
        ("backup", json!(backup.folder.display().to_string())),
        ("format", json!(backup.contents.format)),
        ("bytes", json!(backup.bytes)),
        ("sha256", json!(backup.sha256)),
        ("holds", json!(holds)),
    ] {
        document.insert(field.to_owned(), value);
    }
    document
}

fn written(document: &Map<String, Value>) -> Result<ExitCode, Failure> {
    writeln!(io::stdout().lock(), "{}", json!(document))?;
    Ok(ExitCode::SUCCESS)
}
