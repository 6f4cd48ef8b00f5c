//! `config print`: every setting with its value, its unit and who said it; without secrets.

use serde_json::json;

use super::Settings;
use super::fault::Origin;

/// What stands where a setting has no value.
const NOT_SET: &str = "not set";

/// The settings as text or as JSON.
pub(crate) fn print(settings: &Settings, as_json: bool) -> String {
    if as_json { json_of(settings) } else { text_of(settings) }
}

fn text_of(settings: &Settings) -> String {
    let rows: Vec<[String; 3]> = settings
        .table
        .iter()
        .map(|row| {
            let setting = &row.setting;
            let said = settings.said(setting.name);
            let value = said.map(|said| said.value.shown(setting.secret));
            let unit = setting.unit.filter(|_| value.is_some()).map(|unit| format!(" {unit}"));
            let value = value.unwrap_or_else(|| NOT_SET.to_owned()) + &unit.unwrap_or_default();
            [setting.name.to_owned(), value, settings.origin(setting.name).to_string()]
        })
        .collect();
    let width = |column: usize| {
        rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let (names, values) = (width(0), width(1));
    rows.iter().map(|[name, value, origin]| format!("{name:names$}  {value:values$}  {origin}\n")).collect()
}

fn json_of(settings: &Settings) -> String {
    let row = |row: &super::Row| {
        let setting = &row.setting;
        let said = settings.said(setting.name);
        let origin = settings.origin(setting.name);
        let place = if let Origin::File(place) = &origin { Some(place) } else { None };
        json!({
            "name": setting.name,
            "value": said.map(|said| said.value.as_json(setting.secret)),
            "unit": setting.unit,
            "origin": origin.to_string(),
            "file": place.map(|place| place.file.display().to_string()),
            "line": place.map(|place| place.line),
        })
    };
    let rows: Vec<_> = settings.table.iter().map(row).collect();
    format!("{:#}\n", json!({ "settings": rows }))
}
