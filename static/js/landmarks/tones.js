/**
 * Contrast, brightness, the window of greys and black for white: only how the film looks.
 *
 * The window spreads the greys from middle − width/2 to middle + width/2 over all that the
 * screen has; an SVG filter on the page does it.
 */
const USUAL = { contrast: 100, brightness: 100, middle: 128, width: 256 };
const GREYS = 255;

export function followTones(root, picture, changed) {
  const sliders = Object.fromEntries(Object.keys(USUAL).map((name) => [name, root.querySelector(`[data-tone="${name}"]`)]));
  const inverted = root.querySelector('[data-tone="inverted"]');
  const steps = root.querySelectorAll("[data-grey-window]");
  const apply = () => {
    const { contrast, brightness, middle, width } = Object.fromEntries(
      Object.entries(sliders).map(([name, slider]) => [name, Number(slider.value)]),
    );
    const slope = GREYS / Math.max(width, 1);
    for (const step of steps) {
      step.setAttribute("slope", slope);
      step.setAttribute("intercept", 0.5 - (slope * middle) / GREYS);
    }
    const parts = [`brightness(${brightness}%)`, `contrast(${contrast}%)`];
    if (middle !== USUAL.middle || width !== USUAL.width) parts.unshift("url(#grey-window)");
    if (inverted.checked) parts.unshift("invert(1)");
    picture.style.filter = parts.join(" ");
    changed();
  };
  for (const input of [...Object.values(sliders), inverted]) input.addEventListener("input", apply);
  root.querySelector("[data-tone-reset]").addEventListener("click", () => {
    for (const [name, slider] of Object.entries(sliders)) slider.value = USUAL[name];
    inverted.checked = false;
    apply();
  });
}
