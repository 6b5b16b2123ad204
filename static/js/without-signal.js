/** A red flag that is sent without signal is kept on this telephone, and goes as soon as there is some. */

const EVERY_MS = 10_000;
const form = document.querySelector("form.form");
const told = document.querySelector("[data-no-signal]");
/** Whose it is stands in it: on a shared telephone nobody sends another's. */
const place = `red-flag ${told.dataset.noSignal} ${form.dataset.home}`;
let going = false;

function kept() {
  return JSON.parse(window.localStorage.getItem(place) ?? "null");
}

function fillAgain(fields) {
  for (const [name, value] of fields) {
    const field = form.elements[name];
    if (field && name !== "csrf_token") field.value = value;
  }
}

/** Whatever the server has to say of it, it says on a page of its own: the same form goes again, and counts once. */
function sendOpenly() {
  window.localStorage.removeItem(place);
  form.submit();
}

async function send() {
  if (going) return;
  going = true;
  try {
    const body = new URLSearchParams(new FormData(form));
    const answer = await fetch(form.action, { method: "POST", body, redirect: "manual" });
    if (answer.type !== "opaqueredirect") return sendOpenly();
    window.localStorage.removeItem(place);
    window.location.assign(form.dataset.home);
  } catch {
    window.localStorage.setItem(place, JSON.stringify([...new FormData(form)]));
    told.hidden = false;
    told.scrollIntoView({ block: "center" });
    delete form.dataset.sent;
  } finally {
    going = false;
  }
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  send();
});
window.addEventListener("online", () => kept() && send());
window.setInterval(() => kept() && send(), EVERY_MS);
if (kept()) {
  fillAgain(kept());
  send();
}
