// A form sent by script, so that what is marked stays in place. Before each sending the page has asked who is signed in
// and whether the form is stored already (sending.js); without an answer it waits there and goes again.

import { storedOf } from "../sending.js";

// One line under the picture: what was found, or what became of the sending.
export function teller(says) {
  return (words, kind = "") => {
    says.textContent = words;
    says.className = `verdict-line ${kind}`;
  };
}

// `ready` runs before each sending and each try, `arrived` after it, `refused` with the server's reason.
export function sends(form, { says, what, ready = () => {}, arrived = async () => {}, refused = null }) {
  let sending = false;
  const say = teller(says);

  async function go() {
    if (sending) return;
    sending = true;
    ready();
    say("Sending");
    try {
      const answer = await fetch(form.action || location.href, {
        method: "POST",
        body: new FormData(form),
        headers: { Accept: "application/json" },
      });
      if (answer.redirected || !(answer.headers.get("Content-Type") ?? "").startsWith("application/json")) {
        if (answer.status >= 500) form.dispatchEvent(new CustomEvent("sending:lost", { detail: answer.status }));
        else say(`Not sent: the clinic's server answered ${answer.status}; ${what.toLowerCase()} stays here. Press the button again.`, "bad");
        return;
      }
      const told = await answer.json();
      const stored = storedOf(answer.headers.get("Form-Stored"));
      if (answer.status === 409 && stored) {
        form.dispatchEvent(new CustomEvent("sending:changed", { detail: stored }));
        return;
      }
      if (!answer.ok) {
        say(told.refused, "bad");
        refused?.(told.refused);
        return;
      }
      if (stored) {
        form.dispatchEvent(new CustomEvent("draft:done", { detail: stored }));
        await arrived();
      }
      location.assign(told.next);
    } catch {
      form.dispatchEvent(new CustomEvent("sending:lost"));
    } finally {
      sending = false;
      delete form.dataset.sent;
    }
  }

  form.addEventListener("form:going", ready);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    go();
  });
}
