/** Nail holes tapped on the drawn shoe are written into the field beside it, and the other way round. */

function holesIn(field) {
  return new Set(field.value.toUpperCase().split(/[\s,]+/).filter(Boolean));
}

class NailHoles {
  constructor(drawing) {
    this.field = drawing.closest("form").elements[drawing.dataset.nailHoles];
    this.holes = [...drawing.querySelectorAll("[data-hole]")];
    for (const hole of this.holes) hole.addEventListener("click", () => this.#toggle(hole.dataset.hole));
    this.field.addEventListener("input", () => this.#show());
    this.#show();
  }

  #toggle(name) {
    const used = holesIn(this.field);
    if (!used.delete(name)) used.add(name);
    this.field.value = [...used].sort().join(" ");
    this.field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  #show() {
    const used = holesIn(this.field);
    for (const hole of this.holes) hole.toggleAttribute("data-used", used.has(hole.dataset.hole));
  }
}

for (const drawing of document.querySelectorAll("[data-nail-holes]")) new NailHoles(drawing);
