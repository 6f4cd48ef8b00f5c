//! Escaping: the one way by which a text of the catalogue reaches a page or a picture.

use std::fmt::{self, Write};

use askama::filters::{Escaper, Html};

/// Escapes as HTML and XML ask, and shows by its code what nobody would see: characters that turn the direction of the
/// text round them (Unicode Standard Annex 9, from memory) and those that XML 1.0 does not allow (its production 2, from
/// memory). A part number that reads backwards is a wrong part.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Shown;

impl Escaper for Shown {
    fn write_escaped_str<W: Write>(&self, mut dest: W, text: &str) -> fmt::Result {
        let mut rest = text;
        while let Some((place, hidden)) = rest.char_indices().find(|(_, letter)| is_hidden(*letter)) {
            let (before, from) = rest.split_at(place);
            Html.write_escaped_str(&mut dest, before)?;
            write!(dest, "[U+{:04X}]", u32::from(hidden))?;
            rest = from.get(hidden.len_utf8()..).unwrap_or_default();
        }
        Html.write_escaped_str(dest, rest)
    }
}

/// A text as it stands in an attribute or between tags.
pub(crate) fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    // Writing to a string does not fail.
    let _ = Shown.write_escaped_str(&mut escaped, text);
    escaped
}

/// Whether a character turns the direction of text, or can not stand in XML.
fn is_hidden(letter: char) -> bool {
    let turns = matches!(letter, '\u{200e}' | '\u{200f}' | '\u{061c}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let control = letter.is_control() && !matches!(letter, '\t' | '\n' | '\r');
    turns || control || matches!(letter, '\u{fffe}' | '\u{ffff}')
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn markup_is_text_and_what_is_hidden_is_shown() {
        for (given, shown) in [
            ("<script>alert(1)</script>", "&#60;script&#62;alert(1)&#60;/script&#62;"),
            ("a \"b\" 'c' & d", "a &#34;b&#34; &#39;c&#39; &#38; d"),
            ("]]>", "]]&#62;"),
            ("KIT\u{202e}7-A\u{202c}", "KIT[U+202E]7-A[U+202C]"),
            ("\u{2066}x\u{2069}\u{fffe}\u{1}", "[U+2066]x[U+2069][U+FFFE][U+0001]"),
            ("zwei\nZeilen, größer ≥ 3 Ω", "zwei\nZeilen, größer ≥ 3 Ω"),
        ] {
            assert_eq!(escaped(given), shown, "{given:?}");
        }
    }

    /// Reads the five references that HTML and XML share, written here once more.
    fn unescaped(text: &str) -> String {
        let references = [("&#60;", "<"), ("&#62;", ">"), ("&#34;", "\""), ("&#39;", "'")];
        let plain =
            references.iter().fold(text.to_owned(), |text, (code, letter)| text.replace(code, letter));
        // Last, so that what stood for itself is not read twice.
        plain.replace("&#38;", "&")
    }

    proptest! {
        #[test]
        fn any_text_stays_a_text(text in "[\\PC<>&\"'#;0-9\n\t]{0,60}|(?s).{0,60}") {
            let shown = escaped(&text);
            prop_assert!(!shown.contains(['<', '>', '"', '\'']), "{}", shown);
            prop_assert!(!shown.chars().any(is_hidden), "{:?}", shown);
            if !text.chars().any(is_hidden) {
                prop_assert_eq!(unescaped(&shown), text);
            }
        }
    }
}
