/** Contrast, brightness and black for white: only how the film looks, never what is stored. */
export function followTones(root, picture, changed) {
  const [contrast, brightness, inverted] = ["contrast", "brightness", "inverted"].map((name) =>
    root.querySelector(`[data-tone="${name}"]`),
  );
  const apply = () => {
    const parts = [`brightness(${brightness.value}%)`, `contrast(${contrast.value}%)`];
    if (inverted.checked) parts.unshift("invert(1)");
    picture.style.filter = parts.join(" ");
    changed();
  };
  for (const input of [contrast, brightness, inverted]) input.addEventListener("input", apply);
  root.querySelector("[data-tone-reset]").addEventListener("click", () => {
    contrast.value = brightness.value = 100;
    inverted.checked = false;
    apply();
  });
}
