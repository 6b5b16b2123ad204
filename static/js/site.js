/** On every page: a form that was sent is not sent twice, and the first fault gets the focus. */

function sendOnce(event) {
  const form = event.target;
  if (form.dataset.sent === "yes") {
    event.preventDefault();
    return;
  }
  if (event.defaultPrevented) return;
  form.dataset.sent = "yes";
  const again = () => delete form.dataset.sent;
  window.setTimeout(again, 8000);
  window.addEventListener("pageshow", again, { once: true });
}

document.addEventListener("submit", sendOnce);
document.querySelector("#form-fault")?.scrollIntoView({ block: "nearest" });
