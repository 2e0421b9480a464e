// Fetches the page's main part anew with every row the watch writes. Without it the page still works.
"use strict";

(() => {
  const main = document.getElementById("main");
  const line = document.getElementById("line");
  let fetching = false;
  let again = false;

  const isChoosing = () => ["SELECT", "INPUT"].includes(document.activeElement?.tagName);

  const renew = async () => {
    if (fetching) { again = true; return; }
    if (isChoosing()) return;
    fetching = true;
    try {
      const answer = await fetch("/fragment", { cache: "no-store" });
      if (answer.redirected || answer.status === 401) { location.reload(); return; }
      if (!answer.ok) throw new Error(String(answer.status));
      const text = await answer.text();
      if (isChoosing()) return;
      const fresh = document.createElement("template");
      fresh.innerHTML = text;
      if (line.textContent === line.dataset.lost) line.textContent = line.dataset.back;
      if (fresh.innerHTML === main.innerHTML) return; // nothing to tell a screen reader of
      const focused = document.activeElement?.id;
      main.replaceChildren(fresh.content);
      if (focused && focused !== "main") document.getElementById(focused)?.focus({ preventScroll: true });
    } catch {
      line.textContent = line.dataset.lost;
    } finally {
      fetching = false;
      if (again) { again = false; renew(); }
    }
  };

  const stream = new EventSource("/v1/now/stream");
  stream.addEventListener("now", renew);
  stream.addEventListener("error", () => { line.textContent = line.dataset.lost; });
  stream.addEventListener("open", () => { if (line.textContent === line.dataset.lost) renew(); });
  setInterval(renew, 30000); // the ages in words go on also when no row comes
  document.addEventListener("visibilitychange", () => { if (!document.hidden) renew(); });
})();
