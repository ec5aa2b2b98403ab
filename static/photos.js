// Photos: made small on the phone, kept on it until the office has them, sent a piece at a time after everything else.
// They have a database of their own: an older pack's script opens "yard" as it knows it, and a newer form of that would shut it out.
var photos = (() => {
  const MOST = 4;
  const SIDE = 1600;
  const SIZE = 500000;
  const PIECE = 65536;
  // Sent ones that are held, to be offered again should the office lose its newest records.
  const HELD = 20;
  const tx = database("photos", (db) => db.createObjectStore("photo", { keyPath: "n", autoIncrement: true }));
  const all = () => tx("photo", "readonly", (s) => s.getAll());
  const write = (work, asks) => tx("photo", "readwrite", work, asks);

  // Changes one that is still there, as it is by then. What `work` makes of it is kept; nothing: it goes.
  const change = (n, work) =>
    write((s) => {
      s.get(n).onsuccess = (e) => {
        const now = e.target.result && work(e.target.result);
        now ? s.put(now) : s.delete(n);
      };
    }, true);

  async function unsent() {
    const epoch = await outbox.get("meta", "epoch");
    return (await all()).filter((p) => !p.sent || p.sent !== epoch);
  }
  const left = async () => (await unsent()).length;

  async function forget(held = 0) {
    const left = (await unsent()).map((p) => p.n);
    const sent = (await all()).filter((p) => !left.includes(p.n));
    const old = sent.slice(0, Math.max(0, sent.length - held));
    if (old.length) await write((s) => old.forEach((p) => s.delete(p.n)));
  }

  // Drawn anew, nothing is left of the file but the picture: no place, no maker. First worse, then smaller.
  async function small(file) {
    const img = make("img", { src: URL.createObjectURL(file) });
    const canvas = make("canvas");
    try {
      await img.decode();
      for (let side = SIDE, quality = 0.85; ; quality > 0.5 ? (quality -= 0.1) : (side *= 0.8)) {
        const { naturalWidth: w, naturalHeight: h } = img;
        const by = Math.min(1, side / Math.max(w, h));
        canvas.width = Math.max(1, w * by);
        canvas.height = Math.max(1, h * by);
        const pen = canvas.getContext("2d");
        pen.fillStyle = "#fff";
        pen.fillRect(0, 0, canvas.width, canvas.height);
        pen.drawImage(img, 0, 0, canvas.width, canvas.height);
        const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
        if (blob.size <= SIZE) return await blob.arrayBuffer();
      }
    } finally {
      URL.revokeObjectURL(img.src);
    }
  }

  // What a photo can belong to: a fill has a sheet of its own, a correction is of what it corrects.
  const firsts = (items, about) => items.filter((i) => i.about === about && /^(report|not-done|written-down)/.test(i.form));

  // At a unit that nobody planned to visit: what was just kept here, if anything.
  async function add(file, about) {
    const bytes = await small(file);
    const item = about.planned ? null : firsts(await outbox.all("out"), about.about).at(-1)?.id;
    const photo = { ...about, item, id: outbox.uuid(), sha256: await outbox.sha256(bytes), bytes, caption: "", at: Date.now() };
    const keep = () => write((s) => s.add(photo));
    await keep().catch(() => forget().then(keep));
  }

  // The number of what was kept with a photo: before that is kept, it is not sent.
  function itemOf(photo, items) {
    const own = firsts(items, photo.about);
    return photo.report ?? photo.item ?? (own.find((i) => i.at >= photo.at) ?? (photo.planned && own.at(-1)))?.id;
  }

  // How much of each the office has, as far as this page knows.
  const had = {};

  // One piece; answers with what it stopped at, with nothing while there is more.
  async function piece() {
    const out = await outbox.all("out");
    if (out.some((i) => !i.stuck)) return "";
    const items = [...(await outbox.all("sent")), ...out].sort((a, b) => a.n - b.n);
    const photo = (await unsent()).find((p) => !p.stuck && itemOf(p, items));
    if (!photo) return "";
    const { n, id, sha256, bytes, about: of, planned, caption, at } = photo;
    const about = new URLSearchParams({ sha256, size: bytes.byteLength, item: itemOf(photo, items), caption, at });
    if (planned) about.set("visit", of);
    const from = had[id];
    let answer;
    if (from == null) answer = await outbox.post(`/photos/${id}/sent?${about}`);
    else {
      if (!photo.tried) await change(n, (p) => ({ ...p, tried: true }));
      const headers = { "idempotency-key": `"${id}"`, "content-type": "application/octet-stream" };
      const phone = await outbox.get("meta", "phone");
      if (phone) headers.phone = phone;
      answer = await outbox.post(`/photos/${id}/from/${from}?${about}`, bytes.slice(from, from + PIECE), headers);
    }
    const why = outbox.no(answer);
    const said = await answer.json().catch(() => ({}));
    if (typeof why === "string") return why;
    if (why) return change(n, (p) => ({ ...p, stuck: said.says ?? why }));
    had[id] = said.have;
    if (said.sha256 !== sha256) return from == null || said.have > from ? undefined : "The answer does not fit.";
    await change(n, (p) => ({ ...p, sent: said.epoch }));
    await outbox.epoch(said.epoch);
    await forget(HELD);
  }

  // Sends all, oldest first. The lock is let go after each piece, so that a sheet kept meanwhile goes before the next.
  let sending;
  const send = () =>
    (sending ??= (async () => {
      let why;
      while (why == null) why = await outbox.turn(piece);
      sending = null;
      return why;
    })());

  // The photos of one visit or report on its page, or all on this phone. Of a unit there may be another visit: its sent ones are past.
  function page(mark, changed) {
    const box = document.getElementById("shots");
    if (!box) return () => {};
    const { ofVisit: planned, ofUnit, ofReport: report } = box.dataset;
    const about = planned ?? ofUnit;
    const list = box.querySelector("ul");
    const shoot = box.querySelector("input");
    const says = (words) => (document.getElementById("shot-says").textContent = words);
    const form = document.getElementById("shots-form");
    box.hidden = false;
    if (form) form.hidden = true;
    const there = () => [...document.querySelectorAll("[data-photo]")].map((e) => e.dataset.photo);
    const own = async () => (await all()).filter((p) => !shoot || (report && p.report === report) || (about && p.about === about && (planned || !p.sent)));

    function line(p) {
      const li = make("li");
      li.dataset.id = p.id;
      const img = make("img", { src: URL.createObjectURL(new Blob([p.bytes])), alt: "Photo on this phone" });
      const shows = make("input", { value: p.caption, maxLength: 80, placeholder: "What it shows", ariaLabel: "What the photo shows" });
      shows.setAttribute("list", "shown");
      shows.oninput = () => change(p.n, (p) => ({ ...p, caption: shows.value }));
      const off = make("button", { type: "button", className: "big", textContent: "Take it off" });
      off.onclick = async () => {
        await change(p.n, (p) => p.tried && !p.stuck && p);
        changed();
      };
      li.append(img, shows, make("p"), off);
      return list.appendChild(li);
    }

    async function draw() {
      const mine = (await own()).filter((p) => !there().includes(p.id));
      const lines = [...list.children];
      for (const li of lines) if (!mine.some((p) => p.id === li.dataset.id)) li.remove();
      for (const p of mine) {
        const li = lines.find((li) => li.dataset.id === p.id) ?? line(p);
        const [, shows, state, off] = li.children;
        shows.disabled = p.sent;
        off.hidden = p.tried && !p.stuck;
        mark(state, ...(p.sent ? ["sent", "Sent: the office has it"] : p.stuck ? ["settle", "Not taken: " + p.stuck] : ["kept", "Kept on this phone, not sent yet"]));
      }
    }

    if (shoot)
      shoot.onchange = async () => {
        says("");
        for (const file of shoot.files) {
          if (new Set([...there(), ...(await own()).map((p) => p.id)]).size >= MOST) {
            says("Four photos are the most.");
            break;
          }
          try {
            await add(file, { report, about, planned });
          } catch (e) {
            says(/Quota/.test(e?.name) ? "No room for this photo. What you typed is kept all the same." : "This is no picture that the phone can read.");
          }
        }
        shoot.value = "";
        const { quota, usage } = (await navigator.storage?.estimate?.().catch(() => {})) ?? {};
        if (quota - usage < 2e8 && !says.textContent) says(`Little room for photos: ${Math.floor((quota - usage) / 1e6)} MB left.`);
        changed();
      };
    return draw;
  }

  return { all, left, forget, send, page };
})();
