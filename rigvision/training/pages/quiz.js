// The quiz: asks, keeps, tells, saves. Needs no network and sends nothing.
"use strict";
(() => {
  const quiz = JSON.parse(document.getElementById("quiz-data").textContent);
  const at = (id) => document.getElementById(id);
  const STORE = `rigvision.quiz.${quiz.sha256}`;
  const MOST = { gap: 20, turns: 10 };
  let state = kept() || { trainee: "", begun_at: "", answers: [] };
  let shown = 0; // when the shot was shown, ms

  // SHA-256 (FIPS 180-4): pages opened from a file may lack the browser's own.
  const ROOTS = [];
  const START = [];
  const fraction = (x) => ((x - Math.floor(x)) * 4294967296) | 0;
  for (let n = 2; ROOTS.length < 64; n++) {
    let prime = true;
    for (let d = 2; d * d <= n; d++) if (n % d === 0) prime = false;
    if (!prime) continue;
    if (START.length < 8) START.push(fraction(Math.sqrt(n)));
    ROOTS.push(fraction(Math.cbrt(n)));
  }
  function sha256(bytes) {
    const words = new Int32Array((((bytes.length + 8) >> 6) + 1) << 4);
    bytes.forEach((b, i) => { words[i >> 2] |= b << (24 - 8 * (i & 3)); });
    words[bytes.length >> 2] |= 0x80 << (24 - 8 * (bytes.length & 3));
    words[words.length - 2] = Math.floor(bytes.length / 536870912);
    words[words.length - 1] = bytes.length << 3;
    const hash = Int32Array.from(START);
    const w = new Int32Array(64);
    const turned = (x, n) => (x >>> n) | (x << (32 - n));
    for (let block = 0; block < words.length; block += 16) {
      let [a, b, c, d, e, f, g, h] = hash;
      for (let i = 0; i < 64; i++) {
        if (i < 16) w[i] = words[block + i];
        else {
          const x = w[i - 15], y = w[i - 2];
          w[i] = w[i - 16] + (turned(x, 7) ^ turned(x, 18) ^ (x >>> 3)) + w[i - 7]
            + (turned(y, 17) ^ turned(y, 19) ^ (y >>> 10));
        }
        const one = h + (turned(e, 6) ^ turned(e, 11) ^ turned(e, 25)) + ((e & f) ^ (~e & g)) + ROOTS[i] + w[i];
        const two = (turned(a, 2) ^ turned(a, 13) ^ turned(a, 22)) + ((a & b) ^ (a & c) ^ (b & c));
        h = g; g = f; f = e; e = (d + one) | 0; d = c; c = b; b = a; a = (one + two) | 0;
      }
      [a, b, c, d, e, f, g, h].forEach((x, i) => { hash[i] = hash[i] + x; });
    }
    const out = new Uint8Array(32);
    for (let i = 0; i < 32; i++) out[i] = hash[i >> 2] >>> (24 - 8 * (i & 3));
    return out;
  }
  const utf8 = (text) => new TextEncoder().encode(text);
  const hex = (bytes) => Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");

  // JSON in the one form that is hashed (RFC 8785).
  function canonical(value) {
    if (value === null || typeof value !== "object") return JSON.stringify(value);
    if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
    return `{${Object.keys(value).sort().map((k) => `${JSON.stringify(k)}:${canonical(value[k])}`).join(",")}}`;
  }

  // What is known of a shot is masked against a glance at this page's source, no more.
  function unmasked(text, shot) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    for (let n = 0; 32 * n < bytes.length; n++) {
      const mask = sha256(utf8(`${quiz.quiz}:${shot}:${n}`));
      for (let i = 0; i < 32 && 32 * n + i < bytes.length; i++) bytes[32 * n + i] ^= mask[i];
    }
    return bytes;
  }
  function known(shot) {
    return shot.reading === null ? null : JSON.parse(new TextDecoder().decode(unmasked(shot.reading, shot.shot)));
  }

  function kept() {
    try {
      const found = JSON.parse(localStorage.getItem(STORE));
      return found && typeof found.trainee === "string" && Array.isArray(found.answers) ? found : null;
    } catch { return null; }
  }
  function keep() {
    try { localStorage.setItem(STORE, JSON.stringify(state)); } catch { /* private windows have none */ }
  }

  function show(id, head) {
    for (const name of ["start", "ask", "end"]) at(name).hidden = name !== id;
    at("keep").hidden = state.answers.length === 0;
    at(head).focus();
  }

  // One shot

  const current = () => quiz.shots[state.answers.length];
  function ask() {
    if (!current()) { finish(); return; }
    const shot = current();
    at("ask-head").textContent = `Shot ${shot.shot} of ${quiz.shots.length}`;
    at("place").textContent = [shot.place, shot.limits].filter(Boolean).join("; ");
    at("done").value = state.answers.length;
    at("answer").reset();
    at("answer").hidden = false;
    at("told").hidden = true;
    at("answer-wrong").textContent = "";
    at("seen").hidden = true;
    at("seen").setAttribute("aria-pressed", "false");
    at("photo").src = shot.picture;
    zoom("fit");
    const later = quiz.shots[shot.shot];
    if (later) new Image().src = later.picture;
    shown = Date.now();
    show("ask", "ask-head");
  }

  const picked = (name) => (document.querySelector(`input[name="${name}"]:checked`) || { value: null }).value;
  function number(id, most, what) {
    const text = at(id).value.trim().replace(",", ".");
    if (text === "") return null;
    const value = /^\d{0,2}(\.\d{0,3})?$/.test(text) && text !== "." ? Number(text) : NaN;
    if (!(value <= most)) throw new Error(`Write ${what} as a number from 0 to ${most}, such as 0.75.`);
    return value;
  }
  function given() {
    const verdict = picked("call");
    if (verdict === null) throw new Error("Call it first: pass, adjust or retake.");
    const gap = number("gap", MOST.gap, "the gap");
    let turns = number("turns", MOST.turns, "the turns");
    const way = picked("way");
    if (way === "none" && turns) throw new Error("No turn, or so many? Choose close or open.");
    if (way === "none") turns = 0;
    if (way && way !== "none" && turns === null) throw new Error("How many turns?");
    if (!way && turns) throw new Error("Which way, close or open?");
    if (way === "open") turns = -turns || 0;
    const seconds = Math.max(0, Math.round((Date.now() - shown) / 100) / 10);
    return { shot: current().shot, verdict, gap_mm: gap, turns, seconds };
  }
  at("answer").addEventListener("submit", (event) => {
    event.preventDefault();
    let answer;
    try { answer = given(); } catch (error) { at("answer-wrong").textContent = error.message; return; }
    const shot = current();
    state.answers.push(answer);
    state.finished_at = new Date().toISOString();
    keep();
    at("keep").hidden = false;
    at("done").value = state.answers.length;
    tell(shot, answer);
  });

  const inMm = (v, u) => (v === null ? "–" : `${v.toFixed(2)}${u === null ? "" : ` ± ${u.toFixed(2)}`} mm`);
  const inTurns = (v, u) => v === null ? "–" : Math.abs(v) < 0.005 ? "none"
    : `${Math.abs(v).toFixed(2)}${u === null ? "" : ` ± ${u.toFixed(2)}`} ${v > 0 ? "close" : "open"}`;
  function row(cells) {
    const line = document.createElement("tr");
    cells.forEach((text, i) => {
      const cell = document.createElement(i ? "td" : "th");
      if (!i) cell.scope = "row";
      cell.textContent = text;
      line.append(cell);
    });
    return line;
  }
  function headline(yours, theirs) {
    if (yours === theirs) return "The same call";
    if (yours === "pass") return "A wrong pass: rigvision did not pass it";
    return yours === "retake" ? "A needless retake" : "Another call";
  }
  function tell(shot, answer) {
    const reading = known(shot);
    at("answer").hidden = true;
    at("told").hidden = false;
    at("next").textContent = current() ? "Next" : "To the end";
    const rows = [row(["Call", answer.verdict, reading ? reading.verdict : "sealed"])];
    rows.push(row(["Gap", inMm(answer.gap_mm, null), reading ? inMm(reading.gap_mm, reading.gap_expanded_uncertainty_mm) : "sealed"]));
    rows.push(row(["Turns", inTurns(answer.turns, null), reading ? inTurns(reading.turns, reading.turns_expanded_uncertainty) : "sealed"]));
    at("told-rows").replaceChildren(...rows);
    at("told-head").textContent = reading ? headline(answer.verdict, reading.verdict) : "Kept; the truth is sealed until all are answered";
    at("told-do").textContent = reading ? reading.what_to_do : "";
    at("told-do").hidden = !at("told-do").textContent;
    at("told-why").replaceChildren(...(reading ? reading.reasons : []).map((text) => {
      const item = document.createElement("li");
      item.textContent = text;
      return item;
    }));
    at("seen").hidden = !reading || !shot.image;
    at("said").textContent = at("told-head").textContent;
    at("told-head").focus();
  }
  at("next").addEventListener("click", ask);

  // What rigvision saw comes in a script of its own, asked for when it is wanted.
  let waiting = null;
  window.rigvisionSaw = (shot, text) => { if (waiting) waiting(shot, text); };
  at("seen").addEventListener("click", () => {
    const shot = quiz.shots[state.answers.length - 1];
    const on = at("seen").getAttribute("aria-pressed") !== "true";
    at("seen").setAttribute("aria-pressed", String(on));
    if (!on) { at("photo").src = shot.picture; return; }
    waiting = (of, text) => {
      if (of !== shot.shot || at("seen").getAttribute("aria-pressed") !== "true") return;
      let binary = "";
      unmasked(text, of).forEach((b) => { binary += String.fromCharCode(b); });
      at("photo").src = `data:image/jpeg;base64,${btoa(binary)}`;
    };
    const script = document.createElement("script");
    script.src = shot.image;
    document.head.append(script);
  });

  // Zoom

  function zoom(how, x = 0.5, y = 0.5) {
    const stage = at("stage"), photo = at("photo");
    stage.className = `asked-photo ${how === "fit" ? "whole" : how}`;
    for (const id of ["fit", "full", "near"]) at(id).setAttribute("aria-pressed", String(id === how));
    const scale = { fit: 0, full: 1, near: 3 }[how];
    photo.style.width = scale ? `${photo.naturalWidth * scale}px` : "";
    stage.scrollTo(x * stage.scrollWidth - stage.clientWidth / 2, y * stage.scrollHeight - stage.clientHeight / 2);
  }
  for (const id of ["fit", "full", "near"]) at(id).addEventListener("click", () => zoom(id));
  at("photo").addEventListener("load", () => {
    const pressed = ["full", "near"].find((id) => at(id).getAttribute("aria-pressed") === "true");
    if (pressed) zoom(pressed);
  });
  at("photo").addEventListener("click", (event) => {
    if (!at("stage").classList.contains("whole")) return;
    zoom("full", event.offsetX / at("photo").clientWidth, event.offsetY / at("photo").clientHeight);
  });

  // Steps for gloves: from an empty field to 1 mm, or one quarter.
  function step(id, by, first, most) {
    const value = Number(at(id).value.trim().replace(",", "."));
    const next = at(id).value.trim() === "" || Number.isNaN(value) ? first : value + by;
    at(id).value = Math.min(Math.max(next, 0), most).toFixed(2);
  }
  at("gap-less").addEventListener("click", () => step("gap", -0.05, 1, MOST.gap));
  at("gap-more").addEventListener("click", () => step("gap", 0.05, 1, MOST.gap));
  at("turns-less").addEventListener("click", () => step("turns", -0.25, 0.25, MOST.turns));
  at("turns-more").addEventListener("click", () => step("turns", 0.25, 0.25, MOST.turns));

  // Beginning and end

  at("who").addEventListener("submit", (event) => {
    event.preventDefault();
    const name = at("name").value.normalize("NFC").replace(/\s+/g, " ").replace(/[\p{C}\p{Zl}\p{Zp}]/gu, "").trim();
    if (!/[\p{L}\p{N}]/u.test(name)) { at("name-wrong").textContent = "Write your name."; at("name").focus(); return; }
    state = { trainee: name, begun_at: new Date().toISOString(), answers: [] };
    ask();
  });
  function finish() {
    const done = quiz.shots.map((shot) => [shot, state.answers.find((a) => a.shot === shot.shot), known(shot)]);
    at("end-head").textContent = `All ${quiz.shots.length} answered, ${state.trainee}`;
    const same = done.filter(([, a, k]) => a && k && a.verdict === k.verdict).length;
    const wrong = done.filter(([, a, k]) => a && k && a.verdict === "pass" && k.verdict !== "pass").length;
    at("end-sum").textContent = done[0][2] === null ? "The truth is sealed: 'rigvision practice open' with the saved file opens it."
      : `${same} of ${done.length} called as rigvision did, ${wrong} wrong ${wrong === 1 ? "pass" : "passes"}.`;
    at("end-rows").replaceChildren(...done.map(([shot, a, k]) => row([String(shot.shot), a ? a.verdict : "–", k ? k.verdict : "sealed"])));
    show("end", "end-head");
  }
  at("save").addEventListener("click", () => {
    const answers = {
      schema: "rigvision.answers/1", quiz: quiz.quiz, quiz_sha256: quiz.sha256, trainee: state.trainee,
      begun_at: state.begun_at, finished_at: state.finished_at, answers: state.answers,
    };
    answers.check = hex(sha256(utf8(`rigvision.answers/1\n${canonical(answers)}`)));
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([canonical(answers)], { type: "application/json" }));
    const named = state.trainee.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 30);
    link.download = `answers-${quiz.quiz.slice(0, 8)}-${named || "trainee"}.json`;
    link.click();
    const left = quiz.shots.length - state.answers.length;
    at("said").textContent = left ? `Saved with ${left} shots still open.` : "Saved.";
  });
  at("anew").addEventListener("click", () => {
    if (!confirm("Forget all answers given here?")) return;
    try { localStorage.removeItem(STORE); } catch { /* none kept */ }
    location.reload();
  });
  if (state.answers.length) ask();
})();
