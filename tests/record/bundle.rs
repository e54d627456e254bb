//! Checks that a bundle shows every change, every cut and whoever signed it, against standards and against another language.
//!
//! The signature is held against RFC 8032, the hash with a key against RFC 4231, whole bundles against `bundle.py`, which knows
//! nothing but the page about the format.

use super::shared::{GOLDEN, golden, names_nobody};
use crate::support::pinned;
use groundward::incident::{
    Aftercare, Condition, Event, Moment, Opening, PlanStanding, Record, Report, State,
};
use groundward::journal::bundle::{Form, Source, Standing, bundle};
use groundward::journal::chain::{Chain, FIRST_PREV, sha256_hex};
use groundward::journal::checked::{Checked, Verdict, against, check};
use groundward::journal::commitment::{hex, hmac_sha256};
use groundward::journal::device::{DeviceKey, PublicKey};
use groundward::review;
use groundward::signal::Entry;
use groundward::units::Millis;
use groundward::words::Language;
use proptest::prelude::*;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

pub(super) const FORMS: [Form; 2] = [Form::Full, Form::Shared];
const INCIDENT: &str = "20261125T183012Z-4f2a";
const MADE_MS: i64 = 1_795_700_000_000;

/// An invented key that signs nothing but what the tests make.
pub(super) fn key() -> DeviceKey {
    let digits = sha256_hex(b"An invented key: it signs the golden bundles and nothing else");
    DeviceKey::from_secret(&bytes(&digits).try_into().expect("it is 32 bytes"))
}

fn bytes(digits: &str) -> Vec<u8> {
    let pairs = digits.as_bytes().chunks(2);
    let pairs = pairs.map(|it| std::str::from_utf8(it).expect("it is ASCII"));
    pairs
        .map(|it| u8::from_str_radix(it, 16).expect("they are digits"))
        .collect()
}

pub(super) fn made(lines: &[String], form: Form, key: &DeviceKey) -> Vec<u8> {
    let first: Value = serde_json::from_str(&lines[0]).expect("it is JSON");
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let source = Source {
        incident: first["incident"].as_str().expect("it has an incident"),
        lines: &lines,
        standing: Standing::Intact,
        program: "0.1.0",
        made_ms: MADE_MS,
    };
    bundle(&source, form, key).expect("it can be signed")
}

pub(super) fn sealed(records: &[Record]) -> Vec<String> {
    let mut chain = Chain::after(FIRST_PREV);
    let entry = |it: &Record| Entry {
        seq: it.seq,
        json: it.to_json(),
    };
    records.iter().map(|it| chain.seal(&entry(it))).collect()
}

/// Seals and signs the lines of a bundle anew, as whoever has the key can.
pub(super) fn signed_anew(text: &str, key: &DeviceKey) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let mut body = format!("{}\n", lines[0]);
    let mut chain = Chain::after(FIRST_PREV);
    for line in &lines[1..lines.len() - 1] {
        let entry = Entry {
            seq: 0,
            json: format!("{}}}", &line[..line.len() - 148]),
        };
        body += &(chain.seal(&entry) + "\n");
    }
    let header: Value = serde_json::from_str(lines[0]).expect("it is JSON");
    let text = |name: &str| header[name].as_str().expect("it is a text").to_owned();
    let sha = sha256_hex(body.as_bytes());
    let message = format!(
        "groundward bundle 1\nform {}\nincident {}\nrecords {}\nhead {}\nroot {}\nsha256 {sha}\n",
        text("form"),
        text("incident"),
        header["records"],
        text("head"),
        text("root"),
    );
    let value = hex(&key.sign(message.as_bytes()));
    format!(
        "{body}{{\"signature\":{{\"algorithm\":\"ed25519\",\"signs\":\"groundward bundle 1\",\"sha256\":\"{sha}\",\"value\":\"{value}\"}}}}\n"
    )
}

/// A short incident, so that every byte of it can be changed.
fn small() -> Vec<Record> {
    let events = [
        Event::Opened(Box::new(Opening {
            incident: INCIDENT.to_owned(),
            drill: true,
            exercise: None,
            program: "0.1.0".to_owned(),
            plan_format: 1,
            plan_name: String::new(),
            plan_standing: PlanStanding::None,
            plan_sha: sha256_hex(b""),
            plan: String::new(),
            language: Language::English,
            in_command: Some("ada".to_owned()),
            roll_call: vec!["ada".to_owned()],
            seed: 7,
            approval: None,
            shift: None,
        })),
        Event::ResponderReported {
            responder: "bo".to_owned(),
            report: Report::There,
        },
        Event::ConditionReported {
            condition: Condition::NotAnswering,
        },
        Event::OffHarness {},
    ];
    (0..).zip(events).map(|(seq, it)| record(seq, it)).collect()
}

fn record(seq: u64, event: Event) -> Record {
    Record {
        seq,
        cause: seq,
        incident: INCIDENT.into(),
        now: Moment {
            wall_ms: 1_795_634_000_000 + seq as i64 * 1_000,
            offset_min: 60,
            boot_ms: 5_000 + seq as i64 * 1_000,
            boot_id: "7c7d3a52-0000-4000-8000-9d1f6a1e0b11".into(),
        },
        elapsed: Millis(seq as i64 * 1_000),
        at_least: false,
        who: "ada".into(),
        casualty: 1,
        v: 1,
        event,
    }
}

fn checked(bytes: &[u8]) -> Checked {
    check(bytes).unwrap_or_else(|| panic!("not even a bundle: {}", String::from_utf8_lossy(bytes)))
}

/// RFC 8032, section 7.1, tests 1 to 3, written down from memory; the library behind `bundle.py` says the same.
#[test]
fn signatures_are_those_of_rfc_8032() {
    let vectors = [
        (
            "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
            "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
            "",
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
        ),
        (
            "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
            "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
            "72",
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        ),
        (
            "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
            "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
            "af82",
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
        ),
    ];
    for (secret, public, message, signature) in vectors {
        let key = DeviceKey::from_secret(&bytes(secret).try_into().expect("it is 32 bytes"));
        assert_eq!(key.public().hex(), public);
        let signed = key.sign(&bytes(message));
        assert_eq!(hex(&signed), signature);
        assert!(key.public().verifies(&bytes(message), &signed));
        assert!(!key.public().verifies(b"another", &signed));
    }
}

/// The order of the curve's group added to the second half: a signature that a lenient check takes for another form of the
/// same (RFC 8032, section 5.1.7, says that the half must be below the order).
#[test]
fn a_signature_has_one_form() {
    let signed = key().sign(b"once");
    let order = bytes("edd3f55c1a631258d69cf7a2def9de1400000000000000000000000000000010");
    let mut other = signed;
    let mut carry = 0;
    for (byte, add) in other[32..].iter_mut().zip(order) {
        let sum = u16::from(*byte) + u16::from(add) + carry;
        *byte = (sum % 256) as u8;
        carry = sum / 256;
    }
    assert!(carry == 0 && other != signed);
    assert!(key().public().verifies(b"once", &signed));
    assert!(!key().public().verifies(b"once", &other));
    // A key of small order signs everything at once.
    assert!(!PublicKey([0; 32]).verifies(b"once", &signed));
}

/// RFC 4231, test cases 1, 2, 3 and 6, written down from memory; Python's hmac says the same of others.
#[test]
fn the_hash_with_a_key_is_that_of_rfc_4231() {
    let long = b"Test Using Larger Than Block-Size Key - Hash Key First";
    let vectors: [(&[u8], &[u8], &str); 4] = [
        (
            &[0x0b; 20],
            b"Hi There",
            "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
        ),
        (
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        ),
        (
            &[0xaa; 20],
            &[0xdd; 50],
            "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
        ),
        (
            &[0xaa; 131],
            long,
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        ),
    ];
    for (key, message, digest) in vectors {
        assert_eq!(hex(&hmac_sha256(key, message)), digest);
    }
    let pairs: Vec<[Vec<u8>; 2]> = (0..140_u8)
        .map(|it| [vec![it; usize::from(it)], vec![!it; usize::from(it) * 3]])
        .collect();
    let asked: Vec<[String; 2]> = pairs.iter().map(|it| [hex(&it[0]), hex(&it[1])]).collect();
    let own: Vec<String> = pairs
        .iter()
        .map(|it| hex(&hmac_sha256(&it[0], &it[1])))
        .collect();
    assert_eq!(python(&json!({ "hmac": asked }))["hmac"], json!(own));
}

fn python(asked: &Value) -> Value {
    pinned::ask(include_str!("bundle.py"), asked)
}

#[test]
fn a_bundle_has_the_journals_lines_and_holds() {
    let lines = sealed(&small());
    let full = made(&lines, Form::Full, &key());
    let text = String::from_utf8(full.clone()).expect("it is text");
    let inner: Vec<&str> = text.lines().collect();
    assert_eq!(inner[1..inner.len() - 1], lines);
    for form in FORMS {
        let bytes = made(&lines, form, &key());
        assert_eq!(
            bytes,
            made(&lines, form, &key()),
            "there is one way to write it"
        );
        let found = checked(&bytes);
        assert_eq!(
            (found.verdict, &found.faults[..], found.whole, found.signed),
            (Verdict::Intact, &[][..], 4, true)
        );
        let header = found.header.expect("it has one");
        assert_eq!(header.public_key(), Some(key().public()));
        assert_eq!(header.head, sha256_of_last(&lines));
        assert!(header.drill);
    }
}

fn sha256_of_last(lines: &[String]) -> &str {
    let last = lines.last().expect("there is one");
    &last[last.len() - 66..last.len() - 2]
}

/// Every byte with two other values, and without it: what was changed is found, and the line is the right one.
fn every_byte_is_named(form: Form) {
    // The shared form is three times as long, and its first record like the others.
    let records = match form {
        Form::Full => small(),
        Form::Shared => small().split_off(1),
    };
    let bytes = made(&sealed(&records), form, &key());
    let last = bytes.iter().filter(|it| **it == b'\n').count();
    let mut line = 1;
    for at in 0..bytes.len() {
        let is_end = at + 1 == bytes.len();
        for with in [bytes[at] ^ 1, if bytes[at] == b'\n' { b' ' } else { b'\n' }] {
            let mut changed = bytes.clone();
            changed[at] = with;
            let found = checked(&changed);
            assert_eq!(found.verdict, Verdict::Altered, "{form:?}, byte {at}");
            let named = found.faults[0].line;
            // The hash in the signature is as good as the header that it does not fit.
            let fits =
                named == line || (line == last && named == 1) || (is_end && named == last + 1);
            assert!(
                fits,
                "{form:?}, byte {at} of line {line}: {:?}",
                found.faults
            );
        }
        let mut without = bytes.clone();
        without.remove(at);
        let expected = if is_end {
            Verdict::Cut
        } else {
            Verdict::Altered
        };
        assert_eq!(
            checked(&without).verdict,
            expected,
            "{form:?}, without byte {at}"
        );
        line += usize::from(bytes[at] == b'\n');
    }
}

#[test]
fn every_byte_that_is_changed_or_missing_is_named() {
    every_byte_is_named(Form::Full);
}

#[test]
fn every_byte_of_the_shared_form_that_is_changed_or_missing_is_named() {
    every_byte_is_named(Form::Shared);
}

#[test]
fn whatever_is_cut_off_is_called_cut() {
    for form in FORMS {
        let bytes = made(&sealed(&small()), form, &key());
        for len in 1..bytes.len() {
            let found = checked(&bytes[..len]);
            assert_eq!(
                found.verdict,
                Verdict::Cut,
                "{form:?}, {len} bytes: {:?}",
                found.faults
            );
            let ends = bytes[..len].iter().filter(|it| **it == b'\n').count() as u64;
            let after = ends.checked_sub(2).map(|it| it.min(3));
            assert_eq!(found.faults[0].seq, after, "{form:?}, {len} bytes");
        }
        assert_eq!(check(&[]), None);
        // The last record alone, its neighbours and the signature in place.
        let mut lines: Vec<&[u8]> = bytes.split_inclusive(|it| *it == b'\n').collect();
        lines.remove(4);
        let found = checked(&lines.concat());
        assert_eq!(
            (found.verdict, found.faults[0].seq),
            (Verdict::Cut, Some(2))
        );
    }
}

#[test]
fn lines_that_are_taken_out_added_or_swapped_are_named() {
    for form in FORMS {
        let bytes = made(&sealed(&small()), form, &key());
        let lines: Vec<&[u8]> = bytes.split_inclusive(|it| *it == b'\n').collect();
        let last = lines.len() - 1;
        for at in 0..lines.len() {
            let mut without = lines.clone();
            without.remove(at);
            let expected = if at >= last - 1 {
                Verdict::Cut
            } else {
                Verdict::Altered
            };
            assert_eq!(
                checked(&without.concat()).verdict,
                expected,
                "{form:?}, without line {at}"
            );
            for to in 0..=lines.len() {
                let mut twice = lines.clone();
                twice.insert(to, lines[at]);
                let found = checked(&twice.concat());
                assert_eq!(
                    found.verdict,
                    Verdict::Altered,
                    "{form:?}, line {at} again at {to}"
                );
            }
            for other in 0..at {
                let mut swapped = lines.clone();
                swapped.swap(at, other);
                let found = checked(&swapped.concat());
                assert_eq!(
                    found.verdict,
                    Verdict::Altered,
                    "{form:?}, {at} and {other}"
                );
            }
        }
        let mut without = lines.clone();
        without.remove(2);
        let found = checked(&without.concat());
        assert_eq!(
            found.faults[0].to_string(),
            "line 3, record 2: Missing before this: record 1."
        );
    }
}

/// Whoever writes everything anew needs the key; with another one the bundle holds, and says so.
#[test]
fn a_bundle_that_was_written_anew_does_not_hold_or_is_of_another_key() {
    let mut records = small();
    let lines = sealed(&records);
    let true_one = String::from_utf8(made(&lines, Form::Full, &key())).expect("it is text");
    records[3] = record(3, Event::AtLandingPlace {});
    let false_one =
        String::from_utf8(made(&sealed(&records), Form::Full, &other())).expect("it is text");
    let found = checked(false_one.as_bytes());
    let header = found.header.expect("it has one");
    assert_eq!((found.verdict, found.signed), (Verdict::Intact, true));
    assert_ne!(header.public_key(), Some(key().public()));
    // All that is said about the other record, and the true key or the true signature.
    let with_true_key = false_one.replace(&other().public().hex(), &key().public().hex());
    let signature = |text: &str| text.lines().last().expect("there is one").to_owned();
    let with_true_signature = with_true_key.replace(&signature(&false_one), &signature(&true_one));
    for text in [with_true_key, with_true_signature] {
        let found = checked(text.as_bytes());
        assert_eq!((found.verdict, found.signed), (Verdict::Altered, false));
        assert_eq!(found.faults[0].seq, None);
    }
}

fn other() -> DeviceKey {
    DeviceKey::from_secret(&[9; 32])
}

#[test]
fn a_record_that_was_altered_before_it_was_signed_stays_altered() {
    let mut lines = sealed(&small());
    lines[2] = lines[2].replace("not-answering", "talking");
    let lines: Vec<&str> = lines.iter().map(String::as_str).collect();
    let source = Source {
        incident: INCIDENT,
        lines: &lines,
        standing: Standing::Altered,
        program: "0.1.0",
        made_ms: MADE_MS,
    };
    let bytes = bundle(&source, Form::Full, &key()).expect("it can be signed");
    let found = checked(&bytes);
    assert_eq!((found.verdict, found.signed), (Verdict::Altered, true));
    assert_eq!((found.faults[0].line, found.faults[0].seq), (4, Some(2)));
    // Where only whole records are left of it, the header says it.
    let missing = Source {
        lines: &[lines[0], lines[1]],
        ..source
    };
    let bytes = bundle(&missing, Form::Shared, &key()).expect("it can be signed");
    let found = checked(&bytes);
    assert_eq!((found.verdict, found.signed), (Verdict::Altered, true));
}

#[test]
fn a_record_that_cannot_be_taken_apart_is_named() {
    let lines = ["{\"v\":1,\"seq\":0,\"kind\":\"x\",\"body\":0.5}"];
    let source = Source {
        incident: INCIDENT,
        lines: &lines,
        standing: Standing::Intact,
        program: "0.1.0",
        made_ms: MADE_MS,
    };
    let why = bundle(&source, Form::Full, &key()).expect_err("half a thing is no integer");
    assert!(why.to_string().starts_with("line 1 of it"), "{why}");
    let nothing = Source {
        lines: &[],
        ..source
    };
    let why = bundle(&nothing, Form::Full, &key()).expect_err("there is nothing");
    assert!(why.to_string().contains("nothing to sign"), "{why}");
}

/// A later bundle goes on where an earlier one ends, and the earlier one stays what it is.
#[test]
fn an_earlier_bundle_stays_valid_when_the_record_goes_on() {
    let lines = sealed(&small());
    let early = checked(&made(&lines[..3], Form::Full, &key()));
    let late = checked(&made(&lines, Form::Full, &key()));
    assert_eq!(
        (early.verdict, late.verdict),
        (Verdict::Intact, Verdict::Intact)
    );
    assert_eq!(early.lines, late.lines[..3]);
    let shared = checked(&made(&lines[..3], Form::Shared, &key()));
    assert_eq!(against(&shared, &early), None);
    let fault = against(&shared, &late).expect("they are not of the same records");
    assert_eq!(fault.what, "They are not of the same records.");
}

/// Another program, written from the page about the format, finds the same bundles whole and the same changes.
#[test]
fn python_checks_bundles_and_finds_the_same_changes() {
    let mut asked = Vec::new();
    let mut expected = Vec::new();
    for form in FORMS {
        let bytes = made(&sealed(&small()), form, &key());
        for at in (0..bytes.len()).step_by(5) {
            let mut changed = bytes.clone();
            changed[at] ^= 1;
            asked.push(changed);
            expected.push(false);
        }
        for len in (0..bytes.len()).step_by(97) {
            asked.push(bytes[..len].to_vec());
            expected.push(false);
        }
        asked.push(bytes);
        expected.push(true);
        for incident in GOLDEN {
            asked.push(made(&sealed(&golden(incident)), form, &key()));
            expected.push(true);
        }
    }
    let digits: Vec<String> = asked.iter().map(|it| hex(it)).collect();
    let pairs: Vec<[String; 2]> = GOLDEN
        .iter()
        .map(|it| sealed(&golden(it)))
        .map(|it| [Form::Shared, Form::Full].map(|form| hex(&made(&it, form, &key()))))
        .collect();
    let answer = python(&json!({ "check": digits, "against": pairs }));
    let said = answer["check"].as_array().expect("it answers each");
    for ((bytes, expected), said) in asked.iter().zip(expected).zip(said) {
        let own = check(bytes).is_some_and(|it| it.verdict == Verdict::Intact);
        assert_eq!((own, said == ""), (expected, expected), "{said}");
    }
    assert_eq!(answer["against"], json!(["", ""]));
}

#[test]
fn what_python_makes_holds_here() {
    let lines = sealed(&small());
    let secret = sha256_hex(b"another invented key");
    let key = DeviceKey::from_secret(&bytes(&secret).try_into().expect("it is 32 bytes"));
    let make =
        |form: &str| json!({ "secret": secret, "lines": lines, "form": form, "made_ms": MADE_MS });
    let answer = python(&json!({ "make": [make("full"), make("shared")] }));
    let theirs = |index: usize| bytes(answer["make"][index].as_str().expect("it makes each"));
    assert_eq!(
        theirs(0),
        made(&lines, Form::Full, &key),
        "it is the same to the byte"
    );
    let [full, shared] = [0, 1].map(|it| checked(&theirs(it)));
    assert_eq!((full.verdict, &full.faults[..]), (Verdict::Intact, &[][..]));
    // It shows less than ours would, and tells the same record.
    assert_eq!(
        (shared.verdict, &shared.faults[..]),
        (Verdict::Intact, &[][..])
    );
    assert_eq!(against(&shared, &full), None);
    let ours = checked(&made(&lines, Form::Shared, &key));
    assert_eq!(against(&ours, &full), None);
}

/// What was signed once holds for ever: these files never change, and neither does what is made of the same journals.
#[test]
fn golden_bundles_hold_replay_and_are_told() {
    for incident in GOLDEN {
        for form in FORMS {
            let path = golden_bundle(incident, form);
            let bytes = std::fs::read(&path).unwrap_or_else(|error| panic!("{path:?}: {error}"));
            let found = checked(&bytes);
            assert_eq!(
                (found.verdict, found.signed),
                (Verdict::Intact, true),
                "{path:?}"
            );
            let header = found.header.expect("it has one");
            assert_eq!(header.public_key(), Some(key().public()));
            if form == Form::Full {
                let read = |it: &String| Record::from_json(it).expect("it can be read");
                let records: Vec<Record> = found.lines.iter().map(read).collect();
                assert!(records == golden(incident), "it is the golden journal");
                let state = State::replay(records.clone());
                assert!(state.facts.stood_down.is_some());
                for language in Language::ALL_SPOKEN {
                    assert_eq!(review::lines(&records, language).len(), records.len());
                }
                assert!(
                    bytes == made(&found.lines, form, &key()),
                    "{path:?} would be made differently today"
                );
            } else {
                names_nobody(
                    &String::from_utf8(bytes).expect("it is text"),
                    &golden(incident),
                );
            }
        }
        let [full, shared] = FORMS.map(|form| {
            let bytes = std::fs::read(golden_bundle(incident, form)).expect("it was read before");
            checked(&bytes)
        });
        assert_eq!(against(&shared, &full), None);
    }
}

fn golden_bundle(incident: &str, form: Form) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/golden");
    let ending = match form {
        Form::Full => "bundle",
        Form::Shared => "shared-bundle",
    };
    folder.join(format!("{incident}.{ending}"))
}

/// Writes the golden bundles of a new version of the format; it never writes over one.
#[test]
#[ignore = "it writes files; once for each version of the format"]
fn golden_bundles_are_written() {
    for incident in GOLDEN {
        for form in FORMS {
            let path = golden_bundle(incident, form);
            if !path.exists() {
                let bytes = made(&sealed(&golden(incident)), form, &key());
                std::fs::write(&path, bytes).expect("it can be written");
            }
        }
    }
}

fn any_event() -> impl Strategy<Value = Event> {
    prop_oneof![
        Just(Event::OffHarness {}),
        any::<bool>().prop_map(|danger| Event::InDangerSaid { danger }),
        "[a-z]{1,8}".prop_map(|it| Event::CommandNamed { by: Some(it) }),
        ".{0,40}".prop_map(|text| Event::WordsSaid {
            orders: vec![1],
            text
        }),
        any::<i64>().prop_map(|in_ms| Event::HelpExpected {
            in_ms,
            said_by: None
        }),
        any::<bool>().prop_map(|well| Event::AftercareAnswered {
            item: Aftercare::Airway,
            well
        }),
        "[a-z/~]{1,12}".prop_map(|kind| Event::Unknown {
            body: json!({ &kind: [{}, [], null, "\u{0}\u{7f}\"\\\n"] }),
            kind,
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever was recorded comes out of a bundle as it went in, and both forms tell the same.
    #[test]
    fn what_goes_in_comes_out(events in prop::collection::vec(any_event(), 1..12), which in any::<prop::sample::Index>()) {
        let records: Vec<Record> = (0..).zip(events).map(|(seq, it)| record(seq, it)).collect();
        let lines = sealed(&records);
        let full = checked(&made(&lines, Form::Full, &key()));
        prop_assert_eq!((full.verdict, &full.faults[..]), (Verdict::Intact, &[][..]));
        prop_assert_eq!(&full.lines, &lines);
        let bytes = made(&lines, Form::Shared, &key());
        let shared = checked(&bytes);
        prop_assert_eq!((shared.verdict, &shared.faults[..]), (Verdict::Intact, &[][..]));
        prop_assert_eq!(against(&shared, &full), None);
        let mut changed = bytes.clone();
        let at = which.index(bytes.len());
        changed[at] ^= 4;
        prop_assert_eq!(checked(&changed).verdict, Verdict::Altered);
    }

    /// Any bytes are taken, and what is no bundle is never called whole.
    #[test]
    fn any_bytes_are_taken(bytes in prop::collection::vec(any::<u8>(), 0..400), lines in prop::collection::vec(0_usize..8, 0..12)) {
        let _ = check(&bytes);
        let whole = made(&sealed(&small()), Form::Shared, &key());
        let pieces: Vec<&[u8]> = whole.split_inclusive(|it| *it == b'\n').collect();
        let mut mixed: Vec<u8> = lines.iter().filter_map(|it| pieces.get(*it).copied()).collect::<Vec<_>>().concat();
        mixed.extend(&bytes);
        if let Some(found) = check(&mixed) {
            prop_assert_eq!(found.verdict == Verdict::Intact, mixed == whole);
        }
    }
}
