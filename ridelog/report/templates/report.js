"use strict";
(function () {
  const figures = JSON.parse(document.getElementById("figures").textContent);
  const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400];
  const two = (n) => String(n).padStart(2, "0");

  // the same rule as the Python side: round elapsed times, h:mm where whole minutes do
  function ticks(start, end) {
    const step = steps.find((s) => (end - start) / s <= 9) || 86400;
    const values = [];
    const labels = [];
    for (let v = Math.ceil(start / step) * step; v <= end; v += step) {
      const h = Math.floor(v / 3600), m = Math.floor((v % 3600) / 60), s = v % 60;
      values.push(v);
      labels.push(step % 60 === 0 ? h + ":" + two(m) : h + ":" + two(m) + ":" + two(s));
    }
    return { "xaxis.tickvals": values, "xaxis.ticktext": labels };
  }

  function draw(id, figure) {
    const box = document.getElementById(id);
    if (!box || !figure) return null;
    Plotly.newPlot(box, figure.data, figure.layout, figures.config);
    return box;
  }

  // plotly writes into the layouts it is given: what comes back after printing is kept here
  const onScreen = { stack: figures.stack.layout.height, map: figures.map ? figures.map.layout.height : 0 };
  const stack = draw("stack", figures.stack);
  const map = draw("map", figures.map);
  const whole = figures.stack.layout.xaxis.range.slice();
  stack.on("plotly_relayout", function (change) {
    if ("xaxis.range[0]" in change) {
      Plotly.relayout(stack, ticks(change["xaxis.range[0]"], change["xaxis.range[1]"]));
    }
  });
  stack.on("plotly_doubleclick", function () {
    Plotly.relayout(stack, Object.assign({ "xaxis.range": whole.slice() }, ticks(whole[0], whole[1])));
  });

  // paper is narrower than the screen: draw for its width, then go back
  const paper = { stack: { width: 700, height: 0.64 * onScreen.stack }, map: { width: 330, height: 200 } };
  function resize(printing) {
    for (const [name, box] of [["stack", stack], ["map", map]]) {
      if (!box) continue;
      Plotly.relayout(box, printing ? paper[name] : { width: null, height: onScreen[name], autosize: true });
    }
  }
  // what is folded on the screen is an appendix on paper
  const folded = Array.from(document.querySelectorAll("details"));
  let open = [];
  window.addEventListener("beforeprint", () => {
    open = folded.map((part) => part.open);
    folded.forEach((part) => { part.open = true; });
    resize(true);
  });
  window.addEventListener("afterprint", () => {
    folded.forEach((part, i) => { part.open = open[i]; });
    resize(false);
  });
})();
