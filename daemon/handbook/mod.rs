//! The handbook: the chapters beside this file, at the terminal and as manual pages.

use pulldown_cmark::{CodeBlockKind, Event, Options, Parser, Tag, TagEnd};
use roff::{Inline, Roff, bold, roman};

/// A chapter of the handbook.
#[derive(Debug, Clone, Copy)]
pub struct Chapter {
    /// The word that asks for it: `middlewatch help wires`.
    pub name: &'static str,
    /// What it is about, in a phrase.
    pub about: &'static str,
    /// Its text, in Markdown.
    pub text: &'static str,
}

macro_rules! chapters {
    ($($name:literal: $about:literal,)*) => {
        /// All chapters, in the order of a boat's life.
        pub const CHAPTERS: &[Chapter] =
            &[$(Chapter { name: $name, about: $about, text: include_str!(concat!($name, ".md")) },)*];
    };
}

chapters! {
    "install": "building, the package, serial ports, the first trial",
    "wires": "feeds, what comes by them, silence, time",
    "orders": "when you want to be called: the orders file and its words",
    "signals": "voice, buzzer, lamp, webhook, plotter, buttons",
    "watch": "status, the roster, the watch alarm, the relief, the watch card",
    "overboard": "beacons, casualties, search patterns",
    "radio": "calls and messages by DSC, AIS and NAVTEX",
    "passage": "the plotter's plan: waypoints, off track, to go",
    "departure": "the check before casting off, gear with dates, proof of hearing",
    "practice": "exercises",
    "morning": "the review, the logbook, asking it, recordings",
    "control": "HTTP, tokens, diagnostics",
    "security": "who may do what, and what is not defended",
    "files": "every file and what it is for",
    "figures": "what was measured, and how",
}

impl Chapter {
    /// The chapter of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        CHAPTERS.iter().find(|c| c.name == name)
    }

    /// The name of its manual page, in section 7.
    #[must_use]
    pub fn page(&self) -> String {
        format!("middlewatch-{}", self.name)
    }

    /// Its manual page.
    #[must_use]
    pub fn manual(&self) -> String {
        let mut page = Page::default();
        page.roff.control("TH", [self.page().as_str(), "7", "", "middlewatch", "Handbook of middlewatch"]);
        page.roff.control("SH", ["NAME"]);
        page.roff.text([roman(format!("{} - {}", self.page(), self.about))]);
        page.roff.control("SH", ["DESCRIPTION"]);
        for event in Parser::new_ext(self.text, Options::ENABLE_TABLES) {
            page.take(event);
        }
        page.roff.render()
    }
}

/// The contents, a chapter a line.
#[must_use]
pub fn contents() -> String {
    CHAPTERS.iter().map(|c| format!("  {:<11} {}\n", c.name, c.about)).collect()
}

/// A manual page in the making.
#[derive(Default)]
struct Page {
    roff: Roff,
    line: Vec<Inline>,
    strong: bool,
    heading: bool,
    cell: usize,
}

impl Page {
    fn take(&mut self, event: Event<'_>) {
        match event {
            // The first heading is the page's name.
            Event::Start(Tag::Heading { .. }) => self.heading = true,
            Event::End(TagEnd::Heading(level)) => {
                let title: String = self
                    .line
                    .drain(..)
                    .map(|i| match i {
                        Inline::Roman(t) | Inline::Bold(t) | Inline::Italic(t) => t,
                        Inline::LineBreak => String::from(" "),
                    })
                    .collect();
                if level > pulldown_cmark::HeadingLevel::H1 {
                    self.roff.control("SS", [title.as_str()]);
                }
                self.heading = false;
            }
            Event::Start(Tag::CodeBlock(CodeBlockKind::Indented | CodeBlockKind::Fenced(_))) => {
                self.roff.control("PP", []).control("EX", []);
            }
            Event::End(TagEnd::CodeBlock) => {
                self.put();
                self.roff.control("EE", []);
            }
            Event::Start(Tag::Item) => {
                self.roff.control("IP", ["\\(bu", "2"]);
            }
            Event::Start(Tag::Paragraph) => {
                self.roff.control("PP", []);
            }
            Event::End(TagEnd::Paragraph | TagEnd::Item | TagEnd::BlockQuote(_)) => self.put(),
            Event::Start(Tag::TableRow) => {
                self.cell = 0;
                self.roff.control("TP", []);
            }
            // The heads of columns say nothing that the rows do not.
            Event::End(TagEnd::TableHead) => self.line.clear(),
            Event::End(TagEnd::TableCell) => {
                self.cell += 1;
                if self.cell != 2 {
                    self.put();
                } else {
                    self.line.push(roman(" "));
                }
            }
            Event::End(TagEnd::TableRow) => self.put(),
            Event::Start(Tag::Strong) => self.strong = true,
            Event::End(TagEnd::Strong) => self.strong = false,
            Event::Code(code) => self.line.push(bold(code.as_ref())),
            Event::Text(text) if self.strong => self.line.push(bold(text.as_ref())),
            Event::Text(text) => self.line.push(roman(text.as_ref())),
            Event::SoftBreak => self.line.push(roman(" ")),
            Event::HardBreak => self.line.push(Inline::LineBreak),
            _ => {}
        }
    }

    fn put(&mut self) {
        if !self.line.is_empty() {
            self.roff.text(std::mem::take(&mut self.line));
        }
    }
}
