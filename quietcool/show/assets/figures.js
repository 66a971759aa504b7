"use strict";
// Draws every figure of the page from the JSON beside it; colours are exchanged in pairs on dark ground.
const quietFigures = (() => {
  const inks = JSON.parse(document.getElementById("inks").textContent);
  const night = window.matchMedia("(prefers-color-scheme: dark)");
  const settings = { responsive: true, displayModeBar: false, scrollZoom: false, doubleClick: false };
  let printing = false;
  const coloured = (text) =>
    night.matches && !printing ? inks.reduce((said, [day, dark]) => said.replaceAll(day, dark), text) : text;
  const draw = (place, text) => {
    const figure = JSON.parse(coloured(text));
    if (printing) figure.layout.width = Math.min(place.parentElement.clientWidth, 690);
    return Plotly.react(place, figure.data, figure.layout, settings);
  };
  const all = () =>
    document.querySelectorAll(".plot[data-figure]").forEach((place) => {
      const source = document.getElementById(place.dataset.figure);
      if (source) draw(place, source.textContent);
    });
  night.addEventListener("change", all);
  window.addEventListener("beforeprint", () => { printing = true; all(); });
  window.addEventListener("afterprint", () => { printing = false; all(); });
  return { all, draw };
})();
quietFigures.all();
