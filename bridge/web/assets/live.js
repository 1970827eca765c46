// Fetches the page again when the service says that something is new, and puts in what differs. Without it the page
// is loaded anew every half minute.
"use strict";
(() => {
  // The day is wider than a phone: it opens where now is.
  const day = document.querySelector("figure.wide");
  const now = day && day.querySelector(".now");
  if (now) {
    const at = now.getBoundingClientRect().left - day.getBoundingClientRect().left;
    if (at > day.clientWidth * 0.8) day.scrollLeft = at - day.clientWidth / 2;
  }
  const says = document.getElementById("live");
  if (!says || !window.EventSource) return;
  let busy = false;
  const put = text => {
    const fresh = new DOMParser().parseFromString(text, "text/html");
    for (const part of document.querySelectorAll("[data-part]")) {
      const next = fresh.getElementById(part.id);
      if (!next || next.outerHTML === part.outerHTML || part.contains(document.activeElement)) continue;
      const scrolled = [...part.querySelectorAll("figure")].map(f => f.scrollLeft);
      const made = document.importNode(next, true);
      part.replaceWith(made);
      made.querySelectorAll("figure").forEach((f, i) => { f.scrollLeft = scrolled[i] || 0; });
    }
    document.title = fresh.title;
  };
  const refresh = async () => {
    if (busy || document.hidden) return;
    busy = true;
    try {
      const answer = await fetch(location.pathname, { cache: "no-store" });
      if (answer.ok) put(await answer.text());
    } catch { /* the next event tries again */ }
    busy = false;
  };
  const events = new EventSource("events");
  events.addEventListener("changed", refresh);
  events.onopen = () => { says.textContent = "follows by itself"; says.className = "soft"; refresh(); };
  events.onerror = () => { says.textContent = "no connection to the service: what stands here is old"; says.className = "bad"; };
  document.addEventListener("visibilitychange", refresh);
})();
