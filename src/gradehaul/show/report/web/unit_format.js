/* Figures in the units shown, by the rules of show/base/unit_format, figure by figure the same text. */
const UnitFormat = (() => {
  /* A number with so many decimals, halves away from 0. */
  function number(value, decimals) {
    const up = value * (1 + 1e-9);
    let text = up.toFixed(decimals);
    while (value !== 0 && Number(text) === 0 && decimals < 9) text = up.toFixed(++decimals);
    return Number(text) === 0 ? text.replace(/^-/, "") : text;
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

  return { of };
})();
