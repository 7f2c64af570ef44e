"use strict";
// Helpers: words, and elements that keep their place. Everything from outside is put in as text, never as markup.

const SVG = "http://www.w3.org/2000/svg";
const at = (id) => document.getElementById(id);

// A page without storage asks again each time.
function kept(key) {
  try { return localStorage.getItem(key) || ""; } catch { return ""; }
}

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
const capital = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);

// A length of time as the daemon words it: seconds below two minutes, minutes below two hours, then hours and minutes.
function span(s) {
  const whole = Math.max(0, Math.floor(s));
  if (whole < 120) return whole + " s";
  const minutes = Math.floor(whole / 60);
  if (minutes < 120) return minutes + " min";
  const rest = minutes % 60;
  return Math.floor(minutes / 60) + " h" + (rest ? " " + rest + " min" : "");
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
