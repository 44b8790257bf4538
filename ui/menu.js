// The menu of pages at narrow widths, where the tool that draws the page puts it behind a button:
// it closes once a page was chosen, which that tool does for browsers alone that say they are a
// phone's; and its buttons are named in the page's language, not in English.
const NARROW = "(max-width: 768px)";
const OPEN = 'button[data-testid="stExpandSidebarButton"], [data-testid="stExpandSidebarButton"] button';
const SHUT = '[data-testid="stSidebarCollapseButton"] button';
const LINK = '[data-testid="stSidebarNavLink"]';

function shut() {
  const button = document.querySelector(SHUT);
  if (matchMedia(NARROW).matches && button && button.getAttribute("aria-expanded") === "true") {
    button.click();
  }
}

function name(words) {
  for (const [where, text] of [[OPEN, words.open], [SHUT, words.shut]]) {
    for (const button of document.querySelectorAll(where)) {
      if (button.getAttribute("aria-label") !== text) button.setAttribute("aria-label", text);
    }
  }
}

export default function (component) {
  const said = component.data;
  // the page is drawn again and again, the window stays
  if (window.tailswayMenu) {
    window.tailswayMenu.words = said;
    name(said);
    return;
  }
  const menu = (window.tailswayMenu = { words: said });
  document.addEventListener("click", (event) => {
    const elsewhere = event.ctrlKey || event.metaKey || event.shiftKey;
    if (!elsewhere && event.target.closest && event.target.closest(LINK)) setTimeout(shut, 0);
  });
  // the buttons are made anew whenever the menu opens or shuts
  new MutationObserver(() => name(menu.words)).observe(document.body, {
    childList: true,
    subtree: true,
  });
  name(said);
  shut();
}
