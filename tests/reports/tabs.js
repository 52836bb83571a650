// Where the keyboard is: the place among everything that can be reached, and whether an eye can see it there.
(() => {
  const can = [...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex]")]
    .filter((el) => el.tabIndex >= 0 && el.getClientRects().length);
  const el = document.activeElement;
  if (!el || el === document.body) return {place: null, of: can.length};
  const at = el.getBoundingClientRect(), look = getComputedStyle(el);
  const inSight = at.width > 0 && at.bottom > 0 && at.top < innerHeight && at.right > 0 && at.left < innerWidth;
  const ring = look.outlineStyle !== "none" && parseFloat(look.outlineWidth) >= 2;
  const named = (el.getAttribute("aria-label") || el.textContent || "").trim() !== "";
  return {place: can.indexOf(el), of: can.length, seen: inSight && ring, named, top: at.top + scrollY,
    positive: can.filter((each) => each.tabIndex > 0).length, what: el.outerHTML.slice(0, 120)};
})()
