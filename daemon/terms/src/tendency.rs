//! The pressure's tendency in words.

/// The Met Office's term (marine glossary) for a change of pressure over three hours, in hPa, by its tenths: slowly from
/// 0.1, no adverb from 1.6, quickly from 3.6, very rapidly above 6.0.
pub fn tendency(change_hpa: f64) -> &'static str {
    let [slowly, plain, quickly, rapidly] = if change_hpa < 0.0 {
        ["falling slowly", "falling", "falling quickly", "falling very rapidly"]
    } else {
        ["rising slowly", "rising", "rising quickly", "rising very rapidly"]
    };
    match change_hpa.abs() {
        c if c < 0.1 => "steady",
        c if c < 1.55 => slowly,
        c if c < 3.55 => plain,
        c if c <= 6.0 => quickly,
        _ => rapidly,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tendencies_of_the_met_office() {
        // Met Office marine glossary, read: slowly 0.1–1.5, falling 1.6–3.5, quickly 3.6–6.0, very rapidly above 6.0 hPa in 3 h.
        for (hpa, term) in [
            (0.0, "steady"),
            (-0.1, "falling slowly"),
            (-1.5, "falling slowly"),
            (-1.6, "falling"),
            (-3.5, "falling"),
            (-3.6, "falling quickly"),
            (6.0, "rising quickly"),
            (-6.1, "falling very rapidly"),
        ] {
            assert_eq!(tendency(hpa), term, "{hpa}");
        }
    }
}
