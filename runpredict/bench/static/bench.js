// What the pages do better with a script: the answer as she types, sliders, results kept at once, and
// nothing typed is lost. Every page works without it: it only sends the form that is there, and puts
// the server's answer in its place.
import { ask, close, openAnswer } from "./answer.js";
import { drafts, dropDraft, keepDraft, leaveDraft } from "./drafts.js";
import { allKept, alone, keptAlready, openKiln, sendButton, sendTold, sendWaiting, take } from "./kiln.js";
import { read, sliders } from "./sliders.js";
import { NotDone, fieldsOf, get, post, released } from "./wire.js";

const WHAT = { pot: "", kiln: "what came of ", glaze: "the glaze ", material: "the material ", firing: "the firing ", load: "pots to move from " };
const main = () => document.getElementById("main");
const typingForm = () => main().querySelector("form[data-kind]");
const actForm = () => main().querySelector("form[data-act]");
let opened = ""; // what stood in the form when it came from the logbook
let acting = null; // the button whose answer is under way
let next = null; // one that was pressed meanwhile

function start() {
  const form = typingForm();
  // Else a browser puts back what was typed, and it would pass for what came from the logbook; where
  // no script runs it should, and there is no draft.
  for (const one of main().querySelectorAll("form")) one.autocomplete = "off";
  close();
  if (form?.dataset.kind === "kiln") openKiln(form);
  else if (form) {
    opened = fieldsOf(form).toString();
    if (form.dataset.answer) {
      sliders(form);
      openAnswer(form);
    }
    for (const kind of ["input", "change"]) form.addEventListener(kind, () => typed(form));
    form.elements.firing?.addEventListener("change", (event) => takeFiring(form, event.target));
    if (form.dataset.typed) typed(form);
  }
  offer();
  waitForIt();
}

// A page that says when to look again is looked at again, unless somebody has gone on meanwhile.
function waitForIt() {
  const wait = main().querySelector("[data-again]");
  if (!wait) return;
  setTimeout(async () => {
    if (!wait.isConnected) return;
    const reply = await get(location.href).catch(() => null);
    if (reply && wait.isConnected) show(reply);
    else waitForIt();
  }, 1000 * Number(wait.dataset.again));
}

// Something is typed: it is not kept, says so, and waits on this device.
function typed(form) {
  const fields = fieldsOf(form);
  main().querySelector(".kept")?.remove();
  if (!form.dataset.typed && fields.toString() === opened) {
    dropDraft();
    state("");
    return;
  }
  state("Not kept yet", "open");
  keepDraft(form, fields.get(form.dataset.title)?.trim() || "no name yet", fields);
}

// A pot takes the heat of the firing that it is put into.
function takeFiring(form, field) {
  const name = field.value.trim().toLowerCase();
  const button = document.getElementById("take-firing");
  const known = [...(field.list?.options ?? [])].some((one) => one.value.toLowerCase() === name);
  if (button && known) form.requestSubmit(button);
}

function state(words, kind = "") {
  const line = document.getElementById("state");
  if (!line) return;
  line.textContent = words;
  line.dataset.kind = kind;
}

// A button: the answer comes into the page, and what was typed meanwhile goes along.
async function act(form, button) {
  await doing(button, async () => {
    if (button.value === "save") state("Keeping …", "open");
    await inTurn(form, async () => {
      const fields = fieldsOf(form);
      const sent = fields.toString();
      fields.set(button.name, button.value);
      const reply = await post(form.getAttribute("action"), fields);
      await released();
      const untyped = button.value === "save" && !form.dataset.typed && sent === opened;
      show(reply, laterThan(sent, form, button.value), untyped);
    });
    if (button.value === "add") showLayer();
  });
}

// At the kiln a tap sends by itself: what replaces the form comes between two of them.
const inTurn = (form, work) => (form?.dataset.kind === "kiln" ? alone(work) : work());

// Another part of the kiln, once all that is typed in this one is kept.
async function otherPart(button) {
  await doing(button, async () => {
    let reply;
    do {
      if (!(await allKept())) return;
      reply = await get(button.dataset.part);
      await released();
    } while (!keptAlready());
    show(reply);
    history.replaceState(null, "", reply.url);
    scrollTo(0, 0);
  });
}

async function doing(button, work) {
  if (acting) {
    if (button !== acting) next = button;
    return;
  }
  acting = button;
  main().querySelector(".beside")?.remove();
  button.setAttribute("aria-busy", "true");
  document.body.classList.add("acting");
  try {
    await work();
  } catch (fault) {
    next = null;
    if (!(fault instanceof NotDone)) throw fault;
    say(button, `Not done. ${fault.message} Nothing you typed is lost: it waits on this device.`);
  } finally {
    acting = null;
    button.removeAttribute("aria-busy");
    document.body.classList.remove("acting");
    pressNext();
  }
}

// What was pressed while an answer was under way is pressed in the page that came, if it is there.
function pressNext() {
  const { name, value, isConnected } = next ?? {};
  const same = (one) => one.name === name && one.value === value;
  const there = isConnected ? next : [...main().querySelectorAll("form[data-act] button")].find(same);
  next = null;
  there?.click();
}

// Told where she looks: in the bar that stays in sight, or else right below the button.
function say(button, words) {
  if (button.closest(".keep, .top") && document.getElementById("state")) {
    state(words, "away");
    return;
  }
  const told = document.createElement("p");
  told.className = "told beside";
  told.setAttribute("role", "alert");
  told.textContent = words;
  if (main().contains(button)) button.after(told);
  else main().prepend(told);
}

// The page that answered, in place of this one; one that refuses a form in which nothing was typed
// holds nothing that could be lost.
function show(reply, later = [], untyped = false) {
  const open = new Set([...document.querySelectorAll("details[open] > summary")].map((one) => one.textContent));
  const top = document.getElementById("beside")?.scrollTop;
  const { id: focused, selectionStart: caret } = document.activeElement;
  for (const css of ["header.top", "#main"]) document.querySelector(css).replaceWith(reply.page.querySelector(css));
  document.title = reply.page.title;
  if (untyped) delete typingForm()?.dataset.typed;
  if (reply.redirected) {
    history.replaceState(null, "", reply.url);
    dropDraft();
  }
  for (const summary of document.querySelectorAll("details > summary")) {
    if (open.has(summary.textContent)) summary.parentElement.open = true;
  }
  start();
  const kept = reply.redirected && reply.url.searchParams.get("kept");
  if (kept) state(kept === "0" ? "Nothing changed" : "Kept", "kept");
  putIn(later);
  if (top !== undefined) document.getElementById("beside")?.scrollTo(0, top);
  const field = focused ? document.getElementById(focused) : null;
  field?.focus({ preventScroll: true });
  if (field && caret != null) field.setSelectionRange(caret, caret);
  if (!field) document.querySelector("#main > :is(.told, .kept, .note)[role]")?.scrollIntoView({ block: "center" });
}

// What was typed since a form was sent, by the names that the answer has for it.
function laterThan(sent, form, did) {
  const before = new URLSearchParams(sent);
  const now = fieldsOf(form);
  const dropped = Number(/^drop-(\d+)$/.exec(did)?.[1] ?? NaN);
  const renamed = (name) => {
    const [, stem, layer] = /^(.*-)(\d+)$/.exec(name) ?? [];
    if (!layer || Number.isNaN(dropped) || Number(layer) < dropped) return name;
    return Number(layer) === dropped ? "" : `${stem}${Number(layer) - 1}`;
  };
  return [...new Set([...before.keys(), ...now.keys()])]
    .filter((name) => before.get(name) !== now.get(name))
    .map((name) => ({ name: renamed(name), value: now.get(name), units: now.get("units") }));
}

function putIn(later) {
  const form = actForm();
  if (!form) return;
  const kiln = form.dataset.kind === "kiln";
  const word = ({ name }) => Number(name.startsWith("fate-")); // after its length, which may choose one
  for (const { name, value, units } of [...later].sort((one, other) => word(one) - word(other))) {
    const field = name ? form.elements[name] : null;
    if (!field && value && name.startsWith("move-")) tickElsewhere(form, name, value);
    if (!field) continue;
    const other = form.elements.units && form.elements.units.value !== units;
    // A list of radio buttons takes no "" as its value, which is what "?" has.
    const one = field instanceof RadioNodeList ? [...field].find((pick) => pick.value === value) : field;
    if (!one) continue;
    if (["radio", "checkbox"].includes(one.type)) one.checked = value !== null;
    else one.value = other && "length" in one.dataset && !Number.isNaN(read(value, units)) ? `${value} ${units}` : value ?? "";
    if (kiln) take(one);
    else for (const kind of ["input", "change"]) one.dispatchEvent(new Event(kind, { bubbles: true }));
  }
  if (kiln) sendTold();
}

// A pot that was ticked while another part of the list came.
function tickElsewhere(form, name, value) {
  const tick = document.createElement("input");
  Object.assign(tick, { type: "hidden", name, value });
  form.append(tick);
  form.dispatchEvent(new Event("input"));
}

function showLayer() {
  const last = [...document.querySelectorAll("fieldset.layer")].pop();
  last?.scrollIntoView({ block: "center" });
  if (document.activeElement === document.body) last?.querySelector("select")?.focus({ preventScroll: true });
}

// What was typed here and never confirmed is offered again.
function offer() {
  document.getElementById("offers")?.remove();
  const form = typingForm();
  if (!form && actForm()) return; // a question comes first
  const found = drafts().filter((draft) => !form || draft.subject === form.dataset.subject);
  if (!found.length) return;
  const part = document.createElement("section");
  part.id = "offers";
  part.className = "note";
  part.setAttribute("aria-label", "Typed here and not kept");
  for (const draft of found) {
    const line = document.createElement("p");
    const name = document.createElement("bdi");
    name.textContent = draft.title;
    const at = new Date(draft.at);
    const today = at.toDateString() === new Date().toDateString();
    const when = today ? at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" }) : at.toLocaleDateString();
    line.append(`Typed on this device and not kept: ${WHAT[draft.kind]}`, name, ` (${when})`);
    const row = document.createElement("p");
    row.className = "row";
    row.append(
      button(draft.kind === "kiln" ? "Keep it now" : "Put it back", "main", (tapped) => putBack(draft, tapped)),
      button("Let it go", "quiet", () => { dropDraft(draft.key); offer(); }),
    );
    part.append(line, row);
  }
  const title = main().querySelector("h1");
  if (title) title.after(part);
  else main().prepend(part);
}

function button(words, kind, tapped) {
  const made = document.createElement("button");
  made.type = "button";
  made.className = kind;
  made.textContent = words;
  made.addEventListener("click", () => tapped(made));
  return made;
}

async function putBack(draft, tapped) {
  await doing(tapped, () => inTurn(typingForm(), async () => {
    const fields = new URLSearchParams(draft.fields);
    fields.set("do", `units-${document.querySelector("header.top").dataset.units}`);
    const reply = await post(draft.action, fields);
    await released();
    leaveDraft();
    show(reply);
    history.replaceState(null, "", draft.address);
    dropDraft(draft.key);
    offer();
    if (draft.kind === "kiln") sendWaiting();
  }));
}

document.documentElement.classList.add("script");
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.matches("#main form[data-act]")) return;
  event.preventDefault();
  const tapped = event.submitter ?? form.querySelector("button");
  if (tapped.value === "ask" && form.dataset.answer) ask();
  else if (tapped.closest("[data-pot]")) sendButton(tapped);
  else if (tapped.dataset.part) otherPart(tapped);
  else if (form.dataset.kind === "kiln" && tapped.value === "save") sendWaiting();
  else act(form, tapped);
});
document.addEventListener("click", (event) => { if (event.target.closest("[data-let-go]")) dropDraft(); });
addEventListener("storage", () => released().then(offer));
start();
