// A slider over the time of a path. It moves the craft in the chart without a request to the server.

export default function ({ data, parentElement }) {
  let box = parentElement.querySelector(".wi-path-slider");
  if (!box) {
    box = document.createElement("div");
    box.className = "wi-path-slider";
    box.innerHTML = '<label><span></span><input type="range" step="any"></label><output aria-live="off"></output>';
    parentElement.append(box);
    box.querySelector("input").addEventListener("input", (event) => {
      box.wiMoved = true;
      show(box, Number(event.target.value));
    });
  }
  const slider = box.querySelector("input");
  const before = Number(slider.value);
  const { points } = data;
  box.wiData = data;
  box.querySelector("span").textContent = data.label;
  const [first, last] = [points[0][0], points[points.length - 1][0]];
  slider.min = first;
  slider.max = last;
  slider.step = 0.05;
  slider.value = box.wiMoved ? Math.min(Math.max(before, first), last) : data.start;
  show(box, Number(slider.value));
  follow(box, 0);
}

function follow(box, tries) {
  const chart = chart_of(box);
  if (!chart?.on || !chart._fullLayout?.xaxis) {
    if (tries < 40) setTimeout(() => follow(box, tries + 1), 100);
    return;
  }
  if (chart.wiFollowed !== box) {
    chart.wiFollowed = box;
    chart.on("plotly_afterplot", () => place(chart.wiFollowed));
  }
  place(box);
}

function chart_of(box) {
  return document.querySelector(`.st-key-${box.wiData.chart} .js-plotly-plot`);
}

function at(points, time) {
  let k = points.findIndex((one) => one[0] >= time);
  if (k < 1) k = k < 0 ? points.length - 1 : 1;
  const [a, b] = [points[k - 1], points[k]];
  const share = b[0] > a[0] ? Math.min(Math.max((time - a[0]) / (b[0] - a[0]), 0), 1) : 1;
  return { now: a.map((v, n) => v + share * (b[n] - v)), way: [b[1] - a[1], b[2] - a[2]] };
}

function show(box, time) {
  const { now } = at(box.wiData.points, time);
  const side = now[0] < -0.005 ? "before" : "after";
  const words = `${Math.abs(now[0]).toFixed(1)} s ${side} you decide: ${now[2].toFixed(0)} m up, ${now[3].toFixed(0)} km/h`;
  box.querySelector("output").textContent = words;
  box.querySelector("input").setAttribute("aria-valuetext", words);
  place(box);
}

function place(box) {
  const chart = chart_of(box);
  const layout = chart?._fullLayout;
  const inside = chart?.querySelector(".svg-container");
  if (!inside || !layout?.xaxis?.l2p) return;
  let craft = inside.querySelector(".wi-craft");
  if (!craft) {
    inside.insertAdjacentHTML(
      "beforeend",
      '<svg class="wi-craft" width="60" height="60" viewBox="-30 -30 60 60" aria-hidden="true"><g>' +
        '<path class="arm" d="M-15 0H15M-12 0V-6M12 0V-6"/><path class="disc" d="M-22 -6H-2M2 -6H22"/>' +
        '<rect class="body" x="-6" y="-3" width="12" height="6" rx="2"/></g></svg>',
    );
    craft = inside.querySelector(".wi-craft");
  }
  const { now, way } = at(box.wiData.points, Number(box.querySelector("input").value));
  const x = layout.xaxis._offset + layout.xaxis.l2p(now[1]);
  const y = layout.yaxis._offset + layout.yaxis.l2p(now[2]);
  const turn = box.wiData.flat ? 0 : (-Math.atan2(way[1], Math.max(way[0], 1e-6)) * 180) / Math.PI;
  craft.style.left = `${x - 30}px`;
  craft.style.top = `${y - 30}px`;
  craft.querySelector("g").setAttribute("transform", `rotate(${turn.toFixed(1)})`);
}
