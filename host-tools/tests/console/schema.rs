//! The part of JSON Schema that the console's OpenAPI document uses; a word beyond it is an error, not ignored.

use serde_json::Value;

/// Every way in which `value` is not what `schema` says, with its place.
pub fn wrong(document: &Value, schema: &Value, value: &Value, place: &str) -> Vec<String> {
    let mut found = Vec::new();
    let Some(fields) = schema.as_object() else { return vec![format!("{place}: the schema is no object")] };
    for (word, says) in fields {
        match word.as_str() {
            "$ref" => {
                let to =
                    says.as_str().and_then(|to| to.strip_prefix('#')).and_then(|to| document.pointer(to));
                match to {
                    Some(schema) => found.extend(wrong(document, schema, value, place)),
                    None => found.push(format!("{place}: {says} leads nowhere")),
                }
            }
            "type" => {
                let one = [says.clone()];
                let kinds = says.as_array().map_or(&one[..], Vec::as_slice);
                if !kinds.iter().any(|kind| is_a(kind.as_str().unwrap_or(""), value)) {
                    found.push(format!("{place}: {says} expected, {value} found"));
                }
            }
            "enum" => {
                if !says.as_array().is_some_and(|all| all.contains(value)) {
                    found.push(format!("{place}: {value} is none of {says}"));
                }
            }
            "required" => {
                for key in says.as_array().into_iter().flatten().filter_map(Value::as_str) {
                    if value.is_object() && value.get(key).is_none() {
                        found.push(format!("{place}: {key} is missing"));
                    }
                }
            }
            "properties" => {
                for (key, of) in value.as_object().into_iter().flatten() {
                    match says.get(key) {
                        Some(schema) => found.extend(wrong(document, schema, of, &format!("{place}.{key}"))),
                        None => found.push(format!("{place}.{key} is not described")),
                    }
                }
            }
            "items" => {
                for (n, of) in value.as_array().into_iter().flatten().enumerate() {
                    found.extend(wrong(document, says, of, &format!("{place}[{n}]")));
                }
            }
            "minItems" | "maxItems" => {
                let (length, bound) =
                    (value.as_array().map_or(0, Vec::len) as u64, says.as_u64().unwrap_or(0));
                let fits = if word == "minItems" { length >= bound } else { length <= bound };
                if value.is_array() && !fits {
                    found.push(format!("{place}: {length} items, {word} {bound}"));
                }
            }
            "oneOf" | "anyOf" => {
                let fits = |schema: &&Value| wrong(document, schema, value, place).is_empty();
                let count = says.as_array().into_iter().flatten().filter(fits).count();
                if count == 0 || (word == "oneOf" && count > 1) {
                    found.push(format!("{place}: {value} fits {count} of {says}"));
                }
            }
            "description" | "title" | "examples" => {}
            _ => found.push(format!("{place}: this test does not know the word {word}")),
        }
    }
    found
}

fn is_a(kind: &str, value: &Value) -> bool {
    match kind {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        _ => false,
    }
}

#[test]
fn a_value_that_differs_from_its_description_is_found() {
    let document: Value = serde_json::json!({ "components": { "A": {
        "type": "object", "required": ["n"],
        "properties": { "n": { "type": "integer" }, "w": { "type": ["string", "null"], "enum": ["x", null] } }
    } } });
    let schema = serde_json::json!({ "type": "array", "items": { "$ref": "#/components/A" } });
    let count = |value: Value| wrong(&document, &schema, &value, "").len();
    assert_eq!(count(serde_json::json!([{ "n": 1, "w": null }, { "n": 2 }])), 0);
    assert_eq!(count(serde_json::json!({})), 1);
    assert_eq!(count(serde_json::json!([{ "w": "x" }])), 1);
    assert_eq!(count(serde_json::json!([{ "n": 1.5 }])), 1);
    assert_eq!(count(serde_json::json!([{ "n": 1, "w": "y" }])), 1);
    assert_eq!(count(serde_json::json!([{ "n": 1, "more": 1 }])), 1);
}
