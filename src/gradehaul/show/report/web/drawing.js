/* Drawing in SVG: elements, scales, round numbers, labels that keep clear of one another. */
const Drawing = (() => {
  const SPACE = "http://www.w3.org/2000/svg";

  function el(name, attributes = {}, ...children) {
    const node = document.createElementNS(SPACE, name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    node.append(...children);
    return node;
  }

  const r = (value) => Math.round(value * 100) / 100;

  /* Round numbers from low to high, about so many, and two at least. */
  function nice(low, high, about) {
    const rough = (high - low) / Math.max(about, 1);
    if (!(rough > 0)) return [low];
    const power = 10 ** Math.floor(Math.log10(rough));
    const step = power * [1, 2, 2.5, 5, 10].find((m) => m * power >= rough * (1 - 1e-9));
    const ticks = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high + step * 1e-9; k++) ticks.push(k * step);
    return ticks.length > 1 ? ticks : nice(low, high, about + 1);
  }

  function numbers(values) {
    let decimals = 0;
    while (decimals < 6 && values.some((v) => Math.abs(v - Number(v.toFixed(decimals))) > 1e-9 * Math.max(1, Math.abs(v)))) {
      decimals += 1;
    }
    return values.map((v) => v.toFixed(decimals).replace(/^-(0(\.0*)?)$/, "$1").replace("-", "\u2212"));
  }

  const pen = document.createElement("canvas").getContext("2d");
  const family = '"Helvetica Neue", Arial, "Liberation Sans", "DejaVu Sans", sans-serif';
  const widths = new Map();

  function textWidth(text, size = 12, weight = 400) {
    const key = `${weight}/${size}/${text}`;
    if (!widths.has(key)) {
      pen.font = `${weight} ${size}px ${family}`;
      widths.set(key, pen.measureText(text).width);
    }
    return widths.get(key);
  }

  /* A text cut to a width, with an ellipsis where it was too long. */
  function fitted(text, width, size = 12) {
    if (textWidth(text, size) <= width) return text;
    const signs = Array.from(text);
    while (signs.length && textWidth(signs.join("") + "\u2026", size) > width) signs.pop();
    return signs.join("").trimEnd() + "\u2026";
  }

  /* Labels take places; one that meets another already set has none. */
  class Board {
    constructor(gap = 3) { this.gap = gap; this.taken = []; }
    free([left, top, right, bottom]) {
      const g = this.gap;
      return !this.taken.some((o) => left - g < o[2] && o[0] < right + g && top - g < o[3] && o[1] < bottom + g);
    }
    place(box) {
      if (!this.free(box)) return false;
      this.taken.push(box);
      return true;
    }
  }

  /* Sets a label where it is free, within a room across, and says whether it could. */
  function label(group, board, text, x, y, { anchor = "middle", size = 11, cls = "measure", room = null } = {}) {
    const wide = textWidth(text, size);
    let left = anchor === "middle" ? x - wide / 2 : anchor === "end" ? x - wide : x;
    if (room) left = Math.min(Math.max(left, room[0]), room[1] - wide);
    const box = [left, y - size * 0.8, left + wide, y + size * 0.25];
    if (!board.place(box)) return false;
    group.append(el("text", { x: r(left), y: r(y), "font-size": size, class: cls }, text));
    return true;
  }

  /* A piecewise quadratic function as a path: each piece is one parabola, drawn exactly. */
  function path(f, x, y, join = false) {
    const parts = [];
    let last = null;
    for (let k = 0; k < f.values.length; k++) {
      const width = f.breaks[k + 1] - f.breaks[k];
      const end = Haulage.endOf(f, k);
      const from = `${r(x(f.breaks[k]))} ${r(y(f.values[k]))}`;
      if (from !== last) parts.push(`${last === null ? "M" : "L"}${from}`);
      last = `${r(x(f.breaks[k + 1]))} ${r(y(end))}`;
      if (f.seconds[k] === 0) parts.push(`L${last}`);
      else {
        const middle = f.values[k] + (f.slopes[k] * width) / 2;
        parts.push(`Q${r(x(f.breaks[k] + width / 2))} ${r(y(middle))} ${last}`);
      }
    }
    return join ? parts.join("").replace(/^M/, "L") : parts.join("");
  }

  return { el, r, nice, numbers, textWidth, fitted, Board, label, path };
})();
