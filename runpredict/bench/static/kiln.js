// The kiln: each tap is kept at once. One request at a time carries all that waits, so that each pot
// goes with the mark from the answer before; a box stays where it is and takes the answer in.
import { dropDraft, keepDraft } from "./drafts.js";
import { NotDone, post, released } from "./wire.js";

const AGAIN_MS = 3000;
const NAMED = 3;
const WORDS = { open: "not kept yet", sending: "keeping …", refused: "not kept", kept: "kept" };

let form = null;
let waiting = new Map(); // by pot, what is not confirmed: open, sending or refused
let queue = new Map(); // by pot, what the next request says: save, or the button pressed
let sending = null;
let held = false; // while a button of the whole kiln is answered
let away = "";
let timer = 0;

const boxes = () => [...form.querySelectorAll("[data-pot]")];
const boxOf = (key) => form.querySelector(`[data-pot="${key}"]`);
const TOUCHED = "input:not([type=hidden]), select, .fate input"; // what a length was rounded from too
const touched = (box) => [...box.querySelectorAll(TOUCHED)];
const entries = (box, kind = "input, select") =>
  [...box.querySelectorAll(kind)].filter((f) => f.type !== "radio" || f.checked).map((f) => [f.name, f.value]);
const fates = (box) => [...box.querySelectorAll(".fate")];
const runOf = (group) => group.querySelector("[name^=run-]");
const pick = (group, word) => group.querySelector(`input[type=radio][value="${word}"]`);
const lacksLength = (group) => pick(group, "ran").checked && !runOf(group).value.trim();
const picks = (box) => new Map(entries(box, TOUCHED));
const same = (one, other) => one.size === other.size && [...one].every(([name, value]) => other.get(name) === value);

export function openKiln(opened) {
  clearTimeout(timer);
  form = opened;
  waiting = new Map(boxes().filter((box) => box.dataset.typed).map((box) => [box.dataset.pot, box.dataset.typed]));
  queue = new Map();
  away = "";
  form.addEventListener("input", (event) => note(event.target.closest("[data-pot]")));
  form.addEventListener("change", changed);
  for (const [key, how] of waiting) mark(boxOf(key), how);
  tell();
}

// Send all that is not confirmed, as the button "Save" does.
export function sendWaiting() {
  if (!waiting.size) {
    document.getElementById("state").textContent = "Nothing changed";
    return;
  }
  for (const key of waiting.keys()) queue.set(key, queue.get(key) ?? "save");
  send();
}

// Whether all that is typed is kept; what is not, the bar names.
export async function allKept() {
  if (waiting.size) sendWaiting();
  await settled();
  return keptAlready();
}
export const keptAlready = () => !waiting.size;

// What a button of one pot says: put mine in its place, or take what is there.
export function sendButton(button) {
  queue.set(button.closest("[data-pot]").dataset.pot, button.value);
  return send();
}

// What is not confirmed and whole, as a tap sends it.
export function sendTold() {
  for (const [key, how] of waiting) {
    if (how === "open" && !fates(boxOf(key)).some(lacksLength)) queue.set(key, queue.get(key) ?? "save");
  }
  send();
}

// Do what replaces the form while nothing is on its way: what is told meanwhile goes after it, as
// the new form says it. NotDone where something could not be sent.
export async function alone(work) {
  await settled();
  held = true;
  try {
    await work();
  } finally {
    held = false;
    again();
  }
}

async function settled() {
  while (sending) await sending;
  if (queue.size) await send();
  if (queue.size) throw new NotDone(away);
}

function changed(event) {
  take(event.target);
  const group = event.target.closest(".fate");
  if (group && lacksLength(group)) runOf(group).focus();
  else {
    queue.set(event.target.closest("[data-pot]").dataset.pot, "save");
    send();
  }
}

// What a field says by now, not sent yet.
export function take(field) {
  const group = field.closest(".fate");
  if (group) {
    const run = runOf(group);
    if (field === run && run.value.trim() && !pick(group, "past").checked) pick(group, "ran").checked = true;
    if (pick(group, "").checked) run.value = "";
  }
  note(field.closest("[data-pot]"));
}

function note(box) {
  if (!box) return;
  if (queue.get(box.dataset.pot) !== "save") queue.delete(box.dataset.pot); // a button pressed before
  document.querySelector("#main > .kept")?.remove();
  waiting.set(box.dataset.pot, "open");
  mark(box, "open");
  tell();
}

function mark(box, how) {
  box.dataset.state = how;
  box.querySelector("legend .state").textContent = WORDS[how];
}

function send() {
  clearTimeout(timer);
  if (held) return null;
  sending ??= empty().finally(() => { sending = null; tell(); });
  return sending;
}

async function empty() {
  while (queue.size) {
    const [first, words] = queue.entries().next().value;
    const keys = words === "save" ? [...queue].filter(([, said]) => said === "save").map(([key]) => key) : [first];
    const fields = new URLSearchParams([["do", words], ["firing", form.elements.firing.value], ["units", form.elements.units.value]]);
    const sent = new Map();
    for (const key of keys) {
      const box = boxOf(key);
      queue.delete(key);
      sent.set(key, picks(box));
      for (const [name, value] of entries(box)) fields.set(name, value);
      waiting.set(key, "sending");
      mark(box, "sending");
    }
    tell();
    try {
      const reply = await post(form.dataset.keep, fields);
      await released();
      away = "";
      document.getElementById("tally").replaceWith(reply.page.getElementById("tally"));
      for (const key of keys) settle(boxOf(key), sent.get(key), reply.page.getElementById(`box-${key}`));
    } catch (fault) {
      if (!(fault instanceof NotDone)) throw fault;
      away = fault.message;
      for (const key of keys) {
        const stands = words === "save" || same(picks(boxOf(key)), sent.get(key));
        if (stands && !queue.has(key)) queue.set(key, words);
        waiting.set(key, "open");
        mark(boxOf(key), "open");
      }
      timer = setTimeout(send, AGAIN_MS);
      return;
    }
  }
}

// The answer about one pot, put in around what was typed since it was asked for.
function settle(box, sent, fresh) {
  const later = !same(picks(box), sent);
  const names = (one) => touched(one).map((field) => field.id).join();
  const now = picks(box);
  const told = (field) => { // a word and its length are one thing
    const group = field.closest(".fate");
    return group ? entries(group) : [[field.name, now.get(field.name)]];
  };
  const hers = new Set(); // told since: it stays
  for (const field of touched(box)) {
    if (told(field).some(([name, value]) => sent.get(name) !== value)) hers.add(field.id);
  }
  for (const field of touched(fresh)) {
    const mine = document.getElementById(field.id);
    if (!mine) continue;
    const [to, from] = hers.has(field.id) ? [field, mine] : [mine, field];
    if (field.type === "radio") to.checked = from.checked;
    else if (to.value !== from.value) to.value = from.value;
  }
  const key = box.dataset.pot;
  if (names(box) === names(fresh) && [undefined, box.dataset.laid].includes(fresh.dataset.laid)) {
    box.className = fresh.className;
    for (const css of [".held", ".say"]) box.querySelector(css).replaceWith(fresh.querySelector(css));
    const groups = fresh.querySelectorAll(".picks");
    box.querySelectorAll(".picks").forEach((group, k) => { group.className = groups[k].className; });
  } else { // its layers were changed, by this button or by somebody else
    const at = document.activeElement?.id;
    box.replaceWith(fresh);
    document.getElementById(at)?.focus({ preventScroll: true });
  }
  const standing = boxOf(key);
  const how = later ? "open" : fresh.dataset.typed ? "refused" : "kept";
  if (how === "kept") waiting.delete(key);
  else waiting.set(key, how);
  mark(standing, how);
}

// The bar that is always in sight, and the draft.
function tell() {
  const named = (how) => {
    const pieces = [...waiting].filter(([, state]) => !how || state === how).map(([key]) => boxOf(key).dataset.piece);
    return pieces.slice(0, NAMED).join(", ") + (pieces.length > NAMED ? ` and ${pieces.length - NAMED} more` : "");
  };
  const states = new Set(waiting.values());
  const kept = boxes().some((box) => box.dataset.state === "kept");
  const line = document.getElementById("state");
  line.textContent = away && waiting.size
    ? `Not kept yet: ${named()}. ${away} It waits on this device and is sent again by itself.`
    : states.has("refused") ? `Not kept, look at it: ${named("refused")}`
    : states.has("sending") ? "Keeping …"
    : states.has("open") ? `Not kept yet: ${named("open")}`
    : kept ? "Kept" : "";
  line.dataset.kind = away && waiting.size ? "away" : states.has("refused") ? "refused" : waiting.size ? "open" : "kept";
  if (!waiting.size) { dropDraft(); return; }
  const fields = [["firing", form.elements.firing.value], ["units", form.elements.units.value]];
  for (const key of waiting.keys()) fields.push(...entries(boxOf(key)));
  keepDraft(form, named(), new URLSearchParams(fields));
}

// A page that was left sends nothing any more: what waited is offered where she is now.
let left = false;
const again = () => { if (!left && form?.isConnected && queue.size) send(); };
addEventListener("pagehide", () => { left = true; clearTimeout(timer); });
addEventListener("pageshow", () => { left = false; again(); });
addEventListener("online", again);
