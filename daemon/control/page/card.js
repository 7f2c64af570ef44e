"use strict";
// What the daemon says is shown, and how old it is. Everything from outside is put in as text, never as markup.

const OLD_S = 5;
const GONE_S = 12;
const METRES_PER_NM = 1852;
const SVG = "http://www.w3.org/2000/svg";
const at = (id) => document.getElementById(id);

let token = "";
try { token = localStorage.getItem("token") || ""; } catch { /* A page without storage asks again each time. */ }
let heard = null;      // when the last picture came, by this phone's own steady clock
let connected = false;
let picture = null;
let busy = new Set();

function keep(key, value) {
  try { localStorage.setItem(key, value); } catch { /* as above */ }
}

function make(tag, kind, text) {
  const e = document.createElement(tag);
  if (kind) e.className = kind;
  if (text !== undefined && text !== null) e.textContent = text;
  return e;
}

function draw(tag, attributes, text) {
  const e = document.createElementNS(SVG, tag);
  for (const [k, v] of Object.entries(attributes)) e.setAttribute(k, v);
  if (text !== undefined) e.textContent = text;
  return e;
}

const known = (n) => typeof n === "number" && Number.isFinite(n);
const three = (deg) => String(((Math.round(deg) % 360) + 360) % 360).padStart(3, "0") + "°";

function range(nm) {
  const m = nm * METRES_PER_NM;
  if (nm < 0.5) return (m < 100 ? Math.round(m / 5) * 5 : Math.round(m / 10) * 10) + " m";
  return nm.toFixed(nm < 10 ? 1 : 0) + " nm";
}

function span(s) {
  if (s < 120) return Math.round(s) + " s";
  if (s < 7200) return Math.floor(s / 60) + " min";
  return Math.floor(s / 3600) + " h " + Math.floor(s / 60) % 60 + " min";
}

// Night and day: by hand, else by the sun at the boat, else night, which blinds nobody.
let light = "auto";
try { light = localStorage.getItem("light") || "auto"; } catch { /* as above */ }

function shine() {
  const sun = picture && picture.own && picture.own.sun_up === true;
  const now = light === "auto" ? (sun ? "day" : "night") : light;
  document.documentElement.dataset.light = now;
  at("light").textContent = now === "night" ? "Day" : "Night";
  at("light").setAttribute("aria-label", now === "night" ? "Show by day" : "Show by night, in red");
}

at("light").addEventListener("click", () => {
  light = document.documentElement.dataset.light === "night" ? "day" : "night";
  keep("light", light);
  shine();
});

// The casualties, words first.
function casualties(list) {
  const parts = list.map((c) => {
    const e = make("article", "casualty");
    e.append(make("p", "who", c.who));
    const where = c.look ? (c.position === "estimated" ? "Estimated " : "") + c.look : "Position not known";
    e.append(make("p", "look", where));
    const more = [];
    if (known(c.bearing_deg)) more.push("bearing " + three(c.bearing_deg) + " true");
    more.push((c.elapsed_is === "at-least" ? "at least " : "") + span(c.elapsed_s) + " ago");
    if (known(c.set_deg) && known(c.drift_kn)) {
      more.push("drifting toward " + three(c.set_deg) + " at " + c.drift_kn.toFixed(1) + " kn");
    }
    e.append(make("p", "more", more.join(", ")));
    return e;
  });
  fill(at("casualties"), parts);
}

// A name that has room beside its mark.
function short(c) {
  const name = (c.crew || "").split(/[\s-]/)[0];
  return name.length > 12 ? name.slice(0, 11) + "…" : name || "MOB";
}

// The plan: north up, because a bearing is true whether or not a heading is known. Symbols after IMO SN.1/Circ.243:
// own vessel a double circle with a heading line, the AIS beacon of a casualty a circle with a cross, another casualty an
// event mark, a square with a diagonal line. Without a heading there is no heading line.
function plan(own, list) {
  const placed = list.filter((c) => known(c.range_nm) && known(c.bearing_deg));
  at("plan").hidden = placed.length === 0;
  if (placed.length === 0) return;
  const far = Math.max(...placed.map((c) => c.range_nm), 0.02);
  // Round figures: metres when near, then miles.
  const metres = [50, 100, 200, 400, 800].map((m) => m / METRES_PER_NM);
  const outer = [...metres, 1, 2, 5, 10, 20, 50, 100].find((s) => s >= far) || far;
  const scale = 82 / outer;
  const parts = [];
  for (const part of [0.5, 1]) {
    parts.push(draw("circle", { class: "ring", r: 82 * part }));
    const words = outer < 0.5 ? Math.round(outer * part * METRES_PER_NM) + " m" : outer * part + " nm";
    parts.push(draw("text", { class: "soft", x: 0, y: 82 * part + 2.5, "text-anchor": "middle" }, words));
  }
  parts.push(draw("text", { x: 0, y: -91, "text-anchor": "middle" }, "N"));
  parts.push(draw("circle", { class: "own", r: 3 }), draw("circle", { class: "own", r: 6 }));
  const to = (deg, r) => [r * Math.sin(deg * Math.PI / 180), -r * Math.cos(deg * Math.PI / 180)];
  if (known(own.heading_deg)) {
    const [x, y] = to(own.heading_deg, 96);
    parts.push(draw("line", { class: "own heading", x1: 0, y1: 0, x2: x, y2: y }));
  }
  if (known(own.cog_deg) && known(own.sog_kn) && own.sog_kn >= 0.5) {
    // Where she is in three minutes, within the plan.
    const [x, y] = to(own.cog_deg, Math.min(Math.max(own.sog_kn / 20 * scale, 10), 92));
    parts.push(draw("line", { class: "vector", x1: 0, y1: 0, x2: x, y2: y }));
  }
  for (const c of placed) {
    const [x, y] = to(c.bearing_deg, c.range_nm * scale);
    const g = draw("g", { transform: `translate(${x.toFixed(2)} ${y.toFixed(2)})`, class: "casualty-mark" });
    if (known(c.radius95_nm) && c.position === "estimated") {
      g.append(draw("circle", { class: "doubt", r: Math.max(c.radius95_nm * scale, 8) }));
    }
    if (c.source === "ais") {
      g.append(draw("circle", { class: "mark", r: 6 }));
      g.append(draw("path", { class: "mark", d: "M-4.24 -4.24 L4.24 4.24 M-4.24 4.24 L4.24 -4.24" }));
    } else {
      g.append(draw("path", { class: "mark", d: "M-5.5 -5.5 H5.5 V5.5 H-5.5 Z M-5.5 5.5 L5.5 -5.5" }));
    }
    const left = x > 45;
    g.append(draw("text", { x: left ? -9 : 9, y: 3, "text-anchor": left ? "end" : "start" }, short(c)));
    parts.push(g);
  }
  fill(at("chart"), parts);
  at("plan-words").textContent = "North up. " + placed.map((c) => c.who + ": " + c.look).join(". ") + "."
    + (known(own.heading_deg) ? "" : " No heading is known, so none is drawn; a broken line is the course.");
}

const words = (state) => (state || "").replace(/-/g, " ");

function alerts(list) {
  if (list.length === 0) {
    fill(at("alert-list"), [make("li", "none", "None.")]);
    return;
  }
  fill(at("alert-list"), list.map((a) => {
    const unheeded = ["active-unacknowledged", "active-silenced", "rectified-unacknowledged"].includes(a.state);
    const e = make("li", unheeded ? "alert unheeded" : "alert");
    const head = make("div", "head");
    head.append(make("span", "priority", a.priority.toUpperCase() + (a.exercise ? " · EXERCISE" : "")));
    head.append(make("span", "state", words(a.state) + ", " + span(a.began_s)));
    e.append(head, make("p", "", a.text));
    // The watch alarm is reset below, not acknowledged.
    if (unheeded && !(a.origin === "built-in" && a.order === "watch alarm")) {
      const b = make("button", "", "Acknowledge");
      b.type = "button";
      b.id = "acknowledge-" + a.id;
      b.disabled = busy.has(a.id);
      b.setAttribute("aria-label", "Acknowledge: " + a.text);
      b.addEventListener("click", () => acknowledge(a.id));
      e.append(b);
    }
    return e;
  }));
}

// The watch alarm; the button stays the same, so that a thumb does not miss it.
function watchAlarm(w) {
  const stage = w && w.alarm;
  at("watch-alarm").hidden = !stage;
  if (!stage) return;
  const asks = ["visual", "first", "second", "third"].includes(stage);
  at("watch-alarm").className = asks ? "asks" : "";
  at("watch-alarm-words").textContent = "Watch alarm: " + (w.alarm_words || stage);
  at("reset").hidden = stage === "off" || stage === "suspended";
  at("reset").disabled = busy.has("reset");
  at("reset").setAttribute("aria-label", "Reset the watch alarm");
}

at("reset").addEventListener("click", () => act("reset", { act: "reset-watch-alarm" }, "Not reset: "));

function targets(list) {
  if (list.length === 0) {
    fill(at("target-list"), [make("li", "none", "No targets are held.")]);
    return;
  }
  fill(at("target-list"), list.slice(0, 5).map((t) => {
    const e = make("li");
    e.append(make("span", "name", t.name || "MMSI " + String(t.mmsi).padStart(9, "0")));
    e.append(" " + (t.look || "position not known"));
    const close = known(t.cpa_nm) && known(t.tcpa_s)
      ? (t.tcpa_s >= 0 ? "closest " + range(t.cpa_nm) + " in " + span(t.tcpa_s) : "closest point is past")
      : "closest approach not known";
    const age = known(t.age_s) ? ", heard " + span(t.age_s) + " ago" : "";
    e.append(make("span", "close", close + age));
    return e;
  }));
}

// Ship's time, and how far it is from UTC.
function shipTime(p) {
  const h = (p.watch && p.watch.ship_time_h) || 0;
  const minutes = Math.round(Math.abs(h) * 60);
  const zone = "UTC" + (h < 0 ? "−" : "+") + Math.floor(minutes / 60) + (minutes % 60 ? ":" + String(minutes % 60).padStart(2, "0") : "");
  return p.at ? new Date(Date.parse(p.at) + h * 3600000).toISOString().slice(11, 16) + ", " + zone : zone;
}

function own(p) {
  const o = p.own;
  const rows = [
    ["Position", o.position || "not known", o.position_age_s],
    ["Course", known(o.cog_deg) ? three(o.cog_deg) + ", " + (known(o.sog_kn) ? o.sog_kn.toFixed(1) + " kn" : "speed not known") : "not known"],
    ["Heading", known(o.heading_deg) ? three(o.heading_deg) : "not known", o.heading_age_s],
    ["Depth", known(o.depth_m) ? o.depth_m.toFixed(1) + " m" : "not known", o.depth_age_s],
    ["Ship's time", shipTime(p)],
    ["On watch", (p.watch && p.watch.who) || "not told"],
    ["Declared", p.declared.length ? p.declared.join(", ") : "nothing"],
  ];
  fill(at("own"), rows.flatMap(([name, value, age]) => {
    const dd = make("dd", "", value);
    if (known(age)) dd.append(" ", make("span", "age", span(age) + " old"));
    return [make("dt", "", name), dd];
  }));
  const troubles = p.feeds.filter((f) => f.state !== "up").map((f) => "Feed " + f.name + ": " + f.state);
  troubles.push(...(p.signals || []).filter((s) => s.failing).map((s) => s.name + " fails"));
  if (p.logbook && p.logbook.failing) troubles.push("The logbook cannot be written");
  fill(at("troubles"), troubles.map((t) => make("li", "", t)));
}

// Only what differs is changed: a button under a thumb, or with the keyboard's focus, stays the same button.
function fill(where, parts) {
  parts.forEach((part, n) => {
    const there = where.childNodes[n];
    if (there) change(there, part);
    else where.append(part);
  });
  while (where.childNodes.length > parts.length) where.lastChild.remove();
}

function change(there, part) {
  const like = there.nodeName === part.nodeName && there.id === part.id
    && there.childNodes.length === part.childNodes.length;
  if (!like) {
    there.replaceWith(part);
  } else if (there.nodeType === Node.TEXT_NODE) {
    if (there.data !== part.data) there.data = part.data;
  } else {
    for (const { name } of [...there.attributes]) if (!part.hasAttribute(name)) there.removeAttribute(name);
    for (const { name, value } of part.attributes) {
      if (there.getAttribute(name) !== value) there.setAttribute(name, value);
    }
    const children = [...part.childNodes];
    [...there.childNodes].forEach((child, n) => change(child, children[n]));
  }
}

// A casualty is called out once, not each second.
let called = new Set();
function call(list) {
  const fresh = list.filter((c) => !called.has(c.id));
  called = new Set(list.map((c) => c.id));
  if (fresh.length) at("call").textContent = fresh.map((c) => c.who + ". " + (c.look || "Position not known")).join(". ");
}

function show(p) {
  picture = p;
  at("vessel").textContent = p.vessel || "Watch card";
  document.title = (p.casualties.length ? "OVERBOARD: " : "") + (p.vessel || "Watch card");
  at("clock").textContent = p.at ? p.at.slice(11, 19) + (p.utc_from === "system" ? " UTC?" : " UTC") : "UTC not known";
  shine();
  call(p.casualties);
  casualties(p.casualties);
  plan(p.own, p.casualties);
  alerts(p.alerts);
  watchAlarm(p.watch);
  targets(p.targets);
  own(p);
}

// How old the picture is, in large letters. Counted on this phone, so that it is told whatever has become of the daemon.
function age() {
  const s = heard === null ? Infinity : (performance.now() - heard) / 1000;
  const old = s > OLD_S;
  document.documentElement.classList.toggle("old", old && heard !== null);
  at("stale").hidden = !old || (heard === null && !at("door").hidden);
  if (!old) return;
  const gone = !connected && (heard === null || s > GONE_S);
  at("stale-title").textContent = gone ? "DAEMON GONE" : "OLD PICTURE";
  const since = heard === null ? "Nothing has been heard of it yet." : "Nothing new for " + span(s) + ".";
  at("stale-words").textContent = since + (gone ? " Nobody keeps the electronic lookout for this page." : "");
}

function headers() {
  return token ? { Authorization: "Bearer " + token } : {};
}

function ask(why) {
  at("door-words").textContent = why;
  if (!at("door").hidden) return;
  at("door").hidden = false;
  at("token").focus();
}

at("door").addEventListener("submit", (e) => {
  e.preventDefault();
  token = at("token").value.trim();
  keep("token", token);
  at("token").value = "";
  at("door").hidden = true;
  at("said").textContent = "";
  retry();
});

const acknowledge = (id) => act(id, { act: "acknowledge", alert: id }, "Not acknowledged: ");

// Sends an act; `key` is what is busy meanwhile.
async function act(key, body, failed) {
  const redraw = () => {
    if (!picture) return;
    alerts(picture.alerts);
    watchAlarm(picture.watch);
  };
  busy.add(key);
  redraw();
  try {
    const r = await fetch("act", {
      method: "POST",
      headers: { ...headers(), "Content-Type": "application/json" },
      body: JSON.stringify(body),
    });
    const answer = await r.json().catch(() => ({}));
    if (r.status === 401 || r.status === 403) ask(answer.error || "A token is needed.");
    at("said").textContent = r.ok ? answer.done : failed + (answer.error || r.status);
  } catch {
    at("said").textContent = failed + "the daemon does not answer.";
  } finally {
    busy.delete(key);
    redraw();
  }
}

// Server-sent events, read by hand because a token cannot be sent otherwise.
let wake = null;
function retry() {
  if (wake) wake();
}

async function listen() {
  for (;;) {
    const stop = new AbortController();
    // A stream that has gone dead without a word is begun anew.
    const watchdog = setInterval(() => {
      if (heard === null || performance.now() - heard > GONE_S * 1000) stop.abort();
    }, GONE_S * 1000);
    try {
      const r = await fetch("events", { headers: headers(), signal: stop.signal, cache: "no-store" });
      if (r.status === 401 || r.status === 403) {
        const answer = await r.json().catch(() => ({}));
        ask(answer.error || "A token is needed.");
      } else if (r.ok) {
        await stream(r.body.getReader());
      }
    } catch { /* told by the age of the picture */ }
    clearInterval(watchdog);
    connected = false;
    await new Promise((done) => {
      wake = done;
      setTimeout(done, 2000);
    });
  }
}

async function stream(reader) {
  const decoder = new TextDecoder();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
    connected = true;
    rest += decoder.decode(value, { stream: true });
    const events = rest.split("\n\n");
    rest = events.pop();
    for (const event of events) {
      const data = event.split("\n").filter((l) => l.startsWith("data: ")).map((l) => l.slice(6)).join("\n");
      if (!data) continue;
      const p = JSON.parse(data);
      heard = performance.now();
      show(p);
    }
    age();
  }
}

document.addEventListener("visibilitychange", () => { age(); retry(); });
shine();
setInterval(age, 1000);
listen();
