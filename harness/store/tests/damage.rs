//! Files that were tampered with, cut, flipped, made by another version or by
//! another program.

use super::*;
use crate::record::chain::ChainFault;
use crate::seed::Seed;

/// A closed store with two runs and a document; returns its path and head.
fn closed(folder: &TempDir) -> (PathBuf, Digest) {
    let store = open(folder);
    append_all(&store, &entries("r1"));
    append_all(&store, &entries("r2"));
    let at = Noon.now();
    store
        .issue(&run_id("r1"), at, "certificate", "r1.pdf", b"page".to_vec())
        .expect("room");
    let head = store.reader().and_then(|reader| reader.head());
    (store.path().to_owned(), head.expect("readable"))
}

fn verify(path: &Path, head: Option<Digest>) -> Result<Verification, Tampering> {
    let reader = Reader::open_as_found(path).expect("a store");
    reader.verify(head).expect("readable")
}

fn tampered(sql: &str) -> (TempDir, PathBuf, Digest) {
    let folder = folder();
    let (path, head) = closed(&folder);
    let connection = Connection::open(&path).expect("a database");
    connection
        .pragma_update(None, "foreign_keys", false)
        .expect("a setting");
    connection.execute_batch(sql).expect(sql);
    (folder, path, head)
}

#[test]
fn tampering_is_named() {
    let run = run_id("r1");
    let altered = |position, what: &str| {
        Tampering::Chain(ChainFault::Altered {
            position,
            what: what.to_owned(),
        })
    };
    for (sql, fault) in [
        (
            "UPDATE lines SET text = replace(text, '0.0123', '0.0083') WHERE position = 10",
            altered(10, "run r1, entry 10"),
        ),
        (
            "UPDATE lines SET link = replace(link, '0', '1') WHERE position = 3",
            altered(3, "run r1, entry 3"),
        ),
        (
            "UPDATE lines SET text = 'x' WHERE position = 1",
            altered(1, "not readable"),
        ),
        (
            "DELETE FROM lines WHERE position = 5",
            Tampering::Chain(ChainFault::Missing {
                position: 5,
                found: 6,
            }),
        ),
        (
            "DELETE FROM lines WHERE position = 5;
             UPDATE lines SET position = -position WHERE position > 5;
             UPDATE lines SET position = -position - 1 WHERE position < 0",
            Tampering::Chain(ChainFault::EntryMissing {
                run: run.clone(),
                sequence: 5,
                position: 5,
            }),
        ),
        (
            "UPDATE lines SET position = 99 WHERE position = 7;
             UPDATE lines SET position = 7 WHERE position = 8;
             UPDATE lines SET position = 8 WHERE position = 99",
            Tampering::Chain(ChainFault::Reordered {
                position: 7,
                found: 8,
            }),
        ),
        (
            "UPDATE lines SET run = 'r2', sequence = 90 WHERE position = 6",
            Tampering::Filed { position: 6 },
        ),
        (
            "UPDATE runs SET verdict = 'pass' WHERE run = 'r1'",
            Tampering::Listed { run: run.clone() },
        ),
        (
            "UPDATE runs SET serial = 'GR-0001' WHERE run = 'r1'",
            Tampering::Listed { run: run.clone() },
        ),
        (
            "DELETE FROM runs WHERE run = 'r1'",
            Tampering::Listed { run: run.clone() },
        ),
        (
            "DELETE FROM blobs WHERE size = 4",
            Tampering::IssuedGone {
                run,
                name: "r1.pdf".into(),
            },
        ),
        (
            "UPDATE blobs SET packed = (SELECT packed FROM blobs WHERE size > 4) WHERE size = 4",
            Tampering::Bytes {
                digest: Digest::of(b"page").to_string(),
            },
        ),
    ] {
        let (_folder, path, _) = tampered(sql);
        assert_eq!(verify(&path, None), Err(fault), "{sql}");
    }
}

/// Lets `away` happen to a row with its index and `back` without, so that the row is
/// as it was and is not found by that index.
fn hide(path: &Path, index: &str, [away, back]: [&str; 2]) {
    let statements = |sql: &str| {
        let connection = Connection::open(path).expect("a database");
        let unchecked = "PRAGMA foreign_keys = off; PRAGMA writable_schema = on;";
        connection.execute_batch(unchecked).expect("settings");
        connection.execute_batch(sql).expect(sql);
    };
    statements(away);
    statements(&format!(
        "CREATE TABLE aside AS SELECT * FROM sqlite_schema WHERE name = '{index}';
         DELETE FROM sqlite_schema WHERE name = '{index}';"
    ));
    statements(back);
    statements("INSERT INTO sqlite_schema SELECT * FROM aside; DROP TABLE aside;");
}

/// The file format's own statement, <https://www.sqlite.org/pragma.html>: a quick
/// check leaves out whether index entries agree with their tables.
#[test]
fn what_an_index_hides_is_named_and_not_handed_out() {
    let serial = [
        "UPDATE runs SET serial = 'GR-9999' WHERE run = 'r2'",
        "UPDATE runs SET serial = 'GR-0042' WHERE run = 'r2'",
    ];
    let line = [
        "UPDATE lines SET run = 'r9' WHERE kind = 'issued'",
        "UPDATE lines SET run = 'r1' WHERE kind = 'issued'",
    ];
    for (index, rows, is_list) in [
        ("runs_by_serial", serial, true),
        ("lines_by_run", line, false),
    ] {
        let folder = folder();
        let (path, head) = closed(&folder);
        hide(&path, index, rows);
        let reader = Reader::open_as_found(&path).expect("a store");
        let Err(Tampering::Structure { what }) = reader.verify(Some(head)).expect("readable")
        else {
            panic!("{index} hides a row");
        };
        assert!(what.contains(index), "{what}");
        let opened = Reader::open(&path).map(|_| ());
        assert_eq!(opened.is_err(), is_list, "{index}");
        assert!(reader.check_indexes().is_err() || is_list, "{index}");
    }
}

#[test]
fn a_view_or_an_index_that_is_not_ours_is_named() {
    for sql in [
        "CREATE INDEX quick ON runs (serial) WHERE verdict = 'pass'",
        "CREATE TRIGGER kind AFTER INSERT ON runs BEGIN SELECT 1; END",
        "DROP INDEX runs_by_lot",
        "DROP INDEX runs_by_lot; CREATE INDEX runs_by_lot ON runs (first, lot)",
    ] {
        let (_folder, path, head) = tampered(sql);
        let reader = Reader::open_as_found(&path).expect("a store");
        let found = reader.verify(Some(head)).expect("readable");
        assert!(matches!(found, Err(Tampering::Structure { .. })), "{sql}");
        assert!(Reader::open(&path).is_err(), "{sql}");
    }
    // An analysis of its tables that somebody asked the database for is no harm.
    let (_folder, path, head) = tampered("ANALYZE");
    assert!(verify(&path, Some(head)).is_ok());
}

#[test]
fn names_of_the_stores_own_files_are_reserved() {
    for name in [
        "records.sqlite",
        "model.sqlite",
        "Records.SQLite-WAL",
        "model.sqlite-lock",
    ] {
        assert!(Kind::is_reserved(name), "{name}");
    }
    for name in ["records", "records.sqlite2", "GR-0042", "model"] {
        assert!(!Kind::is_reserved(name), "{name}");
    }
}

#[test]
fn a_cut_tail_is_found_with_a_head() {
    let cut = "DELETE FROM lines WHERE position > 13; DELETE FROM runs WHERE run = 'r2'";
    let (_folder, path, head) = tampered(cut);
    assert!(verify(&path, None).is_ok());
    let missing = Tampering::Chain(ChainFault::HeadNotFound { head });
    assert_eq!(verify(&path, Some(head)), Err(missing));
}

#[test]
fn an_observation_that_was_removed_is_told() {
    let (_folder, path, _) = tampered("DELETE FROM blobs WHERE size > 4");
    let checked = verify(&path, None).expect("bulk suites keep none either");
    assert_eq!(checked.observations_not_kept, 2);
}

fn refused(path: &Path) -> StoreError {
    let opened = Store::open(path, Kind::Records, Durability::EveryEvent, &Noon);
    opened.map(|_| ()).expect_err("it is no store to write to")
}

#[test]
fn other_files_are_refused_and_left_alone() {
    let folder = folder();
    let text = folder.path().join("text.sqlite");
    std::fs::write(
        &text,
        "not a database, but quite long enough to be one".repeat(40),
    )
    .expect("room");
    assert!(matches!(refused(&text), StoreError::NotAStore { .. }));
    assert!(std::fs::read_to_string(&text).is_ok_and(|t| t.starts_with("not a")));

    let foreign = folder.path().join("foreign.sqlite");
    let connection = Connection::open(&foreign).expect("a database");
    connection
        .execute_batch("CREATE TABLE things (name TEXT)")
        .expect("room");
    drop(connection);
    assert!(matches!(refused(&foreign), StoreError::NotAStore { .. }));

    let (path, _) = closed(&folder);
    let model = Store::open(&path, Kind::Model, Durability::EveryEvent, &Noon);
    assert!(matches!(model, Err(StoreError::OtherKind { .. })));

    let connection = Connection::open(&path).expect("a database");
    connection
        .pragma_update(None, "user_version", 2)
        .expect("a setting");
    drop(connection);
    let newer = StoreError::Newer {
        path: path.clone(),
        found: 2,
        known: 1,
    };
    assert_eq!(refused(&path), newer);
    assert_eq!(Reader::open(&path).map(|_| ()), Err(newer.clone()));
    assert!(newer.to_string().contains("newer version"));

    let absent = folder.path().join("absent.sqlite");
    assert!(matches!(
        Reader::open(&absent),
        Err(StoreError::Absent { .. })
    ));
    let folder_itself = Reader::open(folder.path()).map(|_| ());
    assert!(folder_itself.is_err());
    let below_a_file = text.join("records.sqlite");
    assert!(matches!(
        refused(&below_a_file),
        StoreError::CannotOpen { .. }
    ));
}

/// A folder nobody can write to, whoever runs the test.
#[test]
#[cfg(target_os = "linux")]
fn a_folder_without_room_for_files_is_an_error() {
    let opened = Store::for_run(
        Path::new("/proc/self"),
        false,
        Durability::EveryEvent,
        &Noon,
    );
    let fault = opened.map(|_| ()).expect_err("nothing can be made there");
    assert!(
        matches!(
            fault,
            StoreError::CannotOpen { .. } | StoreError::ReadOnly { .. }
        ),
        "{fault}"
    );
}

/// Whatever was done to the file: no panic, and either something says that it
/// is wrong or every record still reads as it was.
fn looks(path: &Path, what: &str) {
    let verified = Reader::open(path).and_then(|reader| {
        let checked = reader.verify(None)?;
        let read: Result<Vec<_>, _> = ["r1", "r2"]
            .into_iter()
            .map(|run| reader.entries(&run_id(run)))
            .collect();
        Ok((checked, read?))
    });
    if let Ok((Ok(_), read)) = verified {
        assert_eq!(read, [entries("r1"), entries("r2")], "{what}");
    }
    let opened = Store::open(path, Kind::Records, Durability::EveryEvent, &Noon);
    drop(opened);
}

#[test]
fn cut_files_are_errors() {
    let good = folder();
    let (path, _) = closed(&good);
    let bytes = std::fs::read(path).expect("a file");
    let mut lengths = vec![0, 1, 15, 16, 99, 100, 511, 4095, 4096, 4097];
    lengths.extend((8192..bytes.len()).step_by(4096));
    lengths.extend((5000..bytes.len()).step_by(7919));
    for length in lengths {
        let place = folder();
        let path = place.path().join("records.sqlite");
        std::fs::write(&path, &bytes[..length]).expect("room");
        if let Ok(reader) = Reader::open(&path) {
            let intact = reader.verify(None).is_ok_and(|checked| checked.is_ok());
            assert!(!intact, "cut to {length} of {}", bytes.len());
        }
        looks(&path, &format!("cut to {length}"));
    }
}

#[test]
fn flipped_bits_are_found_or_harmless() {
    let good = folder();
    let (path, _) = closed(&good);
    let bytes = std::fs::read(path).expect("a file");
    let mut chance = Seed(42).stream(&[1]);
    let place = folder();
    let path = place.path().join("records.sqlite");
    for round in 0..300 {
        let mut flipped = bytes.clone();
        // Every bit of the header's first bytes, then anywhere.
        let at = if round < 100 {
            round
        } else {
            (chance.uniform() * bytes.len() as f64) as usize
        };
        let bit = chance.next_u64() % 8;
        flipped[at] ^= 1 << bit;
        for leftover in ["-wal", "-shm"] {
            let _ = std::fs::remove_file(place.path().join(format!("records.sqlite{leftover}")));
        }
        std::fs::write(&path, &flipped).expect("room");
        looks(&path, &format!("bit {bit} of byte {at}"));
    }
}
