/** A round magnifier in a corner: what is under the finger, else the selected landmark. */
export class Loupe {
  #showing = 0;
  #size = 0;

  constructor(view, model) {
    this.view = view;
    this.model = model;
    this.glass = view.frame.querySelector("[data-loupe]");
    this.picture = this.glass.querySelector("img");
    this.picture.src = view.picture.src;
  }

  /** Show a point of the film; without one, the selected landmark; without that, nothing. */
  show(point = null) {
    this.point = point;
    this.#showing ||= window.requestAnimationFrame(() => this.#show());
  }

  #show() {
    this.#showing = 0;
    const at = this.point ?? this.model.point(this.model.selected);
    this.glass.hidden = at === null;
    if (at === null) return;
    const { view, glass, picture } = this;
    const scale = Math.max(view.scale * 2.5, 0.6);
    this.#size ||= glass.clientWidth;
    const middle = this.#size / 2;
    picture.style.width = `${view.width * view.fit}px`;
    picture.style.height = `${view.height * view.fit}px`;
    const [left, top] = view.stretched(at).map((each) => middle - each * scale);
    picture.style.transform = `translate(${left}px, ${top}px) scale(${scale / view.fit})`;
    picture.style.filter = view.picture.style.filter;
    this.#keepClear(view.toFrame(at));
  }

  #keepClear([left, top]) {
    const reach = this.#size + 40;
    const under = left < reach && top < reach;
    this.glass.classList.toggle("loupe-right", under);
  }
}
