/**
 * The film on screen: the picture moved and scaled in CSS pixels, and the drawing over it.
 *
 * `scale` is CSS pixels for one pixel of the film as it is shown, so neither the size of the served
 * copy nor the screen's density nor the browser's zoom plays a part. A film whose pixels are not
 * square is shown stretched, across and down; here alone places are stretched and brought back.
 */
const SVG = "http://www.w3.org/2000/svg";
const MOST_SCALE = 8;
const LABEL_ROOM = 34;

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
  #drawing = 0;

  constructor(frame, model, lines, stretch) {
    this.frame = frame;
    this.model = model;
    this.picture = frame.querySelector("[data-film]");
    this.overlay = frame.querySelector("[data-overlay]");
    this.lines = lines.map((names) => ({ names, parts: this.#double("line") }));
    this.marks = new Map(model.slots.map((slot) => [slot.key, this.#mark(slot)]));
    this.stretch = stretch;
    [this.width, this.height] = this.stretched([model.width, model.height]);
    frame.style.aspectRatio = `${this.width} / ${this.height}`;
    this.scale = this.fit = 1;
    this.left = this.top = 0;
    this.#measured();
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

  /** Return a point of the original on the film as it is shown, where pixels are square. */
  stretched([x, y]) {
    return [x * this.stretch[0], y * this.stretch[1]];
  }

  /** Keep the frame's size, so that no move has to ask for it. */
  #measured() {
    this.room = { width: this.frame.clientWidth, height: this.frame.clientHeight };
  }

  /** Fit the whole film into the frame. */
  showAll() {
    const { width: clientWidth, height: clientHeight } = this.room;
    this.fit = Math.min(clientWidth / this.width, clientHeight / this.height) || 1;
    this.scale = this.fit;
    this.left = (clientWidth - this.width * this.scale) / 2;
    this.top = (clientHeight - this.height * this.scale) / 2;
    this.picture.style.width = `${this.width * this.fit}px`;
    this.picture.style.height = `${this.height * this.fit}px`;
    this.draw();
  }

  #resized() {
    const centre = this.centre();
    const zoom = this.scale / this.fit;
    this.#measured();
    this.showAll();
    if (zoom > 1.001) {
      this.scale = this.fit * zoom;
      this.centreOn(centre);
    }
  }

  /** Return the film's point under a place on screen (client coordinates). */
  toFilm(clientX, clientY) {
    const box = this.overlay.getBoundingClientRect();
    return this.#back(clientX - box.left, clientY - box.top);
  }

  /** Return where a film's point is in the frame, in CSS pixels. */
  toFrame(point) {
    const [x, y] = this.stretched(point);
    return [this.left + x * this.scale, this.top + y * this.scale];
  }

  #back(left, top) {
    const [across, down] = this.stretch;
    return [(left - this.left) / (this.scale * across), (top - this.top) / (this.scale * down)];
  }

  /** Move the film so that a point of it comes to a place in the frame. */
  #bring(point, left, top) {
    const [x, y] = this.stretched(point);
    this.left = left - x * this.scale;
    this.top = top - y * this.scale;
    this.#held();
    this.draw();
  }

  centre() {
    return this.#back(this.room.width / 2, this.room.height / 2);
  }

  centreOn(point) {
    this.#bring(point, this.room.width / 2, this.room.height / 2);
  }

  panBy(dx, dy) {
    this.left += dx;
    this.top += dy;
    this.#held();
    this.draw();
  }

  /** Zoom about a point of the film, which stays where it is on screen. */
  zoomBy(factor, point = this.centre()) {
    const [left, top] = this.toFrame(point);
    this.#scaleTo(this.scale * factor);
    this.#bring(point, left, top);
  }

  /** Follow two fingers: what was between them stays between them, and grows as they part. */
  pinch(before, now) {
    const box = this.overlay.getBoundingClientRect();
    const point = this.toFilm(before.x, before.y);
    this.#scaleTo(this.scale * (now.apart / Math.max(before.apart, 1)));
    this.#bring(point, now.x - box.left, now.y - box.top);
  }

  #scaleTo(scale) {
    this.scale = Math.min(Math.max(scale, this.fit), Math.max(MOST_SCALE, this.fit));
  }

  /** Bring a point of the film into sight if it is not. */
  reveal(point) {
    const [left, top] = this.toFrame(point);
    const { width, height } = this.room;
    const seen = left > 20 && top > 20 && left < width - 20 && top < height - 20;
    if (!seen && this.scale > this.fit) this.centreOn(point);
  }

  /** The film's middle stays reachable: the frame's centre never leaves the film. */
  #held() {
    if (this.scale <= this.fit * 1.001) {
      this.left = (this.room.width - this.width * this.scale) / 2;
      this.top = (this.room.height - this.height * this.scale) / 2;
      return;
    }
    const held = (value, middle, size) => Math.min(Math.max(value, middle - size * this.scale), middle);
    this.left = held(this.left, this.room.width / 2, this.width);
    this.top = held(this.top, this.room.height / 2, this.height);
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

  /** Move the picture at once; what is drawn over it follows with the next frame, once a frame. */
  draw() {
    const zoom = this.scale / this.fit;
    this.picture.style.transform = `translate(${this.left}px, ${this.top}px) scale(${zoom})`;
    this.#drawing ||= window.requestAnimationFrame(() => this.#drawOver());
  }

  #drawOver() {
    this.#drawing = 0;
    for (const [key, group] of this.marks) {
      const at = this.model.point(key);
      group.toggleAttribute("hidden", !at);
      if (!at) continue;
      const [left, top] = this.toFrame(at);
      group.setAttribute("transform", `translate(${left} ${top})`);
      group.classList.toggle("mark-selected", key === this.model.selected);
      group.classList.toggle("mark-at-right", left > this.room.width - LABEL_ROOM);
      group.classList.toggle("mark-at-top", top < LABEL_ROOM);
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
