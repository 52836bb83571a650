// What can be seen of a page at its present width, as one object; the tests say what may stand in it.
(() => {
  const wide = document.documentElement.clientWidth;
  const name = (el) => {
    const text = (el.textContent || "").trim().replace(/\s+/g, " ").slice(0, 40);
    return `${el.tagName.toLowerCase()}${el.id ? "#" + el.id : ""}.${el.getAttribute("class") || ""} "${text}"`;
  };
  const styles = (el) => getComputedStyle(el);
  const scrolls = (el) => /auto|scroll/.test(styles(el).overflowX);
  const inBox = (el) => {
    for (let up = el.parentElement; up && up !== document.body; up = up.parentElement) {
      if (scrolls(up) && up.tabIndex === 0) return true;
    }
    return false;
  };
  const shown = (el) => el.getClientRects().length > 0 && styles(el).visibility !== "hidden";
  const outside = [], closed = [], small = [], cut = [], over = [], coloured = [];

  for (const el of document.body.querySelectorAll("*")) {
    if (el.closest("script, style, svg") || el.matches(".skip") || !shown(el)) continue;
    const at = el.getBoundingClientRect();
    if ((at.right > wide + 1 || at.left < -1) && !inBox(el)) outside.push(name(el));
    if (el.scrollWidth > el.clientWidth + 1 && styles(el).display !== "inline" && styles(el).overflowX !== "visible") {
      if (!scrolls(el) || el.tabIndex !== 0 || !el.getAttribute("aria-label")) closed.push(name(el));
    }
  }

  const grey = (text) => {
    const rgb = (text.match(/[\d.]+/g) || []).map(Number);
    return !text.startsWith("rgb") || rgb[3] === 0 || Math.max(...rgb.slice(0, 3)) - Math.min(...rgb.slice(0, 3)) <= 2;
  };
  const charts = {};
  for (const chart of document.querySelectorAll(".chart")) {
    const svg = chart.querySelector("svg");
    const at = svg ? svg.getBoundingClientRect() : null;
    const marks = svg ? svg.querySelectorAll(
      "[role='graphics-symbol'], [aria-roledescription='line mark'], [aria-roledescription='rule mark']") : [];
    charts[chart.id] = marks.length;
    if (!svg) continue;
    if (at.right > wide + 1 && !(scrolls(chart) && chart.tabIndex === 0)) cut.push(`${chart.id} leaves the page`);
    const texts = [...svg.querySelectorAll("text")].filter(
      (el) => el.textContent.trim() && shown(el) && styles(el).opacity !== "0");
    const boxes = texts.map((el) => {
      const box = el.getBoundingClientRect();
      const drawn = box.width / Math.max(el.getBBox().width, 1e-9);
      const turned = /rotate\((?!0[,)])/.test(el.getAttribute("transform") || "");
      const size = parseFloat(styles(el).fontSize) * at.width / svg.viewBox.baseVal.width;
      if (size < 13.3) small.push(`${chart.id}: "${el.textContent}" ${size.toFixed(1)} px`);
      if (box.left < at.left - 1 || box.right > at.right + 1 || box.top < at.top - 1 || box.bottom > at.bottom + 1) {
        cut.push(`${chart.id}: "${el.textContent}"`);
      }
      if (el.textContent.endsWith("\u2026")) cut.push(`${chart.id}: shortened "${el.textContent}"`);
      return {box, turned, text: el.textContent};
    });
    for (let i = 0; i < boxes.length; i++) {
      for (let j = i + 1; j < boxes.length; j++) {
        const a = boxes[i], b = boxes[j];
        if (a.turned || b.turned) continue;  // the box round a turned text is larger than the text
        const x = Math.min(a.box.right, b.box.right) - Math.max(a.box.left, b.box.left);
        const y = Math.min(a.box.bottom, b.box.bottom) - Math.max(a.box.top, b.box.top);
        if (x > 2 && y > 4) over.push(`${chart.id}: "${a.text}" on "${b.text}"`);
      }
    }
  }
  for (const el of document.body.querySelectorAll("*")) {
    if (el.closest("script, style") || !shown(el)) continue;
    const seen = el.closest("svg") ? ["fill", "stroke"] : ["color", "backgroundColor", "borderBottomColor"];
    for (const key of seen) if (!grey(styles(el)[key])) coloured.push(`${name(el)} ${key} ${styles(el)[key]}`);
  }
  return {wide, page: document.documentElement.scrollWidth, outside, closed, small, cut, over, coloured, charts};
})()
