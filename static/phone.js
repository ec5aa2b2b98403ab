// The phone in the yard: keeps sheets without a signal, sends them, holds the day's route. Without it every form posts as usual.
async function phone() {
  const $ = (css) => document.querySelector(css);
  const each = (css, work) => document.querySelectorAll(css).forEach(work);
  const { all, get, put, tx, uuid } = outbox;
  const day = $("#pack");
  const date = day?.dataset.day;
  // What appears is there before anything is waited for: nothing may move under a finger.
  const drawn = photos.page(mark, () => show().then(go));
  let because = localStorage.getItem("why") ?? "";
  strip(localStorage.getItem("unsent") ?? "");

  // What is kept, and why it was not sent when that was tried last.
  function strip(words) {
    $("#strip").hidden = !words;
    mark($("#strip span"), "kept", words);
  }

  // For the next page's first moment; on a full phone it does without.
  function remember(name, value) {
    try {
      localStorage.setItem(name, value);
    } catch {}
    return value;
  }

  // A state is a mark and a word.
  function mark(into, state, words) {
    into.className = "st st-" + state;
    into.innerHTML = `<svg aria-hidden="true"><use href="#m-${state}"/></svg>`;
    into.append(words);
  }

  const state = (i) =>
    i.stuck ? ["settle", "On this phone. Tell the office: " + i.stuck]
      : i.says ? ["settle", "The office has it, and asks"]
      : i.state ? ["sent", "Sent: the office has it"]
      : ["kept", "Kept on this phone, not sent yet"];

  // A fill and the visit's own sheet are two things of one visit.
  const isFill = (form) => form.startsWith("fill");

  const items = async () => [...(await all("sent")), ...(await all("out"))].sort((a, b) => a.n - b.n);
  const unsent = async () => (await all("out")).length + (await photos.left());

  // What else is drawn anew: sheets of this page.
  const shown = [];
  async function show(why = because) {
    because = remember("why", why);
    const every = await items();
    const n = await unsent();
    const late = every.some((i) => !i.state && Date.now() - i.at > 864e5) ? " for more than a day" : "";
    strip(remember("unsent", n ? `${n} kept on this phone, not sent${late}. ${because}` : ""));
    each("[data-visit]", (row) => {
      const last = every.findLast((i) => i.about === row.dataset.visit && !isFill(i.form));
      if (last) mark(row.querySelector("[data-kept]"), ...state(last));
    });
    const lines = every.reverse().map((i) => {
      const line = make("li", { textContent: i.title + (i.says ? ": " + i.says.join(" ") : "") });
      mark(line.appendChild(make("p")), ...state(i));
      return line;
    });
    $("#items")?.replaceChildren(...lines);
    for (const kept of shown) await kept();
  }

  async function ask(path, whole = "") {
    let own = await get("meta", "phone");
    if (!own) await put("meta", (own = uuid()), "phone");
    const body = new URLSearchParams({ phone: own, unsent: await unsent(), day: date ?? "", whole });
    const answer = await outbox.post(path, body, { embertide: "1" });
    if (!answer.ok) throw answer.status;
    return { ...(await answer.json()), headers: answer.headers };
  }

  const packs = async (of = "") => (await caches.keys()).filter((k) => k.startsWith("pack-" + of)).sort();
  const drop = (names) => Promise.all(names.map((name) => caches.delete(name)));

  // One after the other: whoever asks while it runs gets a run of their own.
  let going = Promise.resolve();
  const go = () =>
    (going = going.then(async () => {
      const why = await outbox.send();
      await show(why);
      if (why) return;
      // Not waited for: on a weak line they take their time, and sheets go on.
      photos.send().then(show);
      const said = await ask("/heard");
      await outbox.epoch(said.epoch);
      // An older day's pack goes by the office's calendar, and only when nothing is left here.
      // What was begun long ago and never kept holds none.
      const begun = (await all("draft")).some((d) => Date.now() - d.at < 6048e5);
      if (!(await unsent()) && !begun) await drop((await packs()).filter((k) => !said.welcome || k.slice(5, 15) < said.today));
      if (day && said.version !== day.dataset.version) $("#as-now").hidden = !($("#changed").hidden = false);
    }).catch(() => {}));

  // The worker, awake: without it nothing opens from here. It begins only on a page that stays: one engine never ends what a
  // page began that was left at once.
  const { serviceWorker: workers } = navigator;
  const register = () => workers.register("/worker.js", { updateViaCache: "none" }).catch(() => {});
  async function awake() {
    for (let tries = 0; tries < 300; tries++) {
      const own = await workers.getRegistration();
      if (own?.active) return;
      if (!own && !tries) register();
      await new Promise((done) => setTimeout(done, 100));
    }
    throw "no worker";
  }

  // Puts the route on the phone: all of it, or the old one stays.
  async function pack() {
    const woken = awake();
    woken.catch(() => {});
    const { version, urls, pages, headers } = await ask("/pack/" + date, "1");
    const old = await packs(date);
    const name = `pack-${date}-${String(1 + Number(old.at(-1)?.slice(16) ?? 0)).padStart(6, "0")}`;
    try {
      const cache = await caches.open(name);
      // The pages come with the answer, and what holds for one holds for all.
      const own = new Headers(headers);
      own.set("content-type", "text/html; charset=utf-8");
      for (const not of ["content-encoding", "content-length"]) own.delete(not);
      for (const url in pages) await cache.put(url, new Response(pages[url], { headers: own }));
      const rest = urls.filter((url) => !(url in pages));
      await cache.addAll(rest.map((url) => new Request(url, { cache: url.startsWith("/assets/") ? "default" : "reload" })));
      for (const url of rest) if ((await cache.match(url)).redirected) throw url;
      await woken;
      await cache.put("/packed", new Response(""));
    } catch (e) {
      await drop([name]);
      throw e;
    }
    await drop(old);
    // Never waited for: one engine asks the person, who may not answer.
    navigator.storage?.persist?.().catch(() => {});
    return version;
  }

  async function packed() {
    if ((await packs(date)).length) mark($("#packed"), "sent", "On this phone");
  }

  if (day) {
    day.hidden = false;
    packed();
    each("[data-pack]", (button) =>
      button.addEventListener("click", async () => {
        const { busy, shut, partly, version } = day.dataset;
        mark($("#packed"), "early", busy);
        try {
          if ((await pack()) !== version) location.reload();
          await packed();
        } catch (e) {
          mark($("#packed"), "settle", e === 422 ? shut : partly);
        }
      })
    );
    const loaded = (await get("meta", "load " + date)) ?? {};
    each("[data-load]", (tick) => {
      tick.checked = loaded[tick.value];
      tick.addEventListener("change", () => put("meta", Object.assign(loaded, { [tick.value]: tick.checked }), "load " + date));
    });
  }

  const pairs = (form) => new URLSearchParams([...new FormData(form)].filter(([k]) => k !== "form_token"));

  function fill(form, body) {
    const typed = new URLSearchParams(body);
    for (const e of form.elements) {
      if (["form_token", "id", "form", "by"].includes(e.name)) continue;
      if (/check|radio/.test(e.type)) e.checked = typed.getAll(e.name).includes(e.value);
      else if (typed.has(e.name)) e.value = typed.get(e.name);
    }
    form.elements.drops?.dispatchEvent(new Event("input"));
  }

  // What can be seen to be wrong at the unit; the office reads everything once more.
  function faults(form) {
    const value = (name) => form.elements[name]?.value.trim();
    if (value("fluid")) return (value("fluid") === "water") === !+value("glycol") ? [] : [["glycol", "Say which glycol and how many %, or choose water."]];
    if ("whose" in form.elements) return value("whose") ? [] : [["whose", "Say whose unit it is, and where."]];
    // Not form.id: there is a field of that name.
    if (form.getAttribute("id") !== "sheet") return value("why") === "Other" && !value("note") ? [["nd-note", "Say in the note why."]] : [];
    const jobs = [...form.querySelectorAll("[name=job]:checked")];
    const wrong = [];
    if (!jobs.length) wrong.push(["jobs", "Tick the jobs that were done."]);
    if (value("drops") === "" && jobs.some((j) => "tests" in j.dataset)) wrong.push(["drops", "Count the drops, or untick the jobs that test the water."]);
    if (form.elements.reason.required && !value("reason")) wrong.push(["reason", "Say why it is corrected."]);
    return wrong;
  }

  function tell(wrong) {
    const lines = wrong.map(([field, textContent]) => {
      const line = make("li");
      line.append(make("a", { href: "#" + field, textContent }));
      return line;
    });
    $("#faults ul").replaceChildren(...lines);
    $("#faults").hidden = !lines.length;
    $("#faults").focus();
  }

  async function sheet(form) {
    const fields = form.elements;
    // A planned visit is kept once; of a unit, or of something written down, there may be another on another day.
    const planned = fields.visit ?? fields.report;
    const about = (planned ?? fields.unit)?.value ?? "";
    const kind = fields.form.value;
    const draft = about + kind;
    const set = (pairs) => {
      for (const name in pairs) (fields[name] ?? form.appendChild(make("input", { type: "hidden", name }))).value = pairs[name];
    };
    const mine = new Set();
    let wait;
    const typed = () => pairs(form).toString().replace(/(^|&)id=[^&]*/, "");
    const untouched = typed();
    const save = () => {
      clearTimeout(wait);
      if (wait && typed() === untouched) tx("draft", "readwrite", (s) => s.delete(draft));
      else if (wait) put("draft", { id: fields.id.value, body: pairs(form).toString(), at: Date.now() }, draft);
      wait = 0;
    };
    // While a correction is typed, what is kept waits.
    let correcting = kind === "correct/1";
    const correctThis = (own) => {
      set({ form: "correct/1", ...own });
      $("#why-corrected").hidden = form.hidden = false;
      $("#kept-here").hidden = fields.reason.required = correcting = true;
    };
    // What was typed on this page: it may be a correction by now, or stand in place of something that could not be read.
    const restore = (body) => {
      fill(form, body);
      const { instead, report, version, form: as } = Object.fromEntries(new URLSearchParams(body));
      if (instead) set({ instead });
      if (as === "correct/1" && as !== kind) correctThis({ report, version });
    };
    const before = await get("draft", draft);
    set({ id: before?.id ?? uuid() });
    if (before) restore(before.body);
    // When the drive was over: it tells the office how long drives take. Nobody has to say it.
    const here = $("#here"), at = fields.arrived_at;
    if (here && at && !at.value) {
      here.hidden = false;
      here.onclick = () => {
        at.value = new Date().toISOString();
        here.textContent = "Time noted";
        save((wait = 1));
      };
    }
    const pin = $("#pin-here"), place = fields["now.pin"];
    if (pin && place && navigator.geolocation && isSecureContext) {
      pin.hidden = false;
      pin.onclick = () => {
        pin.textContent = "Looking …";
        navigator.geolocation.getCurrentPosition(
          ({ coords: { latitude, longitude, accuracy } }) => {
            place.value = latitude.toFixed(5) + ", " + longitude.toFixed(5);
            pin.textContent = `Good to ${Math.ceil(accuracy)} m. Look again`;
            save((wait = 1));
          },
          () => (pin.textContent = "No position. Try again"),
          { enableHighAccuracy: true, timeout: 30000, maximumAge: 0 }
        );
      };
    }
    form.addEventListener("input", () => (clearTimeout(wait), (wait = setTimeout(save, 250))));
    addEventListener("pagehide", save);
    document.addEventListener("visibilitychange", save);

    // Shows what is kept of this visit in place of its form.
    async function kept() {
      const every = await items();
      const own = every.filter((i) => i.about === about && isFill(i.form) === isFill(kind) && (planned || mine.has(i.id) || (about && !i.state)));
      const last = own.at(-1);
      if (!last || correcting || /^not/.test(kind) !== /^not/.test(last.form)) return;
      mark($("#kept-words"), ...state(last));
      $("#kept-here").hidden = false;
      $("#kept-here .hint").hidden = !!last.state;
      form.hidden = !last.says;
      const back = $("#take-back");
      back.hidden = !!(last.tried || last.state);
      back.onclick = async () => {
        back.disabled = true;
        if (await outbox.takeBack(last.id)) return location.reload();
        back.disabled = false;
        await kept();
      };
      const correct = $("#correct-here");
      // A report with its corrections, wherever on this phone they were typed.
      const first = own.findLast((i) => i.form === "report/1" && !i.says);
      const versions = every.filter((i) => first && !i.says && (i === first || (i.form === "correct/1" && new URLSearchParams(i.body).get("report") === first.id)));
      const corrects = () => ({ report: first.id, version: versions.length });
      correct.hidden = !(last.tried || last.state) || !!last.says || !first || !/^report/.test(kind);
      correct.onclick = () => {
        fill(form, versions.at(-1).body);
        correctThis({ id: uuid(), reason: "", ...corrects() });
        fields.reason.focus();
      };
      if (!last.says || fields.instead?.value === last.id) return;
      // The same again under a new number, in place of what could not be read.
      fill(form, last.body);
      set({ id: uuid(), instead: last.id });
      if (last.form === "correct/1" && first && last.form !== kind) correctThis(corrects());
      tell(last.says.map((says) => ["sheet", says]));
    }

    // The office's answer to a fill, in its place; without a signal there are its limits to read off.
    async function judge(button) {
      const text = await outbox.post(form.action, new URLSearchParams(new FormData(form, button))).then((a) => a.text()).catch(() => "");
      const page = new DOMParser().parseFromString(text, "text/html");
      const wrong = page.querySelector("#wrong p")?.textContent;
      const answer = page.getElementById("answer");
      tell(wrong ? [["sheet", wrong]] : answer ? [] : [["by-hand", "No answer from the office. Judge it by the limits below."]]);
      $("#answer").replaceChildren(...(answer?.childNodes ?? []));
      if (!answer) $("#by-hand").open = true;
    }

    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (event.submitter?.value === "judge") return judge(event.submitter);
      const wrong = faults(form);
      tell(wrong);
      if (wrong.length) return;
      clearTimeout(wait);
      wait = 0;
      mine.add(fields.id.value);
      set({ made_at: new Date().toISOString(), kept_day: new Date().toLocaleDateString("sv"), build: $("[src*=yard]").src });
      const item = { id: fields.id.value, form: fields.form.value, about, title: form.dataset.title, body: pairs(form).toString(), at: Date.now(), draft };
      try {
        await tx(["out", "draft"], "readwrite", (out, drafts) => {
          drafts.delete(draft);
          return out.add(item);
        });
      } catch (e) {
        // A second press finds its number taken, and all is well.
        if (e?.name !== "ConstraintError") return tell([["sheet", `Not kept: ${e?.name}. Leave this open, make room, press again.`]]);
      }
      correcting = false;
      // Before anything is sent: who turns the page at once finds the strip there in its first moment.
      await show();
      workers.ready.then((r) => r.sync.register("send")).catch(() => {});
      await go();
      const sent = await get("sent", item.id);
      if (sent?.report) location.assign(`/kept/${sent.report}?new=1`);
    });
    shown.push(kept);
  }

  setTimeout(register, 3000);
  for (const form of document.querySelectorAll("form[data-title]")) await sheet(form);
  shown.push(drawn);
  $("form[action='/sign-out']")?.addEventListener("submit", async () => (drop(await packs()), photos.forget()));
  addEventListener("online", go);
  document.addEventListener("visibilitychange", () => document.hidden || go());
  setInterval(go, 30000);
  await show();
  document.documentElement.dataset.phone = "";
  go();
}
