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
    try {
      const answer = await fetch(form.dataset.check, { method: "POST", body: new FormData(form), signal: asked.signal });
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
