//! The paths of the control interface, what each takes and what it answers. Each path appears here and nowhere else.

use super::describe::Operation;
use super::gate::Wants;
use hyper::Method;
use record::{
    Act, Backup, CasualtyAnswer, CasualtyQuestion, DepartureAct, DepartureSheet, Done, Handover, Nothing,
    SignalTest, Status, Tried,
};
use std::marker::PhantomData;

/// A place that takes `B` and answers with `A`, both in JSON. A GET has no body.
pub struct Place<B, A> {
    /// Its path.
    pub path: &'static str,
    /// Its method.
    pub method: Method,
    /// The permission it needs.
    pub(super) wants: Wants,
    /// Its purpose, for the description.
    pub about: &'static str,
    types: PhantomData<fn(B) -> A>,
}

const fn get<A>(path: &'static str, wants: Wants, about: &'static str) -> Place<Nothing, A> {
    Place { path, method: Method::GET, wants, about, types: PhantomData }
}

const fn post<B, A>(path: &'static str, wants: Wants, about: &'static str) -> Place<B, A> {
    Place { path, method: Method::POST, wants, about, types: PhantomData }
}

/// The watch card.
pub(super) const PAGE: &str = "/";
/// What makes the watch card installable.
pub(super) const MANIFEST: &str = "/card.webmanifest";
/// Its icon.
pub(super) const ICON: &str = "/icon.svg";
/// The description of the interface.
pub(super) const DESCRIPTION: &str = "/openapi.json";
/// Statuses as server-sent events.
pub(super) const EVENTS: &str = "/events";
/// What comes by the feeds, as JSON, one object a line.
pub(super) const LINES: &str = "/lines";
/// Figures for a collector.
pub(super) const METRICS: &str = "/metrics";
/// The picture.
pub const STATUS: Place<Nothing, Status> = get("/status", Wants::Reads, "The picture as it is now");
/// What the relief must know.
pub const HANDOVER: Place<Nothing, Handover> =
    get("/handover", Wants::Reads, "What the one who takes the watch over must know");
/// An act of the crew.
pub const ACT: Place<Act, Done> = post("/act", Wants::Writes, "An act of the crew");
/// The act of taking the watch: at the same path, answered with the handover.
pub const TAKE_WATCH: Place<Act, Handover> =
    post("/act", Wants::Writes, "Somebody takes the watch: the answer is the handover");
/// A casualty. A pattern searched in vain counts from then on, so this may change something.
pub const CASUALTY: Place<CasualtyQuestion, CasualtyAnswer> =
    post("/casualty", Wants::Writes, "A casualty: its line, the sheet for the radio, a search pattern");
/// A copy of the logbook.
pub const BACKUP: Place<Backup, Done> =
    post("/backup", Wants::Files, "Copies the logbook to another file, while the watch goes on");
/// Rereads the orders file.
pub const RELOAD: Place<Nothing, Done> = post(
    "/reload",
    Wants::Writes,
    "Reads the orders file again; 409 where it is bad and the old orders stay",
);
/// Tries signals.
pub const TEST: Place<SignalTest, Tried> =
    post("/test", Wants::Writes, "Tries one signal, or lets every sounder sound");
/// The sheet of the departure check.
pub const DEPARTURE: Place<Nothing, DepartureSheet> =
    get("/departure", Wants::Reads, "How the departure check stands");
/// A step of the departure check.
pub const DEPARTURE_ACT: Place<DepartureAct, DepartureSheet> = post(
    "/departure",
    Wants::Writes,
    "Begins the departure check, notes an item, tries a button, or closes it",
);

/// The kind of a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Page,
    Manifest,
    Icon,
    Description,
    Events,
    Lines,
    Metrics,
    Status,
    Handover,
    Act,
    Casualty,
    Backup,
    Reload,
    Test,
    Departure,
    DepartureAct,
}

/// A place as the server looks it up.
pub(super) struct Found {
    pub kind: Kind,
    pub path: &'static str,
    pub method: Method,
    pub wants: Wants,
    /// Its part of the description.
    pub operation: Operation,
}

/// Every place.
pub(super) fn all() -> Vec<Found> {
    let plain = |kind, path, wants, operation| Found { kind, path, method: Method::GET, wants, operation };
    vec![
        plain(Kind::Page, PAGE, Wants::Nothing, Operation::text("The watch card", "text/html")),
        plain(
            Kind::Manifest,
            MANIFEST,
            Wants::Nothing,
            Operation::text(
                "The watch card's manifest, by which it is installed",
                "application/manifest+json",
            ),
        ),
        plain(Kind::Icon, ICON, Wants::Nothing, Operation::text("The watch card's icon", "image/svg+xml")),
        plain(
            Kind::Description,
            DESCRIPTION,
            Wants::Nothing,
            Operation::text("This description, as OpenAPI 3.1", "application/json"),
        ),
        plain(
            Kind::Events,
            EVENTS,
            Wants::Reads,
            Operation::text(
                "Server-sent events named `status`, one a second, each with what /status answers",
                "text/event-stream",
            ),
        ),
        plain(
            Kind::Lines,
            LINES,
            Wants::Reads,
            Operation::text(
                "What comes by the feeds from now on, one JSON object a line: first the `feeds`, then `bytes` of one \
                 `feed`; `?from=feed:NAME` or `?from=SOURCE`, several times, chooses some",
                "application/jsonl",
            ),
        ),
        plain(
            Kind::Metrics,
            METRICS,
            Wants::Reads,
            Operation::text("Figures for a collector, in OpenMetrics text", "application/openmetrics-text"),
        ),
        found(Kind::Status, &STATUS),
        found(Kind::Handover, &HANDOVER),
        Found { operation: Operation::of(&ACT).or_answers(&TAKE_WATCH), ..found(Kind::Act, &ACT) },
        found(Kind::Casualty, &CASUALTY),
        found(Kind::Backup, &BACKUP),
        found(Kind::Reload, &RELOAD),
        found(Kind::Test, &TEST),
        found(Kind::Departure, &DEPARTURE),
        found(Kind::DepartureAct, &DEPARTURE_ACT),
    ]
}

fn found<B: schemars::JsonSchema, A: schemars::JsonSchema>(kind: Kind, place: &Place<B, A>) -> Found {
    Found {
        kind,
        path: place.path,
        method: place.method.clone(),
        wants: place.wants,
        operation: Operation::of(place),
    }
}
