/* The team's sheet on lab day: a stopwatch, and readings that wait on the device until the server has them.
   Every reading gets its name here, so sending it again after a lost answer stores it once. */

function start(form) {
  const outbox = new Outbox(form);
  const watch = form.querySelector("[data-watch]") ? new Watch(form) : null;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const reading = read(form, watch);
    if (!reading) return;
    outbox.add(reading);
    form.reset();
    watch?.clear();
    form.querySelector("#measured").focus();
  });
  outbox.show();
  outbox.send();
}

/* What stands in the form as a reading, or null with the reason beside the field. */
function read(form, watch) {
  const field = form.querySelector("#measured");
  const note = form.elements.note.value.trim();
  const text = field.value.trim();
  const value = number(text, form.dataset.unit);
  const weighedText = form.elements.changed_measured?.value.trim() ?? "";
  const weighed = number(weighedText, form.dataset.changedUnit);
  const wrong = (text && value === null) || (!text && !note) ? field : weighedText && weighed === null ? form.elements.changed_measured : null;
  tell(form, wrong);
  if (wrong) return null;
  return {
    entry: newName(),
    design: form.dataset.design,
    version: form.dataset.version ? Number(form.dataset.version) : null,
    changed: Number(form.dataset.changed),
    measured: value,
    changed_measured: weighed,
    note,
    left_out: form.elements.left_out.checked,
    stopwatch: Boolean(watch?.filled(text)),
    measured_at: new Date().toISOString(),
    replaces: form.dataset.replaces ? Number(form.dataset.replaces) : null,
  };
}

function tell(form, wrong) {
  const line = form.querySelector("[data-error]");
  line.hidden = !wrong;
  const clock = wrong && form.dataset.unit === "s" && /[:apm]/i.test(wrong.value);
  line.querySelector("span").textContent = wrong ? (clock ? form.dataset.clock : form.dataset.numberWanted) : "";
  for (const input of form.querySelectorAll("input[inputmode=decimal]")) input.removeAttribute("aria-invalid");
  if (!wrong) return;
  wrong.setAttribute("aria-invalid", "true");
  wrong.focus();
}

/* A number with a point or a comma, its unit behind it or not; seconds also as a stopwatch shows them, 0:02.68.
   null for anything else, as in lessons/lab/typed.py. */
function number(text, unit) {
  let plain = text.replace("\u2212", "-").trim();
  if (unit && plain.endsWith(unit)) plain = plain.slice(0, -unit.length);
  plain = plain.replace(/[\s\u00a0\u202f]/g, "").replaceAll(",", ".");
  if (/^[+-]?(\d+\.?\d*|\.\d+)$/.test(plain)) return Number(plain);
  const shown = unit === "s" && /^(?:(\d{1,2}):)?(\d{1,2}):(\d{1,2}\.\d+)$/.exec(plain);
  return shown ? Number(shown[1] ?? 0) * 3600 + Number(shown[2]) * 60 + Number(shown[3]) : null;
}

/* A version 4 UUID; crypto.randomUUID wants https, a school's own network may not have it. */
function newName() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

class Outbox {
  constructor(form) {
    this.form = form;
    this.key = form.dataset.key;
    this.place = form.querySelector("[data-waiting]");
    this.pause = 1000;
    this.sending = false;
    addEventListener("online", () => this.send());
    addEventListener("storage", (event) => event.key === this.key && this.show());
  }

  get rows() {
    try {
      return JSON.parse(localStorage.getItem(this.key)) ?? [];
    } catch {
      return [];
    }
  }

  set rows(rows) {
    if (rows.length) localStorage.setItem(this.key, JSON.stringify(rows));
    else localStorage.removeItem(this.key);
    this.show();
  }

  add(reading) {
    this.rows = [...this.rows, reading];
    this.pause = 1000;
    this.send();
  }

  async send() {
    const waiting = this.rows.filter((row) => !row.why);
    if (this.sending || !waiting.length) return;
    this.sending = true;
    try {
      const answer = await fetch(this.form.action, {
        method: "POST",
        redirect: "manual",
        headers: { "Content-Type": "application/json", "X-CSRFToken": this.form.elements.csrfmiddlewaretoken.value },
        body: JSON.stringify({ team: this.form.dataset.team, readings: waiting.slice(0, 50) }),
      });
      await this.take(answer, waiting);
    } catch {
      this.later();
    } finally {
      this.sending = false;
    }
    if (this.rows.some((row) => !row.why) && this.pause === 1000) this.send();
  }

  async take(answer, sent) {
    this.signedOut = answer.type === "opaqueredirect" || answer.status === 403;
    if (this.signedOut) return this.later();
    if (answer.status >= 500) return this.later();
    const told = await answer.json().catch(() => ({}));
    const byEntry = new Map((told.readings ?? []).map((row) => [row.entry, row]));
    const corrected = sent.some((row) => row.replaces && byEntry.get(row.entry)?.kept);
    this.rows = this.rows.flatMap((row) => {
      const said = byEntry.get(row.entry);
      if (said?.kept) return [];
      const why = said?.why ?? (answer.ok ? undefined : (told.error ?? String(answer.status)));
      return [said || (!answer.ok && sent.includes(row)) ? { ...row, why } : row];
    });
    this.pause = 1000;
    if (corrected) location.assign(this.form.dataset.sheet);
    else document.body.dispatchEvent(new Event("lab-sent"));
  }

  /* Not reached: try again, each time a little later, half a minute at most. */
  later() {
    this.show();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.send(), this.pause);
    this.pause = Math.min(this.pause * 2, 30000);
  }

  show() {
    const { waits, signIn, refused, unit } = this.form.dataset;
    const rows = this.rows;
    const waiting = rows.filter((row) => !row.why);
    this.place.replaceChildren();
    if (waiting.length) this.line(`${waiting.length} ${waits}`);
    if (this.signedOut && waiting.length) this.line(signIn);
    for (const row of rows.filter((each) => each.why)) {
      const line = this.line(`${refused} ${row.measured ?? ""} ${unit}. ${row.why} `);
      const button = document.createElement("button");
      button.type = "button";
      button.className = "btn";
      button.textContent = this.form.dataset.throw;
      button.addEventListener("click", () => (this.rows = this.rows.filter((each) => each.entry !== row.entry)));
      line.append(button);
    }
  }

  line(text) {
    const line = document.createElement("p");
    line.textContent = text;
    this.place.append(line);
    return line;
  }
}

/* Start and stop by tap or space bar; stopping writes the time into the field, where it can still be changed. */
class Watch {
  constructor(form) {
    this.form = form;
    this.box = form.querySelector("[data-watch]");
    this.face = form.querySelector("[data-watch-face]");
    this.button = form.querySelector("[data-watch-button]");
    this.again = form.querySelector("[data-watch-again]");
    this.decimals = Number(form.dataset.decimals);
    this.box.hidden = false;
    // pointerdown, not click: the time is when the finger comes down
    this.button.addEventListener("pointerdown", (event) => event.button === 0 && this.toggle(event.timeStamp));
    this.button.addEventListener("click", (event) => event.detail === 0 && this.toggle(event.timeStamp));
    this.again.addEventListener("click", () => this.clear());
    document.addEventListener("keydown", (event) => {
      if (event.code !== "Space" || event.repeat || event.target.closest("input, textarea, select, button, a, summary")) return;
      event.preventDefault();
      this.toggle(event.timeStamp);
    });
    this.clear();
  }

  toggle(at) {
    if (this.startedAt === null) {
      if (this.time !== null) return;
      this.startedAt = at;
      this.button.textContent = this.form.dataset.stop;
      this.run();
      return;
    }
    this.time = (at - this.startedAt) / 1000;
    this.startedAt = null;
    cancelAnimationFrame(this.frame);
    this.draw(this.time);
    this.form.querySelector("#measured").value = this.time.toFixed(this.decimals);
    this.button.hidden = true;
    this.again.hidden = false;
    this.form.querySelector("button[type=submit]").focus();
  }

  run() {
    this.draw((performance.now() - this.startedAt) / 1000);
    this.frame = requestAnimationFrame(() => this.run());
  }

  draw(seconds) {
    this.face.firstChild.data = Math.max(0, seconds).toFixed(2);
  }

  clear() {
    cancelAnimationFrame(this.frame);
    this.startedAt = null;
    this.time = null;
    this.draw(0);
    this.button.hidden = false;
    this.button.textContent = this.form.dataset.start;
    this.again.hidden = true;
  }

  /* Whether this text is what the watch showed. */
  filled(text) {
    return this.time !== null && text === this.time.toFixed(this.decimals);
  }
}

const form = document.querySelector("form[data-lab]");
if (form) start(form);
