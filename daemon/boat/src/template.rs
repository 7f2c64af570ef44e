//! Custom webhook bodies: text with placeholders such as `${alert.text}`, filled from the event record.

use record::{EventRecord, example};
use serde_json::Value;
use terms::nearest;
use thiserror::Error;

/// How values are escaped so that they cannot break the text around them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// JSON: inside quotes as characters of a string, elsewhere as a quoted value or null.
    Json,
    /// As a form field (`application/x-www-form-urlencoded`).
    Urlencoded,
    /// Plain text; control characters become spaces.
    Plain,
}

impl Form {
    /// The escaping that a content type needs.
    pub fn of(content_type: &str) -> Self {
        let kind = content_type.split(';').next().unwrap_or("").trim().to_lowercase();
        match kind.as_str() {
            "application/x-www-form-urlencoded" => Self::Urlencoded,
            k if k == "application/json" || k.ends_with("+json") => Self::Json,
            _ => Self::Plain,
        }
    }
}

/// What is wrong with a template.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TemplateError {
    /// A placeholder is not closed.
    #[error("`${{` begins a place that no `}}` ends")]
    Open,
    /// The record has no such field.
    #[error("the record has no field `{0}`{1}")]
    NoField(String, String),
    /// The result would not be JSON.
    #[error("filled, this is not JSON: {0}; another `Content-Type` among the headers says what it is")]
    NotJson(String),
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum Part {
    Text(String),
    Field {
        path: String,
        /// Whether it stands inside a JSON string.
        quoted: bool,
    },
}

/// A parsed template.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Template {
    form: Form,
    parts: Vec<Part>,
}

impl Template {
    /// Parses a template.
    ///
    /// # Errors
    /// A placeholder that is not closed, a field that no record has, or text that would not be valid JSON.
    pub fn read(text: &str, form: Form) -> Result<Self, TemplateError> {
        let example = full();
        let mut known = Vec::new();
        fields(&example, "", &mut known);
        let (mut parts, mut quoted, mut rest) = (Vec::new(), false, text);
        while let Some(at) = rest.find("${") {
            let (before, after) = rest.split_at(at);
            quoted = ends_quoted(before, quoted);
            let (path, behind) = after[2..].split_once('}').ok_or(TemplateError::Open)?;
            let path = path.trim();
            if !known.iter().any(|k| k == path) {
                let hint = nearest(path, known.iter().map(String::as_str));
                let hint = hint.map_or(String::new(), |h| format!("; did you mean `{h}`?"));
                return Err(TemplateError::NoField(path.to_owned(), hint));
            }
            parts.push(Part::Text(before.to_owned()));
            parts.push(Part::Field { path: path.to_owned(), quoted });
            rest = behind;
        }
        parts.push(Part::Text(rest.to_owned()));
        let template = Self { form, parts };
        if form == Form::Json {
            for record in [&example, &Value::Null] {
                let filled = template.fill(record);
                serde_json::from_str::<Value>(&filled).map_err(|e| TemplateError::NotJson(e.to_string()))?;
            }
        }
        Ok(template)
    }

    /// The body for a record. A null field becomes empty text, or `null` in JSON outside quotes.
    pub fn fill(&self, record: &Value) -> String {
        let mut body = String::new();
        for part in &self.parts {
            match part {
                Part::Text(t) => body += t,
                Part::Field { path, quoted } => {
                    let value = path.split('.').fold(record, |v, key| &v[key]);
                    body += &self.written(value, *quoted);
                }
            }
        }
        body
    }

    fn written(&self, value: &Value, quoted: bool) -> String {
        let plain = match value {
            Value::Null => String::new(),
            Value::String(s) => s.clone(),
            other => other.to_string(),
        };
        match self.form {
            Form::Json if quoted => {
                let string = Value::String(plain).to_string();
                string[1..string.len() - 1].to_owned()
            }
            Form::Json => value.to_string(),
            Form::Urlencoded => urlencoded(&plain),
            Form::Plain => terms::one_line(&plain),
        }
    }
}

/// Whether a JSON string is still open at the end of a text; `quoted` says whether one was open at its start.
fn ends_quoted(text: &str, mut quoted: bool) -> bool {
    let mut escaped = false;
    for c in text.chars() {
        match c {
            _ if escaped => escaped = false,
            '\\' if quoted => escaped = true,
            '"' => quoted = !quoted,
            _ => {}
        }
    }
    quoted
}

/// A field's value, encoded for a form (WHATWG URL, application/x-www-form-urlencoded serializing).
fn urlencoded(text: &str) -> String {
    let mut out = String::new();
    for b in text.bytes() {
        match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'*' | b'-' | b'.' | b'_' => out.push(char::from(b)),
            b' ' => out.push('+'),
            _ => out += &format!("%{b:02X}"),
        }
    }
    out
}

/// Collects the names of a value's fields; nested names are joined with a dot.
fn fields(value: &Value, under: &str, known: &mut Vec<String>) {
    if let Value::Object(map) = value {
        for (key, value) in map {
            let name = if under.is_empty() { key.clone() } else { format!("{under}.{key}") };
            fields(value, &name, known);
            if !value.is_object() {
                known.push(name);
            }
        }
    }
}

/// A record with every optional part filled in.
fn full() -> Value {
    let mut record = example::record();
    record.target = example::target();
    record.casualty = Some(example::casualty());
    // A record holds only numbers and text, which always serialize to JSON.
    serde_json::to_value::<EventRecord>(record).unwrap_or(Value::Null)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn record() -> Value {
        json!({"log_id": null, "alert": {"text": "\"Ada\" & Bo\n7 %", "id": 3}, "own": {"sog_kn": 5.5}})
    }

    #[test]
    fn values_cannot_break_what_stands_around_them() {
        let json = Template::read(
            r#"{"title": "${ alert.text }", "n": ${log_id}, "id": ${alert.id}, "quote": "\"${own.sog_kn} kn"}"#,
            Form::Json,
        )
        .unwrap()
        .fill(&record());
        let read: Value = serde_json::from_str(&json).unwrap();
        assert_eq!(read, json!({"title": "\"Ada\" & Bo\n7 %", "n": null, "id": 3, "quote": "\"5.5 kn"}));
        let form = Template::read("message=${alert.text}&n=${log_id}", Form::Urlencoded).unwrap();
        assert_eq!(form.fill(&record()), "message=%22Ada%22+%26+Bo%0A7+%25&n=");
        let plain = Template::read("$5: ${alert.text}", Form::Plain).unwrap();
        assert_eq!(plain.fill(&record()), "$5: \"Ada\" & Bo 7 %");
    }

    #[test]
    fn what_is_wrong_is_said() {
        let read = |t: &str| Template::read(t, Form::Json).unwrap_err().to_string();
        assert_eq!(
            read("{\"a\": ${alert.txt}}"),
            "the record has no field `alert.txt`; did you mean `alert.text`?"
        );
        assert!(read("{\"a\": ${alert.text").contains("no `}` ends"));
        assert!(read("{\"a\": ${alert.text}").contains("not JSON"));
        assert!(Template::read("{\"a\": ${casualty.crew}, \"b\": \"${target.name}\"}", Form::Json).is_ok());
        assert_eq!(Form::of("application/json; charset=utf-8"), Form::Json);
        assert_eq!(Form::of("text/plain"), Form::Plain);
    }
}
