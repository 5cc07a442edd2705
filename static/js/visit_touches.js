// One touch that answers several questions shows the answers it gave, and is let go by another answer. The
// number keyboard's next key goes on to the next number. The server reads the same without this file.
"use strict";

(() => {
  const named = (form, name) => [...form.querySelectorAll(`[name="${name}"]`)];
  const tell = (box) => box.dispatchEvent(new Event("input", { bubbles: true }));

  const give = (touch) => {
    for (const [name, value] of Object.entries(JSON.parse(touch.dataset.answers))) {
      const boxes = named(touch.form, name);
      if (touch.checked) {
        if (!boxes.some((box) => box.checked)) boxes.filter((box) => box.value === value).forEach((box) => (box.checked = true));
      } else {
        boxes.filter((box) => box.value === value).forEach((box) => (box.checked = false));
      }
    }
  };
  const letGo = (box) => {
    for (const touch of box.form?.querySelectorAll("input[data-answers]:checked") ?? []) {
      const answers = JSON.parse(touch.dataset.answers);
      if (!(box.name in answers)) continue;
      const told = named(box.form, box.name).filter((one) => one.checked).map((one) => one.value);
      if (told.length !== 1 || told[0] !== answers[box.name]) touch.checked = false;
    }
  };
  // "None of these" leaves nothing to tick: the keyboard passes the list by.
  const passList = () => {
    for (const none of document.querySelectorAll(".red-flags input[value=none]")) {
      for (const box of none.closest("fieldset").querySelectorAll("input[type=checkbox]")) {
        if (box !== none) box.tabIndex = none.checked ? -1 : 0;
      }
    }
  };
  document.addEventListener("change", (event) => {
    const box = event.target;
    if (!(box instanceof HTMLInputElement)) return;
    if (box.dataset.answers) {
      give(box);
      tell(box);
    } else letGo(box);
    passList();
    sayNext();
  });
  document.addEventListener("input", (event) => {
    // A chip that was pressed again and let go.
    if (event.target.type === "radio") letGo(event.target);
  });

  document.addEventListener("keydown", (event) => {
    const field = event.target;
    if (event.key !== "Enter" || !(field instanceof HTMLInputElement) || !field.closest(".area-row")) return;
    const row = [...field.closest(".area-row").querySelectorAll("input[enterkeyhint=next]")];
    const place = row.indexOf(field);
    if (place < 0) return;
    event.preventDefault();
    (row[place + 1] ?? field).focus();
  });

  const sayNext = () => {
    const place = document.getElementById("next-says");
    const chosen = document.querySelector("[name=next_in]:checked");
    const from = document.querySelector("[name=visited_on]")?.value;
    if (!place) return;
    place.textContent = "";
    if (!chosen || !from || chosen.value === "open") return;
    const day = new Date(`${from}T12:00:00`);
    if (chosen.value.startsWith("m")) {
      const date = day.getDate();
      day.setDate(1);
      day.setMonth(day.getMonth() + Number(chosen.value.slice(1)));
      const last = new Date(day.getFullYear(), day.getMonth() + 1, 0).getDate();
      day.setDate(Math.min(date, last));
    } else day.setDate(day.getDate() + Number(chosen.value));
    place.textContent = day.toLocaleDateString("en-GB", { weekday: "long", day: "numeric", month: "short", year: "numeric" });
  };
  const start = () => {
    passList();
    sayNext();
  };
  document.addEventListener("draft:back", start);
  document.addEventListener("htmx:afterSettle", start);
  start();
})();
