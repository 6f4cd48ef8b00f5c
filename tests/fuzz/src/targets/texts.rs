//! Short texts with a form: tokens, keys of callers, notes and their keys, ids, dates, colours, wire sizes, VINs.

use std::fmt::{Debug, Display};
use std::str::FromStr;

use dashwright_engine::RevisionToken;
use dashwright_engine::keys::{KeyId, KeyText};
use dashwright_log::{Digest, Kind, Note, Origin, PublicKey, SignedText};
use dashwright_model::RecordKey;
use dashwright_model::vin::{MakerCode, Position7Rule, Vin, VinPattern};
use dashwright_quantity::{
    Colour, Currency, Date, Gauge, Label, LeadColour, MAX_LABEL_CHARS, MAX_PROSE_CHARS, PartId, Prose,
    TermId, YearMonth,
};

/// A text is refused with words, or read as something that is written and read back the same.
pub(crate) fn hold(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    of_one_form(text);
    of_any_form(text);
    notes(text);
    numbers_of_vehicles(text);
}

/// What has one form only: whatever is read is written as the same text, so that no two texts are taken for one thing.
fn of_one_form(text: &str) {
    exactly::<RevisionToken>(text);
    exactly::<KeyId>(text);
    exactly::<Kind>(text);
    exactly::<Digest>(text);
    exactly::<PublicKey>(text);
    exactly::<RecordKey>(text);
    exactly::<TermId>(text);
    exactly::<PartId>(text);
    exactly::<Currency>(text);
    exactly::<Date>(text);
    exactly::<YearMonth>(text);
    if let Ok(key) = text.parse::<KeyText>() {
        assert_eq!(key.reveal(), text);
        assert!(!format!("{key:?}").contains(text), "the secret is in what is logged");
    }
    if let Ok(origin) = Origin::of(text) {
        assert_eq!(origin.incarnation(), text);
    }
    if let Ok(label) = Label::new(text) {
        assert!(label.as_str() == text && text.chars().count() <= MAX_LABEL_CHARS);
        assert!(!text.chars().any(char::is_control));
    }
    if let Ok(prose) = Prose::new(text) {
        assert!(prose.as_str() == text && text.chars().count() <= MAX_PROSE_CHARS);
    }
}

/// What may be written in several ways: the way that it is written here is read as the same thing.
fn of_any_form(text: &str) {
    same::<Colour>(text);
    same::<LeadColour>(text);
    same::<Gauge>(text);
}

fn notes(text: &str) {
    if let Ok(signed) = SignedText::parse(text) {
        let signatures: String = signed.signatures().iter().map(ToString::to_string).collect();
        assert_eq!(format!("{}\n{signatures}", signed.text()), text);
    }
    let Ok(note) = Note::parse(text) else { return };
    let unsigned = note.checkpoint().encode_unsigned();
    assert!(text.starts_with(&unsigned), "the checkpoint is written as {unsigned:?}");
    assert_eq!(
        Note::parse(&unsigned).map(|it| it.checkpoint().clone()).ok().as_ref(),
        Some(note.checkpoint())
    );
}

fn numbers_of_vehicles(text: &str) {
    match Vin::parse(text) {
        Ok(vin) => {
            assert_eq!(Vin::parse(vin.as_str()).ok(), Some(vin));
            let _ = (vin.concerns(), vin.check_digit(), vin.check_digit_required(), vin.maker_code());
            for rule in [Position7Rule::MayBeUsed, Position7Rule::MayNot] {
                let years = vin.model_years(rule);
                assert!(years.possible().iter().all(|year| years.allows(*year)));
            }
        }
        Err(error) => assert!(!error.faults().is_empty() && !error.to_string().is_empty()),
    }
    match VinPattern::parse(text) {
        Ok(pattern) => {
            assert_eq!(VinPattern::parse(&pattern.to_string()).ok(), Some(pattern));
            let _ = (pattern.maker_code(), pattern.specificity());
        }
        Err(error) => assert!(!error.faults().is_empty()),
    }
    if let Ok(code) = MakerCode::parse(text) {
        assert_eq!(MakerCode::parse(&code.to_string()).ok(), Some(code));
    }
}

fn exactly<T: FromStr<Err: Display> + Display>(text: &str) {
    match text.parse::<T>() {
        Ok(value) => assert_eq!(value.to_string(), text),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}

fn same<T: FromStr<Err: Display> + Display + PartialEq + Debug>(text: &str) {
    match text.parse::<T>() {
        Ok(value) => assert_eq!(value.to_string().parse().ok(), Some(value), "from {text:?}"),
        Err(error) => assert!(!error.to_string().is_empty()),
    }
}
