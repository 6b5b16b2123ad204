/**
 * What the form says of the scale: the marker, its plane and distances, or a known length.
 *
 * Sends "change" when any of it changes. Numbers go as numbers; what is no number goes as it
 * was typed, so that the answer's sentence about it can stand beside the field.
 */
import { typedNumber } from "referral/landmarks/list.js";

const FIELDS = [
  "marker_length_mm", "marker_plane", "marker_offset_mm", "sid_mm", "oid_mm", "detector_sid_mm", "detector_oid_mm",
  "known_length_mm", "scale_withdrawn",
];
const OF_THE_MARKER = new Set(["marker_length_mm", "marker_plane", "marker_offset_mm", "sid_mm", "oid_mm"]);
const OFF_THE_MIDDLE = ["tube_side", "plate_side"];

export class ScaleForm extends EventTarget {
  constructor(form) {
    super();
    this.distances = form.querySelector("[data-marker-distances]");
    this.fields = new Map();
    for (const name of FIELDS) {
      const inputs = [...form.querySelectorAll(`[name="${name}"]`)];
      if (inputs.length > 0) this.fields.set(name, inputs);
      for (const input of inputs) input.addEventListener("input", () => this.#changed());
    }
    this.#showDistances();
  }

  #typed(name) {
    const inputs = this.fields.get(name) ?? [];
    const chosen = ["radio", "checkbox"].includes(inputs[0]?.type);
    const input = chosen ? inputs.find((each) => each.checked) : inputs[0];
    return input?.value.trim() ?? "";
  }

  /** Distances are asked only of a marker that lay off the middle plane. */
  #showDistances() {
    if (this.distances) this.distances.hidden = !OFF_THE_MIDDLE.includes(this.#typed("marker_plane"));
  }

  #changed() {
    this.#showDistances();
    this.dispatchEvent(new Event("change"));
  }

  /** Return what is said, with the marker's ends if it is whole: half a marker says nothing yet. */
  said(ends) {
    const said = {};
    for (const name of this.fields.keys()) {
      const typed = this.#typed(name);
      if (typed !== "") said[name] = name === "marker_plane" ? typed : (typedNumber(typed) ?? typed);
    }
    if (ends && "marker_length_mm" in said) return { ...said, marker_ends: ends };
    return Object.fromEntries(Object.entries(said).filter(([name]) => !OF_THE_MARKER.has(name)));
  }

  /** Show each sentence beside its field and take the earlier ones away; return those of no field here. */
  showFaults(faults) {
    for (const [name, inputs] of this.fields) this.#showFault(name, inputs, faults[name] ?? []);
    return Object.entries(faults).flatMap(([name, said]) => (this.fields.has(name) ? [] : said));
  }

  /** A sentence that the page itself came with stays until there is a newer one. */
  #showFault(name, inputs, sentences) {
    const box = inputs[0].closest("fieldset.group:not(.group-boxed), .field");
    const before = box.querySelector(":scope > .field-fault");
    if (sentences.length === 0 && !(before && "live" in before.dataset)) return;
    before?.remove();
    for (const input of inputs) {
      input.removeAttribute("aria-invalid");
      input.removeAttribute("aria-describedby");
    }
    if (sentences.length > 0) this.#addFault(name, box, inputs, sentences.join(" "));
  }

  #addFault(name, box, inputs, sentence) {
    const fault = document.createElement("p");
    fault.className = "field-fault";
    fault.id = `${name}-fault`;
    fault.dataset.live = "";
    fault.textContent = sentence;
    box.append(fault);
    for (const input of inputs) {
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", fault.id);
    }
    const folded = box.closest("details");
    if (folded) folded.open = true;
  }
}
