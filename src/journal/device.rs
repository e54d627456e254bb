//! Keeps the key with which a tablet signs what it hands out, in a file of the data folder that only its owner reads.
//!
//! It is made once, the first time the program starts or signs, and never made anew over one that is there: a key that cannot
//! be read may still be mended, and a new one would be unknown to everybody. What is signed is worth as much as the care with
//! which the public key was passed on and the secret one kept.
//!
//! Limits: whoever can read the file can sign in the tablet's name. The secret is wiped from memory when it is dropped, as well as
//! a program can; what the system did with the file's bytes is out of reach.

use super::commitment::{Bytes32, fingerprint, hex, hmac_sha256, unhex};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::Deserialize;
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::{fmt, hint};

/// The file in the data folder.
pub const FILE: &str = "device.key";
/// Keys of others, one a line, in the data folder.
pub const KNOWN_FILE: &str = "known-keys";
/// Everything after it on a line of that file is a remark.
const REMARK: char = ' ';

const FORMAT: &str = "groundward-device-key";
const BYTES_MAX: u64 = 4 * 1024;

/// The key of a tablet.
pub struct DeviceKey(SigningKey);

/// The key with which signatures of a tablet are checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PublicKey(pub Bytes32);

/// Why there is no key.
#[derive(Debug)]
pub enum KeyFault {
    /// The file cannot be read.
    Unreadable(PathBuf, io::Error),
    /// It is not as it was written.
    Damaged(PathBuf),
    /// It cannot be made.
    NotMade(PathBuf, io::Error),
}

impl fmt::Display for KeyFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable(path, error) => write!(
                f,
                "the key of this tablet, {}, cannot be read: {error}; nothing is signed until it can be, and no new one is made in its place",
                path.display()
            ),
            Self::Damaged(path) => write!(
                f,
                "the key of this tablet, {}, is damaged; put back a copy of it, or move it aside to begin with a new key, which others have to be told",
                path.display()
            ),
            Self::NotMade(path, error) => write!(
                f,
                "the key of this tablet, {}, cannot be made: {error}; nothing can be signed until the folder can be written to",
                path.display()
            ),
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    format: String,
    v: u64,
    algorithm: String,
    secret: String,
    public: String,
}

impl DeviceKey {
    /// The key in this folder, made where there is none yet.
    pub fn open_or_make(folder: &Path) -> Result<DeviceKey, KeyFault> {
        match DeviceKey::open(folder)? {
            Some(key) => Ok(key),
            None => DeviceKey::make(folder),
        }
    }

    /// The key in this folder, if there is one.
    pub fn open(folder: &Path) -> Result<Option<DeviceKey>, KeyFault> {
        let path = folder.join(FILE);
        let mut bytes = Vec::new();
        let read = File::open(&path).and_then(|file| file.take(BYTES_MAX).read_to_end(&mut bytes));
        match read {
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(KeyFault::Unreadable(path, error)),
            Ok(_) => {}
        }
        let key = parse(&bytes);
        wipe(&mut bytes);
        key.map(Some).ok_or(KeyFault::Damaged(path))
    }

    fn make(folder: &Path) -> Result<DeviceKey, KeyFault> {
        let path = folder.join(FILE);
        let failed = |error| KeyFault::NotMade(path.clone(), error);
        let mut secret = [0_u8; 32];
        getrandom::fill(&mut secret).map_err(|error| failed(io::Error::other(error)))?;
        let key = DeviceKey::from_secret(&secret);
        wipe(&mut secret);
        match key.put(folder, &path) {
            Ok(()) => Ok(key),
            // Another program was quicker: its key is the tablet's.
            Err(error) if error.kind() == ErrorKind::AlreadyExists => {
                DeviceKey::open(folder)?.ok_or_else(|| failed(error))
            }
            Err(error) => Err(failed(error)),
        }
    }

    /// Writes the file beside its place and links it there, which fails where one is: so it is never there in part, and never
    /// takes the place of another.
    fn put(&self, folder: &Path, path: &Path) -> io::Result<()> {
        fs::create_dir_all(folder)?;
        let beside = folder.join(format!("{FILE}.{}", std::process::id()));
        let write = |at: &Path| -> io::Result<()> {
            let mut options = OpenOptions::new();
            let mut file = options.write(true).create_new(true).mode(0o600).open(at)?;
            let mut text = self.text().into_bytes();
            let written = file.write_all(&text);
            wipe(&mut text);
            written.and_then(|()| file.sync_all())
        };
        // One that was left by a program with this number, long ago.
        let _ = fs::remove_file(&beside);
        write(&beside)?;
        let linked = match fs::hard_link(&beside, path) {
            Err(error) if error.kind() == ErrorKind::AlreadyExists => Err(error),
            // A file system without links.
            Err(_) => write(path),
            Ok(()) => Ok(()),
        };
        let removed = fs::remove_file(&beside);
        linked?;
        removed?;
        File::open(folder)?.sync_all()
    }

    fn text(&self) -> String {
        format!(
            "{{\"format\":\"{FORMAT}\",\"v\":1,\"algorithm\":\"ed25519\",\"secret\":\"{}\",\"public\":\"{}\"}}\n",
            hex(self.0.as_bytes()),
            self.public().hex()
        )
    }

    /// The key with this secret (RFC 8032, section 5.1.5).
    pub fn from_secret(secret: &Bytes32) -> DeviceKey {
        DeviceKey(SigningKey::from_bytes(secret))
    }

    /// The key with which its signatures are checked.
    pub fn public(&self) -> PublicKey {
        PublicKey(self.0.verifying_key().to_bytes())
    }

    /// An Ed25519 signature (RFC 8032).
    pub fn sign(&self, message: &[u8]) -> [u8; 64] {
        self.0.sign(message).to_bytes()
    }

    /// The secret behind the salts of an incident that ends with this hash. It is the same whenever it is asked for, and says
    /// nothing of the key.
    pub fn blind(&self, incident: &str, head: &str) -> Bytes32 {
        let of = format!("groundward blind 1\n{incident}\n{head}\n");
        hmac_sha256(self.0.as_bytes(), of.as_bytes())
    }
}

impl fmt::Debug for DeviceKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "DeviceKey({})", self.public().hex())
    }
}

impl PublicKey {
    /// From 64 lower-case hexadecimal digits.
    pub fn from_hex(text: &str) -> Option<PublicKey> {
        unhex(text).map(PublicKey)
    }

    /// As 64 lower-case hexadecimal digits.
    pub fn hex(&self) -> String {
        hex(&self.0)
    }

    /// A short form to read aloud.
    pub fn fingerprint(&self) -> String {
        fingerprint(&self.0)
    }

    /// Whether this is a signature of the message, in the strict sense: in its one form, by a key that is not weak.
    pub fn verifies(&self, message: &[u8], signature: &[u8; 64]) -> bool {
        let signature = Signature::from_bytes(signature);
        VerifyingKey::from_bytes(&self.0)
            .is_ok_and(|key| key.verify_strict(message, &signature).is_ok())
    }
}

fn parse(bytes: &[u8]) -> Option<DeviceKey> {
    let text = std::str::from_utf8(bytes).ok()?;
    let line: Line = serde_json::from_str(text).ok()?;
    let fits = line.format == FORMAT && line.v == 1 && line.algorithm == "ed25519";
    let mut secret = unhex(&line.secret).filter(|_| fits)?;
    wipe(&mut line.secret.into_bytes());
    let key = DeviceKey::from_secret(&secret);
    wipe(&mut secret);
    (key.public().hex() == line.public).then_some(key)
}

/// The keys of others that somebody wrote into the folder: 64 digits at the start of a line, then a space and whose it is.
pub fn known_keys(folder: &Path) -> Vec<(PublicKey, String)> {
    let text = fs::read_to_string(folder.join(KNOWN_FILE)).unwrap_or_default();
    let known = text.lines().filter_map(|line| {
        let (key, remark) = line.split_once(REMARK).unwrap_or((line, ""));
        Some((PublicKey::from_hex(key)?, remark.trim().to_owned()))
    });
    known.collect()
}

fn wipe(bytes: &mut [u8]) {
    bytes.fill(0);
    // So that the compiler does not leave it out as something that nobody looks at.
    hint::black_box(bytes);
}
