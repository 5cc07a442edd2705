// What is typed and not yet sent is kept on this device, encrypted, for 24 hours. The key is the signed-in person's:
// the server gives it to the page and it stays in memory, so a device that is signed out holds only sealed text.

const LIFE = 24 * 60 * 60 * 1000;
const HEAD = "draft:";
const text = new TextEncoder();

class Vault {
  constructor(user, key) {
    this.user = user;
    this.key = key;
    this.writing = Promise.resolve();
  }

  #name(name) {
    return `${HEAD}${this.user}:${name}`;
  }

  // Writes follow one another, so that an older text never lands after a newer one.
  keep(name, value) {
    const at = Date.now();
    this.writing = this.writing.then(async () => {
      const iv = crypto.getRandomValues(new Uint8Array(12));
      const sealed = await crypto.subtle.encrypt({ name: "AES-GCM", iv, additionalData: text.encode(name) }, this.key, text.encode(JSON.stringify(value)));
      localStorage.setItem(this.#name(name), JSON.stringify({ at, iv: packed(iv), sealed: packed(new Uint8Array(sealed)) }));
    }).catch(() => {});
    return this.writing;
  }

  async kept(name) {
    const row = localStorage.getItem(this.#name(name));
    if (!row) return null;
    try {
      const { at, iv, sealed } = JSON.parse(row);
      if (Date.now() - at > LIFE) throw new Error("old");
      const plain = await crypto.subtle.decrypt({ name: "AES-GCM", iv: unpacked(iv), additionalData: text.encode(name) }, this.key, unpacked(sealed));
      return { at: new Date(at), value: JSON.parse(new TextDecoder().decode(plain)) };
    } catch {
      localStorage.removeItem(this.#name(name)); // old, broken, or sealed under a password that is no longer
      return null;
    }
  }

  drop(name) {
    this.writing = this.writing.then(() => localStorage.removeItem(this.#name(name)));
    return this.writing;
  }
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
    let at = 0;
    try {
      at = JSON.parse(localStorage.getItem(name)).at;
    } catch {
      // broken rows go as well
    }
    if (Date.now() - at > LIFE) localStorage.removeItem(name);
  }
}

async function open() {
  forgetOld();
  // Without a secure connection the browser seals nothing: then nothing is kept.
  if (!window.crypto?.subtle) return null;
  try {
    const answer = await fetch("/draft-key/", { headers: { Accept: "application/json" }, redirect: "error" });
    if (!answer.ok) return null;
    const { key, user } = await answer.json();
    return new Vault(user, await crypto.subtle.importKey("raw", unpacked(key), "AES-GCM", false, ["encrypt", "decrypt"]));
  } catch {
    return null;
  }
}

export const drafts = open();

export function clock(at) {
  return `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
}

// --- signing out warns about what is not sent, then wipes -------------------------------------------------------------
const leave = document.querySelector("form.me");
leave?.addEventListener("submit", (event) => {
  const unsent = names().length;
  if (unsent && leave.dataset.sure !== "yes") {
    event.preventDefault();
    event.stopImmediatePropagation();
    warn(unsent);
    return;
  }
  for (const name of names()) localStorage.removeItem(name);
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
