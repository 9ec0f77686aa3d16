// Keys go to the screens at once: without this one would have to click into the page first.
new MutationObserver((_changes, watcher) => {
  const keys = document.querySelector("#terminal textarea");
  if (document.body.classList.contains("-first-byte") && keys) {
    watcher.disconnect();
    keys.focus();
  }
}).observe(document.documentElement, { attributes: true, childList: true, subtree: true });
