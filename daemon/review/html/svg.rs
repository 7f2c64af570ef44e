//! Drawings in SVG. Numbers have one decimal at most.

use maud::{Markup, PreEscaped, html};
use std::fmt::Write;

/// Steps that read well, in any unit: 1, 2 and 5 in each decade.
pub(super) const STEPS: [f64; 17] = [
    0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0, 5000.0,
    10_000.0,
];

/// A place on the paper: to the right and down.
pub(super) type Xy = (f64, f64);

/// A number with at most one decimal, and no trailing zero.
pub(super) fn short(v: f64) -> String {
    let v = (v * 10.0).round() / 10.0;
    if v.fract() == 0.0 { format!("{v:.0}") } else { format!("{v:.1}") }
}

/// A drawing, or a group of one.
#[derive(Debug, Default)]
pub(super) struct Svg(String);

impl Svg {
    fn put(&mut self, part: Markup) {
        self.0.push_str(&part.0);
    }

    /// The whole drawing. Title and description are read aloud in its place.
    pub fn finish(self, id: &str, (width, height): Xy, title: &str, description: &str) -> Markup {
        let size = format!("0 0 {} {}", short(width), short(height));
        html! {
            svg id=(id) viewBox=(size) role="img" aria-labelledby={ (id) "-t " (id) "-d" } {
                title id={ (id) "-t" } { (title) }
                desc id={ (id) "-d" } { (description) }
                (PreEscaped(self.0))
            }
        }
    }

    /// The whole drawing, where the text beside it says the same.
    pub fn ornament(self, class: &str, (width, height): Xy) -> Markup {
        let size = format!("0 0 {} {}", short(width), short(height));
        html! { svg class=(class) viewBox=(size) aria-hidden="true" { (PreEscaped(self.0)) } }
    }

    /// A group; `hint` appears where a pointer rests on it, unless it is empty.
    pub fn group(&mut self, class: &str, hint: &str, draw: impl FnOnce(&mut Self)) {
        self.moved(class, None, hint, draw);
    }

    /// A group drawn around the origin, then turned and moved to its place.
    pub fn group_at(
        &mut self,
        class: &str,
        (x, y): Xy,
        turn_deg: f64,
        hint: &str,
        draw: impl FnOnce(&mut Self),
    ) {
        let turn = if turn_deg == 0.0 { String::new() } else { format!(" rotate({})", short(turn_deg)) };
        self.moved(class, Some(format!("translate({} {}){turn}", short(x), short(y))), hint, draw);
    }

    fn moved(&mut self, class: &str, transform: Option<String>, hint: &str, draw: impl FnOnce(&mut Self)) {
        let mut inside = Self::default();
        draw(&mut inside);
        self.put(html! {
            g class=(class) transform=[transform] {
                @if !hint.is_empty() { title { (hint) } }
                (PreEscaped(inside.0))
            }
        });
    }

    /// A path by its data; nothing where there is none.
    pub fn path(&mut self, class: &str, d: &str) {
        if !d.is_empty() {
            self.put(html! { path class=(class) d=(d) {} });
        }
    }

    pub fn line(&mut self, class: &str, (x1, y1): Xy, (x2, y2): Xy) {
        self.path(class, &format!("M{} {}L{} {}", short(x1), short(y1), short(x2), short(y2)));
    }

    pub fn rect(&mut self, class: &str, (x, y): Xy, w: f64, h: f64) {
        let (w, h) = (short(w.max(0.0)), short(h.max(0.0)));
        self.put(html! { rect class=(class) x=(short(x)) y=(short(y)) width=(w) height=(h) {} });
    }

    pub fn circle(&mut self, class: &str, (x, y): Xy, r: f64) {
        self.put(html! { circle class=(class) cx=(short(x)) cy=(short(y)) r=(short(r)) {} });
    }

    /// Text; its anchor is start, middle or end.
    pub fn text(&mut self, class: &str, (x, y): Xy, anchor: &str, text: &str) {
        self.put(html! { text class=(class) x=(short(x)) y=(short(y)) text-anchor=(anchor) { (text) } });
    }

    /// A time below its mark, kept within the right edge of the paper.
    pub fn clock(&mut self, (x, y): Xy, text: &str) {
        let half = text.chars().count() as f64 * 3.1;
        self.text("hour", (x.min(998.0 - half), y), "middle", text);
    }

    /// A line through points, broken at gaps.
    pub fn track(&mut self, class: &str, points: &[Option<Xy>]) {
        self.path(class, &path_data(points));
    }

    /// A filled shape through points.
    pub fn area(&mut self, class: &str, points: impl Iterator<Item = Xy>) {
        let d = path_data(&points.map(Some).collect::<Vec<_>>());
        if !d.is_empty() {
            self.path(class, &format!("{d}Z"));
        }
    }
}

/// Path data with relative steps in tenths, which are shorter than absolute ones. A lone point becomes a dot.
fn path_data(points: &[Option<Xy>]) -> String {
    let tenth = |v: f64| (v * 10.0).round() as i64;
    let put = |d: &mut String, v: i64, first: bool| {
        if !first && v >= 0 {
            d.push(' ');
        }
        let sign = if v < 0 { "-" } else { "" };
        let (whole, part) = (v.abs() / 10, v.abs() % 10);
        // Writing to a string cannot fail.
        let _ = if part == 0 { write!(d, "{sign}{whole}") } else { write!(d, "{sign}{whole}.{part}") };
    };
    let (mut d, mut pen) = (String::new(), None);
    for (n, point) in points.iter().enumerate() {
        let Some((x, y)) = point.map(|(x, y)| (tenth(x), tenth(y))) else {
            pen = None;
            continue;
        };
        let (px, py) = pen.unwrap_or((0, 0));
        d.push(if pen.is_none() { 'M' } else { 'l' });
        put(&mut d, x - px, true);
        put(&mut d, y - py, false);
        if pen.is_none() && points.get(n + 1).is_none_or(Option::is_none) {
            d.push_str("h.1");
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
        let mut svg = Svg::default();
        svg.text("a", (1.0, 2.0), "end", "<A&B \"x'\u{202e}\u{7}\n");
        let page = terms::legible(html! { p title="<&\"" { (PreEscaped(svg.0)) } });
        let text = "<text class=\"a\" x=\"1\" y=\"2\" text-anchor=\"end\">&lt;A&amp;B &quot;x' </text>";
        assert_eq!(page.replace('\n', " "), format!("<p title=\"&lt;&amp;&quot;\">{text}</p>"));
    }

    #[test]
    fn paths_are_relative_and_gaps_begin_anew() {
        let d = path_data(&[Some((1.0, 2.0)), Some((1.55, 0.0)), None, Some((5.0, 5.0))]);
        assert_eq!(d, "M1 2l.6-2M5 5h.1".replace("l.6", "l0.6"));
    }
}
