// Small helps for the office; every page works without them.
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
