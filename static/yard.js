// Makes a visit sheet quicker; everything works without it. It looks the dose up in the page's own table and works nothing out.
const drops = document.getElementById("drops");
const tell = document.getElementById("tell");
const rows = new Map([...document.querySelectorAll("#doses tr[data-drops]")].map((row) => [row.dataset.drops, row]));

function count() {
  const digits = drops.value.replace(/[,\s]|drops?/gi, "");
  return /^\d+$/.test(digits) ? String(Number(digits)) : null;
}

// The table has two bands: inside the programme's pH as listed, outside of it nothing at any count.
function outside() {
  const { phFrom, phTo, phSays } = document.getElementById("doses")?.dataset ?? {};
  const typed = document.getElementById("ph")?.value.trim() ?? "";
  if (!phSays || !/^\d+(\.\d+)?$/.test(typed)) return "";
  return Number(typed) < Number(phFrom) || Number(typed) > Number(phTo) ? phSays : "";
}

function show() {
  const row = rows.get(count());
  for (const other of rows.values()) other.classList.toggle("here", other === row);
  tell.hidden = !row;
  if (!row) return;
  const [, level, state, dose] = [...row.cells].map((cell) => cell.textContent);
  document.getElementById("tell-state").textContent = state;
  document.getElementById("tell-level").textContent = level + " mg/L";
  const output = document.getElementById("tell-dose");
  const hold = Number(row.dataset.ml) > 0 ? outside() : "";
  const says = hold ? "Hold" : Number(row.dataset.ml) > 0 ? "Put in " + dose : dose;
  if (hold) document.getElementById("tell-level").textContent = hold;
  if (output.textContent !== says) {
    output.textContent = says;
    output.classList.remove("just");
    void output.offsetWidth;
    output.classList.add("just");
  }
  document.getElementById("dose_shown_ml").value = hold ? "0" : row.dataset.ml;
}

if (drops && rows.size) {
  for (const button of document.querySelectorAll("[data-step]")) {
    button.hidden = false;
    button.addEventListener("click", () => {
      const next = Math.max(0, Number(count() ?? 0) + Number(button.dataset.step));
      drops.value = String(next);
      show();
    });
  }
  drops.addEventListener("focus", () => drops.select());
  drops.addEventListener("input", show);
  document.getElementById("ph")?.addEventListener("input", show);
  show();
}
document.getElementById("wrong")?.focus();
document.documentElement.dataset.ready = "";
