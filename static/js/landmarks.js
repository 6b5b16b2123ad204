/** The landmark editor: joins film, list, keys and live readings of each form that asks for it. */
import { EdgeHelp } from "referral/landmarks/edge-help.js";
import { Gestures } from "referral/landmarks/gestures.js";
import { BIG_STEP, Keys } from "referral/landmarks/keys.js";
import { LandmarkList } from "referral/landmarks/list.js";
import { Loupe } from "referral/landmarks/loupe.js";
import { Landmarks } from "referral/landmarks/model.js";
import { LiveReadings } from "referral/landmarks/readings.js";
import { ScaleForm } from "referral/landmarks/scale.js";
import { followTones } from "referral/landmarks/tones.js";
import { FilmView } from "referral/landmarks/view.js";

const SPEAK_AFTER_MS = 350;
const MOST_SKEW = 0.005;
const LEAST_HELP_PX = 0.1;

class Editor {
  #speaking = 0;

  constructor(form) {
    this.form = form;
    const { width, height, lines, stretch } = form.dataset;
    const slots = [...form.querySelectorAll("[data-slot]")].map(({ dataset }) => ({
      key: dataset.slot, name: dataset.name, label: dataset.label, sentence: dataset.sentence, short: dataset.short,
      many: "many" in dataset, marker: "marker" in dataset,
    }));
    this.model = new Landmarks(slots, Number(width), Number(height));
    this.model.start(this.#given());
    this.view = new FilmView(form.querySelector("[data-view]"), this.model, JSON.parse(lines), stretch.split(" ").map(Number));
    this.loupe = new Loupe(this.view, this.model);
    this.list = new LandmarkList(form, this.model, () => this.view.frame.scrollIntoView({ block: "nearest" }));
    this.scale = new ScaleForm(form);
    this.readings = new LiveReadings(this.part("readings"), form.dataset.readingsUrl, form.elements.csrf_token.value,
      (faults) => this.scale.showFaults(faults));
    this.edges = new EdgeHelp(form, this.view.picture, this.model);
    this.keys = new Keys(this.view, this.model, this);
    new Gestures(this.view, this.model, (point) => this.loupe.show(point));
    followTones(form, this.view.picture, () => this.loupe.show());
    this.#listen();
    this.#show();
    this.#pictureKnown();
  }

  part(name) {
    return this.form.querySelector(`[data-${name}]`);
  }

  /** The points the form holds: what was typed before a fault, else what is stored. */
  #given() {
    const points = [];
    const { landmarks, marker_ends: ends } = this.form.elements;
    const kept = JSON.parse(landmarks.value || "{}");
    for (const row of this.form.querySelectorAll("[data-slot]")) {
      const { slot, name, index } = row.dataset;
      const from = "marker" in row.dataset ? JSON.parse(ends.value || "[]") : kept[name];
      const at = index === undefined ? from : from?.[Number(index)];
      if (at) points.push([slot, at]);
    }
    return points;
  }

  #listen() {
    const { model, form } = this;
    model.addEventListener("change", (event) => this.#changed(event.detail));
    model.addEventListener("select", () => this.#selected());
    const acts = {
      "zoom-in": () => this.zoom(1.5),
      "zoom-out": () => this.zoom(1 / 1.5),
      "zoom-fit": () => this.view.showAll(),
      undo: () => model.undo(),
      "as-placed": () => this.#asPlaced(),
      remove: () => model.remove(model.selected),
      next: () => model.step(1),
      back: () => model.step(-1),
    };
    for (const button of form.querySelectorAll("[data-act]")) {
      button.addEventListener("click", () => {
        acts[button.dataset.act]();
        this.loupe.show();
      });
    }
    for (const button of form.querySelectorAll("[data-nudge]")) {
      button.addEventListener("click", () => this.keys.nudge(button.dataset.nudge, this.#isOn("big") ? BIG_STEP : undefined));
    }
    for (const button of form.querySelectorAll("[data-toggle]")) {
      button.addEventListener("click", () =>
        button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true")),
      );
    }
    this.scale.addEventListener("change", () => this.#ask());
    form.addEventListener("submit", () => this.#fill());
  }

  #isOn(name) {
    return this.form.querySelector(`[data-toggle="${name}"]`).getAttribute("aria-pressed") === "true";
  }

  movesFilm() {
    return this.#isOn("film");
  }

  /** Zoom about the selected landmark if it has a place, else about the middle. */
  zoom(factor) {
    const at = this.model.point(this.model.selected);
    this.view.zoomBy(factor, at ?? undefined);
    if (at && factor > 1) this.view.reveal(at);
    this.loupe.show();
  }

  /** Move a tapped landmark onto its edge; undoing that brings the tapped place back. */
  #helped(slot, at) {
    const edge = this.edges.moved(slot, at);
    const away = edge ? Math.hypot(edge[0] - at[0], edge[1] - at[1]) : 0;
    if (away < LEAST_HELP_PX) return false;
    this.#sayMoved(`${this.model.slot(slot).label} moved ${away.toFixed(1)} px onto the edge.`);
    this.model.place(slot, ...edge, "edge");
    return true;
  }

  #sayMoved(sentence) {
    const said = this.part("edge-says");
    if (!said) return;
    said.hidden = sentence === "";
    this.part("edge-moved").textContent = sentence;
  }

  /** Undo the help; the button goes away, so the film takes the focus. */
  #asPlaced() {
    this.model.undo();
    this.view.frame.focus({ preventScroll: true });
  }

  #changed({ slot, kind, at }) {
    if (kind !== "edge") this.#sayMoved("");
    this.#show();
    this.#ask();
    if (kind === "tap" && this.#helped(slot, at)) return;
    const name = this.model.slot(slot).label;
    if (kind === "undo") this.#speak("Undone.");
    else if (kind === "remove") this.#speak(`${name} removed.`);
    else if (kind === "edge") this.#speak(this.part("edge-moved").textContent);
    else this.#speak(`${name} at ${at[0]}, ${at[1]}.`);
  }

  #selected() {
    const at = this.model.point(this.model.selected);
    if (at) this.view.reveal(at);
    this.#show();
    const { label, sentence } = this.model.slot(this.model.selected);
    this.#speak(`${label}, ${at ? `placed at ${at[0]}, ${at[1]}` : "not placed"}. ${sentence}`);
  }

  #show() {
    const { model } = this;
    const slot = model.slot(model.selected);
    const placed = model.point(slot.key) !== null;
    this.#say("now-number", slot.short);
    this.#say("now-label", slot.label);
    this.#say("now-sentence", slot.sentence);
    this.#where(slot);
    this.#say("now-state", placed ? "placed" : "tap to place");
    this.#say("count", `${model.placedCount} of ${model.slots.length} placed`);
    this.form.querySelector('[data-act="undo"]').disabled = !model.canUndo;
    this.form.querySelector('[data-act="remove"]').disabled = !placed;
    this.list.show();
    this.view.draw();
    this.loupe.show();
    this.#fill();
  }

  /** The drawing round the landmark, with it in the middle; a marker has no place in it. */
  #where({ name, marker }) {
    const part = this.part("now-where");
    if (!part) return;
    part.parentElement.hidden = marker;
    const wanted = `${part.dataset.drawing}#${name}`;
    if (!marker && part.getAttribute("src") !== wanted) part.setAttribute("src", wanted);
  }

  /** Writing what stands there already would cost a layout at every move. */
  #say(name, words) {
    const part = this.part(name);
    if (part.textContent !== words) part.textContent = words;
  }

  #fill() {
    const { elements } = this.form;
    const { naturalWidth, naturalHeight } = this.view.picture;
    const ends = this.model.markerEnds();
    elements.landmarks.value = JSON.stringify(this.model.byName());
    elements.marker_ends.value = ends ? JSON.stringify(ends) : "";
    elements.natural_width.value = naturalWidth || "";
    elements.natural_height.value = naturalHeight || "";
  }

  #ask() {
    const { naturalWidth, naturalHeight } = this.view.picture;
    this.readings.ask({
      landmarks: this.model.byName(),
      natural_width: naturalWidth,
      natural_height: naturalHeight,
      ...this.scale.said(this.model.markerEnds()),
    });
  }

  #speak(sentence) {
    window.clearTimeout(this.#speaking);
    this.#speaking = window.setTimeout(() => (this.part("spoken").textContent = sentence), SPEAK_AFTER_MS);
  }

  async #pictureKnown() {
    const { picture } = this.view;
    const wrong = this.part("picture-fault");
    try {
      await picture.decode();
    } catch {
      wrong.hidden = false;
      wrong.textContent = "The film's picture did not load. Check the signal and load the page again.";
      return;
    }
    const skew = (picture.naturalWidth * this.view.height) / (picture.naturalHeight * this.view.width) - 1;
    if (Math.abs(skew) > MOST_SKEW) {
      wrong.hidden = false;
      wrong.textContent = "This picture has not the film's proportions, so points on it would be wrong. Upload the film again.";
      this.view.frame.inert = true;
      return;
    }
    this.#fill();
    if (this.model.placedCount > 0) this.#ask();
  }
}

for (const form of document.querySelectorAll("[data-landmark-editor]")) new Editor(form);
