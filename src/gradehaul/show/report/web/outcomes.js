/* The outcome of every train, was and now: judged by the same rules as haulage/answers/judged. */
const Outcomes = (() => {
  const badness = (outcomes, each) => [outcomes.worst_first.indexOf(each.outcome), each.margin];
  const worse = (a, b) => a[0] < b[0] || (a[0] === b[0] && a[1] < b[1]);

  /* A train on all legs of its route on one rail condition. */
  function onRail(data, stock, routes, named, rail) {
    const legs = routes.filter((route) => route.whole === named.route);
    if (!legs.length) return null;
    const judged = legs.map((leg) => {
      const train = Haulage.madeUp(stock, named.consist, named.together, leg.run_rounds, leg.run_rounds_turn);
      const verdict = Haulage.judge(leg, train, rail);
      const away = verdict.outcome === "runs away";
      return { outcome: verdict.outcome, margin: verdict.margin, at: verdict.worstAt, track: away ? Haulage.trackAt(leg, verdict.worstAt, true) : verdict.track };
    });
    const worst = judged.reduce((low, each) => (worse(badness(data.outcomes, each), badness(data.outcomes, low)) ? each : low));
    const margin = Math.min(...judged.map((each) => each.margin));
    const tooLong = Haulage.misfits(legs[0], stock, named.consist, named.together).length > 0;
    const outcome = Words.worst(data.outcomes, [...judged.map((each) => each.outcome), ...(tooLong ? ["too long"] : [])]);
    return { name: named.name, rail, outcome, margin_n: margin, at_m: worst.at, track: worst.track };
  }

  /* A train at its worst over the judged rail conditions; null where its route is not answered. */
  function ofTrain(data, stock, routes, named, rails) {
    const all = rails.map((rail) => onRail(data, stock, routes, named, rail)).filter((each) => each);
    const bad = (each) => [data.outcomes.worst_first.indexOf(each.outcome), each.margin_n];
    return all.length ? all.reduce((low, each) => (worse(bad(each), bad(low)) ? each : low)) : null;
  }

  function cell(text, cls = "") {
    const node = document.createElement("td");
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

  /* Fills a table's body: a row for each train, with what it was where that is known, what it is now, and its risk. */
  function show(body, teller, rows, chosen, choose) {
    const focused = document.activeElement && body.contains(document.activeElement) ? document.activeElement.textContent : null;
    body.replaceChildren(...rows.map(({ name, was, now, risk }) => {
      const row = document.createElement("tr");
      const head = document.createElement("th");
      head.scope = "row";
      const button = document.createElement("button");
      button.type = "button";
      button.setAttribute("aria-pressed", String(name === chosen));
      button.textContent = name;
      button.addEventListener("click", () => choose(name));
      head.append(button);
      row.append(head);
      if (!now) row.append(cell("its route is not answered"), cell(""), cell(""), cell(""), cell(""), cell(""));
      else {
        const changed = was && (was.outcome !== now.outcome || teller.force(was.margin_n) !== teller.force(now.margin_n));
        row.append(cell(was ? word(was.outcome) : ""), cell(was ? teller.force(was.margin_n) : "", "number"));
        row.append(cell(word(now.outcome)), cell(teller.force(now.margin_n), "number"), cell(risk, "number"), cell(now.track));
        if (changed) row.className = "changed";
      }
      return row;
    }));
    if (focused !== null) [...body.querySelectorAll("button")].find((each) => each.textContent === focused)?.focus();
  }

  return { ofTrain, onRail, show };
})();
