//! The one spelling of a body: JSON without blanks, the names of each object in the order of their bytes.

use serde_json::Value;

/// Writes a value in its one spelling.
pub fn spell(value: &Value) -> String {
    let mut text = String::new();
    write(value, &mut text);
    text
}

fn write(value: &Value, text: &mut String) {
    match value {
        Value::Object(members) => {
            let mut members: Vec<_> = members.iter().collect();
            members.sort_by_key(|(name, _)| *name);
            text.push('{');
            for (place, (name, value)) in members.into_iter().enumerate() {
                comma(place, text);
                write(&Value::from(name.as_str()), text);
                text.push(':');
                write(value, text);
            }
            text.push('}');
        }
        Value::Array(items) => {
            text.push('[');
            for (place, value) in items.iter().enumerate() {
                comma(place, text);
                write(value, text);
            }
            text.push(']');
        }
        // Of plain values the library has one spelling already: shortest digits, fewest escapes.
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {
            text.push_str(&value.to_string());
        }
    }
}

fn comma(place: usize, text: &mut String) {
    if place > 0 {
        text.push(',');
    }
}
