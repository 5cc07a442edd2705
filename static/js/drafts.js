// What is typed and not yet sent is kept on this device, encrypted, for 24 hours. The key is the signed-in person's:
// the server gives it to the page and it stays in memory, so a device that is signed out holds only sealed text.

const LIFE = 24 * 60 * 60 * 1000;
const MOST_ASKED = 40;
const HEAD = "draft:";
const text = new TextEncoder();

// A row is named by its user, the form's address and the form's key: two tabs of one form keep a row each.
class Vault {
  constructor(user, key) {
    this.user = user;
    this.key = key;
    this.waiting = 0;
    this.writing = Promise.resolve();
  }

  #name(name, key) {
    return `${HEAD}${this.user}:${name}~${key}`;
  }

  #next(work) {
    this.waiting += 1;
    this.writing = this.writing.then(work).catch(() => {}).finally(() => {
      this.waiting -= 1;
    });
    return this.writing;
  }

  // Writes follow one another, so that an older text never lands after a newer one.
  keep(name, value, key = "", sentAt = 0) {
    const at = Date.now();
    return this.#next(async () => {
      const iv = crypto.getRandomValues(new Uint8Array(12));
      const sealed = await crypto.subtle.encrypt({ name: "AES-GCM", iv, additionalData: text.encode(name) }, this.key, text.encode(JSON.stringify(value)));
      const { sent = sentAt, byItself } = rowOf(this.#name(name, key)) ?? {};
      put(this.#name(name, key), { at, sent, byItself, iv: packed(iv), sealed: packed(new Uint8Array(sealed)) });
    });
  }

  // It is on its way: whether it arrived, only the server knows.
  sent(name, key, byItself) {
    return this.#next(() => {
      const row = rowOf(this.#name(name, key));
      if (row) put(this.#name(name, key), { ...row, sent: Date.now(), byItself });
    });
  }

  // What was typed on after its form was stored is a form of its own.
  renew(name, key, fresh) {
    return this.#next(() => {
      const { at, iv, sealed } = rowOf(this.#name(name, key));
      put(this.#name(name, fresh), { at, iv, sealed, renewed: true });
      localStorage.removeItem(this.#name(name, key));
    });
  }

  // Newest first, opened; a row that is old, broken, or sealed under a password that is no longer goes.
  async all(name) {
    const found = [];
    for (const row of this.rows().filter((one) => one.name === name)) {
      try {
        if (Date.now() - row.at > LIFE) throw new Error("old");
        const plain = await crypto.subtle.decrypt({ name: "AES-GCM", iv: unpacked(row.iv), additionalData: text.encode(name) }, this.key, unpacked(row.sealed));
        found.push({ ...row, at: new Date(row.at), value: JSON.parse(new TextDecoder().decode(plain)) });
      } catch {
        localStorage.removeItem(this.#name(name, row.key));
      }
    }
    return found.sort((one, other) => other.at - one.at);
  }

  async kept(name) {
    return (await this.all(name))[0] ?? null;
  }

  drop(name, key = "") {
    return this.#next(() => localStorage.removeItem(this.#name(name, key)));
  }

  // What is kept of this user, still sealed.
  rows() {
    const head = `${HEAD}${this.user}:`;
    return names().filter((full) => full.startsWith(head)).map((full) => {
      const cut = full.lastIndexOf("~");
      return { name: full.slice(head.length, cut), key: full.slice(cut + 1), ...rowOf(full) };
    });
  }
}

function rowOf(full) {
  try {
    return JSON.parse(localStorage.getItem(full));
  } catch {
    return null;
  }
}

function put(full, row) {
  localStorage.setItem(full, JSON.stringify(row));
}

function packed(bytes) {
  let out = "";
  for (const byte of bytes) out += String.fromCharCode(byte);
  return btoa(out);
}

function unpacked(words) {
  return Uint8Array.from(atob(words), (letter) => letter.charCodeAt(0));
}

function names() {
  return Object.keys(localStorage).filter((name) => name.startsWith(HEAD));
}

function forgetOld() {
  for (const name of names()) {
    if (Date.now() - (rowOf(name)?.at ?? 0) > LIFE) localStorage.removeItem(name); // broken rows go as well
  }
}

// Who is signed in now, a stamp that forms need, and what the server stored of the forms with these keys.
export async function hello(keys = []) {
  const asked = keys.map((key) => `sent=${encodeURIComponent(key)}`).join("&");
  const answer = await fetch(`/draft-key/?${asked}`, { headers: { Accept: "application/json" }, redirect: "error" });
  if (!answer.ok) throw Object.assign(new Error("no answer"), { status: answer.status });
  return answer.json();
}

async function open() {
  forgetOld();
  const waiting = names().filter((name) => rowOf(name)?.sent).map((name) => name.slice(name.lastIndexOf("~") + 1));
  const back = Object.values(history.state?.forms ?? {}); // sent from this very page, before somebody went back to it
  try {
    const { key, user, stored } = await hello([...back, ...waiting].slice(0, MOST_ASKED));
    // Without a secure connection the browser seals nothing: then nothing is kept.
    if (!user || !window.crypto?.subtle) return { vault: null, stored: stored ?? [] };
    return { vault: new Vault(user, await crypto.subtle.importKey("raw", unpacked(key), "AES-GCM", false, ["encrypt", "decrypt"])), stored };
  } catch {
    return { vault: null, stored: [] };
  }
}

export const opened = open();
export const drafts = opened.then(({ vault }) => vault);

export function clock(at) {
  return `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
}

// --- signing out warns about what is not sent, then wipes -------------------------------------------------------------
const leave = document.querySelector("form.me");
leave?.addEventListener("submit", (event) => {
  // Handed to a colleague, what is kept stays sealed and comes back with its owner.
  if (event.submitter?.hasAttribute("formaction")) return;
  const mine = names().filter((name) => name.startsWith(`${HEAD}${document.body.dataset.user}:`));
  if (mine.length && leave.dataset.sure !== "yes") {
    event.preventDefault();
    event.stopImmediatePropagation();
    warn(mine.length);
    return;
  }
  for (const name of mine) localStorage.removeItem(name);
}, { capture: true });

function warn(unsent) {
  const box = document.createElement("dialog");
  box.className = "sheet stack";
  box.setAttribute("aria-labelledby", "unsent-title");
  const title = document.createElement("h2");
  title.id = "unsent-title";
  title.textContent = unsent === 1 ? "One form is not sent" : `${unsent} forms are not sent`;
  const words = document.createElement("p");
  words.textContent = "It is kept on this device only. Signing out removes it.";
  const row = document.createElement("p");
  row.className = "row";
  const stay = document.createElement("button");
  stay.type = "button";
  stay.className = "main";
  stay.textContent = "Stay signed in";
  const wipe = document.createElement("button");
  wipe.type = "button";
  wipe.className = "alarm";
  wipe.textContent = "Remove it and sign out";
  row.append(stay, wipe);
  box.append(title, words, row);
  document.body.append(box);
  stay.addEventListener("click", () => box.remove());
  box.addEventListener("close", () => box.remove());
  wipe.addEventListener("click", () => {
    leave.dataset.sure = "yes";
    window.dispatchEvent(new CustomEvent("drafts:wiped"));
    leave.requestSubmit();
  });
  box.showModal();
}
