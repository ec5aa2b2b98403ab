// Small helps for the office; every page works without them.

// A form that is refused comes back with what was typed. It is kept in this tab until the next page: no passwords, nothing hidden.
const here = () => document.querySelector("link[rel=canonical]")?.getAttribute("href") ?? location.pathname + location.search;
const alike = (action) => [...document.querySelectorAll("main form[method=post]")].filter((form) => form.getAttribute("action") === action);
const fields = (form) => [...form.elements].filter((field) => field.name && !["hidden", "password", "file", "submit"].includes(field.type));
const ticks = (field) => ["checkbox", "radio"].includes(field.type);

addEventListener("submit", ({ target: form }) => {
  if (form.method !== "post" || !form.closest("main") || form.elements.then) return;
  const action = form.getAttribute("action");
  const values = fields(form).map(shown);
  keep({ page: here(), action, nth: alike(action).indexOf(form), values });
});

function keep(typed) {
  sessionStorage.setItem("typed", JSON.stringify(typed));
}

const shown = (field) => (ticks(field) ? field.checked : field.value);

// After a clash the form holds what stands now, and what was typed is told beside it.
function typedOtherwise(form, values) {
  const words = (field, value) => (value === true ? "ticked" : value === false ? "not ticked" : `“${value}”`);
  const name = (field) => field.labels?.[0]?.textContent.trim() || field.name;
  const other = fields(form).map((field, i) => (shown(field) === values[i] ? "" : `${name(field)}: ${words(field, values[i])}`));
  const list = other.filter(Boolean).join("; ");
  return "Somebody else changed this meanwhile. The form holds what stands now." + (list && ` You typed: ${list}.`);
}

function typeAgain({ action, nth, values, says }) {
  const form = alike(action)[nth];
  if (!form || fields(form).length !== values.length) return;
  const clash = says === "clash";
  if (clash) says = typedOtherwise(form, values);
  else fields(form).forEach((field, i) => (field[ticks(field) ? "checked" : "value"] = values[i]));
  if (!says || !values.length) return;
  for (let box = form.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
  form.prepend(Object.assign(document.createElement("p"), { className: "wrong", tabIndex: -1, role: "alert", textContent: says }));
}

const typed = JSON.parse(sessionStorage.getItem("typed"));
sessionStorage.removeItem("typed");
const back = document.querySelector("[data-back]");
const then = document.querySelector("main input[name=then]");
if (typed && then) {
  // Signed out meanwhile: back to the page afterwards, with what was typed on it.
  keep({ ...typed, again: true, says: "You had to sign in again: nothing of this is kept yet." });
  then.value = typed.page;
} else if (typed && back) {
  keep({ ...typed, again: true, says: back.dataset.back });
  back.href = typed.page;
  back.textContent = typed.values.length ? "Back to what you typed" : "Back to the page";
} else if (typed?.again && typed.page === here()) typeAgain(typed);

document.querySelector(".wrong")?.focus();
for (const stops of document.querySelectorAll(".stops")) {
  // Alt and an arrow move the stop whose buttons have the focus.
  stops.addEventListener("keydown", (event) => {
    if (!event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    const stop = event.target.closest("li");
    const how = event.key === "ArrowUp" ? "earlier" : "later";
    const button = stop?.querySelector(`button[name=how][value=${how}]`);
    if (!button || button.ariaDisabled === "true") return;
    event.preventDefault();
    button.form.requestSubmit(button);
  });
}
for (const button of document.querySelectorAll("[aria-disabled=true]")) button.addEventListener("click", (event) => event.preventDefault());
const moved = location.hash && document.querySelector(location.hash + " details");
if (moved) {
  moved.open = true;
  moved.querySelector("summary").focus();
}
document.documentElement.dataset.ready = "";
