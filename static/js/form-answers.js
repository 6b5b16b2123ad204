/**
 * What a form would do, worked out by the server while it is filled in. Of each answer one question
 * is on its way at most: what is typed meanwhile is asked, once and as it then stands, when that
 * one is back, and what it says is not shown any more.
 */
const UNUSABLE = 422;
const TOO_MANY = 429;
const AGAIN_MS = 150;
const PATIENCE_MS = 20_000;
const NO_ANSWER = "It could not be worked out. What you typed is still here.";
const NO_SIGNAL = "No answer: it will be worked out when there is signal.";

class Answer {
  #timer = 0;
  #isAsking = false;
  #isStale = false;

  /**
   * Ask at `address` what `form` would do: at the key, or once typing has paused for `pauseMs`.
   * `also` are fields sent beside the form's own; `show` puts an answer into `target`, and
   * `answered` is called whenever something stands there.
   */
  constructor({ form, address, target, pauseMs = 0, also = {}, show = showPage, answered = () => {} }) {
    Object.assign(this, { form, address, target, pauseMs, also, show, answered });
    form.addEventListener("input", () => this.#soon());
    window.addEventListener("online", () => this.#soon());
    this.ask();
  }

  #soon() {
    window.clearTimeout(this.#timer);
    if (this.pauseMs) this.#timer = window.setTimeout(() => this.ask(), this.pauseMs);
    else this.ask();
  }

  async ask() {
    window.clearTimeout(this.#timer);
    this.#isStale = true;
    if (this.#isAsking) return;
    this.#isAsking = true;
    this.target.setAttribute("aria-busy", "true");
    while (this.#isStale) {
      this.#isStale = false;
      await this.#askOnce();
    }
    this.#isAsking = false;
    this.target.removeAttribute("aria-busy");
    this.answered();
  }

  async #askOnce() {
    try {
      const answer = await fetch(this.address, {
        method: "POST",
        body: this.#fields(),
        headers: { "X-CSRF-Token": this.form.elements.csrf_token.value },
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      if (answer.status === TOO_MANY) {
        await new Promise((go) => window.setTimeout(go, AGAIN_MS));
        this.#isStale = true;
      }
      if (this.#isStale) return;
      if (answer.ok || answer.status === UNUSABLE) await this.show(answer, this.target);
      else say(this.target, [NO_ANSWER]);
    } catch {
      say(this.target, [NO_SIGNAL]);
    }
  }

  #fields() {
    const fields = new FormData(this.form);
    for (const [name, value] of Object.entries(this.also)) fields.set(name, value);
    return fields;
  }
}

/** Put an answer that is a piece of a page where it belongs. */
async function showPage(answer, target) {
  target.innerHTML = await answer.text();
}

/** Put plain sentences in an answer's place. */
function say(target, sentences) {
  target.replaceChildren(
    ...sentences.map((each) => {
      const line = document.createElement("p");
      line.className = "aside";
      line.textContent = each;
      return line;
    }),
  );
}

/** The whole form's preview, its first sentence in the bar below, where it is spoken. */
function preview(form) {
  const target = form.querySelector("[data-preview]");
  const summary = form.querySelector("[data-preview-summary]");
  const answered = () => {
    const said = target.querySelector(".summary, .notice-title, .aside");
    tell(summary, said ? said.textContent.trim() : "What it would do");
  };
  const answer = new Answer({ form, address: form.dataset.livePreview, target, pauseMs: 350, answered });
  form.querySelector("[data-preview-now]").addEventListener("click", () => answer.ask());
}

/** Write a sentence that is spoken when it changes, and only then. */
function tell(line, sentence) {
  if (line.textContent !== sentence) line.textContent = sentence;
}

/** Which trims and wedges would meet every limit; one tap takes the nearest into the form. */
function planWindow(target) {
  const form = target.closest("form");
  const panel = target.closest("section");
  const said = panel.querySelector("[data-window-said]");
  let taken = "";
  const show = async (answer, place) => {
    const found = await answer.json();
    const told = answer.ok ? found.limbs.map(sentenceOf) : faultsOf(found);
    const held = place.contains(document.activeElement);
    const open = [...place.querySelectorAll("details")].map((each) => each.open);
    if (answer.ok && told.length) place.innerHTML = found.limbs.map((each) => each.drawn).join("");
    else say(place, told.length ? told : ["No limb is referred yet."]);
    [...place.querySelectorAll("details")].forEach((each, at) => (each.open = open[at] ?? false));
    if (held) panel.querySelector("h2").focus();
    tell(said, `${taken}${told.join(" ")}`);
    taken = "";
  };
  const also = { case: target.dataset.case, draw: "yes" };
  new Answer({ form, address: target.dataset.planWindow, target, also, show });
  target.addEventListener("click", (event) => {
    const button = event.target.closest("[data-take]");
    if (!button) return;
    let last = null;
    for (const [name, value] of Object.entries(JSON.parse(button.dataset.take))) {
      const field = form.elements[name];
      if (field) [field.value, last] = [value, field];
    }
    taken = "The nearest plan is taken into the form. ";
    last?.dispatchEvent(new Event("input", { bubbles: true }));
  });
}

/** One limb's window in a sentence to be spoken. */
function sentenceOf({ limb, says, nearest, conflict }) {
  const near = nearest ? ` Nearest: ${nearest.says.join("; ")}.` : "";
  const against = conflict.length ? ` Cannot be met together: ${conflict.join("; ")}.` : "";
  return `${limb}: ${says}${near}${against}`;
}

/** What is wrong with what was typed, a sentence each. */
function faultsOf({ detail, errors = {} }) {
  const faults = Object.entries(errors).flatMap(([name, said]) => said.map((each) => `${name}: ${each}`));
  return [detail, ...faults];
}

for (const form of document.querySelectorAll("[data-live-preview]")) preview(form);
for (const target of document.querySelectorAll("[data-plan-window]")) planWindow(target);
