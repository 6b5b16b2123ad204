/** Help at placing: a tapped landmark is moved onto the edge it lies on; it can be switched off. */
import { edgeNear } from "referral/landmarks/edge.js";

const KEPT = "referral-edge-help";
const REACH_SHARE = 0.01;

function unit([x, y]) {
  const long = Math.hypot(x, y);
  return long > 0 ? [x / long, y / long] : null;
}

/** Where the browser keeps nothing for a site, the help is on again on the next page. */
function remembered() {
  try {
    return window.localStorage.getItem(KEPT);
  } catch {
    return null;
  }
}

function remember(choice) {
  try {
    window.localStorage.setItem(KEPT, choice);
  } catch {
    return;
  }
}

export class EdgeHelp {
  #grey = null;

  constructor(root, picture, model) {
    this.picture = picture;
    this.model = model;
    this.toggle = root.querySelector("[data-edge-help]");
    this.edges = new Map();
    for (const row of root.querySelectorAll("[data-slot][data-edge]")) {
      const [runs, ...along] = row.dataset.edge.split(" ").filter(Boolean);
      if (runs) this.edges.set(row.dataset.slot, { runs, along });
    }
    if (!this.toggle) return;
    this.toggle.checked = remembered() !== "off";
    this.toggle.addEventListener("change", () => remember(this.toggle.checked ? "on" : "off"));
  }

  /** Return where the edge is that the landmark was meant to lie on, or null to leave it. */
  moved(key, at) {
    const edge = this.edges.get(key);
    if (!edge || !this.toggle.checked) return null;
    const picture = this.#read();
    const scale = [picture.width / this.model.width, picture.height / this.model.height];
    const there = at.map((each, i) => each * scale[i]);
    const reach = Math.max(picture.width, picture.height) * REACH_SHARE;
    const found = edgeNear(picture, there, this.#across(edge, scale), reach);
    return found && found.map((each, i) => each / scale[i]);
  }

  /** The direction across the edge on the picture; scale is the picture's pixels for one of the film's. */
  #across({ runs, along }, scale) {
    const between = (first, second) => this.#between(first, second, scale);
    const line = along.length === 2 ? between(...along) : null;
    const level = between("ground_palmar", "ground_dorsal") ?? between("ground_medial", "ground_lateral") ?? [1, 0];
    if (line) return [-line[1], line[0]];
    return runs === "level" ? [-level[1], level[0]] : level;
  }

  #between(first, second, scale) {
    const [from, to] = [this.model.point(first), this.model.point(second)];
    return from && to ? unit(to.map((each, i) => (each - from[i]) * scale[i])) : null;
  }

  /** The served picture's grey levels, read once. */
  #read() {
    if (this.#grey) return this.#grey;
    const { naturalWidth: width, naturalHeight: height } = this.picture;
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [width, height];
    const context = canvas.getContext("2d", { willReadFrequently: true });
    context.drawImage(this.picture, 0, 0);
    const { data } = context.getImageData(0, 0, width, height);
    const grey = new Uint8Array(width * height);
    for (let i = 0; i < grey.length; i += 1) {
      grey[i] = (data[4 * i] * 299 + data[4 * i + 1] * 587 + data[4 * i + 2] * 114) / 1000;
    }
    this.#grey = { grey, width, height };
    return this.#grey;
  }
}
