//! Texts from outside, made fit for people: off the air, from a file, a caller, another program.

/// Whether a character has no place in a text that people read: it steers a terminal, breaks a line, turns the
/// direction of writing, or cannot be seen. With these a name can look like another one, or like a line of ours.
///
/// Control characters, line and paragraph separators, noncharacters, and what Unicode 15 calls bidirectional controls
/// or default ignorable (from memory), without the variation selectors, which only choose a shape.
pub fn is_hidden(c: char) -> bool {
    match c {
        ' '..='~' => false,
        '\u{AD}' | '\u{34F}' | '\u{61C}' | '\u{115F}' | '\u{1160}' | '\u{17B4}' | '\u{17B5}' => true,
        '\u{180B}'..='\u{180F}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' => true,
        '\u{2060}'..='\u{206F}' | '\u{3164}' | '\u{FDD0}'..='\u{FDEF}' | '\u{FEFF}' | '\u{FFA0}' => true,
        '\u{FFF0}'..='\u{FFFB}' | '\u{1BCA0}'..='\u{1BCA3}' | '\u{1D173}'..='\u{1D17A}' => true,
        // Tags and what else is ignored, wherever they stand.
        '\u{E0000}'..='\u{E0FFF}' => true,
        c => c.is_control() || u32::from(c) & 0xFFFE == 0xFFFE,
    }
}

/// The text as one line in which all can be seen: what would break the line becomes a space, what is hidden goes.
pub fn one_line(text: &str) -> String {
    let breaks = |c: char| c.is_control() || matches!(c, '\u{2028}' | '\u{2029}');
    text.chars().filter_map(|c| if breaks(c) { Some(' ') } else { (!is_hidden(c)).then_some(c) }).collect()
}

/// The text with all that is hidden taken out; line breaks and tabs stay.
pub fn legible(text: impl Into<String>) -> String {
    let mut text = text.into();
    text.retain(|c| matches!(c, '\t' | '\n') || !is_hidden(c));
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_hides_goes_and_what_is_written_stays() {
        assert_eq!(one_line("A\u{202e}da\r\nB\u{200b}o\u{2028}\u{e0041}C\u{7}"), "Ada  Bo C ");
        assert_eq!(legible("A\u{2066}da\r\n\tBo\u{9b}31m"), "Ada\n\tBo31m");
        for written in ["Ærøskøbing 47°12.30′N", "Ἀργώ", "海丸", "كوكب", "👨 ❤\u{fe0f}", "e\u{301}", "–…„“"]
        {
            assert_eq!((one_line(written).as_str(), legible(written).as_str()), (written, written));
        }
    }

    proptest! {
        #[test]
        fn nothing_hidden_is_left(text in any::<String>()) {
            prop_assert!(!one_line(&text).contains(is_hidden));
            prop_assert!(!legible(text).contains(|c| is_hidden(c) && c != '\t' && c != '\n'));
        }
    }
}
