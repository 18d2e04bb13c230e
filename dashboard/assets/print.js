// Paper is narrower than most screens, and the plotting library draws for the screen: before printing every picture is
// drawn for the paper's width, a tall one lower, and afterwards all of them for the screen again.
(() => {
  const PAPER_PX = 690;  // A4 without the margins that page.css gives it: 186 mm at 96 px to the inch, less a little
  const TALL_PX = 400;
  const LOWER = 0.64;
  const before = new Map();

  function onPaper() {
    for (const plot of document.querySelectorAll("main .js-plotly-plot")) {
      if (!plot.layout || !plot.offsetParent || before.has(plot)) continue;
      const box = plot.parentElement;
      const height = box.offsetHeight;
      const lower = height > TALL_PX ? Math.round(LOWER * height) : height;
      before.set(plot, box.style.height);
      box.style.height = `${lower}px`;
      window.Plotly.relayout(plot, { width: PAPER_PX, height: lower });
    }
  }

  function onScreen() {
    for (const [plot, height] of before) {
      const box = plot.parentElement;
      if (!box) continue;  // the page it stood on is gone
      box.style.height = height;
      window.Plotly.relayout(plot, { width: null, height: box.offsetHeight, autosize: true });
    }
    before.clear();
  }

  window.addEventListener("beforeprint", onPaper);
  window.addEventListener("afterprint", onScreen);
})();
