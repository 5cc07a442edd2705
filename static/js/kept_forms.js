// Every form of a page keeps its draft while it is typed, until the server has said: stored, with this key.

import { clock, opened } from "./drafts.js";
import { keyOf, leaveNote, sayNotes, Sending } from "./sending.js";

const SENT = "form-sent"; // of this tab: the key that this page's answer belongs to
const SKIP = new Set(["csrfmiddlewaretoken", "form_key"]);
const { vault, stored } = await opened;
const isStored = (key) => stored.find((one) => one.key === key);
const tended = [];

function typed(form) {
  const values = [];
  for (const field of form.elements) {
    if (!field.name || SKIP.has(field.name) || ["file", "password", "submit", "button"].includes(field.type)) continue;
    if (["radio", "checkbox"].includes(field.type)) values.push([field.name, field.value, field.checked]);
    else values.push([field.name, field.value]);
  }
  return values;
}

function fill(form, values) {
  for (const [name, value, checked] of values) {
    for (const field of form.elements) {
      if (field.name !== name || field.hasAttribute("data-fresh")) continue;
      if (checked === undefined && !["radio", "checkbox"].includes(field.type)) field.value = value;
      else if (field.value === value) field.checked = checked;
      const details = field.closest("details");
      const entered = field.type !== "hidden" && value && checked === undefined;
      if (details && entered && !field.hasAttribute("data-folded")) details.open = true;
    }
  }
  form.dispatchEvent(new CustomEvent("draft:back", { bubbles: true }));
}

function said(values) {
  return JSON.stringify(values.filter(([field]) => field !== "submission_key"));
}

function bar(form, words, buttons) {
  form.querySelector(".draft-bar")?.remove();
  const line = document.createElement("p");
  line.className = "note draft-bar row";
  const say = document.createElement("span");
  say.setAttribute("role", "status");
  say.textContent = words;
  line.append(say);
  for (const [label, act] of buttons) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = label;
    button.addEventListener("click", () => {
      line.remove();
      act();
    });
    line.append(button);
  }
  form.prepend(line);
}

// What is typed on one form, on the page and on the device.
class Draft {
  constructor(form, name) {
    Object.assign(this, { form, name, first: typed(form), typedAt: 0, everSent: false, kept: false, over: false, asked: false });
    this.sending = new Sending(form, this);
    this.sending.key = form.elements.submission_key?.value || keyOf();
    form.addEventListener("input", () => this.touched());
    form.addEventListener("change", () => this.touched());
    form.addEventListener("draft:done", (event) => this.sending.arrived(event.detail));
    window.addEventListener("drafts:wiped", () => {
      this.over = true;
    });
  }

  get keeps() {
    return vault && !this.over && !this.form.hasAttribute("data-no-draft");
  }

  // Whether leaving now would lose something.
  get loose() {
    if (!this.typedAt || this.over || this.form.dataset.done === "yes" || this.sending.sentAt >= this.typedAt) return false;
    return this.keeps ? !this.kept : this.form.hasAttribute("data-draft");
  }

  touched() {
    this.typedAt = Date.now();
    this.kept = false;
    this.form.dataset.kept = "no";
    if (this.asked) return; // the write that waits takes this along
    this.asked = true;
    queueMicrotask(() => {
      this.asked = false;
      this.keep();
    });
  }

  async keep() {
    if (!this.keeps || !this.typedAt || this.form.dataset.done === "yes") return;
    const now = this.typedAt;
    const values = typed(this.form);
    if (said(values) === said(this.first) && !this.everSent) await this.drop();
    else await vault.keep(this.name, values, this.sending.key, this.sending.sentAt);
    if (this.typedAt !== now) return;
    this.kept = true;
    this.form.dataset.kept = "yes";
    const state = this.form.querySelector("#draft");
    if (state && !this.sending.waits && !this.sending.pressing) state.textContent = `Kept on this device ${clock(new Date())}, not sent yet`;
  }

  sent(byItself) {
    this.everSent = true;
    sessionStorage.setItem(SENT, this.sending.key);
    history.replaceState({ ...history.state, forms: { ...history.state?.forms, [this.name]: this.sending.key } }, "");
    return vault?.sent(this.name, this.sending.key, byItself);
  }

  drop() {
    return vault?.drop(this.name, this.sending.key);
  }

  // What was typed on after the form was stored, under a key of its own.
  renew(key) {
    vault?.drop(this.name, this.sending.key);
    if (this.form.elements.submission_key) this.form.elements.submission_key.value = key;
    Object.assign(this.sending, { key, sentAt: 0 });
    this.everSent = false;
  }

  // The page shows the form again as it was sent: refused, or worked out and not stored.
  givenBack(key) {
    this.sending.key = key;
    this.everSent = true;
    this.typedAt = Date.now();
    this.keep();
  }

  async bringBack() {
    const before = history.state?.forms?.[this.name];
    const there = before && isStored(before);
    if (there) {
      // Back to a page whose form is stored: pressed again it leads there, and makes no second one.
      this.sending.key = before;
      this.everSent = true;
      this.sending.sentAt = there.at;
      this.sending.say(`This form was sent and stored at ${clock(new Date(there.at))}:`, { stored: there });
      return;
    }
    if (!this.keeps) return;
    const last = sessionStorage.getItem(SENT);
    const rows = await vault.all(this.name);
    const mine = rows.find((row) => row.key === last);
    if (document.body.dataset.answers === "POST" && mine) {
      this.givenBack(last);
      return;
    }
    if (this.form.querySelector(".errors, [aria-invalid=true]")) return; // the server gave everything back already
    const held = new Set(((await navigator.locks?.query())?.held ?? []).map((lock) => lock.name));
    const found = rows.find((row) => !held.has(`form:${row.key}`));
    if (!found || this.typedAt) return;
    if (said(found.value) === said(this.first)) return;
    this.offer(found);
  }

  offer(found) {
    const { form, first } = this;
    const back = () => {
      fill(form, found.renewed ? found.value.filter(([field]) => field !== "submission_key") : found.value);
      this.typedAt = found.at.getTime();
      this.everSent = Boolean(found.sent);
      this.sending.sentAt = found.sent || 0;
      this.sending.key = found.key;
      if (found.renewed && form.elements.submission_key) form.elements.submission_key.value = found.key;
      this.keep();
    };
    const gone = () => {
      vault.drop(this.name, found.key);
      this.typedAt = 0;
    };
    if (form.hasAttribute("data-draft")) {
      back();
      const photo = form.querySelector("[type=file]") ? " A photo has to be chosen again." : "";
      bar(form, `Typed here at ${clock(found.at)} and not sent: it is back.${photo}`, [["Discard it", () => {
        fill(form, first);
        gone();
        this.drop();
        this.sending.key = form.elements.submission_key?.value || keyOf();
      }]]);
    } else {
      bar(form, `Something was typed here at ${clock(found.at)} and not sent.`, [["Bring it back", back], ["Discard it", gone]]);
    }
  }
}

// What was sent and is stored goes from the device. The answer that led here needs no words; every other one is said.
async function settle() {
  const last = sessionStorage.getItem(SENT);
  for (const row of vault?.rows() ?? []) {
    const there = isStored(row.key);
    if (!there) continue;
    if (row.byItself || row.key !== last) leaveNote(there);
    if (row.at <= row.sent) await vault.drop(row.name, row.key);
    else await vault.renew(row.name, row.key, keyOf());
  }
  sayNotes();
}

async function tendAll() {
  let index = 0;
  for (const form of document.querySelectorAll("main form[method=post]:not(.filter)")) {
    const types = form.querySelector("textarea, select, input:not([type=hidden], [type=file])");
    index += types && !form.hasAttribute("data-no-draft") ? 1 : 0;
    if (form.dataset.tended) continue;
    form.dataset.tended = "soon";
    const draft = new Draft(form, `${location.pathname}#${form.id || index}`);
    tended.push(draft);
    if (types) await draft.bringBack();
    form.dataset.tended = "yes";
  }
}

await settle();
await tendAll();
sessionStorage.removeItem(SENT);

document.addEventListener("htmx:afterSwap", async (event) => {
  // The form again, with what is wrong: it has its key.
  const sent = tended.filter((draft) => draft.everSent && !draft.form.isConnected && draft.form.dataset.done !== "yes");
  await tendAll();
  for (const old of sent) {
    const again = tended.find((draft) => draft.name === old.name && draft.form.isConnected);
    if (again && again !== old) again.givenBack(old.sending.key);
    tended.splice(tended.indexOf(old), 1);
  }
});

// A link pressed right after a key: the page waits the moment that sealing takes.
document.addEventListener("click", async (event) => {
  const link = event.target.closest?.("a[href]");
  const plain = !event.defaultPrevented && !event.button && !event.metaKey && !event.ctrlKey && !event.shiftKey && !link?.target;
  if (!link || !plain || link.origin !== location.origin || !tended.some((draft) => draft.keeps && draft.loose)) return;
  event.preventDefault();
  await Promise.all(tended.map((draft) => draft.keep()));
  location.assign(link.href);
});
// A page that the browser held in memory knows nothing of what became of its form.
window.addEventListener("pageshow", (event) => {
  if (event.persisted && tended.some((draft) => draft.everSent)) location.reload();
});
window.addEventListener("beforeunload", (event) => {
  if (tended.some((draft) => draft.loose)) event.preventDefault();
});
