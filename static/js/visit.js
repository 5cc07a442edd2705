// The weekly page's comforts: a chip pressed again is let go, "none" and the rest exclude each other,
// leaving with unsaved text asks first, and a lost network says so. The page works without this file.
"use strict";

(() => {
  const form = () => document.getElementById("visit");
  let dirty = false;
  let sending = false;

  const say = (words) => {
    const place = document.getElementById("draft");
    if (place) place.textContent = words;
  };

  // A radio chip chosen by mistake can be let go: untouched means "not looked at".
  let pressed = null;
  document.addEventListener("pointerdown", (event) => {
    const radio = event.target.closest("label")?.querySelector("input[type=radio]");
    pressed = radio && radio.checked ? radio : null;
  });
  document.addEventListener("click", (event) => {
    const radio = event.target;
    if (!(radio instanceof HTMLInputElement) || radio.type !== "radio") return;
    if (radio === pressed && !radio.required) {
      radio.checked = false;
      radio.dispatchEvent(new Event("input", { bubbles: true }));
    }
    pressed = null;
  });
  document.addEventListener("keydown", (event) => {
    const radio = event.target;
    if (event.key === "Backspace" && radio instanceof HTMLInputElement && radio.type === "radio") {
      radio.checked = false;
      radio.dispatchEvent(new Event("input", { bubbles: true }));
    }
  });

  document.addEventListener("change", (event) => {
    const box = event.target;
    if (!(box instanceof HTMLInputElement) || box.type !== "checkbox" || !box.checked) return;
    const group = box.closest("fieldset");
    if (!group) return;
    for (const other of group.querySelectorAll("input[type=checkbox]")) {
      if (other !== box && (box.value === "none") !== (other.value === "none")) other.checked = false;
    }
  });

  const touched = (event) => {
    if (form()?.contains(event.target) && !dirty) {
      dirty = true;
      say("Typed, not saved yet");
    }
  };
  document.addEventListener("input", touched);
  document.addEventListener("change", touched);
  window.addEventListener("beforeunload", (event) => {
    if (dirty && !sending) event.preventDefault();
  });

  document.addEventListener("submit", (event) => {
    if (event.target === form()) sending = true;
  });
  document.addEventListener("htmx:beforeRequest", (event) => {
    if (event.target === form()) say("Saving");
  });
  // The same key goes out again with the next press, so a visit that did arrive is not stored twice.
  for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
    document.addEventListener(name, (event) => {
      if (event.target !== form()) return;
      sending = false;
      say("Not saved: no answer from the clinic's server. Everything is still here; press Save visit again.");
    });
  }
  document.addEventListener("htmx:afterSwap", () => {
    sending = false;
    if (dirty) say("Typed, not saved yet");
  });
})();
