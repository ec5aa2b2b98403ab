// The yard's one script, after its parts: for a page the sheet's helps and the phone's own, for the worker its part.
if (self.document) {
  dose();
  document.getElementById("wrong")?.focus();
  document.documentElement.dataset.ready = "";
  if ("serviceWorker" in navigator && self.indexedDB && navigator.locks && crypto.subtle) phone();
} else worker();
