// Choosing a place on the foot map fills the form without loading the page anew. Without this file the links do it.
"use strict";

{
  const place = document.querySelector("select[name=place]");
  const sides = document.querySelectorAll("input[name=side]");
  const spots = document.querySelectorAll(".foot-map .spot");
  const said = document.getElementById("place-chosen");

  const show = () => {
    const side = [...sides].find((one) => one.checked)?.value;
    let words = "";
    for (const spot of spots) {
      const chosen = spot.dataset.place === place.value && spot.dataset.side === side;
      spot.classList.toggle("chosen", chosen);
      if (chosen) {
        spot.setAttribute("aria-current", "true");
        words = spot.getAttribute("aria-label");
      } else {
        spot.removeAttribute("aria-current");
      }
    }
    said.textContent = words ? `Chosen: ${words}` : "";
  };

  for (const spot of spots) {
    spot.addEventListener("click", (event) => {
      event.preventDefault();
      place.value = spot.dataset.place;
      for (const one of sides) one.checked = one.value === spot.dataset.side;
      show();
    });
  }
  place.addEventListener("change", show);
  for (const one of sides) one.addEventListener("change", show);
  show();
}
