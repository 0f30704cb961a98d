// The packet on a screen: tap a wire or a row and its other half lights up, search by tag, keep ticks and
// readings in this browser, save them as a file. No network, no library.
(function () {
  "use strict";

  const all = (selector, root) => Array.from((root || document).querySelectorAll(selector));
  const one = (selector, root) => (root || document).querySelector(selector);
  const job = document.body.dataset;

  // -- tags: what is drawn, and which rows speak of it -------------------------------------------------

  const tokens = (text) => text.split(/[^A-Za-z0-9_\-\/.+]+/).filter(Boolean);
  const base = (token) => token.split(".")[0];
  const alike = (a, b) => a === b || a.startsWith(b + ".") || b.startsWith(a + ".");

  const drawn = all(".drawing svg [data-tag]").map((element) => ({
    element,
    tags: element.dataset.tag.split(/[,\s]+/).filter(Boolean),
  }));
  const known = new Set(drawn.flatMap((part) => part.tags.flatMap((tag) => [tag, base(tag)])));

  const rows = all("table.schedule tbody tr:not(.group), tr.reading")
    .filter((element) => !element.closest(".totals"))
    .map((element) => {
      const cells = Array.from(element.cells).map((cell) => tokens(cell.textContent));
      const given = tokens(element.dataset.tags || "");
      const words = new Set([...given, ...cells.flat()]);
      words.forEach((word) => words.add(base(word)));
      const first = cells.length ? cells[0].concat(given) : given;
      const isKnown = (word) => known.has(word) || known.has(base(word));
      const own = first.filter(isKnown);
      return { element, words, first, own: own.length ? own : [...words].filter(isKnown) };
    });
  // A row is about a tag when its first cell names it; else it only mentions it.
  const about = (row, tag) => row.own.some((own) => alike(own, tag));

  // -- lighting up -----------------------------------------------------------------------------------

  let lit = [];
  function light(elements) {
    lit.forEach((element) => element.classList.remove("lit"));
    lit = elements;
    lit.forEach((element) => element.classList.add("lit"));
  }
  const partsOf = (tags) =>
    drawn.filter((part) => part.tags.some((own) => tags.some((tag) => alike(own, tag)))).map((p) => p.element);
  const rowsOf = (tags) => {
    const found = rows.filter((row) => tags.some((tag) => about(row, tag)));
    const mention = rows.filter((row) => tags.some((tag) => row.words.has(tag)));
    return (found.length ? found : mention).map((row) => row.element);
  };
  function show(element) {
    if (element.closest(".drawing svg")) readable(element);
    element.scrollIntoView({ block: "center", inline: element.matches("tr") ? "nearest" : "center" });
  }
  function say(text) {
    one("#found").textContent = text;
  }

  // A line is thin and a finger is not: look around the spot for the nearest drawn thing.
  function partNear(event) {
    for (let reach = 0; reach <= 14; reach += 2) {
      const steps = reach ? 12 : 1;
      for (let step = 0; step < steps; step += 1) {
        const angle = (2 * Math.PI * step) / steps;
        const x = event.clientX + reach * Math.cos(angle);
        const y = event.clientY + reach * Math.sin(angle);
        const hit = document.elementFromPoint(x, y);
        const part = hit && hit.closest(".drawing svg [data-tag]:not(.outline):not(.place)");
        if (part) return part;
      }
    }
    return null;
  }
  function tapDrawing(event) {
    const part = partNear(event);
    if (!part) return light([]);
    const tags = part.dataset.tag.split(/[,\s]+/).filter(Boolean);
    const found = rowsOf(tags);
    light([...partsOf(tags), ...found]);
    say(found.length ? tags.join(", ") : tags.join(", ") + ": in no table");
    if (found.length) show(found[0]);
  }
  function tapRow(row) {
    const parts = partsOf(row.own);
    light([row.element, ...parts]);
    say(parts.length ? row.own.slice(0, 3).join(", ") : "not drawn");
    one("#back").hidden = !parts.length;
    one("#back").onclick = () => {
      show(row.element);
      stepInto(row.element);
      one("#back").hidden = true;
    };
    if (parts.length) show(parts.find((part) => part.matches(".wire, .symbol")) || parts[0]);
  }

  // With the keyboard: from what was found into the row, from the row to its drawing and back.
  function stepInto(element) {
    const field = one("input", element) || element;
    if (field === element) element.tabIndex = -1;
    field.focus({ preventScroll: true });
  }
  function keyDown(event) {
    const row = event.target.closest("tr");
    const about = event.key === "Enter" && event.target.type === "checkbox" && rows.find((r) => r.element === row);
    if (about) {
      event.preventDefault();
      tapRow(about);
      if (!one("#back").hidden) one("#back").focus();
    }
    const found = event.key === "Tab" && !event.shiftKey && event.target.id === "search" && places[place];
    if (found) {
      event.preventDefault();
      stepInto(found);
    }
  }

  // -- search ----------------------------------------------------------------------------------------

  let searched = "";
  let places = [];
  let place = 0;
  const said = (element) => element.textContent.replace(/\s+/g, " ").toLowerCase();
  function search(event) {
    event.preventDefault();
    const wanted = one("#search").value.trim().toLowerCase();
    if (!wanted) {
      searched = "";
      places = [];
      light([]);
      return say("");
    }
    const is = (word) => word.toLowerCase() === wanted || word.toLowerCase().startsWith(wanted + ".");
    // First the row that has it for its name, then those that are about it, then those that mention it.
    const own = rows.filter((row) => row.own.some(is));
    const found = [...own.filter((row) => row.first.some(is)), ...own].map((row) => row.element);
    const mention = rows.filter((row) => [...row.words].some(is)).map((row) => row.element);
    const parts = drawn.filter((part) => part.tags.some(is)).map((part) => part.element);
    places = [...new Set([...found, ...mention, ...parts.slice(0, 1)])];
    // No tag begins so: then it may be words of a row, of a label, or of a heading.
    if (!found.length && !parts.length) {
      const worded = [...all("h2, h3, .group"), ...rows.map((row) => row.element), ...all(".cut-out, .caution, .finding, .calculation")]
        .filter((element) => said(element).includes(wanted.replace(/\s+/g, " ")));
      places = [...new Set([...places, ...worded])];
    }
    light([...new Set([...places, ...parts])]);
    if (!places.length) return say("nothing");
    place = wanted === searched ? (place + 1) % places.length : 0;
    searched = wanted;
    show(places[place]);
    return say(place + 1 + " of " + places.length);
  }

  // -- zoom ------------------------------------------------------------------------------------------

  const LARGEST = 12;
  const SMALLEST_PX = 10; // of letters that can be read on a phone
  const zoomOf = (placed) => Number(placed.style.getPropertyValue("--zoom")) || 1;
  // The middle of what is seen stays in the middle.
  function zoom(placed, factor) {
    const plate = placed.parentElement;
    const by = Math.min(LARGEST, Math.max(1, factor)) / zoomOf(placed);
    const x = (plate.scrollLeft + plate.clientWidth / 2) * by - plate.clientWidth / 2;
    const y = (plate.scrollTop + plate.clientHeight / 2) * by - plate.clientHeight / 2;
    placed.style.setProperty("--zoom", (zoomOf(placed) * by).toFixed(3));
    plate.scrollTo(x, y);
  }
  // How tall the smallest letters of a drawing are on the screen.
  function lettersOf(svg) {
    const sizes = all("text", svg).map((text) => Number.parseFloat(getComputedStyle(text).fontSize));
    return Math.min(...sizes.filter((size) => size > 0)) * Math.abs(svg.getScreenCTM().a);
  }
  function readable(part) {
    const svg = part.ownerSVGElement;
    const placed = part.closest(".placed");
    const letters = lettersOf(svg);
    if (placed && letters < SMALLEST_PX) zoom(placed, (zoomOf(placed) * SMALLEST_PX) / letters);
  }
  function addZoom(sheet) {
    const placed = one(".placed", sheet);
    if (!placed) return;
    const box = document.createElement("div");
    box.className = "zoom screen-only";
    [["−", 1 / 1.5], ["+", 1.5], ["fit", 0]].forEach(([word, by]) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = word;
      button.setAttribute("aria-label", word === "fit" ? "whole drawing" : by > 1 ? "larger" : "smaller");
      button.onclick = () => zoom(placed, by ? zoomOf(placed) * by : 1);
      box.append(button);
    });
    one(".plate", sheet).before(box);
  }

  // -- what is kept ----------------------------------------------------------------------------------

  // Pages from files share one store, and a job may have no number of its own.
  const KEY = "specc packet " + JSON.stringify([job.job, job.revision, job.title]);
  let kept = {};
  const isObject = (value) => typeof value === "object" && value !== null && !Array.isArray(value);
  function tellKept(text) {
    one("#kept").textContent = text;
  }
  function load() {
    try {
      kept = JSON.parse(localStorage.getItem(KEY));
    } catch (refused) {
      if (!(refused instanceof SyntaxError)) tellKept("this browser keeps nothing: save before you close");
    }
    if (!isObject(kept)) kept = {};
  }
  function store() {
    try {
      localStorage.setItem(KEY, JSON.stringify(kept));
      tellKept("kept");
    } catch (refused) {
      tellKept("not kept: save before you close");
    }
  }
  function addTicks() {
    const seen = {};
    all("section.ticked").forEach((section) => {
      const title = one("h2", section).textContent;
      all("table.schedule tbody:not(.totals) tr:not(.group, .subtotals)", section).forEach((row) => {
        if (row.cells.length < 2) return;
        const name = title + "/" + row.cells[0].textContent.trim() + "/" + row.cells[1].textContent.trim();
        seen[name] = (seen[name] || 0) + 1;
        const tick = document.createElement("input");
        tick.type = "checkbox";
        tick.className = "row-tick";
        tick.dataset.keep = name + "/" + seen[name];
        tick.setAttribute("aria-label", "done: " + row.cells[0].textContent.trim() + ", " + row.cells[1].textContent.trim());
        row.cells[0].prepend(tick);
        // The box at the end of the line is for the print.
        const box = Array.from(row.cells).find((cell) => cell.textContent.trim() === "☐");
        if (box) box.classList.add("paper-only");
      });
    });
  }
  function fill() {
    all("[data-keep]").forEach((field) => {
      const value = kept[field.dataset.keep];
      if (field.type === "checkbox") field.checked = value === true;
      else field.value = value === undefined ? "" : String(value);
      mark(field);
    });
  }
  // A row that is done has its box ticked in the print too.
  function mark(field) {
    const box = field.matches(".row-tick") && one(".paper-only", field.closest("tr"));
    if (box) box.textContent = field.checked ? "☑" : "☐";
  }
  function keep(event) {
    const field = event.target.closest("[data-keep]");
    if (!field) return;
    const value = field.type === "checkbox" ? field.checked : field.value.trim();
    if (value === "" || value === false) delete kept[field.dataset.keep];
    else kept[field.dataset.keep] = value;
    store();
    mark(field);
    const reading = field.closest("tr.reading");
    if (reading) judge(reading);
  }

  // -- a reading against its range -------------------------------------------------------------------

  const SIZES = { k: 1e3, M: 1e6, m: 1e-3 };
  function parsed(text) {
    const plain = text.trim().replace(/,(?=\d+\s*\D*$)/, ".");
    if (/^(ol|open|inf|∞)$/i.test(plain)) return Infinity;
    const match = /^([-+−]?[0-9]*\.?[0-9]+)\s*([kMm]?)(?:ohm|Ω|V|A|W)?$/.exec(plain);
    return match ? Number(match[1].replace("−", "-")) * (SIZES[match[2]] || 1) : NaN;
  }
  // A test without light on the array has no blank for the light.
  const fieldOf = (row, name) => (one("." + name + " input", row) || { value: "" }).value;
  function judge(row) {
    const data = row.dataset;
    const output = one(".judged", row);
    const measured = parsed(fieldOf(row, "measured"));
    output.className = "judged";
    let share = 1;
    let note = "";
    if (data.standard) {
      const light = parsed(fieldOf(row, "light"));
      const written = parsed(fieldOf(row, "cell"));
      const celsius = job.celsius === "yes" ? written : ((written - 32) * 5) / 9;
      const perK = Number(data.perK);
      const lacks = (data.light === "yes" && Number.isNaN(light)) || (perK !== 0 && Number.isNaN(celsius));
      if (lacks) {
        output.textContent = fieldOf(row, "measured") ? (data.light === "yes" ? "write G too" : "write Tc too") : "";
        return;
      }
      let now = Number(data.standard);
      if (data.light === "yes") now *= light / 1000;
      if (perK !== 0) now *= 1 + perK * (celsius - 25);
      share = now / Number(data.value);
      note = "now " + now.toPrecision(4) + " " + data.unit + ". ";
    }
    if (Number.isNaN(measured) || (data.lowest === undefined && data.highest === undefined)) {
      output.textContent = note;
      return;
    }
    const low = data.lowest === undefined || measured >= Number(data.lowest) * share;
    const high = data.highest === undefined || measured <= Number(data.highest) * share;
    output.textContent = note + (low && high ? "✓ within" : low ? "▲ too high" : "▲ too low");
    output.classList.add(low && high ? "within" : "outside");
  }

  // -- saving as a file ------------------------------------------------------------------------------

  const CELL = "cell_temperature_" + (job.celsius === "yes" ? "degc" : "degf");
  const COLUMNS = ["job", "revision", "number", "test", "place", "at", "expected", "accept", "measured", "unit", "irradiance_w_m2",
    CELL, "instrument", "done"];
  const plain = (text) => text.replace(/\u00a0/g, " ").trim();
  function readings() {
    return all("tr.reading").map((row) => ({
      number: Number(row.dataset.number),
      test: row.dataset.test,
      place: one("td.place", row).textContent.trim(),
      at: one("td.at", row).textContent.trim(),
      expected: plain(one("td.expected", row).textContent),
      accept: plain(one("td.accept", row).firstChild.textContent),
      measured: fieldOf(row, "measured").trim(),
      unit: row.dataset.unit || "",
      irradiance_w_m2: fieldOf(row, "light").trim(),
      [CELL]: fieldOf(row, "cell").trim(),
      instrument: fieldOf(row, "instrument").trim(),
      done: one(".done input", row).checked,
    }));
  }
  // A spreadsheet must not take a text for a formula.
  const cell = (value) => {
    const text = String(value);
    const safe = /^\s*[=+\-@]/.test(text.normalize("NFKC")) && !/^-?[0-9.]+$/.test(text) ? "'" + text : text;
    return '"' + safe.replace(/"/g, '""') + '"';
  };
  function save(kind) {
    const document_ = {
      job: job.job,
      revision: job.revision,
      title: job.title,
      saved: new Date().toISOString(),
      readings: readings(),
      kept,
    };
    const csv = [COLUMNS, ...document_.readings.map((row) => COLUMNS.map((column) => ({ ...document_, ...row })[column]))]
      .map((row) => row.map(cell).join(",")).join("\r\n") + "\r\n";
    const text = kind === "json" ? JSON.stringify(document_, null, 1) + "\n" : csv;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: kind === "json" ? "application/json" : "text/csv" }));
    link.download = (job.job + "-" + job.revision + "-readings").replace(/[^A-Za-z0-9_-]+/g, "-") + "." + kind;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  }

  // A file saved from this packet elsewhere: what it holds is laid over what is here.
  async function read(event) {
    const file = event.target.files[0];
    event.target.value = "";
    if (!file) return;
    let saved = null;
    try {
      saved = JSON.parse(await file.text());
    } catch (broken) {
      saved = null;
    }
    if (!isObject(saved) || !isObject(saved.kept)) return tellKept("not a file saved from a packet (JSON): nothing read");
    if (["job", "revision", "title"].some((name) => saved[name] !== job[name])) {
      return tellKept("that file is of " + [saved.job, saved.revision, saved.title].join(" ") + ": nothing read");
    }
    const names = new Set(all("[data-keep]").map((field) => field.dataset.keep));
    const known = Object.entries(saved.kept).filter(
      ([name, value]) => names.has(name) && (value === true || typeof value === "string"),
    );
    Object.assign(kept, Object.fromEntries(known));
    store();
    fill();
    all("tr.reading").forEach(judge);
    const lost = Object.keys(saved.kept).length - known.length;
    return tellKept(known.length + " read" + (lost ? ", " + lost + " unknown here" : ""));
  }

  // -- start -----------------------------------------------------------------------------------------

  addTicks();
  load();
  fill();
  all("tr.reading").forEach((row) => {
    one(".measured input", row).placeholder = row.dataset.unit || "";
    judge(row);
  });
  all(".drawing").forEach(addZoom);
  document.addEventListener("input", keep);
  all(".drawing svg").forEach((svg) => svg.addEventListener("click", tapDrawing));
  rows.forEach((row) => {
    row.element.addEventListener("click", (event) => {
      // Beside a blank for a reading a finger slips: only what names the place leads away.
      const blank = row.element.matches(".reading") && !event.target.closest(".place, .at");
      if (!blank && !event.target.closest("input, button, a")) tapRow(row);
    });
  });
  one("#search-form").addEventListener("submit", search);
  one("#jump").addEventListener("change", (event) => {
    const sheet = one("#" + CSS.escape(event.target.value));
    if (sheet) sheet.scrollIntoView();
    event.target.value = ""; // the same sheet can be chosen again
  });
  one("#save-json").onclick = () => save("json");
  one("#save-csv").onclick = () => save("csv");
  one("#read-json").onclick = () => one("#read-file").click();
  one("#read-file").addEventListener("change", read);
  document.addEventListener("keydown", keyDown);
})();
