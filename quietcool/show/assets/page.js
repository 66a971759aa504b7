"use strict";
// The live page: reads the controls, asks for numbers at once and for pictures when the hand rests.
(() => {
  const rig = JSON.parse(document.getElementById("rig").textContent);
  const at = (id) => document.getElementById(id);
  const sliders = Object.keys(rig.sliders);
  const layouts = Object.keys(rig.layouts);
  const store = `setting ${rig.fingerprint}`;
  const rest = 90; // after the last change, before pictures are asked for [ms]
  let pace = null;
  let search = null;

  const stopped = (key) => Boolean(at(`${key}-stop`)?.checked);
  const setting = () => ({
    state: at("state").value,
    room_temp_c: Number(at("room").value),
    speeds_rpm: Object.fromEntries(sliders.map((key) => [rig.sliders[key], stopped(key) ? 0 : Number(at(key).value)])),
    layouts: Object.fromEntries(layouts.map((key) => [rig.layouts[key], at(key).value])),
  });

  async function ask(address, body, method = "POST") {
    const answer = await fetch(address, {
      method,
      headers: body ? { "Content-Type": "application/json" } : {},
      body: body ? JSON.stringify(body) : undefined,
    });
    const said = await answer.json();
    if (!answer.ok) throw new Error(said.detail || `The page was refused (${answer.status}).`);
    return said;
  }

  const trouble = (error) => {
    at("trouble").textContent = error
      ? error instanceof TypeError ? "The page's program does not answer: is it still running?" : error.message
      : "";
  };

  // At most one request of a kind is under way; what changes meanwhile is asked for once it is back.
  function oneAtATime(work) {
    let busy = false;
    let again = false;
    return async function run() {
      if (busy) { again = true; return; }
      busy = true;
      try { await work(); } catch (error) { trouble(error); } finally {
        busy = false;
        if (again) { again = false; run(); }
      }
    };
  }

  const roomIsRight = () => at("room").checkValidity() && at("room").value !== "";

  const fixed = (value, digits) => (value === null ? "-" : value.toFixed(digits).replace("-", "\u2212"));

  function brief(solved) {
    const worst = solved.readings.filter((one) => !one.kept);
    const said = [solved.level_dba === null ? "" : `${fixed(solved.level_dba, 1)} dB(A)`];
    const coolant = solved.readings.find((one) => one.name === "coolant");
    if (coolant) said.push(`coolant ${fixed(coolant.value, 1)} °C`);
    said.push(worst.length ? `broken: ${worst.map((one) => one.name).join(", ")}` : "every limit is kept");
    return solved.converged ? said.filter(Boolean).join(" · ") : "no steady state";
  }

  function cell(row, text, kind) {
    const made = row.insertCell();
    made.textContent = text;
    if (kind) made.className = kind;
  }

  const numbers = oneAtATime(async () => {
    if (!roomIsRight()) throw new Error("Room: write a temperature from \u221220 to 60 °C, in steps of half a degree.");
    const solved = await ask("/api/solve", setting());
    trouble(null);
    const broken = !solved.converged || solved.readings.some((one) => !one.kept);
    at("answer").textContent = solved.sentence;
    at("answer").classList.toggle("broken", broken);
    at("brief").textContent = brief(solved);  // stays in sight on a narrow window, where sliders and numbers are far apart
    at("brief").classList.toggle("broken", broken);
    const body = at("readings");
    const rows = solved.readings.map((one) => {
      const row = document.createElement("tr");
      cell(row, `${one.name}, ${one.unit}`);
      cell(row, fixed(one.value, one.digits), "number");
      cell(row, fixed(one.limit, one.digits), "number");
      cell(row, fixed(one.margin, one.digits), one.kept ? "number" : "number broken");
      return row;
    });
    body.replaceChildren(...rows);
    at("findings").replaceChildren(...solved.findings.map((said) => {
      const made = document.createElement("li");
      made.textContent = said;
      return made;
    }));
    document.documentElement.dataset.solved = String(Number(document.documentElement.dataset.solved || 0) + 1);
  });

  const pictures = oneAtATime(async () => {
    if (!roomIsRight()) return;
    const path = at("path") ? at("path").value : null;
    const said = await ask("/api/pictures", { ...setting(), path });
    for (const one of said.pictures) {
      const place = at(one.name);
      place.hidden = false;
      at(`${one.name}-title`).textContent = one.title;
      at(`${one.name}-words`).textContent = one.words;
      const plot = place.querySelector(".plot");
      if (one.drawing !== null) {
        const parsed = new DOMParser().parseFromString(one.drawing, "image/svg+xml").documentElement;
        parsed.removeAttribute("role");
        parsed.setAttribute("aria-hidden", "true");
        plot.replaceChildren(document.importNode(parsed, true));
      } else {
        plot.figureText = JSON.stringify(one.figure);
        await quietFigures.draw(plot, plot.figureText);
      }
    }
    document.documentElement.dataset.drawn = String(Number(document.documentElement.dataset.drawn || 0) + 1);
  });

  function said() {
    for (const key of sliders) {
      at(`${key}-said`).textContent = stopped(key) ? "stopped" : at(key).value;
      at(key).disabled = stopped(key);
    }
  }

  function follow() {
    said();
    sessionStorage.setItem(store, JSON.stringify(setting()));
    numbers();
    clearTimeout(pace);
    pace = setTimeout(pictures, rest);
  }

  function put(wanted) {
    if (wanted.state !== undefined) at("state").value = wanted.state;
    if (wanted.room_temp_c !== undefined) at("room").value = wanted.room_temp_c;
    for (const key of sliders) {
      const speed = wanted.speeds_rpm?.[rig.sliders[key]];
      if (speed === undefined) continue;
      if (at(`${key}-stop`)) at(`${key}-stop`).checked = speed === 0;
      if (speed > 0) at(key).value = speed;
    }
    for (const key of layouts) {
      const layout = wanted.layouts?.[rig.layouts[key]];
      if (layout !== undefined) at(key).value = layout;
    }
  }

  function searching(on) {
    at("find").disabled = on;
    at("stop").disabled = !on;
    at("far").hidden = !on;
    at("far").removeAttribute("value");
  }

  async function watch() {
    const wait = (ms) => new Promise((done) => setTimeout(done, ms));
    try {
      for (;;) {
        const now = await ask(`/api/quietest/${search}`, null, "GET");
        at("search").textContent = now.status === "running" ? `${now.seconds.toFixed(0)} s: ${now.words}` : now.words;
        const share = /(\d+)%/.exec(now.words);
        if (share) at("far").value = Number(share[1]) / 100;
        if (now.status !== "running") {
          if (now.speeds_rpm) { put({ speeds_rpm: now.speeds_rpm }); follow(); }
          return;
        }
        await wait(200);
      }
    } catch (error) { trouble(error); } finally {
      search = null;
      searching(false);
      sessionStorage.removeItem(`${store} search`);
    }
  }

  at("find").addEventListener("click", async () => {
    const { state, room_temp_c, layouts: chosen } = setting();
    searching(true);
    at("search").textContent = "starting";
    try {
      search = (await ask("/api/quietest", { state, room_temp_c, layouts: chosen })).search;
      sessionStorage.setItem(`${store} search`, search);
    } catch (error) { trouble(error); searching(false); at("search").textContent = ""; return; }
    watch();
  });
  at("stop").addEventListener("click", async () => {
    if (search !== null) try { await ask("/api/stop", { search }); } catch (error) { trouble(error); }
  });
  at("save").addEventListener("click", async () => {
    try { at("search").textContent = (await ask("/api/save", setting())).sentence; trouble(null); } catch (error) { trouble(error); }
  });
  at("reset").addEventListener("click", () => {
    for (const key of sliders) {
      at(key).value = at(key).dataset.start;
      if (at(`${key}-stop`)) at(`${key}-stop`).checked = at(`${key}-stop`).dataset.start === "yes";
    }
    follow();
  });
  at("bench").addEventListener("submit", (event) => event.preventDefault());
  at("bench").addEventListener("input", (event) => {
    if (event.target.id === "state") at("room").value = rig.rooms[at("state").value];
    follow();
  });
  at("path")?.addEventListener("input", pictures);
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    document.querySelectorAll(".plot").forEach((plot) => { if (plot.figureText) quietFigures.draw(plot, plot.figureText); });
  });

  at("room").value = rig.rooms[at("state").value];
  const before = sessionStorage.getItem(store);
  if (before) put(JSON.parse(before));
  search = sessionStorage.getItem(`${store} search`);
  follow();
  if (search !== null) { searching(true); watch(); }
})();
