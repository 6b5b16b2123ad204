/** The list of landmarks: select by button, type x and y, see which have a place. */

/** Return the number that was typed, with a comma or a point; null if it is none. */
export function typedNumber(text) {
  const clean = text.trim().replace("−", "-").replace(",", ".");
  return /^-?(\d+\.?\d*|\.\d+)$/.test(clean) ? Number(clean) : null;
}

function written(value) {
  return String(Math.round(value * 100) / 100);
}

export class LandmarkList {

  constructor(root, model, picked) {
    this.model = model;
    this.rows = new Map();
    for (const row of root.querySelectorAll("[data-slot]")) {
      const parts = {
        row,
        pick: row.querySelector("[data-pick]"),
        x: row.querySelector("[data-x]"),
        y: row.querySelector("[data-y]"),
        state: row.querySelector("[data-state]"),
        fault: row.querySelector("[data-fault]"),
        shown: null,
        chosen: null,
      };
      this.rows.set(row.dataset.slot, parts);
      parts.pick.addEventListener("click", () => {
        model.select(row.dataset.slot);
        picked();
      });
      for (const input of [parts.x, parts.y]) {
        input.addEventListener("change", () => this.#typed(row.dataset.slot, parts));
        input.addEventListener("focus", () => model.select(row.dataset.slot));
      }
    }
  }

  #typed(key, parts) {
    const { x, y, fault } = parts;
    const values = [typedNumber(x.value), typedNumber(y.value)];
    const blank = [x.value.trim(), y.value.trim()].filter((each) => each === "").length;
    const most = [this.model.width, this.model.height];
    const wrong = values.some((value, i) => value !== null && (value < 0 || value > most[i]));
    const unread = [x, y].some((input, i) => input.value.trim() !== "" && values[i] === null);
    fault.hidden = !(wrong || unread);
    fault.textContent = unread ? "Write a number such as 812.5." : `x from 0 to ${most[0]}, y from 0 to ${most[1]}.`;
    if (blank === 2) this.model.remove(key);
    if (blank > 0 || wrong || unread) return;
    this.model.place(key, values[0], values[1], "typed");
  }

  /** Show where every landmark is and which one is selected; half-typed places stay. */
  show() {
    for (const [key, parts] of this.rows) {
      const at = this.model.point(key);
      const chosen = key === this.model.selected;
      if (at === parts.shown && chosen === parts.chosen) continue;
      parts.chosen = chosen;
      parts.row.classList.toggle("slot-placed", at !== null);
      parts.row.classList.toggle("slot-chosen", chosen);
      parts.pick.setAttribute("aria-pressed", String(chosen));
      parts.state.textContent = at ? "placed" : "not placed";
      if (at === parts.shown) continue;
      parts.shown = at;
      parts.x.value = at ? written(at[0]) : "";
      parts.y.value = at ? written(at[1]) : "";
      parts.fault.hidden = true;
    }
  }
}
