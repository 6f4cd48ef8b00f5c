//! Cells: values as text, safe in a spreadsheet.

use serde_json::Value;

use super::Form;

/// What a spreadsheet takes for the beginning of a formula, and the apostrophe that keeps it from doing so.
const TAKEN_FOR_A_FORMULA: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\''];

/// A value in its cell; nothing is an empty cell.
pub(super) fn text(value: Option<&Value>, form: Form) -> String {
    let text = match (value, form) {
        (None, _) => return String::new(),
        (Some(Value::String(text)), Form::Text | Form::TextOrJson) => text.clone(),
        (Some(value), _) => value.to_string(),
    };
    if text.starts_with(TAKEN_FOR_A_FORMULA) { format!("'{text}") } else { text }
}

/// The value in a cell.
pub(super) fn value(cell: &str, form: Form) -> Result<Option<Value>, String> {
    if cell.is_empty() {
        return Ok(None);
    }
    let kept = cell.strip_prefix('\'').filter(|rest| rest.starts_with(TAKEN_FOR_A_FORMULA));
    let text = kept.unwrap_or(cell);
    let json = match form {
        Form::Text => false,
        Form::Json => true,
        Form::TextOrJson => text.starts_with(['{', '[']),
    };
    if json {
        crate::exchange::strict_value(text).map(Some).map_err(|error| format!("is no JSON: {error}"))
    } else {
        Ok(Some(Value::String(text.to_owned())))
    }
}
