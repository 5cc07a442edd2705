// A print button, where there is a script to press it; the browser's own printing works without this file.
"use strict";

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
