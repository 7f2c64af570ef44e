// What the daemon says is shown, and how old it is: what is wrong first, each fact once.

// After this many seconds without news the picture is old, after that many nobody keeps the lookout for this page.
const OLD_S = 3;
const GONE_S = 5.5;
// Below this the age of a value is not worth its place.
const WORTH_AN_AGE_S = 4;

let heard = null;      // when the last picture came, by this phone's own steady clock
let picture = null;
// Seconds since the picture came: every age on the page goes on with it.
const later = () => heard === null ? 0 : (performance.now() - heard) / 1000;
const aged = (s) => span(s + later());

// Night and day: by hand, else by the sun at the boat, else night, which blinds nobody.
let light = kept("light") || "auto";

function shine() {
  const sun = picture && picture.own && picture.own.sun_up === true;
  const now = light === "auto" ? (sun ? "day" : "night") : light;
  document.documentElement.dataset.light = now;
  at("light").textContent = now === "night" ? "Day" : "Night";
  at("light").setAttribute("aria-label", now === "night" ? "Day colours" : "Night colours, in red");
}

at("light").addEventListener("click", () => {
  light = document.documentElement.dataset.light === "night" ? "day" : "night";
  keep("light", light);
  shine();
});

const asOf = () => later() > OLD_S ? ", as of " + span(later()) + " ago" : "";

// Priority and state of an alert: "WARNING, not acknowledged, 5 min".
const standing = (a) => a.state_words + ", " + aged(a.began_s);
const priority = (a) => a.priority.toUpperCase() + (a.exercise ? " · EXERCISE" : "");

// A casualty, with the state of the alert about it.
function casualty(c, alert) {
  const e = make("article", "case casualty" + (alert && !alert.unheeded ? " heeded" : ""));
  e.append(make("p", "who", c.who));
  e.append(make("p", "look", (c.look ? (c.position === "estimated" ? "Estimated " : "") + c.look : "Position not known") + asOf()));
  const more = [];
  if (known(c.bearing_deg)) more.push("bearing " + three(c.bearing_deg) + " true");
  more.push((c.elapsed_is === "at-least" ? "at least " : "") + aged(c.elapsed_s) + " ago");
  if (known(c.set_deg) && known(c.drift_kn)) {
    more.push("drifting toward " + three(c.set_deg) + " at " + c.drift_kn.toFixed(1) + " kn");
  }
  e.append(make("p", "more", capital(more.join(", "))));
  if (alert) e.append(make("p", "state", capital(alert.state_words)));
  return e;
}

// Where the ship lies that an alert is about, and how she passes: what the alert's own text leaves out.
function lies(ship) {
  const parts = ship ? [ship.side, ship.meeting, known(ship.age_s) ? "heard " + aged(ship.age_s) + " ago" : null] : [];
  return capital(parts.filter((part) => part).join("; "));
}

// The worst alert, in large letters, with the side to look at and when the ship was heard.
function worst(p, a) {
  const e = make("article", "case");
  e.append(make("p", "priority", priority(a)));
  e.append(make("p", "text", a.text + asOf()));
  const words = lies(targetOf(p, a));
  if (words) e.append(make("p", "more", words));
  e.append(make("p", "state", capital(standing(a))));
  return e;
}

// The others, each with a button of its own if it needs one.
function alerts(p, list) {
  at("alerts").hidden = list.length === 0;
  fill(at("alert-list"), list.map((a) => {
    const e = make("li", a.unheeded ? "alert unheeded" : "alert");
    const head = make("div", "head");
    head.append(make("span", "priority", priority(a)), make("span", "state", standing(a)));
    e.append(head, make("p", "", a.text));
    const words = lies(targetOf(p, a));
    if (words) e.append(make("p", "state", words));
    if (a.answerable) {
      const b = make("button", "", "Acknowledge");
      b.type = "button";
      b.id = "acknowledge-" + a.id;
      b.disabled = busy.has(b.id);
      b.setAttribute("aria-label", "Acknowledge: " + a.text);
      b.addEventListener("click", () => acknowledge(b.id, a.id));
      e.append(b);
    }
    return e;
  }));
}

function targets(list) {
  if (list.length === 0) {
    fill(at("target-list"), [make("li", "none", "No other targets are held.")]);
    return;
  }
  fill(at("target-list"), list.slice(0, 5).map((t) => {
    const e = make("li");
    e.append(make("span", "name", t.name || "MMSI " + String(t.mmsi).padStart(9, "0")));
    e.append(" " + (t.look || "position not known"));
    const age = known(t.age_s) ? ", heard " + aged(t.age_s) + " ago" : "";
    e.append(make("span", "close", t.closest + age));
    return e;
  }));
}

// Own vessel, what is heard and the watch, in the daemon's words.
function own(p) {
  fill(at("own"), p.rows.flatMap((row) => {
    const there = known(row.last_s) ? row.words.lastIndexOf("{}") : -1;
    const words = there < 0 ? row.words : row.words.slice(0, there) + aged(row.last_s) + row.words.slice(there + 2);
    const dd = make("dd", "", words);
    if (known(row.age_s) && row.age_s + later() >= WORTH_AN_AGE_S) {
      dd.append(" ", make("span", "age", "(" + aged(row.age_s) + " ago)"));
    }
    return [make("dt", "", row.name), dd];
  }));
  const troubles = p.feeds.filter((f) => f.state !== "up").map((f) => "Feed " + f.name + ": " + f.state);
  troubles.push(...(p.signals || []).filter((s) => s.failing).map((s) => capital(s.name) + " fails"));
  if (p.logbook && p.logbook.failing) troubles.push("The logbook cannot be written");
  fill(at("troubles"), troubles.map((t) => make("li", "", t)));
}

// A casualty is called out once, not each second.
let called = new Set();
function call(list) {
  const fresh = list.filter((c) => !called.has(c.id));
  called = new Set(list.map((c) => c.id));
  if (fresh.length) at("call").textContent = fresh.map((c) => c.who + ". " + (c.look || "Position not known")).join(". ");
}

const UNHEEDED = ["active-unacknowledged", "active-silenced", "rectified-unacknowledged"];

function show(p) {
  picture = p;
  at("vessel").textContent = p.vessel || "Watch card";
  document.title = (p.casualties.length ? "OVERBOARD: " : "") + (p.vessel || "Watch card");
  at("clock").textContent = p.at ? p.at.slice(11, 19) + (p.utc_from === "system" ? " UTC?" : " UTC") : "UTC not known";
  shine();
  for (const a of p.alerts) {
    a.unheeded = UNHEEDED.includes(a.state);
    // The watch alarm is reset, not acknowledged.
    a.resets = a.origin === "built-in" && a.order === "watch alarm";
    a.answerable = a.unheeded && !a.resets;
  }
  const drill = p.exercise || {};
  at("exercise").hidden = !p.exercise;
  at("exercise").textContent = "EXERCISE" + (drill.title ? ": " + drill.title : "");
  const cases = drill.casualty ? [...p.casualties, drill.casualty] : p.casualties;
  call(cases);
  const about = (c) => p.alerts.find((a) => a.about === "casualty " + c.id);
  fill(at("casualties"), cases.map((c) => casualty(c, about(c))));
  const others = p.alerts.filter((a) => !cases.some((c) => a.about === "casualty " + c.id));
  const first = others.find((a) => a.unheeded);
  fill(at("worst"), first ? [worst(p, first)] : []);
  at("calm").hidden = cases.length > 0 || !!first;
  at("calm").textContent = others.length ? "Nothing waits for an answer." : "No open alerts.";
  plan(p, first || others.find((a) => targetOf(p, a)) || p.alerts.find((a) => a.exercise));
  alerts(p, others.filter((a) => a !== first));
  const named = p.alerts.map((a) => targetOf(p, a));
  targets(p.targets.filter((t) => !named.includes(t)));
  own(p);
  answers(p);
  age();
  fit();
}

// How old the picture is, in large letters. Counted on this phone, so that it is shown whatever has become of the daemon.
function age() {
  const s = heard === null ? Infinity : later();
  const old = s > OLD_S;
  document.documentElement.classList.toggle("old", old && heard !== null);
  at("stale").hidden = !old || (heard === null && !at("door").hidden);
  if (!old) return;
  const gone = s > GONE_S;
  at("stale-title").textContent = gone ? "DAEMON GONE" : "OLD PICTURE";
  const since = heard === null ? "Nothing has been heard of it yet." : "Nothing new for " + span(s) + ".";
  at("stale-words").textContent = since + (gone ? " Nobody keeps the electronic lookout for this page." : "");
}

// While no picture comes, what is shown grows older.
function tick() {
  if (picture && later() > OLD_S) show(picture);
  else age();
  if (performance.now() - saidAt > SAID_MS) report("");
  if (!audio) return;
  const now = performance.now();
  const gone = heard === null || later() > GONE_S;
  sound(gone ? [{ id: "gone", state: "active-unacknowledged", priority: "alarm", spoken: "Daemon gone. No electronic lookout." }]
    : picture.alerts, now);
}
