//! Numbers out of JSON, with the place in the message when they are not there.

use serde_json::Value;

/// The number under a JSON pointer.
///
/// # Panics
/// If there is none.
#[must_use]
pub fn number(value: &Value, pointer: &str) -> f64 {
    value
        .pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no number at {pointer} of {value}"))
}

/// The words of a list of strings under a JSON pointer.
///
/// # Panics
/// If it is no such list.
#[must_use]
pub fn words(value: &Value, pointer: &str) -> Vec<String> {
    let list = value.pointer(pointer).and_then(Value::as_array);
    let list = list.unwrap_or_else(|| panic!("no list at {pointer} of {value}"));
    list.iter().map(|word| word.as_str().expect("a word").to_owned()).collect()
}

/// The verdict of an outcome.
///
/// # Panics
/// If there is none.
#[must_use]
pub fn verdict(outcome: &Value) -> &str {
    outcome["verdict"].as_str().expect("a verdict")
}

/// Whether an outcome stops the press.
#[must_use]
pub fn stops(outcome: &Value) -> bool {
    ["hold", "trip"].contains(&verdict(outcome))
}
