// The answer beside the form of a pot, as she types; until it comes, the old one says that it is old.
import { fieldsOf, post, released } from "./wire.js";

const WAIT_MS = 180;
const AGAIN_MS = 3000;
const ASKER = Math.random().toString(36).slice(2); // this page, whose older questions nobody waits for
const STANDS = {
  "": ["", ""],
  busy: ["working it out …", "Working it out; below is the answer from before."],
  away: ["no answer: this is from before", "No answer; below is the one from before. What you typed stands, and it is asked again by itself."],
};
let form = null;
let shown = "";
let asking = null;
let timer = 0;

export function openAnswer(opened) {
  close();
  form = opened;
  shown = fieldsOf(form).toString();
  for (const kind of ["input", "change"]) form.addEventListener(kind, look);
}

export function close() {
  clearTimeout(timer);
  asking?.abort();
  form = asking = null;
}

// Whether the answer is to what stands in the form now; if not, ask soon.
function look() {
  clearTimeout(timer);
  if (fieldsOf(form).toString() === shown) {
    asking?.abort();
    stand("");
    return;
  }
  if (document.getElementById("beside").dataset.stand !== "away") stand("busy");
  timer = setTimeout(ask, WAIT_MS);
}

function stand(how, told = "") {
  const beside = document.getElementById("beside");
  beside.dataset.stand = how;
  const [brief, full] = STANDS[how];
  for (const line of beside.querySelectorAll(".glance .state")) line.textContent = brief;
  for (const line of beside.querySelectorAll(".answer > .state")) line.textContent = told ? `${told} ${full}` : full;
}

export async function ask() {
  clearTimeout(timer);
  asking?.abort();
  const mine = (asking = new AbortController());
  const fields = fieldsOf(form);
  const sent = fields.toString();
  fields.set("asker", ASKER);
  try {
    const reply = await post(form.dataset.answer, fields, mine.signal);
    await released();
    if (mine.signal.aborted || fieldsOf(form).toString() !== sent) return;
    shown = sent;
    put(reply.page);
  } catch (fault) {
    if (mine.signal.aborted) return;
    stand("away", fault.message);
    timer = setTimeout(ask, AGAIN_MS);
  }
}

function put(page) {
  const beside = document.getElementById("beside");
  const open = beside.querySelector("details[open]") !== null;
  const top = beside.scrollTop;
  beside.replaceChildren(...page.body.childNodes);
  if (open) beside.querySelector("details")?.setAttribute("open", "");
  beside.scrollTop = top;
  beside.dataset.stand = "";
  // A screen reader is told what is new in a sentence or two, not the whole answer.
  const spoken = document.getElementById("spoken");
  const words = document.getElementById("answer").dataset.spoken ?? "No answer: something is to be mended.";
  if (spoken.textContent !== words) spoken.textContent = words;
  const wrong = new Set([...beside.querySelectorAll(".mend a")].map((a) => a.hash.slice(1)));
  for (const field of form.querySelectorAll("input[id], select[id]")) {
    if (wrong.has(field.id)) field.setAttribute("aria-invalid", "true");
    else {
      field.removeAttribute("aria-invalid");
      document.getElementById(`fault-${field.id}`)?.remove();
    }
  }
}
