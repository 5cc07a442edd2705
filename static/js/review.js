// j and k move between the lesions, s opens the note of the one in focus; Enter opens it, as on any link.
"use strict";

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || !["j", "k", "s"].includes(event.key)) return;
  if (event.target.closest("input, textarea, select, [contenteditable]")) return;
  const links = [...document.querySelectorAll(".review .open")];
  if (!links.length) return;
  event.preventDefault();
  const row = document.activeElement.closest(".review li");
  const at = row ? links.indexOf(row.querySelector(".open")) : -1;
  if (event.key === "s") {
    const field = row?.querySelector(".seen-form input:not([type=hidden])");
    if (!field) return;
    field.closest("details").open = true;
    field.focus();
    return;
  }
  const next = event.key === "j" ? at + 1 : Math.max(at, 1) - 1;
  const link = links[Math.min(next, links.length - 1)];
  link.focus();
  link.closest("li").scrollIntoView({ block: "nearest" });
});

// Escape leaves the note and gives the row its focus back; what was typed stays in the field.
document.addEventListener("keydown", (event) => {
  const note = event.key === "Escape" && event.target.closest(".review details");
  if (!note) return;
  note.open = false;
  note.closest("li").querySelector(".open").focus();
});
