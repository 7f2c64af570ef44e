// The plans, north up, because a bearing is true whether or not a heading is known. Symbols after IMO SN.1/Circ.243, from
// memory: own vessel a double circle with a heading line; course and speed a broken line; an AIS target an acute triangle,
// its point along the heading or the course, bold if dangerous and flashing until acknowledged, crossed out once lost; the
// AIS beacon of a casualty a circle with a cross; another casualty an event mark, a square with a diagonal line.

const METRES_PER_NM = 1852;
// Radius of the outer ring in the drawing's units.
const RIM = 82;

const to = (deg, r) => [r * Math.sin(deg * Math.PI / 180), -r * Math.cos(deg * Math.PI / 180)];
const line = (kind, [x1, y1], [x2, y2]) => draw("line", { class: kind, x1, y1, x2, y2 });

// The chart's parts for things as far off as `far`: rings with round figures, metres when near, north, own vessel, and what
// a mile measures.
function chart(own, far) {
  const metres = [50, 100, 200, 400, 800].map((m) => m / METRES_PER_NM);
  const outer = [...metres, 1, 2, 5, 10, 20, 50, 100].find((s) => s >= far) || far;
  const parts = [];
  for (const part of [0.5, 1]) {
    parts.push(draw("circle", { class: "ring", r: RIM * part }));
    const words = outer < 0.5 ? Math.round(outer * part * METRES_PER_NM) + " m" : outer * part + " nm";
    parts.push(draw("text", { class: "soft", x: 0, y: RIM * part + 2.5, "text-anchor": "middle" }, words));
  }
  parts.push(draw("text", { x: 0, y: -91, "text-anchor": "middle" }, "N"));
  parts.push(draw("circle", { class: "own", r: 3 }), draw("circle", { class: "own", r: 6 }));
  if (known(own.heading_deg)) parts.push(line("own heading", [0, 0], to(own.heading_deg, 96)));
  return { parts, mile: RIM / outer };
}

// The words behind the drawing, for those who do not see it, and what stands beneath it.
function captioned(own, words, beneath) {
  at("plan").hidden = false;
  at("plan-words").textContent = words;
  at("plan-caption").textContent = [beneath, "North up.", known(own.heading_deg) ? "" : "No heading is known; broken line: course."]
    .filter((part) => part).join(" ");
}

const under = (own) => known(own.cog_deg) && known(own.sog_kn) && own.sog_kn >= 0.5;

// A label beside a mark, on the side where there is room.
function label(x, text) {
  const left = x > 30;
  return draw("text", { x: left ? -9 : 9, y: 3, "text-anchor": left ? "end" : "start" }, text);
}

const cut = (text, most) => text.length > most ? text.slice(0, most - 1) + "…" : text;

// Where a place lies from her, in miles to the east and to the north: near enough for a drawing.
function off(own, place) {
  const east = ((place.longitude_deg - own.longitude_deg + 540) % 360) - 180;
  return [east * 60 * Math.cos(own.latitude_deg * Math.PI / 180), (place.latitude_deg - own.latitude_deg) * 60];
}

function planOfCasualties(own, placed) {
  // The line on which somebody lies whom nobody saw fall, and the other place where somebody may be.
  const lines = placed.map((c) => known(own.latitude_deg) ? (c.line || []).map((p) => off(own, p)) : []);
  const others = placed.map((c) => c.elsewhere).filter((e) => e && known(e.range_nm));
  const far = [...placed, ...others].map((c) => c.range_nm).concat(lines.flat().map(([east, north]) => Math.hypot(east, north)));
  const { parts, mile } = chart(own, Math.max(...far, 0.02));
  for (const places of lines.filter((l) => l.length > 1)) {
    const points = places.map(([east, north]) => `${(east * mile).toFixed(1)},${(-north * mile).toFixed(1)}`).join(" ");
    parts.push(draw("polyline", { class: "fell", points }));
  }
  for (const e of others) {
    const [x, y] = to(e.bearing_deg, e.range_nm * mile);
    const g = draw("g", { transform: `translate(${x.toFixed(2)} ${y.toFixed(2)})` });
    g.append(draw("circle", { class: "doubt", r: 8 }), label(x, "or here"));
    parts.push(g);
  }
  // Where she is in three minutes, within the plan.
  if (under(own)) parts.push(line("vector", [0, 0], to(own.cog_deg, Math.min(Math.max(own.sog_kn / 20 * mile, 10), 92))));
  for (const c of placed) {
    const [x, y] = to(c.bearing_deg, c.range_nm * mile);
    const g = draw("g", { transform: `translate(${x.toFixed(2)} ${y.toFixed(2)})`, class: "casualty-mark" });
    if (known(c.radius95_nm) && c.position === "estimated" && !(c.line || []).length) {
      g.append(draw("circle", { class: "doubt", r: Math.max(c.radius95_nm * mile, 8) }));
    }
    if (c.source === "ais") {
      g.append(draw("circle", { class: "mark", r: 6 }));
      g.append(draw("path", { class: "mark", d: "M-4.24 -4.24 L4.24 4.24 M-4.24 4.24 L4.24 -4.24" }));
    } else {
      g.append(draw("path", { class: "mark", d: "M-5.5 -5.5 H5.5 V5.5 H-5.5 Z M-5.5 5.5 L5.5 -5.5" }));
    }
    g.append(label(x, cut((c.crew || "").split(/[\s-]/)[0], 12) || "MOB"));
    parts.push(g);
  }
  fill(at("chart"), parts);
  captioned(own, "North up. " + placed.map((c) => c.who + ": " + c.look).join(". ") + ".", "");
}

// A close approach: own vessel and the ship, both courses to the closest point of approach, and where she passes.
function planOfApproach(own, t, spoken) {
  const hours = known(t.tcpa_s) && t.tcpa_s > 0 ? t.tcpa_s / 3600 : null;
  const now = to(t.bearing_deg, t.range_nm);
  const passes = hours !== null && known(t.cpa_nm) && known(t.cpa_bearing_deg);
  const mine = passes && under(own) ? to(own.cog_deg, own.sog_kn * hours) : [0, 0];
  const off = passes ? to(t.cpa_bearing_deg, t.cpa_nm) : null;
  const hers = off && [mine[0] + off[0], mine[1] + off[1]];
  const far = Math.max(t.range_nm, Math.hypot(...mine), hers ? Math.hypot(...hers) : 0, 0.02);
  const { parts, mile } = chart(own, far);
  const on = ([x, y]) => [x * mile, y * mile];
  const lost = t.lost === true;
  if (passes && !lost) {
    if (under(own)) parts.push(line("vector", [0, 0], on(mine)));
    parts.push(line("vector hers", on(now), on(hers)));
    parts.push(line("closest", on(mine), on(hers)));
    const [x, y] = on(mine);
    parts.push(draw("circle", { class: "then", cx: x, cy: y, r: 2.5 }));
  } else if (under(own)) {
    parts.push(line("vector", [0, 0], to(own.cog_deg, Math.min(Math.max(own.sog_kn / 20 * mile, 10), 92))));
  }
  const [x, y] = on(now);
  const g = draw("g", { transform: `translate(${x.toFixed(2)} ${y.toFixed(2)})`, class: "target-mark" });
  const turn = known(t.cog_deg) ? t.cog_deg : 0;
  const body = draw("g", { transform: `rotate(${turn.toFixed(0)})` });
  body.append(draw("path", { class: "danger", d: "M0 -9 L5 6 H-5 Z" }));
  if (lost) body.append(draw("path", { class: "danger", d: "M-8 -1 H8 M0 -11 V9" }));
  g.append(body, label(x, cut(t.name || "MMSI " + String(t.mmsi).padStart(9, "0"), 16)));
  parts.push(g);
  fill(at("chart"), parts);
  const place = lost ? "where she was last heard" : passes ? "thick line: where she passes" : "";
  captioned(own, "North up. " + spoken, [spoken, capital(place) + (place ? "." : "")].filter((p) => p).join(" "));
}

// The drawing takes the room that is left above the buttons, so that it is seen without scrolling.
const LEAST_PX = 140;
function fit() {
  const chart = at("chart");
  const top = chart.getBoundingClientRect().top + window.scrollY;
  const room = window.innerHeight - at("thumb").offsetHeight - top - 4;
  chart.style.height = Math.max(LEAST_PX, Math.min(room, window.innerHeight * 0.5)) + "px";
}
window.addEventListener("resize", fit);

// What is drawn: casualties before ships, what is real before an exercise, else nothing.
function plan(p, alert) {
  const placed = (list) => list.filter((c) => known(c.range_nm) && known(c.bearing_deg));
  const drill = p.exercise || {};
  const casualties = [placed(p.casualties), placed(drill.casualty ? [drill.casualty] : [])].find((l) => l.length);
  const exercised = alert && alert.exercise ? drill.target : null;
  const ship = exercised || (alert && targetOf(p, alert));
  at("wrong").className = alert && alert.unheeded ? "unheeded" : "";
  if (casualties) planOfCasualties(p.own, casualties);
  else if (ship && placed([ship]).length) planOfApproach(p.own, ship, alert.spoken);
  else at("plan").hidden = true;
}

// The ship an alert is about, if it is about one that is shown.
function targetOf(p, alert) {
  return p.targets.find((t) => alert.about === "target " + String(t.mmsi).padStart(9, "0"));
}
