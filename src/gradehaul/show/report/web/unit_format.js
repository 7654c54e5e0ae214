/* Figures in the units shown, by the rules of show/base/unit_format, figure by figure the same text. */
const UnitFormat = (() => {
  /* A number with so many decimals, halves away from 0. */
  function number(value, decimals) {
    const up = value * (1 + 1e-9);
    let text = up.toFixed(decimals);
    while (value !== 0 && Number(text) === 0 && decimals < 9) text = up.toFixed(++decimals);
    return Number(text) === 0 ? text.replace(/^-/, "") : text;
  }

  /* The number that a person typed, perhaps as a fraction, perhaps with the unit behind it; null where it is none. */
  function typed(text, unit) {
    const bare = text.trim().replace(new RegExp(`\\s*(${unit.name}${unit.name === "in" ? '|"' : ""})$`), "").replace("\u2212", "-");
    const parts = /^([+-]?)(?:(\d+)[ -])?(\d+)\/([1-9]\d*)$/.exec(bare);
    if (parts) return (parts[1] === "-" ? -1 : 1) * (Number(parts[2] || 0) + parts[3] / parts[4]);
    if (/,\d{3}$/.test(bare)) return null;  // thousands, or a decimal comma
    return /^[+-]?(\d+([.,]\d*)?|[.,]\d+)$/.test(bare) ? Number(bare.replace(",", ".")) : null;
  }

  const converted = (value, unit) => (value * unit.parts) / unit.times;

  function withUnit(value, unit, more = 0) {
    const plain = Math.abs(value) < 1e-7 ? 0.0 : value;
    return `${number(converted(plain, unit), unit.decimals + more)} ${unit.name}`;
  }

  function of(rules) {
    const forceUnit = (value) => (Math.abs(value) < rules.heavy ? rules.force[0] : rules.force[1]);
    return {
      length: (value) => withUnit(value, rules.length),
      railhead: (value) => withUnit(value, rules.length, ["in", "ft", "yd", "mile"].includes(rules.length.name) ? 1 : 0),
      fine: (value) => withUnit(value, rules.length, rules.length.name === "in" ? 3 : 1),
      force: (value) => withUnit(value, forceUnit(value)),
      grade(value) {
        if (rules.grade) return withUnit(value, rules.grade);
        if (Math.abs(value) < 1e-7) return "level";
        return `${value < 0 ? "-" : ""}1 in ${number(1 / Math.abs(value), 1)}`;
      },
      lengthUnit: rules.length,
      forceUnit,
      converted,
    };
  }

  return { of, typed };
})();
