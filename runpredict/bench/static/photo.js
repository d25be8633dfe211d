// Taps on a photo, one after the other, without a new page for each; the server does the measuring.
import { NotDone, fieldsOf, post } from "./wire.js";

const form = document.getElementById("measure");
const PARTS = ["#taps", "#which", "#next", "#result", "#points"];
let before = Promise.resolve();

async function tapped(right, down) {
  const fields = fieldsOf(form);
  fields.set("tap.x", right);
  fields.set("tap.y", down);
  const said = document.getElementById("result");
  try {
    const { page } = await post(form.getAttribute("action"), fields);
    for (const css of PARTS) document.querySelector(css).replaceWith(page.querySelector(css));
  } catch (fault) {
    if (!(fault instanceof NotDone)) throw fault;
    said.textContent = `Not measured. ${fault.message} Tap again.`;
  }
}

form?.querySelector("[name=tap]").addEventListener("click", (event) => {
  if (!event.detail) return; // by a key: the form goes as without a script
  event.preventDefault();
  const box = event.target.getBoundingClientRect();
  const at = [event.clientX - box.left, event.clientY - box.top];
  before = before.then(() => tapped(...at));
});
