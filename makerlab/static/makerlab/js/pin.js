/* The picture PIN: twelve big buttons tapped in order fill the four groups of radios, which work without script. */

const form = document.querySelector("[data-pin]");
const pad = form.querySelector("[data-pin-pad]");
const fields = form.querySelector("[data-pin-fields]");
const status = form.querySelector("[data-pin-status]");
const slots = [...form.querySelectorAll(".slot")];
const groups = [...fields.querySelectorAll("fieldset")];
let chosen = [];

function show() {
  groups.forEach((group, place) => {
    for (const radio of group.querySelectorAll("input")) radio.checked = radio.value === chosen[place];
  });
  slots.forEach((slot, place) => slot.classList.toggle("full", place < chosen.length));
  status.textContent = status.dataset.words.replace("{n}", chosen.length);
}

pad.addEventListener("click", (event) => {
  const picture = event.target.closest("[data-picture]");
  if (picture && chosen.length < groups.length) chosen = [...chosen, picture.dataset.picture];
  else if (event.target.closest("[data-pin-back]")) chosen = chosen.slice(0, -1);
  else return;
  show();
  if (picture && chosen.length === groups.length) form.querySelector("button[type=submit]").focus();
});

// a hidden required radio would stop the form without saying why; the server says it in words
for (const radio of fields.querySelectorAll("input")) radio.required = false;
fields.hidden = true;
pad.hidden = false;
show();
