//! `bufferstop records key` and `sign`, and the signatures that `verify` looks
//! at. The signature is kept with its run like any document that is handed
//! out; a secret key is read from its file and kept nowhere.

use super::stored::{known, last_of_lot, open_checked, path, record};
use crate::cli::arguments::{RecordsKey, RecordsSign};
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::cli::store_fault::store_exit;
use crate::clock::{SystemClock, WallClock};
use crate::ident::{RunId, harmless};

use crate::record::seal::{PublicKey, Seal, SecretKey};
use crate::report::words::counted;
use crate::sitting::plain_file;
use crate::sitting::{seals, signed_words};
use crate::store::{Durability, Filter, Reader, Store};
use serde_json::json;
use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};

/// What a signature is kept under.
const KIND: &str = "signature";
/// The name it is handed out under.
pub(in crate::cli) const NAME: &str = "signature.json";
/// No key file is longer.
const LONGEST_KEY: u64 = 4096;

pub(super) fn key(arguments: &RecordsKey, output: Output) -> Result<Exit, Exit> {
    let file = &arguments.file;
    let mut public_file = file.clone().into_os_string();
    public_file.push(".pub");
    let public_file = PathBuf::from(public_file);
    let mut chance = [0; 32];
    File::open("/dev/urandom")
        .and_then(|mut source| source.read_exact(&mut chance))
        .map_err(|fault| {
            warn_line!("the system gives no random bytes: {fault}");
            Exit::Store
        })?;
    let key = SecretKey::from_chance(&chance);
    let public = key.public();
    for (path, text, mode) in [
        (file, key.pem(), 0o600),
        (&public_file, public.pem(), 0o644),
    ] {
        write_new(path, &text, mode).map_err(|fault| {
            let shown = harmless(&path.display().to_string());
            if fault.kind() == io::ErrorKind::AlreadyExists {
                warn_line!("{shown} exists already; a key is never written over");
                return Exit::Usage;
            }
            warn_line!("{shown} cannot be written: {fault}");
            Exit::Store
        })?;
    }
    if output.json {
        output.document(&json!({
            "secret": file, "public": public_file, "public_key": public.to_string(),
        }));
        return Ok(Exit::Pass);
    }
    let shown = |path: &Path| harmless(&path.display().to_string());
    say_line!("secret key  {}  (yours alone)", shown(file));
    say_line!("public key  {}  (to hand out)", shown(&public_file));
    say_line!("            {public}");
    say_line!(
        "Whoever has the secret key can sign in your name, and no signature can be taken back.\n\
         It has no password: keep it off shared disks, and keep one copy where only you can reach it.\n\
         Give the public key to your customers by a way they trust, not with the records alone."
    );
    Ok(Exit::Pass)
}

fn write_new(path: &Path, text: &str, mode: u32) -> io::Result<()> {
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(mode)
        .open(path)?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

pub(super) fn sign(arguments: &RecordsSign, output: Output) -> Result<Exit, Exit> {
    let key = secret(&arguments.key)?;
    let reader = open_checked(&arguments.place)?;
    let runs: Vec<RunId> = match (&arguments.lot, &arguments.which) {
        (Some(lot), _) => {
            let boards = last_of_lot(&reader, lot)?;
            boards.into_iter().map(|(_, run)| run).collect()
        }
        (None, which) => vec![known(&reader, which.as_deref().unwrap_or_default())?],
    };
    // All are made before the first is kept.
    let mut seals = Vec::with_capacity(runs.len());
    for run in runs {
        let record = record(&reader, &run)?;
        let Some(statement) = signed_words(&reader, &record).map_err(|fault| store_exit(&fault))?
        else {
            warn_line!("run {run} has not ended: there is nothing to sign yet");
            return Err(Exit::Usage);
        };
        seals.push((run, key.sign(statement)));
    }
    let (path, kind) = path(&arguments.place)?;
    drop(reader);
    let store = Store::open(&path, kind, Durability::EveryEvent, &SystemClock)
        .map_err(|fault| store_exit(&fault))?;
    for (run, seal) in &seals {
        store
            .issue(run, SystemClock.now(), KIND, NAME, seal.bytes())
            .map_err(|fault| store_exit(&fault))?;
        match (output.json, seals.len()) {
            (true, 1) => output.document(&json!({ "run": run, "seal": seal })),
            (true, _) => output.line(&json!({ "run": run, "seal": seal })),
            (false, _) => {
                say!("{}", seal.statement);
                say_line!("signature {}", seal.signature);
                say_line!("by key    {}", seal.public_key);
            }
        }
    }
    Ok(Exit::Pass)
}

fn secret(path: &Path) -> Result<SecretKey, Exit> {
    let shown = harmless(&path.display().to_string());
    let text = key_text(path).map_err(|fault| {
        warn_line!("{shown} cannot be read: {fault}");
        Exit::Usage
    })?;
    let open_to_others = path
        .metadata()
        .is_ok_and(|file| file.permissions().mode() & 0o077 != 0);
    if open_to_others {
        warn_line!("{shown} can be read by others: chmod 600 it, and think of a new key");
    }
    SecretKey::from_pem(&text).map_err(|fault| {
        warn_line!("{shown}: {fault}");
        Exit::File
    })
}

fn key_text(path: &Path) -> io::Result<String> {
    let mut text = String::new();
    plain_file::open(path)?
        .take(LONGEST_KEY)
        .read_to_string(&mut text)?;
    Ok(text)
}

/// The public key that was typed: its digits, or a file that holds it.
pub(super) fn public(typed: &str) -> Result<PublicKey, Exit> {
    let text = match typed.parse::<PublicKey>() {
        Ok(key) => return Ok(key),
        Err(_) => key_text(Path::new(typed)),
    };
    let key = text.map_err(|fault| fault.to_string());
    let key = key.and_then(|text| {
        text.parse()
            .map_err(|fault: crate::record::seal::SealFault| fault.to_string())
    });
    key.map_err(|fault| {
        warn_line!("--key {}: {fault}", harmless(typed));
        Exit::Usage
    })
}

/// Runs by who signed them.
#[derive(Clone, Copy, Debug, Default, serde::Serialize)]
pub(super) struct Signed {
    /// By the key asked for.
    by_key: u64,
    /// By other keys only.
    by_others: u64,
    unsigned: u64,
}

impl Signed {
    /// Counts the signatures of a whole store, of which `expected` are by `key`; the
    /// inner error is a signature that does not hold, or another count.
    pub(super) fn count(
        reader: &Reader,
        key: &PublicKey,
        expected: Option<u64>,
    ) -> Result<Result<Self, String>, Exit> {
        let mut signed = Self::default();
        for run in reader.runs(&Filter::default()) {
            let run = run.map_err(|fault| store_exit(&fault))?.run;
            let seals = seals(reader, &run).map_err(|fault| store_exit(&fault))?;
            if seals.is_empty() {
                signed.unsigned += 1;
                continue;
            }
            let words = signed_words(reader, &record(reader, &run)?);
            let words = words.map_err(|fault| store_exit(&fault))?;
            match checked(&seals, words.as_deref(), key) {
                Ok(true) => signed.by_key += 1,
                Ok(false) => signed.by_others += 1,
                Err(fault) => return Ok(Err(format!("run {run}: {fault}"))),
            }
        }
        Ok(signed.decided(expected))
    }

    /// A single run that stands alone.
    pub(super) fn of_one(
        seals: &[Vec<u8>],
        words: Option<&str>,
        key: &PublicKey,
    ) -> Result<Self, String> {
        let mut signed = Self::default();
        match checked(seals, words, key)? {
            true => signed.by_key = 1,
            false if seals.is_empty() => signed.unsigned = 1,
            false => signed.by_others = 1,
        }
        signed.decided(None)
    }

    /// A store written anew carries no signature of the key asked for, and one that
    /// was written anew in part fewer than were made.
    fn decided(self, expected: Option<u64>) -> Result<Self, String> {
        match (self.by_key, expected) {
            (0, None | Some(1..)) => Err("nothing here is signed by the given key".to_owned()),
            (found, Some(expected)) if found != expected => Err(format!(
                "{found} runs are signed by the given key, not {expected}"
            )),
            _ => Ok(self),
        }
    }

    pub(super) fn line(self) -> String {
        format!(
            "{} signed by the given key, {} by other keys, {} unsigned",
            counted(self.by_key, "run"),
            self.by_others,
            self.unsigned
        )
    }
}

/// Whether one of them is by `key`; all must hold.
fn checked(seals: &[Vec<u8>], words: Option<&str>, key: &PublicKey) -> Result<bool, String> {
    let mut by_key = false;
    for bytes in seals {
        let by = Seal::from_bytes(bytes).and_then(|seal| seal.check(words));
        by_key |= by.map_err(|fault| fault.to_string())? == *key;
    }
    Ok(by_key)
}
