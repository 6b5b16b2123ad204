/** On the form of a reset: a field that differs from the plan stands out and asks why; the due date follows. */

const MS_PER_DAY = 86_400_000;
const form = document.querySelector("#reset-form");

function numberIn(text) {
  const value = Number.parseFloat(text.replace(",", ".").replace("−", "-"));
  return Number.isFinite(value) ? value : 0;
}

function differs(row, control) {
  const { planned, tolerance, unit } = row.dataset;
  if (!unit) return control.value !== planned;
  return Math.abs(numberIn(control.value) - numberIn(planned)) > numberIn(tolerance) + 1e-9;
}

function look(row) {
  const control = row.querySelector(".fitted-row input, .fitted-row select");
  const reason = row.querySelector(".fitted-reason");
  const isOther = differs(row, control);
  row.classList.toggle("differs", isOther);
  reason.hidden = !isOther && reason.querySelector("input").value === "";
  if (isOther) reason.open = true;
}

function showDue() {
  const due = form.querySelector("[data-due]");
  const weeks = numberIn(form.elements.interval_weeks.value);
  const fitted = Date.parse(form.elements.fitted_on.value);
  due.hidden = !weeks || Number.isNaN(fitted);
  if (due.hidden) return;
  const on = new Date(fitted + Math.round(weeks * 7) * MS_PER_DAY);
  const says = on.toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric", timeZone: "UTC" });
  due.textContent = `Next reset due ${says}.`;
}

if (form) {
  const rows = form.querySelectorAll(".fitted");
  rows.forEach(look);
  showDue();
  form.addEventListener("input", (event) => {
    const row = event.target.closest(".fitted");
    if (row) look(row);
    showDue();
  });
}
