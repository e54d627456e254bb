//! Hands an incident out as one file that proves itself: a header, the sealed records, a signature.
//!
//! The full form has the records byte for byte as they stand in the journal. The shared form has, for each, what may be shown with
//! the salts that tie it to the signed root, pseudonyms for people, and hashes for all the rest. A chain alone shows that nothing was
//! changed *in* it; the signature shows who handed it out, and the header how much there was.
//!
//! There is exactly one way to write a bundle of the same records by the same key at the same time, so nothing can be hidden in how
//! it is written. Limits: pure text work; records written later need a later bundle.

use super::chain::{Chain, FIRST_PREV};
use super::commitment::{Apart, Bytes32, Leaf, group, hex, root, unhex};
use super::device::{DeviceKey, PublicKey};
use crate::review::People;
use crate::review::disclosed::{Class, class, is_told};
use crate::signal::Entry;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::fmt;

/// What a bundle begins with.
pub const BEGINS: &str = "{\"format\":\"groundward-bundle\",";
/// What a signature line begins with.
pub(super) const SIGNATURE_BEGINS: &str = "{\"signature\":{";
/// What the signed text begins with.
const SIGNS: &str = "groundward bundle 1";
/// How long `,"prev":"…","sha":"…"}` is, which stands at the end of every sealed line.
const SEAL_BYTES: usize = 148;
/// The kind of a record in the shared form.
pub(super) const SHARED_KIND: &str = "shared-record";
/// Larger files are not read as bundles; a long incident makes a hundredth of it.
pub const BYTES_MAX: u64 = 256 * 1024 * 1024;

/// Which form a bundle has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Form {
    /// The records as they are.
    Full,
    /// Without names and health.
    Shared,
}

/// How the record was when it was handed out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// As it was written.
    Intact,
    /// Altered, and signed all the same as what was found.
    Altered,
}

/// The first line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Header {
    format: String,
    v: u64,
    /// Which form it is.
    pub form: Form,
    /// Incident id.
    pub incident: String,
    /// True in a drill.
    pub drill: bool,
    /// How the record was.
    pub standing: Standing,
    /// Version of the program that made the bundle.
    pub program: String,
    /// Wall clock of the tablet when it did, milliseconds since 1970 in UTC.
    pub made_ms: i64,
    /// How many records there are.
    pub records: u64,
    /// Hash of the last record.
    pub head: String,
    /// What all records are hidden behind.
    pub root: String,
    /// Hash of the plan's bytes, which the first record carries; not in the shared form, where it would let names be guessed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plan_sha: Option<String>,
    /// The secret behind the salts; never in the shared form.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blind: Option<String>,
    /// The key that signed it.
    pub key: String,
}

/// What a bundle is made of.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// Incident id.
    pub incident: &'a str,
    /// Sealed lines in their order, without line ends.
    pub lines: &'a [&'a str],
    /// Whether anything is wrong with them.
    pub standing: Standing,
    /// Version of the program.
    pub program: &'a str,
    /// Wall clock, milliseconds since 1970 in UTC.
    pub made_ms: i64,
}

/// Why no bundle is made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NoBundle {
    /// There are no records.
    Empty,
    /// This record cannot be taken apart.
    Record(u64),
}

impl fmt::Display for NoBundle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => write!(f, "it has no whole record, so there is nothing to sign"),
            Self::Record(number) => write!(
                f,
                "line {number} of it is no record of integers, texts and flags, which is all that can be signed"
            ),
        }
    }
}

/// Makes a bundle.
pub fn bundle(source: &Source<'_>, form: Form, key: &DeviceKey) -> Result<Vec<u8>, NoBundle> {
    let values = values(source.lines)?;
    let head = head(source.lines.last().ok_or(NoBundle::Empty)?);
    let blind = key.blind(source.incident, head);
    let apart = apart(&values, &blind)?;
    let root = root(apart.iter().map(Apart::commitment));
    let opening = values.iter().find(|it| it["kind"] == "opened");
    let opening = opening.map_or(&Value::Null, |it| &it["body"]);
    let is_full = form == Form::Full;
    let header = Header {
        format: "groundward-bundle".to_owned(),
        v: 1,
        form,
        incident: source.incident.to_owned(),
        drill: opening["drill"] == true,
        standing: source.standing,
        program: source.program.to_owned(),
        made_ms: source.made_ms,
        records: u64::try_from(values.len()).unwrap_or(u64::MAX),
        head: head.to_owned(),
        root: hex(&root),
        plan_sha: opening["plan_sha"]
            .as_str()
            .filter(|_| is_full)
            .map(str::to_owned),
        blind: is_full.then(|| hex(&blind)),
        key: key.public().hex(),
    };
    let mut text = header.line();
    match form {
        Form::Full => {
            for line in source.lines {
                text.push_str(line);
                text.push('\n');
            }
        }
        Form::Shared => share(&mut text, &values, &apart),
    }
    let sha = super::chain::sha256_hex(text.as_bytes());
    let value = hex(&key.sign(header.signed(&sha).as_bytes()));
    text.push_str(&SignatureLine { sha, value }.line());
    Ok(text.into_bytes())
}

fn values(lines: &[&str]) -> Result<Vec<Value>, NoBundle> {
    let read = |(number, line): (u64, &&str)| {
        serde_json::from_str(line).map_err(|_| NoBundle::Record(number))
    };
    (1..).zip(lines).map(read).collect()
}

/// Takes records apart.
pub(super) fn apart(values: &[Value], blind: &Bytes32) -> Result<Vec<Apart>, NoBundle> {
    let each = (1..).zip(values);
    each.map(|(number, it)| Apart::of(it, blind).ok_or(NoBundle::Record(number)))
        .collect()
}

/// The hash at the end of a sealed line.
fn head(line: &str) -> &str {
    line.len()
        .checked_sub(66)
        .and_then(|at| line.get(at..at + 64))
        .unwrap_or(FIRST_PREV)
}

fn share(text: &mut String, values: &[Value], apart: &[Apart]) {
    let people = People::of(values);
    let mut chain = Chain::after(FIRST_PREV);
    for (value, apart) in values.iter().zip(apart) {
        let json = shared(value, apart, &people).json();
        text.push_str(&chain.seal(&Entry {
            seq: apart.seq,
            json,
        }));
        text.push('\n');
    }
}

/// What of a record the shared form shows.
fn shared(record: &Value, apart: &Apart, people: &People) -> SharedRecord {
    let kind = record["kind"].as_str().unwrap_or_default();
    let told = is_told(record);
    let part = |leaf: &Leaf| -> Part {
        let hidden = || Part::Hidden(leaf.commitment());
        let shown = || Part::Shown {
            at: leaf.pointer.clone(),
            salt: leaf.salt,
            is: leaf.value.clone(),
        };
        match (class(kind, &leaf.pointer), leaf.value.as_str()) {
            (Class::Withheld, _) => hidden(),
            // What is no text names nobody, and somebody's name may stand where none belongs.
            (_, None) => shown(),
            (Class::Person, Some(id)) => match people.pseudonym(id) {
                Some(person) => Part::Person {
                    at: leaf.pointer.clone(),
                    person: person.to_owned(),
                    hash: leaf.commitment(),
                },
                None => shown(),
            },
            (Class::Shown, Some(text)) if people.is_named_in(text) => hidden(),
            (Class::Shown, Some(_)) => shown(),
        }
    };
    let told = if told {
        Told::Parts(apart.told.iter().map(part).collect())
    } else {
        Told::Hidden(group(apart.told.iter().map(Leaf::commitment)))
    };
    SharedRecord {
        seq: apart.seq,
        clock: apart.clock.iter().map(part).collect(),
        told,
    }
}

impl Header {
    /// The header in a line, if it is one and written in the one way.
    pub(super) fn parse(line: &str) -> Option<Header> {
        let header: Header = serde_json::from_str(line).ok()?;
        let is_hex = |text: &String| unhex::<32>(text).is_some();
        let hashes = [&header.head, &header.root, &header.key];
        let optional = [&header.plan_sha, &header.blind];
        let fits = header.format == "groundward-bundle"
            && header.v == 1
            && hashes.into_iter().all(is_hex)
            && optional.into_iter().flatten().all(is_hex)
            && header.blind.is_some() == (header.form == Form::Full)
            && (header.form == Form::Full || header.plan_sha.is_none());
        (fits && header.line().trim_end_matches('\n') == line).then_some(header)
    }

    fn line(&self) -> String {
        // A struct of texts and numbers is always JSON.
        let json = serde_json::to_string(self).unwrap_or_default();
        format!("{json}\n")
    }

    /// The key that signed it.
    pub fn public_key(&self) -> Option<PublicKey> {
        PublicKey::from_hex(&self.key)
    }

    /// What is signed, where the bytes before the signature have this hash.
    pub(super) fn signed(&self, sha: &str) -> String {
        let form = match self.form {
            Form::Full => "full",
            Form::Shared => "shared",
        };
        format!(
            "{SIGNS}\nform {form}\nincident {}\nrecords {}\nhead {}\nroot {}\nsha256 {sha}\n",
            self.incident, self.records, self.head, self.root
        )
    }
}

/// The last line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct SignatureLine {
    /// SHA-256 of all bytes before the line.
    pub(super) sha: String,
    /// The signature, 128 hexadecimal digits.
    pub(super) value: String,
}

impl SignatureLine {
    pub(super) fn line(&self) -> String {
        format!(
            "{SIGNATURE_BEGINS}\"algorithm\":\"ed25519\",\"signs\":\"{SIGNS}\",\"sha256\":\"{}\",\"value\":\"{}\"}}}}\n",
            self.sha, self.value
        )
    }

    pub(super) fn parse(line: &str) -> Option<SignatureLine> {
        let value: Value = serde_json::from_str(line).ok()?;
        let text = |name: &str| value["signature"][name].as_str().map(str::to_owned);
        let parsed = SignatureLine {
            sha: text("sha256").filter(|it| unhex::<32>(it).is_some())?,
            value: text("value").filter(|it| unhex::<64>(it).is_some())?,
        };
        (parsed.line().trim_end_matches('\n') == line).then_some(parsed)
    }
}

/// A record in the shared form.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SharedRecord {
    pub(super) seq: u64,
    pub(super) clock: Vec<Part>,
    pub(super) told: Told,
}

/// What happened, in parts or not at all.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Told {
    Parts(Vec<Part>),
    Hidden(Bytes32),
}

/// A leaf in the shared form.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Part {
    Shown {
        at: String,
        salt: Bytes32,
        is: Value,
    },
    Person {
        at: String,
        person: String,
        hash: Bytes32,
    },
    Hidden(Bytes32),
}

impl SharedRecord {
    pub(super) fn json(&self) -> String {
        let told = match &self.told {
            Told::Parts(parts) => list(parts),
            Told::Hidden(hash) => format!("\"{}\"", hex(hash)),
        };
        format!(
            "{{\"v\":1,\"seq\":{},\"kind\":\"{SHARED_KIND}\",\"clock\":{},\"told\":{told}}}",
            self.seq,
            list(&self.clock)
        )
    }

    /// The record in a sealed line, if it is one and written in the one way.
    pub(super) fn parse(line: &str) -> Option<SharedRecord> {
        let value: Value = serde_json::from_str(line).ok()?;
        let parts = |value: &Value| -> Option<Vec<Part>> {
            value.as_array()?.iter().map(Part::parse).collect()
        };
        let told = &value["told"];
        let parsed = SharedRecord {
            seq: value["seq"].as_u64()?,
            clock: parts(&value["clock"])?,
            told: match told.as_str() {
                Some(hash) => Told::Hidden(unhex(hash)?),
                None => Told::Parts(parts(told)?),
            },
        };
        let json = parsed.json();
        let open = json.strip_suffix('}')?;
        let seal = line.strip_prefix(open)?;
        (seal.len() == SEAL_BYTES).then_some(parsed)
    }
}

fn list(parts: &[Part]) -> String {
    let parts: Vec<String> = parts.iter().map(Part::json).collect();
    format!("[{}]", parts.join(","))
}

impl Part {
    fn json(&self) -> String {
        let text = |text: &str| Value::from(text).to_string();
        match self {
            Part::Shown { at, salt, is } => format!(
                "{{\"at\":{},\"is\":{is},\"salt\":\"{}\"}}",
                text(at),
                hex(salt)
            ),
            Part::Person { at, person, hash } => format!(
                "{{\"at\":{},\"person\":{},\"hash\":\"{}\"}}",
                text(at),
                text(person),
                hex(hash)
            ),
            Part::Hidden(hash) => format!("\"{}\"", hex(hash)),
        }
    }

    fn parse(value: &Value) -> Option<Part> {
        if let Some(hash) = value.as_str() {
            return unhex(hash).map(Part::Hidden);
        }
        let at = value["at"].as_str()?.to_owned();
        let hash = |name: &str| value[name].as_str().and_then(unhex);
        match value.get("is") {
            Some(is) if is_leaf(is) => Some(Part::Shown {
                at,
                salt: hash("salt")?,
                is: is.clone(),
            }),
            Some(_) => None,
            None => Some(Part::Person {
                at,
                person: value["person"].as_str()?.to_owned(),
                hash: hash("hash")?,
            }),
        }
    }

    /// What hides the leaf.
    pub(super) fn commitment(&self) -> Bytes32 {
        match self {
            Part::Shown { at, salt, is } => super::commitment::leaf(salt, at, is),
            Part::Person { hash, .. } | Part::Hidden(hash) => *hash,
        }
    }
}

/// True for what a record ends in: no list or object with something in it, and no number but an integer.
fn is_leaf(value: &Value) -> bool {
    match value {
        Value::Array(items) => items.is_empty(),
        Value::Object(members) => members.is_empty(),
        Value::Number(number) => !number.is_f64(),
        _ => true,
    }
}

impl SharedRecord {
    /// What hides the record.
    pub(super) fn commitment(&self) -> Bytes32 {
        let of = |parts: &[Part]| group(parts.iter().map(Part::commitment));
        let told = match &self.told {
            Told::Parts(parts) => of(parts),
            Told::Hidden(hash) => *hash,
        };
        super::commitment::record(of(&self.clock), told)
    }

    /// The value that is shown at this pointer.
    pub(super) fn shown(&self, pointer: &str) -> Option<&Value> {
        let told = match &self.told {
            Told::Parts(parts) => parts.as_slice(),
            Told::Hidden(_) => &[],
        };
        self.clock.iter().chain(told).find_map(|it| match it {
            Part::Shown { at, is, .. } if at == pointer => Some(is),
            _ => None,
        })
    }
}
