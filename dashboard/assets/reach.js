// Radio buttons and boxes to tick come inside what calls itself a list box with options: a reader of the page by ear is
// told of a list that can't be used as one, and without a name. They are what they are here: a group, named by the
// legend or the heading it stands under.
(() => {
  const LISTS = ".dash-options-list[role='listbox']";
  let numbered = 0;
  let waiting = false;

  function nameOf(list) {
    const legend = list.closest("fieldset")?.querySelector("legend");
    if (legend) {
      legend.id = legend.id || `legend-${++numbered}`;
      return legend.id;
    }
    return list.closest("[aria-labelledby]")?.getAttribute("aria-labelledby");
  }

  // Which link of the head the page belongs to: a ride to the list of rides, a sheet to bikes and advice.
  const HOME = { ride: "/", sheets: "/bikes", "open-case": "/cases" };

  function mark() {
    const [, first, second] = location.pathname.split("/");
    const home = first === "new" ? (second === "case" ? "/cases" : "/bikes") : HOME[first] || `/${first}`;
    for (const link of document.querySelectorAll("header nav a:not(.name)")) {
      const path = link.getAttribute("href");
      const told = path !== home ? null : path === location.pathname ? "page" : "true";
      if (link.getAttribute("aria-current") === told) continue;
      if (told) link.setAttribute("aria-current", told);
      else link.removeAttribute("aria-current");
    }
  }

  function tidy() {
    waiting = false;
    mark();
    for (const list of document.querySelectorAll(LISTS)) {
      list.setAttribute("role", list.querySelector("input[type='radio']") ? "radiogroup" : "group");
      const name = list.hasAttribute("aria-label") ? null : nameOf(list);
      if (name) list.setAttribute("aria-labelledby", name);
    }
    for (const one of document.querySelectorAll("label.dash-options-list-option[role], label.dash-options-list-option[aria-selected]")) {
      one.removeAttribute("role");
      one.removeAttribute("aria-selected");
    }
  }

  function look() {
    if (waiting) return;
    waiting = true;
    // a tab that is not seen gets no frames, and a timer would lag behind a key pressed at once
    queueMicrotask(tidy);
  }

  new MutationObserver(look).observe(document.documentElement, {
    childList: true, subtree: true, attributes: true, attributeFilter: ["role", "aria-selected"],
  });
})();
