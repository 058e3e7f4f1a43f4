// One stop for the Tab key in a list of buttons, links or boxes; the arrows go through it.

/** Makes `list` such a list of the elements that `selector` finds in it. Call `refresh` after it changed. */
export function rove(list, selector) {
  const all = () => [...list.querySelectorAll(selector)];
  const stop = (one, items = all()) => items.forEach((item) => (item.tabIndex = item === one ? 0 : -1));
  const refresh = () => {
    const items = all();
    const at = items.find((item) => item === document.activeElement) || items.find((item) => item.matches("[aria-current=true]")) || items.find((item) => item.tabIndex === 0) || items[0];
    stop(at, items);
  };
  list.addEventListener("focusin", (event) => {
    const item = event.target.closest(selector);
    if (item) stop(item);
  });
  list.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const items = all(), at = items.indexOf(event.target.closest(selector));
    if (at < 0) return;
    const to = {ArrowDown: at + 1, ArrowRight: at + 1, ArrowUp: at - 1, ArrowLeft: at - 1, Home: 0, End: items.length - 1, PageDown: at + 10, PageUp: at - 10}[event.key];
    if (to === undefined) return;
    event.preventDefault();
    items[Math.max(0, Math.min(items.length - 1, to))].focus();
  });
  return {refresh};
}
