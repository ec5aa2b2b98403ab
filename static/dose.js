// Makes a visit sheet quicker; everything works without it. It looks the dose up in the page's own table and works nothing out.
// Parts of a page are made here.
const make = (name, fields = {}) => Object.assign(document.createElement(name), fields);

function dose() {
  const $ = (id) => document.getElementById(id);
  const drops = $("drops");
  const table = $("doses");
  const rows = new Map([...document.querySelectorAll("#doses tr[data-drops]")].map((row) => [row.dataset.drops, row]));

  function count() {
    const digits = drops.value.replace(/[,\s]|drops?/gi, "");
    return /^\d+$/.test(digits) ? String(Number(digits)) : null;
  }

  // The table has two bands: inside the programme's pH as listed, outside of it nothing at any count.
  function outside() {
    const { phFrom, phTo, phSays } = table.dataset;
    const typed = $("ph").value.replace(/^\s*ph/i, "").replace(",", ".").trim();
    if (!phSays || !/^\d+\.?\d*$/.test(typed)) return "";
    return Number(typed) < Number(phFrom) || Number(typed) > Number(phTo) ? phSays : "";
  }

  // Part of the water renewed after the test: the table names the row that holds then.
  function found() {
    const row = rows.get(count());
    const quarters = $("renewed").value - 1;
    return row && quarters >= 0 ? rows.get(row.cells[4].textContent.split(" · ")[quarters]) : row;
  }

  function show() {
    const row = found();
    for (const other of rows.values()) other.classList.toggle("here", other === row);
    $("tell").hidden = !row;
    $("as-shown").hidden = true;
    if (!row) return;
    const [, level, state, put] = [...row.cells].map((cell) => cell.textContent);
    const some = Number(row.dataset.ml) > 0;
    const hold = some && outside();
    $("tell-state").textContent = state;
    $("tell-level").textContent = hold || level + " mg/L";
    const says = hold ? "Hold" : some ? "Put in " + put : put;
    const output = $("tell-dose");
    if (output.textContent !== says) {
      output.textContent = says;
      flash(output);
    }
    $("dose_shown_ml").value = hold ? "0" : row.dataset.ml;
    $("as-shown").hidden = !some || !!hold;
    $("as-shown").textContent = "I put in " + put;
  }

  function flash(output) {
    output.classList.remove("just");
    void output.offsetWidth;
    output.classList.add("just");
  }

  const button = (into, says, work) => {
    into.append(make("button", { type: "button", className: "big grow", textContent: says, onclick: work }));
  };

  const type = (value, field = drops) => {
    field.value = value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  };

  // Ten keys for gloved hands.
  function pad(into) {
    for (const digit of "1234567890") button(into, digit, () => type(drops.value + digit));
    button(into, "Empty", () => type(""));
  }

  // The reagent's time, as the kit's own sheet says.
  function timer(into, left) {
    let tick;
    for (const minutes of [1, 2, 5])
      button(into, minutes + " min", () => {
        clearInterval(tick);
        const end = Date.now() + minutes * 60000;
        const run = () => {
          const s = Math.ceil((end - Date.now()) / 1000);
          left.textContent = s > 0 ? Math.floor(s / 60) + ":" + String(s % 60).padStart(2, "0") : "Time is up";
          if (s > 0) return;
          clearInterval(tick);
          flash(left);
          navigator.vibrate?.([300, 200, 300]);
        };
        tick = setInterval(run, 250);
        run();
      });
  }

  if (drops && rows.size) {
    for (const step of document.querySelectorAll("[data-step]")) {
      step.hidden = false;
      step.addEventListener("click", () => type(String(Math.max(0, Number(count() ?? 0) + Number(step.dataset.step)))));
    }
    drops.addEventListener("focus", () => drops.select());
    drops.addEventListener("input", show);
    for (const id of ["ph", "renewed"]) $(id).addEventListener("input", show);
    $("as-shown").addEventListener("click", () => type($("dose_shown_ml").value, $("put_in")));
    $("pad").hidden = $("timer").hidden = false;
    pad($("keys"));
    timer($("minutes"), $("left"));
    show();
  }
}
