//! Makes texts comparable for a search: small letters, without accents.
//!
//! Whoever looks for "Galeria" means the "Galería" of the plan, and a tablet's keyboard may have no accents. Limits: the
//! Latin letters that Unicode takes apart into a letter and a mark, up to U+017F; ø, ł, ß and letters of other scripts stay.

/// A text in small letters without accents.
pub fn fold(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    fold_into(&mut folded, text);
    folded
}

/// Puts a folded text behind others.
pub fn fold_into(folded: &mut String, text: &str) {
    for letter in text.chars() {
        // Nearly all letters are plain ones, and a search looks through a million of them.
        if letter.is_ascii() {
            folded.push(letter.to_ascii_lowercase());
            continue;
        }
        // A letter may come with its mark behind it.
        let small = letter.to_lowercase();
        let small = small.filter(|it| !matches!(it, '\u{300}'..='\u{36f}'));
        folded.extend(small.map(base));
    }
}

fn base(letter: char) -> char {
    match letter {
        'à'..='å' | 'ā' | 'ă' | 'ą' => 'a',
        'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => 'c',
        'ď' => 'd',
        'è'..='ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' => 'e',
        'ĝ' | 'ğ' | 'ġ' | 'ģ' => 'g',
        'ĥ' => 'h',
        'ì'..='ï' | 'ĩ' | 'ī' | 'ĭ' | 'į' => 'i',
        'ĵ' => 'j',
        'ķ' => 'k',
        'ĺ' | 'ļ' | 'ľ' => 'l',
        'ñ' | 'ń' | 'ņ' | 'ň' => 'n',
        'ò'..='ö' | 'ō' | 'ŏ' | 'ő' => 'o',
        'ŕ' | 'ŗ' | 'ř' => 'r',
        'ś' | 'ŝ' | 'ş' | 'š' => 's',
        'ţ' | 'ť' => 't',
        'ù'..='ü' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' | 'ų' => 'u',
        'ŵ' => 'w',
        'ý' | 'ÿ' | 'ŷ' => 'y',
        'ź' | 'ż' | 'ž' => 'z',
        _ => letter,
    }
}
