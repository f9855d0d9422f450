//! The download of a publication: the document, and its tables, which are made when somebody first
//! asks for one of them and kept ready then.

use super::Ready;
use super::ready::Extent;
use crate::disclosure::Everybody;
use crate::findings::{Findings, Publication};
use crate::wire::aggregate;
use crate::wire::package::{About, Edition, File, FileFacts, descriptor, entries, write};
use data_encoding::{BASE64URL_NOPAD, HEXLOWER};
use std::sync::OnceLock;

/// From so many rows on, some 35 MB as text, a download is kept in compressed form alone.
const MANY_ROWS: usize = 100_000;

/// What a download is made from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Published<'a> {
    pub(super) publication: &'a Publication,
    pub(super) findings: &'a Findings,
    pub(super) everybody: &'a [Everybody],
}

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

impl Published<'_> {
    fn extent(&self) -> Extent {
        if self.publication.rows.len() < MANY_ROWS {
            Extent::Usual
        } else {
            Extent::Large
        }
    }

    /// The document.
    pub(super) fn document(&self) -> Ready {
        Ready::written(self.extent(), |out| {
            aggregate::write(out, self.publication, self.findings, self.everybody)
        })
    }

    /// The tables, with the hash of each in their descriptor.
    pub(super) fn files(&self, edition: Edition<'_>) -> Vec<(File, Ready)> {
        let head = aggregate::without_rows(self.publication, self.findings, self.everybody);
        let mut files = Vec::new();
        for file in File::all() {
            if let File::Table(table, format) = file {
                let written = Ready::written(self.extent(), |out| {
                    write(out, entries(table, &head, self.publication), table, format)
                });
                files.push((file, written));
            }
        }
        let facts: Vec<FileFacts> = files
            .iter()
            .map(|(file, ready)| FileFacts {
                file: *file,
                sha256: HEXLOWER.encode(&ready.sha256),
                bytes: ready.length(),
            })
            .collect();
        let about = About {
            aggregate: &head,
            edition,
        };
        let descriptor = descriptor(&about, &facts);
        let descriptor = Ready::new(format!("{descriptor:#}\n"));
        files.push((File::Descriptor, descriptor));
        files
    }
}

/// A globally unique name of bytes with this SHA-256: the hash as a URI (RFC 6920).
pub(super) fn name_of(sha256: &[u8]) -> String {
    format!("ni:///sha-256;{}", BASE64URL_NOPAD.encode(sha256))
}
