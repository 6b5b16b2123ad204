/**
 * The film on screen: the picture moved and scaled in CSS pixels, and the drawing over it.
 *
 * `scale` is CSS pixels for one pixel of the original, so neither the size of the served copy
 * nor the screen's density nor the browser's zoom plays a part.
 */
const SVG = "http://www.w3.org/2000/svg";
const MOST_SCALE = 8;

function make(name, parent, names = "") {
  const element = document.createElementNS(SVG, name);
  if (names) element.setAttribute("class", names);
  parent.append(element);
  return element;
}

function set(element, values) {
  for (const [name, value] of Object.entries(values)) element.setAttribute(name, value);
}

export class FilmView {
  constructor(frame, model, lines) {
    this.frame = frame;
    this.model = model;
    this.picture = frame.querySelector("[data-film]");
    this.overlay = frame.querySelector("[data-overlay]");
    this.lines = lines.map((names) => ({ names, parts: this.#double("line") }));
    this.marks = new Map(model.slots.map((slot) => [slot.key, this.#mark(slot)]));
    frame.style.aspectRatio = `${model.width} / ${model.height}`;
    this.scale = this.fit = 1;
    this.left = this.top = 0;
    new ResizeObserver(() => this.#resized()).observe(frame);
    this.showAll();
  }

  #double(name) {
    return ["casing", "core"].map((names) => make(name, this.overlay, names));
  }

  #mark(slot) {
    const group = make("g", this.overlay, slot.marker ? "mark mark-marker" : "mark");
    for (const names of ["casing", "core"]) {
      set(make("circle", group, `ring ${names}`), { r: 6.5 });
      set(make("path", group, `cross ${names}`), { d: "M-15 0H-4M4 0H15M0-15V-4M0 4V15" });
    }
    set(make("circle", group, "dot"), { r: 1.5 });
    const label = make("text", group);
    set(label, { x: 8, y: -8 });
    label.textContent = slot.short;
    return group;
  }

  /** Fit the whole film into the frame. */
  showAll() {
    const { clientWidth, clientHeight } = this.frame;
    this.fit = Math.min(clientWidth / this.model.width, clientHeight / this.model.height) || 1;
    this.scale = this.fit;
    this.left = (clientWidth - this.model.width * this.scale) / 2;
    this.top = (clientHeight - this.model.height * this.scale) / 2;
    this.picture.style.width = `${this.model.width * this.fit}px`;
    this.picture.style.height = `${this.model.height * this.fit}px`;
    this.draw();
  }

  #resized() {
    const centre = this.centre();
    const zoom = this.scale / this.fit;
    this.showAll();
    if (zoom > 1.001) {
      this.scale = this.fit * zoom;
      this.centreOn(centre);
    }
  }

  /** Return the film's point under a place on screen (client coordinates). */
  toFilm(clientX, clientY) {
    const box = this.overlay.getBoundingClientRect();
    return [(clientX - box.left - this.left) / this.scale, (clientY - box.top - this.top) / this.scale];
  }

  /** Return where a film's point is in the frame, in CSS pixels. */
  toFrame([x, y]) {
    return [this.left + x * this.scale, this.top + y * this.scale];
  }

  centre() {
    const { clientWidth, clientHeight } = this.frame;
    return [(clientWidth / 2 - this.left) / this.scale, (clientHeight / 2 - this.top) / this.scale];
  }

  centreOn([x, y]) {
    this.left = this.frame.clientWidth / 2 - x * this.scale;
    this.top = this.frame.clientHeight / 2 - y * this.scale;
    this.#held();
    this.draw();
  }

  panBy(dx, dy) {
    this.left += dx;
    this.top += dy;
    this.#held();
    this.draw();
  }

  /** Zoom about a point of the film, which stays where it is on screen. */
  zoomBy(factor, [x, y] = this.centre()) {
    const [atLeft, atTop] = this.toFrame([x, y]);
    this.#scaleTo(this.scale * factor);
    this.left = atLeft - x * this.scale;
    this.top = atTop - y * this.scale;
    this.#held();
    this.draw();
  }

  /** Follow two fingers: what was between them stays between them, and grows as they part. */
  pinch(before, now) {
    const box = this.overlay.getBoundingClientRect();
    const [x, y] = this.toFilm(before.x, before.y);
    this.#scaleTo(this.scale * (now.apart / Math.max(before.apart, 1)));
    this.left = now.x - box.left - x * this.scale;
    this.top = now.y - box.top - y * this.scale;
    this.#held();
    this.draw();
  }

  #scaleTo(scale) {
    this.scale = Math.min(Math.max(scale, this.fit), Math.max(MOST_SCALE, this.fit));
  }

  /** Bring a point of the film into sight if it is not. */
  reveal(point) {
    const [left, top] = this.toFrame(point);
    const { clientWidth, clientHeight } = this.frame;
    const seen = left > 20 && top > 20 && left < clientWidth - 20 && top < clientHeight - 20;
    if (!seen && this.scale > this.fit) this.centreOn(point);
  }

  /** The film's middle stays reachable: the frame's centre never leaves the film. */
  #held() {
    if (this.scale <= this.fit * 1.001) {
      this.left = (this.frame.clientWidth - this.model.width * this.scale) / 2;
      this.top = (this.frame.clientHeight - this.model.height * this.scale) / 2;
      return;
    }
    const held = (value, middle, size) => Math.min(Math.max(value, middle - size * this.scale), middle);
    this.left = held(this.left, this.frame.clientWidth / 2, this.model.width);
    this.top = held(this.top, this.frame.clientHeight / 2, this.model.height);
  }

  /** Return the slot whose mark is nearest to a place on screen, within a reach in CSS pixels. */
  nearest(clientX, clientY, reach) {
    const box = this.overlay.getBoundingClientRect();
    let found = null;
    let best = reach;
    for (const slot of this.model.slots) {
      const at = this.model.point(slot.key);
      if (!at) continue;
      const [left, top] = this.toFrame(at);
      const away = Math.hypot(clientX - box.left - left, clientY - box.top - top);
      const counted = slot.key === this.model.selected ? away - 0.01 : away;
      if (counted < best) [found, best] = [slot.key, counted];
    }
    return found;
  }

  draw() {
    const zoom = this.scale / this.fit;
    this.picture.style.transform = `translate(${this.left}px, ${this.top}px) scale(${zoom})`;
    for (const [key, group] of this.marks) {
      const at = this.model.point(key);
      group.toggleAttribute("hidden", !at);
      if (!at) continue;
      const [left, top] = this.toFrame(at);
      group.setAttribute("transform", `translate(${left} ${top})`);
      group.classList.toggle("mark-selected", key === this.model.selected);
    }
    for (const { names, parts } of this.lines) this.#drawLine(names, parts);
  }

  #drawLine(names, parts) {
    const ends = names.map((name) => this.model.point(name));
    for (const part of parts) {
      part.toggleAttribute("hidden", !ends.every(Boolean));
      if (!ends.every(Boolean)) continue;
      const [from, to] = ends.map((end) => this.toFrame(end));
      set(part, { x1: from[0], y1: from[1], x2: to[0], y2: to[1] });
    }
  }
}
