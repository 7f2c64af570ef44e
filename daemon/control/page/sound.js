// The sound of this page: off until somebody asks for it, since a browser lets no page sound before it is touched. A tone by
// priority, then the spoken line by the browser's own speech where it has one.

// Seconds between tones while nobody acknowledges, by priority.
const AGAIN_S = { "emergency alarm": 10, alarm: 20, warning: 60, caution: Infinity };
// Frequency and length of each tone, by priority: the more urgent, the more and the higher (own choice).
const TONES = {
  "emergency alarm": [[990, 0.2], [660, 0.2], [990, 0.2], [660, 0.2], [990, 0.2], [660, 0.2]],
  alarm: [[880, 0.25], [880, 0.25], [880, 0.25]],
  warning: [[660, 0.3], [660, 0.3]],
  caution: [[440, 0.4]],
};

let audio = null;
let sounded = new Map();   // priority and time of the last tone, by alert

function tone(priority) {
  let when = audio.currentTime + 0.05;
  for (const [hertz, length] of TONES[priority] || TONES.caution) {
    const source = audio.createOscillator();
    const volume = audio.createGain();
    source.frequency.value = hertz;
    volume.gain.setValueAtTime(0.4, when);
    volume.gain.setValueAtTime(0, when + length);
    source.connect(volume);
    volume.connect(audio.destination);
    source.start(when);
    source.stop(when + length);
    when += length + 0.1;
  }
}

function say(text) {
  if (!text || typeof speechSynthesis === "undefined") return;
  speechSynthesis.cancel();
  speechSynthesis.speak(new SpeechSynthesisUtterance(text));
}

// Sounds for the worst that is new, has grown worse, or has waited for long enough.
function sound(alerts, now) {
  const before = sounded;
  sounded = new Map();
  let first = null;
  for (const a of alerts.filter((a) => a.state === "active-unacknowledged")) {
    const last = before.get(a.id);
    const due = !last || last.priority !== a.priority || now - last.at >= (AGAIN_S[a.priority] || Infinity) * 1000;
    if (due && !first) first = a;
    // What is less urgent sounds in its turn.
    sounded.set(a.id, due && first === a ? { priority: a.priority, at: now } : last || { priority: null, at: now });
  }
  if (!first || !audio) return;
  tone(first.priority);
  say(first.spoken || first.text);
}

at("sound").addEventListener("click", () => {
  const Context = window.AudioContext || window.webkitAudioContext;
  if (audio) {
    audio.close();
    audio = null;
  } else if (Context) {
    audio = new Context();
    sounded = new Map();
    tone("caution");
  }
  at("sound").textContent = audio ? "Sound on" : Context ? "Sound off" : "No sound";
  at("sound").setAttribute("aria-pressed", String(!!audio));
});
