// A page that is left may be put aside whole, to be shown again when somebody goes back: what it holds would hold up every other
// page, so it lets go of it.
let away = false;
const held = new Set();
addEventListener("pagehide", () => {
  away = true;
  for (const letGo of held)
    try {
      letGo();
    } catch {} // just over
});
addEventListener("pageshow", () => (away = false));

// A database in the browser. Answers with how to run one transaction in it: on the disk when it is over, answering with the result of
// the request that `work` returns. It may wait for an answer only where it says so (`asks`, as reading does).
function database(name, make) {
  let opened;
  const open = () =>
    (opened ??= new Promise((done, fail) => {
      const asked = indexedDB.open(name, 1);
      asked.onupgradeneeded = () => make(asked.result);
      asked.onsuccess = () => {
        asked.result.onversionchange = asked.result.onclose = () => (asked.result.close(), (opened = null));
        done(asked.result);
      };
      asked.onerror = () => ((opened = null), fail(asked.error));
    }));

  return async (stores, mode, work, asks = mode === "readonly") => {
    const db = await open();
    if (away && asks) throw "away";
    return new Promise((done, fail) => {
      const t = db.transaction(stores, mode, { durability: "strict" });
      const asked = work(...[stores].flat().map((name) => t.objectStore(name)));
      const letGo = () => (asks ? t.abort() : t.commit?.());
      t.oncomplete = () => (held.delete(letGo), done(asked?.result));
      t.onabort = () => (held.delete(letGo), fail(t.error));
      held.add(letGo);
      if (away) letGo();
    });
  };
}

// What was kept on this phone, and how it is sent. Pages and the worker share it.
// Nothing leaves "out" before the office has answered with the fingerprint of these very bytes.
var outbox = (() => {
  // Sent items that are held, to be offered again should the office lose its newest records.
  const RECEIPTS = 400;
  const tx = database("yard", (db) => {
    db.createObjectStore("out", { keyPath: "n", autoIncrement: true }).createIndex("id", "id", { unique: true });
    db.createObjectStore("sent", { keyPath: "id" });
    for (const name of ["draft", "meta"]) db.createObjectStore(name);
  });

  const all = async (store) => (await tx(store, "readonly", (s) => s.getAll())).sort((a, b) => a.n - b.n);
  const get = (store, key) => tx(store, "readonly", (s) => s.get(key));
  const put = (store, value, key) => tx(store, "readwrite", (s) => s.put(value, key));

  const hex = (bytes) => [...bytes].map((x) => x.toString(16).padStart(2, "0")).join("");

  // RFC 9562, version 7: milliseconds, then chance.
  function uuid() {
    const b = crypto.getRandomValues(new Uint8Array(16));
    for (let i = 5, t = Date.now(); i >= 0; i--, t = Math.floor(t / 256)) b[i] = t % 256;
    b[6] = (b[6] & 15) | 112;
    b[8] = (b[8] & 63) | 128;
    return hex(b).replace(/(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
  }

  const sha256 = async (bytes) => hex(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes)));

  // Another copy of the records answers: what was sent lately goes back into "out", in its old order.
  async function epoch(now) {
    const before = await get("meta", "epoch");
    if (!now || before === now) return;
    const sent = before ? await all("sent") : [];
    await tx(["out", "sent", "meta"], "readwrite", (out, receipts, meta) => {
      for (const { n, id, form, about, title, body, at } of sent) {
        out.put({ n, id, form, about, title, body, at, tried: true });
        receipts.delete(id);
      }
      meta.put(now, "epoch");
    });
  }

  // Gives up after so many milliseconds, and when the page is left.
  function limited(ms, work) {
    const own = new AbortController();
    const late = setTimeout(() => own.abort("late"), ms);
    const letGo = () => own.abort("left");
    held.add(letGo);
    return work(own.signal).finally(() => (clearTimeout(late), held.delete(letGo)));
  }

  // Without a body it only asks.
  const post = (path, body, headers) =>
    limited(60000, (signal) => fetch(path, { method: body ? "POST" : "GET", body, headers, redirect: "manual", cache: "no-store", signal }));

  // Why an answer is no yes: in words where waiting helps, else its number; 0 for a yes.
  const no = ({ ok, status, type }) =>
    type === "opaqueredirect" || status === 401 || status === 403 ? "Sign in to send."
      : /^4(?!0[89]|29)/.test(status) ? status
      : ok ? 0 : "The office does not take it just now.";

  async function one(item) {
    if (!item.tried) await put("out", (item = { ...item, tried: true }));
    const headers = { "content-type": "application/x-www-form-urlencoded", "idempotency-key": `"${item.id}"` };
    const phone = await get("meta", "phone");
    if (phone) headers.phone = phone;
    const answer = await post("/outbox/" + item.id, item.body, headers);
    const why = no(answer);
    if (typeof why === "string") return why;
    // This item is stuck, the rest goes on.
    if (why) return put("out", { ...item, tried: true, stuck: why }).then(() => "");
    const said = await answer.json();
    if (said.sha256 !== (await sha256(new TextEncoder().encode(item.body)))) return "The answer does not fit.";
    await tx(["out", "sent"], "readwrite", (out, sent) => {
      out.delete(item.n);
      sent.put({ ...item, state: said.state, says: said.says, report: said.report });
    });
    await epoch(said.epoch);
  }

  // One sender at a time in all windows; after a while of waiting the turn is taken. Two senders at once do no harm, since the
  // office knows each item by its number.
  function turn(work) {
    // Where the phone itself knows of no line nothing is tried: until then an item can be taken back.
    const tries = async () => (away || !navigator.onLine ? "No signal." : work().catch(() => "No signal."));
    return limited(15000, (signal) => navigator.locks.request("outbox", { signal }, tries)).catch((why) =>
      why === "late" ? navigator.locks.request("outbox", { steal: true }, tries) : "Another window sends."
    );
  }

  // Sends everything, oldest first. Answers with what it stopped at.
  const send = () =>
    turn(async () => {
      for (let item; (item = (await all("out")).find((i) => !i.stuck)); ) {
        const why = await one(item);
        if (why) return why;
      }
      const old = (await all("sent")).slice(0, -RECEIPTS);
      if (old.length) await tx("sent", "readwrite", (s) => old.forEach((i) => s.delete(i.id)));
      return "";
    });

  // Takes an item that was never on its way back into the draft of its form. A sender at work is waited for: it may be just over,
  // and what it has begun with is on its way.
  const takeBack = (id) =>
    limited(15000, (signal) =>
      navigator.locks.request("outbox", { signal }, async () => {
        const item = (await all("out")).find((i) => i.id === id && !i.tried);
        if (!item) return false;
        await tx(["out", "draft"], "readwrite", (out, draft) => {
          out.delete(item.n);
          draft.put({ id: uuid(), body: item.body, at: Date.now() }, item.draft ?? item.about + item.form);
        });
        return true;
      })
    ).catch(() => false);

  return { tx, all, get, put, uuid, sha256, epoch, post, no, turn, send, takeBack };
})();
