//! The hand on the daemon over TCP: who may do what, how much of it, and that a crowd there changes nothing at sea.

use crate::aboard::{Daemon, Folder, sentence, text, until};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::time::{Duration, Instant};

pub const TOKEN: &str = "seventeen-letters";

pub fn free_address() -> SocketAddr {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap()
}

/// A daemon that listens on TCP.
pub fn start(name: &str, control: &str, body: &str) -> (Daemon, SocketAddr) {
    let folder = Folder::new(name);
    folder.write("token", &format!("{TOKEN}\n"));
    let address = free_address();
    let daemon = Daemon::start_with(folder, body, &format!("listen = \"{address}\"\n{control}"));
    until("TCP", || TcpStream::connect(address).ok().map(drop));
    (daemon, address)
}

pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: String,
}

impl Answer {
    /// What came back, as far as it came.
    pub fn of(mut stream: impl Read) -> Self {
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = text(&answer);
        let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        Self { status, head: head.to_owned(), body: body.to_owned() }
    }

    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|e| panic!("{e}: {}", self.body))
    }
}

/// One request as it is written.
pub fn send(address: SocketAddr, bytes: &[u8]) -> Answer {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(40))).unwrap();
    // Whoever is answered before he has said all may be cut short.
    let _ = stream.write_all(bytes);
    Answer::of(stream)
}

pub fn request(address: SocketAddr, line: &str, token: Option<&str>, body: &str) -> Answer {
    let token = token.map_or(String::new(), |t| format!("authorization: Bearer {t}\r\n"));
    let length = body.len();
    let text = format!("{line} HTTP/1.1\r\nhost: {address}\r\n{token}content-length: {length}\r\n\r\n{body}");
    send(address, text.as_bytes())
}

pub const NOTE: &str = "{\"act\": \"note\", \"text\": \"by TCP\"}";

#[test]
fn without_a_token_this_computer_may_read_and_nobody_write() {
    let (_daemon, address) = start("open", "", "");
    assert_eq!(request(address, "GET /status", None, "").json()["version"], 1);
    let refused = request(address, "POST /act", None, NOTE);
    assert_eq!(refused.status, 403);
    assert!(refused.json()["error"].as_str().unwrap().contains("token_file"));
    // A page elsewhere whose name leads here.
    let rebound = send(address, b"GET /status HTTP/1.1\r\nhost: boat.example\r\n\r\n");
    assert_eq!(rebound.status, 403);
}

#[test]
fn a_token_lets_in_and_a_wrong_one_is_slowed_and_told_of() {
    let (daemon, address) = start("token", "token_file = \"token\"\nopen_reading = false\n", "");
    for path in ["/status", "/events", "/metrics", "/handover"] {
        assert_eq!(request(address, &format!("GET {path}"), None, "").status, 401, "{path}");
    }
    for path in ["/", "/openapi.json"] {
        assert_eq!(request(address, &format!("GET {path}"), None, "").status, 200, "{path}");
    }
    assert_eq!(request(address, "POST /act", None, NOTE).status, 401);
    assert_eq!(request(address, "GET /status", Some(TOKEN), "").status, 200);
    assert_eq!(request(address, "POST /act", Some(TOKEN), NOTE).json()["done"], "written into the logbook");
    let backup = format!("{{\"to\": {:?}}}", daemon.folder.0.join("copy.db"));
    assert_eq!(request(address, "POST /backup", Some(TOKEN), &backup).status, 403, "for those at the socket");

    let began = Instant::now();
    let wrong = request(address, "GET /status", Some("seventeen-lettert"), "");
    assert_eq!(wrong.status, 401);
    assert!(began.elapsed() >= Duration::from_secs(2), "slowed");
    assert!(wrong.head.to_lowercase().contains("www-authenticate: bearer"));
    until("the diagnostics", || daemon.stderr().contains("wrong token").then_some(()));
    assert!(!daemon.stderr().contains(TOKEN) && !daemon.stderr().contains("lettert"), "no token is told");
    // Many at once are turned away, and do not slow the one who has it.
    let guesses: Vec<_> = (0..12)
        .map(|n| {
            std::thread::spawn(move || {
                request(address, "GET /status", Some(&format!("guess-{n:012}")), "").status
            })
        })
        .collect();
    std::thread::sleep(Duration::from_millis(300));
    let began = Instant::now();
    assert_eq!(request(address, "GET /status", Some(TOKEN), "").status, 200);
    assert!(began.elapsed() < Duration::from_secs(1), "{:?}", began.elapsed());
    let statuses: Vec<u16> = guesses.into_iter().map(|g| g.join().unwrap()).collect();
    assert!(statuses.contains(&429) && statuses.iter().all(|s| [401, 429].contains(s)), "{statuses:?}");
}

#[test]
fn reading_may_be_opened_and_writing_stays_shut() {
    let (daemon, address) = start("reading", "token_file = \"token\"\nopen_reading = true\n", "");
    assert_eq!(request(address, "GET /status", None, "").status, 200);
    assert_eq!(request(address, "POST /act", None, NOTE).status, 401);
    assert_eq!(request(address, "POST /reload", None, "").status, 401);
    assert_eq!(request(address, "POST /test", None, "").status, 401);
    // A token that can no longer be read lets nobody in.
    std::fs::write(daemon.folder.0.join("token"), "short").unwrap();
    assert_eq!(request(address, "POST /act", Some(TOKEN), NOTE).status, 503);
    assert_eq!(request(address, "POST /act", Some("short"), NOTE).status, 503);
}

#[test]
fn requests_are_bounded_in_size_and_strange_ones_answered() {
    let (daemon, address) = start("bounds", "token_file = \"token\"\nopen_reading = true\n", "");
    let long = format!("{{\"act\": \"note\", \"text\": \"{}\"}}", "x".repeat(20_000));
    assert_eq!(request(address, "POST /act", Some(TOKEN), &long).status, 413);
    assert_eq!(request(address, &format!("GET /{}", "x".repeat(100_000)), None, "").status, 431);
    let many = format!("GET /status HTTP/1.1\r\nhost: x\r\n{}\r\n", "a: b\r\n".repeat(5000));
    assert!([400, 431].contains(&send(address, many.as_bytes()).status));
    for (line, body, status) in [
        ("GET /nowhere", "", 404),
        ("PUT /status", "", 405),
        ("GET /act", "", 405),
        ("POST /act", "", 400),
        ("POST /act", "[]", 400),
        ("POST /act", "{\"act\": \"sail away\"}", 400),
        ("POST /act", "{\"act\": \"acknowledge\", \"alert\": 99}", 409),
        ("POST /act", "{\"act\": \"overboard\", \"late_s\": 1e300}", 400),
        ("POST /act", "{\"act\": \"stand-down\", \"reason\": \"test\"}", 409),
        ("POST /act", "{\"act\": \"note\", \"text\": \"\\u0000\"}", 400),
        ("POST /act", "{\"act\": \"note\", \"text\": \"x\\u0000\"}", 200),
    ] {
        let answer = request(address, line, Some(TOKEN), body);
        assert_eq!(answer.status, status, "{line} {body}: {}", answer.body);
        assert_eq!(answer.json()["error"].is_string(), status != 200, "{line} {body}");
    }
    for garbage in
        [&b"\x16\x03\x01\x02\x00"[..], b"\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", &[0xff; 3000]]
    {
        let answer = send(address, garbage);
        assert!([0, 400, 414, 431, 505].contains(&answer.status), "{}", answer.status);
    }
    assert_eq!(daemon.status()["version"], 1, "it is all the same to the watch");
}

#[test]
fn every_path_of_the_description_is_there_and_answers_as_described() {
    let (daemon, address) = start("openapi", "token_file = \"token\"\nopen_reading = true\n", "");
    let description = request(address, "GET /openapi.json", None, "").json();
    assert_eq!(description["openapi"], "3.1.0");
    let paths = description["paths"].as_object().unwrap();
    assert!(paths.len() >= 10);
    for (path, methods) in paths {
        for (method, operation) in methods.as_object().unwrap() {
            if path == "/events" {
                continue;
            }
            let answer = request(address, &format!("{} {path}", method.to_uppercase()), Some(TOKEN), "{}");
            let described = &operation["responses"][answer.status.to_string()];
            assert!(
                described.is_object(),
                "{method} {path}: {} is not described: {}",
                answer.status,
                answer.body
            );
            let kind = answer
                .head
                .lines()
                .find_map(|l| l.to_lowercase().strip_prefix("content-type: ").map(str::to_owned));
            let kind = kind.unwrap().split(';').next().unwrap().to_owned();
            assert!(described["content"][&kind].is_object(), "{method} {path}: {kind}");
        }
    }
    // What is answered is what is described, in every key and every word.
    daemon.tell(&["overboard", "Ada"]);
    daemon.tell(&["drill", "feed"]);
    let token = Some(TOKEN);
    for (line, body) in [
        ("GET /status", ""),
        ("GET /handover", ""),
        ("GET /departure", ""),
        (
            "POST /casualty",
            "{\"brief\": true, \"pattern\": \"square\", \"speed_kn\": 5, \"spacing_nm\": 0.1}",
        ),
        ("POST /act", NOTE),
        ("POST /act", "{\"act\": \"handover\", \"who\": \"Bo\"}"),
        ("POST /act", "{\"act\": \"acknowledge\", \"alert\": 1.0}"),
        ("POST /departure", "{\"departure\": \"begin\"}"),
        ("POST /test", "{}"),
        ("POST /reload", ""),
    ] {
        let answer = request(address, line, token, body);
        let (method, path) = line.split_once(' ').unwrap();
        let operation = &description["paths"][path][method.to_lowercase()];
        let schema =
            &operation["responses"][answer.status.to_string()]["content"]["application/json"]["schema"];
        let wrong = unlike(&description, schema, &answer.json(), line);
        assert!(wrong.is_none(), "{}: {}", wrong.unwrap_or_default(), answer.body);
        if body.starts_with('{') {
            let body: Value = serde_json::from_str(body).unwrap();
            let wrong = unlike(
                &description,
                &operation["requestBody"]["content"]["application/json"]["schema"],
                &body,
                line,
            );
            assert!(wrong.is_none(), "{}", wrong.unwrap_or_default());
        }
    }
    let mut strange = request(address, "GET /status", None, "").json();
    strange["watch"]["whom"] = json!(1);
    let schema = json!({"$ref": "#/components/schemas/Status"});
    assert!(unlike(&description, &schema, &strange, "").is_some(), "a key that nothing describes is noticed");
}

/// Where a value is not what a schema of a description says (JSON Schema 2020-12, as far as the description uses it): a key
/// that is missing or not described, another type, a word that is not listed.
fn unlike(description: &Value, schema: &Value, value: &Value, at: &str) -> Option<String> {
    if let Some(name) = schema["$ref"].as_str() {
        let schema = &description["components"]["schemas"][name.rsplit('/').next().unwrap()];
        assert!(!schema.is_null(), "{name} is not described");
        return unlike(description, schema, value, at);
    }
    if let Some(any) = schema["anyOf"].as_array().or(schema["oneOf"].as_array()) {
        let each: Vec<Option<String>> = any.iter().map(|s| unlike(description, s, value, at)).collect();
        return if each.contains(&None) { None } else { Some(format!("{at}: none of {each:?}")) };
    }
    if let Some(words) = schema["enum"].as_array() {
        return (!words.contains(value)).then(|| format!("{at}: {value} is not listed"));
    }
    if !schema["const"].is_null() {
        return (schema["const"] != *value).then(|| format!("{at}: {value} is not {}", schema["const"]));
    }
    let is = |kind: &str| match kind {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        "integer" => value.as_f64().is_some_and(|n| n.fract() == 0.0),
        "number" => value.is_number(),
        other => panic!("{at}: what is a {other}?"),
    };
    let fits = match &schema["type"] {
        Value::String(kind) => is(kind),
        Value::Array(kinds) => kinds.iter().filter_map(Value::as_str).any(is),
        _ => true,
    };
    if !fits {
        return Some(format!("{at}: {value} is no {}", schema["type"]));
    }
    if let Some(object) = value.as_object() {
        let required = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
        if let Some(key) = required.into_iter().find(|key| !object.contains_key(*key)) {
            return Some(format!("{at}: {key} is missing"));
        }
        for (key, value) in object {
            let here = format!("{at}.{key}");
            let of = match (&schema["properties"][key], &schema["additionalProperties"]) {
                (Value::Null, Value::Object(_)) => &schema["additionalProperties"],
                (Value::Null, _) => return Some(format!("{here} is not described")),
                (described, _) => described,
            };
            if let wrong @ Some(_) = unlike(description, of, value, &here) {
                return wrong;
            }
        }
    }
    let items = value.as_array().into_iter().flatten();
    items.enumerate().find_map(|(n, item)| unlike(description, &schema["items"], item, &format!("{at}[{n}]")))
}

#[test]
fn figures_are_for_a_collector() {
    let (daemon, address) = start("metrics", "", "[[feed]]\nname = \"in\"\nstandard_input = true\n");
    daemon.tell(&["overboard"]);
    let answer = request(address, "GET /metrics", None, "");
    assert!(answer.head.contains("application/openmetrics-text; version=1.0.0; charset=utf-8"));
    for line in
        ["middlewatch_casualties 1", "middlewatch_feed_up{feed=\"in\"}", "middlewatch_targets 0", "# EOF"]
    {
        assert!(answer.body.lines().any(|l| l.starts_with(line)), "{line} is not in\n{}", answer.body);
    }
}

/// The next picture of an event stream.
fn picture(lines: &mut impl Iterator<Item = String>) -> Value {
    let data = lines.find_map(|l| l.strip_prefix("data: ").map(str::to_owned)).expect("an event");
    serde_json::from_str(&data).unwrap()
}

fn events(address: SocketAddr) -> TcpStream {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
    write!(stream, "GET /events HTTP/1.1\r\nhost: {address}\r\n\r\n").unwrap();
    stream
}

#[test]
fn a_page_that_stays_open_sees_what_changes_and_is_not_cut_off() {
    let (daemon, address) = start("events", "", "");
    let mut lines = BufReader::new(events(address)).lines().map_while(Result::ok);
    assert!(lines.next().unwrap().contains("200"));
    assert_eq!(picture(&mut lines)["casualties"], json!([]));
    daemon.tell(&["overboard", "Ada"]);
    let seen =
        std::iter::from_fn(|| Some(picture(&mut lines))).take(5).find(|p| p["casualties"][0].is_object());
    let seen = seen.expect("the casualty within five pictures");
    assert_eq!(seen["casualties"][0]["who"], "Ada overboard");
    // Longer than any other request may take.
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(32) {
        picture(&mut lines);
    }
    // Eight pages, and no more; a place is free again when one has gone.
    drop(lines);
    let first = |stream: &mut TcpStream| {
        let mut line = [0; 12];
        stream.read_exact(&mut line).unwrap();
        text(&line)
    };
    let mut pages: Vec<TcpStream> = Vec::new();
    until("eight places", || {
        let mut page = events(address);
        if first(&mut page).contains("200") {
            pages.push(page);
        }
        (pages.len() == 8).then_some(())
    });
    assert!(first(&mut events(address)).contains("503"));
    drop(pages);
    until("a place", || first(&mut events(address)).contains("200").then_some(()));
}

#[test]
fn a_thousand_connections_and_slow_readers_leave_the_watch_alone() {
    let udp = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    let feed = udp.local_addr().unwrap();
    drop(udp);
    let folder = Folder::new("crowd");
    let heard = folder.0.join("heard");
    let address = free_address();
    let daemon = Daemon::start_with(
        folder,
        &format!(
            "[[feed]]\nname = \"net\"\nudp = \"{feed}\"\n[[signal]]\nname = \"horn\"\nbuzzer = {{ recorded = {heard:?} }}\n"
        ),
        &format!("listen = \"{address}\"\n"),
    );
    until("TCP", || TcpStream::connect(address).ok().map(drop));
    let mut crowd = Vec::new();
    for n in 0..1000 {
        let Ok(mut stream) = TcpStream::connect(address) else { continue };
        stream.set_nonblocking(true).unwrap();
        // A third says nothing, a third half a request, a third asks for a stream and never reads it.
        let _ = match n % 3 {
            0 => Ok(()),
            1 => stream.write_all(b"GET /status HTTP/1.1\r\nhost: loc"),
            _ => stream.write_all(format!("GET /events HTTP/1.1\r\nhost: {address}\r\n\r\n").as_bytes()),
        };
        crowd.push(stream);
    }
    assert!(crowd.len() > 900, "{}", crowd.len());
    // The socket is not kept busy by what goes on over TCP.
    let began = Instant::now();
    assert_eq!(daemon.status()["version"], 1);
    assert!(began.elapsed() < Duration::from_secs(3), "{:?}", began.elapsed());
    let sender = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
    let began = Instant::now();
    sender
        .send_to(
            sentence("IIMOB,00000,M,021407.00,0,011126,021407.00,5048.0000,N,00106.0000,W,0.0,0.0,,0")
                .as_bytes(),
            feed,
        )
        .unwrap();
    until("the horn", || std::fs::read_to_string(&heard).ok().filter(|h| !h.is_empty()));
    // The bound is for a machine that does other things too; the measure is in the benches.
    assert!(began.elapsed() < Duration::from_secs(1), "{:?}", began.elapsed());
}

/// Requests that everybody at the socket may make, damaged at random: bytes changed, left out, doubled, put in. The same
/// three thousand in each run.
#[test]
fn damaged_requests_are_answered_or_cut_off_and_the_watch_stands() {
    let daemon = Daemon::start("damaged", "");
    let socket = daemon.folder.0.join("control.sock");
    let post = |path: &str, body: &str| {
        format!("POST {path} HTTP/1.1\r\nhost: x\r\ncontent-length: {}\r\n\r\n{body}", body.len())
    };
    let seeds: Vec<Vec<u8>> = [
        "GET /status HTTP/1.1\r\nhost: x\r\n\r\n".to_owned(),
        "GET /metrics HTTP/1.1\r\nhost: x\r\naccept: text/plain\r\n\r\n".to_owned(),
        "GET /handover HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n".to_owned(),
        post("/act", "{\"act\": \"overboard\", \"late_s\": 30, \"who\": \"Ada\"}"),
        post("/act", "{\"act\": \"acknowledge\", \"alert\": 1}"),
        post("/act", "{\"act\": \"declare\", \"what\": \"under sail\"}"),
        post("/casualty", "{\"casualty\": 1, \"search\": \"expanding-square\"}"),
        "POST /act HTTP/1.1\r\nhost: x\r\ntransfer-encoding: chunked\r\n\r\n5\r\n{\"act\r\n0\r\n\r\n"
            .to_owned(),
    ]
    .map(String::into_bytes)
    .to_vec();
    // xorshift64 (Marsaglia 2003): any generator will do.
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut any = |below: usize| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % below.max(1) as u64) as usize
    };
    let mut answered = [0; 600];
    for _ in 0..3000 {
        let mut bytes = seeds[any(seeds.len())].clone();
        for _ in 0..=any(2) {
            let at = any(bytes.len());
            match any(5) {
                0 => bytes[at] = any(256) as u8,
                1 => bytes[at] ^= 1 << any(8),
                2 => drop(bytes.drain(at..(at + 1 + any(8)).min(bytes.len()))),
                3 => {
                    let again = bytes[at..(at + any(40)).min(bytes.len())].to_vec();
                    bytes.splice(at..at, again);
                }
                _ => drop(bytes.splice(at..at, [b'9', b'9', b'9', b'9'])),
            }
            if bytes.is_empty() {
                break;
            }
        }
        let mut stream = std::os::unix::net::UnixStream::connect(&socket).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(40))).unwrap();
        let _ = stream.write_all(&bytes);
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = text(&answer);
        let status: usize = answer.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        assert!(status < 500 || status == 505 || status == 501, "{status} to {:?}", text(&bytes));
        answered[status] += 1;
    }
    assert!(
        answered[200] > 50 && answered[400] > 100,
        "both kinds came: {:?}",
        (answered[200], answered[400])
    );
    // Casualties may have been marked by what was still whole; one more is.
    let before = daemon.status()["casualties"].as_array().unwrap().len();
    assert!(daemon.tell(&["overboard", "Bo"]).status.success());
    assert_eq!(daemon.status()["casualties"].as_array().unwrap().len(), (before + 1).min(32));
    assert!(!daemon.stderr().contains("panicked"), "{}", daemon.stderr());
}
