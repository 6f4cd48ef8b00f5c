//! Messages filled by their descriptors, from a row of bytes of which each is a choice.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use prost_reflect::{
    DynamicMessage, EnumDescriptor, FieldDescriptor, Kind, MapKey, MessageDescriptor, Value,
};
use sha2::{Digest as _, Sha256};

use super::words::Words;

/// How deep messages are filled: deeper than any request of the schema means anything.
const MOST_DEPTH: u8 = 6;

/// A list that is longer than any limit of a list that is told in a thousand.
const LONG_LIST: usize = 1_100;

/// A text that is longer than any field takes.
const LONG_TEXT: usize = 70_000;

/// Fields without which a request means little.
const WANTED: &[&str] = &[
    "change",
    "request_id",
    "reason",
    "draft_id",
    "radio_id",
    "vehicle",
    "words",
    "key",
    "id",
    "kind",
    "key_id",
    "json",
    "puts",
    "item",
    "lines",
    "quantity",
    "part_id",
    "record",
    "holder",
    "roles",
    "cart",
    "query",
    "question",
    "fingerprint",
    "outcome",
    "picture",
    "revision",
];

/// Fields that refuse nearly everything that is not theirs alone.
const SELDOM: &[&str] = &["read_at", "page_token", "rules", "etag", "at_least", "exactly"];

/// What page tokens are bound to whose lists only grow.
const PAGED: &[&str] = &[
    "revisions",
    "entries Filter { record: None, actor: None, kind: None, draft: None, from_time: None, to_time: None } false false",
];

/// Every choice that is left; when none is left, every choice is the first, which is to leave out.
pub(super) struct Choices<'a> {
    bytes: &'a [u8],
    words: &'a Words,
    /// Whether fields hold what they take, for the most part.
    sensible: bool,
}

impl<'a> Choices<'a> {
    pub(super) fn new(bytes: &'a [u8], words: &'a Words) -> Self {
        let mut new = Self { bytes, words, sensible: true };
        new.sensible = new.byte() % 4 != 3;
        new
    }

    pub(super) fn byte(&mut self) -> u8 {
        let Some((first, rest)) = self.bytes.split_first() else { return 0 };
        self.bytes = rest;
        *first
    }

    pub(super) fn one_of<'t, T>(&mut self, all: &'t [T]) -> &'t T {
        let number = usize::from(self.byte()) << 8 | usize::from(self.byte());
        &all[number % all.len()]
    }

    /// Headers that say something of the call, well or badly.
    pub(super) fn headers(&mut self) -> Vec<(&'static str, String)> {
        match self.byte() % 8 {
            1 => vec![("grpc-timeout", self.text(""))],
            2 => vec![("grpc-timeout", self.short_timeout())],
            3 => vec![("x-request-id", self.text(""))],
            4 => vec![("authorization", format!("Bearer {}", self.text("")))],
            _ => Vec::new(),
        }
    }

    /// A timeout that is short, or is none: with a long one, a call that waits for a later revision waits that long.
    fn short_timeout(&mut self) -> String {
        let (count, unit) = (self.byte(), char::from(self.byte() % 128));
        format!("{count}{}", if matches!(unit, 'H' | 'M' | 'S') { 'u' } else { unit })
    }

    pub(super) fn message(&mut self, descriptor: &MessageDescriptor, depth: u8) -> DynamicMessage {
        let mut message = DynamicMessage::new(descriptor.clone());
        for field in descriptor.fields() {
            let choice = self.byte();
            if self.is_there(field.name(), choice) && depth < MOST_DEPTH {
                let value = self.field(&field, choice / 3, depth);
                message.set_field(&field, value);
            }
        }
        message
    }

    fn is_there(&self, field: &str, choice: u8) -> bool {
        if !self.sensible {
            !choice.is_multiple_of(3)
        } else if WANTED.contains(&field) {
            !choice.is_multiple_of(8)
        } else if SELDOM.contains(&field) {
            choice % 16 == 1
        } else {
            choice % 5 == 1
        }
    }

    fn field(&mut self, field: &FieldDescriptor, choice: u8, depth: u8) -> Value {
        if field.is_map() {
            let Kind::Message(entry) = field.kind() else { return Value::Map(Default::default()) };
            let (key, value) = (entry.map_entry_key_field(), entry.map_entry_value_field());
            let entries =
                (0..choice % 4).map(|_| (self.key(&key.kind()), self.value("", &value.kind(), depth)));
            return Value::Map(entries.collect());
        }
        if field.is_list() {
            let length = if choice == u8::MAX / 3 { LONG_LIST } else { usize::from(choice % 4) };
            return Value::List(
                (0..length).map(|_| self.value(field.name(), &field.kind(), depth)).collect(),
            );
        }
        self.value(field.name(), &field.kind(), depth)
    }

    fn key(&mut self, kind: &Kind) -> MapKey {
        match kind {
            Kind::Bool => MapKey::Bool(self.byte() % 2 == 1),
            Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => MapKey::I32(self.number("") as i32),
            Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => MapKey::I64(self.number("") as i64),
            Kind::Uint32 | Kind::Fixed32 => MapKey::U32(self.number("") as u32),
            Kind::Uint64 | Kind::Fixed64 => MapKey::U64(self.number("")),
            _ => MapKey::String(self.text("")),
        }
    }

    fn value(&mut self, field: &str, kind: &Kind, depth: u8) -> Value {
        match kind {
            Kind::Bool => Value::Bool(self.byte() % 2 == 1),
            Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => Value::I32(self.number(field) as i32),
            Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => Value::I64(self.number(field) as i64),
            Kind::Uint32 | Kind::Fixed32 => Value::U32(self.number(field) as u32),
            Kind::Uint64 | Kind::Fixed64 => Value::U64(self.number(field)),
            Kind::Float => Value::F32(self.float() as f32),
            Kind::Double => Value::F64(self.float()),
            Kind::String => Value::String(self.text(field)),
            Kind::Bytes => Value::Bytes(self.some_bytes().to_vec().into()),
            Kind::Enum(descriptor) => Value::EnumNumber(self.number_of(descriptor)),
            Kind::Message(descriptor) => Value::Message(self.message(descriptor, depth + 1)),
        }
    }

    /// Mostly small, sometimes at an end of a range, sometimes anything.
    fn number(&mut self, field: &str) -> u64 {
        match field {
            "model_year" if self.sensible => return 2_000 + u64::from(self.byte() % 25),
            "page_size" | "quantity" | "sequence" | "offset" | "weight" if self.sensible => {
                return u64::from(self.byte() % 5);
            }
            _ => {}
        }
        match self.byte() % 10 {
            0 => 0,
            1 => 1,
            2 => u64::from(self.byte()),
            3 => 1_980 + u64::from(self.byte() % 64),
            4 => u64::from(u32::MAX),
            5 => u64::MAX,
            6 => 1 << 63,
            7 => 1 << 31,
            8 => (1 << 31) - 1,
            _ => u64::from_le_bytes(std::array::from_fn(|_| self.byte())),
        }
    }

    fn float(&mut self) -> f64 {
        match self.byte() % 12 {
            0 => 0.0,
            1 => 1.0,
            2 => -0.0,
            3 => f64::NAN,
            4 => f64::INFINITY,
            5 => f64::NEG_INFINITY,
            6 => f64::MAX,
            7 => f64::MIN_POSITIVE / 2.0,
            8 => -f64::from(self.byte()),
            9 => f64::from(self.byte()) / 7.0,
            10 => f64::from(self.byte()) * 100.0,
            _ => f64::from_bits(u64::from_le_bytes(std::array::from_fn(|_| self.byte()))),
        }
    }

    /// One of an enum, or a number that none of it has.
    fn number_of(&mut self, descriptor: &EnumDescriptor) -> i32 {
        let choice = self.byte();
        let values = descriptor.values().len();
        match choice {
            250..=252 => i32::from(choice),
            253 => -1,
            254 => i32::MAX,
            255 => i32::MIN,
            _ => descriptor.values().nth(usize::from(choice) % values).map_or(0, |value| value.number()),
        }
    }

    /// A word that means something in the dataset, or a text that means nothing anywhere.
    fn text(&mut self, field: &str) -> String {
        match self.byte() {
            0 => String::new(),
            250 => "x".repeat(LONG_TEXT),
            251 => "é\u{202e}<b>".repeat(30),
            252 => " \n\0".to_owned(),
            253..=255 => String::from_utf8_lossy(self.some_bytes()).into_owned(),
            // A few thousand requests, so that some are repeated.
            1..240 if field == "request_id" => {
                format!("0198f2c4-5b7e-7d3a-9c10-0000000{:02x}{:03x}", self.byte(), self.byte())
            }
            200..250 if field == "page_token" => self.forged(),
            200..250 => self.one_of(self.words.all()).clone(),
            _ => self.one_of(self.words.of(field)).clone(),
        }
    }

    /// A page token whose checksum holds and that nobody gave out: its form is no secret.
    fn forged(&mut self) -> String {
        let request = self.one_of(PAGED);
        let content = format!("1.{}.{}", self.number(""), self.number(""));
        let digest = Sha256::new().chain_update(&content).chain_update([0]).chain_update(request).finalize();
        let sum = URL_SAFE_NO_PAD.encode(&digest[..12]);
        URL_SAFE_NO_PAD.encode(format!("{content}.{sum}"))
    }

    fn some_bytes(&mut self) -> &'a [u8] {
        let length = usize::from(self.byte()).min(self.bytes.len());
        let (taken, rest) = self.bytes.split_at(length);
        self.bytes = rest;
        taken
    }
}
