// The map to move about in. The page holds its data (explore.py says what); nothing is fetched, nothing is sent.
// Every mark (a record, or several in a row of one pass) is painted over the ground it covers; a pixel that several
// marks share shows their mean, so the whole field is told truly at any zoom.
"use strict";
(() => {
  const at = name => document.getElementById("explore-" + name);
  const box = document.getElementById("explore"), canvas = at("map"), told = at("told");
  const data = JSON.parse(at("data").textContent), marks = unpack(data.marks);
  const { frame, strips, flags } = data, NONE = 65535;
  const SIN = Float32Array.from({ length: 256 }, (_, turn) => Math.sin(turn / 128 * Math.PI));
  const COS = Float32Array.from({ length: 256 }, (_, turn) => Math.cos(turn / 128 * Math.PI));
  const MOST_PX_PER_M = 40, KEY_SHARE = 0.15, NEAR_PX = 8, TAP_PX = 5, INK = "#1c2226";
  const treatments = new Map(data.treatments.map(one => [one.name, { ...one, shape: new Path2D(one.path) }]));
  const view = { east: 0, north: 0, scale: 1, wide: 0, tall: 0 }; // middle of the map [m], pixels a metre, pixels
  const state = { layer: "after", reason: 0, strips: true, mark: -1, cross: false };
  let pending = false;

  // --- what the page holds -------------------------------------------------------------------------------------
  function unpack(packed) {
    const bytesOf = text => Uint8Array.from(atob(text), letter => letter.charCodeAt(0));
    const found = { kinds: packed.kinds };
    for (const [name, text] of Object.entries(packed)) {
      if (name === "kinds") continue;
      const bytes = bytesOf(text);
      found[name] = name === "heading" || name === "width" ? bytes : new Uint16Array(bytes.buffer);
    }
    return { ...found, count: found.kind.length };
  }

  // Yields come in steps, reasons as the place of their colour; -1 is not painted.
  function valuesOf(layer) {
    const values = new Float32Array(marks.count).fill(-1);
    if (layer !== "reasons") {
      const steps = marks[layer];
      for (let i = 0; i < marks.count; i++) if (steps[i] !== NONE) values[i] = steps[i];
      return values;
    }
    const byKind = marks.kinds.map(bits => {
      const chosen = state.reason ? flags.filter(flag => flag.bit === state.reason) : flags.filter(flag => flag.excludes);
      const first = chosen.filter(flag => bits & flag.bit).sort((a, b) => a.bit - b.bit)[0];
      return first ? 1 + flags.indexOf(first) : 0;
    });
    return values.map((_, i) => byKind[marks.kind[i]]);
  }

  // Where a mark lies: as logged, or where its grain was cut. What has no place of its own after cleaning keeps the logged.
  function placesOf(layer) {
    if (layer === "before") return [marks.loggedEast, marks.loggedNorth];
    if (layer === "after") return [marks.cutEast, marks.cutNorth];
    const known = marks.cutEast.map(step => step !== NONE);
    return [marks.cutEast.map((step, i) => known[i] ? step : marks.loggedEast[i]),
      marks.cutNorth.map((step, i) => known[i] ? step : marks.loggedNorth[i])];
  }

  let values, easts, norths;
  function chooseLayer() {
    values = valuesOf(state.layer);
    [easts, norths] = placesOf(state.layer);
    forget();
    for (const name of ["reasons", "pick"]) at(name).hidden = state.layer !== "reasons";
    at("yield").hidden = state.layer === "reasons";
    draw();
  }

  // --- painting ------------------------------------------------------------------------------------------------
  const colour = hex => 0xff000000 | parseInt(hex.slice(5, 7) + hex.slice(3, 5) + hex.slice(1, 3), 16);
  const yieldColours = Uint32Array.from(data.palette, colour);
  const reasonColours = Uint32Array.from([data.counted, ...flags.map(flag => flag.colour)], colour);
  const raster = document.createElement("canvas");
  const toX = east => (east - view.east) * view.scale + view.wide / 2;
  const toY = north => (view.north - north) * view.scale + view.tall / 2;

  function paintMarks() {
    const { wide, tall, scale } = view, mean = state.layer !== "reasons";
    const sums = new Float32Array(wide * tall), hits = new Uint16Array(wide * tall);
    for (let i = 0; i < marks.count; i++) {
      const value = values[i];
      if (value < 0 || easts[i] === NONE) continue;
      const x = toX(easts[i] * frame.step), y = toY(norths[i] * frame.step);
      const across = marks.width[i] * data.widthStep * scale, along = marks.length[i] * data.lengthStep * scale;
      const reach = (across + along) / 2 + 1;
      if (x < -reach || y < -reach || x > wide + reach || y > tall + reach) continue;
      const sin = SIN[marks.heading[i]], cos = COS[marks.heading[i]];
      const rows = Math.ceil(along * 1.4) || 1, columns = Math.ceil(across * 1.4) || 1;
      for (let row = 0; row < rows; row++) {
        const ahead = ((row + 0.5) / rows - 0.5) * along;
        for (let column = 0; column < columns; column++) {
          const aside = ((column + 0.5) / columns - 0.5) * across;
          const px = Math.floor(x + ahead * sin + aside * cos), py = Math.floor(y - ahead * cos + aside * sin);
          if (px < 0 || py < 0 || px >= wide || py >= tall) continue;
          const cell = py * wide + px;
          sums[cell] = mean ? sums[cell] + value : Math.max(sums[cell], value);
          hits[cell]++;
        }
      }
    }
    const picture = new ImageData(wide, tall), pixels = new Uint32Array(picture.data.buffer);
    const low = data.yield.low / data.yield.step, span = Math.max(data.yield.high / data.yield.step - low, 1e-9);
    for (let cell = 0; cell < hits.length; cell++) {
      if (!hits[cell]) continue;
      pixels[cell] = mean
        ? yieldColours[Math.max(0, Math.min(255, Math.round((sums[cell] / hits[cell] - low) / span * 255)))]
        : reasonColours[sums[cell]];
    }
    raster.width = wide;
    raster.height = tall;
    raster.getContext("2d").putImageData(picture, 0, 0);
  }

  function draw() {
    if (pending) return;
    pending = true;
    requestAnimationFrame(() => {
      pending = false;
      const dense = window.devicePixelRatio || 1, pen = canvas.getContext("2d");
      paintMarks();
      canvas.width = Math.round(view.wide * dense);
      canvas.height = Math.round(view.tall * dense);
      pen.imageSmoothingEnabled = false;
      pen.drawImage(raster, 0, 0, canvas.width, canvas.height);
      pen.scale(dense, dense);
      pen.font = "12px system-ui, sans-serif";
      if (state.strips) drawStrips(pen);
      drawScale(pen);
      if (state.mark >= 0) outlineMark(pen, state.mark);
      if (state.cross) drawCross(pen);
      box.dataset.drawn = Number(box.dataset.drawn || 0) + 1;
    });
  }

  const inside = (x, y) => x > -20 && y > -20 && x < view.wide + 20 && y < view.tall + 20;

  function drawStrips(pen) {
    pen.strokeStyle = INK;
    pen.lineWidth = 1;
    pen.beginPath();
    for (const strip of strips) for (const ring of strip.rings) {
      for (let k = 0; k < ring.length; k += 2) pen[k ? "lineTo" : "moveTo"](toX(ring[k]), toY(ring[k + 1]));
    }
    pen.stroke();
    const marked = [], named = [];
    for (const { name, treatment, end, out } of strips) {
      if (!end.length) continue;
      const x = toX(end[0]), y = toY(end[1]), look = treatments.get(treatment);
      if (!inside(x, y) || marked.some(other => Math.hypot(other[0] - x, other[1] - y) < 9)) continue;
      marked.push([x, y]);
      pen.save();
      pen.translate(x, y);
      pen.scale(11, 11);
      pen.fillStyle = look.fill;
      pen.strokeStyle = look.edge;
      pen.lineWidth = 0.15;
      pen.fill(look.shape);
      pen.stroke(look.shape);
      pen.restore();
      const half = pen.measureText(name).width / 2, upright = Math.abs(out[1]) >= Math.abs(out[0]);
      const tx = x + (upright ? 0 : Math.sign(out[0]) * (half + 9)), ty = y - (upright ? Math.sign(out[1]) * 15 : 0);
      if (named.some(other => Math.abs(other[0] - tx) < other[2] + half + 3 && Math.abs(other[1] - ty) < 13)) continue;
      named.push([tx, ty, half]);
      write(pen, name, tx, ty);
    }
  }

  function write(pen, text, x, y) {
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.lineJoin = "round";
    pen.lineWidth = 3;
    pen.strokeStyle = "#fff";
    pen.strokeText(text, x, y);
    pen.fillStyle = INK;
    pen.fillText(text, x, y);
  }

  function drawScale(pen) {
    const { metres, unit } = data.length, room = 120 / view.scale / metres, power = 10 ** Math.floor(Math.log10(room));
    const length = power * [5, 2, 1].find(step => step * power <= room), wide = length * metres * view.scale;
    const x = 12, y = view.tall - 14;
    pen.fillStyle = "rgba(255, 255, 255, .85)";
    pen.fillRect(x - 8, y - 26, wide + 46, 36);
    pen.fillStyle = INK;
    pen.fillRect(x, y, wide, 3);
    write(pen, `${plain(length, length < 1 ? 1 : 0)} ${unit}`, x + wide / 2, y - 10);
    write(pen, "↑ N", x + wide + 20, y - 4);
  }

  function outlineMark(pen, i) {
    pen.save();
    pen.translate(toX(easts[i] * frame.step), toY(norths[i] * frame.step));
    pen.rotate(marks.heading[i] / 128 * Math.PI);
    const across = Math.max(6, marks.width[i] * data.widthStep * view.scale);
    const along = Math.max(6, marks.length[i] * data.lengthStep * view.scale);
    for (const [edge, thick] of [["#fff", 4], [INK, 2]]) {
      pen.strokeStyle = edge;
      pen.lineWidth = thick;
      pen.strokeRect(-across / 2, -along / 2, across, along);
    }
    pen.restore();
  }

  function drawCross(pen) {
    const x = view.wide / 2, y = view.tall / 2;
    for (const [edge, thick] of [["#fff", 4], [INK, 1.5]]) {
      pen.strokeStyle = edge;
      pen.lineWidth = thick;
      pen.beginPath();
      for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
        pen.moveTo(x + 5 * dx, y + 5 * dy);
        pen.lineTo(x + 14 * dx, y + 14 * dy);
      }
      pen.stroke();
    }
  }

  // --- telling -------------------------------------------------------------------------------------------------
  const plain = (value, places) => value.toLocaleString("en-US", { minimumFractionDigits: places, maximumFractionDigits: places });
  const sayYield = step => (step === NONE - 1 ? "more than " : "") + plain(step * data.yield.step, data.yield.decimals) + " " + data.yield.unit;

  // The mark whose own ground holds the place, else the nearest within reach.
  function findMark(x, y) {
    let found = -1, least = Infinity;
    for (let i = 0; i < marks.count; i++) {
      if (values[i] < 0 || easts[i] === NONE) continue;
      const dx = x - toX(easts[i] * frame.step), dy = toY(norths[i] * frame.step) - y;
      const sin = SIN[marks.heading[i]], cos = COS[marks.heading[i]];
      const beyond = Math.hypot(
        Math.max(0, Math.abs(dx * sin + dy * cos) - marks.length[i] * data.lengthStep * view.scale / 2),
        Math.max(0, Math.abs(dx * cos - dy * sin) - marks.width[i] * data.widthStep * view.scale / 2));
      const far = beyond * 1e4 + Math.hypot(dx, dy);
      if (beyond <= NEAR_PX && far < least) [found, least] = [i, far];
    }
    return found;
  }

  function describe(i) {
    const strip = strips[marks.strip[i] - 1], bits = marks.kinds[marks.kind[i]], lines = [];
    const phrases = excludes => flags.filter(flag => bits & flag.bit && flag.excludes === excludes).map(flag => flag.phrase);
    const aside = phrases(true), noted = phrases(false);
    const records = marks.records ? marks.records[i] : 1, used = marks.used ? marks.used[i] : aside.length ? 0 : 1;
    const name = records > 1 ? `${records} records in a row` : marks.records ? "One record" : `Record ${plain(i, 0)}`;
    lines.push(`${name}: ${strip ? `strip ${strip.name}, ${strip.treatment}` : "outside the strips"}`);
    const counted = used ? `${sayYield(marks.after[i])} after cleaning` : "not counted";
    lines.push(marks.before[i] === NONE ? counted : `${counted}; ${sayYield(marks.before[i])} as logged`);
    const share = records > 1 && used < records ? `${records - used} of them set aside: ` : "Set aside: ";
    if (aside.length) lines.push(share + aside.join("; "));
    if (noted.length) lines.push("Noted, and kept: " + noted.join("; "));
    return lines;
  }

  function tell(lines, spoken) {
    told.setAttribute("aria-live", spoken ? "polite" : "off");
    told.replaceChildren(...lines.map(line => Object.assign(document.createElement("p"), { textContent: line })));
  }

  function forget() {
    state.mark = -1;
    tell(["Point at or tap the map, or move the cross with the keyboard, to read a record."], false);
  }

  function lookAt(x, y, spoken) {
    const found = findMark(x, y);
    if (found === state.mark && !spoken) return;
    state.mark = found;
    tell(found < 0 ? ["No record here."] : describe(found), spoken);
    draw();
  }

  // --- moving --------------------------------------------------------------------------------------------------
  const fitting = () => Math.min(view.wide / frame.width, view.tall / frame.height) * 0.94;

  function moveTo(east, north, scale) {
    view.scale = Math.max(fitting(), Math.min(scale, MOST_PX_PER_M));
    const whole = view.scale <= fitting() * 1.001;
    view.east = whole ? frame.width / 2 : Math.max(0, Math.min(east, frame.width));
    view.north = whole ? frame.height / 2 : Math.max(0, Math.min(north, frame.height));
    // A finger scrolls the page past a map that shows the whole field, and moves one that is zoomed in.
    canvas.style.touchAction = whole ? "pan-y" : "none";
    box.querySelector("[data-zoom=out]").disabled = box.querySelector("[data-zoom=all]").disabled = whole;
    box.querySelector("[data-zoom=in]").disabled = view.scale >= MOST_PX_PER_M;
    draw();
  }

  function zoom(factor, x = view.wide / 2, y = view.tall / 2) {
    const scale = Math.max(fitting(), Math.min(view.scale * factor, MOST_PX_PER_M));
    const east = view.east + (x - view.wide / 2) / view.scale, north = view.north - (y - view.tall / 2) / view.scale;
    moveTo(east - (x - view.wide / 2) / scale, north + (y - view.tall / 2) / scale, scale);
  }

  const moveBy = (dx, dy) => moveTo(view.east - dx / view.scale, view.north + dy / view.scale, view.scale);
  const showAll = () => moveTo(0, 0, 0);

  function showStrip(strip) {
    const corners = strip.rings.flat(), easts = corners.filter((_, k) => k % 2 === 0), norths = corners.filter((_, k) => k % 2);
    const ends = [Math.min(...easts), Math.max(...easts), Math.min(...norths), Math.max(...norths)];
    const scale = 0.85 * Math.min(view.wide / (ends[1] - ends[0]), view.tall / (ends[3] - ends[2]));
    forget();
    if (corners.length) moveTo((ends[0] + ends[1]) / 2, (ends[2] + ends[3]) / 2, scale);
    tell([`Strip ${strip.name}, ${strip.treatment}`, strip.text], true);
  }

  const KEYS = {
    ArrowLeft: () => moveBy(KEY_SHARE * view.wide, 0), ArrowRight: () => moveBy(-KEY_SHARE * view.wide, 0),
    ArrowUp: () => moveBy(0, KEY_SHARE * view.tall), ArrowDown: () => moveBy(0, -KEY_SHARE * view.tall),
    "+": () => zoom(1.5), "=": () => zoom(1.5), "-": () => zoom(1 / 1.5), 0: showAll, Home: showAll,
  };
  canvas.addEventListener("keydown", event => {
    const act = KEYS[event.key];
    if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    act();
    state.cross = true;
    lookAt(view.wide / 2, view.tall / 2, true);
  });
  canvas.addEventListener("blur", () => { state.cross = false; draw(); });
  canvas.addEventListener("wheel", event => {
    if (document.activeElement !== canvas && !event.ctrlKey) return; // the page scrolls until the map is clicked
    event.preventDefault();
    zoom(Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), event.offsetX, event.offsetY);
  }, { passive: false });

  const pointers = new Map();
  let travelled = 0;
  canvas.addEventListener("pointerdown", event => {
    canvas.setPointerCapture(event.pointerId);
    pointers.set(event.pointerId, event);
    state.cross = false;
    travelled = pointers.size > 1 ? TAP_PX : 0;
  });
  canvas.addEventListener("pointermove", event => {
    const before = pointers.get(event.pointerId);
    if (!before) return void (event.pointerType === "mouse" && lookAt(event.offsetX, event.offsetY, false));
    const others = [...pointers.values()].filter(other => other.pointerId !== event.pointerId);
    const dx = event.offsetX - before.offsetX, dy = event.offsetY - before.offsetY;
    travelled += Math.hypot(dx, dy);
    pointers.set(event.pointerId, event);
    if (!others.length) return void (travelled >= TAP_PX && moveBy(dx, dy));
    const gap = one => Math.hypot(one.offsetX - others[0].offsetX, one.offsetY - others[0].offsetY);
    zoom(gap(event) / Math.max(gap(before), 1), (event.offsetX + others[0].offsetX) / 2, (event.offsetY + others[0].offsetY) / 2);
    moveBy(dx / 2, dy / 2);
  });
  canvas.addEventListener("pointerup", event => {
    pointers.delete(event.pointerId);
    if (travelled < TAP_PX) lookAt(event.offsetX, event.offsetY, false);
  });
  canvas.addEventListener("pointercancel", event => pointers.delete(event.pointerId));

  box.addEventListener("click", event => {
    const act = { in: () => zoom(1.7), out: () => zoom(1 / 1.7), all: showAll }[event.target.dataset.zoom];
    if (act) act();
  });
  for (const choice of box.querySelectorAll("[name=explore-layer]")) {
    choice.addEventListener("change", () => { state.layer = choice.value; chooseLayer(); });
  }
  at("reason").addEventListener("change", event => { state.reason = Number(event.target.value); chooseLayer(); });
  at("strips").addEventListener("change", event => {
    state.strips = event.target.checked;
    at("treatments").hidden = !state.strips;
    draw();
  });
  at("strip").addEventListener("change", event => event.target.value === "" ? (forget(), showAll()) : showStrip(strips[event.target.value]));

  // --- size ----------------------------------------------------------------------------------------------------
  function fit() {
    const wide = canvas.parentElement.clientWidth;
    const tall = Math.round(Math.max(300, Math.min(wide * frame.height / frame.width, 640, window.innerHeight * 0.66)));
    if (!wide || (wide === view.wide && tall === view.tall)) return;
    const { east, north, scale } = view, whole = !view.wide || scale <= fitting() * 1.001;
    Object.assign(view, { wide, tall });
    canvas.style.height = tall + "px";
    moveTo(east, north, whole ? 0 : scale);
  }
  box.hidden = false;
  fit();
  chooseLayer();
  new ResizeObserver(fit).observe(canvas.parentElement);
})();
