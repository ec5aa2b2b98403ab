// Small helps for the office; every page works without them.

// A form that is refused comes back with what was typed. It is kept in this tab until the next page: no passwords, nothing hidden.
const here = () => document.querySelector("link[rel=canonical]")?.getAttribute("href") ?? location.pathname + location.search;
const alike = (action) => [...document.querySelectorAll("main form[method=post]")].filter((form) => form.getAttribute("action") === action);
const fields = (form) => [...form.elements].filter((field) => field.name && !["hidden", "password", "file", "submit"].includes(field.type));
const ticks = (field) => ["checkbox", "radio"].includes(field.type);

addEventListener("submit", ({ target: form }) => {
  if (form.method !== "post" || !form.closest("main")) return;
  const action = form.getAttribute("action");
  const values = fields(form).map((field) => (ticks(field) ? field.checked : field.value));
  keep({ page: here(), action, nth: alike(action).indexOf(form), values });
});

function keep(typed) {
  sessionStorage.setItem("typed", JSON.stringify(typed));
}

function typeAgain({ action, nth, values, says }) {
  const form = alike(action)[nth];
  if (!form || fields(form).length !== values.length) return;
  fields(form).forEach((field, i) => (field[ticks(field) ? "checked" : "value"] = values[i]));
  for (let box = form.closest("details"); box; box = box.parentElement.closest("details")) box.open = true;
  if (says) form.prepend(Object.assign(document.createElement("p"), { className: "wrong", tabIndex: -1, role: "alert", textContent: says }));
}

const typed = JSON.parse(sessionStorage.getItem("typed"));
sessionStorage.removeItem("typed");
const back = document.querySelector("[data-back]");
if (typed && back) {
  // After a clash the page is to be looked at as it is now.
  const lost = back.dataset.back === "clash";
  if (!lost) keep({ ...typed, again: true, says: back.dataset.back });
  back.href = typed.page;
  back.textContent = lost ? "Back to the page" : "Back to what you typed";
} else if (typed?.again && typed.page === here()) typeAgain(typed);

document.querySelector(".wrong")?.focus();
for (const stops of document.querySelectorAll(".stops")) {
  // Alt and an arrow move the stop whose buttons have the focus.
  stops.addEventListener("keydown", (event) => {
    if (!event.altKey || !["ArrowUp", "ArrowDown"].includes(event.key)) return;
    const stop = event.target.closest("li");
    const how = event.key === "ArrowUp" ? "earlier" : "later";
    const form = stop?.querySelector(`form input[name=how][value=${how}]`)?.form;
    if (!form || form.querySelector("[aria-disabled=true]")) return;
    event.preventDefault();
    form.requestSubmit();
  });
}
for (const button of document.querySelectorAll("[aria-disabled=true]")) button.addEventListener("click", (event) => event.preventDefault());
const moved = location.hash && document.querySelector(location.hash + " details");
if (moved) {
  moved.open = true;
  moved.querySelector("summary").focus();
}
document.documentElement.dataset.ready = "";
