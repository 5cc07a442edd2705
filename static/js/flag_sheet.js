// Shows the red-flag sheet over the page as soon as a flag is ticked, with the number and the limit of this hour.
// Everything it says travelled with the page. Without this file the sheet stands open under the questions.
"use strict";

(() => {
  const sheet = () => document.getElementById("flag-sheet");
  const ticked = () => [...document.querySelectorAll("[name=red_flags]:checked")].map((box) => box.value).filter((value) => value !== "none");

  const openings = (place) => place.dataset.openings.split(";").filter(Boolean).map((pair) => pair.split(",").map(Number));

  // The limit is one working day: the same clock time in the next stretch of hours, or the end of the next one.
  const limit = (stretches, now) => {
    const at = stretches.findIndex(([start, end]) => start <= now && now < end);
    if (at >= 0 && stretches[at + 1]) return stretches[at + 1][0] + (now - stretches[at][0]);
    const next = stretches.find(([start]) => start > now);
    return next ? next[1] : null;
  };

  const words = (seconds, zone) =>
    new Intl.DateTimeFormat("en-GB", {
      timeZone: zone,
      weekday: "short",
      day: "numeric",
      month: "short",
      hour: "2-digit",
      minute: "2-digit",
      hour12: false,
    }).format(new Date(seconds * 1000));

  const fill = (place) => {
    const now = Date.now() / 1000;
    const stretches = openings(place);
    const inHours = stretches.some(([start, end]) => start <= now && now < end);
    const urgent = ticked().some((flag) => place.querySelector(`[data-flag="${flag}"]`)?.dataset.urgency === "immediate");
    const asks = (kind) => ticked().some((flag) => place.querySelector(`[data-flag="${flag}"]`)?.dataset[kind]);
    const sameDay = !urgent && asks("sameDay");
    const row = place.querySelector(`[data-numbers="${urgent ? "immediate" : "one_working_day"}"]`);
    const numbers = row?.dataset;
    for (const other of place.querySelectorAll("[data-numbers]")) other.hidden = other !== row;
    const number = inHours ? numbers?.in : numbers?.out;
    place.querySelector("[data-number]").textContent = number || "No number for this hour is entered; follow the local protocol.";
    const soon = urgent ? "at once" : sameDay ? "a podiatrist the same day" : "within one working day";
    place.querySelector("[data-hours]").textContent = `${soon}, ${inHours ? "in hours" : "out of hours"}`;
    place.querySelector(".now-number").hidden = false;
    const by = place.querySelector("[data-by]");
    const endOfDay = Number(place.dataset.sameDay);
    const late = urgent ? now : sameDay && now < endOfDay ? endOfDay : limit(stretches, now);
    if (late !== null) {
      by.textContent = urgent ? `At once (now ${words(now, place.dataset.zone)})` : `By ${words(late, place.dataset.zone)}`;
      by.hidden = false;
      place.querySelector(".both-limits").hidden = true;
    }
    place.querySelector(".closing").hidden = false;
  };

  document.addEventListener("change", (event) => {
    const place = sheet();
    if (!place || event.target.name !== "red_flags" || !event.target.checked || event.target.value === "none") return;
    fill(place);
    if (!place.open) place.showModal();
    document.getElementById("flag-sheet-title").focus();
  });
  document.addEventListener("click", (event) => {
    if (event.target.closest("[data-close]")) sheet().close();
  });

  const say = (text) => {
    const place = sheet()?.querySelector("[data-sending]");
    if (place) place.textContent = text;
  };
  document.addEventListener("form:unsent", (event) => {
    if (event.target.id === "visit" && ticked().length) {
      say("Not yet sent: no network. The red flag is not on Today yet, so do the four steps now. It is sent, once, when the network is back.");
    }
  });
  document.addEventListener("form:going", (event) => {
    if (event.target.id === "visit") say("");
  });
})();
