/**
 * Fingers and mouse on the film: a tap selects or places, a drag moves a mark or the film,
 * two fingers or the wheel with Ctrl zoom. Everything acts when the finger is lifted or moves,
 * never on touching down.
 */
const SLOP = { mouse: 3, pen: 6, touch: 9 };
const REACH = { mouse: 14, pen: 20, touch: 26 };
const PLACING_REACH = 8;

export class Gestures {
  #fingers = new Map();
  #drag = null;
  #pinch = null;
  #strokes = 0;

  constructor(view, model, looking) {
    this.view = view;
    this.model = model;
    this.looking = looking;
    const frame = view.frame;
    frame.addEventListener("pointerdown", (event) => this.#down(event));
    frame.addEventListener("pointermove", (event) => this.#move(event));
    frame.addEventListener("pointerup", (event) => this.#up(event));
    frame.addEventListener("pointercancel", (event) => this.#gone(event));
    frame.addEventListener("pointerleave", () => looking(null));
    frame.addEventListener("wheel", (event) => this.#wheel(event), { passive: false });
  }

  #down(event) {
    if (event.button !== 0) return;
    this.view.frame.setPointerCapture(event.pointerId);
    this.#fingers.set(event.pointerId, {
      fromX: event.clientX, fromY: event.clientY, x: event.clientX, y: event.clientY, kind: event.pointerType,
    });
    if (this.#fingers.size === 2) this.#startPinch();
  }

  #startPinch() {
    if (this.#drag?.slot) this.model.undo();
    this.#drag = null;
    this.#pinch = this.#span();
  }

  #span() {
    const [one, two] = [...this.#fingers.values()];
    return { x: (one.x + two.x) / 2, y: (one.y + two.y) / 2, apart: Math.hypot(one.x - two.x, one.y - two.y) };
  }

  #move(event) {
    const finger = this.#fingers.get(event.pointerId);
    if (!finger) {
      if (event.pointerType === "mouse") this.looking(this.view.toFilm(event.clientX, event.clientY));
      return;
    }
    const [dx, dy] = [event.clientX - finger.x, event.clientY - finger.y];
    if (this.#pinch || this.#drag || this.#beyond(finger, event)) {
      finger.x = event.clientX;
      finger.y = event.clientY;
      this.#follow(finger, dx, dy);
    }
  }

  #beyond(finger, event) {
    const away = Math.hypot(event.clientX - finger.fromX, event.clientY - finger.fromY);
    return away > (SLOP[finger.kind] ?? SLOP.touch);
  }

  #follow(finger, dx, dy) {
    if (this.#pinch) {
      if (this.#fingers.size === 2) this.#zoom();
      return;
    }
    this.#drag ??= this.#startDrag(finger);
    if (this.#drag.slot === null) {
      this.view.panBy(dx, dy);
      return;
    }
    const [x, y] = this.view.toFilm(finger.x - this.#drag.offX, finger.y - this.#drag.offY);
    this.model.place(this.#drag.slot, x, y, "drag", this.#drag.stroke);
    this.looking([x, y]);
  }

  #startDrag(finger) {
    const slot = this.view.nearest(finger.fromX, finger.fromY, REACH[finger.kind] ?? REACH.touch);
    if (slot === null) return { slot };
    this.model.select(slot);
    const box = this.view.overlay.getBoundingClientRect();
    const [left, top] = this.view.toFrame(this.model.point(slot));
    this.#strokes += 1;
    return { slot, offX: finger.fromX - box.left - left, offY: finger.fromY - box.top - top, stroke: this.#strokes };
  }

  #zoom() {
    const now = this.#span();
    this.view.pinch(this.#pinch, now);
    this.#pinch = now;
  }

  #up(event) {
    const finger = this.#fingers.get(event.pointerId);
    const tapped = finger && !this.#drag && !this.#pinch && !this.#beyond(finger, event);
    this.#gone(event);
    if (tapped) this.#tap(event.clientX, event.clientY, finger.kind);
  }

  #gone(event) {
    this.#fingers.delete(event.pointerId);
    if (this.#fingers.size > 0) return;
    this.#drag = null;
    this.#pinch = null;
    this.looking(null);
  }

  /** Near another mark a tap selects it; elsewhere it puts the selected landmark there. */
  #tap(clientX, clientY, kind) {
    const { model, view } = this;
    const waiting = model.point(model.selected) === null;
    const near = view.nearest(clientX, clientY, waiting ? PLACING_REACH : REACH[kind] ?? REACH.touch);
    if (near !== null && near !== model.selected) {
      model.select(near);
      return;
    }
    const [x, y] = view.toFilm(clientX, clientY);
    const outside = x < 0 || y < 0 || x > model.width || y > model.height;
    if (!outside) model.place(model.selected, x, y, "tap");
  }

  #wheel(event) {
    if (!event.ctrlKey && !event.metaKey) return;
    event.preventDefault();
    this.view.zoomBy(Math.exp(-event.deltaY / 250), this.view.toFilm(event.clientX, event.clientY));
  }
}
