//! Alerts as sentences for a plotter or a bridge: ALF and ALR for events, ALC for the list of open alerts, HBT while
//! the watch is stood, TLL and WPL for the positions of casualties.

use super::ear::{Ear, Heard};
use super::standing::Standing;
use super::{Places, Reporter, TRY_AGAIN};
use crate::clock::Clock;
use crate::feeds::{self, WayBack};
use boat::{Bridge, Feed, Formatter, Hears, Outlet};
use record::{CasualtyPart, EventRecord, alarm_number, identifier};
use rules::{AlertState, Priority};
use sentence::encode::{self, Counters, Listed};
use sentence::{DeviceAlert, SentTime};
use std::collections::{BTreeMap, VecDeque};
use std::io;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use terms::{CasualtyId, Position, Utc};
use tokio::io::{AsyncWrite, AsyncWriteExt};
use tokio::net::UdpSocket;
use tokio::sync::{Notify, watch};

/// Integrated instrumentation (IEC 61162-1, talker identifiers).
const TALKER: &str = "II";
/// Longest interval between lists of alerts (IEC 61162-1: 30 s, from memory).
const LIST_EVERY: Duration = Duration::from_secs(30);
/// Interval of the supervision sentence (IEC 61162-1: at most 60 s, from memory).
const BEAT_EVERY: Duration = Duration::from_secs(60);
/// A wire that accepts nothing for this long is reopened.
const STUCK: Duration = Duration::from_secs(5);

/// Feeds whose wires can carry sentences back, by name.
pub type WaysBack = BTreeMap<String, WayBack>;

/// Lines remembered to recognize our own sentences: more than any wire echoes late.
const MOST_SAID: usize = 512;

/// Sentences recently sent to bridges. Many multiplexers, and every broadcast network, echo them to a feed; a
/// casualty's position would then pass for a radar target.
#[derive(Debug, Clone, Default)]
pub struct Said(Arc<Mutex<VecDeque<String>>>);

impl Said {
    fn lines(&self) -> MutexGuard<'_, VecDeque<String>> {
        // Nothing that can panic runs under this lock.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn note(&self, lines: &[String]) {
        let mut said = self.lines();
        said.extend(lines.iter().cloned());
        let over = said.len().saturating_sub(MOST_SAID);
        said.drain(..over);
    }

    /// Whether a line from a feed is one of ours, whatever was prefixed to it on its way.
    pub fn has(&self, line: &[u8]) -> bool {
        let Some(from) = line.iter().rposition(|b| *b == b'$') else { return false };
        let sentence = &line[from..];
        // The address alone rules out nearly every line.
        let formatter = sentence.strip_prefix(b"$").and_then(|s| s.strip_prefix(TALKER.as_bytes()));
        let may_be = |f: &[u8]| Formatter::ALL.iter().any(|(name, _)| f.starts_with(name.as_bytes()));
        formatter.is_some_and(may_be)
            && self.lines().iter().any(|l| l.as_bytes() == sentence.trim_ascii_end())
    }
}

/// The state letter in ALF.
fn letter(state: AlertState) -> char {
    match state {
        AlertState::ActiveUnacknowledged => 'V',
        AlertState::ActiveSilenced => 'S',
        AlertState::ActiveAcknowledged => 'A',
        AlertState::ResponsibilityTransferred => 'O',
        AlertState::RectifiedUnacknowledged => 'U',
        AlertState::Normal => 'N',
    }
}

fn revision(record: &EventRecord) -> u8 {
    (record.seq.saturating_sub(1) % 99 + 1) as u8
}

/// The sentences to send and their counters.
#[derive(Debug)]
struct Speaker {
    sentences: Vec<Formatter>,
    standing: Standing,
    alf: u8,
    alc: u8,
    hbt: u8,
}

impl Speaker {
    fn new(sentences: Vec<Formatter>) -> Self {
        Self { sentences, standing: Standing::default(), alf: 0, alc: 0, hbt: 0 }
    }

    fn says(&self, formatter: Formatter) -> bool {
        self.sentences.contains(&formatter)
    }

    /// The sentences for an event.
    fn hear(&mut self, heard: &Heard) -> Vec<String> {
        let before = self.standing.iter().count();
        self.standing.hear(heard);
        let mut lines = match heard.hears {
            Hears::Elsewhere => Vec::new(),
            Hears::Quietly | Hears::Aloud => self.alert(&heard.record, heard.level),
        };
        if self.standing.iter().count() != before {
            lines.extend(self.list());
        }
        lines
    }

    /// The sentences for one alert; none for a notice.
    fn alert(&mut self, record: &EventRecord, level: u8) -> Vec<String> {
        let Some(state) = record.alert.state else { return Vec::new() };
        let priority = match record.alert.priority {
            Priority::EmergencyAlarm => 'E',
            Priority::Alarm => 'A',
            Priority::Warning => 'W',
            Priority::Caution | Priority::Notice => 'C',
        };
        let alert = DeviceAlert {
            identifier: Some(identifier(&record.alert.order)),
            instance: Some(record.alert.id.0),
            priority: Some(priority),
            state: Some(letter(state)),
            time: record.at.map(SentTime::Utc),
            text: Some(record.alert.text.clone()),
            ..DeviceAlert::default()
        };
        let mut lines = Vec::new();
        if self.says(Formatter::Alf) {
            self.alf = (self.alf + 1) % 10;
            let counters = Counters { sequence: self.alf, revision: revision(record), escalation: level };
            lines.extend(encode::alf(TALKER, &alert, &record.alert.order.to_uppercase(), counters));
        }
        if self.says(Formatter::Alr) {
            let active = !matches!(state, AlertState::RectifiedUnacknowledged | AlertState::Normal);
            let acknowledged = !matches!(
                state,
                AlertState::ActiveUnacknowledged
                    | AlertState::ActiveSilenced
                    | AlertState::RectifiedUnacknowledged
            );
            lines.push(encode::alr(
                TALKER,
                &DeviceAlert {
                    identifier: Some(alarm_number(record.alert.id)),
                    state: Some(if active { 'A' } else { 'V' }),
                    acknowledged: Some(acknowledged),
                    ..alert
                },
            ));
        }
        let over = record.alert.state == Some(AlertState::Normal);
        lines.extend(record.casualty.iter().flat_map(|c| self.place(c, record.at, over)));
        lines
    }

    /// The current positions of the casualties with open alerts.
    fn places(&self, (at, casualties): &Places) -> Vec<String> {
        let stands = |id: CasualtyId| {
            self.standing.iter().any(|h| h.record.casualty.as_ref().is_some_and(|c| c.id == id))
        };
        casualties.iter().filter(|c| stands(c.id)).flat_map(|c| self.place(c, *at, false)).collect()
    }

    /// A casualty's position, and whether the case is over.
    fn place(&self, casualty: &CasualtyPart, at: Option<Utc>, over: bool) -> Vec<String> {
        let place = casualty.latitude_deg.zip(casualty.longitude_deg);
        let Some(place) = place.and_then(|(lat, lon)| Position::new(lat, lon).ok()) else {
            return Vec::new();
        };
        let name = casualty.crew.clone().unwrap_or_else(|| format!("CASUALTY {}", casualty.id.0));
        let mut lines = Vec::new();
        if self.says(Formatter::Tll) {
            let status = match casualty.position.as_str() {
                _ if over => 'L',
                "reported" => 'T',
                _ => 'Q',
            };
            let number = (casualty.id.0 % 100) as u8;
            lines.push(encode::tll(TALKER, number, place, &name, at, status));
        }
        if self.says(Formatter::Wpl) && !over {
            lines.push(encode::wpl(TALKER, place, &name));
            // A line is no point: its places, from the earliest moment of the fall on.
            let on_line =
                casualty.line.iter().filter_map(|p| Position::new(p.latitude_deg, p.longitude_deg).ok());
            let numbered =
                (1..).zip(on_line).map(|(n, place): (u8, _)| (format!("LINE {} {n}", casualty.id.0), place));
            lines.extend(numbered.map(|(name, place)| encode::wpl(TALKER, place, &name)));
            let other = casualty.elsewhere.as_ref();
            let other = other.and_then(|e| Position::new(e.latitude_deg, e.longitude_deg).ok());
            lines
                .extend(other.map(|place| encode::wpl(TALKER, place, &format!("OR HERE {}", casualty.id.0))));
        }
        lines
    }

    /// All open alerts, for a listener that has just joined.
    fn all(&mut self) -> Vec<String> {
        let records: Vec<Arc<EventRecord>> = self.standing.iter().map(|h| h.record.clone()).collect();
        let mut lines: Vec<String> = records.iter().flat_map(|r| self.alert(r, 0)).collect();
        lines.extend(self.list());
        lines
    }

    /// The list of open alerts.
    fn list(&mut self) -> Vec<String> {
        if !self.says(Formatter::Alc) {
            return Vec::new();
        }
        let listed: Vec<Listed> = self
            .standing
            .iter()
            .map(|h| Listed {
                source: String::new(),
                identifier: identifier(&h.record.alert.order),
                instance: h.record.alert.id.0,
                revision: revision(&h.record),
            })
            .collect();
        self.alc = (self.alc + 1) % 100;
        encode::alc(TALKER, &listed, self.alc)
    }

    fn beat(&mut self) -> Option<String> {
        self.hbt = (self.hbt + 1) % 10;
        self.says(Formatter::Hbt).then(|| encode::hbt(TALKER, BEAT_EVERY.as_secs_f64(), true, self.hbt))
    }
}

/// An open wire.
enum Wire {
    Stream(Box<dyn AsyncWrite + Send + Unpin>),
    Datagrams(UdpSocket),
    Feed(WayBack),
}

impl Wire {
    async fn open(outlet: &Outlet, ways_back: &WaysBack) -> io::Result<Self> {
        Ok(match outlet {
            Outlet::Serial { path, baud } => {
                Self::Stream(Box::new(feeds::open_serial(path.clone(), *baud).await?))
            }
            Outlet::Tcp(address) => Self::Stream(Box::new(feeds::connect(address).await?)),
            Outlet::Udp(address) => {
                let to = tokio::net::lookup_host(address)
                    .await?
                    .next()
                    .ok_or_else(|| io::Error::other(format!("{address} has no address")))?;
                let any = if to.is_ipv4() { "0.0.0.0:0" } else { "[::]:0" };
                let socket = UdpSocket::bind(any).await?;
                socket.set_broadcast(true)?;
                socket.connect(to).await?;
                Self::Datagrams(socket)
            }
            Outlet::Feed(name) => {
                let way = ways_back.get(name).cloned();
                Self::Feed(way.ok_or_else(|| io::Error::other(format!("there is no feed {name}")))?)
            }
        })
    }

    async fn send(&mut self, lines: &[String]) -> io::Result<()> {
        for line in lines {
            tokio::time::timeout(STUCK, self.send_one(format!("{line}\r\n").into_bytes()))
                .await
                .map_err(|_| io::Error::other(format!("nothing was taken for {} s", STUCK.as_secs())))??;
        }
        Ok(())
    }

    async fn send_one(&mut self, line: Vec<u8>) -> io::Result<()> {
        match self {
            // Not flushed: flushing a serial line blocks until its last bit has gone, or for ever.
            Self::Stream(s) => s.write_all(&line).await,
            Self::Feed(way) => way.send(line).await,
            Self::Datagrams(s) => match s.send(&line).await {
                // Nobody listened to the last one; somebody may hear the next.
                Err(e) if e.kind() == io::ErrorKind::ConnectionRefused => Ok(()),
                sent => sent.map(drop),
            },
        }
    }
}

/// Sends sentences to a bridge until there are no more events.
pub(super) async fn run(
    bridge: Bridge,
    (said, ways_back): (Said, WaysBack),
    mut ear: Ear,
    passes: Arc<Notify>,
    mut places: watch::Receiver<Places>,
    mut reporter: Reporter,
) {
    let mut speaker = Speaker::new(bridge.sentences);
    let mut wire: Option<Wire> = None;
    let (mut open_at, mut list_at, mut beat_at) = (Clock.now(), Clock.now() + LIST_EVERY, Clock.now());
    loop {
        let mut lines = Vec::new();
        if wire.is_none() && Clock.now() >= open_at {
            let opened = Wire::open(&bridge.outlet, &ways_back).await;
            lines = speaker.all();
            lines.extend(speaker.places(&places.borrow_and_update()));
            reporter.report(opened.as_ref().map(drop).map_err(ToString::to_string));
            open_at = Clock.now() + TRY_AGAIN;
            wire = opened.ok();
        } else {
            tokio::select! {
                biased;
                heard = ear.next() => match heard {
                    Some(heard) => lines = speaker.hear(&heard),
                    None => return,
                },
                Ok(()) = places.changed() => lines = speaker.places(&places.borrow_and_update()),
                () = passes.notified() => {
                    if Clock.now() >= beat_at {
                        beat_at = Clock.now() + BEAT_EVERY;
                        lines.extend(speaker.beat());
                    }
                }
                () = Clock.until(Some(if wire.is_some() { list_at } else { open_at.min(list_at) })) => {}
            }
        }
        if Clock.now() >= list_at {
            list_at = Clock.now() + LIST_EVERY;
            lines.extend(speaker.list());
        }
        if let Some(open) = &mut wire
            && !lines.is_empty()
        {
            said.note(&lines);
            let sent = open.send(&lines).await;
            reporter.report(sent.as_ref().map(drop).map_err(ToString::to_string));
            if sent.is_err() {
                // Closing a serial line that accepts nothing may block for half a minute.
                drop(tokio::task::spawn_blocking(move || drop(wire)));
                wire = None;
                open_at = Clock.now() + TRY_AGAIN;
            }
        }
    }
}

/// Sends one empty list of alerts, a trial that nobody mistakes for an alert.
pub(super) async fn trial(bridge: &Bridge, of_boat: &[Feed]) -> Result<(), String> {
    let mut wire = match of_boat.iter().find(|f| bridge.outlet == Outlet::Feed(f.name.clone())) {
        // No running feed has it open.
        Some(feed) => {
            let (_, back) = feeds::Opened::open(&feed.source).await.map_err(|e| e.to_string())?;
            Wire::Stream(back.ok_or_else(|| format!("the feed {} has no way back", feed.name))?)
        }
        None => Wire::open(&bridge.outlet, &WaysBack::new()).await.map_err(|e| e.to_string())?,
    };
    wire.send(&encode::alc(TALKER, &[], 0)).await.map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::super::standing::tests::event;
    use super::*;
    use record::example;
    use rules::BuiltIn;
    use rules::EventKind;

    fn lines(sentences: &[Formatter]) -> Vec<String> {
        let mut speaker = Speaker::new(sentences.to_vec());
        let mut t =
            event(17, Priority::EmergencyAlarm, AlertState::ActiveUnacknowledged, EventKind::Raised, true);
        let record = Arc::make_mut(&mut t.record);
        record.alert.order = BuiltIn::PersonOverboard.word().to_owned();
        record.alert.text =
            "Person overboard: Ada. 250 metres, bearing 045, 30 s ago, and drifting, north".to_owned();
        record.at = Utc::parse("2026-11-01T02:14:07Z");
        record.casualty = Some(example::casualty());
        speaker.hear(&t)
    }

    /// pynmeagps 1.1.8 reads these sentences into the fields meant here; checksums are its own.
    #[test]
    fn sentences_of_a_casualty() {
        let all: Vec<Formatter> = Formatter::ALL.iter().map(|(_, f)| *f).collect();
        let lines = lines(&all);
        assert_eq!(lines.len(), 6, "{lines:#?}");
        assert!(
            lines[0].starts_with("$IIALF,2,1,1,021407.00,B,E,V,,10001,17,1,0,PERSON OVERBOARD*"),
            "{}",
            lines[0]
        );
        assert!(
            lines[1].starts_with("$IIALF,2,2,1,,,,,,,,,,Person overboard: Ada. 250 metres"),
            "{}",
            lines[1]
        );
        assert!(lines[2].starts_with("$IIALR,021407.00,017,A,V,Person overboard"), "{}", lines[2]);
        assert!(lines[3].starts_with("$IITLL,01,5430.0000,N,01015.0000,E,Ada,021407.00,T,*"), "{}", lines[3]);
        assert!(lines[4].starts_with("$IIWPL,5430.0000,N,01015.0000,E,Ada*"), "{}", lines[4]);
        assert!(lines[5].starts_with("$IIALC,01,01,01,1,,10001,17,1*"), "{}", lines[5]);
        assert!(lines.iter().all(|l| l.len() <= 80));
        assert!(self::lines(&[Formatter::Hbt]).is_empty());
    }

    #[test]
    fn numbers_of_orders_stay() {
        assert_eq!(identifier("person overboard"), 10_001);
        let own = identifier("close approach");
        assert!((20_000..30_000).contains(&own) && own == identifier("close approach"));
    }
}
