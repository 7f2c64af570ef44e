//! The inputs of a replay.

use super::timeline::{Heard, PlainFile};
use super::{ReplayError, read_file};
use crate::files;
use crate::recording::{self, Boots, Opened, Reading};
use scenario::{Scenario, Timed};
use std::collections::BTreeMap;
use std::io::{self, Read};
use std::path::Path;
use terms::{FeedId, Utc};
use watch::Input;

/// One input: sentences, a recorded watch, or a scenario.
pub(super) enum Source {
    Lines { name: String, input: Box<PlainFile> },
    Recording { name: String, reading: Box<Reading> },
    Scenario(Box<Scenario>),
}

impl Source {
    pub fn open(path: &Path, start: Option<Utc>, boots: &Boots) -> Result<Self, ReplayError> {
        let name = path.display().to_string();
        if path.extension().is_some_and(|e| e == "toml") {
            let scenario = read_file(path, Scenario::read).map_err(ReplayError::BadFile)?;
            return Ok(Self::Scenario(Box::new(scenario)));
        }
        let failed = |e| ReplayError::Input(name.clone(), e);
        let reader: Box<dyn Read> =
            if name == "-" { Box::new(io::stdin()) } else { Box::new(files::stream(path).map_err(failed)?) };
        match recording::opened(reader, boots).map_err(failed)? {
            Opened::Recording(reading) => Ok(Self::Recording { name, reading }),
            Opened::Plain(reader) => {
                let name = if name == "-" {
                    "standard input".to_owned()
                } else {
                    path.file_stem().map_or(name, |s| s.to_string_lossy().into_owned())
                };
                Ok(Self::Lines { name, input: Box::new(PlainFile::new(reader, start)) })
            }
        }
    }

    /// Lines that could not be read.
    pub fn refused(&self) -> u64 {
        match self {
            Self::Lines { input, .. } => input.counts().all_refused(),
            Self::Recording { reading, .. } => reading.refused(),
            Self::Scenario(_) => 0,
        }
    }
}

/// A source under way. The watch knows the feeds it has brought up by their numbers.
pub(super) enum Playing<'a> {
    Lines { name: &'a str, input: &'a mut PlainFile, feeds: BTreeMap<usize, FeedId> },
    Recording { name: &'a str, reading: &'a mut Reading },
    Scenario { play: scenario::Play<'a>, next: Option<Timed<'a>>, feeds: BTreeMap<String, FeedId> },
}

/// The next item of a source.
pub(super) enum Next<'a> {
    Heard(Heard),
    Recorded(Input),
    Made(Timed<'a>),
}

impl<'a> Playing<'a> {
    pub fn new(source: &'a mut Source) -> Self {
        match source {
            Source::Lines { name, input } => Self::Lines { name, input, feeds: BTreeMap::new() },
            Source::Recording { name, reading } => Self::Recording { name, reading },
            Source::Scenario(scenario) => {
                let mut play = scenario.play();
                Self::Scenario { next: play.next(), play, feeds: BTreeMap::new() }
            }
        }
    }

    fn failed(name: &str) -> impl FnOnce(io::Error) -> ReplayError {
        let name = name.to_owned();
        |e| ReplayError::Input(name, e)
    }

    /// Time of the next item.
    pub fn peek(&mut self) -> Result<Option<i64>, ReplayError> {
        match self {
            Self::Lines { name, input, .. } => {
                Ok(input.peek().map_err(Self::failed(name))?.map(|(ms, _)| ms))
            }
            Self::Recording { name, reading } => reading.peek().map_err(Self::failed(name)),
            Self::Scenario { next, .. } => Ok(next.as_ref().map(|t| t.utc.0)),
        }
    }

    /// Takes the next item.
    pub fn next(&mut self) -> Result<Option<Next<'a>>, ReplayError> {
        Ok(match self {
            Self::Lines { name, input, .. } => input.next().map_err(Self::failed(name))?.map(Next::Heard),
            Self::Recording { name, reading } => {
                reading.take_next().map_err(Self::failed(name))?.map(Next::Recorded)
            }
            Self::Scenario { play, next, .. } => std::mem::replace(next, play.next()).map(Next::Made),
        })
    }

    /// Forgets the feeds: another watch does not know them yet.
    pub fn forget_feeds(&mut self) {
        match self {
            Self::Lines { feeds, .. } => feeds.clear(),
            Self::Scenario { feeds, .. } => feeds.clear(),
            Self::Recording { .. } => {}
        }
    }
}
