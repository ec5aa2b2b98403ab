// The yard's one script, after its parts: for a page the sheet's helps and the phone's own, for the worker its part.
if (self.document) {
  dose();
  // For glaring sun, kept on this phone.
  const sun = document.getElementById("sun");
  const bright = (on) => {
    document.documentElement.dataset.theme = on ? "sun" : "";
    sun.textContent = on ? "Usual colours" : "Black on white";
  };
  sun.hidden = false;
  bright(localStorage.getItem("sun"));
  sun.addEventListener("click", () => {
    const on = !localStorage.getItem("sun");
    on ? localStorage.setItem("sun", "1") : localStorage.removeItem("sun");
    bright(on);
  });
  document.getElementById("wrong")?.focus();
  if ("serviceWorker" in navigator && self.indexedDB && navigator.locks && crypto.subtle) phone();
  document.documentElement.dataset.ready = "";
} else worker();
