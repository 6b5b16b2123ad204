/**
 * The landmarks of one film: where they are, which one is selected, and how to go back.
 *
 * Points are [x, y] in the pixels of the stored original: x right, y down, from the top left
 * corner, in fractions of a pixel. A slot is one point; a landmark of several points has several.
 * Sends "change" (detail: slot, kind, at) and "select" (detail: slot).
 */
export class Landmarks extends EventTarget {
  #points = new Map();
  #past = [];
  #burst = null;

  constructor(slots, width, height) {
    super();
    this.slots = slots;
    this.width = width;
    this.height = height;
    this.selected = slots[0].key;
  }

  point(key) {
    return this.#points.get(key) ?? null;
  }

  slot(key) {
    return this.slots.find((each) => each.key === key);
  }

  get placedCount() {
    return this.#points.size;
  }

  /** Take the points a page came with; this is where undo ends. */
  start(points) {
    for (const [key, [x, y]] of points) this.#points.set(key, this.#inside(x, y));
    const free = this.slots.find((each) => !this.#points.has(each.key));
    this.selected = (free ?? this.slots[0]).key;
  }

  /** Put a point; moves of one burst (a drag, repeated keys) are undone together. */
  place(key, x, y, kind, burst = null) {
    this.#remember(burst === null ? null : `${kind}:${key}:${burst}`);
    const at = this.#inside(x, y);
    this.#points.set(key, at);
    this.#changed(key, kind, at);
  }

  remove(key) {
    if (!this.#points.has(key)) return;
    this.#remember(null);
    this.#points.delete(key);
    this.#changed(key, "remove", null);
  }

  get canUndo() {
    return this.#past.length > 0;
  }

  undo() {
    const before = this.#past.pop();
    if (!before) return;
    this.#points = before.points;
    this.#burst = null;
    this.selected = before.selected;
    this.#changed(before.selected, "undo", this.point(before.selected));
    this.#tell("select", { slot: before.selected });
  }

  select(key) {
    this.#burst = null;
    this.selected = key;
    this.#tell("select", { slot: key });
  }

  /** Select the slot this many places on, round the end. */
  step(by) {
    const here = this.slots.findIndex((each) => each.key === this.selected);
    const there = (here + by + this.slots.length) % this.slots.length;
    this.select(this.slots[there].key);
  }

  /** Return name → [x, y], or name → [[x, y], …] for a landmark of several points. */
  byName(wanted = (slot) => !slot.marker) {
    const names = {};
    for (const slot of this.slots.filter(wanted)) {
      const at = this.point(slot.key);
      if (!at) continue;
      if (slot.many) (names[slot.name] ??= []).push(at);
      else names[slot.name] = at;
    }
    return names;
  }

  /** Return both ends of the marker, or null unless both are placed. */
  markerEnds() {
    const ends = this.slots.filter((each) => each.marker).map((each) => this.point(each.key));
    return ends.length === 2 && ends.every(Boolean) ? ends : null;
  }

  #remember(burst) {
    if (burst !== null && burst === this.#burst) return;
    this.#burst = burst;
    this.#past.push({ points: new Map(this.#points), selected: this.selected });
  }

  #inside(x, y) {
    const held = (value, most) => Math.round(Math.min(Math.max(value, 0), most) * 100) / 100;
    return [held(x, this.width), held(y, this.height)];
  }

  #changed(slot, kind, at) {
    this.#tell("change", { slot, kind, at });
  }

  #tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }
}
