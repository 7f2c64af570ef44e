//! Writing markup: text is escaped, numbers are short.

use std::fmt::Write;

/// Text for markup. Control characters, and those that turn the direction of writing, are left out: a name from the
/// air must not dress up the page.
pub(crate) fn esc(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' => out.push(' '),
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{200e}' | '\u{200f}' => {}
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// A number with one decimal at most, without a useless zero.
pub(super) fn short(v: f64) -> String {
    let v = (v * 10.0).round() / 10.0;
    if v.fract() == 0.0 { format!("{v:.0}") } else { format!("{v:.1}") }
}

/// A drawing.
pub(super) struct Svg {
    out: String,
}

impl Svg {
    /// Begins a drawing with what is read aloud in its place: a title and a description.
    pub fn new(id: &str, width: f64, height: f64, title: &str, description: &str) -> Self {
        let mut out = String::new();
        let (w, h) = (short(width), short(height));
        // Writing to a string does not fail; so throughout.
        let _ = write!(
            out,
            "<svg id=\"{id}\" viewBox=\"0 0 {w} {h}\" role=\"img\" aria-labelledby=\"{id}-t {id}-d\">\
             <title id=\"{id}-t\">{}</title><desc id=\"{id}-d\">{}</desc>",
            esc(title),
            esc(description)
        );
        Self { out }
    }

    pub fn raw(&mut self, markup: &str) {
        self.out.push_str(markup);
    }

    /// Begins a group; `end` ends it. What a pointer resting on it is told may be empty.
    pub fn group(&mut self, class: &str, told: &str) {
        let _ = write!(self.out, "<g class=\"{class}\">");
        if !told.is_empty() {
            let _ = write!(self.out, "<title>{}</title>", esc(told));
        }
    }

    pub fn group_at(&mut self, class: &str, x: f64, y: f64, turn_deg: f64, told: &str) {
        let turn = if turn_deg == 0.0 { String::new() } else { format!(" rotate({})", short(turn_deg)) };
        let _ = write!(
            self.out,
            "<g class=\"{class}\" transform=\"translate({} {}){turn}\">",
            short(x),
            short(y)
        );
        if !told.is_empty() {
            let _ = write!(self.out, "<title>{}</title>", esc(told));
        }
    }

    pub fn end(&mut self) {
        self.out.push_str("</g>");
    }

    pub fn line(&mut self, class: &str, (x1, y1): (f64, f64), (x2, y2): (f64, f64)) {
        let (x1, y1, x2, y2) = (short(x1), short(y1), short(x2), short(y2));
        let _ = write!(self.out, "<path class=\"{class}\" d=\"M{x1} {y1}L{x2} {y2}\"/>");
    }

    pub fn rect(&mut self, class: &str, x: f64, y: f64, w: f64, h: f64) {
        let (x, y, w, h) = (short(x), short(y), short(w.max(0.0)), short(h.max(0.0)));
        let _ =
            write!(self.out, "<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"/>");
    }

    pub fn circle(&mut self, class: &str, x: f64, y: f64, r: f64) {
        let _ = write!(
            self.out,
            "<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
            short(x),
            short(y),
            short(r)
        );
    }

    /// Text; anchor start, middle or end.
    pub fn text(&mut self, class: &str, x: f64, y: f64, anchor: &str, text: &str) {
        let (x, y, text) = (short(x), short(y), esc(text));
        let _ = write!(
            self.out,
            "<text class=\"{class}\" x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\">{text}</text>"
        );
    }

    /// A time below its mark, within the paper's right edge.
    pub fn clock(&mut self, x: f64, y: f64, text: &str) {
        let half = text.chars().count() as f64 * 3.1;
        self.text("hour", x.min(998.0 - half), y, "middle", text);
    }

    /// A line through points; gaps begin it anew.
    pub fn track(&mut self, class: &str, points: &[Option<(f64, f64)>]) {
        let d = path_data(points);
        if !d.is_empty() {
            let _ = write!(self.out, "<path class=\"{class}\" d=\"{d}\"/>");
        }
    }

    /// A filled shape through points.
    pub fn area(&mut self, class: &str, points: impl Iterator<Item = (f64, f64)>) {
        let points: Vec<_> = points.map(Some).collect();
        let d = path_data(&points);
        if !d.is_empty() {
            let _ = write!(self.out, "<path class=\"{class}\" d=\"{d}Z\"/>");
        }
    }

    pub fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }
}

/// Path data with relative steps in tenths, which are shorter than absolute ones. Lone points are drawn as dots.
fn path_data(points: &[Option<(f64, f64)>]) -> String {
    let tenth = |v: f64| (v * 10.0).round() as i64;
    let put = |d: &mut String, v: i64, first: bool| {
        if !first && v >= 0 {
            d.push(' ');
        }
        let sign = if v < 0 { "-" } else { "" };
        let (whole, part) = (v.abs() / 10, v.abs() % 10);
        let _ = if part == 0 { write!(d, "{sign}{whole}") } else { write!(d, "{sign}{whole}.{part}") };
    };
    let (mut d, mut pen) = (String::new(), None);
    for (n, point) in points.iter().enumerate() {
        let Some((x, y)) = point.map(|(x, y)| (tenth(x), tenth(y))) else {
            pen = None;
            continue;
        };
        match pen {
            None => {
                d.push('M');
                put(&mut d, x, true);
                put(&mut d, y, false);
                if points.get(n + 1).is_none_or(Option::is_none) {
                    d.push_str("h.1");
                }
            }
            Some((px, py)) => {
                d.push('l');
                put(&mut d, x - px, true);
                put(&mut d, y - py, false);
            }
        }
        pen = Some((x, y));
    }
    d
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_leave_its_place() {
        assert_eq!(esc("<A&B \"x'\u{202e}\u{7}\n"), "&lt;A&amp;B &quot;x&#39; ");
    }

    #[test]
    fn paths_are_relative_and_gaps_begin_anew() {
        let d = path_data(&[Some((1.0, 2.0)), Some((1.55, 0.0)), None, Some((5.0, 5.0))]);
        assert_eq!(d, "M1 2l.6-2M5 5h.1".replace("l.6", "l0.6"));
    }
}
