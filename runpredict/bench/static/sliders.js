// Sliders below the fields of a pot, each moving with its field.

const PER_INCH = 25.4;

// Lengths as the fields hold them; NaN of one that names its unit.
export function read(text, units) {
  const plain = text.replace(/[½¼¾⅛⅜⅝⅞]/g, (one) => ` ${one.normalize("NFKC").replace("⁄", "/")}`).trim().replace(",", ".");
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
  slide.addEventListener("input", () => put(Number(slide.value)));
  slide.follow = follow;
  field.closest(".field").append(slide);
  return slide;
}

export function sliders(form) {
  const units = form.elements.units.value;
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
