/** Two photos side by side, or one laid over the other and wiped from the first to the last. */

for (const pair of document.querySelectorAll("[data-before-after]")) {
  const tools = pair.nextElementSibling;
  const wipe = tools.querySelector("[data-wipe]");
  const lay = tools.querySelector("[data-lay-over]");
  const after = pair.querySelector("[data-after]");
  tools.hidden = false;

  function show() {
    const over = lay.getAttribute("aria-pressed") === "true";
    pair.classList.toggle("laid-over", over);
    wipe.disabled = !over;
    after.style.clipPath = over ? `inset(0 0 0 ${100 - wipe.value}%)` : "";
  }

  lay.addEventListener("click", () => {
    lay.setAttribute("aria-pressed", lay.getAttribute("aria-pressed") === "true" ? "false" : "true");
    show();
  });
  wipe.addEventListener("input", show);
  show();
}
