//! Messages filled by their descriptors, from a row of bytes of which each is a choice.

use prost_reflect::{
    DynamicMessage, EnumDescriptor, FieldDescriptor, Kind, MapKey, MessageDescriptor, Value,
};

/// How deep messages are filled: deeper than any request of the schema means anything.
const MOST_DEPTH: u8 = 6;

/// A list that is longer than any limit of a list that is told in a thousand.
const LONG_LIST: usize = 1_100;

/// A text that is longer than any field takes.
const LONG_TEXT: usize = 70_000;

/// Every choice that is left; when none is left, every choice is the first, which is to leave out.
pub(super) struct Choices<'a> {
    bytes: &'a [u8],
    words: &'a [String],
}

impl<'a> Choices<'a> {
    pub(super) fn new(bytes: &'a [u8], words: &'a [String]) -> Self {
        Self { bytes, words }
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
            1 => vec![("grpc-timeout", self.text())],
            2 => vec![("grpc-timeout", format!("{}{}", self.byte(), char::from(self.byte() % 128)))],
            3 => vec![("x-request-id", self.text())],
            4 => vec![("authorization", format!("Bearer {}", self.text()))],
            _ => Vec::new(),
        }
    }

    pub(super) fn message(&mut self, descriptor: &MessageDescriptor, depth: u8) -> DynamicMessage {
        let mut message = DynamicMessage::new(descriptor.clone());
        for field in descriptor.fields() {
            let choice = self.byte();
            if choice % 3 != 0 && depth < MOST_DEPTH {
                let value = self.field(&field, choice / 3, depth);
                message.set_field(&field, value);
            }
        }
        message
    }

    fn field(&mut self, field: &FieldDescriptor, choice: u8, depth: u8) -> Value {
        if field.is_map() {
            let Kind::Message(entry) = field.kind() else { return Value::Map(Default::default()) };
            let (key, value) = (entry.map_entry_key_field(), entry.map_entry_value_field());
            let entries = (0..choice % 4).map(|_| (self.key(&key.kind()), self.value(&value.kind(), depth)));
            return Value::Map(entries.collect());
        }
        if field.is_list() {
            let length = if choice == u8::MAX / 3 { LONG_LIST } else { usize::from(choice % 4) };
            return Value::List((0..length).map(|_| self.value(&field.kind(), depth)).collect());
        }
        self.value(&field.kind(), depth)
    }

    fn key(&mut self, kind: &Kind) -> MapKey {
        match kind {
            Kind::Bool => MapKey::Bool(self.byte() % 2 == 1),
            Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => MapKey::I32(self.number() as i32),
            Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => MapKey::I64(self.number() as i64),
            Kind::Uint32 | Kind::Fixed32 => MapKey::U32(self.number() as u32),
            Kind::Uint64 | Kind::Fixed64 => MapKey::U64(self.number()),
            _ => MapKey::String(self.text()),
        }
    }

    fn value(&mut self, kind: &Kind, depth: u8) -> Value {
        match kind {
            Kind::Bool => Value::Bool(self.byte() % 2 == 1),
            Kind::Int32 | Kind::Sint32 | Kind::Sfixed32 => Value::I32(self.number() as i32),
            Kind::Int64 | Kind::Sint64 | Kind::Sfixed64 => Value::I64(self.number() as i64),
            Kind::Uint32 | Kind::Fixed32 => Value::U32(self.number() as u32),
            Kind::Uint64 | Kind::Fixed64 => Value::U64(self.number()),
            Kind::Float => Value::F32(self.float() as f32),
            Kind::Double => Value::F64(self.float()),
            Kind::String => Value::String(self.text()),
            Kind::Bytes => Value::Bytes(self.some_bytes().to_vec().into()),
            Kind::Enum(descriptor) => Value::EnumNumber(self.number_of(descriptor)),
            Kind::Message(descriptor) => Value::Message(self.message(descriptor, depth + 1)),
        }
    }

    /// Mostly small, sometimes at an end of a range, sometimes anything.
    fn number(&mut self) -> u64 {
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
    fn text(&mut self) -> String {
        match self.byte() {
            0 => String::new(),
            250 => "x".repeat(LONG_TEXT),
            251 => "é\u{202e}<b>".repeat(30),
            252 => " \n\0".to_owned(),
            253..=255 => String::from_utf8_lossy(self.some_bytes()).into_owned(),
            _ => self.one_of(self.words).clone(),
        }
    }

    fn some_bytes(&mut self) -> &'a [u8] {
        let length = usize::from(self.byte()).min(self.bytes.len());
        let (taken, rest) = self.bytes.split_at(length);
        self.bytes = rest;
        taken
    }
}
