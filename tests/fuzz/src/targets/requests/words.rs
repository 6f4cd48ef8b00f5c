//! Words that mean something in the dataset, by the fields that take them: chance alone hardly gets beyond the forms of fields.

use std::collections::{BTreeMap, BTreeSet};

use prost_reflect::{ReflectMessage as _, Value};

/// The longest text of an answer that is asked with again.
const WORD_BYTES: usize = 120;

/// Texts that a field takes, where the catalogue and the answers have none of them.
const FORMS: &[(&str, &[&str])] = &[
    ("build_month", &["2019-06", "2012-01"]),
    ("currency", &["EUR", "USD", "JPY"]),
    ("expires_at", &["2030-01-31T09:05:00Z", "2026-01-31T09:05:00Z"]),
    ("from_time", &["2026-01-31T09:05:00Z", "2026-01-01T00:00:00Z"]),
    ("to_time", &["2026-01-31T09:05:01Z"]),
    ("reason", &["a test"]),
    ("holder", &["fuzz", "Ada"]),
    ("kind", &["draft.edit", "revision.publish", "part", "vehicle"]),
    ("vin", &["UA4TA00005A000000", "1M8GDM9AXKP042788", "11111111111111111"]),
    ("drivetrain", &["front", "all"]),
    ("new_id", &["new-1", "new-2"]),
    ("new_line_id", &["new-line"]),
    ("new_name", &["New"]),
];

/// Fields that take what others take: the field, and the one whose words it takes.
const ALIKE: &[(&str, &str)] = &[
    ("page_token", "next_page_token"),
    ("exactly", "token"),
    ("after", "at_least"),
    ("from", "token"),
    ("to", "token"),
    ("revision", "at_least"),
    ("draft_id", "draft"),
    ("excluded_part_ids", "part_id"),
    ("in_hand_part_ids", "part_id"),
    ("stocked_part_ids", "part_id"),
    ("successor_id", "part_id"),
    ("item", "part_id"),
    ("query", "words"),
    ("records", "record"),
    ("subject", "id"),
    ("id_prefix", "id"),
    ("new_line_id", "id"),
    ("text", "reason"),
    ("note", "reason"),
];

/// Words by the field that takes them, and all of them together.
#[derive(Default)]
pub(super) struct Words {
    by_field: BTreeMap<String, BTreeSet<String>>,
    lists: BTreeMap<String, Vec<String>>,
    all: Vec<String>,
}

impl Words {
    /// The words of the demo catalogue.
    pub(super) fn new() -> Self {
        let mut words = Self::default();
        for (_, _, line) in dashwright_demo::lines() {
            let record: serde_json::Value = serde_json::from_str(line).expect("JSON");
            let (kind, fields) = record.as_object().and_then(|it| it.iter().next()).expect("a record");
            words.record(kind, fields, line);
        }
        for (field, forms) in FORMS {
            forms.iter().for_each(|form| words.add(field, form));
        }
        words.finish();
        words
    }

    fn record(&mut self, kind: &str, fields: &serde_json::Value, line: &str) {
        let id = fields["id"].as_str().expect("an id");
        self.add("id", id);
        self.add("record", &format!("{kind}/{id}"));
        self.add("json", line);
        match kind {
            "radio" => self.add("radio_id", id),
            "part" => self.add("part_id", id),
            "golden_question" => self.add("golden_ids", id),
            "vehicle" => {
                self.add("line_id", id);
                for field in ["make", "model", "market", "body"] {
                    fields[field].as_str().into_iter().for_each(|text| self.add(field, text));
                }
                let text = |field: &str| fields[field].as_str().unwrap_or_default().to_owned();
                self.add("words", &format!("{} {} {}", text("make"), text("model"), fields["years"]["from"]));
                self.add("words", &format!("{} {}", text("make"), text("model")));
                let options = fields["audio_options"].as_array().into_iter().flatten();
                options.filter_map(|it| it["code"].as_str()).for_each(|code| self.add("audio_option", code));
            }
            _ => {}
        }
    }

    /// Takes the texts of an answer, by the fields that they stand in.
    pub(super) fn learn(&mut self, field: &str, value: &Value) {
        match value {
            Value::String(text) if !text.is_empty() && text.len() <= WORD_BYTES => self.add(field, text),
            Value::List(items) => items.iter().for_each(|item| self.learn(field, item)),
            Value::Map(entries) => entries.values().for_each(|item| self.learn(field, item)),
            Value::Message(message) => {
                // A draft says its own id as any record does.
                let id_of = message.descriptor().name().to_lowercase();
                for (inner, value) in message.fields() {
                    let name = if inner.name() == "id" { &id_of } else { inner.name() };
                    self.learn(name, value);
                }
            }
            _ => {}
        }
    }

    /// Puts what was learnt in order.
    pub(super) fn finish(&mut self) {
        let list = |texts: &BTreeSet<String>| texts.iter().cloned().collect();
        self.lists = self.by_field.iter().map(|(field, texts)| (field.clone(), list(texts))).collect();
        let short = self.by_field.values().flatten().filter(|text| text.len() <= WORD_BYTES);
        self.all = short.cloned().collect::<BTreeSet<_>>().into_iter().collect();
    }

    /// The words of a field; all where it has none.
    pub(super) fn of(&self, field: &str) -> &[String] {
        let alike = ALIKE.iter().find(|(name, _)| *name == field).map(|(_, other)| *other);
        let own = self.lists.get(field).or_else(|| self.lists.get(alike?));
        own.map_or(&self.all, |own| own)
    }

    /// All short words.
    pub(super) fn all(&self) -> &[String] {
        &self.all
    }

    /// Takes a word of a field.
    pub(super) fn add(&mut self, field: &str, text: &str) {
        self.by_field.entry(field.to_owned()).or_default().insert(text.to_owned());
    }
}
