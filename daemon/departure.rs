//! Departure check items that the watch cannot judge, and the printed sheet.

use crate::logbook::LIMIT_BYTES;
use crate::window::Window;
use maud::{DOCTYPE, PreEscaped, html};
use record::words::{capital, plural};
use record::{CheckItem, DepartureSheet, Verdict};
use std::path::Path;
use terms::{Utc, legible, one_line};

/// Oldest copy of the logbook that passes, days (own choice).
const COPY_DAYS: i64 = 30;
const DAY_MS: i64 = 86_400_000;
const MEGABYTE: u64 = 1_000_000;

/// Whether the disk has room for the logbook to grow to its limit.
pub(crate) fn disk(logbook: &Path) -> CheckItem {
    let folder = logbook.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let size = std::fs::metadata(logbook).map_or(0, |m| m.len());
    match nix::sys::statvfs::statvfs(folder) {
        Ok(v) => disk_line(wide(v.blocks_available()).saturating_mul(wide(v.fragment_size())), size),
        Err(e) => CheckItem::judged(
            "disk space",
            Verdict::Failed,
            format!("{} cannot be looked at: {e}", folder.display()),
        ),
    }
}

/// Block counts and sizes have 32 bits on some computers.
fn wide(n: impl Into<u64>) -> u64 {
    n.into()
}

fn disk_line(free: u64, logbook: u64) -> CheckItem {
    let may_grow = LIMIT_BYTES.saturating_sub(logbook);
    let words =
        format!("{} MB free, the logbook may still grow by {} MB", free / MEGABYTE, may_grow / MEGABYTE);
    CheckItem::judged("disk space", if free >= may_grow { Verdict::Passed } else { Verdict::Failed }, words)
}

/// The age of the last copy of the logbook.
pub(crate) fn copy(copied: Option<Utc>, now: Option<Utc>) -> CheckItem {
    let what = "copy of the logbook";
    match (copied, now) {
        (None, _) => {
            CheckItem::judged(what, Verdict::Failed, "never made by this daemon: middlewatch backup FILE")
        }
        (Some(_), None) => {
            CheckItem::judged(what, Verdict::NotTried, "its age is not known: the time is not")
        }
        (Some(copied), Some(now)) => {
            let days = now.0.saturating_sub(copied.0).div_euclid(DAY_MS);
            if days < -1 {
                let words = format!("dated {copied}, which is still to come: a clock is or was wrong");
                return CheckItem::judged(what, Verdict::NotTried, words);
            }
            let days = days.max(0);
            let verdict = if days <= COPY_DAYS { Verdict::Passed } else { Verdict::Failed };
            let old = plural(usize::try_from(days).unwrap_or(usize::MAX), "day");
            CheckItem::judged(what, verdict, format!("{old} old, at most {COPY_DAYS}"))
        }
    }
}

/// The parts of the sheet, failures first: the verdict, its heading and its mark.
const PARTS: [(Verdict, &str, &str); 3] = [
    (Verdict::Failed, "Failed", "✗"),
    (Verdict::NotTried, "Not tried", "–"),
    (Verdict::Passed, "Passed", "✓"),
];

/// Column at which the words of an item begin, in text of 80.
const WORDS_AT: usize = 31;

const STYLE: &str = "\
body{font:11pt/1.4 serif;margin:2em;max-width:60em}table{border-collapse:collapse;width:100%}\
td{border-bottom:1px solid #999;padding:.2em .6em .2em 0;vertical-align:top}td:first-child{width:2em}\
h2{font-size:1.1em}.sign{margin-top:3em}";

/// Which boat, when, and by whom.
fn title(check: &DepartureSheet) -> String {
    let mut out =
        format!("Departure check of {}", check.vessel.as_deref().map_or("the boat".into(), one_line));
    match check.at {
        Some(at) => out += &format!(", {} UTC", at.to_string()[..16].replace('T', " ")),
        None => out += ", the time is not known",
    }
    if let Some(by) = check.by.as_deref().filter(|b| !b.is_empty()) {
        out += &format!(", by {}", one_line(by));
    }
    out
}

fn items(check: &DepartureSheet, verdict: Verdict) -> impl Iterator<Item = &CheckItem> {
    check.items.iter().filter(move |i| i.verdict == verdict)
}

/// The sheet as plain text, failures first.
pub(crate) fn sheet(check: &DepartureSheet) -> String {
    let mut out = format!("{}\n{}\n", title(check), capital(&one_line(&check.tally)));
    for (verdict, head, _) in PARTS {
        for (n, item) in items(check, verdict).enumerate() {
            if n == 0 {
                out += &format!("\n{}\n", head.to_uppercase());
            }
            let [what, words, by] = [&item.what, &item.words, &item.by].map(|text| one_line(text));
            let mut lines = Window::page().wrap(WORDS_AT, &format!("{words} [{by}]"));
            // What it is stands before the words, or on a line of its own where it is too long for that.
            match lines.first_mut().filter(|_| what.chars().count() + 3 <= WORDS_AT) {
                Some(first) => *first = format!("  {what:<0$} {1}", WORDS_AT - 3, first.trim_start()),
                None => {
                    out += &Window::page().wrap(2, &what).iter().map(|l| format!("{l}\n")).collect::<String>()
                }
            }
            out.extend(lines.iter().map(|line| format!("{line}\n")));
        }
    }
    out
}

/// The sheet as a self-contained printable page.
pub(crate) fn page(check: &DepartureSheet) -> String {
    let title = title(check);
    legible(html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                h1 { (title) }
                p { (capital(&one_line(&check.tally))) }
                @for (verdict, head, mark) in PARTS {
                    @if items(check, verdict).next().is_some() {
                        h2 { (head) }
                        table {
                            @for item in items(check, verdict) {
                                tr {
                                    td { (mark) }
                                    @for text in [&item.what, &item.words, &item.by] { td { (one_line(text)) } }
                                }
                            }
                        }
                    }
                }
                p { "An aid only: it does not replace the skipper's own look at the boat." }
                p.sign { "Skipper: ______________________" }
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_disk_without_room_for_the_logbook_and_an_old_copy_fail() {
        assert_eq!(disk_line(LIMIT_BYTES, 0).verdict, Verdict::Passed);
        assert_eq!(disk_line(LIMIT_BYTES - 1, 0).verdict, Verdict::Failed);
        assert_eq!(disk_line(LIMIT_BYTES / 2, LIMIT_BYTES / 2).verdict, Verdict::Passed);
        assert_eq!(disk_line(0, 2 * LIMIT_BYTES).verdict, Verdict::Passed, "it grows no more");
        let day = |d: i64| Some(Utc(1_793_499_247_000 + d * DAY_MS));
        assert_eq!(copy(None, day(0)).verdict, Verdict::Failed);
        assert_eq!(copy(day(0), None).verdict, Verdict::NotTried);
        assert_eq!(copy(day(0), day(30)).verdict, Verdict::Passed);
        assert_eq!(copy(day(0), day(31)).verdict, Verdict::Failed);
        assert_eq!(copy(day(9), day(0)).verdict, Verdict::NotTried, "a clock is wrong");
    }

    #[test]
    fn a_sheet_fits_eighty_columns_whatever_it_says() {
        let item = |what: &str, words: &str| json!({"what": what, "verdict": "failed", "words": words, "by": "the lookout"});
        let told = json!({
            "vessel": "Wendelin", "at": "2026-11-01T02:14:07.000Z", "by": "Ada", "tally": "2 failed, 0 not tried, 0 passed",
            "items": [item("disk space", &"a long account of what is wrong with it ".repeat(6)),
                item("beacon of Bartholomew-Alexander of the long name", "not heard")],
            "asked": [],
        });
        let sheet = sheet(&serde_json::from_value(told).unwrap());
        assert!(sheet.lines().all(|l| l.chars().count() <= 80), "{sheet}");
        assert!(sheet.contains("\n  disk space                   a long account"), "{sheet}");
        assert!(
            sheet.contains("long name\n                               not heard [the lookout]"),
            "{sheet}"
        );
    }

    #[test]
    fn a_sheet_names_what_is_missing_first_and_no_name_breaks_it() {
        let line = |what: &str, outcome: &str| json!({"what": what, "verdict": outcome, "words": "w\u{1b}[2J", "by": "Ada"});
        let told = json!({
            "vessel": "<Wendelin>", "at": "2026-11-01T02:14:07.000Z", "by": "Ada", "tally": "1 failed, 0 not tried, 1 passed",
            "items": [line("feed bus", "failed"), line("fix", "passed")],
            "asked": [],
        });
        let told: DepartureSheet = serde_json::from_value(told).unwrap();
        let plain = sheet(&told);
        assert!(
            plain.starts_with("Departure check of <Wendelin>, 2026-11-01 02:14 UTC, by Ada\n1 failed"),
            "{plain}"
        );
        let (failed, passed) = (plain.find("FAILED").unwrap(), plain.find("PASSED").unwrap());
        assert!(failed < passed && !plain.contains("NOT TRIED") && !plain.contains('\u{1b}'), "{plain}");
        let page = page(&told);
        assert!(page.contains("&lt;Wendelin&gt;") && !page.contains("<Wendelin>"), "{page}");
    }
}
