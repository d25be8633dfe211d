// What is typed and not confirmed yet, kept on this device: over Back, a step away, a restart.
// One entry a page that is open, so that two tabs never write over each other.

const ours = `bench ${document.body.dataset.book} `;
const another = () => `${ours}${Date.now().toString(36)}${Math.random().toString(36).slice(2)}`;
let own = another();
let last = null; // what stands there while this page holds something that is not confirmed

export function keepDraft(form, title, fields) {
  fields.delete("form_token");
  const address = new URL(location.href);
  address.searchParams.delete("kept");
  const draft = {
    kind: form.dataset.kind, subject: form.dataset.subject, action: form.getAttribute("action"),
    address: address.pathname + address.search, title, fields: fields.toString(), at: Date.now(),
  };
  last = JSON.stringify(draft);
  store();
}

function store() {
  try {
    localStorage.setItem(own, last);
  } catch { /* a browser that keeps nothing: the form still says "not kept yet" */ }
}

// Another tab that took it over may have dropped it; here it still stands unconfirmed.
addEventListener("storage", (event) => { if (event.key === own && event.newValue === null && last) store(); });

export function dropDraft(key = own) {
  if (key === own) last = null;
  try { localStorage.removeItem(key); } catch { /* as above */ }
}

// What stands in this page is left behind as a draft like any other.
export function leaveDraft() {
  own = another();
  last = null;
}

// Those of other pages and other times, the newest first.
export function drafts() {
  try {
    return Object.keys(localStorage)
      .filter((key) => key.startsWith(ours) && key !== own)
      .map((key) => ({ key, ...JSON.parse(localStorage.getItem(key)) }))
      .sort((a, b) => b.at - a.at);
  } catch {
    return [];
  }
}
