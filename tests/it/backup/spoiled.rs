//! Spoiled backups: refused, with words that name the place and the mend, and no data folder made.

use super::{backup, check, refusal, restore};
use crate::harness::{self, contribution, varied};
use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

const FILES: [&str; 4] = [
    "tautpool.sqlite",
    "receipt.key",
    "backup.json",
    "SHA256SUMS",
];

/// A backup of a few contributions.
fn good() -> (TempDir, PathBuf) {
    let (folder, server) = harness::server();
    for number in 0..6 {
        server.post(&contribution(varied(number))).expect(201);
    }
    let to = tempfile::tempdir().unwrap();
    let (made, _) = backup(folder.path(), to.path());
    (to, made)
}

fn copied(backup: &Path, to: &Path) {
    let _ = fs::remove_dir_all(to);
    fs::create_dir(to).unwrap();
    for file in FILES {
        fs::copy(backup.join(file), to.join(file)).unwrap();
    }
}

/// Restoring and checking refuse it with the same words, and no data folder is made.
fn refused(backup: &Path) -> String {
    let parent = tempfile::tempdir().unwrap();
    let data = parent.path().join("data");
    let words = refusal(&restore(backup, &data));
    assert_eq!(words, refusal(&check(backup)));
    assert_eq!(fs::read_dir(parent.path()).unwrap().count(), 0, "{words}");
    words
}

/// The hashes written anew, so that what lies behind them is asked.
fn hash_again(backup: &Path) {
    let mut list = String::new();
    for file in &FILES[..3] {
        let hash = Sha256::digest(fs::read(backup.join(file)).unwrap());
        list.push_str(&format!("{}  {file}\n", HEXLOWER.encode(&hash)));
    }
    fs::write(backup.join("SHA256SUMS"), list).unwrap();
}

#[test]
fn a_flipped_bit_anywhere_is_found_and_its_file_named() {
    let (to, good) = good();
    let spoiled = to.path().join("spoiled");
    copied(&good, &spoiled);
    for file in FILES {
        let path = spoiled.join(file);
        let whole = fs::read(&path).unwrap();
        let places = harness::runs(5, 200);
        for place in 0..places {
            let at = (whole.len() - 1) * place / (places - 1);
            let mut bytes = whole.clone();
            bytes[at] ^= 1 << (place % 8);
            fs::write(&path, bytes).unwrap();
            let words = refused(&spoiled);
            let told = words.contains(file) || (file == "SHA256SUMS" && words.contains("hash"));
            assert!(told && words.contains("copy"), "{file} {at}: {words}");
        }
        fs::write(&path, &whole[..whole.len() - 1]).unwrap();
        assert!(refused(&spoiled).contains("copy"), "{file} cut short");
        fs::remove_file(&path).unwrap();
        let words = refused(&spoiled);
        assert!(
            words.contains(&format!(" {file}")),
            "{file} missing: {words}"
        );
        fs::write(&path, whole).unwrap();
    }
    assert!(check(&spoiled).status.success());
}

#[test]
fn a_damaged_or_foreign_database_is_found_also_where_its_hash_fits() {
    let (to, good) = good();
    let spoiled = to.path().join("spoiled");
    let database = spoiled.join("tautpool.sqlite");
    let whole = fs::read(good.join("tautpool.sqlite")).unwrap();
    let mut n_found = 0;
    let pages = whole.len() / 4096;
    for page in 1..pages {
        copied(&good, &spoiled);
        let mut bytes = whole.clone();
        bytes[page * 4096..page * 4096 + 64].fill(0xA5);
        fs::write(&database, bytes).unwrap();
        hash_again(&spoiled);
        n_found += usize::from(refused(&spoiled).contains("damaged"));
    }
    assert_eq!(n_found, pages - 1);
    copied(&good, &spoiled);
    fs::write(&database, vec![b'x'; 8192]).unwrap();
    hash_again(&spoiled);
    assert!(refused(&spoiled).contains("damaged"));
    fs::remove_file(&database).unwrap();
    let foreign = rusqlite::Connection::open(&database).unwrap();
    foreign.execute_batch("CREATE TABLE other (x)").unwrap();
    drop(foreign);
    hash_again(&spoiled);
    assert!(refused(&spoiled).contains("not made by tautpool"));
}

#[test]
fn a_broken_reference_is_found() {
    let (to, good) = good();
    let spoiled = to.path().join("spoiled");
    copied(&good, &spoiled);
    let database = rusqlite::Connection::open(spoiled.join("tautpool.sqlite")).unwrap();
    database.pragma_update(None, "foreign_keys", false).unwrap();
    database
        .execute("DELETE FROM player WHERE id = 1", [])
        .unwrap();
    drop(database);
    hash_again(&spoiled);
    let words = refused(&spoiled);
    assert!(
        words.contains("damaged") && words.contains("player"),
        "{words}"
    );
}

#[test]
fn the_key_of_another_folder_is_found() {
    let (to, good) = good();
    let spoiled = to.path().join("spoiled");
    copied(&good, &spoiled);
    let other = harness::folder();
    fs::copy(
        other.path().join("receipt.key"),
        spoiled.join("receipt.key"),
    )
    .unwrap();
    hash_again(&spoiled);
    assert!(refused(&spoiled).contains("does not belong to the database"));
    fs::write(spoiled.join("receipt.key"), b"short").unwrap();
    hash_again(&spoiled);
    assert!(refused(&spoiled).contains("does not belong to the database"));
}

#[test]
fn a_newer_format_is_refused_in_words_by_restoring_and_by_serving() {
    let (to, good) = good();
    let newer = to.path().join("newer");
    copied(&good, &newer);
    let database = rusqlite::Connection::open(newer.join("tautpool.sqlite")).unwrap();
    database.pragma_update(None, "user_version", 99).unwrap();
    drop(database);
    hash_again(&newer);
    assert!(refused(&newer).contains("use a newer tautpool"));
}

#[test]
fn what_is_no_backup_is_refused() {
    let folder = harness::folder();
    for nothing in [folder.path(), Path::new("no/such/folder")] {
        assert!(refused(nothing).contains("it is no backup"));
    }
}
