//! How typed words are compared: without case, accents, or anything that is not a letter or a digit.

/// The form of a text in which it is compared: lower case, accents off, runs of anything else as one space.
#[must_use]
pub fn normal(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    out.extend(form(text));
    out
}

/// Whether a text has this form: mostly the first letter tells.
#[must_use]
pub(crate) fn has_form(text: &str, asked: &str) -> bool {
    form(text).eq(asked.chars())
}

/// The form of a text, letter by letter.
fn form(text: &str) -> impl Iterator<Item = char> {
    let mut letters = text.chars().flat_map(char::to_lowercase).map(plain).peekable();
    let (mut has_begun, mut is_gap) = (false, false);
    std::iter::from_fn(move || {
        loop {
            match *letters.peek()? {
                None => is_gap = has_begun,
                Some(_) if std::mem::take(&mut is_gap) => return Some(' '),
                Some(letter) => {
                    has_begun = true;
                    letters.next();
                    return Some(letter);
                }
            }
            letters.next();
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
        c if c.is_ascii() => c.is_ascii_alphanumeric().then_some(c),
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
        /// Letters, digits and gaps stand as they do alone, whatever comes behind them.
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
