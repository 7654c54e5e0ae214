/* The outcome of every train on the rail conditions that are compared: by the same rules as haulage/answers/judged. */
const Outcomes = (() => {
  /* The worst of some verdicts: by outcome, then by the pull to spare. */
  function worst(outcomes, verdicts) {
    const rank = (each) => outcomes.worst_first.indexOf(each.outcome);
    return verdicts.reduce((low, each) => (rank(each) < rank(low) || (rank(each) === rank(low) && each.margin_n < low.margin_n) ? each : low));
  }

  /* A train on all legs of its route on one rail condition. */
  function onRail(data, stock, routes, named, rail) {
    const legs = routes.filter((route) => route.whole === named.route);
    if (!legs.length) return null;
    const judged = legs.map((leg) => {
      const train = Haulage.madeUp(stock, named.consist, named.together, leg.run_rounds, leg.run_rounds_turn);
      const verdict = Haulage.judge(leg, train, rail);
      const away = verdict.outcome === "runs away";
      return { outcome: verdict.outcome, margin_n: verdict.margin, at_m: verdict.worstAt, track: away ? Haulage.trackAt(leg, verdict.worstAt, true) : verdict.track };
    });
    const { at_m, track } = worst(data.outcomes, judged), margin_n = Math.min(...judged.map((each) => each.margin_n));
    const tooLong = Haulage.misfits(legs[0], stock, named.consist, named.together).length > 0;
    const outcome = Words.worst(data.outcomes, [...judged.map((each) => each.outcome), ...(tooLong ? ["too long"] : [])]);
    return { name: named.name, rail, outcome, margin_n, at_m, track };
  }

  /* A train at its worst on a condition; null where its route is not answered. */
  function ofTrain(data, stock, condition, named) {
    const all = condition.rails.map((rail) => onRail(data, stock, condition.routes, named, rail)).filter((each) => each);
    return all.length ? worst(data.outcomes, all) : null;
  }

  function cell(text, cls = "", tag = "td") {
    const node = document.createElement(tag);
    if (cls) node.className = cls;
    node.append(text);
    return node;
  }

  function word(outcome) {
    const node = document.createElement("strong");
    node.className = `outcome ${outcome.replace(" ", "-")}`;
    node.textContent = outcome;
    return node;
  }

  /* Fills the head: a group of columns for what was, and one for each condition that is compared. */
  function head(table, was, names) {
    const group = (words, count, cls = "") => {
      const node = cell(words, cls, "th");
      if (count) Object.assign(node, { colSpan: count, scope: "colgroup" });
      else Object.assign(node, { rowSpan: 2, scope: "col" });
      return node;
    };
    const column = (words, cls = "") => Object.assign(cell(words, cls, "th"), { scope: "col" });
    const [first, second] = [document.createElement("tr"), document.createElement("tr")];
    first.append(group("Train", 0), group(was, 2, "was"), ...names.map((name) => group(name, 3)), group("Place", 0, "hardest"));
    second.append(column("outcome", "was"), column("to spare", "was"), ...names.flatMap(() => ["outcome", "to spare", "risk"].map((each) => column(each))));
    table.tHead.replaceChildren(first, second);
  }

  /* Fills a table: a row for each train, with what it was where that is known, and what it is on each condition. */
  function show(table, units, outcomes, { was: before, names, rows }, chosen, choose) {
    const [body] = table.tBodies;
    const focused = document.activeElement && body.contains(document.activeElement) ? document.activeElement.textContent : null;
    head(table, before, names);
    body.replaceChildren(...rows.map(({ name, was, found }) => {
      const row = document.createElement("tr"), title = cell("", "", "th"), button = document.createElement("button");
      title.scope = "row";
      button.type = "button";
      button.setAttribute("aria-pressed", String(name === chosen));
      button.textContent = name;
      button.addEventListener("click", () => choose(name));
      title.append(button);
      row.append(title, cell(was ? word(was.outcome) : "", "was"), cell(was ? units.force(was.margin_n) : "", "number was"));
      for (const now of found) {
        if (now) row.append(cell(word(now.outcome)), cell(units.force(now.margin_n), "number"), cell(now.risk, "number"));
        else row.append(Object.assign(cell("its route is not answered"), { colSpan: 3 }));
      }
      const [now] = found;
      const answered = found.filter(Boolean);
      row.append(cell(answered.length ? worst(outcomes, answered).track : "", "hardest"));
      if (was && now && (was.outcome !== now.outcome || units.force(was.margin_n) !== units.force(now.margin_n))) row.className = "changed";
      return row;
    }));
    if (focused !== null) [...body.querySelectorAll("button")].find((each) => each.textContent === focused)?.focus();
  }

  return { ofTrain, onRail, worst, show };
})();
