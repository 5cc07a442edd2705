// Keys 1 to 9 open the first nine visits of the page; the button turns them off. Links work without this file.
"use strict";

(() => {
  const toggle = document.getElementById("row-keys");
  const visits = [...document.querySelectorAll("main a[data-visit]")].filter((one) => !one.closest("details")).slice(0, 9);
  if (!toggle || !visits.length) return;
  let on = localStorage.getItem("row-keys") !== "off";
  visits.forEach((visit, place) => {
    const mark = document.createElement("kbd");
    mark.textContent = String(place + 1);
    mark.setAttribute("aria-hidden", "true");
    visit.append(mark);
  });
  const show = () => {
    toggle.hidden = false;
    toggle.textContent = `Keys 1–${visits.length} open a visit: ${on ? "on" : "off"}`;
    toggle.setAttribute("aria-pressed", String(on));
    for (const visit of visits) visit.querySelector("kbd").hidden = !on;
  };
  show();
  toggle.addEventListener("click", () => {
    on = !on;
    localStorage.setItem("row-keys", on ? "on" : "off");
    show();
  });
  document.addEventListener("keydown", (event) => {
    if (!on || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, textarea, select, [contenteditable]")) return;
    const visit = visits[Number(event.key) - 1];
    if (visit) visit.click();
  });
})();
