// A form sent by script: a lost network, or a sign-in that ended meanwhile, leaves the page and what is marked in place.

const AGAIN = 20000; // ms between tries while nothing got through

// One line under the picture: what was found, or what became of the sending.
export function teller(says) {
  return (words, kind = "") => {
    says.textContent = words;
    says.className = `verdict-line ${kind}`;
  };
}

// `ready` runs before each sending, `arrived` after it, `refused` with the server's reason.
export function sends(form, { says, what, ready = () => {}, arrived = async () => {}, refused = null }) {
  let sending = false;
  const say = teller(says);

  const stays = (words, unsent) => {
    form.dataset.unsent = unsent;
    form.dispatchEvent(new CustomEvent("draft:unsent"));
    say(words, "bad");
  };

  // Kept, and one link away from being sent.
  const way = (words, to, link) => {
    stays(`${words} ${what} is kept on this device. `, "refused");
    const anchor = document.createElement("a");
    anchor.href = to;
    anchor.textContent = link;
    says.append(anchor);
  };

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
        const here = location.pathname + location.search;
        if (answer.redirected && new URL(answer.url).pathname.startsWith("/sign-in/")) {
          way("Not sent: you are no longer signed in.", `/sign-in/?next=${encodeURIComponent(here)}`, "Sign in again, and it is back");
        } else if (answer.status === 403) {
          way("Not sent: this page is from before the last sign-in.", here, "Load it again, and it is back");
        } else stays(`The clinic's server answered ${answer.status}; ${what.toLowerCase()} stays here.`, "refused");
        return;
      }
      const told = await answer.json();
      if (!answer.ok) {
        stays(told.refused, "refused");
        refused?.(told.refused);
        return;
      }
      form.dataset.unsent = "no";
      form.dispatchEvent(new CustomEvent("draft:done"));
      await arrived();
      location.assign(told.next);
    } catch {
      stays(`Not yet sent: no network. ${what} is kept on this device and is sent when the network is back, or press the button again.`, "yes");
    } finally {
      sending = false;
      delete form.dataset.sent;
    }
  }

  const again = () => {
    if (form.dataset.unsent === "yes" && navigator.onLine) go();
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    go();
  });
  window.addEventListener("online", again);
  setInterval(again, AGAIN);
}
