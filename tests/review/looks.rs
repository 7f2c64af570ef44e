//! The review's page in a browser: no errors, nothing from elsewhere, text that can be read, nothing over anything else,
//! at 360 px and on A4.

use crate::aboard::Folder;
use crate::browser::Browser;
use crate::records::{EVENING, at, open};
use crate::review::long::write_days;
use crate::review::page::a_bare_night;
use crate::review::practice::{DAY, drill};
use middlewatch::review::{self, Night, Span};
use record::Drill;
use terms::Utc;

/// Two weeks at sea, with a drill every few days that goes better each time.
fn weeks_with_drills(folder: &Folder) -> Night {
    write_days(folder, 14);
    let (logbook, _) = open(&folder.logbook(), "a", 14 * DAY);
    for (day, turned_s) in [(1, 310.0), (6, 250.0), (11, 190.0)] {
        drill(&logbook, day * DAY, Some(turned_s), Drill::Overboard);
    }
    drill(&logbook, 12 * DAY, None, Drill::Fix);
    logbook.close(at(14 * DAY)).blocking_recv().unwrap().unwrap();
    review::read(folder.logbook(), Span { since: Some(Utc(EVENING)), until: None }).unwrap()
}

/// Contrast of each text against what lies behind it by WCAG 2.1 (1.4.3), where both colours are plain.
const CONTRAST: &str = "
  const lum = (c) => { const f = c.slice(0, 3).map((v) => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
    return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
  const rgb = (s) => { const m = s.match(/[0-9.]+/g); return m && s.startsWith('rgb') ? m.map(Number) : null; };
  const behind = (e) => { for (; e; e = e.parentElement) { const c = rgb(getComputedStyle(e).backgroundColor);
    if (c && (c.length < 4 || c[3] === 1)) return c; } return [255, 255, 255]; };
  const bad = [];
  for (const e of document.querySelectorAll('body *')) {
    const own = [...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || !e.getClientRects().length || ['TITLE', 'DESC', 'STYLE'].includes(e.tagName.toUpperCase())) continue;
    const s = getComputedStyle(e), svg = e instanceof SVGElement;
    const ink = rgb(svg ? s.fill : s.color);
    if (!ink) continue;
    let paper = behind(svg ? e.ownerSVGElement : e);
    if (svg && e.classList.contains('in')) paper = rgb(getComputedStyle(e.closest('.bar')).color) || paper;
    const [a, b] = [lum(ink), lum(paper)].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05);
    if (ratio < 4.5) bad.push(e.tagName + '.' + (e.getAttribute('class') || '') + ' ' + ratio.toFixed(2) + ' ' + e.textContent.trim().slice(0, 40));
  }
  return bad;";

/// Texts whose boxes lie on one another by more than two pixels each way, or that stick out of their drawing.
const OVERLAPS: &str = "
  const bad = [];
  const boxes = (list) => [...list].filter((e) => e.getClientRects().length && e.textContent.trim()).map((e) => [e, e.getBoundingClientRect()]);
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 2 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 2;
  for (const svg of document.querySelectorAll('svg')) {
    const texts = boxes(svg.querySelectorAll('text')), frame = svg.getBoundingClientRect();
    texts.forEach(([e, r], i) => {
      if (r.left < frame.left - 1 || r.right > frame.right + 1 || r.top < frame.top - 1 || r.bottom > frame.bottom + 1) bad.push('out of ' + svg.id + ': ' + e.textContent);
      if (r.height < 7) bad.push('too small in ' + svg.id + ': ' + e.textContent);
      texts.slice(i + 1).forEach(([f, q]) => { if (meet(r, q)) bad.push(svg.id + ': ' + e.textContent + ' / ' + f.textContent); });
    });
  }
  const blocks = boxes(document.querySelectorAll('h1, h2, h3, p, li, dt, dd, caption, th, td, .lamp'));
  blocks.forEach(([e, r], i) => blocks.slice(i + 1).forEach(([f, q]) => {
    if (!e.contains(f) && !f.contains(e) && meet(r, q)) bad.push(e.tagName + ' ' + e.textContent.slice(0, 30) + ' / ' + f.tagName + ' ' + f.textContent.slice(0, 30)); }));
  return bad.slice(0, 20);";

/// What may stick out of the page to the right, for whoever must mend it.
const TOO_WIDE: &str = "
  const wide = document.documentElement.clientWidth;
  return [...document.querySelectorAll('body *')].filter((e) => !e.parentElement.closest('svg') && e.getBoundingClientRect().right > wide)
    .map((e) => e.tagName + '#' + (e.closest('[id]') || {}).id + ' ' + e.textContent.trim().slice(0, 40)).slice(0, 8);";

#[test]
#[ignore = "needs chromium and chromedriver, which are no part of the build"]
fn pages_can_be_read_at_360_pixels_and_on_a4_by_day_and_by_night() {
    let folder = Folder::new("looks");
    let browser = Browser::start(&folder.0.join("profile"));
    let none = serde_json::json!([]);
    let nights = [
        ("demo", review::read(folder.demo_logbook(), Span::default()).unwrap()),
        ("weeks", weeks_with_drills(&Folder::new("looks-weeks"))),
        ("bare", a_bare_night(&Folder::new("looks-bare"))),
    ];
    for (night, page) in nights {
        let page = folder.write(&format!("{night}.html"), &page.html(page.ship_time()));
        // A4 less its margins at 96 pixels an inch is 688 wide; a folder's screen; a phone.
        for (name, width, height) in [("a4", 688, 1016), ("folder", 1280, 900), ("phone", 360, 740)] {
            browser.screen(width, height);
            browser.open(&format!("file://{}", page.display()));
            for light in ["day", "red"] {
                browser.run(&format!("document.getElementById('red').checked = {}", light == "red"));
                assert_eq!(browser.run(CONTRAST), none, "{night} {name} {light}: text that cannot be read");
                browser.picture(&format!("review-{night}-{name}-{light}"));
            }
            let wide = browser.run("return document.documentElement.scrollWidth");
            assert_eq!(wide, width, "{night} {name}: sticks out: {}", browser.run(TOO_WIDE));
            assert_eq!(browser.run(OVERLAPS), none, "{night} {name}");
            let elsewhere = browser.run("return performance.getEntriesByType('resource').map((r) => r.name)");
            assert_eq!(elsewhere, none, "{night} {name}: nothing is fetched");
        }
        let bare = browser.run("return [...document.querySelectorAll('svg[role=img]')].filter((s) => !s.querySelector('title').textContent || !s.querySelector('desc')).length");
        assert_eq!(bare, 0, "{night}: each drawing is told in words");
        let paper = browser.paper(&format!("review-{night}"));
        assert!(paper.starts_with(b"%PDF"), "{night}: it prints");
    }
    assert_eq!(browser.complaints(), none, "the console");
}
