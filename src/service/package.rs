//! The tables of a download, made when somebody first asks for one of them and kept ready then.

use super::Ready;
use crate::receipt::sha256_of;
use crate::wire::package::{About, Edition, File, FileFacts, descriptor, written};
use data_encoding::{BASE64URL_NOPAD, HEXLOWER};
use serde_json::Value;
use std::sync::OnceLock;

/// Every file of the package of one publication. The same publication is always given, so whoever
/// comes while it is made waits for it, and it is made once.
#[derive(Debug, Default)]
pub(super) struct Package(OnceLock<Vec<(File, Ready)>>);

impl Package {
    /// One file; `made` gives all of them.
    pub(super) fn file(
        &self,
        file: File,
        made: impl FnOnce() -> Vec<(File, Ready)>,
    ) -> Option<Ready> {
        let files = self.0.get_or_init(made).iter();
        let mut found = files.filter(|(kept, _)| *kept == file);
        found.next().map(|(_, ready)| ready.clone())
    }
}

/// The files of an aggregate document, with the hash of each in their descriptor.
pub(super) fn files(aggregate: &Value, edition: Edition<'_>) -> Vec<(File, Ready)> {
    let tables = File::all().into_iter().filter_map(|file| match file {
        File::Table(table, format) => Some((file, Ready::new(written(aggregate, table, format)))),
        File::Descriptor => None,
    });
    let mut files: Vec<(File, Ready)> = tables.collect();
    let facts: Vec<FileFacts> = files
        .iter()
        .map(|(file, ready)| FileFacts {
            file: *file,
            sha256: HEXLOWER.encode(&sha256_of(&ready.body)),
            bytes: ready.body.len(),
        })
        .collect();
    let descriptor = descriptor(&About { aggregate, edition }, &facts);
    files.push((File::Descriptor, Ready::new(format!("{descriptor:#}\n"))));
    files
}

/// A globally unique name of bytes: their hash as a URI (RFC 6920).
pub(super) fn name_of(bytes: &[u8]) -> String {
    let hash = BASE64URL_NOPAD.encode(&sha256_of(bytes));
    format!("ni:///sha-256;{hash}")
}
