// While a number is typed, how it is read stands beside it. What is read is one pattern, the server's own, which
// comes with the field; everything else is refused in words when the form is sent.
"use strict";

(() => {
  const plain = (sign, whole, decimals) => {
    const digits = (whole || "0").replace(/^0+(?=[0-9])/, "");
    const rest = (decimals || "").replace(/0+$/, "");
    const number = rest ? `${digits}.${rest}` : digits;
    return sign && sign !== "+" && /[1-9]/.test(number) ? `-${number}` : number;
  };

  document.addEventListener("input", (event) => {
    const field = event.target;
    const place = field.dataset?.number && field.parentElement.querySelector("output.read-as");
    if (!place) return;
    const found = new RegExp(`^(?:${field.dataset.number})$`, "i").exec(field.value);
    const number = found && field.value.length <= 40 ? plain(...found.slice(1, 4)) : "";
    const said = number && !("quiet" in place.dataset && number === field.value.trim());
    place.textContent = said ? `read as ${number} ${place.dataset.unit}`.trim() : "";
  });
})();
