//! JSON from outside: what a caller of control posts, what a recording or an earlier run left.

use serde::de::DeserializeOwned;
use serde_json::{Result, Value};
use terms::{is_hidden, legible};

/// Reads JSON, and takes out of each of its texts what hides in it.
///
/// # Errors
/// As serde_json's: it is no JSON, or not what is asked.
pub fn from_json<T: DeserializeOwned>(json: &[u8]) -> Result<T> {
    // What hides stands there as it is, no printable ASCII, or behind a backslash. Hardly any JSON has either.
    let plain = |b: &u8| matches!(b, b' '..=b'~' | b'\n') && *b != b'\\';
    if json.iter().all(plain) {
        return serde_json::from_slice(json);
    }
    let text = std::str::from_utf8(json).unwrap_or_default();
    if !text.is_empty() && !text.contains('\\') && !text.contains(|c| is_hidden(c) && c != '\n') {
        return serde_json::from_str(text);
    }
    let mut value: Value = serde_json::from_slice(json)?;
    clean(&mut value);
    T::deserialize(value)
}

fn clean(value: &mut Value) {
    match value {
        Value::String(text) => *text = legible(std::mem::take(text)),
        Value::Array(items) => items.iter_mut().for_each(clean),
        Value::Object(entries) => entries.values_mut().for_each(clean),
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_hides_in_a_text_goes_however_it_is_written() {
        let read = |json: &str| from_json::<Value>(json.as_bytes()).unwrap();
        assert_eq!(
            read(r#"{"a": ["\u202eAda\u001b[31m", 5], "b": "x\ny"}"#),
            json!({"a": ["Ada[31m", 5], "b": "x\ny"})
        );
        assert_eq!(read("{\"a\": \"\u{202e}Ærø\u{200b}\"}"), json!({"a": "Ærø"}));
        assert_eq!(read("{\"a\": \"A\u{7f}da\"}"), json!({"a": "Ada"}));
        assert_eq!(read("{\"a\": \"Ærø\"}\n"), json!({"a": "Ærø"}));
        assert!(from_json::<Value>(b"\xff").is_err() && from_json::<u32>(b"\"1\\n\"").is_err());
    }
}
