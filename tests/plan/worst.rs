//! Makes plan files that nobody would write, each as hard to read as one kind of trouble can be.
//!
//! A file may come from a stick somebody found. These shapes were found by looking for what a reader does once for every
//! part of a file, or once for every pair of parts. The tests read them small, the benchmark as large as a plan may be.

/// A file that is one piece over and over.
pub(crate) struct Shape {
    pub(crate) name: &'static str,
    head: String,
    piece: fn(usize) -> String,
    tail: &'static str,
}

impl Shape {
    /// The file, at most so long.
    pub(crate) fn made(&self, bytes_max: usize) -> String {
        let mut text = self.head.clone();
        for number in 0.. {
            let piece = (self.piece)(number);
            if text.len() + piece.len() + self.tail.len() > bytes_max {
                break;
            }
            text.push_str(&piece);
        }
        text + self.tail
    }
}

const SITE: &str = "format = 1\n[site]\nname = \"X\"\nrevision = \"1\"\nmeeting_point = \"gate\"\nemergency_number = \"112\"\n";
const PLACES: &str = "[place.a]\nname = \"a\"\nlevel = \"0\"\n[place.b]\nname = \"b\"\nlevel = \"0\"\n[responder.r]\n\
    name = \"r\"\nplace = \"a\"\n[link.l]\nfrom = \"a\"\nto = \"b\"\nkind = \"walk\"\nlength = \"5 m\"\n";
const POSITION: &str =
    "[position.p]\nname = \"p\"\nplace = \"b\"\napproach = \"a\"\nlanding = \"a\"\n";
const METHOD: &str =
    "[position.p.method.m]\nname = \"m\"\nrung = \"pick-off\"\nchange_after = \"3 min\"\n";

/// A little chance that needs no state: splitmix64 of the number.
fn chance(number: usize, of: usize) -> usize {
    let mut z = (number as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)) as usize % of
}

fn any(pieces: &[&str], number: usize) -> String {
    pieces[chance(number, pieces.len())].to_owned()
}

/// Everything there is.
pub(crate) fn shapes() -> Vec<Shape> {
    let mut shapes = Vec::new();
    let mut add = |name, head: &[&str], piece, tail| {
        shapes.push(Shape {
            name,
            head: head.concat(),
            piece,
            tail,
        });
    };

    // Noise.
    add(
        "random characters",
        &[],
        |n| char::from(b' ' + chance(n, 95) as u8).to_string(),
        "",
    );
    add(
        "random signs",
        &[],
        |n| {
            any(
                &[
                    "[", "]", "{", "}", "=", ".", ",", "\n", "\"", "'''", "\\", "#", "a", "1", " ",
                ],
                n,
            )
        },
        "",
    );
    add(
        "random lines",
        &[],
        |n| {
            any(
                &[
                    "[a]\n",
                    "a=1\n",
                    "b.c=2\n",
                    "x=[1,2]\n",
                    "y={a=1}\n",
                    "z=}\n",
                    "=\n",
                    "[[q]]\n",
                    "u=\"a\"\n",
                ],
                n,
            )
        },
        "",
    );

    // Mistakes without end.
    add("unknown keys", &[], |n| format!("{n:x}=1\n"), "");
    add("unknown tables", &[], |n| format!("[{n:x}]\n"), "");
    add(
        "unknown keys of a known table",
        &[SITE],
        |n| format!("langages{n:x}=1\n"),
        "",
    );
    add("one key over and over", &[], |_| "a=1\n".into(), "");
    add("one header over and over", &[], |_| "[a]\n".into(), "");
    add("no key", &[], |_| "=\n".into(), "");
    add("no value", &[], |_| "a\n".into(), "");
    add("closing brackets", &[], |_| "]\n".into(), "");
    add("commas", &[], |_| ",".into(), "");
    add("returns", &[], |_| "\r".into(), "");
    add("bad escapes", &["a=\""], |_| "\\q".into(), "\"");
    add("control characters", &["a='"], |_| "\u{1}x".into(), "'");
    add(
        "control characters in a comment",
        &["#"],
        |_| "\u{7f}".into(),
        "",
    );
    add("letters in a number", &["a=0x"], |_| "g".into(), "");
    add("signs before a number", &["a="], |_| "+".into(), "1");
    add("odd letters in a key", &[], |_| "é-".into(), "=1");

    // Long parts.
    add("a long text", &[SITE, "gate = \""], |_| "x".into(), "\"");
    add(
        "a long blank text",
        &[SITE, "gate = \""],
        |_| " ".into(),
        "\"",
    );
    add("a long key", &[], |_| "x".into(), "=1");
    add("a long number", &["a=1"], |_| "0".into(), "");
    add(
        "a long quantity",
        &[SITE, PLACES, "[link.z]\nlength=\""],
        |_| "1 m ".into(),
        "\"",
    );
    add(
        "a long word",
        &[SITE, PLACES, "[link.z]\nkind=\""],
        |_| "x".into(),
        "\"",
    );
    add(
        "a long name",
        &[SITE, PLACES, "[link.z]\nfrom=\""],
        |_| "x".into(),
        "\"",
    );
    add(
        "a long id",
        &[SITE, "[place."],
        |_| "x".into(),
        "]\nx=1\ny=2\n",
    );
    add("a long comment", &["#"], |_| "x".into(), "");
    add("spaces", &[], |_| " ".into(), "[");
    add("line ends", &[], |_| "\n".into(), "");
    add("comments", &[], |_| "#\n".into(), "");

    // Quotes.
    add("quotes", &[], |_| "\"".into(), "");
    add("empty texts", &[], |_| "\"\" ".into(), "");
    add("open texts", &[], |_| "a=\"\n".into(), "");
    add("five quotes", &[], |_| "\"\"\"\"\"\n".into(), "");
    add("backslashes", &["a=\""], |_| "\\".into(), "\"");

    // Nesting, and lists.
    add("open brackets", &["a="], |_| "[".into(), "");
    add("open braces", &["a="], |_| "{a=".into(), "");
    add("a long dotted key", &["a"], |_| ".a".into(), "=1");
    add("a long header", &["[a"], |_| ".a".into(), "]");
    add(
        "deep lists",
        &[],
        |n| format!("a{n:x}={}{}\n", "[".repeat(60), "]".repeat(60)),
        "",
    );
    add(
        "deep inline tables",
        &[],
        |n| format!("a{n:x}={}1{}\n", "{a=".repeat(30), "}".repeat(30)),
        "",
    );
    add(
        "deep dotted keys",
        &[],
        |n| format!("a{n:x}{}=1\n", ".a".repeat(60)),
        "",
    );
    add(
        "deep headers",
        &[],
        |n| format!("[a{n:x}{}]\n", ".a".repeat(60)),
        "",
    );
    add(
        "one deep header with other ends",
        &[],
        |n| format!("[a{}.b{n:x}]\n", ".a".repeat(60)),
        "",
    );
    add("dotted keys", &[], |n| format!("a.b.c.d{n:x}=1\n"), "");
    add("dotted headers", &[], |n| format!("[a.b.c{n:x}]\n"), "");
    add("a list of numbers", &["a=["], |_| "1,".into(), "]");
    add("a list of tables", &["a=["], |_| "{},".into(), "]");
    add("tables in a list", &[], |_| "[[a]]\n".into(), "");
    add("an inline table", &["a={"], |n| format!("a{n:x}=1,"), "}");
    add(
        "a list of numbers for texts",
        &[SITE, "languages=["],
        |_| "1,".into(),
        "]",
    );
    add(
        "a list of names that lead nowhere",
        &[SITE, "landing_places=["],
        |_| "'q',".into(),
        "]",
    );

    // Many of everything, each with something to say about it.
    add(
        "places",
        &[SITE],
        |n| format!("[place.p{n}]\nname=\"p {n}\"\nlevel=\"0\"\nat=[\"1 m\",\"1 m\"]\nx=1\n"),
        "",
    );
    add(
        "links",
        &[SITE, PLACES],
        |n| {
            format!(
                "[link.l{n}]\nfrom=\"a\"\nto=\"a\"\nkind=\"walk\"\nlength=\"5 m\"\nrise=\"6 m\"\n"
            )
        },
        "",
    );
    add(
        "links that lead nowhere",
        &[SITE, PLACES],
        |n| format!("[link.l{n}]\nfrom=\"a{n}\"\nto=\"b{n}\"\nkind=\"wlak\"\nlength=\"5\"\n"),
        "",
    );
    add(
        "kit",
        &[SITE, PLACES, "[station.s]\nname=\"s\"\nplace=\"a\"\n"],
        |n| {
            format!(
                "[station.s.kit.k{n}]\nname=\"k\"\nkind=\"connector\"\ncount=2\nidentifier=\"E\"\n"
            )
        },
        "",
    );
    add(
        "stations",
        &[SITE, PLACES],
        |n| {
            format!(
                "[station.s{n}]\nname=\"s\"\nplace=\"b\"\n[station.s{n}.kit.k]\nname=\"k\"\nkind=\"AED\"\n"
            )
        },
        "",
    );
    add(
        "responders",
        &[SITE, PLACES],
        |n| {
            format!(
                "[responder.r{n}]\nname=\"r\"\nplace=\"a\"\nqualifications=[\"q{n}\",\"q{n}\"]\nlanguages=[\"x\"]\n"
            )
        },
        "",
    );
    add(
        "positions",
        &[SITE, PLACES],
        |n| {
            format!(
                "[position.p{n}]\nname=\"p\"\nplace=\"b\"\napproach=\"b\"\nlanding=\"b\"\nworkers=[\"z\"]\n"
            )
        },
        "",
    );
    add(
        "hazards",
        &[SITE, PLACES, POSITION, "workers=[\"r\"]\n"],
        |n| {
            format!("[position.p.hazard.h{n}]\nname='h'\nkind='air'\ntask='t.'\ndone='d'\nby='r'\n")
        },
        "",
    );
    add(
        "methods",
        &[SITE, PLACES, POSITION],
        |n| {
            format!(
                "[position.p.method.m{n}]\nname=\"x\"\nrung=\"pick-off\"\nchange_after=\"30 min\"\n"
            )
        },
        "",
    );
    add(
        "roles",
        &[SITE, PLACES, POSITION, METHOD],
        |n| {
            format!(
                "[position.p.method.m.role.r{n}]\nplace=\"b\"\nkit=\"k{n}\"\nqualification=\"q{n}\"\n"
            )
        },
        "",
    );
    add(
        "steps",
        &[SITE, PLACES, POSITION, METHOD],
        |n| {
            format!(
                "[[position.p.method.m.step]]\nwho=\"z{n}\"\nsay=\"a b c d e f g h i j.\"\ndone=\"x\"\nexposed=true\ntime=[\"1 s\",\"2 s\",\"3 s\"]\n"
            )
        },
        "",
    );
    add(
        "names that nearly exist",
        &[
            SITE,
            "[place.a-place-with-a-name-that-goes-on-and-on-and-on-1]\n",
            "[place.a-place-with-a-name-that-goes-on-and-on-and-on-2]\n",
            "[place.a-place-with-a-name-that-goes-on-and-on-and-on-3]\n",
        ],
        |n| {
            let at = "a-place-with-a-name-that-goes-on-and-on-and-on";
            format!(
                "[place.{at}-n{n}]\n[link.l{n}]\nfrom='{at}-x{n}'\nto='{at}-y{n}'\nkind='walk'\nlength='5 m'\n"
            )
        },
        "",
    );

    // What is asked of each and depends on how many there are of another.
    add(
        "workers who watch",
        &[SITE, PLACES],
        |n| match n % 2 {
            0 => format!("[responder.w{n}]\nname='w{n}'\nplace='a'\n"),
            _ => format!(
                "[position.p{n}]\nname='p{n}'\nplace='b'\napproach='a'\nlanding='a'\nworkers=[{0}]\nwatched_by=[{0}]\n",
                (0..n.min(400))
                    .step_by(2)
                    .map(|w| format!("'w{w}'"))
                    .collect::<Vec<_>>()
                    .join(",")
            ),
        },
        "",
    );
    add(
        "rescuers of one kind",
        &[SITE, PLACES, POSITION, "workers=['r']\n"],
        |n| match n % 2 {
            0 => format!("[responder.w{n}]\nname='w{n}'\nplace='a'\nqualifications=['q']\n"),
            _ => format!(
                "[position.p.method.m{n}]\nname='m{n}'\nrung='pick-off'\nchange_after='3 min'\n\
                 [position.p.method.m{n}.role.r]\nplace='a'\nqualification='q'\n"
            ),
        },
        "",
    );
    add(
        "kit of one kind out of reach",
        &[SITE, PLACES, "[place.c]\nname='c'\nlevel='0'\n", POSITION],
        |n| match n % 2 {
            0 => format!(
                "[station.s{n}]\nname='s{n}'\nplace='c'\n[station.s{n}.kit.k]\nname='n'\nkind='k'\n"
            ),
            _ => format!(
                "[position.p.method.m{n}]\nname='m{n}'\nrung='pick-off'\nchange_after='3 min'\n\
                 [position.p.method.m{n}.role.r]\nplace='a'\nkit='k'\n"
            ),
        },
        "",
    );
    add(
        "positions and outside rescue",
        &[SITE, PLACES],
        |n| {
            format!(
                "[outside_rescue.o{n}]\nname='o{n}'\n[position.p{n}]\nname='p{n}'\nplace='b'\napproach='a'\nlanding='a'\nrelies_on='o{n}'\n"
            )
        },
        "",
    );
    shapes
}
