// The sign-in ended while a form was typed: a panel over the page asks for it again, and the page stays.

import { hello } from "./drafts.js";

function part(tag, values, ...inside) {
  const made = Object.assign(document.createElement(tag), values);
  made.append(...inside);
  return made;
}

function field(label, input) {
  return part("p", { className: "field" }, part("label", { htmlFor: input.id }, label), input);
}

// Resolves with the answer of `hello` once somebody is signed in; with null when the panel is closed.
export function askToSignIn({ other }) {
  const username = part("input", { id: "again-name", name: "username", autocomplete: "username", required: true });
  username.value = document.body.dataset.username ?? "";
  const password = part("input", { id: "again-password", name: "password", type: "password", autocomplete: "current-password", required: true });
  const says = part("p", { role: "status" });
  const elsewhere = part("a", { href: "/sign-in/?next=/", target: "_blank" }, "Sign in on a page of its own, then come back here");
  const form = part("form", { className: "stack", noValidate: true }, field("Username", username), field("Password", password), says,
    part("p", { className: "row" }, part("button", { className: "main" }, "Sign in and send"), part("button", { type: "button", value: "close" }, "Not now")),
    part("p", { className: "small" }, elsewhere));
  const words = other ? "Somebody else is signed in on this device now. What you typed is kept here and goes under your own name only." :
    "What you typed is kept here. Sign in again and it is sent.";
  const panel = part("dialog", { className: "sheet stack" }, part("h2", { id: "again-title" }, "Your sign-in has ended"), part("p", {}, words), form);
  panel.setAttribute("aria-labelledby", "again-title");
  document.body.append(panel);

  return new Promise((resolve) => {
    let done = false;
    const end = (answer) => {
      if (done) return;
      done = true;
      window.removeEventListener("focus", look);
      panel.remove();
      resolve(answer);
    };
    // Signed in here, in another tab, or with the code that was asked for besides.
    const look = async () => {
      const answer = await hello();
      if (answer.user && !(other && String(answer.user) !== document.body.dataset.user && !form.dataset.tried)) end(answer);
      return answer;
    };
    const send = async () => {
      says.textContent = "Signing in";
      form.dataset.tried = "yes";
      try {
        const body = new URLSearchParams({ username: username.value, password: password.value, next: "/health/" });
        if (other) await fetch("/sign-out/", { method: "POST", headers: { "X-CSRFToken": (await hello()).csrf }, redirect: "manual" });
        const answer = await fetch("/sign-in/", { method: "POST", body, headers: { "X-CSRFToken": (await hello()).csrf }, redirect: "manual" });
        const now = await look();
        if (now.user) return;
        password.value = "";
        if (now.code) {
          says.textContent = "Your code is asked for as well: give it on the page of its own, then come back here.";
          elsewhere.href = "/second-factor/?next=/";
        } else if (answer.status === 422) says.textContent = "Username or password is not right.";
        else says.textContent = `Not signed in: the clinic's server answered ${answer.status}. Wait a while, or ask the clinic's manager.`;
      } catch {
        says.textContent = "No answer from the clinic's server. Try again when the network is back.";
      }
    };
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      send();
    });
    form.querySelector("[value=close]").addEventListener("click", () => end(null));
    panel.addEventListener("close", () => end(null));
    window.addEventListener("focus", () => look().catch(() => {}));
    panel.showModal();
    if (username.value) password.focus();
  });
}
