// The page of one score: fetches what is shown, sends what is chosen, and finds the way from finding to finding.
import { Player } from "./player.js";
import { Sampled } from "./sampled.js";

const root = document.body.dataset.root;
const name = document.body.dataset.name;
const at = (id) => document.getElementById(id);
const narrow = window.matchMedia("(max-width: 40rem)");
const POLL_MS = 250;

let pieces = null; // what the server said last
let fresh = null; // the findings that are new since an older export
let current = ""; // the finding that was gone to last
let playing = null; // the button that started the tones

function ended(on) {
  if (!on && playing) {
    playing.textContent = playing.dataset.words;
    if (playing.dataset.label) playing.setAttribute("aria-label", playing.dataset.label);
    playing = null;
  }
}

const player = new Player({ onState: ended });
const sampled = new Sampled({ onState: ended });

function silence() {
  player.stop();
  sampled.stop();
}

function say(words) {
  at("said").textContent = words;
}

// What the systems on the page were asked for; pictures and tones are asked for in the same words.
let asked = { name, show: "involved", narrow: narrow.matches ? "1" : "" };

function shown() {
  return asked;
}

async function ask(path, given) {
  const answer = await fetch(`${root}/${path}?${new URLSearchParams(given)}`);
  return told(answer);
}

async function send(path, given) {
  const answer = await fetch(`${root}/${path}`, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ ...shown(), ...given }),
  });
  return told(answer);
}

async function told(answer) {
  const json = (answer.headers.get("content-type") || "").includes("json");
  const body = json ? await answer.json() : await answer.text();
  if (answer.ok) return body;
  const failure = new Error(json ? body.error : "The server does not answer as it should; start it again.");
  failure.stale = json && body.stale;
  throw failure;
}

function fragment(html) {
  const template = document.createElement("template");
  template.innerHTML = html;
  return template.content;
}

// ------------------------------------------------------------------ what is shown

const seen = new IntersectionObserver((rows) => {
  for (const row of rows) {
    if (row.isIntersecting) {
      seen.unobserve(row.target);
      engrave(row.target);
    }
  }
}, { rootMargin: "600px 0px" });

async function engrave(place) {
  const { first, last } = place.dataset;
  try {
    const svg = await ask("engraved", { ...shown(), first, last, revision: pieces.revision });
    if (!svg) return; // these bars are gone; the new ones are on their way
    place.replaceChildren(fragment(svg));
    place.dataset.done = "yes";
    choose();
  } catch (failure) {
    place.textContent = failure.message;
  }
}

// How the same thing is found when the server has sent it again.
function selectorOf(one) {
  if (one.id) return `#${CSS.escape(one.id)}`;
  if (one.tagName === "SUMMARY") return `details[data-finding="${CSS.escape(one.parentNode.dataset.finding)}"] > summary`;
  if (one.name === "reason") return "[name=reason]";
  if (one.type === "submit") return "form button";
  const keys = ["take", "mend", "hear-mend", "after", "hear", "strike", "again", "first"].filter((key) => one.hasAttribute(`data-${key}`));
  return keys.map((key) => `[data-${key}="${CSS.escape(one.getAttribute(`data-${key}`))}"]`).join("");
}

function fill(said) {
  document.title = pieces.title;
  at("title").textContent = pieces.title;
  at("head").replaceChildren(fragment(pieces.head));
  at("lists").replaceChildren(fragment(pieces.lists));
  options(at("only-part"), pieces.parts, 1);
  options(at("show"), pieces.parts, 2);
  at("sampled-label").hidden = !pieces.soundfont;
  if (!pieces.soundfont) at("sampled").checked = false;
  at("soundfont").textContent = pieces.soundfont;
  at("sound").textContent = pieces.soundfont ? "" : pieces.sound;
  const keep = at("keep");
  keep.hidden = !pieces.keeping;
  keep.textContent = `Take the ${pieces.keeping === 1 ? "mend that keeps" : `${pieces.keeping} mends that keep`} the sound`;
  keep.disabled = !pieces.may_take;
  const old = new Map();
  const place = new Map();
  for (const one of at("music").querySelectorAll(".engraved[data-done]")) {
    old.set(one.dataset.key, one);
    place.set(`${one.dataset.first}-${one.dataset.last}`, one);
  }
  const open = new Map([...at("music").querySelectorAll("details[open]")].map((one) => [one.dataset.finding, one]));
  const held = document.activeElement;
  const again = held ? selectorOf(held) : "";
  const music = fragment(pieces.music);
  for (const one of music.querySelectorAll(".engraved")) {
    const before = old.get(one.dataset.key);
    if (before) {
      one.replaceChildren(...before.childNodes);
      one.dataset.done = "yes";
    }
  }
  for (const one of music.querySelectorAll(".engraved:not([data-done])")) {
    const standIn = place.get(`${one.dataset.first}-${one.dataset.last}`); // until the new picture is there
    if (standIn) one.replaceChildren(...standIn.childNodes);
  }
  at("music").replaceChildren(music);
  for (const one of at("music").querySelectorAll(".engraved:not([data-done])")) seen.observe(one);
  for (const one of at("music").querySelectorAll("details")) {
    const before = open.get(one.dataset.finding);
    if (!before) continue;
    one.dataset.done = "yes";
    one.open = true;
    one.querySelector(".inside").replaceChildren(...before.querySelector(".inside").childNodes);
    renew(one);
  }
  if (playing && !playing.isConnected) silence();
  at("choices").hidden = false;
  at("ends").hidden = false;
  choose();
  const there = held && held.isConnected ? held : again && document.querySelector(again);
  if (there && there !== document.body) there.focus({ preventScroll: true });
  if (said) say(said);
  whenIdle();
}

// What was not looked at yet is engraved when there is time, so that a printed page has no holes.
let idle = 0;
function whenIdle() {
  const turn = (idle += 1);
  const later = window.requestIdleCallback || ((work) => setTimeout(work, 500));
  const next = async () => {
    const one = at("music").querySelector(".engraved:not([data-done]):not(.tall)");
    if (!one || turn !== idle) return;
    seen.unobserve(one);
    await engrave(one);
    if (one.dataset.done) later(next);
  };
  later(next);
}

function options(select, parts, kept) {
  const value = select.value;
  while (select.options.length > kept) select.remove(kept);
  for (const [id, words] of parts) select.add(new Option(words, id));
  select.value = value;
  if (select.selectedIndex < 0) select.selectedIndex = 0;
}

function choose() {
  const part = at("only-part").value;
  const levels = new Set([...document.querySelectorAll(".only-level:checked")].map((one) => one.value));
  const onlyNew = at("only-new").checked && fresh !== null;
  const hidden = new Set();
  for (const one of document.querySelectorAll("#music .finding")) {
    const { id, level } = one.dataset;
    one.hidden = !levels.has(level) || (part !== "" && one.dataset.part !== part) || (onlyNew && !fresh.has(id));
    if (one.hidden) hidden.add(id);
  }
  for (const link of document.querySelectorAll("#music a[href^='#finding-']")) {
    link.classList.toggle("away", hidden.has(link.hash.slice("#finding-".length)));
  }
  for (const mark of document.querySelectorAll("#music .engraved [data-finding]")) {
    mark.classList.toggle("away", hidden.has(mark.dataset.finding));
  }
  const some = levels.size < document.querySelectorAll(".only-level").length || part !== "" || onlyNew;
  const involved = asked.show === "involved";
  for (const system of document.querySelectorAll("#music .system")) {
    const under = (system.dataset.under || "").split(" ").filter(Boolean);
    system.hidden = some && involved && under.every((id) => hidden.has(id));
  }
}

// ------------------------------------------------------------------ asking and waiting

async function load(said) {
  const now = { name, show: at("show").value || "involved", narrow: narrow.matches ? "1" : "" };
  const answer = await ask("pieces", now);
  [asked, pieces] = [now, answer]; // together: until then the old systems are on the page
  options(at("older"), pieces.others.map((one) => [one, one]), 0);
  at("beside").hidden = !pieces.others.length;
  fill(said);
  if (pieces.checking) settle();
}

let settling = false;
async function settle() {
  if (settling) return;
  settling = true;
  const before = at("said").textContent;
  try {
    while (pieces.checking) {
      await new Promise((done) => setTimeout(done, POLL_MS));
      const now = await ask("pieces", shown());
      const over = pieces.revision === now.revision && now.checking;
      pieces = { ...now };
      if (!over) {
        const before = visible().findIndex((one) => one.dataset.id === current);
        fill("");
        keepPlace(before);
      }
    }
    say(`${before} Everything has been checked again: ${summary()}`.trim());
  } catch (failure) {
    say(failure.message);
  } finally {
    settling = false;
  }
}

function summary() {
  return at("head").lastElementChild ? at("head").lastElementChild.textContent : "";
}

function visible() {
  return [...document.querySelectorAll("#music .finding")].filter((one) => !one.hidden && !one.closest("[hidden]"));
}

// Where something was pressed that is gone now, the next finding gets the focus, so that the keyboard goes on from there.
function keepPlace(before, gone = "") {
  if (document.activeElement && document.activeElement !== document.body) return;
  if (gone === "keep" && at("taken")) {
    at("taken").focus();
    return;
  }
  const rows = visible();
  const same = rows.find((one) => one.dataset.id === current);
  const next = same || rows[Math.min(Math.max(before, 0), rows.length - 1)] || at("music");
  next.focus();
}

async function change(path, given) {
  const before = visible().findIndex((one) => one.dataset.id === current);
  try {
    pieces = { ...pieces, ...(await send(path, { revision: pieces.revision, ...given })) };
    fill(pieces.said);
    keepPlace(before, given.keeping || path === "strike" ? "keep" : "");
    if (pieces.checking) settle();
  } catch (failure) {
    say(failure.message);
    if (failure.stale) await load(failure.message);
  }
}

// ------------------------------------------------------------------ from finding to finding

function go(step) {
  const rows = visible();
  if (!rows.length) {
    say("No finding is shown.");
    return;
  }
  const now = rows.findIndex((one) => one.dataset.id === current);
  const next = now < 0 ? (step > 0 ? 0 : rows.length - 1) : (now + step + rows.length) % rows.length;
  const one = rows[next];
  current = one.dataset.id;
  one.closest(".system").scrollIntoView({ block: "start" });
  one.focus({ preventScroll: true });
  one.scrollIntoView({ block: "nearest" });
}

// ------------------------------------------------------------------ hearing

async function hear(button, path, given, brackets) {
  if (playing === button) {
    silence();
    return;
  }
  try {
    const asked = { ...shown(), ...given };
    const heard = await ask(path, asked);
    silence();
    playing = button;
    button.dataset.words = button.textContent;
    button.dataset.label = button.getAttribute("aria-label") || "";
    button.textContent = "Stop";
    button.removeAttribute("aria-label");
    if (at("sampled").checked) {
      const address = `${root}/${path}-sampled?${new URLSearchParams({ ...asked, revision: pieces.revision })}`;
      await sampled.play(address, heard.tones, { brackets });
    } else {
      player.play(heard.tones, { lengthS: heard.length_s, brackets });
    }
  } catch (failure) {
    say(failure.message);
  }
}

function bracketsIn(place) {
  return [...place.querySelectorAll("path.bracket[data-notes]")].map((element) => ({
    element,
    notes: element.dataset.notes.split(" "),
  }));
}

// ------------------------------------------------------------------ what is pressed

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const given = button.dataset;
  if (given.take) change("take", { wanted: [[given.take, Number(given.mend)]] });
  else if (given.strike) change("strike", { number: Number(given.strike) });
  else if (given.again) change("again", { id: given.again });
  else if (given.save) save(button);
  else if (given.hear) {
    const [first, last] = given.hear.split("-");
    hear(button, "tones", { first, last }, bracketsIn(button.closest(".system").querySelector(".engraved")));
  } else if (given.hearMend) {
    const sides = button.closest("p").previousElementSibling.querySelectorAll("figure");
    const side = sides[Number(given.after)] || sides[0];
    const asked = { id: given.hearMend, mend: given.mend, after: given.after };
    hear(button, "mend-tones", asked, side ? bracketsIn(side) : []);
  } else if (button.id === "next") go(1);
  else if (button.id === "previous") go(-1);
  else if (button.id === "keep") change("take", { keeping: true });
  else if (button.id === "compare") compare();
});

async function save(button) {
  if (button.getAttribute("aria-disabled") === "true") return;
  button.setAttribute("aria-disabled", "true");
  say("Being written.");
  try {
    say((await send("save", { revision: pieces.revision, as: button.dataset.save })).said);
  } catch (failure) {
    say(failure.message);
  } finally {
    button.removeAttribute("aria-disabled");
  }
}

async function compare() {
  say("The older export is being read and checked.");
  try {
    const found = await send("compare", { other: at("older").value });
    at("compared").replaceChildren(fragment(found.html));
    fresh = new Set(found.new);
    at("only-new-label").hidden = false;
    choose();
    say(found.said);
  } catch (failure) {
    say(failure.message);
  }
}

document.addEventListener("submit", (event) => {
  event.preventDefault();
  const form = event.target;
  if (form.dataset.stand) change("stand", { id: form.dataset.stand, reason: form.elements.reason.value });
});

// What is behind a finding, fetched anew; a reason that is being typed, and the focus, stay where they are.
async function renew(one) {
  const inside = one.querySelector(".inside");
  try {
    const html = await ask("finding", { name, id: one.dataset.finding });
    const field = inside.querySelector("[name=reason]");
    const held = inside.contains(document.activeElement) ? selectorOf(document.activeElement) : "";
    const typed = field ? [field.value, field.selectionStart, field.selectionEnd] : ["", 0, 0];
    inside.replaceChildren(fragment(html));
    const now = inside.querySelector("[name=reason]");
    now.value = typed[0];
    now.setSelectionRange(typed[1], typed[2]);
    if (held) (inside.querySelector(held) || one.querySelector("summary")).focus({ preventScroll: true });
  } catch (failure) {
    inside.textContent = failure.message;
    delete one.dataset.done;
  }
}

document.addEventListener("toggle", (event) => {
  const one = event.target;
  if (!one.open || !one.dataset || !one.dataset.finding || one.dataset.done) return;
  one.dataset.done = "yes";
  one.querySelector(".inside").textContent = "Being drawn.";
  renew(one);
}, true);

document.addEventListener("focusin", (event) => {
  const one = event.target.closest && event.target.closest(".finding");
  if (one) current = one.dataset.id;
});

for (const one of document.querySelectorAll("#choices select, #choices input")) {
  one.addEventListener("change", () => (one.id === "show" ? load("") : choose()));
}
narrow.addEventListener("change", () => load(""));

load("The score has been read and checked.").catch((failure) => say(failure.message));
