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
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && document.activeElement.matches("[aria-describedby^=means-]")) document.activeElement.blur();
});
// What stands at the foot of each printed page; a property, since a page box reads nothing else.
{
  const words = (selector) => document.querySelector(selector)?.textContent.trim().replace(/\s+/g, " ");
  const day = new Date().toLocaleDateString("en-GB", { day: "numeric", month: "short", year: "numeric" });
  const foot = [
    words("[data-foot]") || words(".top .clinic"), words(".person-bar .name"), document.title, `printed ${day}`,
  ];
  document.documentElement.style.setProperty("--foot", JSON.stringify(foot.filter(Boolean).join(" · ")));
}
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
// An address with the name of a folded section opens it; browsers that do so themselves find it open.
{
  const show = () => {
    const named = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const fold = named && named.closest("details");
    if (fold && !fold.open) { fold.open = true; named.scrollIntoView(); }
  };
  window.addEventListener("hashchange", show);
  show();
}
// Paper shows what is folded on the screen; a browser that cannot do so by style opens it for the print.
window.addEventListener("beforeprint", () => {
  for (const fold of document.querySelectorAll("details.fold:not([open])")) { fold.open = true; fold.dataset.folded = "yes"; }
});
window.addEventListener("afterprint", () => {
  for (const fold of document.querySelectorAll("details.fold[data-folded]")) { fold.open = false; delete fold.dataset.folded; }
});
