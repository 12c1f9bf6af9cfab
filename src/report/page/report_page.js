// Draws every chart of the page from the numbers that the page carries. Chart.js is in the script before this one.
'use strict';
(() => {
  const page = JSON.parse(document.getElementById('numbers').textContent);
  const decades = [20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000];
  const charts = new Map();
  let on_paper = false;

  // Hues far enough apart for most eyes, repeated with other dashes so that no two lines look alike.
  const hues = { light: ['#0a625d', '#b3470b', '#5b3fa0', '#7a6a00', '#a02060', '#2c6aa8'],
                 dark: ['#62cfc5', '#f2a65f', '#c0a4ee', '#d9c95a', '#f08ab8', '#8fc1f0'] };
  const dashes = [[], [7, 3], [2, 3]];

  const dark_screen = window.matchMedia('(prefers-color-scheme: dark)');
  const is_dark = () => dark_screen.matches && !on_paper;
  const colours = () => is_dark()
    ? { ink: '#e9e7e1', soft: '#a7adb3', line: '#3b4147', card: '#1c2024', many: hues.dark }
    : { ink: '#1f2428', soft: '#5b636b', line: '#d9d5ca', card: '#ffffff', many: hues.light };

  const looks = {
    position: (c, k) => ({ borderColor: c.soft, borderWidth: 1, borderDash: dashes[k % dashes.length] }),
    average: (c) => ({ borderColor: c.many[0], borderWidth: 2.5 }),
    target: (c) => ({ borderColor: c.ink, borderWidth: 1.5, borderDash: [6, 4] }),
    after: (c) => ({ borderColor: c.many[1], borderWidth: 2.5 }),
    second: (c) => ({ borderColor: c.many[2], borderWidth: 1.5, borderDash: [7, 3] }),
    one_of_many: (c, k) => ({ borderColor: c.many[k % c.many.length], borderWidth: 1.5,
                              borderDash: dashes[Math.floor(k / c.many.length) % dashes.length] }),
    points_before: (c) => ({ borderColor: c.many[1], backgroundColor: c.card, showLine: false, pointRadius: 6,
                             pointBorderWidth: 2, pointStyle: 'triangle' }),
    points_after: (c) => ({ borderColor: c.many[0], backgroundColor: c.many[0], showLine: false, pointRadius: 5 }),
  };

  const dataset = (chart, series, k, c) => ({
    label: series.name,
    data: series.y.map((y, i) => chart.rows
      ? { x: y, y: chart.rows[i] } : { x: (series.x ?? page.grids[series.grid])[i], y }).filter((p) => p.x !== null && p.y !== null),
    pointRadius: 0, pointHitRadius: 6, tension: 0, fill: false, ...looks[series.look](c, k),
  });

  const short = (hz) => hz >= 1000 ? `${hz / 1000}k` : `${hz}`;

  function axis(spec, c) {
    const made = { title: { display: true, text: spec.label, color: c.soft }, grid: { color: c.line },
                   ticks: { color: c.soft, maxRotation: 0 } };
    if (spec.min !== undefined) made.min = spec.min;
    if (spec.max !== undefined) made.max = spec.max;
    if (!spec.frequency) return { type: 'linear', ...made };
    made.afterBuildTicks = (scale) => {
      scale.ticks = decades.filter((hz) => hz >= scale.min && hz <= scale.max).map((value) => ({ value }));
    };
    made.ticks.callback = (value) => short(value);
    return { type: 'logarithmic', ...made };
  }

  function options(chart, c) {
    const scales = { x: axis(chart.x, c), y: chart.rows
      ? { type: 'category', labels: chart.rows, grid: { color: c.line }, ticks: { color: c.ink, autoSkip: false }, offset: true }
      : axis(chart.y, c) };
    const unit = chart.rows ? chart.x.unit : chart.y.unit;
    const digits = chart.digits;
    return {
      animation: false, responsive: true, maintainAspectRatio: false, normalized: true, scales,
      interaction: { mode: 'nearest', axis: chart.rows ? 'xy' : 'x', intersect: false },
      plugins: {
        legend: { display: chart.series.length > 1, labels: { color: c.ink, boxWidth: 26, usePointStyle: Boolean(chart.rows) } },
        tooltip: { callbacks: {
          title: (items) => items.length === 0 || chart.rows ? items[0]?.raw.y ?? ''
            : `${items[0].raw.x.toLocaleString('en')} ${chart.x.unit}`,
          label: (item) => `${item.dataset.label}: ${(chart.rows ? item.raw.x : item.raw.y).toFixed(digits)} ${unit}` } },
      },
    };
  }

  function draw(canvas) {
    const id = canvas.id;
    const chart = page.charts[id];
    const c = colours();
    charts.get(id)?.destroy();
    charts.set(id, new Chart(canvas, { type: 'line', options: options(chart, c),
      data: { datasets: chart.series.map((series, k) => dataset(chart, series, k, c)) } }));
    canvas.dataset.drawn = chart.series.length;
  }

  const canvases = [...document.querySelectorAll('canvas')];
  const redraw = () => canvases.filter((canvas) => charts.has(canvas.id)).forEach(draw);

  // What is on the screen first, the rest one by one while nothing else is to do: the page opens at once, however many
  // loudspeakers there are.
  const wait = window.requestIdleCallback ?? ((then) => setTimeout(then, 1));
  const waiting = [...canvases];
  function draw_next() {
    const seen = waiting.findIndex((canvas) => {
      const box = canvas.getBoundingClientRect();
      return box.bottom > 0 && box.top < window.innerHeight;
    });
    const [canvas] = waiting.splice(Math.max(seen, 0), 1);
    if (canvas === undefined) return;
    draw(canvas);
    wait(draw_next);
  }
  draw_next();

  dark_screen.addEventListener('change', redraw);
  window.addEventListener('beforeprint', () => { on_paper = true; canvases.forEach(draw); });
  window.addEventListener('afterprint', () => { on_paper = false; canvases.forEach(draw); });

  // The same numbers as a table, for those who read rather than look.
  function number_table(chart) {
    const table = document.createElement('table');
    const row = (parent, cells, tag) => {
      const line = parent.appendChild(document.createElement('tr'));
      cells.forEach((text, k) => {
        const cell = line.appendChild(document.createElement(k === 0 ? 'th' : tag));
        cell.textContent = text;
        if (tag === 'th' || k === 0) cell.scope = tag === 'th' ? 'col' : 'row';
      });
    };
    row(table.createTHead(), [chart.rows ? 'Loudspeaker' : chart.x.label, ...chart.series.map((s) => s.name)], 'th');
    const body = table.createTBody();
    const first = chart.series[0];
    const along = chart.rows ?? first.x ?? page.grids[first.grid];
    const step = Math.max(1, Math.ceil(along.length / 120));
    for (let i = 0; i < along.length; i += step) {
      row(body, [along[i], ...chart.series.map((s) => s.y[i] === null || s.y[i] === undefined ? '-' : s.y[i].toFixed(chart.digits))], 'td');
    }
    return table;
  }
  document.querySelectorAll('details[data-chart]').forEach((details) => details.addEventListener('toggle', () => {
    const place = details.querySelector('.scroll');
    if (details.open && place.childElementCount === 0) place.append(number_table(page.charts[details.dataset.chart]));
  }));
})();
