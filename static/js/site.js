// The frame's keys. Everything works without this file.
"use strict";

document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, textarea, select, [contenteditable]");
  if (event.key === "/" && !typing && !event.ctrlKey && !event.metaKey && !event.altKey) {
    const search = document.getElementById("top-search");
    if (search) {
      event.preventDefault();
      search.focus();
    }
  }
});
// A second press of the same button sends nothing twice; the server holds the same rule by the form's key.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.sent === "yes") {
    event.preventDefault();
    return;
  }
  if (form.method === "post" && !form.hasAttribute("hx-post") && !form.hasAttribute("data-many")) {
    form.dataset.sent = "yes";
  }
});
window.addEventListener("pageshow", () => {
  for (const form of document.forms) delete form.dataset.sent;
});
