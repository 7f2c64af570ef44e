//! Places in the file: from a byte of a string's value back to the byte that wrote it.

use std::ops::Range;

/// The bytes of the file behind bytes of a string's value. `written` is the place of the whole string with its
/// quotation marks, `inner` a range of its value.
pub fn within_string(file: &str, written: Range<usize>, inner: Range<usize>) -> Range<usize> {
    let Some(raw) = file.get(written.clone()) else { return written };
    let (open, escapes) = match raw.as_bytes() {
        [b'"', b'"', b'"', ..] if raw.len() >= 6 => (3, true),
        [b'\'', b'\'', b'\'', ..] if raw.len() >= 6 => (3, false),
        [b'"', ..] => (1, true),
        [b'\'', ..] => (1, false),
        _ => (0, false),
    };
    let body = raw.get(open..raw.len().saturating_sub(open)).unwrap_or("");
    // A line feed right after three quotation marks does not count.
    let skipped = if open == 3 {
        body.len() - body.trim_start_matches('\r').strip_prefix('\n').map_or(body.len(), str::len)
    } else {
        0
    };
    let at = |value_byte: usize| {
        written.start + open + skipped + raw_offset(&body[skipped..], value_byte, escapes)
    };
    let (start, end) = (at(inner.start), at(inner.end));
    start..end.max(start)
}

/// How many written bytes come before a byte of the value.
fn raw_offset(body: &str, value_byte: usize, escapes: bool) -> usize {
    if !escapes {
        return value_byte.min(body.len());
    }
    let (mut raw, mut value) = (0, 0);
    while value < value_byte {
        let Some(c) = body[raw..].chars().next() else { break };
        let (written, valued) = if c == '\\' { escape(&body[raw..]) } else { (c.len_utf8(), c.len_utf8()) };
        raw += written;
        value += valued;
    }
    raw.min(body.len())
}

/// Bytes of an escape as written, and of the value it yields (TOML 1.1, "String").
fn escape(s: &str) -> (usize, usize) {
    let digits = match s.as_bytes().get(1) {
        Some(b'x') => 2,
        Some(b'u') => 4,
        Some(b'U') => 8,
        Some(b) if b.is_ascii_whitespace() => {
            let rest = &s[1..];
            return (1 + rest.len() - rest.trim_start().len(), 0);
        }
        Some(_) => return (1 + s[1..].chars().next().map_or(0, char::len_utf8), 1),
        None => return (1, 0),
    };
    let code = s.get(2..2 + digits).and_then(|h| u32::from_str_radix(h, 16).ok()).and_then(char::from_u32);
    ((2 + digits).min(s.len()), code.map_or(1, char::len_utf8))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_behind_escapes_is_found_in_every_kind_of_string() {
        for (file, value, word) in [
            (r#"x = "transducer \"A\" is hot""#, r#"transducer "A" is hot"#, "hot"),
            (r#"x = 'transducer "A" is hot'"#, r#"transducer "A" is hot"#, "hot"),
            ("x = \"\"\"\na\\\n   b\\u00e9 hot\"\"\"", "abé hot", "hot"),
            ("x = '''\nhot'''", "hot", "hot"),
        ] {
            let start = value.find(word).unwrap();
            let span = within_string(file, 4..file.len(), start..start + word.len());
            assert_eq!(&file[span], word, "{file}");
        }
    }
}
