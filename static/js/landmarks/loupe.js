/** A round magnifier in a corner: what is under the finger, else the selected landmark. */
export class Loupe {
  constructor(view, model) {
    this.view = view;
    this.model = model;
    this.glass = view.frame.querySelector("[data-loupe]");
    this.picture = this.glass.querySelector("img");
    this.picture.src = view.picture.src;
  }

  /** Show a point of the film; without one, the selected landmark; without that, nothing. */
  show(point = null) {
    const at = point ?? this.model.point(this.model.selected);
    this.glass.hidden = at === null;
    if (at === null) return;
    const { view, glass, picture } = this;
    const scale = Math.max(view.scale * 2.5, 0.6);
    const middle = glass.clientWidth / 2;
    picture.style.width = `${view.width * view.fit}px`;
    picture.style.height = `${view.height * view.fit}px`;
    const [left, top] = view.stretched(at).map((each) => middle - each * scale);
    picture.style.transform = `translate(${left}px, ${top}px) scale(${scale / view.fit})`;
    picture.style.filter = view.picture.style.filter;
    this.#keepClear(view.toFrame(at));
  }

  #keepClear([left, top]) {
    const reach = this.glass.clientWidth + 40;
    const under = left < reach && top < reach;
    this.glass.classList.toggle("loupe-right", under);
  }
}
