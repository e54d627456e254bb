//! Takes records apart into commitments, so that some of what they say can be shown and the rest proved later.
//!
//! Each leaf of a record (a value and its JSON pointer) is hidden behind a hash with a salt of its own; the leaves of a record
//! make two hashes (when it was, what it tells), those the record's, and all of them the root that is signed. Whoever is
//! shown a value and its salt can redo its hash; whoever is shown the hash alone learns nothing. All salts come from one
//! secret, the blind: with it and the records everything here can be redone.
//!
//! Limits: integers, texts, flags and null only, as in every record; another number has no one way to be written.

use super::chain::sha256_hex;
use crate::review::disclosed::{is_clock, leaves};
use serde_json::Value;
use sha2::{Digest, Sha256};

/// A SHA-256, or anything else of that length.
pub type Bytes32 = [u8; 32];

/// The first byte of what is hashed, so that no hash of one sort passes for another.
const LEAF: u8 = 0;
const GROUP: u8 = 1;
const RECORD: u8 = 2;
const ROOT: u8 = 3;

/// How many bytes SHA-256 takes at a time.
const BLOCK_BYTES: usize = 64;

/// HMAC-SHA256 (RFC 2104, FIPS 198-1).
pub fn hmac_sha256(key: &[u8], message: &[u8]) -> Bytes32 {
    let mut block = [0_u8; BLOCK_BYTES];
    if key.len() > BLOCK_BYTES {
        block[..32].copy_from_slice(&Sha256::digest(key));
    } else {
        block[..key.len()].copy_from_slice(key);
    }
    let inner = block.map(|byte| byte ^ 0x36);
    let outer = block.map(|byte| byte ^ 0x5c);
    let within = Sha256::new().chain_update(inner).chain_update(message);
    let around = Sha256::new().chain_update(outer);
    around.chain_update(within.finalize()).finalize().into()
}

/// A value of a record with what hides it.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaf {
    /// Its JSON pointer.
    pub pointer: String,
    /// The value.
    pub value: Value,
    /// Its salt.
    pub salt: Bytes32,
}

/// A record taken apart: when it was, and what it tells.
#[derive(Clone, Debug, PartialEq)]
pub struct Apart {
    /// Its number.
    pub seq: u64,
    /// The leaves that say when it was made and which one it is.
    pub clock: Vec<Leaf>,
    /// The leaves that say what happened, to whom, and who said so.
    pub told: Vec<Leaf>,
}

impl Apart {
    /// Takes a record apart. None where a number in it is no integer.
    pub fn of(record: &Value, blind: &Bytes32) -> Option<Apart> {
        let seq = record["seq"].as_u64()?;
        let mut apart = Apart {
            seq,
            clock: Vec::new(),
            told: Vec::new(),
        };
        for (pointer, value) in leaves(record) {
            if value.is_f64() {
                return None;
            }
            let salt = hmac_sha256(blind, format!("{seq} {pointer}").as_bytes());
            let group = if is_clock(&pointer) {
                &mut apart.clock
            } else {
                &mut apart.told
            };
            group.push(Leaf {
                pointer,
                value: value.clone(),
                salt,
            });
        }
        Some(apart)
    }

    /// What hides the whole record.
    pub fn commitment(&self) -> Bytes32 {
        let of = |leaves: &[Leaf]| group(leaves.iter().map(Leaf::commitment));
        record(of(&self.clock), of(&self.told))
    }
}

impl Leaf {
    /// What hides the value.
    pub fn commitment(&self) -> Bytes32 {
        leaf(&self.salt, &self.pointer, &self.value)
    }
}

/// What hides a value: nothing in it holds a NUL as JSON, so the last one ends the pointer.
pub fn leaf(salt: &Bytes32, pointer: &str, value: &Value) -> Bytes32 {
    let hash = Sha256::new().chain_update([LEAF]).chain_update(salt);
    let hash = hash.chain_update(pointer).chain_update([0]);
    hash.chain_update(value.to_string()).finalize().into()
}

/// What hides a run of leaves.
pub fn group(leaves: impl IntoIterator<Item = Bytes32>) -> Bytes32 {
    over(GROUP, leaves)
}

/// What hides a record.
pub fn record(clock: Bytes32, told: Bytes32) -> Bytes32 {
    over(RECORD, [clock, told])
}

/// What hides all records.
pub fn root(records: impl IntoIterator<Item = Bytes32>) -> Bytes32 {
    over(ROOT, records)
}

fn over(sort: u8, parts: impl IntoIterator<Item = Bytes32>) -> Bytes32 {
    let hash = Sha256::new().chain_update([sort]);
    let hash = parts
        .into_iter()
        .fold(hash, |hash, part| hash.chain_update(part));
    hash.finalize().into()
}

/// Lower-case hexadecimal digits.
pub fn hex(bytes: &[u8]) -> String {
    let digits = |byte: &u8| [byte >> 4, byte & 15].map(|it| char::from_digit(it.into(), 16));
    bytes.iter().flat_map(digits).flatten().collect()
}

/// Bytes from lower-case hexadecimal digits, exactly so many.
pub fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let digit = |byte: u8| match byte {
        b'0'..=b'9' => Some(byte - b'0'),
        b'a'..=b'f' => Some(byte - b'a' + 10),
        _ => None,
    };
    let mut bytes = [0; N];
    if text.len() != 2 * N {
        return None;
    }
    for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
        *byte = (digit(pair[0])? << 4) | digit(pair[1])?;
    }
    Some(bytes)
}

/// A short form of a public key that people can read to each other: the first sixteen digits of its SHA-256, in fours.
pub fn fingerprint(key: &Bytes32) -> String {
    let digits = sha256_hex(key);
    let fours = [0, 4, 8, 12].map(|at| &digits[at..at + 4]);
    fours.join(" ")
}
