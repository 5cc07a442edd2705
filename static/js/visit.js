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

  // Somebody unwell is measured: the folded signs open.
  const unwell = "[name$='-unwell'][value=yes]:checked, [name=red_flags][value=fever_or_unwell]:checked";
  const openSigns = () => {
    const signs = form()?.querySelector("details.signs");
    if (signs && form().querySelector(unwell)) signs.open = true;
  };
  document.addEventListener("change", openSigns);
  document.addEventListener("input", openSigns);

  const touched = (event) => {
    if (form()?.contains(event.target) && !dirty) {
      dirty = true;
      say("Typed, not saved yet");
    }
  };
  document.addEventListener("input", touched);
  document.addEventListener("change", touched);
  window.addEventListener("beforeunload", (event) => {
    // Kept on the device, it comes back; otherwise leaving asks first.
    if (dirty && !sending && form()?.dataset.kept !== "yes") event.preventDefault();
  });

  document.addEventListener("submit", (event) => {
    if (event.target === form()) sending = true;
  });
  document.addEventListener("htmx:beforeRequest", (event) => {
    if (event.target !== form()) return;
    form().dataset.unsent = "no";
    say("Saving");
  });
  // The same key goes out again with the next press, so a visit that did arrive is not stored twice.
  for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
    document.addEventListener(name, (event) => {
      if (event.target !== form()) return;
      sending = false;
      // An answer that refuses is not asked for again by itself; a lost one is.
      form().dataset.unsent = name === "htmx:responseError" ? "refused" : "yes";
      const kept = form().dataset.kept === "yes" ? "It is kept on this device. " : "";
      const press = form().dataset.unsent === "yes" ? "It goes by itself when the network is back, or press" : "Press";
      say(`Not yet sent: no answer from the clinic's server. ${kept}${press} Save visit again.`);
    });
  }
  // Sent again with the same key: when the first one did arrive, the second finds its visit.
  const again = () => {
    const waiting = form();
    if (waiting?.dataset.unsent !== "yes" || sending || !navigator.onLine) return;
    waiting.dataset.unsent = "no";
    waiting.requestSubmit();
  };
  window.addEventListener("online", again);
  setInterval(again, 20000);
  document.addEventListener("draft:back", () => {
    // What came back is measured like what is typed.
    for (const part of document.querySelectorAll(".lesion-part")) part.dispatchEvent(new Event("input", { bubbles: true }));
  });
  document.addEventListener("htmx:afterSwap", () => {
    sending = false;
    // A live figure that arrives says nothing about a visit that did not.
    if (dirty && !["yes", "refused"].includes(form()?.dataset.unsent)) say("Typed, not saved yet");
  });
})();
