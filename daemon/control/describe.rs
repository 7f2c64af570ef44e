//! The OpenAPI 3.1 description of the control interface, generated from the types that serve it.

use super::gate::Wants;
use super::places::{Found, Place};
use hyper::Method;
use record::{Nothing, Refusal};
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Serialize;
use std::collections::BTreeMap;

/// General notes on all places.
const ABOUT: &str = "The hand on the daemon. On the Unix socket the file's rights say who may ask. Over TCP, where \
    boat.toml asks for it, a token does; reading may be opened, changing anything never. Over TCP a request must \
    call this computer by an address, localhost, its own name or one of boat.toml's `names`, and no page from elsewhere \
    may ask. One request a connection; its head within 2 s, its body of at most 16 KiB within 10 s, its answer read \
    within 5 s. Over TCP at most 64 connections and 16 streams, 16 and 8 of one address; on the socket 32 and 8, 24 and 6 \
    of one user. An aid only: it does not replace a proper lookout.";

type Describes = fn(&mut SchemaGenerator) -> Schema;

/// A place as the description shows it.
pub(super) struct Operation {
    summary: &'static str,
    /// What it takes.
    body: Option<Describes>,
    /// What it answers, with the content type.
    answers: Vec<Describes>,
    kind: &'static str,
}

impl Operation {
    /// A place that takes and answers JSON.
    pub fn of<B: JsonSchema, A: JsonSchema>(place: &Place<B, A>) -> Self {
        let empty = B::schema_id() == Nothing::schema_id();
        Self {
            summary: place.about,
            body: (!empty).then_some(|g| g.subschema_for::<B>()),
            answers: vec![|g| g.subschema_for::<A>()],
            kind: "application/json",
        }
    }

    /// Adds the answer of another place, which it gives to some requests.
    pub fn or_answers<B: JsonSchema, A: JsonSchema>(mut self, _: &Place<B, A>) -> Self {
        self.answers.push(|g| g.subschema_for::<A>());
        self
    }

    /// A place that answers with text.
    pub fn text(summary: &'static str, kind: &'static str) -> Self {
        Self { summary, body: None, answers: vec![], kind }
    }
}

#[derive(Serialize)]
struct Document {
    openapi: &'static str,
    info: Info,
    servers: [Server; 1],
    security: Vec<BTreeMap<&'static str, [(); 0]>>,
    paths: BTreeMap<&'static str, BTreeMap<&'static str, Described>>,
    components: Components,
}

#[derive(Serialize)]
struct Info {
    title: &'static str,
    version: &'static str,
    license: License,
    description: &'static str,
}

#[derive(Serialize)]
struct License {
    name: &'static str,
    identifier: &'static str,
}

#[derive(Serialize)]
struct Server {
    url: &'static str,
}

#[derive(Serialize)]
struct Described {
    summary: &'static str,
    #[serde(rename = "requestBody", skip_serializing_if = "Option::is_none")]
    body: Option<Body>,
    responses: BTreeMap<&'static str, Response>,
    #[serde(skip_serializing_if = "Option::is_none")]
    security: Option<[(); 0]>,
}

#[derive(Serialize)]
struct Body {
    required: bool,
    content: BTreeMap<&'static str, Media>,
}

#[derive(Serialize)]
struct Response {
    description: &'static str,
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    content: BTreeMap<&'static str, Media>,
}

#[derive(Serialize)]
struct Media {
    schema: AnyOf,
}

#[derive(Serialize)]
#[serde(untagged)]
enum AnyOf {
    One(Schema),
    Several {
        #[serde(rename = "anyOf")]
        any_of: Vec<Schema>,
    },
}

#[derive(Serialize)]
struct Components {
    schemas: BTreeMap<String, Schema>,
    #[serde(rename = "securitySchemes")]
    security_schemes: BTreeMap<&'static str, Scheme>,
}

#[derive(Serialize)]
struct Scheme {
    r#type: &'static str,
    scheme: &'static str,
    description: &'static str,
}

/// The whole description as JSON.
pub(super) fn document(places: &[Found]) -> String {
    let settings = SchemaSettings::draft2020_12().with(|s| {
        s.definitions_path = "/components/schemas".into();
        s.meta_schema = None;
    });
    let mut generator = settings.into_generator();
    let mut paths: BTreeMap<&'static str, BTreeMap<&'static str, Described>> = BTreeMap::new();
    for place in places {
        let method = if place.method == Method::POST { "post" } else { "get" };
        let described = describe(place, &mut generator);
        paths.entry(place.path).or_default().insert(method, described);
    }
    let schemas = generator.take_definitions(true).into_iter();
    let document = Document {
        openapi: "3.1.0",
        info: Info {
            title: "middlewatch control",
            version: "1",
            license: License { name: "Apache-2.0", identifier: "Apache-2.0" },
            description: ABOUT,
        },
        servers: [Server { url: "/" }],
        security: vec![BTreeMap::from([("token", [])]), BTreeMap::new()],
        paths,
        components: Components {
            schemas: schemas.filter_map(|(name, schema)| Some((name, schema.try_into().ok()?))).collect(),
            security_schemes: BTreeMap::from([(
                "token",
                Scheme {
                    r#type: "http",
                    scheme: "bearer",
                    description: "The text of `token_file` in boat.toml.",
                },
            )]),
        },
    };
    // Texts and schemas always have a form in JSON.
    serde_json::to_string_pretty(&document).unwrap_or_default()
}

fn describe(place: &Found, generator: &mut SchemaGenerator) -> Described {
    let operation = &place.operation;
    let media = |schema| BTreeMap::from([(operation.kind, Media { schema })]);
    let mut answers: Vec<Schema> = operation.answers.iter().map(|of| of(generator)).collect();
    let good = match answers.len() {
        0 => AnyOf::One(
            schemars::json_schema!({"type": if operation.kind == "application/json" { "object" } else { "string" }}),
        ),
        1 => AnyOf::One(answers.remove(0)),
        _ => AnyOf::Several { any_of: answers },
    };
    let mut responses = BTreeMap::from([(
        "200",
        Response { description: "Done, or what was asked for.", content: media(good) },
    )]);
    let mut refused = |status, description| {
        let schema = AnyOf::One(generator.subschema_for::<Refusal>());
        let content = BTreeMap::from([("application/json", Media { schema })]);
        responses.insert(status, Response { description, content });
    };
    refused("400", "The body is not what is asked here, or the request does not name its host once.");
    refused(
        "403",
        "Not over TCP without a token, or not over TCP at all; asked by a foreign name or from a foreign page.",
    );
    refused("503", "Too many ask; or the watch does not answer, or the daemon cannot read its token.");
    if place.wants != Wants::Nothing {
        refused("401", "A token is needed, or the one given is wrong; then the answer is slow.");
        refused("429", "Too many wrong tokens at once.");
    }
    if place.method == Method::POST {
        refused("408", "The body did not arrive in time.");
        refused("409", "There is nothing to do it to, or the file is bad.");
        refused("413", "The body is too long.");
    }
    let body = operation.body.map(|of| Body {
        required: true,
        content: BTreeMap::from([("application/json", Media { schema: AnyOf::One(of(generator)) })]),
    });
    Described {
        summary: operation.summary,
        body,
        responses,
        security: (place.wants == Wants::Nothing).then_some([]),
    }
}
