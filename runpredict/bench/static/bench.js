// What the pages do better with a script: the answer as she types, sliders, results kept at once.
// Every page works without it.
"use strict";
(() => {
  const root = document.documentElement;
  root.classList.add("script");
  const WAIT_MS = 180;
  const PER_INCH = 25.4;
  let asking = null;
  let timer = 0;
  let asked = "";

  const parse = (text) => new DOMParser().parseFromString(text, "text/html");
  const send = (form, fields, signal, address) =>
    fetch(address || form.action, {
      method: "POST", body: new URLSearchParams(fields), signal, credentials: "same-origin",
    });

  // The answer beside the form.
  async function ask() {
    const form = document.getElementById("pot");
    if (!form) return;
    const fields = new URLSearchParams(new FormData(form));
    if (fields.toString() === asked) return;
    asked = fields.toString();
    if (asking) asking.abort();
    asking = new AbortController();
    const beside = document.getElementById("beside");
    beside.classList.add("busy");
    try {
      const reply = await send(form, fields, asking.signal, form.dataset.answer);
      if (!reply.ok) throw new Error(String(reply.status));
      const open = beside.querySelector("details[open]") !== null;
      const top = beside.scrollTop;
      beside.replaceChildren(...parse(await reply.text()).body.childNodes);
      if (open) beside.querySelector("details")?.setAttribute("open", "");
      beside.scrollTop = top;
      beside.classList.remove("busy");
      faults(form, beside);
    } catch (error) {
      if (error.name !== "AbortError") {
        asked = "";
        beside.classList.remove("busy");
        const told = document.createElement("p");
        told.className = "told";
        told.textContent = "The page could not be reached just now. What you typed stands; try again.";
        if (!beside.querySelector(".told")) beside.append(told);
      }
    }
  }
  const askSoon = () => { clearTimeout(timer); timer = setTimeout(ask, WAIT_MS); };

  function faults(form, beside) {
    const wrong = new Set([...beside.querySelectorAll(".mend a")].map((a) => a.hash.slice(1)));
    for (const field of form.querySelectorAll("input[id], select[id]")) {
      if (wrong.has(field.id)) field.setAttribute("aria-invalid", "true");
      else {
        field.removeAttribute("aria-invalid");
        document.getElementById(`fault-${field.id}`)?.remove();
      }
    }
  }

  // Lengths as the fields hold them.
  function read(text, units) {
    const plain = text.trim().replace(",", ".");
    const match = plain.match(/^(?:(\d+(?:\.\d+)?)(?:[ -]+|$))?(?:(\d+)\/(\d+))?$/);
    if (!match || plain === "" || (match[3] && Number(match[3]) === 0)) return NaN;
    const size = Number(match[1] || 0) + (match[2] ? Number(match[2]) / Number(match[3]) : 0);
    return units === "in" ? size * PER_INCH : size;
  }
  function write(mm, units) {
    if (units !== "in") return String(Math.round(mm));
    const all = Math.round((mm / PER_INCH) * 16);
    const whole = Math.floor(all / 16);
    let part = all % 16, below = 16;
    if (!part) return String(whole);
    while (part % 2 === 0) { part /= 2; below /= 2; }
    return `${whole ? `${whole} ` : ""}${part}/${below}`;
  }

  // A slider below a field, moving with it.
  function slider(field, label, most, step, get, put) {
    const slide = document.createElement("input");
    slide.type = "range";
    slide.min = "0";
    slide.max = String(most);
    slide.step = String(step);
    slide.className = "slide";
    slide.setAttribute("aria-label", `${label}, slider`);
    const follow = () => { const at = get(field.value); if (!Number.isNaN(at)) slide.value = String(at); };
    follow();
    field.addEventListener("input", follow);
    slide.addEventListener("input", () => {
      put(Number(slide.value));
      askSoon();
    });
    slide.follow = follow;
    field.closest(".field").append(slide);
    return slide;
  }

  function sliders(form) {
    const units = form.dataset.units;
    const step = units === "in" ? PER_INCH / 16 : 1;
    const edges = [...form.querySelectorAll("input[name^='lower_edge_mm-']")];
    const tops = [...form.querySelectorAll("input[name^='upper_edge_mm-']")];
    const top = Math.max(20, ...tops.map((t) => read(t.value, units)).filter((x) => x > 0));
    edges.forEach((field, k) => {
      const label = document.querySelector(`label[for='${field.id}']`).textContent.trim();
      slider(field, `Layer ${k + 1}: ${label}`, Math.ceil(top / step) * step, step,
        (text) => read(text, units), (mm) => { field.value = write(mm, units); });
    });
    const coats = [...form.querySelectorAll("input[name^='coats-']")];
    coats.forEach((field, k) => slider(field, `Layer ${k + 1}: coats`, 6, 1, Number, (n) => {
      field.value = String(Math.max(1, n));
      const thick = form.elements[`thickness_mm-${k + 1}`];
      if (thick) thick.value = "";
    }));
    const hold = form.elements.hold_min;
    slider(hold, "Hold at the top", 60, 1, Number, (n) => { hold.value = String(n); });
    // The bare band: the lowest layer ends there, and no other below it.
    if (edges.length > 1) {
      const field = document.createElement("p");
      field.className = "field bare";
      const label = document.createElement("span");
      label.textContent = "Bare foot under all layers";
      const shown = document.createElement("b");
      field.append(label, shown);
      const band = () => Math.min(...edges.map((e) => read(e.value, units)).filter((x) => x >= 0));
      const slide = slider({ value: "", addEventListener() {}, closest: () => field },
        "Bare foot under all layers", Math.ceil(top / 2 / step) * step, step, () => band(), (mm) => {
          const lowest = band();
          for (const edge of edges) {
            const at = read(edge.value, units);
            if (at <= lowest + 1e-6 || at < mm) {
              edge.value = write(mm, units);
              edge.dispatchEvent(new Event("input", { bubbles: true }));
            }
          }
        });
      const tell = () => { shown.textContent = `${write(band() || 0, units)} ${units}`; slide.follow(); };
      edges.forEach((edge) => edge.addEventListener("input", tell));
      tell();
      form.querySelector("fieldset").append(field);
    }
  }

  // A button that changes the form: the page stays where it is.
  async function swap(form, button) {
    const fields = new FormData(form);
    fields.set(button.name, button.value);
    const reply = await send(form, fields);
    const page = parse(await reply.text());
    const beside = document.getElementById("beside");
    const top = beside ? beside.scrollTop : 0;
    document.getElementById("main").replaceWith(page.getElementById("main"));
    start();
    const again = document.getElementById("beside");
    if (again) again.scrollTop = top;
    if (button.value === "add") {
      const last = [...document.querySelectorAll("fieldset.layer")].pop();
      last?.scrollIntoView({ block: "center" });
      last?.querySelector("select")?.focus({ preventScroll: true });
    }
  }

  // One pot of the kiln, kept as soon as it is told.
  async function keep(form, box) {
    const fields = new FormData();
    for (const name of ["form_token", "firing"]) fields.set(name, form.elements[name].value);
    for (const field of box.querySelectorAll("input")) {
      if (field.type !== "radio" || field.checked) fields.set(field.name, field.value);
    }
    const active = document.activeElement?.id;
    try {
      const reply = await send(form, fields);
      const page = parse(await reply.text());
      const fresh = page.getElementById(box.id);
      if (!fresh) throw new Error(String(reply.status));
      box.replaceWith(fresh);
      const tally = page.getElementById("tally");
      if (tally) document.getElementById("tally").replaceChildren(...tally.childNodes);
      if (active) document.getElementById(active)?.focus({ preventScroll: true });
    } catch {
      if (!box.querySelector(".told")) {
        const told = document.createElement("p");
        told.className = "told";
        told.setAttribute("role", "alert");
        told.textContent = "Not kept: the page could not be reached. Press Save when it is back.";
        box.prepend(told);
      }
    }
  }

  function kiln(form) {
    form.addEventListener("change", (event) => {
      const box = event.target.closest("[data-pot]");
      if (!box) return;
      const group = event.target.closest(".fate");
      const run = group.querySelector(".run input");
      if (event.target === run && run.value.trim() && !group.querySelector("input[value=past]").checked) {
        group.querySelector("input[value=ran]").checked = true;
      }
      if (group.querySelector("input[value=ran]").checked && !run.value.trim()) {
        run.focus();
        return;
      }
      keep(form, box);
    });
  }

  function start() {
    const pot = document.getElementById("pot");
    if (pot) {
      asked = new URLSearchParams(new FormData(pot)).toString();
      pot.addEventListener("input", askSoon);
      pot.addEventListener("change", askSoon);
      pot.addEventListener("submit", (event) => {
        const button = event.submitter;
        if (button && button.value === "ask") { event.preventDefault(); ask(); }
      });
      sliders(pot);
    }
    const form = document.getElementById("kiln");
    if (form) kiln(form);
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-swap]");
    if (!button) return;
    event.preventDefault();
    clearTimeout(timer);
    swap(button.form, button);
  });
  start();
})();
