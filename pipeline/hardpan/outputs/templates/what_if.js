"use strict";
(() => {
  const given = JSON.parse(document.getElementById("what-if-item").textContent);
  const { levers, zones, names, units, say } = given;
  const inputs = new Map();

  // numbers and sentences, as the rest of the page writes them
  const figure = (value, decimals = 0) =>
    (Number(value.toFixed(decimals)) + 0)
      .toLocaleString("en-US", { minimumFractionDigits: decimals, maximumFractionDigits: decimals })
      .replace("-", "\u2212");
  const fill = (text, ...parts) => text.replace(/%(\d)/g, (_, number) => parts[number - 1] ?? "");
  const withUnit = (text, unit) => `${text}\u00a0${unit}`;
  const area = (ha, bare = false) => {
    const [size, unit] = units.area;
    const text = figure(ha / size, 1);
    return bare ? text : withUnit(text, unit);
  };
  const perArea = (money) => withUnit(figure(money / units.money[0]), units.money[1]);
  const fuel = (litres) => withUnit(figure(litres / units.fuel[0]), units.fuel[1]);
  const depthList = (depths) => {
    const sorted = [...new Set(depths)].sort((a, b) => a - b);
    const text = sorted.map((depth, place) => names.depths[depth][place === sorted.length - 1 ? 1 : 0]);
    if (text.length === 1) return text[0];
    if (text.length > 4) return fill(say.range, text[0], text.at(-1));
    return fill(say.and, text.slice(0, -1).join(", "), text.at(-1));
  };

  // the settings as they stand
  const valueOf = (lever) => lever.value + lever.step * Number(inputs.get(lever.key)?.value ?? 0);
  const settings = () => {
    const of = Object.fromEntries(levers.map((lever) => [lever.key, valueOf(lever)]));
    const share = { grain: 1, fuel: 1 };
    for (const lever of levers) share[lever.key] = of[lever.key] / (lever.value || 1);
    const rate = of.discount / 100;
    const present = (seasons, at) => seasons.reduce((sum, money, k) => sum + money / (1 + at) ** (k + 1), 0);
    const lasting = given.seasons.map((seasons) => present(seasons, rate) / (present(seasons, given.rate) || 1));
    return { share, lasting, rate };
  };

  // expected cost and return per ha of each option of a zone
  const priced = (zone, { share, lasting, rate }) =>
    zone.depths.map((_, k) => {
      const gain = zone.gain[k].reduce((sum, money, soil) => sum + money * lasting[soil], 0);
      const cost = share.fuel * zone.fuel[k] + share.cost * (zone.other[k] + rate * zone.capital[k]);
      return { cost, net: share.grain * share.gain * gain - cost };
    });

  // the best option of a zone with each set-up, and the set-ups that return most together
  const bestBySetup = (zone, prices) => {
    const best = names.setups.map(() => -1);
    zone.setups.forEach((setup, k) => {
      if (given.must_pay && prices[k].net <= 0) return;
      if (best[setup] < 0 || prices[k].net > prices[best[setup]].net) best[setup] = k;
    });
    return best;
  };
  const combinations = (count, size, from = 0) => {
    if (size === 0) return [[]];
    const all = [];
    for (let first = from; first <= count - size; first += 1)
      for (const rest of combinations(count, size - 1, first + 1)) all.push([first, ...rest]);
    return all;
  };
  const waysToFit = Array.from({ length: Math.min(given.fitted, names.setups.length) }, (_, k) =>
    combinations(names.setups.length, k + 1)).flat();
  const choose = (prices, change) => {
    const best = zones.map((zone, place) => bestBySetup(zone, prices[place]));
    let chosen, most;
    for (const fitted of waysToFit) {
      const picks = zones.map((_, place) => {
        const open = fitted.map((setup) => best[place][setup]).filter((k) => k >= 0);
        return open.reduce((top, k) => (top < 0 || prices[place][k].net > prices[place][top].net ? k : top), -1);
      });
      const used = new Set(picks.flatMap((k, place) => (k < 0 ? [] : zones[place].setups[k])));
      const money = picks.reduce((sum, k, place) => sum + (k < 0 ? 0 : prices[place][k].net * zones[place].ha), 0) -
        change * Math.max(0, used.size - 1);
      const ripped = given.must_pay ? 0 : picks.filter((k) => k >= 0).length;
      if (!most || ripped > most[0] || (ripped === most[0] && money > most[1])) [chosen, most] = [picks, [ripped, money]];
    }
    return chosen;
  };

  // what setting a further zone costs: nothing for one of them, nor beside one of the same depth and set-up
  const setting = (picks, price) => {
    const due = zones.map(() => price);
    const ripped = zones.map((_, place) => place).filter((place) => picks[place] >= 0);
    due[ripped.length > 0 ? ripped[0] : 0] = 0;
    const option = (place) => [zones[place].depths[picks[place]], zones[place].setups[picks[place]]].join();
    const group = zones.map((_, place) => place);
    for (const [one, other] of given.beside) {
      if (picks[one] < 0 || picks[other] < 0 || option(one) !== option(other)) continue;
      const [first, last] = [group[one], group[other]].sort((a, b) => a - b);
      group.forEach((of, place) => { if (of === last) group[place] = first; });
    }
    for (const place of ripped) if (group[place] !== place) due[place] = 0;
    return due;
  };
  const paid = (prices, due) => prices.map((options, place) => options.map(({ cost, net }) =>
    ({ cost: cost + due[place] / zones[place].ha, net: net - due[place] / zones[place].ha })));
  // what changing the fittings costs each zone: every set-up but that of most ground is changed to once, for the zones
  // worked with it, in proportion to what they return more by it
  const changing = (picks, prices, change) => {
    const of = (place) => zones[place].setups[picks[place]];
    const ripped = zones.map((_, place) => place).filter((place) => picks[place] >= 0);
    const used = names.setups.map((_, setup) => setup).filter((setup) => ripped.some((place) => of(place) === setup));
    const sum = (places, amount) => places.reduce((total, place) => total + amount(place), 0);
    const withSetup = (setup) => ripped.filter((place) => of(place) === setup);
    const ground = used.map((setup) => sum(withSetup(setup), (place) => zones[place].ha));
    const most = used[ground.indexOf(Math.max(...ground))];
    const more = (place) => {
      const nets = prices[place].filter((_, k) => zones[place].setups[k] === most).map(({ net }) => net);
      return Math.max(0, prices[place][picks[place]].net - Math.max(0, ...nets)) * zones[place].ha;
    };
    const money = zones.map(() => 0);
    for (const setup of used.filter((one) => one !== most)) {
      const places = withSetup(setup);
      const weight = sum(places, more) > change ? more : (place) => zones[place].ha;
      for (const place of places) money[place] = change * weight(place) / sum(places, weight);
    }
    return money;
  };
  const settle = (prices, price, change) => {
    const most = prices.map((options, place) => Math.max(...options.map(({ net }) => net)) * zones[place].ha);
    let due = zones.map((_, place) => (place === most.indexOf(Math.max(...most)) ? 0 : price)), picks;
    for (let round = 0; round < given.rounds; round += 1) {
      picks = choose(paid(prices, due), change);
      const next = setting(picks, price);
      if (next.every((money, place) => money === due[place])) break;
      due = next;
    }
    const set = paid(prices, due);
    return [picks, paid(set, changing(picks, set, change))];
  };

  const tell = (picks, prices) => {
    const sum = { ha: 0, cost: 0, net: 0, hours: 0, litres: 0, left: 0, zones: 0 };
    const depths = [];
    zones.forEach((zone, place) => {
      const k = picks[place];
      if (k < 0) { sum.left += zone.ha; return; }
      sum.zones += 1;
      sum.ha += zone.ha;
      sum.cost += prices[place][k].cost * zone.ha;
      sum.net += prices[place][k].net * zone.ha;
      sum.hours += zone.hours[k] * zone.ha;
      sum.litres += zone.fuel_l[k] * zone.ha;
      depths.push(zone.depths[k]);
    });
    const outcome = document.getElementById("outcome");
    for (const [name, value] of Object.entries(sum)) outcome.dataset[name] = value;
    if (sum.zones === 0) { outcome.textContent = fill(say.leave, area(given.total_ha)); return; }
    const money = withUnit(figure(Math.abs(sum.net)), units.sign);
    const work = fill(sum.net < 0 ? say.lose : say.return, withUnit(figure(sum.hours, 1), "h"), fuel(sum.litres),
      perArea(Math.abs(sum.net) / sum.ha), money);
    const left = sum.left >= 0.05 ? fill(say.and_leave, area(sum.left)) : "";
    outcome.textContent = fill(say.rip, area(sum.ha, true), area(given.total_ha), depthList(depths), left,
      perArea(sum.cost / sum.ha), work);
  };

  const named = (depth, setup) => (depth > 0 ? `${names.depths[depth][1]}, ${names.setups[setup]}` : names.leave);
  const row = (zone, k, prices) => {
    const line = document.createElement("tr");
    const [depth, setup] = k < 0 ? [0, -1] : [zone.depths[k], zone.setups[k]];
    const same = depth === zone.depth && setup === zone.setup;
    const net = k < 0 ? "\u2013" : figure(prices[k].net / units.money[0]);
    const cells = [["th", zone.zone, ""], ["td", named(depth, setup), same ? "" : "moved"], ["td", net, "n"],
      ["td", same ? say.planned : named(zone.depth, zone.setup), ""]];
    for (const [kind, text, look] of cells) {
      const cell = document.createElement(kind);
      cell.textContent = text;
      if (kind === "th") cell.scope = "row";
      if (look) cell.className = look;
      line.append(cell);
    }
    Object.assign(line.dataset, { zone: zone.zone, depth, setup, net: k < 0 ? 0 : prices[k].net });
    return line;
  };

  // lines of the configuration that the sliders stand for
  const number = (value) => String(Number(value.toPrecision(6)));
  const written = ({ value, low, high, unit }, share) =>
    `{ value = ${number(value * share)}` + (low === null ? "" : `, low = ${number(low * share)}`) +
    (high === null ? "" : `, high = ${number(high * share)}`) + `, unit = "${unit}" }`;
  const lines = (share) => {
    const tables = new Map();
    for (const lever of levers) {
      if (Number(inputs.get(lever.key).value) === 0) continue;
      for (const setting of lever.settings) {
        const value = lever.value > 0 ? written(setting, share[lever.key]) : number(valueOf(lever) / 100);
        let line = `${setting.key} = ${value}`;
        if (setting.of) {
          line = setting.like
            ? `${setting.of} = { like = "${setting.like}", ${line} }`
            : `# ${fill(say.own_table, setting.of)}: ${line}`;
        }
        tables.set(setting.table, [...(tables.get(setting.table) ?? []), line]);
      }
    }
    return [...tables].map(([table, all]) => [`[${table}]`, ...all].join("\n")).join("\n\n");
  };

  const work = () => {
    const now = settings();
    const [picks, prices] = settle(zones.map((zone) => priced(zone, now)), now.share.cost * given.further,
      now.share.cost * given.change);
    for (const lever of levers) {
      const text = withUnit(figure(valueOf(lever), lever.decimals), lever.unit);
      inputs.get(lever.key).setAttribute("aria-valuetext", text);
      document.getElementById(`value-${lever.key}`).textContent = text;
    }
    tell(picks, prices);
    document.querySelector("#tried tbody").replaceChildren(...zones.map((zone, place) => row(zone, picks[place], prices[place])));
    document.getElementById("lines").textContent = lines(now.share) || `# ${say.unmoved}`;
  };

  for (const lever of levers) {
    const label = document.createElement("label");
    label.className = "lever";
    const [name, output, input] = ["span", "output", "input"].map((kind) => document.createElement(kind));
    name.textContent = lever.says;
    output.id = `value-${lever.key}`;
    Object.assign(input, { type: "range", min: lever.least, max: lever.most, step: 1, id: `lever-${lever.key}` });
    input.value = 0;
    input.addEventListener("input", work);
    inputs.set(lever.key, input);
    label.append(name, output, input);
    document.getElementById("levers").append(label);
  }
  document.getElementById("reset").addEventListener("click", () => {
    for (const input of inputs.values()) input.value = 0;
    work();
  });
  work();
})();
