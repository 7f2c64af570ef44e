//! Turns a scenario in TOML into the sentences a boat would hear, with noise, the same for the same seed. Pure: time
//! runs as the caller takes the lines; no clock is read and no I/O done.
//!
//! [`Overboard`] is a scenario of one beacon, made without a file. [`Scenario::read`] reads a file, [`Scenario::play`]
//! gives lines and acts in order of time, and [`Scenario::own`], [`Scenario::ship`] and [`Scenario::casualty`] give the
//! truth the lines were made from.

mod interval;
mod overboard;
mod plan;
mod play;
mod profile;
mod random;
mod read;
mod track;
mod world;

pub use overboard::Overboard;
pub use plan::{Act, Verb};
pub use play::{Play, Timed, What};
pub use track::Motion;

use plan::Plan;
use terms::{Mmsi, Moment, Problems, Utc};
use world::World;

/// A scenario, read and laid out.
#[derive(Debug, Clone)]
pub struct Scenario {
    plan: Plan,
    world: World,
}

impl Scenario {
    /// Reads a scenario file and lays out the tracks of everything that moves in it.
    ///
    /// # Errors
    /// Everything that is wrong with the file, each with its line and column.
    pub fn read(file_name: &str, text: &str) -> Result<Self, Problems> {
        read::plan(file_name, text).map(Self::of)
    }

    /// Lays out the tracks of everything that moves in a plan.
    fn of(plan: Plan) -> Self {
        Self { world: World::new(&plan), plan }
    }

    /// Every key of a scenario file and what it is for.
    pub fn reference() -> form::Reference {
        read::reference()
    }

    /// Its title.
    pub fn title(&self) -> &str {
        &self.plan.title
    }

    /// UTC at its beginning.
    pub fn start(&self) -> Utc {
        self.plan.start
    }

    /// UTC at a moment of it.
    pub fn utc(&self, at: Moment) -> Utc {
        self.plan.start.plus_ms(at.0)
    }

    /// When it ends.
    pub fn end(&self) -> Moment {
        self.plan.end
    }

    /// The names of its feeds, in the order of the file.
    pub fn feeds(&self) -> impl Iterator<Item = &str> {
        self.plan.feeds.iter().map(|f| f.name.as_str())
    }

    /// All lines and acts, in order of time.
    pub fn play(&self) -> Play<'_> {
        Play::new(self)
    }

    /// Own vessel's name.
    pub fn own_name(&self) -> &str {
        &self.plan.own.name
    }

    /// Own vessel's identity.
    pub fn own_mmsi(&self) -> Mmsi {
        self.plan.own.mmsi
    }

    /// How own vessel moves, without yaw and noise.
    pub fn own(&self, at: Moment) -> Motion {
        self.world.own.at(at)
    }

    /// Depth below the transducer; `None` if the scenario has no depths.
    pub fn depth_below_transducer_m(&self, at: Moment) -> Option<f64> {
        self.plan.waters.depth_below_transducer_m.at(at).map(|[depth]| depth)
    }

    /// The identities of its ships and aircraft.
    pub fn ships(&self) -> impl Iterator<Item = Mmsi> {
        self.plan.ships.iter().map(|s| s.mmsi)
    }

    /// How a ship moves; `None` if there is none of that identity.
    pub fn ship(&self, mmsi: Mmsi, at: Moment) -> Option<Motion> {
        let i = self.plan.ships.iter().position(|s| s.mmsi == mmsi)?;
        self.world.ships.get(i).map(|track| track.at(at))
    }

    /// The beacons somebody goes overboard with: identity, name of the wearer, moment of the fall.
    pub fn casualties(&self) -> impl Iterator<Item = (Mmsi, &str, Moment)> {
        let fallen = self.plan.beacons.iter();
        fallen.filter_map(|b| b.overboard.as_ref().map(|o| (b.mmsi, b.name.as_str(), o.at)))
    }

    /// How the wearer of a beacon drifts; `None` before the fall, or if nobody falls.
    pub fn casualty(&self, mmsi: Mmsi, at: Moment) -> Option<Motion> {
        let i = self.plan.beacons.iter().position(|b| b.mmsi == mmsi)?;
        let fell = self.plan.beacons.get(i)?.overboard.as_ref()?.at;
        let track = self.world.casualties.get(i)?.as_ref()?;
        (at >= fell).then(|| track.at(at))
    }
}
