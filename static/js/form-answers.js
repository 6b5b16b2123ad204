/**
 * What a form would do, worked out by the server while it is filled in: the form is sent once
 * typing has paused, and the answer shown. A newer question takes the place of the one before.
 */
const UNUSABLE = 422;

class Answer {
  #timer = 0;
  #asking = null;

  /** Ask at `address` what `form` would do; the answer stands in `target`, and `answered` is called. */
  constructor({ form, address, target, pauseMs, answered = () => {} }) {
    Object.assign(this, { form, address, target, pauseMs, answered });
    form.addEventListener("input", () => this.#soon());
    this.ask();
  }

  #soon() {
    window.clearTimeout(this.#timer);
    this.#timer = window.setTimeout(() => this.ask(), this.pauseMs);
  }

  async ask() {
    this.#asking?.abort();
    const asking = (this.#asking = new AbortController());
    this.target.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(this.address, {
        method: "POST",
        body: new FormData(this.form),
        headers: { Accept: "text/html", "X-CSRF-Token": this.form.elements.csrf_token.value },
        signal: asking.signal,
      });
      if (answer.ok || answer.status === UNUSABLE) this.target.innerHTML = await answer.text();
      else this.#say("It could not be worked out. What you typed is still here.");
    } catch (error) {
      if (error.name === "AbortError") return;
      this.#say("No answer: it will be worked out when there is signal.");
    }
    this.target.removeAttribute("aria-busy");
    this.answered();
  }

  #say(sentence) {
    const line = document.createElement("p");
    line.className = "aside";
    line.textContent = sentence;
    this.target.replaceChildren(line);
  }
}

/** The whole form's preview, its first sentence in the bar below. */
function preview(form) {
  const target = form.querySelector("[data-preview]");
  const summary = form.querySelector("[data-preview-summary]");
  const answered = () => {
    const said = target.querySelector(".summary, .notice-title, .aside");
    summary.textContent = said ? said.textContent.trim() : "What it would do";
  };
  const answer = new Answer({ form, address: form.dataset.livePreview, target, pauseMs: 350, answered });
  form.querySelector("[data-preview-now]").addEventListener("click", () => answer.ask());
}

/** Which trims and wedges would meet every limit; one tap takes the nearest into the form. */
function planWindow(target) {
  const form = target.closest("form");
  new Answer({ form, address: target.dataset.planWindow, target, pauseMs: 600 });
  target.addEventListener("click", (event) => {
    const button = event.target.closest("[data-take]");
    if (!button) return;
    let last = null;
    for (const [name, value] of Object.entries(JSON.parse(button.dataset.take))) {
      const field = form.elements[name];
      if (field) [field.value, last] = [value, field];
    }
    last?.dispatchEvent(new Event("input", { bubbles: true }));
  });
}

for (const form of document.querySelectorAll("[data-live-preview]")) preview(form);
for (const target of document.querySelectorAll("[data-plan-window]")) planWindow(target);
