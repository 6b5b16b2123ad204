/**
 * The live readings beside the film. The server computes them; this sends the points and shows the answer.
 *
 * Sends {landmarks, natural_width, natural_height} with what the form says of the scale (scale.js); expects
 * {readings: [{name, shown}], absent: [{name, reason}], warnings: [sentence], scale: sentence}
 * or a problem with a `detail` sentence and, for fields at fault, `errors`: {field: [sentence]}.
 */
const PAUSE_MS = 250;

function row(parts, names = "") {
  const line = document.createElement("tr");
  if (names) line.className = names;
  parts.forEach((text, i) => {
    const cell = document.createElement(i === 0 ? "th" : "td");
    if (i === 0) cell.scope = "row";
    else cell.className = "num";
    cell.textContent = text;
    line.append(cell);
  });
  return line;
}

function item(...nodes) {
  const line = document.createElement("li");
  line.append(...nodes);
  return line;
}

function strong(text) {
  const element = document.createElement("strong");
  element.textContent = text;
  return element;
}

export class LiveReadings {
  #timer = 0;
  #asking = null;

  /** showFaults puts sentences beside their fields and returns those that belong to none. */
  constructor(root, url, token, showFaults) {
    this.showFaults = showFaults;
    this.url = url;
    this.token = token;
    this.root = root;
    const part = (name) => root.querySelector(`[data-readings-${name}]`);
    [this.rows, this.absent, this.warnings] = [part("rows"), part("absent"), part("warnings")];
    [this.scale, this.fault, this.more] = [part("scale"), part("fault"), part("more")];
  }

  /** Ask for the readings of these points, once they have been still for a moment. */
  ask(body) {
    window.clearTimeout(this.#timer);
    this.#timer = window.setTimeout(() => this.#fetch(body), PAUSE_MS);
  }

  async #fetch(body) {
    this.#asking?.abort();
    const asking = (this.#asking = new AbortController());
    this.root.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(this.url, {
        method: "POST",
        headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRF-Token": this.token },
        body: JSON.stringify(body),
        signal: asking.signal,
      });
      const said = await answer.json();
      if (answer.ok) this.#show(said);
      else this.#refused(said.detail ?? "The readings could not be computed.", said.errors);
    } catch (error) {
      if (error.name === "AbortError") return;
      this.#refused("No answer: the readings will come when there is signal. The points stay.");
    }
    this.root.removeAttribute("aria-busy");
  }

  #refused(sentence, faults = {}) {
    const others = this.showFaults(faults).filter((each) => each !== sentence);
    this.fault.textContent = [sentence, ...others].join(" ");
    this.fault.hidden = false;
    this.root.classList.add("readings-stale");
  }

  #show(said) {
    this.showFaults({});
    this.fault.hidden = true;
    this.root.classList.remove("readings-stale");
    this.scale.textContent = said.scale ?? "";
    this.rows.replaceChildren(...said.readings.map((each) => row([each.name, each.shown])));
    this.warnings.replaceChildren(...said.warnings.map((each) => item(each)));
    this.absent.replaceChildren(...said.absent.map((each) => item(strong(each.name), `: ${each.reason}`)));
    this.more.hidden = said.absent.length === 0;
  }
}
