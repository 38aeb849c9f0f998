"use strict";
// The base sends the whole state, already escaped, whenever it changes.
const line = document.getElementById("line");
const source = new EventSource("live");
source.addEventListener("state", event => {
  document.getElementById("live").innerHTML = event.data;
});
source.addEventListener("open", () => { line.textContent = "Connected to the base."; });
source.addEventListener("error", () => {
  line.textContent = "The base does not answer; trying again. What stands here may be old.";
});
