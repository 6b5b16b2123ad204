/** A form that shows what it would do: the server works it out, this sends the form and shows the answer. */
const PAUSE_MS = 350;

class LivePreview {
  #timer = 0;
  #asking = null;

  constructor(form) {
    this.form = form;
    this.target = form.querySelector("[data-preview]");
    this.summary = form.querySelector("[data-preview-summary]");
    form.addEventListener("input", () => this.#soon());
    form.querySelector("[data-preview-now]").addEventListener("click", () => this.#ask());
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
      const answer = await fetch(this.form.dataset.livePreview, {
        method: "POST",
        body: new FormData(this.form),
        headers: { Accept: "text/html", "X-CSRF-Token": this.form.elements.csrf_token.value },
        signal: asking.signal,
      });
      this.target.innerHTML = answer.ok || answer.status === 422 ? await answer.text() : this.#sentence("It could not be worked out. What you typed is still here.");
    } catch (error) {
      if (error.name === "AbortError") return;
      this.target.innerHTML = this.#sentence("No answer: it will be worked out when there is signal.");
    }
    this.target.removeAttribute("aria-busy");
    const said = this.target.querySelector(".summary, .notice-title, .aside");
    this.summary.textContent = said ? said.textContent.trim() : "What it would do";
  }

  #sentence(text) {
    const line = document.createElement("p");
    line.className = "aside";
    line.textContent = text;
    return line.outerHTML;
  }
}

for (const form of document.querySelectorAll("[data-live-preview]")) new LivePreview(form);
