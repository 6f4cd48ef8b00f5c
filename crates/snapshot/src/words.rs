//! How typed words are compared: without case, accents, or anything that is not a letter or a digit.

/// The form of a text in which it is compared: lower case, accents off, runs of anything else as one space.
#[must_use]
pub fn normal(text: &str) -> String {
    if text.is_ascii() {
        let mut out = String::with_capacity(text.len());
        out.extend(ascii(text));
        return out;
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars().flat_map(char::to_lowercase) {
        match plain(c) {
            Some(c) => out.push(c),
            None if out.ends_with(' ') || out.is_empty() => {}
            None => out.push(' '),
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// Whether a text has this form.
#[must_use]
pub(crate) fn has_form(text: &str, form: &str) -> bool {
    if text.is_ascii() { ascii(text).eq(form.chars()) } else { normal(text) == form }
}

/// The form of a text of ASCII. Nearly every text is one, and comparing two forms mostly ends at the first letter.
fn ascii(text: &str) -> impl Iterator<Item = char> {
    let mut bytes = text.bytes().peekable();
    let (mut has_begun, mut is_gap) = (false, false);
    std::iter::from_fn(move || {
        loop {
            let byte = *bytes.peek()?;
            if !byte.is_ascii_alphanumeric() {
                is_gap = has_begun;
            } else if std::mem::take(&mut is_gap) {
                return Some(' ');
            } else {
                has_begun = true;
                bytes.next();
                return Some(char::from(byte.to_ascii_lowercase()));
            }
            bytes.next();
        }
    })
}

/// Words of a sentence that say nothing of a vehicle.
pub const FILLERS: [&str; 37] = [
    "a", "about", "an", "and", "any", "are", "at", "by", "car", "do", "for", "from", "got", "has", "have",
    "i", "in", "is", "it", "its", "made", "model", "my", "of", "on", "one", "or", "our", "please", "that",
    "the", "this", "to", "vehicle", "we", "with", "year",
];

/// Whether a word in normal form says nothing of a vehicle.
#[must_use]
pub fn is_filler(word: &str) -> bool {
    FILLERS.contains(&word)
}

/// The letter without its accent; nothing for what is neither letter nor digit.
fn plain(c: char) -> Option<char> {
    match c {
        'à'..='å' | 'ā' | 'ă' | 'ą' => Some('a'),
        'ç' | 'ć' | 'č' => Some('c'),
        'è'..='ë' | 'ē' | 'ę' | 'ě' => Some('e'),
        'ì'..='ï' | 'ī' => Some('i'),
        'ñ' | 'ń' | 'ň' => Some('n'),
        'ò'..='ö' | 'ø' | 'ō' | 'ő' => Some('o'),
        'š' | 'ś' => Some('s'),
        'ù'..='ü' | 'ū' | 'ů' | 'ű' => Some('u'),
        'ý' | 'ÿ' => Some('y'),
        'ž' | 'ź' | 'ż' => Some('z'),
        c if c.is_alphanumeric() => Some(c),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn case_accents_and_punctuation_do_not_matter() {
        for (typed, form) in [("Éclair-5", "eclair 5"), ("  A  b ", "a b"), ("(x)", "x"), ("--", "")] {
            assert_eq!(normal(typed), form);
            assert!(has_form(typed, form) && !has_form(typed, "other"));
        }
    }

    proptest! {
        /// A letter that is not ASCII takes the general way; what stands behind it must not depend on that.
        #[test]
        fn texts_of_ascii_have_the_form_that_any_text_has(text in "[ -~]{0,24}") {
            let accented = format!("{text} é");
            let (form, marked) = (normal(&text), normal(&accented));
            let joined = [form.as_str(), "e"].join(" ");
            prop_assert_eq!(marked.as_str(), joined.trim_start());
            prop_assert!(has_form(&text, &form) && has_form(&accented, &marked));
            prop_assert!(!has_form(&text, &marked));
        }
    }
}
