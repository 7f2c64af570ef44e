//! An HTTP receiver as they are met ashore: it stalls, resets, errs, redirects, drips, takes a post and loses its answer.

use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex};
use std::time::{Duration, Instant};

/// What the receiver does with a post.
#[derive(Debug, Clone, PartialEq)]
pub enum Does {
    /// Takes it.
    Good,
    /// Reads it and never answers.
    Stall,
    /// Breaks the connection off before it has read the body.
    Reset,
    /// Reads it, takes it, and breaks off instead of answering.
    Lose,
    /// Answers with a status and a header.
    Status(u16, String),
    /// Answers one letter at a time, for ever.
    Drip,
}

/// A post that was read whole.
#[derive(Debug, Clone)]
pub struct Post {
    /// Request line and headers.
    pub head: String,
    pub body: String,
    pub did: Does,
    pub at: Instant,
}

impl Post {
    /// A header's value.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().skip(1).find_map(|l| {
            let (n, v) = l.split_once(':')?;
            n.eq_ignore_ascii_case(name).then_some(v.trim())
        })
    }

    pub fn key(&self) -> &str {
        self.header("idempotency-key").expect("every post has a key")
    }

    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap()
    }

    /// Alert and number of the event.
    pub fn event(&self) -> (u64, u64) {
        let v = self.json();
        (v["alert"]["id"].as_u64().unwrap(), v["seq"].as_u64().unwrap())
    }

    /// The receiver has it, whatever the sender knows of that.
    pub fn taken(&self) -> bool {
        matches!(self.did, Does::Good | Does::Lose)
    }
}

type Judge = dyn FnMut(&Post) -> Does + Send;

#[derive(Default)]
struct Seen {
    posts: Mutex<Vec<Post>>,
    news: Condvar,
}

/// The receiver.
pub struct Rough {
    pub address: SocketAddr,
    seen: Arc<Seen>,
}

impl Rough {
    /// `judge` says of each post what is done with it; one after another, in the order of their arrival.
    pub fn start(judge: impl FnMut(&Post) -> Does + Send + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let seen = Arc::new(Seen::default());
        let judge: Arc<Mutex<Judge>> = Arc::new(Mutex::new(judge));
        let shared = seen.clone();
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                let Ok(stream) = stream else { return };
                let (seen, judge) = (shared.clone(), judge.clone());
                std::thread::spawn(move || serve(stream, &seen, &judge));
            }
        });
        Self { address, seen }
    }

    /// All posts so far.
    pub fn posts(&self) -> Vec<Post> {
        self.seen.posts.lock().unwrap().clone()
    }

    /// Waits until the posts are as wanted.
    ///
    /// # Panics
    /// When they are not within so long.
    pub fn wait(&self, what: &str, patience: Duration, wanted: impl Fn(&[Post]) -> bool) -> Vec<Post> {
        let end = Instant::now() + patience;
        let mut posts = self.seen.posts.lock().unwrap();
        while !wanted(&posts) {
            let left = end.saturating_duration_since(Instant::now());
            assert!(!left.is_zero(), "waited in vain for {what}; {} posts came", posts.len());
            posts = self.seen.news.wait_timeout(posts, left).unwrap().0;
        }
        posts.clone()
    }
}

fn serve(stream: TcpStream, seen: &Seen, judge: &Mutex<Judge>) {
    let mut reader = BufReader::new(stream.try_clone().unwrap());
    let (mut head, mut length) = (String::new(), 0);
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).unwrap_or(0) == 0 || line == "\r\n" {
            break;
        }
        if let Some(n) = line.to_lowercase().strip_prefix("content-length:") {
            length = n.trim().parse().unwrap();
        }
        head += &line;
    }
    let mut body = vec![0; length];
    if head.is_empty() || reader.read_exact(&mut body).is_err() {
        return;
    }
    let body = String::from_utf8(body).unwrap();
    let mut post = Post { head, body, did: Does::Good, at: Instant::now() };
    let does = (judge.lock().unwrap())(&post);
    post.did = does.clone();
    seen.posts.lock().unwrap().push(post);
    seen.news.notify_all();
    answer(stream, &does);
}

fn answer(mut stream: TcpStream, does: &Does) {
    // A sender that has gone is its own affair.
    let _ = match does {
        Does::Good => stream.write_all(b"HTTP/1.1 204 x\r\n\r\n"),
        Does::Stall => {
            std::thread::sleep(Duration::from_secs(60));
            Ok(())
        }
        Does::Reset | Does::Lose => {
            // An end without a farewell: the kernel sends a reset.
            socket2::SockRef::from(&stream).set_linger(Some(Duration::ZERO))
        }
        Does::Status(status, header) => {
            write!(stream, "HTTP/1.1 {status} x\r\n{header}\r\ncontent-length: 0\r\n\r\n")
        }
        Does::Drip => {
            for b in b"HTTP/1.1 204 x\r\nx-filling: ".iter().chain([b'x'; 600].iter()) {
                if stream.write_all(&[*b]).is_err() {
                    break;
                }
                std::thread::sleep(Duration::from_millis(100));
            }
            Ok(())
        }
    };
}
