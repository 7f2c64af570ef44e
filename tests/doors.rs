//! Texts from outside that hide something: characters that steer a terminal, break a line, turn the direction of
//! writing or cannot be seen. They come in by each door, and none of them reaches a person.

use crate::aboard::{Daemon, Folder, middlewatch, sentence, text, until, verb};
use middlewatch::status::screen;
use middlewatch::window::Window;
use proptest::prelude::*;
use record::{Act, DepartureAct, Verdict};
use rules::Orders;
use sentence::{FramerOptions, Sentence};
use std::path::Path;
use std::sync::Arc;
use terms::{FeedId, Moment, is_hidden};
use watch::{Begin, Fault, FeedSetting, Input, Outside, Silence, Watch};

/// What hides: of each kind, one at least.
const HIDDEN: &str = "\u{1b}\u{7}\0\r\u{7f}\u{9b}\u{85}\u{ad}\u{61c}\u{200b}\u{200d}\u{200e}\u{200f}\u{2028}\u{2029}\
    \u{202a}\u{202b}\u{202c}\u{202d}\u{202e}\u{2060}\u{2066}\u{2067}\u{2068}\u{2069}\u{feff}\u{fff9}\u{ffff}\u{e0001}\u{e0041}\u{e007f}";

/// A name of letters among which something hides.
fn disguised() -> impl Strategy<Value = String> {
    let hidden: Vec<char> = HIDDEN.chars().collect();
    let one = prop_oneof![prop::sample::select(hidden), any::<char>(), prop::char::range('A', 'z')];
    prop::collection::vec(one, 1..8).prop_map(|all| format!("a{}z", all.into_iter().collect::<String>()))
}

/// A text of TOML, everything unusual in it escaped.
fn toml(text: &str) -> String {
    let escaped: String = text.chars().map(|c| format!("\\U{:08X}", u32::from(c))).collect();
    format!("\"{escaped}\"")
}

/// A text as a field of a sentence: each of its bytes by its code.
fn field(text: &str) -> String {
    text.bytes().map(|b| format!("^{b:02X}")).collect()
}

/// Lines that carry a text into each field that has words.
fn lines(text: &str) -> Vec<String> {
    let t = field(text);
    [
        format!("VDMOB,{t},A,021400.00,0,011126,021400.00,5048.100,N,00106.100,W,,,,0"),
        format!("RAALR,021405.00,001,A,V,{t}"),
        format!("VDALF,1,1,1,021406.00,B,A,V,{t},001,1,2,0,{t}"),
        format!("RATTM,01,1.5,090.0,T,10.0,180.0,T,0.5,10.0,N,{t},T,,021407.00,A"),
        format!("RATLL,02,5049.0,N,00107.0,W,{t},021408.00,T,"),
        format!("IIXDR,P,1.01408,B,{t}"),
    ]
    .map(|body| self::sentence(&body))
    .to_vec()
}

fn boat_text(t: &str) -> String {
    let t = toml(t);
    format!(
        "version = 1\n[vessel]\nname = {t}\n[[crew]]\nname = {t}\nbeacon = \"972000001\"\n\
         [[feed]]\nname = {t}\nfile = \"log\"\ntrusted = true\n[[signal]]\nname = {t}\ncommand = [\"true\"]\n\
         [[gear]]\nname = {t}\ndue = \"2020-01\"\nnote = {t}\n\
         [[button]]\nname = {t}\nline = {{ recorded = \"rail\" }}\ndoes = \"overboard\"\n"
    )
}

fn orders_text(t: &str) -> String {
    let t = toml(t);
    format!(
        "version = 1\n[[order]]\nname = {t}\npriority = \"alarm\"\nwhen = \"SOG is over 1 kn\"\ntext = {t}\n"
    )
}

/// Fails if something hides in a text. A person's lines may be several.
fn seen(what: &str, shown: &str) {
    let hidden: Vec<char> = shown.chars().filter(|&c| is_hidden(c) && c != '\n' && c != '\t').collect();
    assert!(hidden.is_empty(), "{what}: {hidden:?} in {shown:?}");
}

/// The same for a value, by its debug output, which escapes what cannot be seen.
fn seen_in(what: &str, value: &impl std::fmt::Debug) {
    let shown = format!("{value:?}");
    for (at, _) in shown.match_indices("\\u{") {
        let code = shown[at + 3..].split('}').next().unwrap();
        let c = u32::from_str_radix(code, 16).ok().and_then(char::from_u32).unwrap();
        assert!(!is_hidden(c), "{what}: {c:?} in {shown}");
    }
    assert!(!shown.contains("\\r") && !shown.contains("\\0"), "{what}: {shown}");
}

/// All that a person can do, with a text wherever there is one.
fn acts(text: &str) -> Vec<Act> {
    let t = || text.to_owned();
    vec![
        Act::Handover { who: t() },
        Act::Overboard { late_s: 0.0, who: Some(t()) },
        Act::Missing { who: Some(t()), last_seen: "90 min".to_owned(), missed: None },
        Act::Missing { who: None, last_seen: t(), missed: Some(t()) },
        Act::Passage { name: Some(t()), ends: false },
        Act::Note { text: t() },
        Act::Declare { what: t(), metres: None, bearing_deg: None },
        Act::Drill { what: t() },
        Act::StandDown { casualty: None, reason: t() },
        Act::ResetWatchAlarm { from: Some(t()) },
        Act::Acknowledge { alert: None, order: Some(t()) },
    ]
}

/// As control and a recording take it.
fn by_json<T: serde::Serialize + serde::de::DeserializeOwned>(value: &T) -> T {
    record::from_json(&serde_json::to_vec(value).unwrap()).unwrap()
}

/// Brings a text in by every door of a watch and looks at all that comes out.
fn by_each_door(t: &str) {
    let boat = match boat::read("boat.toml", &boat_text(t)) {
        Ok((boat, odd)) => {
            seen("a warning", &odd.to_string());
            boat
        }
        Err(problems) => {
            seen("a problem", &problems.to_string());
            boat::Boat::default()
        }
    };
    let orders = Orders::read(t, &orders_text(t)).unwrap_or_else(|problems| {
        seen("a problem", &problems.to_string());
        Orders::default()
    });
    let mut watch = Watch::new(&boat);
    let mut feeds: Vec<FeedSetting> = boat.feeds.iter().map(FeedSetting::of).collect();
    feeds.push(FeedSetting { name: t.to_owned(), ..feeds.first().cloned().unwrap_or_else(|| plain(t)) });
    let begin = Begin { feeds, orders: Arc::new(orders), begins: true, ..Begin::default() };
    let mut inputs = vec![
        Input::Begin(Box::new(begin)),
        Input::Named(plain(t)),
        Input::Fault { what: Fault::Logbook, why: Some(t.to_owned()) },
        Input::Button { name: t.to_owned(), act: Act::Note { text: t.to_owned() } },
    ];
    inputs.extend(acts(t).iter().map(by_json).map(Input::Act));
    let item = DepartureAct::Item {
        what: t.to_owned(),
        verdict: Verdict::Failed,
        words: t.to_owned(),
        by: t.to_owned(),
    };
    let close = DepartureAct::Close { by: t.to_owned() };
    let button = DepartureAct::Button { name: t.to_owned() };
    inputs.extend([item, button, close].iter().map(by_json).map(|act| Input::Departure(act, Vec::new())));
    let mut heard = vec![sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A")];
    heard.extend(lines(t));
    // As it is, too, where a receiver does not escape.
    heard.push(sentence(&format!("RAALR,021405.00,002,A,V,{t}")));
    for line in heard {
        let options = FramerOptions { checksum_optional: true };
        if let Ok(line) = Sentence::check(line.trim_end().as_bytes(), &options) {
            inputs.push(Input::Line(FeedId(0), line.into()));
        }
    }
    for (at, input) in (1_000_i64..).step_by(2_000).zip(inputs) {
        let at = Moment(at);
        let what = format!("{input:?}").chars().take(40).collect::<String>();
        let answer = watch.take(at, input);
        if let Err(why) = &answer {
            seen(&what, &why.to_string());
        }
        seen_in(&what, &answer);
        for effect in watch.effects() {
            seen_in(&what, &effect);
        }
    }
    let at = Moment(600_000);
    watch.advance(at);
    for effect in watch.effects() {
        seen_in("later", &effect);
    }
    let status = watch.status(at, &Outside::default());
    seen_in("the status", &status);
    seen("the screen", &screen(&status, Window::page()));
    seen_in("the handover", &watch.handover(at));
    seen_in("the departure check", &watch.departure_look(at, Vec::new()));
    seen_in("what is kept", &watch.kept(at));
}

fn plain(name: &str) -> FeedSetting {
    FeedSetting {
        name: name.to_owned(),
        checksum_optional: true,
        simulator: true,
        trusted: true,
        silent_after: Silence::Never,
    }
}

#[test]
fn what_hides_comes_in_by_no_door() {
    for c in HIDDEN.chars() {
        by_each_door(&format!("a{c}z"));
    }
    by_each_door(HIDDEN);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(64) })]
    #[test]
    fn nothing_that_hides_comes_in_by_any_door(text in disguised()) {
        by_each_door(&text);
    }
}

/// Without control characters, which a name must not have.
const NAME: &str = "a\u{202e}\u{200b}\u{e0041}z";

/// Every text of a logbook.
fn written(logbook: &Path) -> Vec<String> {
    let file = rusqlite::Connection::open(logbook).unwrap();
    let sql = "SELECT text || facts FROM entry_rows UNION ALL SELECT text || record || coalesce(target_name, '') || about \
               FROM event_rows UNION ALL SELECT name FROM feed_names";
    let mut all = file.prepare(sql).unwrap();
    let rows = all.query_map([], |r| r.get::<_, Option<String>>(0)).unwrap();
    rows.map(|r| r.unwrap().unwrap_or_default()).collect()
}

#[test]
fn terminal_logbook_review_and_page_of_a_replay_show_nothing_that_hides() {
    let folder = Folder::new("doors");
    let boat = folder.write("boat.toml", &boat_text(NAME));
    let orders = folder.write(&format!("o{NAME}.toml"), &orders_text(NAME));
    let fix = sentence("GPRMC,021407.00,A,5048.000,N,00106.000,W,5.0,090.0,011126,,,A");
    let night = folder
        .write(&format!("n{NAME}.nmea"), &(fix.clone() + &lines(&format!("a{HIDDEN}z")).concat() + &fix));
    let logbook = folder.logbook();
    let out = middlewatch()
        .arg("replay")
        .arg("--config")
        .arg(&boat)
        .arg("--orders")
        .arg(&orders)
        .arg("--logbook")
        .arg(&logbook)
        .arg(&night)
        .output()
        .unwrap();
    assert!(out.status.success(), "{}", text(&out.stderr));
    seen("replay", &(text(&out.stdout) + &text(&out.stderr)));
    assert!(text(&out.stdout).contains("az"), "{}", text(&out.stdout));
    for row in written(&logbook) {
        seen("the logbook", &row);
    }
    let files = ["html", "gpx", "geojson", "csv"].map(|kind| (format!("--{kind}"), folder.0.join(kind)));
    let mut review = middlewatch();
    review.arg("review").arg("--logbook").arg(&logbook);
    for (key, file) in &files {
        review.arg(key).arg(file);
    }
    let out = review.output().unwrap();
    assert!(out.status.success(), "{}", text(&out.stderr));
    seen("review", &text(&out.stdout));
    for (key, file) in &files {
        seen(key, &std::fs::read_to_string(file).unwrap());
    }
    let out = middlewatch().arg("listen").arg(&night).output().unwrap();
    seen("listen", &(text(&out.stdout) + &text(&out.stderr)));
    // A name that is not there, in a message.
    let out = verb(&["replay", &format!("{NAME}{HIDDEN}.toml").replace('\0', "")]);
    seen("an error", &text(&out.stderr));
    let out = verb(&[
        "check",
        "--config",
        folder
            .write("bad.toml", &format!("version = 1\n{NAME:?} = 1\n[vessel]\nnane = \"{NAME}\"\n"))
            .to_str()
            .unwrap(),
    ]);
    assert_eq!(out.status.code(), Some(78));
    seen("check", &(text(&out.stdout) + &text(&out.stderr)));
}

#[test]
fn what_the_crew_post_is_shown_without_what_hides() {
    let daemon = Daemon::start("posted", &format!("[[feed]]\nname = {}\nfile = \"nowhere\"\n", toml(NAME)));
    let note = HIDDEN.replace('\0', "");
    for arguments in
        [["note", &note], ["handover", NAME], ["overboard", NAME], ["passage", &note], ["drill", &note]]
    {
        let out = daemon.tell(&arguments);
        seen(arguments[0], &(text(&out.stdout) + &text(&out.stderr)));
    }
    for arguments in [["status", "--json"], ["handover", "--json"], ["casualty", "--brief"]] {
        let out = daemon.tell(&arguments);
        assert!(out.status.success(), "{}", text(&out.stderr));
        seen(arguments[0], &text(&out.stdout));
    }
    until("the entries", || (written(&daemon.logbook()).len() > 4).then_some(()));
    for row in written(&daemon.logbook()) {
        seen("the logbook", &row);
    }
    seen("diagnostics", &daemon.stderr());
    daemon.stop();
}
