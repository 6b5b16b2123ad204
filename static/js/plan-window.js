/** Beside the plan's form: which trims and wedges would meet every limit; one tap takes the nearest. */
const PAUSE_MS = 600;

class PlanWindow {
  #timer = 0;
  #asking = null;

  constructor(target) {
    this.target = target;
    this.form = target.closest("form");
    this.form.addEventListener("input", () => this.#soon());
    target.addEventListener("click", (event) => this.#take(event));
    this.#ask();
  }

  #soon() {
    window.clearTimeout(this.#timer);
    this.#timer = window.setTimeout(() => this.#ask(), PAUSE_MS);
  }

  async #ask() {
    this.#asking?.abort();
    const asking = (this.#asking = new AbortController());
    this.target.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(this.target.dataset.planWindow, {
        method: "POST",
        body: new FormData(this.form),
        headers: { Accept: "text/html", "X-CSRF-Token": this.form.elements.csrf_token.value },
        signal: asking.signal,
      });
      if (answer.ok || answer.status === 422) this.target.innerHTML = await answer.text();
    } catch (error) {
      if (error.name === "AbortError") return;
      this.target.textContent = "No answer: it will be worked out when there is signal.";
    }
    this.target.removeAttribute("aria-busy");
  }

  #take(event) {
    const button = event.target.closest("[data-take]");
    if (!button) return;
    let last = null;
    for (const [name, value] of Object.entries(JSON.parse(button.dataset.take))) {
      const field = this.form.elements[name];
      if (field) [field.value, last] = [value, field];
    }
    last?.dispatchEvent(new Event("input", { bubbles: true }));
  }
}

for (const target of document.querySelectorAll("[data-plan-window]")) new PlanWindow(target);
