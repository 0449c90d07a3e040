// The page of a plan: what is typed is sent, and the plan that comes back takes its place. Nothing typed is ever lost:
// what is not in the plan yet stays in its field, whatever happens to the rest of the page.

const root = document.body.dataset.root;
const name = document.body.dataset.name;
const at = (id) => document.getElementById(id);
const main = at("plan");
let waiting = false;

function say(words) {
  at("said").textContent = words;
}

function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

function fragment(html) {
  const template = document.createElement("template");
  template.innerHTML = html;
  return template.content;
}

async function told(answer) {
  const json = (answer.headers.get("content-type") || "").includes("json");
  const body = json ? await answer.json() : {};
  if (answer.ok && json) return body;
  const failure = new Error(body.error || "The server does not answer as it should; start it again.");
  Object.assign(failure, { stale: body.stale, wrong: body.wrong || [] });
  throw failure;
}

async function read() {
  return told(await fetch(`${root}/plan-pieces?${new URLSearchParams({ name })}`));
}

async function send(given) {
  const body = JSON.stringify({ name, revision: main.dataset.revision, ...given });
  return told(await fetch(`${root}/plan-again`, { method: "POST", headers: { "Content-Type": "application/json" }, body }));
}

// ------------------------------------------------------------------ what is typed

function fields() {
  return [...main.querySelectorAll("[data-key]")];
}

function passage(one) {
  return one.closest("[data-passage]").dataset;
}

// How the same field is found in another state of the plan.
function place(one) {
  return JSON.stringify([passage(one).bars, one.dataset.row, one.dataset.key]);
}

function value(one) {
  return one.type === "checkbox" ? one.checked : one.value;
}

function printed(one) {
  if (one.type === "checkbox") return one.defaultChecked;
  if (one.tagName !== "SELECT") return one.defaultValue;
  const chosen = [...one.options].find((option) => option.defaultSelected);
  return (chosen || one.options[0]).value;
}

function typed() {
  return new Map(fields().filter((one) => value(one) !== printed(one)).map((one) => [place(one), one]));
}

// Put values back into the fields that they were typed in; what has no field any more is told.
function putBack(values) {
  const now = new Map(fields().map((one) => [place(one), one]));
  const lost = [];
  for (const [key, kept] of values) {
    const one = now.get(key);
    if (one && one.type === "checkbox") one.checked = kept;
    else if (one) one.value = kept;
    else lost.push(`${JSON.parse(key).slice(0, 2).filter(Boolean).join(", ")}: ${kept}`);
  }
  return lost.length ? `These lines are no more: bars ${lost.join("; bars ")}.` : "";
}

// ------------------------------------------------------------------ what is shown

function show(pieces, values, words) {
  const held = document.activeElement && main.contains(document.activeElement) ? document.activeElement.id : "";
  document.title = pieces.title;
  at("title").textContent = pieces.title;
  main.dataset.revision = pieces.revision;
  main.replaceChildren(fragment(pieces.html));
  at("changed").hidden = true;
  const lost = putBack(values);
  say([words, lost].filter(Boolean).join(" "));
  return held;
}

function keepFocus(id, otherwise) {
  if (document.activeElement && document.activeElement !== document.body) return;
  (at(id) || at(otherwise) || main).focus({ preventScroll: true });
}

function forget() {
  for (const one of main.querySelectorAll(".error")) one.hidden = true;
  for (const one of main.querySelectorAll("[aria-invalid]")) {
    one.removeAttribute("aria-invalid");
    one.removeAttribute("aria-describedby");
  }
}

function tellWrong(rows) {
  const words = new Map();
  let first = null;
  for (const one of rows) {
    const beside = at(`wrong-${one.passage}`);
    if (!beside) continue;
    words.set(beside, [...(words.get(beside) || []), one.words]);
    const section = beside.closest("[data-passage]");
    const field = [...section.querySelectorAll("[data-key]")].find((f) => f.dataset.key === one.key && f.dataset.row === one.row);
    if (field) {
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", beside.id);
    }
    first = first || field || beside;
  }
  for (const [beside, said] of words) {
    beside.textContent = said.map(capital).join(" ");
    beside.hidden = false;
  }
  if (first) {
    first.focus({ preventScroll: true });
    first.closest("[data-passage]").scrollIntoView({ block: "nearest" });
    first.scrollIntoView({ block: "nearest" });
  }
}

// ------------------------------------------------------------------ planning

async function plan(take) {
  if (waiting) return;
  waiting = true;
  main.setAttribute("aria-busy", "true");
  forget();
  const own = take ? new Map() : typed(); // what is typed elsewhere stays typed when a scoring is taken
  const sent = new Map([...own].map(([key, one]) => [key, value(one)]));
  const given = [...own.values()].map((one) => ({
    passage: Number(passage(one).passage), row: one.dataset.row, key: one.dataset.key, value: value(one),
  }));
  say("Being planned: a few seconds for a change, longer for many. You may go on writing.");
  try {
    const pieces = await send(take ? { fields: given, take: [Number(take.passage), take.which] } : { fields: given });
    const late = [...typed()].map(([key, one]) => [key, value(one)]).filter(([key, now]) => sent.get(key) !== now);
    const taken = ([key]) => !(take && JSON.parse(key)[0] === take.bars && JSON.parse(key)[2] === "who");
    const held = show(pieces, new Map(late.filter(taken)), pieces.said);
    keepFocus(take ? "" : held, take ? `passage-${take.passage}` : "again-top");
  } catch (failure) {
    const wrong = failure.wrong || [];
    say(wrong.length ? `Nothing was written. ${wrong.map((one) => capital(one.words)).join(" ")}` : failure.message);
    tellWrong(wrong);
    if (failure.stale) {
      at("changed").hidden = false;
      at("changed-head").focus();
    }
  } finally {
    waiting = false;
    main.removeAttribute("aria-busy");
  }
}

async function anew(keep) {
  const values = new Map(keep ? [...typed()].map(([key, one]) => [key, value(one)]) : []);
  try {
    show(await read(), values, keep ? "The plan as it is now, with what you typed: plan again to write it." : "The plan as it is now.");
    at("again-top").focus();
  } catch (failure) {
    say(failure.message);
  }
}

document.addEventListener("submit", (event) => {
  event.preventDefault();
  plan(null);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.dataset.take) plan({ ...passage(button), which: Number(button.dataset.take) });
  else if (button.id === "put-in") anew(true);
  else if (button.id === "as-it-is") anew(false);
});

window.addEventListener("beforeunload", (event) => {
  if (typed().size) event.preventDefault();
});
