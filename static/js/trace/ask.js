// Asking the server what stands on the page is worth, a moment after the last change; only the newest answer counts.

// `tell` gets the answer; `lost` runs when none came.
export function asks(form, { after, tell, lost }) {
  let asked = null;
  let wait = 0;

  const hold = () => clearTimeout(wait);

  // An answer still on its way must not write over what became of the sending.
  const stop = () => {
    hold();
    asked?.abort();
  };

  const now = async () => {
    stop();
    asked = new AbortController();
    const body = new FormData(form);
    body.delete("form_key"); // a question is no sending: with the key of a stored form it would be refused as one
    try {
      const answer = await fetch(form.dataset.check, { method: "POST", body, signal: asked.signal });
      if (!answer.ok) throw new Error(String(answer.status));
      tell(await answer.json());
    } catch (fault) {
      if (fault.name !== "AbortError") lost();
    }
  };

  const soon = () => {
    hold();
    wait = setTimeout(now, after);
  };

  return { hold, now, soon, stop };
}
