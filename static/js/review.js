// j and k move between the lesions; Enter opens the one in focus, as on any link.
"use strict";

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || (event.key !== "j" && event.key !== "k")) return;
  if (event.target.closest("input, textarea, select, [contenteditable]")) return;
  const links = [...document.querySelectorAll(".review .open")];
  if (!links.length) return;
  event.preventDefault();
  const row = document.activeElement.closest(".review li");
  const at = row ? links.indexOf(row.querySelector(".open")) : -1;
  const next = event.key === "j" ? at + 1 : Math.max(at, 1) - 1;
  const link = links[Math.min(next, links.length - 1)];
  link.focus();
  link.closest("li").scrollIntoView({ block: "nearest" });
});
