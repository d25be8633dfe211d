// Sending a form, and telling what came of it: reached or not, never a guess.

const WAIT_MS = 30000;
const PRESS_MS = 5000;
const ASIDE = [409, 422]; // refused for a reason that the page sent back tells

// Something was not done; the message is for the reader.
export class NotDone extends Error {}

export const parse = (text) => new DOMParser().parseFromString(text, "text/html");

// All that stands in a form; the token is the page's, not hers.
export function fieldsOf(form) {
  const fields = new URLSearchParams(new FormData(form));
  fields.delete("form_token");
  return fields;
}

async function reach(address, options, signal) {
  const clock = new AbortController();
  const stop = () => clock.abort();
  const timer = setTimeout(stop, WAIT_MS);
  signal?.addEventListener("abort", stop);
  let reply;
  try {
    const got = await fetch(address, { ...options, signal: clock.signal, credentials: "same-origin" });
    reply = { url: new URL(got.url), status: got.status, redirected: got.redirected, page: parse(await got.text()) };
  } catch {
    throw new NotDone("The page cannot be reached.");
  } finally {
    clearTimeout(timer);
  }
  if (reply.url.pathname === "/pair") throw new NotDone("This device has to be let in again: open the page anew, and type the code.");
  return reply;
}

export const get = (address) => reach(address, {});

// The token anew, where the device's cookie is another by now.
async function renewed() {
  const { page } = await get(location.href);
  const fresh = page.querySelector("[name=form_token]")?.value;
  for (const field of document.querySelectorAll("[name=form_token]")) field.value = fresh ?? field.value;
  return fresh !== undefined;
}

// The page that answers a form; NotDone where nothing was done.
export async function post(address, fields, signal) {
  const send = () => {
    fields.set("form_token", document.querySelector("[name=form_token]").value);
    return reach(address, { method: "POST", body: fields }, signal);
  };
  let reply = await send();
  if (reply.status === 403 && (await renewed())) reply = await send();
  if (reply.status >= 400 && !ASIDE.includes(reply.status)) {
    const told = reply.page.querySelector("#main .told") ?? reply.page.body;
    throw new NotDone(told.textContent.trim().slice(0, 300));
  }
  return reply;
}

// What is pressed is not replaced under the finger: the tap would be lost.
let pressed = false;
const lifted = new EventTarget();
document.addEventListener("pointerdown", () => { pressed = true; }, true);
for (const end of ["pointerup", "pointercancel"]) {
  document.addEventListener(end, () => setTimeout(() => { pressed = false; lifted.dispatchEvent(new Event("up")); }), true);
}
export function released() {
  if (!pressed) return Promise.resolve();
  return new Promise((go) => {
    lifted.addEventListener("up", go, { once: true });
    setTimeout(go, PRESS_MS);
  });
}
