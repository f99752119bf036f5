"use strict";
(() => {
  const told = document.getElementById("told");
  const item = JSON.parse(document.getElementById("map-item").textContent);
  const show = (plot) => {
    const named = (name) => plot.renderers.filter((renderer) => renderer.name === name);
    for (const input of document.querySelectorAll("#map-controls input")) {
      for (const layer of named(input.value)) layer.visible = input.checked;
      const key = document.getElementById("key-" + input.value);
      if (key) key.hidden = !input.checked;
    }
  };
  Bokeh.embed.embed_item(item, "map").then((manager) => {
    const views = manager instanceof Array ? manager : [...(manager.roots ?? [manager])];
    const plot = views[0].model;
    document.getElementById("map-controls").addEventListener("change", () => show(plot));
    show(plot);
    const source = plot.renderers.find((renderer) => renderer.name === "touch").data_source;
    source.selected.properties.indices.change.connect(() => {
      const [row] = source.selected.indices;
      if (row === undefined) return;
      told.textContent = source.data.told[row];
    });
    document.getElementById("map").dataset.ready = "yes";
  });
})();
