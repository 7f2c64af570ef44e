// The line to the daemon: what comes, and what is sent.

let token = kept("token");
let busy = new Set();
let waits = null;      // the act that waits for the token

// What came of the last act, for a while.
const SAID_MS = 15000;
let saidAt = 0;
function report(text) {
  saidAt = performance.now();
  if (at("said").textContent !== text) at("said").textContent = text;
}

function headers(with_token) {
  return with_token ? { Authorization: "Bearer " + with_token } : {};
}

// The buttons under the thumb answer what is worst. One that came up this moment is not answered by a thumb that was on its
// way to another.
const TOO_FRESH_MS = 600;
let answered = null;
let since = 0;

function answers(p) {
  const a = p.alerts.filter((a) => a.unheeded).slice(0, 1).find((a) => a.answerable);
  if ((a && a.id) !== (answered && answered.id)) since = performance.now();
  answered = a || null;
  at("answer").hidden = !a;
  if (a) {
    at("acknowledge").disabled = busy.has("acknowledge");
    at("acknowledge").setAttribute("aria-label", "Acknowledge: " + a.text);
    at("silence").hidden = a.state !== "active-unacknowledged";
    at("silence").disabled = busy.has("silence");
    at("silence").setAttribute("aria-label", "Silence: " + a.text);
  }
  const stage = p.watch && p.watch.alarm;
  at("reset").hidden = !stage || stage === "off" || stage === "suspended";
  at("reset").className = ["visual", "first", "second", "third"].includes(stage) ? "asks" : "";
  at("reset").disabled = busy.has("reset");
}

// A press begins on what is shown then; what has changed before it ends is not answered.
let pressed = null;
for (const id of ["acknowledge", "silence"]) {
  at(id).addEventListener("pointerdown", () => { pressed = { id: answered && answered.id, at: performance.now() }; });
  at(id).addEventListener("click", () => {
    const press = pressed || { id: answered && answered.id, at: performance.now() };
    pressed = null;
    if (!answered) return;
    if (press.id !== answered.id || press.at - since < TOO_FRESH_MS) {
      report("Another alert has just come up: look, then press again.");
      return;
    }
    if (id === "acknowledge") acknowledge("acknowledge", answered.id);
    else act("silence", () => ({ act: "silence", alert: answered.id }), "Not silenced: ");
  });
}

const acknowledge = (key, alert) => act(key, () => ({ act: "acknowledge", alert }), "Not acknowledged: ");

at("reset").addEventListener("click", () => act("reset", () => ({ act: "reset-watch-alarm" }), "Not reset: "));

// Overboard is held for two seconds, by thumb or key. Whoever cannot hold, as with a screen reader, presses twice.
const HOLD_MS = 2000;
const TWICE_MS = 6000;
let hold = null;
let once = null;

function fallen(began) {
  hold = null;
  at("overboard").classList.remove("held");
  if (navigator.vibrate) navigator.vibrate(300);
  act("overboard", () => ({ act: "overboard", late_s: Math.min((performance.now() - began) / 1000, 3600) }), "NOT CALLED: ");
}

function press(e) {
  if (hold || (e.type === "keydown" && (e.repeat || (e.key !== "Enter" && e.key !== " ")))) return;
  if (e.type === "keydown") e.preventDefault();
  const began = performance.now();
  at("overboard").classList.add("held");
  hold = { began, timer: setTimeout(() => fallen(began), HOLD_MS) };
}

function release() {
  if (!hold) return;
  clearTimeout(hold.timer);
  hold = null;
  at("overboard").classList.remove("held");
  report("Overboard: hold it for two seconds.");
}

at("overboard").addEventListener("pointerdown", press);
at("overboard").addEventListener("keydown", press);
for (const end of ["pointerup", "pointerleave", "pointercancel", "keyup", "blur"]) at("overboard").addEventListener(end, release);
at("overboard").addEventListener("contextmenu", (e) => e.preventDefault());
at("overboard").addEventListener("click", (e) => {
  // A click without a pointer comes from a screen reader.
  if (e.detail !== 0 || e.pointerType) return;
  const now = performance.now();
  if (once !== null && now - once < TWICE_MS) {
    fallen(once);
    once = null;
  } else {
    once = now;
    report("Overboard: press once more to call it.");
  }
});

// The token is asked for once. A wrong one is said at once, and the act that waited is then sent.
function ask(why) {
  at("door-words").textContent = why;
  if (!at("door").hidden) return;
  at("door").hidden = false;
  at("token").focus();
}

function shut() {
  at("door").hidden = true;
  at("token").value = "";
  at("door-words").textContent = "";
}

at("door-close").addEventListener("click", () => {
  waits = null;
  shut();
});

at("door").addEventListener("submit", async (e) => {
  e.preventDefault();
  const given = at("token").value.trim();
  if (!given) return;
  at("door-words").textContent = "Asking the daemon…";
  try {
    const r = await fetch("status", { headers: headers(given), cache: "no-store" });
    if (!r.ok) {
      const answer = await r.json().catch(() => ({}));
      at("door-words").textContent = capital(answer.error || "refused: " + r.status) + ".";
      at("token").select();
      return;
    }
  } catch {
    at("door-words").textContent = "The daemon does not answer.";
    return;
  }
  token = given;
  keep("token", token);
  shut();
  retry();
  if (waits) {
    const { key, body, failed } = waits;
    waits = null;
    act(key, body, failed);
  }
});

// Sends an act; `key` is what is busy meanwhile.
async function act(key, body, failed) {
  busy.add(key);
  if (picture) show(picture);
  report("");
  try {
    const r = await fetch("act", {
      method: "POST",
      headers: { ...headers(token), "Content-Type": "application/json" },
      body: JSON.stringify(body()),
    });
    const answer = await r.json().catch(() => ({}));
    if (r.status === 401) {
      waits = { key, body, failed };
      ask(capital(answer.error || "a token is needed") + ".");
    } else {
      report(r.ok ? capital(answer.done) + "." : failed + (answer.error || r.status));
    }
  } catch {
    report(failed + "the daemon does not answer.");
  } finally {
    busy.delete(key);
    if (picture) show(picture);
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
    const began = performance.now();
    const watchdog = setInterval(() => {
      if (performance.now() - Math.max(began, heard === null ? 0 : heard) > GONE_S * 1000) stop.abort();
    }, 1000);
    try {
      const r = await fetch("events", { headers: headers(token), signal: stop.signal, cache: "no-store" });
      if (r.status === 401 || r.status === 403) {
        const answer = await r.json().catch(() => ({}));
        ask(capital(answer.error || "a token is needed") + ".");
      } else if (r.ok) {
        await stream(r.body.getReader());
      }
    } catch { /* shown by the age of the picture */ }
    clearInterval(watchdog);
    await new Promise((done) => {
      wake = done;
      setTimeout(done, 1000);
    });
  }
}

async function stream(reader) {
  const decoder = new TextDecoder();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) return;
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
  }
}

document.addEventListener("visibilitychange", () => { tick(); retry(); });
shine();
setInterval(tick, 500);
listen();
