// The weekly page's comforts: a chip pressed again is let go, "none" and the rest exclude each other. The page works
// without this file; what is typed is kept, and sent, by kept_forms.js.
"use strict";

(() => {
  const form = () => document.getElementById("visit");
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

  document.addEventListener("draft:back", () => {
    // What came back is measured like what is typed.
    for (const part of document.querySelectorAll(".lesion-part")) part.dispatchEvent(new Event("input", { bubbles: true }));
  });
})();
