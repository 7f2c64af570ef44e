//! `[vessel]`: her name and measurements, and what the lookout needs to know of the boat.

use crate::Boat;
use form::{Key, Name, Nested, Table, Value, Word, Written, key};
use lookout::casualty::CrewMember;
use lookout::{Dimensions, Settings};
use terms::{BatteryKind, FeedId, Mmsi, Utc};

const VESSEL: Key<Nested> = key("vessel", "own vessel");
const NAME: Key<Name> = key("name", "her name, for reports").most(60);
const CALL_SIGN: Key<Name> =
    key("call_sign", "her call sign, for the sheet that is read over the radio").example("ABCD2").most(20);
const MMSI: Key<Mmsi> = key("mmsi", "her MMSI; never treated as a target");
const FLEET: Key<Mmsi> =
    key("fleet", "tenders and vessels in company, which no order calls for").example("211000002");
const TRANSDUCER_DEPTH: Key<f64> =
    key("transducer_depth_m", "transducer below the surface").example("0.5").within("0", "20");
const DRAUGHT: Key<f64> = key("draught_m", "keel below the surface").example("1.9").within("0", "20");
const MOTORING_SPEED: Key<f64> =
    key("motoring_speed_kn", "her speed under engine, for the way back to a casualty")
        .example("5.5")
        .within("0.5", "40");
const VARIATION: Key<f64> =
    key("variation_deg", "magnetic variation where no instrument and no model gives it, east positive")
        .example("-1.5")
        .within("-180", "180");
const DIMENSIONS: Key<Sides> =
    key("dimensions_m", "from the GPS antenna to bow, stern, port and starboard side");
const MASTHEAD: Key<f64> = key("masthead_m", "anemometer above the water").example("14").within("1", "60");
const ANTENNA: Key<f64> = key("antenna_m", "AIS antenna above the water").example("14").within("0.5", "60");
const BATTERY: Key<Made> =
    key("battery", "what her battery is made of, which sets when it is low").or("lead");

/// What the battery is made of.
#[derive(Debug, Clone, Copy)]
struct Made(BatteryKind);

impl Word for Made {
    const ALL: &'static [(&'static str, Self)] = &[
        (BatteryKind::Lead.word(), Self(BatteryKind::Lead)),
        (BatteryKind::Agm.word(), Self(BatteryKind::Agm)),
        (BatteryKind::Gel.word(), Self(BatteryKind::Gel)),
        (BatteryKind::LithiumIron.word(), Self(BatteryKind::LithiumIron)),
    ];
}

/// The vessel.
#[derive(Debug, Clone, Default)]
pub struct Vessel {
    /// Her name, for reports.
    pub name: Option<String>,
    /// Her call sign, for the sheet read over the radio.
    pub call_sign: Option<String>,
    /// Her own MMSI, which never becomes a target.
    pub mmsi: Option<Mmsi>,
    /// MMSIs of tenders and vessels in company, which raise no call as ships.
    pub fleet: Vec<Mmsi>,
    /// Transducer below the surface, metres.
    pub transducer_depth_m: Option<f64>,
    /// Keel below the surface, metres.
    pub draught_m: Option<f64>,
    /// Speed under engine, knots.
    pub motoring_speed_kn: Option<f64>,
    /// Magnetic variation if nothing better is known, degrees, east positive.
    pub variation_deg: Option<f64>,
    /// GPS antenna to bow, stern, port side, starboard side, metres.
    pub dimensions_m: Option<[f64; 4]>,
    /// Anemometer above the water, metres.
    pub masthead_m: Option<f64>,
    /// AIS antenna above the water, metres.
    pub antenna_m: Option<f64>,
    /// What her battery is made of; `None` for lead.
    pub battery: Option<BatteryKind>,
}

/// Four distances from the GPS antenna, metres.
struct Sides([f64; 4]);

impl Written for Sides {
    const EXAMPLE: &'static str = "[9.5, 2.5, 1.5, 2]";

    fn read(v: &Value<'_>) -> Result<Self, String> {
        let sides: Option<Vec<f64>> =
            v.items().and_then(|all| all.map(|m| m.number().filter(|m| (0.0..=100.0).contains(m))).collect());
        sides.and_then(|s| s.try_into().ok()).map(Self).ok_or_else(|| {
            "four distances in metres such as [9.5, 2.5, 1.5, 2], each from 0 to 100: from the GPS antenna to bow, \
             stern, port and starboard"
                .to_owned()
        })
    }
}

pub(crate) fn vessel(t: &mut Table<'_>) -> Vessel {
    let Some(mut t) = t.table(&VESSEL) else { return Vessel::default() };
    let vessel = Vessel {
        name: t.take(&NAME).map(|n| n.0),
        call_sign: t.take(&CALL_SIGN).map(|n| n.0),
        mmsi: t.take(&MMSI),
        fleet: t.list(&FLEET).unwrap_or_default(),
        transducer_depth_m: t.take(&TRANSDUCER_DEPTH),
        draught_m: t.take(&DRAUGHT),
        motoring_speed_kn: t.take(&MOTORING_SPEED),
        variation_deg: t.take(&VARIATION),
        dimensions_m: t.take(&DIMENSIONS).map(|s| s.0),
        masthead_m: t.take(&MASTHEAD),
        antenna_m: t.take(&ANTENNA),
        battery: t.take(&BATTERY).map(|made| made.0),
    };
    if vessel.transducer_depth_m.zip(vessel.draught_m).is_some_and(|(transducer, keel)| transducer > keel) {
        t.warn(&TRANSDUCER_DEPTH, "the transducer would be below the keel");
    }
    vessel
}

/// The lookout's settings for this boat.
pub fn lookout_settings(boat: &Boat, not_before: Option<Utc>) -> Settings {
    let v = &boat.vessel;
    let crew = boat.crew.iter().map(|c| CrewMember { name: c.name.clone(), mmsi: c.beacon }).collect();
    let defaults = Settings::default();
    Settings {
        own_mmsi: v.mmsi,
        crew,
        fleet: v.fleet.clone(),
        feed_names: boat.feeds.iter().zip(0..).map(|(f, n)| (FeedId(n), f.name.clone())).collect(),
        transducer_to_waterline_m: v.transducer_depth_m,
        transducer_to_keel_m: v
            .draught_m
            .zip(v.transducer_depth_m)
            .map(|(keel, transducer)| keel - transducer),
        variation_deg: v.variation_deg,
        dimensions: v.dimensions_m.map(|[bow_m, stern_m, port_m, starboard_m]| Dimensions {
            bow_m,
            stern_m,
            port_m,
            starboard_m,
        }),
        motoring_speed_kn: v.motoring_speed_kn.unwrap_or(defaults.motoring_speed_kn),
        ais_antenna_m: v.antenna_m,
        battery: v.battery.unwrap_or(defaults.battery),
        arrival_nm: boat.passage.arrival_nm,
        earliest_utc: not_before,
        ..defaults
    }
}
