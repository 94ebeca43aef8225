// The page bar, and placement of labels in charts without overlap.

const PHONE = "(max-width: 767.98px)";

export default function ({ data, parentElement }) {
  const bar = bar_of(parentElement);
  fill(bar, data);
  watch();
}

// ---- page bar --------------------------------------------------------------------------------------------

function bar_of(place) {
  let bar = place.querySelector("nav.wi-bar");
  if (bar) return bar;
  bar = document.createElement("nav");
  bar.className = "wi-bar";
  bar.setAttribute("aria-label", "Pages");
  // on a phone a mousedown outside the panel closes it before the click event, which would open it again
  bar.addEventListener("mousedown", (event) => event.stopPropagation());
  const edit = document.createElement("button");
  edit.type = "button";
  edit.className = "edit";
  edit.setAttribute("aria-controls", "stSidebar");
  edit.addEventListener("click", () => open_panel(!panel_is_open()));
  const row = document.createElement("div");
  row.className = "row";
  bar.append(edit, row);
  place.append(bar);
  return bar;
}

function fill(bar, { pages, page }) {
  const row = bar.querySelector(".row");
  if (row.dataset.page === page) return say_edit(bar);
  row.dataset.page = page;
  const base = base_of(page === pages[0][0]);
  row.replaceChildren(
    ...pages.map(([file, name], k) => {
      const link = document.createElement("a");
      link.textContent = name;
      link.href = base + (k === 0 ? "" : file);
      if (file === page) link.setAttribute("aria-current", "page");
      link.addEventListener("click", (event) => go(event, link));
      // the address contains the build: a new tab shows it too
      link.addEventListener("mousedown", () => (link.search = location.search));
      return link;
    }),
  );
  show_here(row);
  document.fonts?.ready.then(() => show_here(row)); // the final font can be wider
  say_edit(bar);
}

// Scrolls the current page near the middle, with an uncut name at the left edge.
function show_here(row) {
  const here = row.querySelector("[aria-current]");
  if (!here || !row.clientWidth) return;
  row.style.paddingRight = "";
  const left = (link) => link.offsetLeft - row.offsetLeft;
  const middle = left(here) - (row.clientWidth - here.offsetWidth) / 2;
  const most = row.scrollWidth - row.clientWidth;
  const first = [...row.children].map(left).find((edge) => edge >= Math.min(middle, most) - 1);
  if (first > most) row.style.paddingRight = `${first - most}px`;
  row.scrollLeft = first;
}

// Path of the server, with a slash at its end: the folder of this page.
function base_of(first) {
  const path = first ? location.pathname : location.pathname.replace(/\/+$/, "");
  return path.slice(0, path.lastIndexOf("/") + 1);
}

// Opens a page without a reload: a new entry in the history, and the event that the framework follows when one goes back.
function go(event, link) {
  if (event.metaKey || event.ctrlKey || event.shiftKey) return;
  event.preventDefault();
  if (link.pathname !== location.pathname) {
    window.history.pushState({}, "", link.pathname);
    window.dispatchEvent(new PopStateEvent("popstate", { state: {} }));
  }
  if (matchMedia(PHONE).matches) open_panel(false);
}

function panel_is_open() {
  const panel = document.querySelector('[data-testid="stSidebar"]');
  return panel?.dataset.collapsed === "false" || panel?.getAttribute("aria-expanded") === "true";
}

function open_panel(wanted) {
  if (panel_is_open() === wanted) return;
  const which = wanted ? '[data-testid="stExpandSidebarButton"]' : '[data-testid="stSidebarCollapseButton"] button';
  document.querySelector(which)?.click();
}

function say_edit(bar) {
  const open = panel_is_open();
  const edit = bar.querySelector(".edit");
  const words = open ? "Show result" : "Edit build";
  if (edit.textContent !== words) edit.textContent = words;
  edit.setAttribute("aria-expanded", String(open));
}

// ---- labels in charts ------------------------------------------------------------------------------------

const strips = new ResizeObserver((changed) => changed.forEach((one) => arrange_strip(one.target)));

function watch() {
  if (window.wiWatched) return;
  const panel = document.querySelector('[data-testid="stSidebar"]');
  if (panel) {
    window.wiWatched = true;
    new MutationObserver(() => document.querySelectorAll("nav.wi-bar").forEach(say_edit)).observe(panel, {
      attributes: true,
    });
    let due = false;
    const once = () => {
      due = false;
      hold_sentences();
      follow_new();
    };
    // once a frame, before it is painted: a measurement after each change would lay the page out each time
    new MutationObserver(() => {
      if (!due) requestAnimationFrame(once);
      due = true;
    }).observe(document.querySelector('[data-testid="stMain"]') ?? document.body, {
      childList: true,
      subtree: true,
    });
    follow_new();
  }
}

// Labels are moved after a chart is drawn or a strip is resized, before the browser paints, so that none jumps.
function follow_new() {
  for (const chart of document.querySelectorAll(".js-plotly-plot")) {
    if (chart.wiArranged || !chart.on) continue;
    chart.wiArranged = true;
    const soon = () => {
      cancelAnimationFrame(chart.wiDue); // drawn twice in one frame
      chart.wiDue = requestAnimationFrame(() => arrange_chart(chart));
    };
    chart.on("plotly_afterplot", soon);
    soon();
  }
  for (const strip of document.querySelectorAll(".wi-strip .scale, .wi-wash")) {
    if (strip.wiArranged) continue;
    strip.wiArranged = true;
    strips.observe(strip);
  }
}

// A paragraph that becomes shorter while a slider moves keeps its height, so that the slider does not move.
function hold_sentences() {
  for (const one of document.querySelectorAll('[data-testid="stMain"] .wi-sentence')) {
    if (one.dataset.held === one.textContent) continue;
    const kept = window.wiHeld?.page === location.pathname && window.wiHeld.width === innerWidth ? window.wiHeld.height : 0;
    one.style.minHeight = "";
    const own = one.offsetHeight;
    const line = parseFloat(getComputedStyle(one).lineHeight);
    if (kept > own && kept - own < 1.5 * line) one.style.minHeight = `${kept}px`;
    else window.wiHeld = { page: location.pathname, width: innerWidth, height: own };
    one.dataset.held = one.textContent;
  }
}

const meets = (a, b, gap = 1) =>
  a.left < b.right - gap && b.left < a.right - gap && a.top < b.bottom - gap && b.top < a.bottom - gap;

function moved(box, x, y) {
  return { left: box.left + x, right: box.right + x, top: box.top + y, bottom: box.bottom + y };
}

function plain(box) {
  return { left: box.left, right: box.right, top: box.top, bottom: box.bottom };
}

// Returns points along a line, at most 5 px apart, from its vertices as plotly writes them, "M0,10L5,20L...".
// getPointAtLength of the browser is ten times slower.
function points_along(path) {
  const matrix = path.getScreenCTM();
  const found = [];
  for (const piece of path.getAttribute("d").split("M").slice(1)) {
    const corners = piece.split("L").map((corner) => new DOMPoint(...corner.split(",").map(Number)).matrixTransform(matrix));
    corners.forEach((to, k) => {
      const from = corners[Math.max(k - 1, 0)];
      const steps = Math.min(Math.ceil(Math.hypot(to.x - from.x, to.y - from.y) / 5), 800) || 1;
      for (let n = 1; n <= steps; n++) {
        found.push([from.x + (n / steps) * (to.x - from.x), from.y + (n / steps) * (to.y - from.y)]);
      }
    });
  }
  return found;
}

function arrange_chart(chart) {
  const words = [...chart.querySelectorAll("g.annotation")].filter((one) => one.querySelector("text"));
  if (!words.length) return;
  for (const one of words) one.style.transform = "";
  const size = chart.getBoundingClientRect();
  if (!size.width) return;
  const box_of = (one) => plain(one.querySelector("text").getBoundingClientRect());
  const fixed = [...chart.querySelectorAll(".xtick text, .ytick text, .xtitle, .ytitle")].map((one) =>
    plain(one.getBoundingClientRect()),
  );
  const marks = [...chart.querySelectorAll(".points path.point")].map((one) => plain(one.getBoundingClientRect()));
  const lines = [...chart.querySelectorAll(".scatterlayer path.js-line, .shapelayer path")]
    .filter((one) => parseFloat(one.style.strokeWidth) > 0.5)
    .flatMap(points_along);
  const placed = [];
  const cost = (box) => {
    if (box.left < size.left || box.right > size.right || box.top < size.top || box.bottom > size.bottom) return 1e6;
    let sum = 0;
    for (const other of fixed) if (meets(box, other)) sum += 1000;
    for (const other of placed) if (meets(box, other, 0)) sum += 1000;
    for (const other of marks) if (meets(box, other, 2)) sum += 60;
    const inner = { left: box.left - 1, right: box.right + 1, top: box.top + 3, bottom: box.bottom - 3 };
    for (const [x, y] of lines) if (x > inner.left && x < inner.right && y > inner.top && y < inner.bottom) sum += 6;
    return sum;
  };
  const homes = words.map(box_of);
  const late = [];
  words.forEach((one, k) => {
    if (cost(homes[k]) === 0) placed.push(homes[k]);
    else late.push(k);
  });
  for (const k of late) {
    const home = homes[k];
    const wide = home.right - home.left + 18;
    let best = [Infinity, 0, 0];
    for (const y of [0, -6, 6, -12, 12, -18, 18, -24, 24, -30, 30, -38, 38, -46, 46]) {
      for (const x of [0, 6, -6, 14, -14, wide, -wide, wide / 2, -wide / 2]) {
        const far = Math.hypot(x * 0.6, y);
        if (far * 0.7 >= best[0]) continue;
        const sum = cost(moved(home, x, y)) + far * 0.7;
        if (sum < best[0]) best = [sum, x, y];
      }
    }
    placed.push(moved(home, best[1], best[2]));
    if (best[1] || best[2]) words[k].style.transform = `translate(${best[1]}px, ${best[2]}px)`;
  }
}

function arrange_strip(strip) {
  for (const kind of [".tick", ".zone-name", ".name:not(.below)"]) {
    const words = [...strip.querySelectorAll(kind)];
    for (const one of words) one.style.marginLeft = "";
    if (words.length < 2) continue;
    const size = strip.getBoundingClientRect();
    const boxes = words
      .map((one) => ({ one, ...plain(one.getBoundingClientRect()) }))
      .sort((a, b) => a.left + a.right - b.left - b.right);
    const shift = boxes.map(() => 0);
    for (let k = 0; k < boxes.length; k++) {
      const from = k ? boxes[k - 1].right + shift[k - 1] + 5 : Math.min(size.left, boxes[0].left);
      shift[k] = Math.max(0, from - boxes[k].left);
    }
    for (let k = boxes.length - 1; k >= 0; k--) {
      const to = k + 1 < boxes.length ? boxes[k + 1].left + shift[k + 1] - 5 : Math.max(size.right, boxes[k].right);
      shift[k] = Math.min(shift[k], to - boxes[k].right);
    }
    boxes.forEach(({ one }, k) => {
      if (Math.abs(shift[k]) > 0.5) one.style.marginLeft = `${shift[k]}px`;
    });
  }
}
