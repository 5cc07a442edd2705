// Every form of a page keeps its draft while it is typed; what was typed and never sent comes back.

import { clock, drafts } from "./drafts.js";

const SENT = "draft-sent";
const SKIP = new Set(["csrfmiddlewaretoken"]);
const vault = await drafts;

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

async function tend(form, name) {
  if (form.dataset.tended === "yes") return;
  form.dataset.tended = "yes";
  let wiped = false;
  let wait = 0;
  const state = form.querySelector("#draft");
  const keep = () => {
    clearTimeout(wait);
    form.dataset.kept = "no";
    wait = setTimeout(async () => {
      if (wiped || form.dataset.done === "yes") return;
      const now = new Date();
      await vault.keep(name, typed(form));
      form.dataset.kept = "yes";
      if (state && !["yes", "refused"].includes(form.dataset.unsent)) state.textContent = `Kept on this device ${clock(now)}, not sent yet`;
    }, 120);
  };
  form.addEventListener("input", keep);
  form.addEventListener("change", keep);
  window.addEventListener("drafts:wiped", () => {
    wiped = true;
  });
  // A page that sends by script and got nothing through: the draft is not yet that of a form that arrived.
  form.addEventListener("draft:unsent", () => sessionStorage.removeItem(SENT));
  form.addEventListener("draft:done", () => {
    form.dataset.done = "yes";
    vault.drop(name);
  });
  // htmx leaves the page on this header, before any later event.
  form.addEventListener("htmx:beforeOnLoad", (event) => {
    if (event.target !== form || !event.detail.xhr.getResponseHeader("HX-Redirect")) return;
    form.dataset.done = "yes";
    sessionStorage.setItem(SENT, name);
    vault.drop(name);
  });
  if (!form.hasAttribute("hx-post")) form.addEventListener("submit", () => sessionStorage.setItem(SENT, name));

  const sent = sessionStorage.getItem(SENT) === name;
  const refused = form.querySelector(".errors, [aria-invalid=true]");
  if (sent) sessionStorage.removeItem(SENT);
  if (refused) return; // the server gave everything back already
  const found = await vault.kept(name);
  if (!found) return;
  const said = (values) => JSON.stringify(values.filter(([field]) => field !== "submission_key"));
  if (said(found.value) === said(typed(form))) return;
  const first = typed(form);
  const discard = ["Discard it", () => {
    fill(form, first);
    clearTimeout(wait);
    vault.drop(name);
  }];
  if (form.hasAttribute("data-draft")) {
    fill(form, found.value);
    const photo = form.querySelector("[type=file]") ? " A photo has to be chosen again." : "";
    bar(form, `Typed here at ${clock(found.at)} and not sent: it is back.${photo}`, [discard]);
  } else {
    bar(form, `Something was typed here at ${clock(found.at)} and not sent.`, [
      ["Bring it back", () => fill(form, found.value)],
      ["Discard it", () => vault.drop(name)],
    ]);
  }
}

function tendAll() {
  if (!vault) return;
  const last = sessionStorage.getItem(SENT);
  let index = 0;
  for (const form of document.querySelectorAll("main form[method=post]:not([data-no-draft])")) {
    index += 1;
    if (!form.querySelector("textarea, select, input:not([type=hidden], [type=file])")) continue;
    tend(form, `${location.pathname}#${form.id || index}`);
  }
  // A form that was sent and led to another page has arrived.
  if (last && !last.startsWith(`${location.pathname}#`)) {
    vault.drop(last);
    sessionStorage.removeItem(SENT);
  }
}

tendAll();
document.addEventListener("htmx:afterSwap", () => {
  for (const form of document.querySelectorAll("main form[method=post]")) {
    if (form.dataset.tended !== "yes") tendAll();
  }
});
