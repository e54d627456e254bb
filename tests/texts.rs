//! Reads every text in every language, through the way by which the screens get them.
//!
//! A text is read by somebody frightened, once, perhaps in a language that its authors do not speak: so what no text may
//! say, and how long it may be, is checked over whole catalogues. Each rule is tried on texts that keep and break it. The
//! word lists see plain wording only; they do not take the place of a native speaker who trains rescuers.

use groundward::words::{Id, Language, Message};
use std::collections::BTreeSet;

/// Languages that people read; the word lists exist for these.
const SPOKEN: [Language; 2] = Language::ALL_SPOKEN;

/// All languages there are.
const LANGUAGES: [Language; 3] = [Language::English, Language::Spanish, Language::Pseudo];

/// More than any text has.
const ARGUMENTS_MAX: u32 = 10;

/// The longest prompt, by the rule for prompts of this house; a judgement, no source.
const PROMPT_WORDS_MAX: usize = 9;

/// Spanish texts that are the same in English: names, units and words of both languages.
const SAME: [Id; 9] = [
    Id::PlanTile,
    Id::CardSeconds,
    Id::CardMinutes,
    Id::CardMinutesSeconds,
    Id::CardHospital,
    Id::CardRadio,
    Id::CardRadioAny,
    Id::CardKitCount,
    Id::CardSketchNorth,
];

/// Spanish texts that may be longer than their box asks, as shorter words for them would not be understood: each says
/// which paper fails, on a line of its own below a place or a method.
const LONGER: [Id; 3] = [Id::NotReadyInspection, Id::NotReadyRating, Id::LastRating];

// ---------------------------------------------------------------------------------------------------------------
// How a text is read.

fn mark(number: u32) -> char {
    char::from_u32(0xE000 + number).expect("the first private-use characters are characters")
}

fn is_mark(letter: char) -> bool {
    (mark(0)..mark(ARGUMENTS_MAX)).contains(&letter)
}

/// A text with a mark in the place of each argument, that no text has by itself.
fn marked(id: Id, language: Language) -> String {
    let args = (0..ARGUMENTS_MAX).map(|n| mark(n).to_string()).collect();
    Message { id, args }.text(language)
}

/// A text with a time as its every argument, so that a rule on times sees also those that are filled in.
fn timed(id: Id, language: Language) -> String {
    let args = (0..ARGUMENTS_MAX).map(|_| "9 min".to_owned()).collect();
    Message { id, args }.text(language)
}

/// A snippet with `{0}` as the rules get it from the catalogue.
fn snippet(text: &str) -> String {
    (0..ARGUMENTS_MAX).fold(text.to_owned(), |text, n| {
        text.replace(&format!("{{{n}}}"), &mark(n).to_string())
    })
}

fn own_length(text: &str) -> usize {
    text.chars().filter(|letter| !is_mark(*letter)).count()
}

/// Lower-case words, each between two spaces.
fn words(text: &str) -> String {
    let spaced: String = text
        .replace('’', "'")
        .chars()
        .map(|c| {
            if c.is_alphanumeric() || c == '\'' {
                c
            } else {
                ' '
            }
        })
        .collect();
    let words: Vec<_> = spaced.split_whitespace().collect();
    format!(" {} ", words.join(" ").to_lowercase())
}

/// Sentences, each as its clauses.
fn sentences(text: &str) -> Vec<Vec<String>> {
    text.split(['.', '!', '?', '¿', '¡', ';', ':'])
        .map(|sentence| sentence.split(',').map(words).collect())
        .collect()
}

/// Which of the words or phrases of a list stand in a text that [`words`] made.
fn found<'a>(words: &str, list: &'a str) -> Vec<&'a str> {
    list.split(", ")
        .filter(|it| words.contains(&format!(" {it} ")))
        .collect()
}

// ---------------------------------------------------------------------------------------------------------------
// What is looked for.

/// Words and phrases, with a comma between two.
struct Lists {
    denials: &'static str,
    safe: &'static str,
    units: &'static str,
    counts: &'static str,
    times: &'static str,
    reassuring: &'static str,
    upright: &'static str,
    blaming: &'static str,
}

const ENGLISH: Lists = Lists {
    denials: "no, not, never, nor, nobody, cannot, can't, don't, isn't",
    safe: "safe, safely, harmless, tolerable, acceptable",
    units: "s, second, seconds, min, mins, minute, minutes, hour, hours",
    counts: "one, two, three, four, five, six, seven, eight, nine, ten, fifteen, twenty, thirty, sixty, some, several, \
        many, first, few",
    times: "time, period, limit, duration, suspension, hanging, hang, hangs, harness",
    reassuring: "plenty of time, enough time, time enough, time left, no hurry, no rush",
    upright: "upright, sit, sits, sitting, seat, seated, squat, squatting, kneel, kneeling, prop, propped, on his feet, \
        on their feet",
    blaming: "fault, faults, blame, blamed, guilty, guilt, careless, carelessly, carelessness, negligent, negligence, \
        reckless, clumsy, stupid, incompetent, irresponsible, forgot, failed to, should have, shouldn't have, \
        ought to have, could have, must have known, too slow, your mistake, his mistake, her mistake, their mistake",
};

const SPANISH: Lists = Lists {
    denials: "no, ni, nunca, jamás, ningún, ninguno, ninguna, nadie, tampoco",
    safe: "seguro, segura, seguros, seguras, inofensivo, inofensiva, tolerable, aceptable, sin peligro, sin riesgo",
    units: "s, segundo, segundos, min, minuto, minutos, hora, horas",
    counts: "un, una, dos, tres, cuatro, cinco, seis, siete, ocho, nueve, diez, quince, veinte, treinta, sesenta, \
        unos, unas, varios, varias, muchos, primeros, pocos",
    times: "tiempo, plazo, período, periodo, límite, duración, suspensión, colgar, cuelga, colgado, arnés",
    reassuring: "tiempo de sobra, tiempo suficiente, hay tiempo, queda tiempo, sin prisa, no hay prisa",
    upright: "erguido, erguida, sentar, sentarlo, sentarla, sentarse, sentado, sentada, siéntelo, siéntela, siéntenlo, \
        siéntese, semisentado, semisentada, incorporar, incorporarlo, incorporado, incorporada, incorpore, \
        incorpórelo, incorpórela, posición vertical, en vertical, en cuclillas, agachado, de rodillas, de pie, en pie",
    blaming: "culpa, culpas, culpable, culpables, descuido, descuidos, descuidado, descuidada, negligente, \
        negligencia, imprudente, imprudencia, temerario, torpe, torpeza, irresponsable, incompetente, olvidó, debió, \
        debía, debería haber, deberían haber, tendría que haber, tenía que haber, podría haber, demasiado lento, \
        demasiado lenta, su error",
};

/// Words that speak to somebody as tú, vos or vosotros; the catalogue says usted.
const FAMILIAR: &str =
    "tú, tu, tus, te, ti, contigo, vos, vosotros, vosotras, vuestro, vuestra, os";

/// Other words for the casualty, who is called accidentado throughout, or persona colgada to people outside.
const OTHER_NAMES: &str = "víctima, víctimas, paciente, lesionado, lesionada, caído, trabajador, \
    trabajadora, operario, operaria";

fn lists(language: Language) -> Option<&'static Lists> {
    match language {
        Language::English => Some(&ENGLISH),
        Language::Spanish => Some(&SPANISH),
        Language::Pseudo => None,
    }
}

// ---------------------------------------------------------------------------------------------------------------
// The rules.

fn arguments(text: &str) -> BTreeSet<char> {
    text.chars().filter(|letter| is_mark(*letter)).collect()
}

fn argument_faults(english: &str, other: &str) -> Vec<String> {
    let number = |letter: &char| u32::from(*letter) - u32::from(mark(0));
    arguments(english)
        .symmetric_difference(&arguments(other))
        .map(|letter| format!("the argument {} is not in both", number(letter)))
        .collect()
}

fn names_a_time(lists: &Lists, clause: &str) -> bool {
    let is_one_of = |list: &str, word: &str| list.split(", ").any(|it| it == word);
    let is_count = |word: &str| {
        is_one_of(lists.counts, word) || word.starts_with(|c: char| c.is_ascii_digit())
    };
    let words: Vec<&str> = clause.split_whitespace().collect();
    let is_span = |two: &[&str]| is_count(two[0]) && is_one_of(lists.units, two[1]);
    words.windows(2).any(is_span) || !found(clause, lists.times).is_empty()
}

/// There is no safe time in a harness: HSE 2008 and RR708, Rauch et al. 2019. A denial counts only in the clause that says
/// "safe"; the time may stand anywhere in the sentence.
fn safe_time_faults(lists: &Lists, text: &str) -> Vec<String> {
    let mut faults = Vec::new();
    for sentence in sentences(text) {
        let timed = sentence.iter().any(|clause| names_a_time(lists, clause));
        for clause in &sentence {
            let calm = found(clause, lists.reassuring);
            let called_safe = timed && found(clause, lists.denials).is_empty();
            let safe = found(clause, lists.safe);
            if !calm.is_empty() || called_safe && !safe.is_empty() {
                faults.push(format!("it calls a time safe: \"{}\"", clause.trim()));
            }
        }
    }
    faults
}

/// Lying flat is right, and nothing speaks for upright: HSE 2008, ICAR MedCom 2023, Mortimer 2011. The catalogue has no
/// other use for these words than to warn.
fn upright_faults(lists: &Lists, text: &str) -> Vec<String> {
    let clauses = sentences(text).into_iter().flatten();
    clauses
        .filter(|clause| found(clause, lists.denials).is_empty())
        .flat_map(|clause| found(&clause, lists.upright))
        .map(|word| format!("it may keep a casualty upright: \"{word}\""))
        .collect()
}

/// Who is blamed in a record hides the next fall, and stands there for ever; common practice, no source.
fn blame_faults(lists: &Lists, text: &str) -> Vec<String> {
    found(&words(text), lists.blaming)
        .into_iter()
        .map(|word| format!("it blames: \"{word}\""))
        .collect()
}

/// An argument is one word. A prompt made of a plan's own text passes here; the plan is checked for its length elsewhere.
fn prompt_faults(text: &str) -> Vec<String> {
    let count = text.split_whitespace().count();
    let faults = (count > PROMPT_WORDS_MAX).then(|| format!("{count} words in a prompt"));
    faults.into_iter().collect()
}

fn same_faults(english: &str, spanish: &str) -> Vec<String> {
    let own = |text: &str| text.chars().any(char::is_alphabetic);
    let same = english == spanish && own(&english.replace(is_mark, ""));
    let faults = same.then(|| format!("it is still English: \"{english}\""));
    faults.into_iter().collect()
}

/// How long a text may be where it stands in a box: a quarter longer than English, and short ones six letters.
fn box_room(english: usize) -> usize {
    (english * 5).div_ceil(4).max(english + 6)
}

/// How long a text may be where it has lines to itself: three fifths longer, and short ones fifteen letters.
fn line_room(english: usize) -> usize {
    (english * 8).div_ceil(5).max(english + 15)
}

fn length_faults(english: &str, other: &str, room: fn(usize) -> usize) -> Vec<String> {
    let (length, room) = (own_length(other), room(own_length(english)));
    let faults = (length > room).then(|| format!("{length} letters where {room} have room"));
    faults.into_iter().collect()
}

/// Prompts, papers, the record and notices have lines to themselves; all others stand in boxes.
fn room_of(id: Id) -> fn(usize) -> usize {
    let has_lines = ["card-", "ev-", "incident-report-", "notice-"]
        .iter()
        .any(|start| id.as_str().starts_with(start));
    if has_lines || Id::PROMPTS.contains(&id) {
        line_room
    } else {
        box_room
    }
}

/// In Spanish a question and a call are opened as well as closed.
fn opening_faults(text: &str) -> Vec<String> {
    let count = |mark| text.chars().filter(|c| *c == mark).count();
    [('¿', '?'), ('¡', '!')]
        .into_iter()
        .filter(|(open, close)| count(*open) != count(*close))
        .map(|(open, close)| format!("{open} and {close} do not come in pairs"))
        .collect()
}

fn wording_faults(text: &str) -> Vec<String> {
    let words = words(text);
    let familiar = found(&words, FAMILIAR).into_iter();
    let named = found(&words, OTHER_NAMES).into_iter();
    let faults = familiar
        .map(|word| format!("it does not say usted: \"{word}\""))
        .chain(named.map(|word| format!("the casualty has another name: \"{word}\"")));
    faults.collect()
}

/// A clipped text is seen only by its missing bracket, and a text that is too short shows nothing. What is nothing but an
/// argument stays whole.
fn pseudo_faults(english: &str, pseudo: &str) -> Vec<String> {
    let mut faults = Vec::new();
    if english.chars().count() == 1 && english.contains(is_mark) {
        if english != pseudo {
            faults.push("what is nothing but an argument was changed".to_owned());
        }
        return faults;
    }
    if !(pseudo.starts_with('[') && pseudo.ends_with(']')) {
        faults.push(format!("it has no brackets: \"{pseudo}\""));
    }
    let (plain, long) = (own_length(english), own_length(pseudo));
    if long * 4 < plain * 5 || long > plain * 3 / 2 + 3 {
        faults.push(format!("{plain} letters became {long}: \"{pseudo}\""));
    }
    faults
}

// ---------------------------------------------------------------------------------------------------------------
// The catalogues.

/// Runs a rule on all ids in these languages and names what it finds.
#[track_caller]
fn hold(languages: &[Language], ids: &[Id], rule: impl Fn(Id, Language) -> Vec<String>) {
    let mut faults = Vec::new();
    for language in languages {
        for id in ids {
            let place = format!("{} in {}", id.as_str(), language.tag());
            let own = rule(*id, *language).into_iter();
            faults.extend(own.map(|fault| format!("{place}: {fault}")));
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// Runs a rule with the word lists of each language that people read.
#[track_caller]
fn hold_in_words(rule: fn(&Lists, &str) -> Vec<String>) {
    hold(&SPOKEN, Id::ALL, |id, language| {
        let lists = lists(language).expect("each spoken language has its word lists");
        rule(lists, &timed(id, language))
    });
}

fn english(id: Id) -> String {
    marked(id, Language::English)
}

#[test]
fn a_text_takes_the_same_arguments_in_every_language() {
    hold(&LANGUAGES, Id::ALL, |id, language| {
        argument_faults(&english(id), &marked(id, language))
    });
}

#[test]
fn no_language_calls_a_time_safe() {
    hold_in_words(safe_time_faults);
}

#[test]
fn no_language_keeps_a_casualty_upright() {
    hold_in_words(upright_faults);
}

#[test]
fn no_language_blames_anybody() {
    hold_in_words(blame_faults);
}

#[test]
fn a_prompt_has_at_most_nine_words() {
    hold(&LANGUAGES, Id::PROMPTS, |id, language| {
        prompt_faults(&marked(id, language))
    });
}

#[test]
fn nothing_is_left_in_english() {
    let same = |id| same_faults(&english(id), &marked(id, Language::Spanish));
    hold(&[Language::Spanish], Id::ALL, |id, _| {
        if SAME.contains(&id) {
            Vec::new()
        } else {
            same(id)
        }
    });
    for id in SAME {
        assert!(!same(id).is_empty(), "{} differs now", id.as_str());
    }
}

#[test]
fn a_text_is_hardly_longer_than_its_box() {
    let longer = |id| length_faults(&english(id), &marked(id, Language::Spanish), room_of(id));
    hold(&[Language::Spanish], Id::ALL, |id, _| {
        if LONGER.contains(&id) {
            Vec::new()
        } else {
            longer(id)
        }
    });
    for id in LONGER {
        assert!(
            !longer(id).is_empty(),
            "{} is short enough now",
            id.as_str()
        );
    }
}

#[test]
fn spanish_opens_its_questions_and_keeps_to_its_words() {
    hold(&[Language::Spanish], Id::ALL, |id, language| {
        let text = marked(id, language);
        [opening_faults(&text), wording_faults(&text)].concat()
    });
}

#[test]
fn the_pseudo_language_is_longer_and_in_brackets() {
    hold(&[Language::Pseudo], Id::ALL, |id, language| {
        pseudo_faults(&english(id), &marked(id, language))
    });
}

#[test]
fn a_language_is_kept_by_its_short_name_and_calls_itself_by_its_own() {
    for (language, kept, tag, name) in [
        (Language::English, "\"en\"", "en", "English"),
        (Language::Spanish, "\"es\"", "es", "Español"),
        (Language::Pseudo, "\"qps\"", "qps-ploc", "Pseudo"),
    ] {
        let written = serde_json::to_string(&language).expect("a language can be written");
        assert_eq!(written, kept);
        let read: Language = serde_json::from_str(kept).expect("a language can be read");
        assert_eq!(read, language);
        assert_eq!((language.tag(), language.name()), (tag, name));
    }
}

// ---------------------------------------------------------------------------------------------------------------
// The rules tried out.

/// Runs a rule on snippets, one a line: the language, the number of faults to be found, the text.
#[track_caller]
fn check_all(rule: fn(&Lists, &str) -> Vec<String>, cases: &str) {
    for case in cases.lines().filter(|line| !line.trim().is_empty()) {
        let mut parts = case.splitn(3, " | ").map(str::trim);
        let (Some(language), Some(number), Some(text)) = (parts.next(), parts.next(), parts.next())
        else {
            panic!("a case has three parts: {case}");
        };
        let language = SPOKEN.into_iter().find(|it| it.tag() == language);
        let lists = language.and_then(lists).expect("a case names its language");
        let expected = number.parse().expect("the number of faults is a number");
        check(&rule(lists, text), text, expected);
    }
}

#[track_caller]
fn check(faults: &[String], text: &str, expected: usize) {
    assert_eq!(faults.len(), expected, "{text}\n{faults:#?}");
}

#[test]
fn the_rule_on_arguments_sees_one_too_many_and_one_too_few() {
    for (english, other, expected) in [
        ("{0}: call {1} now.", "{0}: llame ya al {1}.", 0),
        ("{0} from {1}", "{1}: {0}", 0),
        ("{0}: call {1} now.", "{0}: llame ya.", 1),
        ("{0} sent", "enviados", 1),
        ("{0} sent", "enviados: {1}", 2),
    ] {
        let faults = argument_faults(&snippet(english), &snippet(other));
        check(&faults, other, expected);
    }
}

#[test]
fn the_rule_on_safe_times_sees_them_in_both_languages() {
    check_all(
        safe_time_faults,
        "
        en | 1 | Hanging is safe for 10 minutes.
        en | 1 | Safe for 9 min
        en | 1 | The first five minutes in the harness are safe.
        en | 1 | Do not hurry, ten minutes are safe
        en | 1 | There is plenty of time.
        en | 0 | No time in suspension is safe.
        en | 0 | Is it safe to go near?
        en | 0 | Everybody to a safe place now. Off the harness 9 min after the fall.
        es | 1 | Colgar es seguro durante 10 minutos.
        es | 1 | Seguro hasta 9 min
        es | 1 | Los primeros minutos son seguros.
        es | 1 | Sin riesgo en el arnés, un tiempo.
        es | 1 | No se apure, diez minutos son seguros
        es | 1 | Aún queda tiempo.
        es | 0 | Ningún tiempo en suspensión es seguro.
        es | 0 | ¿Ya es seguro acercarse?
        es | 0 | Todos a un lugar seguro ya. Ya no cuelga 9 min después de la caída.
        ",
    );
}

#[test]
fn the_rule_on_upright_casualties_sees_them_in_both_languages() {
    check_all(
        upright_faults,
        "
        en | 1 | Keep the casualty sitting.
        en | 1 | Sit the casualty up for 30 min.
        en | 1 | Not flat at once, upright first.
        en | 0 | Lay the casualty flat, never upright.
        en | 0 | Stand in the straps.
        es | 1 | Mantenga al accidentado sentado.
        es | 1 | Incorpórelo media hora.
        es | 1 | No lo acueste, manténgalo de pie.
        es | 0 | Acueste al accidentado, nunca sentado.
        es | 0 | Se siente mal
        ",
    );
}

#[test]
fn the_rule_on_blame_sees_it_in_both_languages() {
    check_all(
        blame_faults,
        "
        en | 1 | Whose fault was it?
        en | 1 | Rua should have called earlier.
        en | 2 | Careless, and too slow.
        en | 0 | The call was made 9 min after the fall.
        en | 0 | Default sound
        es | 1 | ¿De quién es la culpa?
        es | 1 | Rua debería haber llamado antes.
        es | 2 | Un descuido; fue demasiado lento.
        es | 0 | Se llamó 9 min después de la caída.
        es | 0 | Nadie de turno consta como persona competente
        ",
    );
}

#[test]
fn the_rule_on_prompts_counts_an_argument_as_one_word() {
    for (text, expected) in [
        ("{0}: one two three four five six seven eight.", 0),
        ("{0}: one two three four five six seven eight nine.", 1),
        ("¿Uno dos tres cuatro cinco seis siete ocho nueve?", 0),
        ("¿Uno dos tres cuatro cinco seis siete ocho nueve diez?", 1),
    ] {
        check(&prompt_faults(&snippet(text)), text, expected);
    }
}

#[test]
fn the_rule_on_english_left_over_lets_arguments_pass() {
    for (english, spanish, expected) in [
        ("Saved", "Guardado", 0),
        ("Saved", "Saved", 1),
        ("{0}: {1}.", "{0}: {1}.", 0),
        ("from {0}", "from {0}", 1),
    ] {
        let faults = same_faults(&snippet(english), &snippet(spanish));
        check(&faults, spanish, expected);
    }
}

#[test]
fn the_rule_on_length_leaves_out_arguments() {
    for (english, spanish, room, expected) in [
        // 5 letters and 6 more; 40 and a quarter; 100 and 60.
        (
            "bring".to_owned(),
            "a".repeat(11),
            box_room as fn(_) -> _,
            0,
        ),
        ("bring".to_owned(), "a".repeat(12), box_room, 1),
        ("a".repeat(40), "a".repeat(50), box_room, 0),
        ("a".repeat(40), "a".repeat(51), box_room, 1),
        ("a".repeat(100), "a".repeat(160), line_room, 0),
        ("a".repeat(100), "a".repeat(161), line_room, 1),
        ("{0}{1}".to_owned(), "{0}{1}123456".to_owned(), box_room, 0),
        ("{0}{1}".to_owned(), "{0}1234567".to_owned(), box_room, 1),
    ] {
        let faults = length_faults(&snippet(&english), &snippet(&spanish), room);
        check(&faults, &spanish, expected);
    }
}

#[test]
fn the_rules_on_spanish_see_a_question_without_its_opening_and_another_form() {
    for (text, expected) in [
        ("¿Cómo está el accidentado?", 0),
        ("Cómo está el accidentado?", 1),
        ("¡Alto", 1),
        ("¿Cómo está la víctima?", 1),
        ("Llama con tu altavoz.", 1),
        ("Lleve a la víctima contigo!", 3),
    ] {
        let faults = [opening_faults(text), wording_faults(text)].concat();
        check(&faults, text, expected);
    }
}

#[test]
fn the_rule_on_the_pseudo_language_sees_a_bracket_lost_and_a_text_too_short() {
    for (english, pseudo, expected) in [
        ("Go back", "[Gö båååçk]", 0),
        ("Go back", "[Gö båååçk", 1),
        ("Everybody is counted", "[Évéry is çöunteð]", 1),
        ("{0}", "{0}", 0),
        ("{0}", "[{0}]", 1),
        ("{0} x {1}", "[{0} x {1}]", 0),
    ] {
        let faults = pseudo_faults(&snippet(english), &snippet(pseudo));
        check(&faults, pseudo, expected);
    }
}

/// A text that nobody shows is one that nobody reads over when it goes wrong.
#[test]
fn every_text_is_shown_somewhere() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut shown = String::new();
    let mut folders = vec![root];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder of the sources") {
            let path = entry.expect("it can be listed").path();
            if path.is_dir() && !path.ends_with("words") {
                folders.push(path);
            } else if path.is_file() {
                shown += &std::fs::read_to_string(&path).unwrap_or_default();
            }
        }
    }
    let idle: Vec<String> = Id::ALL
        .iter()
        .map(|id| format!("{id:?}"))
        .filter(|name| {
            let shows = |rest: &str| !rest.starts_with(|c: char| c.is_alphanumeric());
            let called = format!("Id::{name}");
            !shown.split(&called).skip(1).any(shows)
        })
        .collect();
    assert!(idle.is_empty(), "nothing shows {idle:?}");
}
