/** On every page: a form that was sent is not sent twice; what is wrong with it is named as its fields are. */

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

function nameAsOnThePage(link) {
  const field = document.getElementById(decodeURIComponent(link.hash.slice(1)));
  const label = field?.labels?.[0] ?? field?.querySelector("legend");
  if (!label) return;
  const words = [...label.childNodes].find((each) => each.nodeType === Node.TEXT_NODE && each.data.trim());
  const said = (words ?? label.querySelector("span"))?.textContent.trim();
  if (said) link.textContent = said;
}

document.addEventListener("submit", sendOnce);
document.querySelectorAll("#form-fault a").forEach(nameAsOnThePage);
document.querySelector("#form-fault")?.scrollIntoView({ block: "nearest" });
