//! Says whether a bundle is what was signed, and if not, where it is not.
//!
//! The records are held against their own hashes and each other, so that a change has a place; then against the header; then all
//! bytes against the signature, which finds what is left. Cut means that all there is holds and the end is missing; altered
//! is everything else. It takes any bytes whatever.
//!
//! Limits: it says which key signed, not whose it is. A bundle that was made of an altered record says so and stays altered.

use super::bundle::{
    BEGINS, Form, Header, NoBundle, Part, SIGNATURE_BEGINS, SharedRecord, SignatureLine, Standing,
    Told, apart,
};
use super::chain::{self, Broken, FIRST_PREV, sha256_hex};
use super::commitment::{Apart, Bytes32, Leaf, hex, root, unhex};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt;

/// After so many faults no more are named.
const FAULTS_MAX: usize = 20;

/// What came of a bundle.
#[derive(Clone, Debug, PartialEq)]
pub struct Checked {
    /// The header, where it can be read.
    pub header: Option<Header>,
    /// All in all.
    pub verdict: Verdict,
    /// What is wrong, the first first.
    pub faults: Vec<Fault>,
    /// How many records hold.
    pub whole: u64,
    /// The sealed lines of the records that hold; in the full form the records themselves.
    pub lines: Vec<String>,
    /// Whether the signature is one of the key that the header names, over all that is there.
    pub signed: bool,
}

/// What a bundle is, all in all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// As it was signed.
    Intact,
    /// Something in it is not.
    Altered,
    /// What there is holds; its end is missing.
    Cut,
}

/// Something that is not as it was signed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Line of the file, from 1.
    pub line: usize,
    /// The record concerned, where it is one.
    pub seq: Option<u64>,
    /// One plain sentence.
    pub what: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.seq {
            Some(seq) => write!(f, "line {}, record {seq}: {}", self.line, self.what),
            None => write!(f, "line {}: {}", self.line, self.what),
        }
    }
}

/// True where bytes begin as a bundle does, or end as one does.
pub fn is_bundle(bytes: &[u8]) -> bool {
    let begins = BEGINS.as_bytes();
    let cut_in_the_first_words = !bytes.is_empty() && begins.starts_with(bytes);
    let mut lines = bytes.split(|it| *it == b'\n').rev();
    let last = lines.find(|it| !it.is_empty()).unwrap_or_default();
    bytes.starts_with(begins)
        || cut_in_the_first_words
        || last.starts_with(SIGNATURE_BEGINS.as_bytes())
}

/// Checks a bundle. None where the bytes are no bundle at all.
pub fn check(bytes: &[u8]) -> Option<Checked> {
    if !is_bundle(bytes) {
        return None;
    }
    let mut work = Work::of(bytes);
    work.read();
    Some(work.end())
}

struct Work<'b> {
    bytes: &'b [u8],
    /// The lines that have an end.
    lines: Vec<&'b [u8]>,
    /// What stands behind the last end of a line.
    rest: &'b [u8],
    header: Option<Header>,
    faults: Vec<Fault>,
    cut: Option<Fault>,
    held: Vec<String>,
    last_seq: Option<u64>,
    signed: bool,
}

impl<'b> Work<'b> {
    fn of(bytes: &'b [u8]) -> Work<'b> {
        let mut lines: Vec<&[u8]> = bytes.split(|it| *it == b'\n').collect();
        let rest = lines.pop().unwrap_or_default();
        Work {
            bytes,
            lines,
            rest,
            header: None,
            faults: Vec::new(),
            cut: None,
            held: Vec::new(),
            last_seq: None,
            signed: false,
        }
    }

    fn fault(&mut self, line: usize, seq: Option<u64>, what: impl Into<String>) {
        if self.faults.len() < FAULTS_MAX {
            let what = what.into();
            self.faults.push(Fault { line, seq, what });
        }
    }

    fn read(&mut self) {
        if self.lines.is_empty() {
            self.cut = Some(self.cut_after("It ends within its header."));
            return;
        }
        self.header = text(self.lines[0]).and_then(Header::parse);
        if self.header.is_none() {
            self.fault(1, None, "The header is not one as it is written.");
        }
        let last = self.lines.last().copied().unwrap_or_default();
        let signature = text(last).and_then(SignatureLine::parse);
        let end = self.lines.len() - usize::from(signature.is_some() && self.lines.len() > 1);
        let begins_with_header = self.header.is_some() || !is_sealed(self.lines[0]);
        self.records(usize::from(begins_with_header), end);
        self.rest(signature.is_some());
        if self.faults.is_empty() && self.cut.is_none() {
            self.count(signature.is_some());
        }
        if self.faults.is_empty() && self.cut.is_none() {
            self.against_header();
        }
        if let (Some(signature), None) = (signature, &self.cut) {
            self.signature(&signature);
        }
    }

    /// Holds the records to their hashes, one after the other.
    fn records(&mut self, from: usize, to: usize) {
        let form = self.header.as_ref().map(|it| it.form);
        // None where the record before was no record, so that its neighbour is not blamed.
        let mut prev = Some(FIRST_PREV.to_owned());
        for index in from..to.max(from) {
            let (line, number) = (self.lines[index], index + 1);
            let next = self.last_seq.map_or(0, |it| it.saturating_add(1));
            let sealed = match chain::inspect(line) {
                Ok(sealed) => sealed,
                Err(why) => {
                    let is_last = index + 1 == self.lines.len();
                    self.broken(number, is_last, next, why);
                    self.last_seq = Some(next);
                    prev = None;
                    continue;
                }
            };
            let follows = prev.as_ref().is_none_or(|it| *it == sealed.prev);
            let what = match (follows, self.last_seq) {
                (true, _) => None,
                (false, _) if sealed.seq > next => Some(format!(
                    "Missing before this: {}.",
                    super::read::range(next, sealed.seq - 1)
                )),
                (false, Some(last)) if sealed.seq <= last => {
                    Some("This record stands in another place than it was written.".to_owned())
                }
                (false, _) => Some("This record does not follow the one before it.".to_owned()),
            };
            let what = what.or_else(|| self.misfit(form, line, sealed.seq));
            match what {
                Some(what) => self.fault(number, Some(sealed.seq), what),
                None => self.held.extend(text(line).map(str::to_owned)),
            }
            self.last_seq = Some(sealed.seq);
            prev = Some(sealed.sha);
        }
    }

    /// What is wrong with a whole line for a bundle of this form.
    fn misfit(&self, form: Option<Form>, line: &[u8], seq: u64) -> Option<String> {
        if form != Some(Form::Shared) {
            return None;
        }
        let record = text(line).and_then(SharedRecord::parse);
        let Some(record) = record else {
            return Some("It is not written as a shared record is.".to_owned());
        };
        let is_own = record.shown("/seq").and_then(Value::as_u64) == Some(seq);
        (!is_own).then(|| "It shows another number than its own.".to_owned())
    }

    fn broken(&mut self, line: usize, is_last: bool, seq: u64, why: Broken) {
        let begins = |word: &str| self.lines[line - 1].starts_with(word.as_bytes());
        if begins(SIGNATURE_BEGINS) || (is_last && !begins("{\"v\":")) {
            let what =
                "The signature is not written as one is, so something in this line was changed.";
            self.fault(line, None, what);
        } else if begins(BEGINS) {
            self.fault(line, None, "A header stands where a record belongs.");
        } else {
            self.fault(line, Some(seq), format!("It was changed: {why}."));
        }
    }

    /// What stands behind the last end of a line: nothing, or what is left of a line.
    fn rest(&mut self, is_signed: bool) {
        if self.rest.is_empty() {
            return;
        }
        let line = self.lines.len() + 1;
        let signature_bytes = SignatureLine {
            sha: "0".repeat(64),
            value: "0".repeat(128),
        };
        let signature_bytes = signature_bytes.line().len();
        let begins = SIGNATURE_BEGINS.as_bytes();
        if is_signed {
            self.fault(line, None, "Something stands behind the signature.");
        } else if self.rest.starts_with(begins) && self.rest.len() >= signature_bytes {
            self.fault(line, None, "The end of the last line was changed.");
        } else {
            self.cut = Some(self.cut_after("The file ends within a line."));
        }
    }

    /// Whether as much is there as the header says.
    fn count(&mut self, is_signed: bool) {
        let Some(header) = &self.header else { return };
        let (says, whole) = (header.records, self.whole());
        if whole < says {
            let what = format!("The header says {says} records and {whole} are there.");
            self.cut = Some(self.cut_after(&what));
        } else if whole > says {
            let what = format!("The header says {says} records and {whole} are there.");
            self.fault(1, None, what);
        } else if !is_signed {
            self.cut = Some(self.cut_after("The signature is missing."));
        }
    }

    fn cut_after(&self, what: &str) -> Fault {
        Fault {
            line: self.lines.len() + usize::from(!self.rest.is_empty()),
            seq: self.last_seq,
            what: what.to_owned(),
        }
    }

    fn whole(&self) -> u64 {
        u64::try_from(self.held.len()).unwrap_or(u64::MAX)
    }

    /// Whether the header says what the records say.
    fn against_header(&mut self) {
        let Some(header) = self.header.clone() else {
            return;
        };
        let facts = match header.form {
            Form::Full => self.full_facts(&header),
            Form::Shared => self.shared_facts(&header),
        };
        match facts {
            Err(why) => self.fault(1, None, format!("The records have no root: {why}.")),
            Ok(wrong) => {
                for what in wrong {
                    let what =
                        format!("The header does not fit the records: it names another {what}.");
                    self.fault(1, None, what);
                }
            }
        }
    }

    fn full_facts(&self, header: &Header) -> Result<Vec<&'static str>, NoBundle> {
        let values = values(&self.held)?;
        let opening = values.iter().find(|it| it["kind"] == "opened");
        let opening = opening.map_or(&Value::Null, |it| &it["body"]);
        let blind: Option<Bytes32> = header.blind.as_deref().and_then(unhex);
        let apart = apart(&values, &blind.unwrap_or_default())?;
        let own = root(apart.iter().map(Apart::commitment));
        let last = values.last().and_then(|it| it["sha"].as_str());
        let of_incident = |it: &Value| it["incident"] == header.incident.as_str();
        let checks = [
            ("last hash", last == Some(header.head.as_str())),
            ("incident", values.iter().all(of_incident)),
            (
                "kind of incident",
                header.drill == (opening["drill"] == true),
            ),
            (
                "plan",
                header.plan_sha.as_deref() == opening["plan_sha"].as_str(),
            ),
            ("root", hex(&own) == header.root),
        ];
        Ok(wrong(&checks))
    }

    fn shared_facts(&self, header: &Header) -> Result<Vec<&'static str>, NoBundle> {
        let records = self.held.iter().filter_map(|it| SharedRecord::parse(it));
        let records: Vec<SharedRecord> = records.collect();
        let own = root(records.iter().map(SharedRecord::commitment));
        let shown = |pointer: &str| records.iter().find_map(|it| it.shown(pointer));
        let drill = shown("/body/drill").is_none_or(|it| *it == header.drill);
        let of_incident = |it: &SharedRecord| {
            let shown = it.shown("/incident");
            shown.is_none_or(|it| *it == header.incident.as_str())
        };
        let checks = [
            ("incident", records.iter().all(of_incident)),
            ("kind of incident", drill),
            ("root", hex(&own) == header.root),
        ];
        Ok(wrong(&checks))
    }

    fn signature(&mut self, signature: &SignatureLine) {
        let line = self.lines.len();
        let before: usize = self.lines[..line - 1].iter().map(|it| it.len() + 1).sum();
        let sha = sha256_hex(&self.bytes[..before]);
        let key = self
            .header
            .as_ref()
            .and_then(|it| Some((it, it.public_key()?)));
        let value = unhex::<64>(&signature.value);
        self.signed = sha == signature.sha
            && key.zip(value).is_some_and(|((header, key), value)| {
                key.verifies(header.signed(&sha).as_bytes(), &value)
            });
        // Where a place is known already, that says it all.
        if self.signed || !self.faults.is_empty() {
            return;
        }
        if sha == signature.sha {
            let what = "The signature does not fit: it, or the key in the header, was changed.";
            self.fault(line, None, what);
        } else {
            let what = "The header, or the hash in the signature, is not what was signed.";
            self.fault(1, None, what);
        }
    }

    fn end(mut self) -> Checked {
        let standing = self.header.as_ref().map(|it| it.standing);
        if standing == Some(Standing::Altered) && self.faults.is_empty() && self.cut.is_none() {
            let what =
                "The record was altered already when this was signed, and the header says so.";
            self.fault(1, None, what);
        }
        let verdict = match (self.faults.is_empty(), &self.cut) {
            (true, None) => Verdict::Intact,
            (true, Some(_)) => Verdict::Cut,
            (false, _) => Verdict::Altered,
        };
        let whole = self.whole();
        self.faults
            .extend(self.cut.filter(|_| verdict == Verdict::Cut));
        Checked {
            header: self.header,
            verdict,
            faults: self.faults,
            whole,
            lines: self.held,
            signed: self.signed,
        }
    }
}

fn wrong(checks: &[(&'static str, bool)]) -> Vec<&'static str> {
    let wrong = checks.iter().filter(|(_, holds)| !holds);
    wrong.map(|(what, _)| *what).collect()
}

fn text(line: &[u8]) -> Option<&str> {
    std::str::from_utf8(line).ok()
}

fn is_sealed(line: &[u8]) -> bool {
    chain::inspect(line).is_ok()
}

fn values(lines: &[String]) -> Result<Vec<Value>, NoBundle> {
    let read = |(number, line): (u64, &String)| {
        serde_json::from_str(line).map_err(|_| NoBundle::Record(number))
    };
    (1..).zip(lines).map(read).collect()
}

/// Whether a shared bundle tells the same record as a full one; both have to hold by themselves. What is wrong, if anything is.
pub fn against(shared: &Checked, full: &Checked) -> Option<Fault> {
    let fault = |line: usize, seq: Option<u64>, what: &str| {
        let what = what.to_owned();
        Some(Fault { line, seq, what })
    };
    let (Some(of_shared), Some(of_full)) = (&shared.header, &full.header) else {
        return fault(1, None, "One of the two has no header.");
    };
    if of_shared.form != Form::Shared || of_full.form != Form::Full {
        return fault(1, None, "It takes a shared bundle and a full one.");
    }
    let name = |it: &Header| {
        (
            it.incident.clone(),
            it.records,
            it.head.clone(),
            it.root.clone(),
        )
    };
    if name(of_shared) != name(of_full) {
        return fault(1, None, "They are not of the same records.");
    }
    let blind: Bytes32 = of_full.blind.as_deref().and_then(unhex).unwrap_or_default();
    let apart = values(&full.lines).and_then(|it| apart(&it, &blind));
    let Ok(apart) = apart else {
        return fault(1, None, "The full one has no root.");
    };
    let mut people: BTreeMap<String, String> = BTreeMap::new();
    for ((number, line), apart) in (2..).zip(&shared.lines).zip(&apart) {
        let Some(record) = SharedRecord::parse(line) else {
            continue;
        };
        let told: &[Part] = match &record.told {
            Told::Parts(parts) => parts,
            Told::Hidden(_) => &[],
        };
        let all = record.clock.iter().zip(&apart.clock);
        for (part, leaf) in all.chain(told.iter().zip(&apart.told)) {
            if !is_pseudonym_of(part, leaf, &mut people) {
                let what = "A pseudonym stands for somebody else than before, or in another place.";
                return fault(number, Some(apart.seq), what);
            }
        }
    }
    None
}

/// False where a pseudonym does not stand for the person whom the leaf names.
fn is_pseudonym_of(part: &Part, leaf: &Leaf, people: &mut BTreeMap<String, String>) -> bool {
    let Part::Person { at, person, .. } = part else {
        return true;
    };
    let named = leaf.value.as_str().unwrap_or_default().to_owned();
    let known = people.entry(named).or_insert_with(|| person.clone());
    *at == leaf.pointer && known == person
}
