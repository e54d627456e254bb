//! Makes the pseudo-language from English, so that a screen shows before any translation what a longer one does to it.
//!
//! Letters become accented look-alikes, which shows a text that passes by the catalogue; vowels are repeated until a text
//! is about a third longer, and it stands in brackets, so that a clipped end is seen by the bracket that is missing.
//! Only letters that the bundled faces have, also as capitals; plain brackets, because they have no double ones. What
//! somebody else wrote is an argument and stays; a text that is nothing but an argument stays whole.

/// How much longer a text becomes; its brackets come on top.
const LONGER_PERCENT: usize = 35;

/// The pseudo-text of an English template.
pub(super) fn text(template: &str) -> String {
    if is_an_argument(template) {
        return template.to_owned();
    }
    let mut out = String::from("[");
    let mut owed = 0;
    let mut inside = false;
    for letter in template.chars() {
        inside = letter == '{' || inside && letter != '}';
        if inside || letter == '}' {
            out.push(letter);
            continue;
        }
        owed += LONGER_PERCENT;
        out.push(look_alike(letter));
        if is_vowel(letter) {
            out.extend(std::iter::repeat_n(look_alike(letter), owed / 100));
            owed %= 100;
        }
    }
    out.push(']');
    out
}

fn is_an_argument(template: &str) -> bool {
    let inner = template
        .strip_prefix('{')
        .and_then(|it| it.strip_suffix('}'));
    inner.is_some_and(|it| !it.contains(['{', '}']))
}

fn is_vowel(letter: char) -> bool {
    matches!(letter.to_ascii_lowercase(), 'a' | 'e' | 'i' | 'o' | 'u')
}

fn look_alike(letter: char) -> char {
    match letter {
        'a' => 'å',
        'c' => 'ç',
        'd' => 'ð',
        'e' => 'é',
        'i' => 'î',
        'n' => 'ñ',
        'o' => 'ö',
        'p' => 'þ',
        's' => 'š',
        'u' => 'û',
        'y' => 'ý',
        'A' => 'Å',
        'C' => 'Ç',
        'D' => 'Ð',
        'E' => 'É',
        'I' => 'Î',
        'N' => 'Ñ',
        'O' => 'Ö',
        'P' => 'Þ',
        'S' => 'Š',
        'U' => 'Û',
        'Y' => 'Ý',
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::text;

    #[test]
    fn letters_change_and_arguments_do_not() {
        assert_eq!(text("Saved"), "[Šåvééð]");
        assert_eq!(text("{0}: call {1} now."), "[{0}: çååll {1} ñöööw.]");
        assert_eq!(text("{^0} is locked:"), "[{^0} îš löööçkééð:]");
        assert_eq!(text("{0}, {1}"), "[{0}, {1}]");
    }

    #[test]
    fn what_is_nothing_but_an_argument_stays_as_it_was_written() {
        assert_eq!(text("{0}"), "{0}");
        assert_eq!(text("{^0}"), "{^0}");
    }
}
