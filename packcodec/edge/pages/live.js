"use strict";
// The base sends the whole state, already escaped, whenever it changes.
const line = document.getElementById("line");
const live = document.getElementById("live");
const source = new EventSource("live");
source.addEventListener("state", event => {
  // Whoever reads with a keyboard stays where they were.
  const held = live.contains(document.activeElement)
    ? document.activeElement.getAttribute("aria-label") : null;
  live.innerHTML = event.data;
  if (held) live.querySelector(`[aria-label="${held}"]`)?.focus();
});
source.addEventListener("open", () => { line.textContent = "Connected to the base."; });
source.addEventListener("error", () => {
  line.textContent = "The base does not answer; trying again. What stands here may be old.";
});
