// Until the answer is there, what stands beside the drawing is from before, and says so.

export function waits(form) {
  const column = form.querySelector(".result-column");
  const late = document.getElementById("bench-late");
  for (const name of ["input", "bench:moving", "bench:moved"]) {
    form.addEventListener(name, () => column.classList.add("waiting"));
  }
  column.addEventListener("htmx:afterRequest", (event) => {
    const answered = event.detail.successful || event.detail.xhr?.status === 422;
    if (answered) column.classList.remove("waiting");
    late.hidden = answered || event.detail.xhr?.status === 0 && event.detail.xhr?.readyState === 0;
  });
  document.body.addEventListener("htmx:sendError", () => {
    late.hidden = false;
  });
}
