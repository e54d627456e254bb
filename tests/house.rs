//! Checks the repository itself: who may use whom, what the pure part may not mention, what no file may say.
//!
//! Nobody keeps such rules in mind through a hundred changes, and a reviewer sees one change at a time. Every check is
//! a function that is first tried on a snippet that breaks the rule and on one that keeps it, so that a check that
//! finds nothing has shown that it could. The reading of Rust here is a reader of words and paths, not a compiler:
//! what hides inside a macro's own tokens is seen as it is written.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The house from the top to the ground. A module uses only what is further down, so the edges, which share a line,
/// never use each other.
const LAYERS: [&[&str]; 17] = [
    &["main"],
    &["cli"],
    &["engine"],
    &["compute"],
    &["settings"],
    &["history"],
    &["journal", "store", "sound", "kiosk", "clock", "awake"],
    &["signal"],
    &["report"],
    &["review"],
    &["drill"],
    &["cue"],
    &["incident"],
    &["readiness"],
    &["plan"],
    &["words"],
    &["units"],
];

/// The modules whose every answer follows from their arguments alone.
const PURE: [&str; 10] = [
    "signal",
    "report",
    "review",
    "drill",
    "cue",
    "incident",
    "readiness",
    "plan",
    "words",
    "units",
];

/// What a pure module may not reach for: devices, disks, threads, the surroundings of the process.
const IMPURE_PATHS: [&[&str]; 10] = [
    &["slint"],
    &["sled"],
    &["tokio"],
    &["rodio"],
    &["rustix"],
    &["std", "fs"],
    &["std", "net"],
    &["std", "thread"],
    &["std", "env"],
    &["std", "process"],
];

/// Types that stand for "now" as soon as somebody has one.
const CLOCK_WORDS: [&str; 2] = ["Instant", "SystemTime"];

/// What asks for the time; one file may.
const CLOCK_READERS: [&str; 4] = ["Instant", "SystemTime", "Utc", "Local"];
const CLOCK_FILE: &str = "src/clock.rs";

/// Names that say nothing about what is inside.
const EMPTY_NAMES: [&str; 5] = ["core", "utils", "common", "manager", "helpers"];

/// All that stands at the top of the repository.
const TOP: [&str; 13] = [
    ".ci",
    ".gitignore",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "benches",
    "build.rs",
    "sounds",
    "src",
    "tests",
    "ui",
];

/// How long the comment at the head of a file may be before nobody reads it.
const OPENING_LINES_MAX: usize = 16;

// ---------------------------------------------------------------------------------------------------------------
// Reading Rust.

#[derive(Clone, Debug, PartialEq)]
enum Token {
    Word(String),
    /// `::`
    Sep,
    Mark(char),
}

#[derive(Clone, Debug)]
struct At {
    line: usize,
    token: Token,
}

impl At {
    fn is_word(&self, word: &str) -> bool {
        matches!(&self.token, Token::Word(own) if own == word)
    }

    fn is_mark(&self, mark: char) -> bool {
        self.token == Token::Mark(mark)
    }
}

/// Splits Rust source into words and marks, without comments and without what stands in strings and characters.
fn tokens(source: &str) -> Vec<At> {
    let chars: Vec<char> = source.chars().collect();
    let at = |i: usize| chars.get(i).copied().unwrap_or('\0');
    let mut found = Vec::new();
    let mut line = 1;
    let mut i = 0;
    while i < chars.len() {
        let start = i;
        let starts_word = |c: char| c.is_alphabetic() || c == '_';
        let in_word = |c: char| c.is_alphanumeric() || c == '_';
        let mut token = None;
        match at(i) {
            '/' if at(i + 1) == '/' => {
                while i < chars.len() && at(i) != '\n' {
                    i += 1;
                }
            }
            '/' if at(i + 1) == '*' => {
                let mut depth = 0;
                loop {
                    match (at(i), at(i + 1)) {
                        ('/', '*') => (depth, i) = (depth + 1, i + 2),
                        ('*', '/') => (depth, i) = (depth - 1, i + 2),
                        _ => i += 1,
                    }
                    if depth == 0 || i >= chars.len() {
                        break;
                    }
                }
            }
            '"' => i = after_string(&chars, i),
            '\'' if at(i + 1) == '\\' => {
                i += 3;
                while i < chars.len() && at(i) != '\'' {
                    i += 1;
                }
                i += 1;
            }
            '\'' if at(i + 2) == '\'' => i += 3,
            ':' if at(i + 1) == ':' => (token, i) = (Some(Token::Sep), i + 2),
            c if starts_word(c) => {
                while in_word(at(i)) {
                    i += 1;
                }
                let word: String = chars[start..i].iter().collect();
                let may_prefix = matches!(word.as_str(), "r" | "b" | "c" | "br" | "cr");
                let hashes = (i..).take_while(|n| at(*n) == '#').count();
                if may_prefix && at(i + hashes) == '"' {
                    i = if word.contains('r') {
                        after_raw_string(&chars, i, hashes)
                    } else {
                        after_string(&chars, i)
                    };
                } else if word == "r" && hashes == 1 && starts_word(at(i + 1)) {
                    i += 1; // The word after `r#` is read as any other.
                } else {
                    token = Some(Token::Word(word));
                }
            }
            c if c.is_ascii_digit() => {
                while in_word(at(i)) {
                    i += 1;
                }
                token = Some(Token::Mark('0'));
            }
            c if c.is_whitespace() => i += 1,
            c => (token, i) = (Some(Token::Mark(c)), i + 1),
        }
        if let Some(token) = token {
            found.push(At { line, token });
        }
        let end = i.min(chars.len());
        line += chars[start..end].iter().filter(|c| **c == '\n').count();
    }
    found
}

fn after_string(chars: &[char], quote: usize) -> usize {
    let mut i = quote + 1;
    while i < chars.len() && chars[i] != '"' {
        i += if chars[i] == '\\' { 2 } else { 1 };
    }
    i + 1
}

fn after_raw_string(chars: &[char], hash: usize, hashes: usize) -> usize {
    let mut i = hash + hashes + 1;
    while i < chars.len() {
        let closes = chars[i] == '"' && (1..=hashes).all(|n| chars.get(i + n) == Some(&'#'));
        if closes {
            return i + hashes + 1;
        }
        i += 1;
    }
    i
}

/// Returns the index after the bracket that closes the one at `open`.
fn after_bracket(tokens: &[At], open: usize) -> usize {
    let mut depth = 0_i32;
    for (i, at) in tokens.iter().enumerate().skip(open) {
        match at.token {
            Token::Mark('(' | '[' | '{') => depth += 1,
            Token::Mark(')' | ']' | '}') => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return i + 1;
        }
    }
    tokens.len()
}

/// Says whether an attribute starts here that keeps what follows for the tests: `#[cfg(test)]` and its like.
fn is_test_attribute(tokens: &[At], hash: usize) -> bool {
    let open = hash + 1;
    let starts = tokens[hash].is_mark('#') && tokens.get(open).is_some_and(|t| t.is_mark('['));
    if !starts || !tokens.get(open + 1).is_some_and(|t| t.is_word("cfg")) {
        return false;
    }
    let inside = &tokens[open..after_bracket(tokens, open)];
    inside.iter().any(|t| t.is_word("test")) && !inside.iter().any(|t| t.is_word("not"))
}

/// Returns the index after the item that starts here, its further attributes included.
fn after_item(tokens: &[At], start: usize) -> usize {
    let mut i = start;
    while i < tokens.len() {
        match tokens[i].token {
            Token::Mark('{') => return after_bracket(tokens, i),
            Token::Mark('(' | '[') => i = after_bracket(tokens, i),
            Token::Mark(';') => return i + 1,
            _ => i += 1,
        }
    }
    i
}

/// Leaves out what is compiled for the tests alone.
fn without_tests(tokens: &[At]) -> Vec<At> {
    let mut kept = Vec::new();
    let mut i = 0;
    while i < tokens.len() {
        if is_test_attribute(tokens, i) {
            i = after_item(tokens, i + 1);
        } else {
            kept.push(tokens[i].clone());
            i += 1;
        }
    }
    kept
}

/// Returns the names of modules in files of their own that are compiled for the tests alone.
fn test_only_modules(tokens: &[At]) -> Vec<String> {
    let mut names = Vec::new();
    for i in 0..tokens.len() {
        if is_test_attribute(tokens, i) {
            let item = &tokens[i..after_item(tokens, i + 1)];
            if let [
                ..,
                keyword,
                At {
                    token: Token::Word(name),
                    ..
                },
                end,
            ] = item
                && keyword.is_word("mod")
                && end.is_mark(';')
            {
                names.push(name.clone());
            }
        }
    }
    names
}

/// A path as it is used in the code, spelled out from the crate's root where it leads into the crate.
#[derive(Clone, Debug)]
struct Used {
    line: usize,
    segments: Vec<String>,
    /// The path was given another name on its way in.
    renamed: bool,
}

impl Used {
    /// Returns the crate's own module that the path leads into; an empty name is the root itself.
    fn module(&self) -> Option<&str> {
        let (first, rest) = self.segments.split_first()?;
        (first == "crate").then(|| rest.first().map_or("", String::as_str))
    }
}

/// Finds all paths in a file that is the module `home`, trees of `use` spread out and `self` and `super` resolved.
fn paths(tokens: &[At], home: &[String]) -> Vec<Used> {
    let mut found = Vec::new();
    let mut inline: Vec<(String, usize)> = Vec::new();
    let mut depth = 0;
    let mut i = 0;
    while i < tokens.len() {
        let here = || {
            let inner = inline.iter().map(|(name, _)| name.clone());
            home.iter().cloned().chain(inner).collect::<Vec<_>>()
        };
        match &tokens[i].token {
            Token::Mark('{') => depth += 1,
            Token::Mark('}') => {
                depth -= 1;
                inline.retain(|(_, opened)| *opened <= depth);
            }
            Token::Word(word) if word == "use" => {
                let mut raw = Vec::new();
                i = read_tree(tokens, i + 1, &[], &mut raw);
                found.extend(raw.into_iter().map(|used| resolved(used, &here())));
                continue;
            }
            Token::Word(word) if word == "mod" => {
                if let (
                    Some(At {
                        token: Token::Word(name),
                        ..
                    }),
                    Some(open),
                ) = (tokens.get(i + 1), tokens.get(i + 2))
                    && open.is_mark('{')
                {
                    inline.push((name.clone(), depth + 1));
                    i += 2;
                    continue;
                }
            }
            Token::Word(word) => {
                let mut segments = vec![word.clone()];
                let line = tokens[i].line;
                while let (
                    Some(At {
                        token: Token::Sep, ..
                    }),
                    Some(At {
                        token: Token::Word(next),
                        ..
                    }),
                ) = (tokens.get(i + 1), tokens.get(i + 2))
                {
                    segments.push(next.clone());
                    i += 2;
                }
                let used = Used {
                    line,
                    segments,
                    renamed: false,
                };
                if used.segments.len() > 1 {
                    found.push(resolved(used, &here()));
                }
            }
            _ => {}
        }
        i += 1;
    }
    found
}

/// Reads one branch of a `use` and returns the index after it.
fn read_tree(tokens: &[At], start: usize, stem: &[String], found: &mut Vec<Used>) -> usize {
    let mut segments = stem.to_vec();
    let mut renamed = false;
    let mut i = start;
    let line = tokens.get(start).map_or(0, |at| at.line);
    while let Some(at) = tokens.get(i) {
        match &at.token {
            Token::Mark('{') => {
                i += 1;
                while tokens.get(i).is_some_and(|at| !at.is_mark('}')) {
                    i = read_tree(tokens, i, &segments, found);
                    if tokens.get(i).is_some_and(|at| at.is_mark(',')) {
                        i += 1;
                    }
                }
                return i + 1;
            }
            Token::Word(word) if word == "as" => {
                renamed = true;
                i += 2;
            }
            Token::Word(word) => {
                segments.push(word.clone());
                i += 1;
            }
            Token::Mark('*') => {
                segments.push("*".to_owned());
                i += 1;
            }
            Token::Sep => i += 1,
            Token::Mark(_) => break,
        }
    }
    found.push(Used {
        line,
        segments,
        renamed,
    });
    // A branch always moves on, so that source that is no Rust cannot hold the reader.
    if i == start { i + 1 } else { i }
}

fn resolved(mut used: Used, here: &[String]) -> Used {
    let first = used.segments.first().cloned().unwrap_or_default();
    if first != "self" && first != "super" {
        return used;
    }
    let mut base = here.to_vec();
    let mut rest = used.segments.as_slice();
    while let Some((word, further)) = rest.split_first() {
        match word.as_str() {
            "self" => {}
            "super" => {
                base.pop();
            }
            _ => break,
        }
        rest = further;
    }
    let mut segments = vec!["crate".to_owned()];
    segments.extend(base);
    segments.extend_from_slice(rest);
    used.segments = segments;
    used
}

/// Returns the module path of a file under `src`: `src/plan/model.rs` is `plan`, `model`.
fn home_of(file: &str) -> Vec<String> {
    let inside = file.strip_prefix("src/").unwrap_or(file);
    let stem = inside.strip_suffix(".rs").unwrap_or(inside);
    stem.split('/')
        .filter(|part| !matches!(*part, "mod" | "lib"))
        .map(str::to_owned)
        .collect()
}

// ---------------------------------------------------------------------------------------------------------------
// The rules, each a function from a text to the faults it finds.

fn layer_of(module: &str) -> Option<usize> {
    LAYERS.iter().position(|layer| layer.contains(&module))
}

/// A module uses itself and what is further down, and nothing else of the house.
fn layer_faults(file: &str, source: &str) -> Vec<String> {
    let home = home_of(file);
    let tokens = tokens(source);
    // The root only says which modules there are; that they have a place is a check of its own.
    let Some(own) = home.first() else {
        return Vec::new();
    };
    let Some(own_layer) = layer_of(own) else {
        return vec![format!(
            "{file}: the module `{own}` has no place in the house: give it one in LAYERS (tests/house.rs)"
        )];
    };
    let mut faults = Vec::new();
    for mut used in paths(&tokens, &home) {
        if own == "main" && used.segments[0] == "groundward" {
            used.segments[0] = "crate".to_owned();
        }
        let Some(module) = used.module() else {
            continue;
        };
        let line = used.line;
        match layer_of(module) {
            _ if module == own => {}
            None => faults.push(format!(
                "{file}:{line}: `{}` is no module of the house: name the module that is meant",
                used.segments.join("::")
            )),
            Some(layer) if layer <= own_layer => {
                faults.push(format!("{file}:{line}: `{own}` may not use `{module}`"));
            }
            Some(_) => {}
        }
    }
    let hidden_module = tokens
        .windows(3)
        .find(|three| three[0].is_mark('#') && three[1].is_mark('[') && three[2].is_word("path"));
    if let Some([at, ..]) = hidden_module {
        faults.push(format!(
            "{file}:{}: a path attribute hides where a module stands",
            at.line
        ));
    }
    faults
}

/// Everything under `src` has a place in the house.
fn place_faults(files: &[String]) -> Vec<String> {
    let mut unknown = BTreeSet::new();
    for file in files.iter().filter(|file| file.starts_with("src/")) {
        let home = home_of(file);
        match home.first() {
            Some(module) if layer_of(module).is_none() => {
                unknown.insert(format!(
                    "{file}: `{module}` has no place in the house: give it one in LAYERS (tests/house.rs)"
                ));
            }
            _ => {}
        }
    }
    unknown.into_iter().collect()
}

fn purity_faults(file: &str, source: &str) -> Vec<String> {
    let home = home_of(file);
    if !home.first().is_some_and(|own| PURE.contains(&own.as_str())) {
        return Vec::new();
    }
    let tokens = without_tests(&tokens(source));
    let mut faults = Vec::new();
    for used in paths(&tokens, &home) {
        let hit = IMPURE_PATHS.iter().find(|banned| {
            used.segments
                .iter()
                .zip(**banned)
                .filter(|(a, b)| a == *b)
                .count()
                == banned.len()
        });
        if let Some(banned) = hit {
            faults.push(format!(
                "{file}:{}: a pure module may not use `{}`",
                used.line,
                banned.join("::")
            ));
        }
    }
    for at in &tokens {
        if let Token::Word(word) = &at.token
            && CLOCK_WORDS.contains(&word.as_str())
        {
            faults.push(format!(
                "{file}:{}: a pure module may not mention `{word}`",
                at.line
            ));
        }
    }
    faults
}

fn clock_faults(file: &str, source: &str) -> Vec<String> {
    if file == CLOCK_FILE {
        return Vec::new();
    }
    let tokens = without_tests(&tokens(source));
    let mut faults = Vec::new();
    for used in paths(&tokens, &home_of(file)) {
        let asks = match used.segments.as_slice() {
            [.., reader, now] if now == "now" => CLOCK_READERS.contains(&reader.as_str()),
            // Under another name it could not be found.
            [.., last] if used.renamed => CLOCK_READERS.contains(&last.as_str()),
            _ => false,
        };
        if asks {
            faults.push(format!(
                "{file}:{}: only {CLOCK_FILE} may ask for the time (`{}`)",
                used.line,
                used.segments.join("::")
            ));
        }
    }
    for at in tokens.iter().filter(|at| at.is_word("clock_gettime")) {
        faults.push(format!(
            "{file}:{}: only {CLOCK_FILE} may ask for the time",
            at.line
        ));
    }
    faults
}

fn opening_faults(file: &str, source: &str) -> Vec<String> {
    let opening = source.lines().take_while(|line| line.starts_with("//!"));
    match opening.count() {
        0 => vec![format!(
            "{file}: it does not open with `//!` and a sentence about what it is for"
        )],
        lines if lines > OPENING_LINES_MAX => {
            vec![format!(
                "{file}: its opening has {lines} lines, more than {OPENING_LINES_MAX}"
            )]
        }
        _ => Vec::new(),
    }
}

/// Put together here, because this file is read by its own checks.
fn unfinished_words() -> [String; 3] {
    [["TO", "DO"], ["FIX", "ME"], ["X", "XX"]].map(|halves| halves.concat())
}

/// Nothing is left for later, in code, comments and texts alike.
fn unfinished_faults(file: &str, text: &str) -> Vec<String> {
    let banned = unfinished_words();
    let mut faults = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let words = line.split(|c: char| !c.is_alphanumeric() && c != '_');
        for word in words.filter(|word| banned.iter().any(|banned| banned == word)) {
            faults.push(format!(
                "{file}:{}: `{word}`: do it or leave it out",
                number + 1
            ));
        }
    }
    faults
}

fn panic_faults(file: &str, source: &str) -> Vec<String> {
    let tokens = without_tests(&tokens(source));
    let mut faults = Vec::new();
    for (i, at) in tokens.iter().enumerate() {
        let Token::Word(word) = &at.token else {
            continue;
        };
        let next_is = |n: usize, mark: char| tokens.get(i + n).is_some_and(|t| t.is_mark(mark));
        let after_dot = i > 0 && tokens[i - 1].is_mark('.');
        if word == "unwrap" && after_dot && next_is(1, '(') && next_is(2, ')') {
            faults.push(format!(
                "{file}:{}: `expect` says why it holds, `unwrap` does not",
                at.line
            ));
        }
        if matches!(word.as_str(), "todo" | "unimplemented" | "dbg") && next_is(1, '!') {
            faults.push(format!(
                "{file}:{}: `{word}!` is not for finished code",
                at.line
            ));
        }
    }
    faults
}

fn folder_faults(files: &[String]) -> Vec<String> {
    let mut faults = BTreeSet::new();
    for file in files {
        let folders: Vec<&str> = file.split('/').collect();
        let folders = &folders[..folders.len() - 1];
        if folders.first() == Some(&"src") && folders.len() > 2 {
            faults.insert(format!("{file}: folders under src are one level deep"));
        }
        for name in folders.iter().filter(|name| EMPTY_NAMES.contains(name)) {
            faults.insert(format!(
                "{file}: a folder called `{name}` does not say what is in it"
            ));
        }
    }
    faults.into_iter().collect()
}

/// A path from somebody's own machine means nothing anywhere else.
fn machine_path_faults(file: &str, text: &str) -> Vec<String> {
    let roots = ["home", "root", "work", "tmp", "Users"].map(|name| format!("/{name}/"));
    let mut faults = Vec::new();
    for (number, line) in text.lines().enumerate() {
        for root in &roots {
            let absolute = line.match_indices(root.as_str()).any(|(start, _)| {
                let before = line[..start].chars().next_back();
                !before.is_some_and(|c| c.is_alphanumeric() || "._-}$~*)]>".contains(c))
            });
            if absolute {
                faults.push(format!(
                    "{file}:{}: a path of one machine: {root}",
                    number + 1
                ));
            }
        }
    }
    faults
}

fn top_faults(files: &[String]) -> Vec<String> {
    let names: BTreeSet<&str> = files
        .iter()
        .filter_map(|file| file.split('/').next())
        .collect();
    names
        .into_iter()
        .filter(|name| !TOP.contains(name))
        .map(|name| format!("{name}: nothing else stands at the top of the repository"))
        .collect()
}

/// Splits a text into sentences of lower-case words. A quote ends a sentence too, as texts in code stand in quotes.
fn sentences(text: &str) -> Vec<Vec<String>> {
    let ends = |c: char| matches!(c, '.' | '!' | '?' | ';' | ':' | '"' | '|');
    text.replace("\n\n", ".")
        .split(ends)
        .map(|sentence| {
            let words = sentence.split(|c: char| !c.is_alphanumeric() && c != '\'' && c != '’');
            let words = words.filter(|word| !word.is_empty());
            words
                .map(|word| word.replace('’', "'").to_lowercase())
                .collect()
        })
        .collect()
}

fn has_any(words: &[String], wanted: &[&str]) -> bool {
    words.iter().any(|word| wanted.contains(&word.as_str()))
}

/// Nobody may read that a time in the harness is safe, nor that a casualty should be kept upright.
///
/// There is no safe time: HSE 2008 and RR708 (S4), Rauch et al. 2019 (S7). Lying flat is right and there is no evidence
/// for upright: HSE 2008, ICAR MedCom 2023, Mortimer 2011 (S6).
fn advice_faults(file: &str, text: &str) -> Vec<String> {
    let denials = [
        "never", "not", "no", "nor", "don't", "doesn't", "cannot", "can't", "isn't", "without",
    ];
    let units = [
        "minute", "minutes", "min", "mins", "second", "seconds", "hour", "hours",
    ];
    let counts = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "fifteen",
        "twenty", "thirty", "sixty", "several", "n",
    ];
    let is_count = |word: &String| {
        counts.contains(&word.as_str()) || word.chars().next().is_some_and(|c| c.is_ascii_digit())
    };
    let is_span = |two: &[String]| is_count(&two[0]) && units.contains(&two[1].as_str());
    let people = [
        "casualty",
        "casualties",
        "worker",
        "person",
        "patient",
        "victim",
        "them",
        "him",
        "her",
        "they",
    ];
    let keeping = [
        "keep", "keeps", "kept", "leave", "hold", "prop", "sit", "seat", "stay", "stays", "remain",
        "place", "put",
    ];
    let upright = ["upright", "sitting", "seated", "sit", "squatting"];
    let mut faults = Vec::new();
    for words in sentences(text) {
        if has_any(&words, &denials) {
            continue;
        }
        for (i, word) in words.iter().enumerate() {
            let near = &words[i.saturating_sub(5)..(i + 6).min(words.len())];
            let span_is_near = near.windows(2).any(is_span);
            let names_a_time = words.get(i + 1).is_some_and(|next| {
                matches!(
                    next.as_str(),
                    "time" | "period" | "limit" | "duration" | "suspension" | "hanging"
                )
            });
            if word == "safe" && (span_is_near || names_a_time) {
                faults.push(format!(
                    "{file}: it calls a time safe: \"{}\"",
                    words.join(" ")
                ));
            }
        }
        if has_any(&words, &upright) && has_any(&words, &keeping) && has_any(&words, &people) {
            faults.push(format!(
                "{file}: it advises to keep a casualty upright: \"{}\"",
                words.join(" ")
            ));
        }
    }
    faults
}

// ---------------------------------------------------------------------------------------------------------------
// The repository.

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Returns the project's files, relative to its root and sorted: what git has or would take, and without git all but
/// what it would leave out.
fn project_files() -> Vec<String> {
    let listed = Command::new("git")
        .arg("-C")
        .arg(root())
        .args([
            "ls-files",
            "-z",
            "--cached",
            "--others",
            "--exclude-standard",
        ])
        .output();
    let mut files: Vec<String> = match listed {
        Ok(output) if output.status.success() => String::from_utf8_lossy(&output.stdout)
            .split('\0')
            .filter(|name| !name.is_empty() && root().join(name).is_file())
            .map(str::to_owned)
            .collect(),
        _ => Vec::new(),
    };
    if files.is_empty() {
        let ignored = std::fs::read_to_string(root().join(".gitignore")).unwrap_or_default();
        let ignored: Vec<&str> = ignored.lines().map(|line| line.trim_matches('/')).collect();
        walk(root(), &ignored, &mut files);
    }
    files.sort();
    assert!(
        files.iter().any(|file| file == "Cargo.toml")
            && files.iter().any(|file| file == "src/lib.rs"),
        "the list of the project's files is not one: {files:?}"
    );
    files
}

fn walk(folder: &Path, ignored: &[&str], files: &mut Vec<String>) {
    let entries = std::fs::read_dir(folder).expect("a folder of the project can be read");
    for entry in entries {
        let path: PathBuf = entry.expect("an entry of the project can be read").path();
        let relative = path
            .strip_prefix(root())
            .expect("the walk stays inside the project");
        let name = relative.to_string_lossy().into_owned();
        if name == ".git" || name == "target" || ignored.contains(&name.as_str()) {
            continue;
        }
        if path.is_dir() {
            walk(&path, ignored, files);
        } else {
            files.push(name);
        }
    }
}

/// Returns a file's text, and nothing for pictures, sounds and fonts.
fn text_of(file: &str) -> Option<String> {
    let bytes = std::fs::read(root().join(file)).expect("a listed file can be read");
    String::from_utf8(bytes).ok()
}

/// Applies a rule to the project's texts that `chosen` picks, of which there must be some.
#[track_caller]
fn hold(chosen: impl Fn(&str) -> bool, rule: impl Fn(&str, &str) -> Vec<String>) {
    let mut read = 0;
    let mut faults = Vec::new();
    for file in project_files().iter().filter(|file| chosen(file)) {
        if let Some(text) = text_of(file) {
            read += 1;
            faults.extend(rule(file, &text));
        }
    }
    assert!(read > 0, "no file was read, so nothing was checked");
    assert_none(&faults);
}

#[track_caller]
fn assert_none(faults: &[String]) {
    assert!(
        faults.is_empty(),
        "{} faults:\n{}",
        faults.len(),
        faults.join("\n")
    );
}

fn is_source(file: &str) -> bool {
    file.starts_with("src/") && file.ends_with(".rs")
}

/// Returns the files under `src` that are modules for tests alone.
fn test_only_files() -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for file in project_files().iter().filter(|file| is_source(file)) {
        let text = text_of(file).unwrap_or_default();
        for name in test_only_modules(&tokens(&text)) {
            let mut home = home_of(file);
            home.push(name);
            found.insert(format!("src/{}.rs", home.join("/")));
        }
    }
    found
}

/// Picks what is compiled into the program: the source without the files that are for tests alone.
fn is_shipped() -> impl Fn(&str) -> bool {
    let for_tests = test_only_files();
    move |file| is_source(file) && !for_tests.contains(file)
}

#[test]
fn modules_use_only_what_is_further_down() {
    assert_none(&place_faults(&project_files()));
    hold(is_source, layer_faults);
}

#[test]
fn the_pure_modules_reach_for_no_device_disk_thread_or_clock() {
    hold(is_shipped(), purity_faults);
}

#[test]
fn one_file_asks_for_the_time() {
    hold(is_shipped(), clock_faults);
}

#[test]
fn every_rust_file_opens_with_what_it_is_for() {
    hold(|file| file.ends_with(".rs"), opening_faults);
}

#[test]
fn nothing_is_left_for_later() {
    hold(|file| file != "Cargo.lock", unfinished_faults);
}

#[test]
fn the_program_does_not_panic_for_want_of_a_reason() {
    hold(is_shipped(), panic_faults);
}

#[test]
fn folders_are_flat_and_named_for_what_they_hold() {
    assert_none(&folder_faults(&project_files()));
}

#[test]
fn no_file_names_a_path_of_one_machine() {
    hold(|_| true, machine_path_faults);
}

#[test]
fn the_top_of_the_repository_is_kept_short() {
    assert_none(&top_faults(&project_files()));
}

#[test]
fn no_text_calls_a_time_safe_or_keeps_a_casualty_upright() {
    let for_people = |file: &str| {
        file == "README.md"
            || file.starts_with("ui/") && !file.ends_with("OFL.txt")
            || file.starts_with("src/words")
    };
    hold(for_people, advice_faults);
}

// ---------------------------------------------------------------------------------------------------------------
// The rules tried out.

/// Runs a rule on snippets, one a line: the file it stands in, the number of faults to be found, the text. `⏎` in a
/// text is the end of a line there.
#[track_caller]
fn check_all(rule: impl Fn(&str, &str) -> Vec<String>, cases: &str) {
    for case in cases.lines().filter(|line| !line.trim().is_empty()) {
        let mut parts = case.splitn(3, " | ").map(str::trim);
        let (Some(file), Some(number), Some(text)) = (parts.next(), parts.next(), parts.next())
        else {
            panic!("a case has three parts: {case}");
        };
        let expected = number.parse().expect("the number of faults is a number");
        check(&rule, file, &text.replace('⏎', "\n"), expected);
    }
}

/// Runs a rule on one snippet and compares the number of faults.
#[track_caller]
fn check(rule: impl Fn(&str, &str) -> Vec<String>, file: &str, text: &str, expected: usize) {
    let faults = rule(file, text);
    assert_eq!(faults.len(), expected, "{text}\n{faults:#?}");
}

#[test]
fn the_layer_rule_sees_every_way_to_name_a_module() {
    check_all(
        layer_faults,
        r####"
        src/incident/decide.rs | 0 | use crate::plan::Plan; fn f() -> crate::units::Millis {}
        src/incident/decide.rs | 0 | use crate::incident::State; use super::apply; use self::x::Y;
        src/plan/model.rs | 1 | use crate::incident::State;
        src/plan/model.rs | 1 | use crate::{units::{Millis, Newton}, words, cue::Cue};
        src/plan/model.rs | 1 | use crate::{self as house};
        src/plan/model.rs | 1 | use crate::*;
        src/plan/model.rs | 1 | fn f(a: Vec<crate::store::Store>) {}
        src/plan/model.rs | 1 | fn f() { crate::kiosk::show(); }
        src/plan/model.rs | 1 | macro_rules! m { () => { $crate::engine::run() } }
        src/plan/model.rs | 1 | use super::super::engine::Engine;
        src/cue.rs | 1 | use super::{incident, engine};
        src/cue.rs | 1 | mod tests { use super::*; use super::super::kiosk; }
        src/cue.rs | 1 | mod tests { mod deep { use super::super::Cue; } } use super::kiosk;
        src/journal/mod.rs | 1 | use crate::store::Store;
        src/journal/mod.rs | 1 | use crate::clock::Clock;
        src/journal/mod.rs | 0 | use crate::signal::Effect;
        src/units/mod.rs | 1 | use crate::words::Id;
        src/words/mod.rs | 0 | use crate::units::Millis;
        src/plan/model.rs | 0 | // use crate::engine::Engine;⏎/* crate::kiosk::x /* */ */
        src/plan/model.rs | 0 | const A: &str = r#"crate::engine::x "quoted""#; const B: char = '"';
        src/plan/model.rs | 1 | const A: &str = "\"crate::kiosk::x"; fn f<'a>(x: &'a str) { crate::sound::x }
        src/plan/model.rs | 0 | pub(crate) fn f() {} pub(in crate::plan) fn g() {}
        src/main.rs | 0 | use groundward::cli; fn main() { groundward::engine::run() }
        src/main.rs | 1 | use groundward::Everything;
        src/odd/mod.rs | 1 | fn f() {}
        src/cue.rs | 1 | #[path = "kiosk/mod.rs"] mod hidden;
        src/lib.rs | 0 | pub mod cli; pub mod engine;
        "####,
    );
}

#[test]
fn a_module_without_a_place_is_named() {
    let files = [
        "src/lib.rs",
        "src/main.rs",
        "src/plan/mod.rs",
        "src/odd.rs",
        "tests/any.rs",
    ];
    let faults = place_faults(&files.map(str::to_owned));
    assert_eq!(faults.len(), 1);
    assert!(faults[0].contains("`odd`"), "{faults:?}");
}

#[test]
fn every_pure_module_has_a_place_below_the_edges() {
    let edges = layer_of("journal").expect("the journal has a place");
    for module in PURE {
        assert!(
            layer_of(module).is_some_and(|layer| layer > edges),
            "{module}"
        );
    }
}

#[test]
fn the_purity_rule_sees_devices_disks_threads_and_clocks() {
    check_all(
        purity_faults,
        r####"
        src/plan/mod.rs | 0 | use std::sync::Arc; use std::collections::{BTreeMap, BTreeSet};
        src/plan/mod.rs | 3 | use std::{fmt, fs, thread::{self, spawn}};
        src/plan/mod.rs | 1 | fn f() { std::fs::read(p); }
        src/plan/mod.rs | 2 | use slint::SharedString; use ::sled::Db;
        src/signal.rs | 1 | use tokio::sync::mpsc;
        src/review/mod.rs | 1 | use std::time::{Duration, Instant};
        src/review/mod.rs | 1 | fn f(at: time::SystemTime) {}
        src/plan/mod.rs | 0 | #[cfg(test)] mod tests { use std::fs; } fn g() {}
        src/plan/mod.rs | 1 | #[cfg(not(test))] mod real { use std::fs; }
        src/plan/mod.rs | 1 | #[cfg(test)] use std::{fs, net}; use std::net;
        src/plan/mod.rs | 0 | //! No std::fs and no tokio here.⏎const A: &str = "std::thread";
        src/journal/mod.rs | 0 | use std::fs::File;
        "####,
    );
}

#[test]
fn the_clock_rule_sees_who_asks_for_the_time() {
    check_all(
        clock_faults,
        r####"
        src/engine.rs | 0 | use std::time::{Duration, Instant}; fn f(at: Instant) {}
        src/engine.rs | 2 | fn f() { Instant::now(); std::time::SystemTime::now(); }
        src/engine.rs | 2 | fn f() { chrono::Utc::now(); Local::now(); now(); self.now(); }
        src/engine.rs | 1 | use std::time::Instant as Moment; fn f() { Moment::now(); }
        src/engine.rs | 1 | fn f() { rustix::time::clock_gettime(id); }
        src/clock.rs | 0 | fn f() { Instant::now(); }
        src/store/mod.rs | 0 | #[cfg(test)] mod tests { fn f() { Instant::now(); } }
        "####,
    );
}

#[test]
fn the_other_rules_see_what_they_are_for() {
    check(
        opening_faults,
        "src/a.rs",
        "//! Opens it.\nuse std::fmt;",
        0,
    );
    check(opening_faults, "src/a.rs", "// Opens it.\n//! Late.", 1);
    check(
        opening_faults,
        "src/a.rs",
        &"//! Long.\n".repeat(OPENING_LINES_MAX + 1),
        1,
    );

    for word in unfinished_words() {
        check(
            unfinished_faults,
            "src/a.rs",
            &format!("fn f() {{}} // {word}: later"),
            1,
        );
        check(
            unfinished_faults,
            "src/a.rs",
            &format!("fn f{word}s() {{}}"),
            0,
        );
    }

    check_all(
        panic_faults,
        r####"
        src/a.rs | 2 | fn f() { a.unwrap(); b⏎.unwrap ( ); c.unwrap_or(1); d.expect("why") }
        src/a.rs | 3 | fn f() { todo!(); dbg!(a); unimplemented!() }
        src/a.rs | 0 | fn f() {} #[cfg(test)] mod tests { fn g() { a.unwrap() } }
        src/a.rs | 1 | #[cfg(test)] #[derive(Debug)] struct A([u8; 2]); fn f() { a.unwrap() }
        "####,
    );

    let tmp = format!("/{}/", "tmp");
    check(
        machine_path_faults,
        "a",
        &format!("cd {tmp}x\n\"{tmp}y\""),
        2,
    );
    check(
        machine_path_faults,
        "a",
        &format!("target{tmp}x and $A{tmp} and ../..{tmp}"),
        0,
    );

    let names = |names: &[&str]| {
        names
            .iter()
            .map(|name| (*name).to_owned())
            .collect::<Vec<_>>()
    };
    assert!(
        folder_faults(&names(&[
            "src/plan/mod.rs",
            "ui/api/types.slint",
            "src/main.rs"
        ]))
        .is_empty()
    );
    assert_eq!(folder_faults(&names(&["src/plan/deep/mod.rs"])).len(), 1);
    assert_eq!(
        folder_faults(&names(&["src/utils/mod.rs", "tests/common/mod.rs"])).len(),
        2
    );
    assert!(top_faults(&names(&["src/main.rs", ".ci/run", "README.md"])).is_empty());
    assert_eq!(
        top_faults(&names(&["notes.txt", "docs/a.md", "docs/b.md"])).len(),
        2
    );

    assert_eq!(
        test_only_modules(&tokens("mod a; #[cfg(test)] mod b; #[cfg(test)] mod c { }")),
        ["b"]
    );
}

#[test]
fn the_rule_on_advice_sees_a_safe_time_and_an_upright_casualty() {
    check_all(
        advice_faults,
        r####"
        README.md | 1 | Hanging is safe for 10 minutes.
        README.md | 1 | A worker is safe up to⏎fifteen minutes in the harness.
        README.md | 1 | The first 5 min are safe.
        README.md | 1 | The safe time is shown on the clock.
        README.md | 0 | No number of minutes is safe. A time is never called safe for 5 minutes.
        README.md | 0 | Is it safe to go near? The target is 9 minutes.
        src/words/en.rs | 0 | ("Safe here?", "Nine minutes since the fall")
        src/words/en.rs | 1 | Id::A => "Keep the casualty sitting"
        README.md | 1 | Sit the person up against a wall.
        README.md | 1 | The casualty should stay in an upright position for half an hour.
        README.md | 0 | Lay the casualty flat; never keep anybody upright.
        ui/main.slint | 0 | Text { text: "Keep talking to the casualty"; }
        "####,
    );
}
