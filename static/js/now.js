// A button beside each time that fills in this minute. Times are typed without this file.
"use strict";

for (const field of document.querySelectorAll("main input[type=datetime-local]")) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "quiet now";
  button.textContent = "Now";
  button.setAttribute("aria-label", `Now: ${field.labels[0]?.textContent.trim() ?? "time"}`);
  button.addEventListener("click", () => {
    const now = new Date();
    field.value = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 16);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
  field.after(button);
}
