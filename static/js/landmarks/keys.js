/** Keys on the film and the arrow buttons: half a pixel of the original, five with Shift, fifty with Control. */
const STEP = 0.5;
export const BIG_STEP = 5;
const FAR_STEP = 50;
const PAN = 60;
const WAYS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export class Keys {
  #burst = 0;
  #last = null;

  constructor(view, model, tools) {
    this.view = view;
    this.model = model;
    this.tools = tools;
    view.frame.addEventListener("keydown", (event) => this.#pressed(event));
  }

  /** Move the selected landmark, or put it in the middle of what is seen if it has no place yet. */
  nudge(way, step = STEP) {
    const { model, view } = this;
    const [dx, dy] = WAYS[way];
    if (this.tools.movesFilm()) {
      view.panBy(-dx * PAN, -dy * PAN);
      return;
    }
    const at = model.point(model.selected);
    if (at === null) {
      this.#placeInMiddle();
      return;
    }
    if (this.#last !== model.selected) this.#burst += 1;
    this.#last = model.selected;
    model.place(model.selected, at[0] + dx * step, at[1] + dy * step, "nudge", this.#burst);
    view.reveal(model.point(model.selected));
  }

  #stepOf({ ctrlKey, shiftKey }) {
    if (ctrlKey) return FAR_STEP;
    return shiftKey ? BIG_STEP : STEP;
  }

  #placeInMiddle() {
    if (this.model.point(this.model.selected) === null) {
      this.model.place(this.model.selected, ...this.view.centre(), "key");
    }
  }

  #pressed(event) {
    if (event.key in WAYS && !event.altKey && !event.metaKey) {
      this.nudge(event.key, this.#stepOf(event));
    } else if (!this.#command(event)) {
      return;
    }
    event.preventDefault();
  }

  #command(event) {
    if (event.ctrlKey || event.metaKey) {
      if (event.key.toLowerCase() !== "z") return false;
      this.model.undo();
      return true;
    }
    const commands = {
      Enter: () => this.#placeInMiddle(),
      " ": () => this.#placeInMiddle(),
      PageDown: () => this.model.step(1),
      PageUp: () => this.model.step(-1),
      Delete: () => this.model.remove(this.model.selected),
      "+": () => this.tools.zoom(1.5),
      "=": () => this.tools.zoom(1.5),
      "-": () => this.tools.zoom(1 / 1.5),
      0: () => this.view.showAll(),
    };
    commands[event.key]?.();
    return event.key in commands;
  }
}
