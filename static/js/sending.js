// Every form is sent by one rule: first the server is asked who is signed in and whether this form is stored already;
// then it goes. Without an answer it waits on the page and goes by itself when there is one.

import { clock, hello } from "./drafts.js";
import { askToSignIn } from "./sign_in.js";

const WAITS = [3000, 6000, 12000, 20000]; // ms between tries while nothing got through; the last one repeats
const NOTE = "form-stored";
const watched = new Map();

export function keyOf() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export function storedOf(header) {
  try {
    return JSON.parse(header);
  } catch {
    return null;
  }
}

export class Sending {
  // `draft` keeps what is typed: keep(), sent(byItself), drop(); `typedAt` is when the last of it was typed.
  constructor(form, draft) {
    Object.assign(this, { form, draft, submitter: null, pressing: false, cleared: false, sentAt: 0, byItself: false, waits: false, tries: 0, timer: 0 });
    watched.set(form, this);
    // A page that sends by its own script got no answer.
    form.addEventListener("sending:lost", (event) => this.wait(event.detail ?? 0));
    form.addEventListener("sending:changed", (event) => this.changedSince(event.detail));
  }

  get key() {
    return this.form.elements.form_key?.value ?? "";
  }

  // Held while this page stands: another tab does not take up what is being typed here.
  set key(value) {
    this.release?.();
    navigator.locks?.request(`form:${value}`, () => new Promise((done) => {
      this.release = done;
    })).catch(() => {});
    let field = this.form.elements.form_key;
    if (!field) {
      field = Object.assign(document.createElement("input"), { type: "hidden", name: "form_key" });
      this.form.append(field);
    }
    field.value = value;
  }

  // One line beside the button, unless the page has a place of its own for it.
  say(words, { kind = "", stored = null, act = null } = {}) {
    let place = this.form.querySelector("#draft, [data-sending-says], .sending-says");
    if (!place) {
      place = Object.assign(document.createElement("p"), { className: "note sending-says" });
      place.setAttribute("role", "status");
      const button = this.submitter ?? this.form.querySelector("button.main, button:not([type=button])");
      (button && this.form.contains(button) ? button.closest("p, .row, .actions") ?? button : this.form.lastElementChild).after(place);
    }
    place.textContent = words;
    if (stored) place.append(" ", link(stored), ". ");
    if (act) place.append(act);
    if (kind) place.scrollIntoView({ block: "nearest" });
  }

  async press(submitter, byItself = false) {
    if (this.pressing) return;
    this.pressing = true;
    clearTimeout(this.timer);
    this.submitter = submitter;
    this.byItself = byItself;
    this.waits = false;
    try {
      await this.draft.keep();
      this.form.dispatchEvent(new CustomEvent("form:going", { bubbles: true }));
      this.say("Saving");
      await this.#ask();
    } finally {
      this.pressing = false;
    }
  }

  async #ask() {
    let answer;
    try {
      answer = await hello([this.key]);
    } catch (fault) {
      this.wait(fault.status);
      return;
    }
    if (String(answer.user) !== document.body.dataset.user) {
      const other = Boolean(answer.user);
      this.say("Not sent: your sign-in has ended. What you typed is kept on this page.", { kind: "bad" });
      answer = await askToSignIn({ other });
      if (!answer) return;
      if (String(answer.user) !== document.body.dataset.user) {
        // Whoever signed in never sees what another typed; it comes back with its owner.
        location.reload();
        return;
      }
      this.byItself = true;
    }
    stamp(answer.csrf);
    const stored = (answer.stored ?? []).find((one) => one.key === this.key);
    if (stored) this.was(stored);
    else this.#go();
  }

  #go() {
    this.cleared = true;
    this.form.requestSubmit(this.#button());
    // Held back by the browser, which shows what is missing: nothing was sent.
    if (this.cleared) this.say("");
    this.cleared = false;
  }

  // The button that was pressed, or the same one on a part of the page that has come anew since.
  #button() {
    const was = this.submitter;
    if (!was || was.isConnected) return was ?? undefined;
    const same = (one) => one.form === this.form && one.name === was.name && one.value === was.value && one.textContent === was.textContent;
    return [...document.querySelectorAll("button")].find(same);
  }

  goes() {
    this.cleared = false;
    this.sentAt = Date.now();
    this.draft.sent(this.byItself);
  }

  // The server says: stored, with this key.
  arrived(stored) {
    if (stored?.key !== this.key) return false;
    if (this.byItself) leaveNote(stored);
    this.waits = false;
    this.form.dataset.done = "yes";
    this.draft.drop();
    return true;
  }

  // It was stored before: nothing typed since, on to it; otherwise both are said and what is typed stays.
  was(stored) {
    if (this.draft.typedAt <= this.sentAt || !this.draft.typedAt) {
      this.byItself = true;
      this.arrived(stored);
      location.assign(stored.url);
    } else this.changedSince(stored);
  }

  changedSince(stored) {
    this.waits = false;
    const act = Object.assign(document.createElement("button"), { type: "button", textContent: "Send it as a new form" });
    act.addEventListener("click", () => {
      this.draft.renew(keyOf());
      this.press(this.submitter);
    });
    const at = clock(new Date(stored.at));
    const words = `This form was sent and stored at ${at}. What you typed since is kept here and not stored. Change it there:`;
    this.say(words, { kind: "bad", stored, act });
  }

  // No answer: it may have arrived. The same key goes out again, so what did arrive is not stored twice.
  wait(status = 0) {
    this.waits = true;
    const kept = this.draft.kept ? "It is kept on this device. " : "";
    const why = status ? `the clinic's server answered ${status}` : "no answer from the clinic's server";
    const name = this.submitter?.textContent.trim().replace(/\s+/g, " ") || "the button";
    this.say(`Not yet sent: ${why}. ${kept}It goes by itself when the network is back, or press ${name} again.`, { kind: "bad" });
    this.form.dispatchEvent(new CustomEvent("form:unsent", { bubbles: true }));
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.again(), WAITS[Math.min(this.tries, WAITS.length - 1)]);
    this.tries += 1;
  }

  again() {
    if (this.waits && this.form.isConnected && navigator.onLine) this.press(this.submitter, true);
  }
}

function link({ name, url }) {
  return Object.assign(document.createElement("a"), { href: url, textContent: name });
}

function stamp(token) {
  for (const field of document.querySelectorAll("[name=csrfmiddlewaretoken]")) field.value = token;
  document.body.setAttribute("hx-headers", JSON.stringify({ "X-CSRFToken": token }));
}

// --- what became of a form that went by itself is said once, on the next page --------------------------------------
export function leaveNote(stored) {
  const notes = storedOf(sessionStorage.getItem(NOTE)) ?? [];
  sessionStorage.setItem(NOTE, JSON.stringify([...notes.filter((one) => one.key !== stored.key), stored]));
}

export function sayNotes() {
  const notes = storedOf(sessionStorage.getItem(NOTE)) ?? [];
  sessionStorage.removeItem(NOTE);
  for (const stored of notes) {
    const line = Object.assign(document.createElement("p"), { className: "note sent-bar" });
    line.setAttribute("role", "status");
    line.append(`Sent at ${clock(new Date(stored.at))}, stored as `, link(stored), ".");
    document.getElementById("main").prepend(line);
  }
}

// --- the page's events ---------------------------------------------------------------------------------------------
document.addEventListener("submit", (event) => {
  const sending = watched.get(event.target);
  if (!sending) return;
  if (sending.cleared) {
    sending.goes();
    return;
  }
  event.preventDefault();
  event.stopImmediatePropagation();
  sending.press(event.submitter);
}, { capture: true });

const againAll = () => {
  for (const sending of watched.values()) sending.again();
};
window.addEventListener("online", againAll);
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "visible") againAll();
});

// A figure asked for beside the form is no sending of it.
document.addEventListener("htmx:configRequest", (event) => {
  if (!watched.has(event.target)) delete event.detail.parameters.form_key;
});
// htmx leaves the page on its redirect header, before any later event.
document.addEventListener("htmx:beforeOnLoad", (event) => {
  const { xhr } = event.detail;
  const sending = watched.get(event.target);
  if (xhr.getResponseHeader("Sign-In-Needed")) {
    event.preventDefault(); // the page stays; whoever saves is asked to sign in
    sending?.press(sending.submitter, sending.byItself);
    return;
  }
  const stored = storedOf(xhr.getResponseHeader("Form-Stored"));
  if (!sending || !stored) return;
  if (xhr.status === 409) sending.changedSince(stored);
  else sending.arrived(stored);
});
for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
  document.addEventListener(name, (event) => {
    const sending = watched.get(event.target);
    const status = event.detail.xhr?.status ?? 0;
    if (!sending && status === 403) hello().then(({ user, csrf }) => String(user) === document.body.dataset.user && stamp(csrf), () => {});
    if (!sending || status === 409) return;
    if (status && status < 500) {
      sending.say(`Not sent: the clinic's server answered ${status}. What you typed is kept here.`, { kind: "bad" });
      sending.form.dispatchEvent(new CustomEvent("form:unsent", { bubbles: true }));
    } else sending.wait(status);
  });
}
